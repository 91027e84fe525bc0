"""The page in headless Chromium: no console errors, no request, filter, folding, print, contrast."""

from __future__ import annotations

import base64
import dataclasses
import json
import re
from pathlib import Path
from typing import Any

import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

from tests.report.browsing import CONTRAST, browser
from tests.report.conftest import example
from tests.report.test_pages_outside import soaked
from verifier.model.problem import Subject
from verifier.model.result import Finding
from verifier.report.result import FORMATS
from verifier.report.style import Annex, ReportStyle

html: Any = FORMATS["html"]

__all__ = ["browser"]
pytestmark = pytest.mark.browser


@pytest.fixture
def open_page(browser, tmp_path) -> Any:
    """Opens a drawn page; returns the browser."""

    def opened(drawn: tuple[Any, Any], *, script: bool = True) -> Any:
        page: Path = tmp_path / "page.html"
        page.write_text(html(*drawn), "utf-8")
        browser.get_log("browser")
        browser.get_log("performance")
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": not script})
        browser.get(page.as_uri())
        return browser

    return opened


def shown(browser: Any, selector: str) -> list[Any]:
    return [e for e in browser.find_elements("css selector", selector) if e.is_displayed()]


@pytest.mark.parametrize("which", ["sample", "evil"])
def test_opens_without_a_complaint_or_a_request(which, open_page, request) -> None:
    """The console stays empty, nothing but the file is asked for, nothing hostile has run."""
    browser = open_page(request.getfixturevalue(which))
    assert browser.get_log("browser") == []
    messages = [json.loads(e["message"])["message"] for e in browser.get_log("performance")]
    asked = {m["params"]["request"]["url"] for m in messages
             if m["method"] == "Network.requestWillBeSent"}  # fmt: skip
    assert {url.partition(":")[0] for url in asked} <= {"file", "data"}
    assert "verification of" in browser.title
    assert len(browser.find_elements("tag name", "script")) == 1
    assert browser.find_elements("tag name", "img") == []


def test_the_filter(open_page, sample) -> None:
    """Words and verdicts leave the rows that match; the count is said; print shows all rows."""
    browser = open_page(sample)
    assert len(shown(browser, ".checks tbody tr")) == 5
    words = browser.find_element("id", "words")
    words.send_keys("QUARRY serial")
    (row,) = shown(browser, ".checks tbody tr")
    assert "000999" in row.text
    assert browser.find_element("id", "shown").text == "1 of 5 findings"
    words.clear()
    browser.find_element("css selector", "input[value=pass]").click()
    assert {r.get_attribute("class") for r in shown(browser, ".checks tbody tr")} == {
        "fail", "warn", "not-tested",
    }  # fmt: skip
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    assert len(shown(browser, ".checks tbody tr")) == 5
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


def test_folding_by_keyboard(open_page, sample) -> None:
    """Enter on the button of a section folds it and says so; `Unfold all` opens it again."""
    browser = open_page(sample)
    button = browser.find_element("css selector", ".subject .turn")
    assert button.get_attribute("aria-expanded") == "true"
    button.send_keys("\ue007")
    assert button.get_attribute("aria-expanded") == "false"
    assert not browser.find_element("id", button.get_attribute("aria-controls")).is_displayed()
    browser.find_element("id", "unfold").click()
    assert browser.find_element("id", button.get_attribute("aria-controls")).is_displayed()
    browser.find_element("id", "fold").click()
    assert len(shown(browser, ".subject .body")) == 2  # of three, one passes


def test_without_script_all_is_there(open_page, sample) -> None:
    """Every finding is shown, and no control that does nothing."""
    browser = open_page(sample, script=False)
    assert len(shown(browser, ".checks tbody tr")) == 5
    assert shown(browser, "form, button") == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_contrast(scheme, open_page, sample) -> None:
    """Every text has at least 4.5 : 1 to its ground (WCAG 2.2, 1.4.3), in light and in dark."""
    browser = open_page(sample)
    feature = {"name": "prefers-color-scheme", "value": scheme}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [feature]})
    measured = browser.execute_script(CONTRAST)
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    assert len(measured) > 50
    assert [m for m in measured if m[1] < 4.5] == []


@pytest.mark.parametrize("width", [320, 390, 1280])
@pytest.mark.parametrize("which", ["sample", "evil"])
def test_nothing_is_wider_than_the_screen(width, which, open_page, request) -> None:
    """No sideways scrolling, from a small phone on (WCAG 2.2, 1.4.10), whatever the names."""
    browser = open_page(request.getfixturevalue(which))
    size = {"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": width < 500}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    wide = browser.execute_script("return document.documentElement.scrollWidth")
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert wide <= width


@pytest.mark.parametrize("width", [320, 390])
def test_an_end_that_was_not_tested_fits_a_phone(width, open_page) -> None:
    """The longest verdict in the narrowest column, the last of a link's table."""
    result, plan = example()
    end = Finding(id="f6", check="radio.rx-level", subject=Subject("link", "Hop 1", end="b"),
                  verdict="not-tested", expected=-45.6, unit="dBm", reason="no answer")  # fmt: skip
    untested = dataclasses.replace(result, findings=(*result.findings, end))
    browser = open_page((untested, ReportStyle(annex=Annex(plan=plan))))
    size = {"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    wide = browser.execute_script("return document.documentElement.scrollWidth")
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert shown(browser, ".ends .mark.not-tested")
    assert wide <= width


@pytest.mark.parametrize("width", [390, 1280])
def test_the_plots_of_a_soak_can_be_read(width, open_page) -> None:
    """On a phone too: no word of them is lower than 8 pixels, and none is cut off."""
    browser = open_page(soaked())
    size = {"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": width < 500}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    boxes = browser.execute_script(
        "return [...document.querySelectorAll('svg.trend text')].map((t) => {"
        " const a = t.getBoundingClientRect(), b = t.ownerSVGElement.getBoundingClientRect();"
        " return [t.textContent, a.height, a.left - b.left, b.right - a.right]; });"
    )
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert len(boxes) > 8
    assert [b for b in boxes if b[1] < 8 or min(b[2], b[3]) < -0.5] == []


@pytest.mark.parametrize("width", [320, 1280])
@pytest.mark.parametrize("which", ["sample", "evil"])
def test_all_words_of_a_picture_are_in_it(width, which, open_page, request) -> None:
    """On a phone too: both names, what is sent and what arrives are shown, and none is cut off."""
    browser = open_page(request.getfixturevalue(which))
    size = {"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": width < 500}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    boxes = browser.execute_script(
        "return [...document.querySelectorAll('svg.picture text')].map((t) => {"
        " const a = t.getBoundingClientRect(), b = t.ownerSVGElement.getBoundingClientRect();"
        " return [t.textContent.trim(), a.width, a.left - b.left, b.right - a.right]; });"
    )
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    words = [box for box in boxes if box[0]]
    assert len(words) >= 6
    assert [b for b in words if b[1] <= 0 or min(b[2], b[3]) < -0.5] == []


def test_prints_on_a4(open_page, sample) -> None:
    """Few pages of A4 (210 mm by 297 mm are 595 by 842 points)."""
    browser = open_page(sample)
    made = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    pdf = base64.b64decode(made["data"])
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) in range(2, 5)
    width, height = re.findall(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", pdf)[0]
    assert (round(float(width)), round(float(height))) == (595, 842)


def test_filter_and_folds_by_keyboard_alone(open_page, sample) -> None:
    """Tab reaches every control in the order of the page; space and Enter work them."""
    browser = open_page(sample)
    order = (
        "return [...document.querySelectorAll('nav a, #filter input, #filter button, h3 .turn')]"
    )
    controls = browser.execute_script(f"{order}.map((e) => e.id || e.value || e.textContent)")
    reached = []
    for _ in range(len(controls) + 2):
        ActionChains(browser).send_keys(Keys.TAB).perform()
        active = browser.switch_to.active_element
        reached.append(browser.execute_script(
            "const e = arguments[0]; return e.id || e.value || e.textContent", active))  # fmt: skip
        if active.get_attribute("value") == "fail":
            before = len(shown(browser, "#findings tbody tr.fail"))
            ActionChains(browser).send_keys(Keys.SPACE).perform()
            assert (before > 0, shown(browser, "#findings tbody tr.fail")) == (True, [])
            ActionChains(browser).send_keys(Keys.SPACE).perform()
        if active.get_attribute("class") == "turn":
            ActionChains(browser).send_keys(Keys.ENTER).perform()
            assert active.get_attribute("aria-expanded") == "false"
    assert [c for c in reached if c in controls][: len(controls)] == controls
