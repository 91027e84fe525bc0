"""How far a link's receive level went from what it was at handover, rain left out.

Nobody tells the tool about the weather, but rain and multipath move a level within minutes (ITU-R
P.530): an hour in which it stood still was dry, or wet in a way that no link would show. An antenna
that turned, a feeder that took water, a power that was lowered stay in such hours too.

The level of now is that of the newest 24 dry hours: a median of the whole period would hide for two
weeks of a month what an antenna lost in one night.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Iterator, Sequence

from verifier.errors import InputError
from verifier.model.history import Baseline, LevelDeviation, Sample, SubjectPast
from verifier.model.observations import SOAK
from verifier.model.plan import End, EndName, Link, Plan
from verifier.model.problem import Subject
from verifier.model.result import Finding, Result
from verifier.rules.alignment import Live
from verifier.rules.health.states import levels
from verifier.rules.observations import of_kind

STILL_DB = 1.0
"""A level that moved by no more within an hour stood still: the step of many devices' reading is
0.5 or 1 dB (common practice)."""
MIN_SAMPLES = 3
"""Of an hour; with fewer nothing can be said about how it moved."""
MIN_HOURS = 3
"""Dry hours for a median that one odd hour does not decide."""
NEWEST_HOURS = 24
"""Dry hours that make the level of now: a median of a month would hide what fell a week ago."""
LIMIT_DB = 3.0
"""Where the plan has no tolerance of the level (common practice; that of a profile without one)."""


HANDOVERS = ("handover", "service")
"""Stages whose levels are those of the finished link: no attenuator, no other power."""


def baseline(result: Result, plan: Plan, name: str) -> Baseline:
    """The levels of a handover, for those of `plan` to be held against.

    Args:
        result: that of the handover.
        plan: today's.
        name: what faults call the result.

    Raises:
        InputError: it is of another stage, holds no level, or is of none of the plan's links.
    """
    if result.stage not in HANDOVERS:
        raise InputError(
            f"{name}: was made at stage {result.stage}; levels are compared with those of stage "
            f"{' or '.join(HANDOVERS)}"
        )
    levels_dbm = baseline_of(result, plan)
    if not levels_dbm:
        raise InputError(f"{name}: holds no receive level of any link")
    if not links_of(result) & {link.name for link in plan.links}:
        raise InputError(
            f"{name}: is of {result.plan.name or 'a plan without a name'}, and none of its "
            "links is in this plan"
        )
    return Baseline(
        started=result.started,
        plan=result.plan.name,
        levels_dbm=levels_dbm,
        remarks=remarks_of(result, plan),
    )


def remarks_of(result: Result, plan: Plan) -> tuple[str, ...]:
    """What is to be known of a result before levels of `plan` are compared with it."""
    said = []
    if result.plan.name != plan.network.name:
        said.append(f"it is of another plan: {result.plan.name or 'one without a name'}")
    if any(o.value and not o.value.complete for o in of_kind(result.observations, SOAK)):
        said.append("its soak was not finished")
    if result.verdict != "pass":
        said.append(f"its verdict is {result.verdict}")
    return tuple(said)


def links_of(result: Result) -> set[str]:
    """The links that something was found of."""
    return {f.subject.name for f in result.findings if f.subject.kind == "link"}


def baseline_of(result: Result, plan: Plan) -> dict[tuple[str, int, EndName], float]:
    """The levels of a handover, by link, carrier and end.

    Those that were judged, of whatever link; of links of `plan` that were in it the others too, as
    the devices showed them.
    """
    of_link: dict[str, list[Finding]] = {name: [] for name in links_of(result)}
    for finding in result.findings:
        if finding.check == "radio.rx-level":
            of_link[finding.subject.name].append(finding)
    found = {
        (f.subject.name, f.subject.carrier or 1, f.subject.end): float(f.observed)
        for judged in of_link.values()
        for f in judged
        if f.subject.end is not None
        and isinstance(f.observed, (int, float))
        and not isinstance(f.observed, bool)
    }
    live = Live(plan, result.observations)
    for link in (link for link in plan.links if link.name in of_link):
        for level in levels(link, of_link[link.name], live):
            found[link.name, level.carrier, level.end] = level.rx_level_dbm
    return found


def dry_hours(hours: Iterable[Sample]) -> list[Sample]:
    """Those in which the level stood still."""
    return [h for h in hours if h.n >= MIN_SAMPLES and h.high - h.low <= STILL_DB]


def level_deviations(
    plan: Plan, past: SubjectPast, baseline: Baseline | None
) -> Iterator[LevelDeviation]:
    """One for each end of a link that has a level then or now; none without a baseline."""
    named = (x for x in plan.links if past.subject == Subject("link", x.name))
    link = next(named, None)
    if baseline is None or link is None:
        return
    for carrier, name, end in _ends(link):
        then_dbm = baseline.levels_dbm.get((link.name, carrier, name))
        hours = past.level_hours.get((carrier, name), ())
        if then_dbm is not None or hours:
            yield _deviation((link.name, carrier, name), end, then_dbm, hours)


def gone(plan: Plan, baseline: Baseline) -> Iterator[LevelDeviation]:
    """One for each end that had a level then and is not in the plan now."""
    planned = {
        (link.name, carrier, name) for link in plan.links for carrier, name, _ in _ends(link)
    }
    for (link, carrier, name), then_dbm in baseline.levels_dbm.items():
        if (link, carrier, name) not in planned:
            yield LevelDeviation(
                link=link,
                carrier=carrier,
                end=name,
                then_dbm=then_dbm,
                now_dbm=None,
                deviation_db=None,
                limit_db=LIMIT_DB,
                dry_hours=0,
                beyond=None,
                reason="the plan has no such end any more",
            )


def _ends(link: Link) -> Iterator[tuple[int, EndName, End]]:
    for carrier in link.carriers:
        for name, end in carrier.ends():
            yield carrier.carrier, name, end


def _deviation(
    key: tuple[str, int, EndName], end: End, then_dbm: float | None, hours: Sequence[Sample]
) -> LevelDeviation:
    dry = dry_hours(hours)[-NEWEST_HOURS:]
    now_dbm = statistics.median(h.middle for h in dry) if len(dry) >= MIN_HOURS else None
    limit_db = LIMIT_DB if end.rx_level_tolerance_db is None else end.rx_level_tolerance_db
    away_db = None if then_dbm is None or now_dbm is None else now_dbm - then_dbm
    return LevelDeviation(
        link=key[0],
        carrier=key[1],
        end=key[2],
        then_dbm=then_dbm,
        now_dbm=now_dbm,
        deviation_db=away_db,
        limit_db=limit_db,
        dry_hours=len(dry),
        beyond=None if away_db is None else abs(away_db) > limit_db,
        reason=_reason(then_dbm, len(dry), hours),
    )


def _reason(then_dbm: float | None, dry: int, hours: Sequence[Sample]) -> str:
    if then_dbm is None:
        return "the handover has no level of this end"
    if not hours:
        return "no level was read in this period"
    if all(h.n < MIN_SAMPLES for h in hours):
        return f"no hour has {MIN_SAMPLES} readings: sweep more often"
    if dry < MIN_HOURS:
        return f"only {dry} of {len(hours)} hours were dry; {MIN_HOURS} are needed"
    return ""
