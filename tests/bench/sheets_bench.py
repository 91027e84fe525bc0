"""Sheets drawn from a true plan in the styles of different houses, read back and compared with it.

Run: python tests/bench/sheets_bench.py [COUNT] [SEED]. Sheet n has the seed SEED + n; one of them is
told again by `sheets_bench.py 1 SEED`, which leaves its files here and shows all that was wrong.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.files.mapping.sheet_styles.drawing import STYLES
from tests.files.mapping.sheet_styles.running import Outcome, run_sheet

SHOWN = 30
"""Sheets with a fault that are shown."""


class Tally:
    """What all sheets came to."""

    def __init__(self) -> None:
        self.values = 0
        self.faults: Counter[str] = Counter()
        self.clear: Counter[str] = Counter()
        self.known: Counter[str] = Counter()
        self.refused: Counter[str] = Counter()

    def add(self, outcome: Outcome) -> None:
        style, verdict = outcome.drawn.style, outcome.verdict
        self.values += len(verdict.right)
        self.clear[style] += outcome.clear
        self.known[style] += outcome.known
        self.refused[style] += bool(outcome.refused)
        for what in ("wrong", "untold", "holes"):
            self.faults[what] += bool(getattr(verdict, what))

    def show(self) -> None:
        faults = self.faults
        print(f"{self.values} values read right")
        print(f"sheets with a wrong value: {faults['wrong']}")
        print(f"sheets with a missing value that nothing tells: {faults['untold']}")
        print(f"sheets with a cell that is not in the ledger: {faults['holes']}")
        print("read without an edit, of the values whose heading and unit say what they are:")
        for style in STYLES:
            share = 100 * self.known[style] / max(1, self.clear[style])
            refused = f"; {self.refused[style]} sheets refused" if self.refused[style] else ""
            print(f"  {style:<15}{share:6.1f} % of {self.clear[style]}{refused}")


def show(outcome: Outcome, most: int) -> None:
    """What is wrong with one sheet."""
    drawn = outcome.drawn
    how = (drawn.style, drawn.language, drawn.unit_place, "csv" if drawn.csv else "xlsx")
    print(f"seed {drawn.seed} ({', '.join(how)}): {outcome.refused}")
    for line in outcome.verdict.faults[:most]:
        print(f"    {line}")


def main() -> None:
    """Draws, reads and counts."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 5000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    start, shown, tally = time.monotonic(), 0, Tally()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first, first + count):
            outcome = run_sheet(seed, Path(folder))
            tally.add(outcome)
            if (outcome.verdict.faults or count == 1) and shown < SHOWN:
                shown += 1
                show(outcome, 100 if count == 1 else 3)
            for file in Path(folder).iterdir():
                if count == 1:
                    shutil.copy(file, Path.cwd())
                file.unlink()
    print(f"{count} sheets from seed {first} in {time.monotonic() - start:.0f} s")
    tally.show()


if __name__ == "__main__":
    main()
