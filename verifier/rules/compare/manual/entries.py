"""What a person entered, in findings: it always says so, and what is odd about the entry itself.

The alignment voltage that a person measured is held against the window of its level.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final

from verifier.model.manual import Entered
from verifier.model.observations import ALIGNMENT_VOLTAGE, ENTRIES, FilledSheet, Observation
from verifier.model.plan import Plan
from verifier.model.profile import AlignmentPort
from verifier.model.result import Finding, Verdict
from verifier.rules.compare.context import Findings
from verifier.rules.compare.radio.carrier_end import CarrierEnd, figure
from verifier.rules.compare.radio.expected import expected_level
from verifier.rules.compare.radio.read import number_of
from verifier.rules.compare.radio.weather import excused, stated_at
from verifier.rules.observations import of_kind, sheet_of
from verifier.rules.radio import levels
from verifier.rules.soak.tally import words

MARK = "entered, not measured"
_CLOCKS_S: Final = 300.0
"""The watch of whoever writes and the laptop's clock may differ by so much."""


def marked(
    plan: Plan, found: Iterable[Finding], observations: Sequence[Observation[object]]
) -> Findings:
    """The findings; those that rest on an entry say so, and what is odd about that entry."""
    entered = {o.id: o for kind in ENTRIES.values() for o in of_kind(observations, kind)}
    sheet = sheet_of(observations)
    for finding in found:
        seen = next((entered[i] for i in finding.evidence if i in entered), None)
        if seen is None or seen.kind.what != finding.check:
            yield finding
            continue
        made = replace(finding, reason=f"{MARK}: {finding.reason}")
        for doubt, advice in _doubts(plan, sheet, seen):
            made = replace(
                made,
                verdict="warn" if made.verdict == "pass" else made.verdict,
                reason=f"{made.reason}; {doubt}",
                advice=made.advice or advice,
            )
        yield made


def _doubts(
    plan: Plan, sheet: Observation[FilledSheet] | None, seen: Observation[Entered]
) -> Iterator[tuple[str, str]]:
    """What is odd about an entry whatever its value, and what to do."""
    if (row := seen.value) is None:
        return
    if (overdue := _overdue(seen, row)) is not None:
        yield overdue, "measure again with an instrument that is calibrated"
    if not row.by:
        yield "nobody is named who saw it", "write who saw it into column by"
    if not row.at:
        return
    written = f"{row.at} {row.zone}" if row.zone else row.at
    if sheet is not None and (ahead := _ahead(seen.at, sheet.at)):
        yield f"its time, {written}, is {ahead} after this run", "write the time it was seen at"
    if plan.network.date is not None and (day := _day(row.at)) and day < plan.network.date:
        yield (
            f"its time, {written}, is before the date of the plan, {plan.network.date}",
            "was it seen for an older plan? Look again, or correct the time",
        )


def _ahead(seen_at: str, now: str) -> str:
    """By how much a time lies after that of the run, in words; empty where it does not."""
    try:
        ahead_s = (
            dt.datetime.fromisoformat(seen_at) - dt.datetime.fromisoformat(now)
        ).total_seconds()
    except (ValueError, TypeError):
        return ""
    return words(ahead_s) if ahead_s > _CLOCKS_S else ""


def _day(moment: str) -> dt.date | None:
    """The day that a person wrote, whatever its zone."""
    try:
        return dt.datetime.fromisoformat(moment).date()
    except ValueError:
        return None


def _overdue(seen: Observation[Entered], row: Entered) -> str | None:
    """That the instrument was not calibrated any more when it was read, or None."""
    try:
        due = dt.date.fromisoformat(row.calibration_due)
        at = dt.datetime.fromisoformat(seen.at).date()
    except ValueError:
        return None
    if at <= due:
        return None
    which = " ".join(filter(None, (row.instrument, row.instrument_serial)))
    return f"the calibration of {which or 'the instrument'} ran out on {due}"


CHECK = "manual.alignment-voltage"
_ALIGN = "align again: go through the peak in both axes, at either end"


def alignment_voltage(near: CarrierEnd) -> Findings:
    """`manual.alignment-voltage`: inside the window around the level expected at this stage."""
    if near.context is None:
        return
    said = [o for o in near.context.seen.all(ALIGNMENT_VOLTAGE) if o.value is not None]
    if not said or (near.end.alignment_v is None and near.end.rx_level_dbm is None):
        return
    last = max(said, key=lambda o: o.at)
    assert last.value is not None
    if last.value.value is None:  # it does not apply: told where what a person entered is
        return
    volts = number_of(last.value.value)
    windows = _windows(near)
    if volts is None or isinstance(windows, str) or not near.sole:
        gap = windows if isinstance(windows, str) else "of which of the device's radios is it?"
        gap = gap if volts is not None else f"{last.value.value!r} is no voltage"
        yield near.finding(
            CHECK, "not-tested", gap, at="alignment_v", expected=near.end.alignment_v,
            observed=volts, unit="V", evidence=(last,),
        )  # fmt: skip
        return
    port = near.context.profile.alignment_port
    assert port is not None
    yield excused(
        near, _judged(near, port, volts, windows, last),
        short_db=_short_db(port, volts, windows), at=stated_at(last),
    )  # fmt: skip


def _short_db(
    port: AlignmentPort, volts: float, windows: tuple[tuple[str, levels.Window], ...]
) -> float | None:
    """How far the level of a voltage is below the lowest that is right, at least.

    None where the voltage lies beyond the strong end of the table.
    """
    level, (weakest, least) = levels.level_at(port, volts), min(port.table)
    if level is None:
        if (volts < least) == (max(port.table)[1] < least):
            return None
        level = weakest
    return min(w.level_dbm - w.tolerance_db for _, w in windows) - level


def _windows(near: CarrierEnd) -> tuple[tuple[str, levels.Window], ...] | str:
    """The windows that are right now, each with its name; else why there is none."""
    assert near.context is not None
    profile, end = near.context.profile, near.end
    if end.rx_level_dbm is None or near.far.tx_power_dbm is None:
        return _planned_only(near)
    level = expected_level(near)
    if near.stage != "alignment" or not isinstance(level, str):
        found = levels.line(end, profile, level)
        return found if isinstance(found, str) else ((near.stage, found),)
    far = near.across
    if far.context is None:
        return level
    lines = levels.alignment_lines(near.link, near.carrier, near.name, profile, far.context.profile)
    both = (("aligning", lines.aligning), ("in service", lines.in_service))
    known = tuple((name, w) for name, w in both if not isinstance(w, str))
    return known or level


def _planned_only(near: CarrierEnd) -> tuple[tuple[str, levels.Window], ...] | str:
    """Around the planned voltage, where no level is planned."""
    assert near.context is not None
    profile, planned = near.context.profile, near.end.alignment_v
    if profile.alignment_port is None:
        return f"profile {profile.id!r} has no alignment table, so the window is not known"
    if planned is None or near.stage in {"bench", "alignment"}:
        return "no receive level or no far power is planned"
    level = levels.level_at(profile.alignment_port, planned)
    if level is None:
        return f"{figure(planned)} V is outside the alignment table of profile {profile.id!r}"
    found = levels.line(near.end, profile, levels.Expected(level, "planned"))
    return found if isinstance(found, str) else (("planned", found),)


def _judged(
    near: CarrierEnd,
    port: AlignmentPort,
    volts: float,
    windows: tuple[tuple[str, levels.Window], ...],
    said: Observation[Entered],
) -> Finding:
    said_of = "; ".join(
        f"{name} {w.low_v:.2f} to {w.high_v:.2f} V "
        f"({w.level_dbm:.1f} dBm +-{figure(w.tolerance_db)} dB)"
        for name, w in windows
    )
    level = levels.level_at(port, volts)
    at = f"{volts:.2f} V" + ("" if level is None else f", that is {level:.1f} dBm")
    verdict: Verdict = "pass"
    advice = ""
    if level is not None and level >= max(port.table)[0]:
        verdict, at = "warn", f"{volts:.2f} V, the end of the table: at least {level:.1f} dBm"
        advice = "read the level by SNMP too: the port does not show more than this"
    first = windows[-1][1]
    if levels.no_signal(port, volts):
        verdict, at = "fail", f"{volts:.2f} V: the port shows that nothing is received"
        advice = _ALIGN
    elif not any(w.holds(volts) for _, w in windows):
        rising = max(port.table)[1] > min(port.table)[1]
        weak = all((volts < w.volts) == rising for _, w in windows)
        verdict = "fail" if weak or len(windows) > 1 else "warn"
        at += ": too little is received" if weak else ": more than expected"
        advice = _ALIGN if weak else "is the far end's power as planned?"
    return near.finding(
        CHECK, verdict, f"{at}; right is {said_of}", at="alignment_v", unit="V",
        expected=first.volts, observed=volts, advice=advice, evidence=(said,),
    )  # fmt: skip
