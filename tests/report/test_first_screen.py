"""A text of more than a screen ends with its verdict, so that it is seen without scrolling back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from tests.report.status.examples import memory, reading
from tests.report.test_search import FOUND
from tests.store.examples import sweep
from verifier.model.address import Interface
from verifier.model.health import SweepReport
from verifier.model.laptop import Fit, FitReport, Laptop
from verifier.report import fit, search
from verifier.report.style import ReportStyle
from verifier.report.sweep import text as swept

STYLE = ReportStyle()


def fits(count: int) -> FitReport:
    at = Interface.parse("198.18.20.11/24")
    one = Fit(device="ferry", address=at, verdict="pass", relation="direct", explanation="so it is")
    return FitReport(
        plan="Harbour", laptop=Laptop(), system="linux", notes=(), target=None,
        devices=tuple(replace(one, device=f"ferry-{n}") for n in range(count)),
    )  # fmt: skip


def impaired(count: int) -> SweepReport:
    readings = tuple(reading(f"ferry-{n}", "impaired") for n in range(count))
    memories = {r.subject: memory(r) for r in readings}
    return SweepReport(7, replace(sweep(), readings=readings), memories, (), ())


def found(count: int) -> str:
    short = replace(
        FOUND, by=(), notes=(), fit=None, heard=(), explanation="lighthouse-quarry is at it"
    )
    return search.text(replace(short, places=FOUND.places[:1] * count), STYLE)


TEXTS: dict[str, tuple[Callable[[int], str], str]] = {
    "find": (found, "FAIL: lighthouse-quarry is at"),
    "fit": (lambda n: fit.text(fits(n), STYLE), "PASS: "),
    "fit --quiet": (lambda n: fit.brief(failing(n), STYLE), "FAIL: "),
    "sweep": (lambda n: swept.text(impaired(n), STYLE), ": sweep 7, "),
    "sweep --quiet": (lambda n: swept.brief(impaired(n), STYLE), ": sweep 7, "),
}


def failing(count: int) -> FitReport:
    """Each in a subnet of its own, so that each has a block of its own."""
    report = fits(count)
    devices = (
        replace(
            d, verdict="fail", relation="off-subnet", address=Interface.parse(f"198.18.{n}.1/24")
        )
        for n, d in enumerate(report.devices)
    )
    return replace(report, devices=tuple(devices))


@pytest.mark.parametrize("name", TEXTS)
def test_the_verdict_stands_again_at_the_end_of_a_long_text(name: str) -> None:
    """More than 25 lines: at the end as well, word for word; else once."""
    text, verdict = TEXTS[name]
    for count in (1, 30):
        lines = text(count).splitlines()
        told = [n for n, line in enumerate(lines) if verdict in line]
        if count == 1:
            assert len(told) == 1
            assert len(lines) <= 25
        else:
            first, last = told
            closing = lines[last:]
            assert lines[last - 1] == ""
            assert lines[first : first + len(closing)] == closing
