"""How a page of many findings scrolls: time to show it, and the frames while it goes down.

Usage: python tests/bench/scroll_bench.py PAGE.html      (Chromium and its WebDriver)

The page is scrolled by a screenful a frame, first through the findings as they lie, then with a word
typed into the filter. The frames of a screen at 60 Hz are 16.7 ms apart; headless Chromium draws by
the processor alone, so a machine with a display does better.
"""

from __future__ import annotations

import shutil
import statistics
import sys
import time
from pathlib import Path

from selenium import webdriver
from selenium.webdriver.chrome.service import Service

SCROLL = """
const done = arguments[0], times = [];
let last = performance.now();
function step(now) {
  times.push(now - last); last = now;
  window.scrollBy(0, innerHeight);
  const end = scrollY + innerHeight >= document.documentElement.scrollHeight - 2;
  if (end || times.length > 400) done(times.slice(1)); else requestAnimationFrame(step);
}
requestAnimationFrame(step);
"""
TYPE = """
const words = document.getElementById("words"), began = performance.now();
words.value = "device-77"; words.dispatchEvent(new Event("input", {bubbles: true}));
document.body.offsetHeight;
return performance.now() - began;
"""


def main() -> None:
    options = webdriver.ChromeOptions()
    for word in ("--headless=new", "--no-sandbox", "--disable-gpu", "--window-size=1366,900"):
        options.add_argument(word)
    driver = webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))
    driver.set_script_timeout(120)
    began_s = time.perf_counter()
    driver.get(Path(sys.argv[1]).resolve().as_uri())
    print(f"shown after {time.perf_counter() - began_s:.2f} s")
    frames = driver.execute_async_script(SCROLL)
    cuts = statistics.quantiles(frames, n=20)
    print(
        f"{len(frames)} frames: median {statistics.median(frames):.1f} ms, 95 % within {cuts[-1]:.1f} ms, "
        f"longest {max(frames):.1f} ms"
    )
    print(f"a word typed into the filter: {driver.execute_script(TYPE):.0f} ms")
    driver.quit()


if __name__ == "__main__":
    main()
