"""The status page in headless Chromium, with 1,000 devices and with few: light, quiet, usable."""

from __future__ import annotations

import dataclasses
import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

from tests.report.browsing import CONTRAST, browser
from tests.report.status import examples as paging
from verifier.model.status import Status
from verifier.report.status.page import page

__all__ = ["browser"]
pytestmark = pytest.mark.browser

MADE: dict[str, Callable[[], Status]] = {
    "ring": lambda: paging.ring(None),
    "hostile": paging.hostile,
    "many": lambda: paging.many(1000, None),
}
LOADED_MS = 5000
"""For 1,000 devices; it takes a fifth of that on two cores that nobody else uses."""
MARKS = "return [...document.querySelectorAll('main > section')].map((s) => s.id)"


@pytest.fixture(scope="module")
def drawn() -> dict[str, str]:
    return {name: page(make()) for name, make in MADE.items()}


@pytest.fixture
def open_page(browser: Any, tmp_path: Path) -> Callable[..., Any]:
    """Opens a text as a page; returns the browser."""

    def opened(text: str, *, script: bool = True, width: int = 1366, height: int = 768) -> Any:
        path = tmp_path / "index.html"
        path.write_text(text, "utf-8")
        browser.get("about:blank")
        browser.get_log("browser")
        browser.get_log("performance")
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 500}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": not script})
        browser.get(path.as_uri())
        return browser

    return opened


def swept_ago(status: Status, age_s: float) -> str:
    """The page of a sweep that began so long before now."""
    return page(dataclasses.replace(status, started_s=time.time() - age_s))


@pytest.mark.parametrize("name", MADE)
def test_no_complaint_and_no_request(name: str, drawn: dict[str, str], open_page: Any) -> None:
    """The console stays empty, nothing but the file is asked for, nothing hostile has run."""
    browser = open_page(drawn[name])
    assert browser.get_log("browser") == []
    messages = [json.loads(e["message"])["message"] for e in browser.get_log("performance")]
    asked = {
        m["params"]["request"]["url"].partition(":")[0]
        for m in messages
        if m["method"] == "Network.requestWillBeSent"
    }
    assert "file" in asked
    assert asked <= {"file", "data"}
    assert len(browser.find_elements("tag name", "script")) == 1
    assert browser.find_elements("tag name", "img") == []
    assert browser.execute_script(MARKS) == ["changed", "roots", "drawing", "everything"]


@pytest.mark.parametrize("width", [320, 390, 1366, 1920])
@pytest.mark.parametrize("name", MADE)
def test_nothing_is_wider_than_the_screen(
    name: str, width: int, drawn: dict[str, str], open_page: Any
) -> None:
    """No sideways scrolling, folded or unfolded, whatever the names (WCAG 2.2, 1.4.10)."""
    browser = open_page(drawn[name], width=width, height=1080)
    wide = "return document.documentElement.scrollWidth"
    assert browser.execute_script(wide) <= width
    if name != "many":
        browser.execute_script("document.querySelectorAll('details').forEach((d) => d.open = true)")
        assert browser.execute_script(wide) <= width


def test_a_thousand_devices_open_fast(drawn: dict[str, str], open_page: Any) -> None:
    """Loaded and laid out within seconds; every one of them is in the table."""
    browser = open_page(drawn["many"])
    took_ms = 0
    for _ in range(100):  # it is 0 until the event is over
        took_ms = took_ms or browser.execute_script(
            "const n = performance.getEntriesByType('navigation')[0]; return n.loadEventEnd"
        )
        time.sleep(0 if took_ms else 0.05)
    assert 0 < took_ms < LOADED_MS
    rows = "return document.querySelectorAll('#everything tbody tr:not(.levels)').length"
    assert browser.execute_script(rows) == 1000 + 500
    assert browser.execute_script("return document.querySelectorAll('.spark').length") == 1000


def test_changes_and_roots_are_seen_on_a_wall_without_scrolling(open_page: Any) -> None:
    """Few of them, on 1920 by 1080: in letters of 1.2 times those of a desk at least."""
    browser = open_page(swept_ago(paging.ring(), 20.0), width=1920, height=1080)
    boxes = browser.execute_script(
        "return [...document.querySelectorAll('#changed .now > li, #roots .now > li')].map((e) =>"
        " [e.getBoundingClientRect().bottom, parseFloat(getComputedStyle(e).fontSize)])"
    )
    assert len(boxes) == 2 + 4
    assert all(bottom <= 1080 and size >= 19 for bottom, size in boxes)


def test_folds_by_keyboard(drawn: dict[str, str], open_page: Any) -> None:
    """Tab reaches what hangs on a root; Enter unfolds it and folds it again."""
    browser = open_page(drawn["ring"])
    roots = "document.querySelector('#roots details')"
    for _ in range(30):
        ActionChains(browser).send_keys(Keys.TAB).perform()
        if browser.execute_script(f"return document.activeElement?.parentElement === {roots}"):
            break
    else:
        pytest.fail("Tab does not reach it")
    for is_open in (True, False):
        ActionChains(browser).send_keys(Keys.ENTER).perform()
        assert browser.execute_script(f"return {roots}.open") is is_open


@pytest.mark.parametrize(
    ("age_s", "said", "old"),
    [
        (150.0, "This page is 2 minutes old.", False),
        (400.0, "This page is 6 minutes old.", False),
        (700.0, "This page is 11 minutes old: no newer sweep has come.", True),
        (200_000.0, "This page is 2 days old: no newer sweep has come.", True),
        (-300.0, "one of the two clocks is wrong", True),
    ],
)
def test_the_age_of_the_page(age_s: float, said: str, old: bool, open_page: Any) -> None:  # noqa: FBT001
    """In words, for an interval of 5 minutes; older than two of them it is a warning."""
    browser = open_page(swept_ago(paging.ring(), age_s))
    age = browser.find_element("id", "age")
    assert said in age.text
    assert ("old" in (age.get_attribute("class") or "").split()) is old
    assert (age.get_attribute("role") == "alert") is (age_s > 600)


def test_the_warning_comes_by_itself(open_page: Any) -> None:
    """A page that lies open grows old, though nobody loads it anew."""
    made = dataclasses.replace(paging.ring(None), stale_s=3.0)
    browser = open_page(swept_ago(made, 0.0))
    age = browser.find_element("id", "age")
    assert "no newer sweep" not in age.text
    until_s = time.monotonic() + 60
    while "no newer sweep has come" not in age.text:
        assert time.monotonic() < until_s
        time.sleep(0.2)


def test_without_script_all_is_said(open_page: Any) -> None:
    """The time of the sweep and of the next one; no empty words, no button that does nothing."""
    browser = open_page(page(paging.ring()), script=False)
    age = browser.find_element("id", "age").text
    assert age == "Swept 2026-11-24 10:00:00 UTC, the next one is due at 10:05:00."
    assert browser.find_elements("tag name", "button") == []
    browser.find_element("css selector", "#roots summary").click()
    assert browser.find_element("css selector", "#roots details li").is_displayed()


def newer(tmp_path: Path, text: str) -> None:
    (tmp_path / "new").write_text(text, "utf-8")
    (tmp_path / "new").replace(tmp_path / "index.html")


def wait_for(browser: Any, word: str, limit_s: float = 20.0) -> bool:
    until_s = time.monotonic() + limit_s
    while time.monotonic() < until_s:
        if word in browser.title:
            return True
        time.sleep(0.2)
    return False


@pytest.mark.parametrize("script", [True, False])
def test_a_screen_sees_the_next_sweep_by_itself(
    script: bool,  # noqa: FBT001
    open_page: Any,
    tmp_path: Path,
) -> None:
    """Nobody touches it; what was unfolded stays unfolded."""
    made = paging.ring(5.0)
    browser = open_page(page(made), script=script)
    browser.find_element("css selector", "#roots summary").click()
    newer(tmp_path, page(dataclasses.replace(made, network="Harbour ring, later")))
    assert wait_for(browser, "later")
    unfolded = browser.find_element("css selector", "#roots details").get_attribute("open")
    assert (unfolded is not None) is script


def test_who_reads_may_hold_it_still(open_page: Any, tmp_path: Path) -> None:
    """Held, it is not loaded anew; let go, it is at once (WCAG 2.2, 2.2.1)."""
    made = paging.ring(5.0)
    browser = open_page(page(made))
    button = browser.find_element("css selector", "#age button")
    button.click()
    assert button.get_attribute("aria-pressed") == "true"
    newer(tmp_path, page(dataclasses.replace(made, network="Harbour ring, later")))
    assert not wait_for(browser, "later", 8.0)
    button.click()
    assert wait_for(browser, "later", 5.0)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_contrast(scheme: str, open_page: Any) -> None:
    """Every text has at least 4.5 : 1 to its ground, fresh and too old (WCAG 2.2, 1.4.3)."""
    wanted = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    for age_s in (20.0, 5000.0):
        browser = open_page(swept_ago(paging.ring(), age_s))
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", wanted)
        measured = browser.execute_script(CONTRAST)
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
        assert len(measured) > 100
        assert [m for m in measured if m[1] < 4.5] == []
