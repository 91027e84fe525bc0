"""The page of a record in headless Chromium: nothing fetched, fits every screen, prints on A4."""

from __future__ import annotations

import base64
import re
from pathlib import Path
from typing import Any

import pytest

from tests.report.browsing import CONTRAST, browser
from tests.report.history.examples import HOSTILE, RECORD, many
from verifier.report.history import FORMATS
from verifier.report.style import ReportStyle

__all__ = ["browser"]
pytestmark = pytest.mark.browser
PAGES = {"record": RECORD, "hostile": HOSTILE, "thousand": many(1000)}
SCHEMES = ("light", "dark")


@pytest.fixture(params=PAGES)
def page(request: pytest.FixtureRequest, browser: Any, tmp_path: Path) -> Any:
    """The browser with a record opened in it; its logs tell of this page alone."""
    path = tmp_path / "record.html"
    path.write_text(FORMATS["html"](PAGES[request.param], ReportStyle()), "utf-8")
    browser.get_log("browser")
    browser.get_log("performance")
    browser.get(path.as_uri())
    return browser


def test_it_opens_quietly(page: Any) -> None:
    """Not a word on the console; nothing is asked for but the file; no script, no image."""
    assert page.get_log("browser") == []
    asked = [e["message"] for e in page.get_log("performance")
             if "Network.requestWillBeSent" in e["message"]]  # fmt: skip
    assert not [m for m in asked if re.search(r'"url":"(?!file:|data:)', m)]
    assert page.find_elements("css selector", "script, img, iframe") == []
    assert page.find_elements("css selector", "svg.trend")


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("width", [390, 768, 1366])
def test_it_fits_the_screen(page: Any, width: int, scheme: str) -> None:
    """No sideways scrolling, and every text has contrast (WCAG 2.2, 1.4.10 and 1.4.3)."""
    size = {"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": width < 500}
    wanted = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    page.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", wanted)
    wide = page.execute_script("return document.documentElement.scrollWidth")
    measured = page.execute_script(CONTRAST)
    page.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    assert wide <= width
    assert len(measured) > 30
    assert [m for m in measured if m[1] < 4.5] == []


def test_it_prints_on_a4(page: Any) -> None:
    """210 mm by 297 mm are 595 by 842 points; a thousand devices do not make a book."""
    made = page.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    pdf = base64.b64decode(made["data"])
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", pdf)) <= 80
    width, height = re.findall(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", pdf)[0]
    assert (round(float(width)), round(float(height))) == (595, 842)


def test_of_many_devices_those_with_most_to_tell_have_pictures(page: Any) -> None:
    """A hundred of them, in the order of the plan; every other one has a line in a table."""
    drawn = [h.text for h in page.find_elements("css selector", "article.device h3")]
    others = page.find_elements("css selector", "section:last-child tbody tr")
    if "Device device-0" not in drawn:
        assert len(drawn) == 2
        assert others == []
    else:
        assert len(drawn) == 100
        assert len(others) == 1001 - 100
        assert {f"Device device-{n}" for n in range(0, 990, 10)} <= set(drawn)
