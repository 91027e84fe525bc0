"""What became of one check between two runs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from verifier.model.result import Finding

DifferenceKind = Literal["worse", "gone", "new", "plan", "value", "better", "reason"]
WEIGHT: tuple[DifferenceKind, ...] = ("worse", "gone", "new", "plan", "value", "better", "reason")
"""By weight: what got worse, what is no longer tested, what is tested only now, what is planned
otherwise, what was found otherwise under the same verdict, what got better, what is worded
otherwise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """What became of one check of one subject; one of `old` and `new` may be missing."""

    kind: DifferenceKind
    old: Finding | None
    new: Finding | None

    @property
    def either(self) -> Finding:
        """The new finding, else the old one."""
        found = self.new or self.old
        assert found is not None
        return found
