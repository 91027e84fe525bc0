"""Every page through two judges that nobody here wrote: html-validate, and axe-core in Chromium."""

from __future__ import annotations

import dataclasses
import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.as_seen import observation
from tests.command import command
from tests.conftest import node_modules
from tests.report.browsing import browser
from tests.report.conftest import example, hostile
from tests.report.history.examples import HOSTILE, RECORD, many
from tests.report.status import examples as paging
from verifier.model.problem import Subject
from verifier.model.status import Status
from verifier.report.history import FORMATS as RECORDS
from verifier.report.result import FORMATS
from verifier.report.status.page import page as status_page
from verifier.report.style import Annex, ReportStyle

__all__ = ["browser"]
pytestmark = [pytest.mark.npm, pytest.mark.browser]

MADE = {
    "runbook": ("readdress", "plan.yaml"),
    "cards": ("cards", "plan.yaml", "--qr"),
    "labels": ("cards", "plan.yaml", "--labels", "--qr"),
}
"""Pages that commands write of the example plan."""
STATUS: dict[str, Callable[[], Status]] = {
    "status": lambda: paging.ring(None),
    "status of a series": paging.ring,
    "hostile status": paging.hostile,
    "empty status": paging.empty,
}
DRAWN = ("report", "hostile report", "soak", "record", "hostile record", "long record", *STATUS)
PAGES = (*DRAWN, *MADE, "handbook", "topic")
SCREEN = {"light", "dark"}
REFRESHED = "status of a series"
"""The one page that loads itself anew: a wall screen has nobody to do it. Both judges have a rule
against that, since a reader may be cut off; whoever reads can hold the page still by its button, as
WCAG 2.2, 2.2.1 asks. Every other rule holds for it."""


def soaked() -> tuple[Any, ReportStyle]:
    """The example with a soak of a minute: echoes with a loss, and levels."""
    result, plan = example()
    subject, at = {"kind": "device", "name": "quarry"}, "2026-11-24T10:00:00.000Z"
    echo: Any = {
        "kind": "echo", "subject": subject, "path": "management", "bytes": 84, "at": at,
        "start_s": 0.0, "step_s": 1.0, "rtt_us": [2000, 2500, None, 2100] * 15, "duplicates": 0,
        "reordered": 0, "silence": {},
    }  # fmt: skip
    values: Any = {
        "kind": "values", "subject": subject, "at": at, "t_s": [0.0, 10.0, 20.0], "speeds": {},
        "series": {"sysUpTime": [1000, 2000, 3000], "rx_level_dbm": [-45.6, -45.7, -45.5]},
    }  # fmt: skip
    how = {"asked_s": 60.0, "lasted_s": 60.0, "state": "complete", "step_s": 1.0, "bytes": [84]}
    noted = observation(id=90, subject=Subject("laptop", "laptop"), probe="laptop", what="soak",
                        value=how, at=at)  # fmt: skip
    result = dataclasses.replace(result, observations=(*result.observations, noted))
    return result, ReportStyle(annex=Annex(plan=plan, samples=(echo, values)))


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Every page, as a file."""
    folder: Path = tmp_path_factory.mktemp("pages")

    def run(*words: str) -> None:
        command(folder, *words).check_returncode()

    run("new", "plan.yaml", "--example")
    for name, words in MADE.items():
        run(*words, "--quiet", "--out", f"{name}.html")
    run("explain", "--out", "handbook.html")
    run("explain", "stages", "--out", "topic.html")
    result, plan = example()
    draw: Any = FORMATS["html"]
    drawn = {
        "report": draw(result, ReportStyle(annex=Annex(plan=plan))),
        "hostile report": draw(*hostile()),
        "soak": draw(*soaked()),
        "record": RECORDS["html"](RECORD, ReportStyle()),
        "hostile record": RECORDS["html"](HOSTILE, ReportStyle()),
        **{name: status_page(make()) for name, make in STATUS.items()},
        "long record": RECORDS["html"](many(40), ReportStyle()),
    }
    for name, text in drawn.items():
        (folder / f"{name}.html").write_text(text, "utf-8")
    return {name: folder / f"{name}.html" for name in PAGES}


@pytest.fixture(scope="module")
def validated(pages: dict[str, Path]) -> dict[str, list[str]]:
    """The rules of html-validate that each page breaks; all pages are judged at once."""
    (folder,) = {path.parent for path in pages.values()}
    (folder / "wrong.html").write_text("<!doctype html><html><p><div></p><img></html>")
    names = [*PAGES, "wrong"]
    done = subprocess.run(
        [node_modules() / ".bin" / "html-validate", "--preset", "standard,a11y",
         "--formatter", "json", *(f"{name}.html" for name in names)],
        cwd=folder, capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == 1, done.stderr
    broken: dict[str, list[str]] = {name: [] for name in names}
    for page in json.loads(done.stdout):
        broken[Path(page["filePath"]).stem] = [m["ruleId"] for m in page["messages"]]
    return broken


@pytest.mark.parametrize("name", PAGES)
def test_the_validator_finds_nothing(name: str, validated: dict[str, list[str]]) -> None:
    """Presets `standard` (the HTML standard) and `a11y` of html-validate."""
    assert validated[name] == (["meta-refresh"] if name == REFRESHED else [])


def test_the_validator_would_find_something(validated: dict[str, list[str]]) -> None:
    """A page that is wrong is refused: the judge is awake."""
    assert validated["wrong"]


def violations(browser: Any, page: Path, scheme: str) -> list[str]:
    """What axe-core holds against a page: the rule, and the first places."""
    wanted = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", wanted)
    browser.get(page.as_uri())
    browser.execute_script((node_modules() / "axe-core" / "axe.min.js").read_text("utf-8"))
    rules = "{}" if scheme == "light" else "{runOnly: ['color-contrast']}"  # all else is the same
    found = browser.execute_async_script(f"axe.run(document, {rules}).then(arguments[0])")
    return [f"{v['id']}: {[n['target'] for n in v['nodes']][:3]}" for v in found["violations"]]


@pytest.mark.parametrize("scheme", sorted(SCREEN))
@pytest.mark.parametrize("name", PAGES)
def test_axe_finds_nothing(name: str, scheme: str, pages: dict[str, Path], browser: Any) -> None:
    """All rules of axe-core that are on by default (WCAG 2 A and AA, best practice)."""
    found = violations(browser, pages[name], scheme)
    expected = ["meta-refresh"] if (name, scheme) == (REFRESHED, "light") else []
    assert [v.partition(":")[0] for v in found] == expected, found


def test_axe_would_find_something(browser: Any, tmp_path: Path) -> None:
    """A page without language, title and texts for pictures: the judge is awake."""
    page = tmp_path / "wrong.html"
    page.write_text("<html><body><p>quay</p><img src='data:,'><a href='#x'></a></body></html>")
    found = {v.partition(":")[0] for v in violations(browser, page, "light")}
    assert {"html-has-lang", "document-title", "image-alt"} <= found
