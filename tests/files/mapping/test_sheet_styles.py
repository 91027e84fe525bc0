"""Sheets of many houses, drawn at random from a true plan: nothing is misread, nothing is untold.

`tests/bench/sheets_bench.py` draws thousands; here is a sample of each style.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from tests.files.mapping.sheet_styles.drawing import STYLES, DrawnSheet, draw_sheet
from tests.files.mapping.sheet_styles.running import read_drawn, run_sheet
from tests.files.mapping.sheet_styles.saving import save

SEEDS = (*range(2 * len(STYLES)), 101450, 300583)


@pytest.mark.parametrize("seed", SEEDS)
def test_no_value_differs_from_the_truth_and_none_is_missing_untold(
    seed: int, tmp_path: Path
) -> None:
    outcome = run_sheet(seed, tmp_path)
    assert outcome.verdict.faults == []
    assert outcome.refused or outcome.verdict.right


def test_the_judge_is_awake(tmp_path: Path) -> None:
    """What is true is changed after the sheet was drawn: then what was read is wrong."""
    drawn = draw_sheet(0)
    path = save(drawn, tmp_path)
    link = next(n for n in range(drawn.truth.links) if n not in drawn.dropped)
    drawn.truth.texts[link, "a", "address"] = "198.18.255.254"
    drawn.truth.texts[link, "b", "mask"] = "23"
    outcome = read_drawn(drawn, path, tmp_path / "m.toml")
    assert any("is no plan" in line for line in outcome.verdict.wrong)
    assert any("23 is true" in line for line in outcome.verdict.wrong)


def is_plain(drawn: DrawnSheet) -> bool:
    """Whether the values alone tell all: of .ods and .xls nothing else is seen."""
    struck = any(cell.struck for page in drawn.pages for cell in page.cells.values())
    return not drawn.csv and not struck and drawn.style != "forms stacked"


@pytest.mark.office
def test_what_libreoffice_opens_and_saves_is_read_alike(tmp_path: Path) -> None:
    """A sample, saved again as .xlsx, .ods and .xls: the same values, none wrong, none untold."""
    seeds = [seed for seed in range(80) if is_plain(draw_sheet(seed))][:5]
    (tmp_path / "drawn").mkdir()
    files = [save(draw_sheet(seed), tmp_path / "drawn") for seed in seeds]
    for kind in ("xlsx", "ods", "xls"):
        subprocess.run(
            ["soffice", f"-env:UserInstallation=file://{tmp_path}/profile", "--headless",
             "--convert-to", kind, "--outdir", str(tmp_path / kind), *map(str, files)],
            check=True, capture_output=True, timeout=300,
        )  # fmt: skip
        for seed, file in zip(seeds, files, strict=True):
            saved = tmp_path / kind / f"{file.stem}.{kind}"
            again = read_drawn(draw_sheet(seed), saved, tmp_path / "m.toml")
            assert again.verdict.faults == [], (seed, kind)
            assert again.verdict.right, (seed, kind)
