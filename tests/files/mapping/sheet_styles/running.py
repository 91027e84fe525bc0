"""One drawn sheet through the whole of it: proposed, settled by a person, read, judged."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from tests.files.mapping.sheet_styles.drawing import DrawnSheet, draw_sheet
from tests.files.mapping.sheet_styles.judging import Verdict, judge
from tests.files.mapping.sheet_styles.person import column_of, key_of, settled, unread
from tests.files.mapping.sheet_styles.saving import save
from verifier.errors import InputError
from verifier.files.propose_mapping import propose
from verifier.files.read_plan import read_foreign


@dataclass(slots=True)
class Outcome:
    """What came of one sheet.

    Attributes:
        refused: why nothing was read; empty where it was.
        clear: true values whose heading and unit say what they are.
        known: those of them that were read without an edit.
    """

    drawn: DrawnSheet
    verdict: Verdict = field(default_factory=Verdict)
    refused: str = ""
    clear: int = 0
    known: int = 0


def run_sheet(seed: int, folder: Path) -> Outcome:
    """Draws the sheet of a seed, and reads it."""
    drawn = draw_sheet(seed)
    return read_drawn(drawn, save(drawn, folder), folder / f"mapping{seed}.toml")


def read_drawn(drawn: DrawnSheet, path: Path, out: Path) -> Outcome:
    """Has a mapping proposed, settles it, reads the sheet by it, judges what was read."""
    outcome = Outcome(drawn)
    out.unlink(missing_ok=True)
    try:
        propose(path, out)
        text, edited = settled(out.read_text(encoding="utf-8"), drawn)
        out.write_text(text, encoding="utf-8")
        plan, problems, ledger = read_foreign(path, out)
    except InputError as fault:
        outcome.refused = str(fault)
        _count(outcome, set())
        return outcome
    outcome.verdict = judge(drawn, plan, problems, ledger)
    _count(outcome, {key_of(h) for h in (*edited, *unread(text))})
    return outcome


def _count(outcome: Outcome, not_known: set[str]) -> None:
    """How much of what is clear was read without an edit."""
    drawn, right = outcome.drawn, outcome.verdict.right
    edited = _edited(drawn, not_known)
    not_clear = {c.what for c in drawn.columns if not c.clear}
    for page in drawn.pages:
        for cell in page.cells.values():
            for key in cell.keys:
                if key[0] not in drawn.dropped and key[2] not in not_clear:
                    outcome.clear += 1
                    outcome.known += key in right and key[2] not in edited


def _edited(drawn: DrawnSheet, headings: set[str]) -> set[str]:
    """What the columns hold that a person had to settle, or that nobody did."""
    found = set()
    for heading in headings:
        for row in ("link", "end"):
            column = column_of(drawn, {"row": row}, heading)
            if column is not None:
                found.add(column.what)
    return found
