"""The page of somebody's own sheet: what it holds, and what a person sees and does in a browser."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

from tests.report.browsing import CONTRAST, browser
from verifier.model.ledger import HIDDEN, CellRecord, FieldRead, Ledger
from verifier.model.problem import Subject
from verifier.model.sheet_look import Block, SheetLook
from verifier.report.read_sheet import FATES, page

__all__ = ["browser"]

HOSTILE = "</script><script>alert(1)</script> \u202e&amp;\u2028"
SHOWN_MS = 15_000
"""5,000 rows of 12 columns; it takes a tenth of that on two cores that nobody else uses."""


def read(row: int, column: int, shown: str, value: str) -> CellRecord:
    """A cell that was read."""
    field = FieldRead(
        "Links.a.tx_mhz", Subject("link", f"H{row}", end="a"), value, "MHz",
        f"{shown} GHz is {value} MHz",
    )  # fmt: skip
    return CellRecord("Hops", row, column, shown, "read", "Tx A (GHz)", reads=(field,))


def ledger(rows: int = 6, columns: int = 4) -> Ledger:
    """A sheet with a title, headings, rows, and a second sheet with a hostile text."""
    cells = [CellRecord("Hops", 1, 1, "Coastal ring", "title", reason="it is above the headings")]
    cells += [CellRecord("Hops", 3, n, f"Heading {n}", "heading") for n in range(1, columns + 1)]
    for row in range(4, rows + 4):
        cells += [read(row, n, f"13.{row}{n}", f"13{row}{n}") for n in range(1, columns - 1)]
        cells.append(CellRecord("Hops", row, columns - 1, f"45.{row}", "not read", "RSL", "unsaid"))
        cells.append(CellRecord("Hops", row, columns, HIDDEN, "left out", "Community", "a secret"))
    cells.append(CellRecord("Old", 1, 1, HOSTILE, "not read", "", "nobody speaks of this sheet"))
    return Ledger(tuple(cells), LOOKS)


LOOKS = (
    SheetLook(
        "Hops", {1: 30.0}, hidden_rows=frozenset({5}), hidden_columns=frozenset({2}),
        struck=frozenset({(6, 1)}), blocks=(Block(1, 1, 1, 3), Block(7, 1, 8, 1)),
    ),
    SheetLook("Old", {}, hidden=True),
)  # fmt: skip


def drawn(rows: int = 6, columns: int = 4) -> str:
    """The page of a small sheet."""
    return page("links.xlsx", "mapping.toml", ledger(rows, columns))


def data_of(text: str) -> Any:
    """The cells that stand in a page."""
    found = re.search(r'<script type="application/json" id="cells">(.*?)</script>', text, re.DOTALL)
    assert found is not None
    return json.loads(found[1])


def test_every_cell_of_the_ledger_stands_in_the_page_once() -> None:
    data = data_of(drawn())
    order = [fate for fate, _, _ in data["fates"]]
    places = [
        (sheet["name"], row, cell[0], data["texts"][cell[1]], order[cell[2]].replace("-", " "))
        for sheet in data["sheets"]
        for row, cells in sheet["rows"]
        for cell in cells
    ]
    wanted = [(c.sheet, c.row, c.column, c.shown, c.fate) for c in ledger().cells]
    assert [p[:3] for p in places] == [w[:3] for w in wanted]
    assert [p[3:] for p in places[:-1]] == [w[3:] for w in wanted[:-1]]


def test_the_counts_and_the_columns_that_are_not_read_stand_on_top() -> None:
    text = drawn()
    assert "each of its 30 filled cells" in text
    assert re.search(r"<strong>7</strong> not read", text)
    assert re.search(r"<strong>12</strong> read", text)
    assert text.index("RSL") < text.index('id="grid"')


def test_hostile_texts_stay_texts() -> None:
    """What ends a script, turns the direction or breaks a line is spelt out."""
    text = drawn()
    assert text.count("<script") == 2
    assert "alert(1)</script>" not in text
    assert "\u202e" not in text
    assert "\u2028" not in text


def test_a_sheet_without_a_look_is_drawn_all_the_same() -> None:
    names = [sheet["name"] for sheet in data_of(page("a", "m", Ledger(ledger().cells)))["sheets"]]
    assert names == ["Hops", "Old"]


def test_each_fate_has_its_own_sign() -> None:
    assert len({sign for sign, _, _ in FATES.values()}) == len(FATES)


# -- in a browser ----------------------------------------------------------------------------------


@pytest.fixture
def opened(browser: Any, tmp_path: Path) -> Callable[..., Any]:
    """Opens a page."""

    def open_page(text: str) -> Any:
        (tmp_path / "read.html").write_text(text, "utf-8")
        browser.get("about:blank")
        browser.get_log("browser")
        browser.get_log("performance")
        browser.get((tmp_path / "read.html").as_uri())
        return browser

    return open_page


def detail(browser: Any) -> str:
    return str(browser.find_element("id", "detail").text)


@pytest.mark.browser
def test_the_page_complains_of_nothing_and_asks_for_nothing(opened: Any) -> None:
    browser = opened(drawn())
    assert browser.get_log("browser") == []
    messages = [json.loads(e["message"])["message"] for e in browser.get_log("performance")]
    asked = {
        m["params"]["request"]["url"].partition(":")[0]
        for m in messages
        if m["method"] == "Network.requestWillBeSent"
    }
    assert asked <= {"file", "data"}


@pytest.mark.browser
def test_pointing_and_focusing_tell_how_a_cell_was_read(opened: Any) -> None:
    browser = opened(drawn())
    cell = browser.find_element("css selector", '[data-row="4"][data-column="1"]')
    ActionChains(browser).move_to_element(cell).perform()
    assert "A4 (Tx A (GHz)): 13.41" in detail(browser)
    assert "1341 MHz is Links.a.tx_mhz of H4 end a: 13.41 GHz is 1341 MHz" in detail(browser)
    cell.click()
    cell.send_keys(Keys.ARROW_RIGHT)
    browser.switch_to.active_element.send_keys(Keys.ARROW_RIGHT)
    assert "not read: unsaid" in detail(browser)
    browser.switch_to.active_element.send_keys(Keys.ARROW_RIGHT)
    assert HIDDEN in detail(browser)


@pytest.mark.browser
def test_the_button_goes_from_cell_to_cell_and_from_sheet_to_sheet(opened: Any) -> None:
    browser = opened(drawn())
    places = []
    for _ in range(8):
        browser.find_element("id", "next").click()
        places.append(detail(browser).split(" ")[0])
    assert places == ["C4", "C5", "C6", "C7", "C8", "C9", "A1:", "C4"]


@pytest.mark.browser
def test_hidden_struck_and_joined_cells_look_so(opened: Any) -> None:
    browser = opened(drawn())
    style = "return getComputedStyle(document.querySelector(arguments[0]))[arguments[1]]"
    struck = browser.execute_script(style, '[data-row="6"][data-column="1"]', "textDecorationLine")
    assert struck == "line-through"
    hidden = [e.text for e in browser.find_elements("css selector", ".hid")]
    assert hidden == ["B hidden", "hidden 5"]
    box = browser.find_element("css selector", '[data-row="7"][data-column="1"]').rect
    one = browser.find_element("css selector", '[data-row="4"][data-column="1"]').rect
    assert box["height"] == 2 * one["height"]
    assert one["width"] > 200
    options = [e.text for e in browser.find_elements("css selector", "#sheets option")]
    assert options == ["Hops, 6 not read", "Old (hidden), 1 not read"]


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_text_can_be_read(scheme: str, opened: Any) -> None:
    browser = opened(drawn())
    wanted = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", wanted)
    assert [c for c in browser.execute_script(CONTRAST) if c[1] < 4.5] == []


@pytest.mark.browser
def test_five_thousand_rows_open_and_scroll(opened: Any) -> None:
    """The page draws what is to be seen: as many cells as for few rows."""
    text = drawn(5000, 12)
    assert len(text) < 8_000_000
    start = time.monotonic()
    browser = opened(text)
    took_ms = 1000 * (time.monotonic() - start)
    assert took_ms < SHOWN_MS
    few = len(browser.find_elements("css selector", "#grid .cell"))
    assert 0 < few < 2_000
    browser.execute_script("document.getElementById('view').scrollTop = 5000 * 26")
    for _ in range(100):
        if browser.find_elements("css selector", '[data-row="5000"]'):
            break
        time.sleep(0.05)
    assert browser.find_elements("css selector", '[data-row="5000"]')
