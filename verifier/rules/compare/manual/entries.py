"""What a person entered, in findings: it always says so, and what is odd about the entry itself."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final

from verifier.model.manual import Entered
from verifier.model.observations import ENTRIES, Observation, Sheet
from verifier.model.plan import Plan
from verifier.model.result import Finding
from verifier.rules.compare.context import Findings
from verifier.rules.observations import of_kind, sheet_of
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
    plan: Plan, sheet: Observation[Sheet] | None, seen: Observation[Entered]
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
