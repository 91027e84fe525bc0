"""Headless Chromium for the tests of pages."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from typing import Any

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.service import Service

CONTRAST = """
const light = (text) => {
  const [r, g, b] = text.match(/[\\d.]+/g).map(Number).map((c) => c / 255)
    .map((c) => c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4);
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
};
const ground = (e) => {
  for (; e; e = e.parentElement) {
    const colour = getComputedStyle(e).backgroundColor;
    if (colour !== "rgba(0, 0, 0, 0)") return colour;
  }
  return "rgb(255, 255, 255)";
};
return [...document.querySelectorAll("body *:not(script):not(svg *)")]
  .filter((e) => [...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim()))
  .map((e) => {
    const [a, b] = [light(getComputedStyle(e).color), light(ground(e))].sort((x, y) => y - x);
    return [e.tagName + "." + e.className, (a + 0.05) / (b + 0.05)];
  });
"""
"""Contrast of every text with its ground: WCAG 2.2, definition of relative luminance."""


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """One browser for all tests of a module; it keeps what the page says and asks for."""
    options = webdriver.ChromeOptions()
    for word in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
        options.add_argument(word)
    options.binary_location = shutil.which("chromium") or ""
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))
    driver.set_script_timeout(120)
    yield driver
    driver.quit()
