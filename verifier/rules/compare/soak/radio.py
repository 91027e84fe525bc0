"""`radio.*` over a soak: levels and bad seconds of each end."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from verifier.model.manual import Entered
from verifier.model.observations import Observation
from verifier.model.plan import Carrier, End, EndName, Link
from verifier.model.problem import Subject
from verifier.model.result import Finding, Verdict
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.manual.items import figure_of
from verifier.rules.compare.soak.context import Soaking, moment, rests_on
from verifier.rules.soak.counters import (
    DeviceTally,
    LevelTally,
    SecondsTally,
)


class _SoakReading(NamedTuple):
    """A kind of bad seconds, its limit in the plan's acceptance, and what one means without it."""

    check: str
    what: str
    limit: str
    unlimited: Verdict


_SECONDS = {
    "errored_s": _SoakReading("radio.errored-seconds", "errored", "max_es", "warn"),
    "severely_errored_s": _SoakReading(
        "radio.severely-errored-seconds", "severely errored", "max_ses", "fail"
    ),
    "unavailable_s": _SoakReading("radio.unavailable-seconds", "unavailable", "max_uas", "fail"),
}
"""ITU-T G.826: errored seconds happen; severely errored ones a sound link has in rain alone, and
unavailable ones mean no link."""


def radio(context: Context, soak: Soaking) -> Findings:
    """Level spread, overload and bad seconds of each end that the device is."""
    tally = soak.came_to.devices.get(context.device.name)
    for end in _ends(context):
        for finding in _radio(context, soak, end, tally):
            yield rests_on(finding, soak)


def _ends(context: Context) -> Iterator[tuple[Link, Carrier, EndName, End]]:
    for link in context.plan.links:
        for carrier in link.carriers:
            for name, end in carrier.ends():
                if end.device == context.device.name:
                    yield link, carrier, name, end


def _radio(
    context: Context,
    soak: Soaking,
    where: tuple[Link, Carrier, EndName, End],
    tally: DeviceTally | None,
) -> Findings:
    link, carrier, name, end = where
    subject = Subject("link", link.name, carrier=carrier.carrier, end=name)
    number = end.radio or carrier.carrier
    readings = context.profile.named_readings()

    def reading(field: str) -> str | None:
        """The reading of this end's radio: with its index, else the one that has none."""
        mine = [n for n, r in readings.items() if r.field == field]
        indexed = [n for n in mine if readings[n].index == f"radio:{number}"]
        plain = [n for n in mine if not (readings[n].index or "").startswith("radio:")]
        return next(iter((*indexed, *plain)), None)

    level = reading("rx_level_dbm")
    if level is not None:
        levels = tally.levels.get(level) if tally else None
        yield _spread(context, soak, subject, end, levels)
        yield from _overloaded(context, subject, levels)
    rain = soak.rain_at(carrier, name)
    for field, kind in _SECONDS.items():
        if (found := reading(field)) is not None:
            counted = tally.seconds.get(found) if tally else None
            yield _bad_seconds(context, soak, subject, kind, counted, rain)


def _spread(
    context: Context, soak: Soaking, subject: Subject, end: End, level: LevelTally | None
) -> Finding:
    tolerance_db = end.rx_level_tolerance_db or context.profile.tolerance.rx_level_db
    verdict: Verdict = "not-tested"
    observed, reason = None, context.snmp_gap or "no receive level was sampled"
    if level is not None and level.count:
        verdict, reason = "pass", ""
        if level.lowest is not None and level.highest is not None:
            observed = round(level.highest - level.lowest, 2)
            reason = (
                f"{level.lowest:g} to {level.highest:g} dBm in {level.count} samples, "
                f"lowest {moment(level.lowest_at_s)}"
            )
            verdict = "warn" if observed > tolerance_db else "pass"
        if level.no_signal:
            verdict = "fail"
            reason = f"nothing was received in {level.no_signal} of {level.count} samples; {reason}"
        verdict, reason = soak.settled(verdict, reason.removesuffix("; "))
    return context.finding(
        "radio.rx-level-spread",
        verdict,
        reason,
        expected=float(tolerance_db),
        observed=observed,
        unit="dB",
        subject=subject,
        advice="fading, interference, a loose antenna or plug: look at the plot over time"
        if verdict in {"fail", "warn"}
        else "",
    )


def _overloaded(context: Context, subject: Subject, level: LevelTally | None) -> Findings:
    """A level over what the receiver bears, at any moment of the soak."""
    highest = None if level is None else level.highest
    limits = context.profile.limits
    for limit, what in (
        (limits.rx_damage_dbm, "the receiver is damaged above"),
        (limits.rx_max_dbm, "the receiver is overloaded above"),
    ):
        if highest is not None and limit is not None and highest > limit:
            yield context.finding(
                "radio.rx-level",
                "fail",
                f"{highest:g} dBm at most during the soak: {what} {limit:g} dBm",
                expected=limit,
                observed=highest,
                unit="dBm",
                subject=subject,
                advice="lower the far end's power, or put an attenuator in",
            )
            return


def _bad_seconds(  # noqa: PLR0913, PLR0917
    context: Context,
    soak: Soaking,
    subject: Subject,
    kind: _SoakReading,
    counted: SecondsTally | None,
    rain: Observation[Entered] | None,
) -> Finding:
    limit: int | None = getattr(context.plan.acceptance, kind.limit)
    verdict: Verdict = "not-tested"
    observed, advice = None, ""
    reason = context.snmp_gap or f"the device's {kind.what} seconds were not read twice"
    if counted is not None and counted.count > 1:
        observed = counted.grown
        verdict, reason = _judge_seconds(kind, observed, limit, rain)
        if counted.fell:
            verdict = "fail" if verdict == "fail" else "not-tested"
            reason += "; so many at least: the count was set back meanwhile"
        if rain is not None and verdict == "not-tested":
            advice = "repeat the soak in dry weather"
        verdict, reason = soak.settled(verdict, reason)
    if verdict in {"fail", "warn"}:
        advice = "compare with the receive level at that time; look for interference"
    return context.finding(
        kind.check,
        verdict,
        reason,
        expected=float(limit or 0),
        observed=observed,
        unit="s",
        subject=subject,
        limit=None if limit is None else kind.limit,
        advice=advice,
        evidence=(rain,) if rain is not None and observed else (),
    )


def _judge_seconds(
    kind: _SoakReading, grown: float, limit: int | None, rain: Observation[Entered] | None
) -> tuple[Verdict, str]:
    """Against the plan's limit; without one rain that was stated excuses what nothing else does."""
    reason = f"{grown:g} {kind.what} seconds by the device's own count"
    if limit is not None:
        return ("pass" if grown <= limit else "fail"), f"{reason}, {limit} allowed ({kind.limit})"
    if not grown:
        return "pass", reason
    reason += f"; the plan sets no limit ({kind.limit})"
    if kind.unlimited == "fail" and rain is not None:
        return "not-tested", f"{reason}, and rain was recorded: {figure_of(rain)}"
    return kind.unlimited, reason
