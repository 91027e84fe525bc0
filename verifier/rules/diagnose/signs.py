"""A kind of fault and its signs: the columns of the table in `faults`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import cached_property

from verifier.model.checks import CHECK_NAMES
from verifier.model.result import Finding
from verifier.rules.diagnose.case import FindingIndex
from verifier.rules.diagnose.places import PLACES, Of, Place
from verifier.rules.diagnose.relations import Found, wrong

_LAPTOP = "laptop.fit"


@dataclass(frozen=True, slots=True)
class Sign:
    """Findings that a fault can have a part in.

    Attributes:
        at: where they are, seen from the fault; several words, one is enough.
        checks: names or patterns.
        found: how found stands to planned, where the fault has a part in it, alone or with another.
        alone: the same, where it makes the finding by itself; None: `found`.
        must: the fault always makes it, so a pass speaks it free.
    """

    at: str
    checks: str
    found: Found = wrong
    alone: Found | None = None
    must: bool = False

    def names(self) -> Iterator[str]:
        """The checks by name; how this laptop fits only where it is named: no device makes it."""
        for pattern in self.checks.split():
            yield from (
                c for c in CHECK_NAMES if c == pattern or (c != _LAPTOP and fnmatchcase(c, pattern))
            )

    def places(self, of: Of, case: FindingIndex, finding: Finding) -> Iterator[Place]:
        """Where the fault would be for this to be its sign."""
        for at in self.at.split():
            yield from PLACES[of, at](case, finding)  # type: ignore[index]

    def made_alone(self, case: FindingIndex, finding: Finding) -> bool:
        """Whether the fault makes such a finding by itself."""
        return (self.alone or self.found)(case, finding)


@dataclass(frozen=True)
class Fault:
    """One kind of fault.

    Attributes:
        kind: of the cause that names it; other rows are never concluded.
        of: what it is a fault of.
        signs: what it makes.
        likely: never certain, whatever was found.
        same: what it shares with other kinds that name the same fault, by what else was found.
        settings: so many groups of checks are wrong at least, where it is this.
    """

    kind: str
    of: Of
    signs: tuple[Sign, ...]
    likely: bool = False
    same: str = ""
    settings: int = 1

    @cached_property
    def by_check(self) -> Mapping[str, tuple[Sign, ...]]:
        """Its signs by the name of the check."""
        found: dict[str, list[Sign]] = {}
        for sign in self.signs:
            for name in sign.names():
                found.setdefault(name, []).append(sign)
        return {name: tuple(signs) for name, signs in found.items()}
