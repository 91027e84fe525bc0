"""Faults of an input document, collected with their places, and the words they are told in."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from verifier.errors import InputError
from verifier.files.trade_words import looks_secret
from verifier.model.problem import Origin, Problem, Subject

MAX_FAULTS = 10_000
"""More than anybody reads; a file with more is not the file that was meant."""

WHOLE = Subject("network", "")
"""Subject of a fault that belongs to no part of the plan."""


class Faults:
    """The faults found so far."""

    def __init__(self) -> None:
        self._found: dict[tuple[Origin, Problem], None] = {}  # each once, in order
        self._unread: set[tuple[str, str, int | None, str]] = set()

    def error(self, rule: str, origin: Origin, message: str, subject: Subject = WHOLE) -> None:
        """Notes what cannot be meant. Raises InputError at `MAX_FAULTS`."""
        self._add(origin, Problem("error", rule, subject, origin, message))

    def warn(self, rule: str, origin: Origin, message: str, subject: Subject = WHOLE) -> None:
        """Notes what is odd but can be read. Raises InputError at `MAX_FAULTS`."""
        self._add(origin, Problem("warning", rule, subject, origin, message))

    def unreadable(self, name: str, origin: Origin, message: str, subject: Subject) -> None:
        """Notes a cell of field `name` that cannot be read: the field is then not missing too."""
        self._unread.add((origin.file, origin.sheet, origin.line, name))
        self.error("unreadable-cell", origin, message, subject)

    def missing(self, name: str, origin: Origin, message: str, subject: Subject) -> None:
        """Notes that a field of the entry at `origin` is not there, unless it is unreadable."""
        if (origin.file, origin.sheet, origin.line, name) not in self._unread:
            self.error("missing-field", origin, message, subject)

    def unknown(
        self, name: str, origin: Origin, known: Iterable[str], subject: Subject = WHOLE
    ) -> None:
        """Notes a field that is not read: a secret, or one that nothing is called."""
        if not self.secret(name, origin, subject):
            message = f"unknown field {shown(name)} is not read{nearest(name, known)}"
            self.warn("unknown-field", origin, message, subject)

    def secret(self, name: str, origin: Origin, subject: Subject = WHOLE) -> bool:
        """Notes a field that looks like a secret; whether it does."""
        if found := looks_secret(name):
            self.tell_secret(name, origin, subject)
        return found

    def tell_secret(self, name: str, origin: Origin, subject: Subject = WHOLE) -> None:
        """Notes a field that is a secret."""
        message = (
            f"{shown(name)} looks like a secret: it does not belong in a plan and is not read; "
            "put it in the credentials file"
        )
        self.warn("secret-in-plan", origin, message, subject)

    def fatal(self, rule: str, origin: Origin, message: str) -> InputError:
        """The error to raise where nothing more can be read; it carries all faults so far."""
        self.error(rule, origin, message)
        return InputError(f"{origin}: {message}", self.problems())

    def problems(self) -> tuple[Problem, ...]:
        """All faults, in order of place."""
        return tuple(problem for _, problem in sorted(self._found, key=lambda f: f[0].place))

    def _add(self, origin: Origin, problem: Problem) -> None:
        self._found[origin, problem] = None
        if len(self._found) > MAX_FAULTS:
            message = f"{origin.file}: more than {MAX_FAULTS} faults: is this the right file?"
            raise InputError(message, self.problems())


def shown(text: str, limit: int = 60) -> str:
    """`text` in quotes, shortened, with every character that does not print escaped."""
    return repr(text if len(text) <= limit else text[: limit - 3] + "...")


def nearest(name: str, known: Iterable[str]) -> str:
    """A hint such as `; did you mean gateway?`, empty where nothing is near."""
    by_lower = {k.lower(): k for k in known}
    found = difflib.get_close_matches(name.lower(), by_lower, n=1, cutoff=0.6)
    return f"; did you mean {by_lower[found[0]]}?" if found else ""
