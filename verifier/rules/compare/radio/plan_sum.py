"""`plan.level-off-budget` of a pass: the plan's level and our own sum agree."""

from __future__ import annotations

from verifier.rules import radio
from verifier.rules.compare.context import Findings
from verifier.rules.compare.radio.carrier_end import (
    CarrierEnd,
)


def sum_agrees(side: CarrierEnd) -> Findings:
    """The plan's level and ours agree: `pass` with the sum; else the plan's rule has warned."""
    level_dbm = side.end.rx_level_dbm
    found = radio.budget(side.link, side.far, side.end, side.km)
    if level_dbm is None or isinstance(found, str):
        return
    if abs(found.level_dbm - level_dbm) > radio.AGREE_DB:
        return
    yield side.finding(
        f"plan.{radio.OFF_BUDGET}", "pass", f"our sum: {found.in_line()}{found.gas_words()}",
        at="rx_level_dbm", expected=level_dbm, observed=found.level_dbm, unit="dBm",
    )  # fmt: skip
