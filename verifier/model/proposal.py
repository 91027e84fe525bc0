"""What a sheet seems to be, column by column: a proposed mapping as a person looks at it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

HowSure = Literal["sure", "unsure", "unread", "left out"]
"""`sure`: heading, unit and values agree. `unsure`: a person must choose. `unread`: nobody knows
what it is, or it is known to be no part of a plan."""


@dataclass(frozen=True, slots=True)
class ProposedColumn:
    """One column of theirs.

    Attributes:
        field: of ours, without its end; of an unsure one the most likely; empty where none is.
        end: `A`, `B`, `far`, `both`; empty where it is of no end, or of the row's own.
        unit: that its figures are read in.
        example: one of its cells, as a person sees it.
        read_as: what that is read as, in our unit.
        why: why it is not sure.
    """

    heading: str
    field: str
    end: str
    unit: str
    example: str
    read_as: str
    sure: HowSure
    why: str = ""


@dataclass(frozen=True, slots=True)
class ProposedTable:
    """One table of theirs.

    Attributes:
        row: what one row of it is.
        made: texts that the mapping makes for fields that no column holds.
        doubt: why it may be something else.
    """

    page: str
    row: str
    layout: str
    columns: tuple[ProposedColumn, ...]
    made: tuple[tuple[str, str], ...] = ()
    doubt: str = ""


@dataclass(frozen=True, slots=True)
class Proposal:
    """A mapping that was proposed.

    Attributes:
        left: pages that no table is about, each with the reason.
        unsure: lines of the mapping that a person must settle before it can be used.
    """

    tables: tuple[ProposedTable, ...]
    left: tuple[tuple[str, str], ...]
    unsure: int
