"""How a report is to look, and what it may show beside its result."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from verifier.model.plan import Plan
    from verifier.model.samples import Block


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportSheet:
    """A sheet of the plan: field path and heading of each column, and the rows below."""

    name: str
    columns: tuple[tuple[str, str], ...]
    rows: tuple[tuple[Any, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Annex:
    """What a document may show beside the result.

    Attributes:
        plan: what should be; None where only a result is left.
        sheets: the same as rows, for a workbook.
        samples: blocks of a soak, see `rules/soak/tally`; gone through once.
        sha256: hash of each part of the evidence, by its name.
        signature: public key of the signature, in words; empty where it is not signed.
    """

    plan: Plan | None = None
    sheets: tuple[ReportSheet, ...] = ()
    samples: Iterable[Block] = ()
    sha256: Mapping[str, str] = field(default_factory=dict)
    signature: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportStyle:
    """How a report is to look: width in columns, colour, everything or what matters.

    Attributes:
        screen: it is printed, so it is to be taken in at a glance; else it is a document.
        verbose: everything.
    """

    width: int = 100
    colour: bool = False
    verbose: bool = False
    screen: bool = False
    annex: Annex = Annex()
