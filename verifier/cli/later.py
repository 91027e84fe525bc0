"""Modules and functions that a command needs when it runs, and that its help does not wait for.

if TYPE_CHECKING:
from verifier.cli import inputs
from verifier.files.output import opened
else:
inputs, opened = later("verifier.cli.inputs", "verifier.files.output:opened")
"""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module
from typing import Any


class Later:
    """Stands for a module, or for a function, class or table of one, until it is used.

    Args:
        name: `package.module`, or `package.module:name`.
    """

    def __init__(self, name: str) -> None:
        self._module, _, self._name = name.partition(":")

    def __getattr__(self, attribute: str) -> Any:
        """What the module has under that name."""
        return getattr(self._meant(), attribute)

    def __call__(self, *words: Any, **named: Any) -> Any:
        """What the function returns."""
        return self._meant()(*words, **named)

    def __getitem__(self, key: Any) -> Any:
        """What the table has under that key."""
        return self._meant()[key]

    def __iter__(self) -> Iterator[Any]:
        """The keys of the table."""
        return iter(self._meant())

    def __contains__(self, key: object) -> bool:
        """Whether the table has that key."""
        return key in self._meant()

    def __len__(self) -> int:
        """How many keys the table has."""
        return len(self._meant())

    def _meant(self) -> Any:
        module = import_module(self._module)
        return getattr(module, self._name) if self._name else module
