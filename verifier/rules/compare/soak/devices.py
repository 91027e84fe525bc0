"""What the samples of a soak say of each device: ports, restarts, levels, bad seconds, clock."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import NamedTuple

from verifier.model.observation import Observation
from verifier.model.plan import Carrier, End, EndName, Link, Port
from verifier.model.result import Finding, Verdict
from verifier.model.subject import Subject
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.soak.context import Soaking, moment, moments, rests_on
from verifier.rules.soak import clocks
from verifier.rules.soak.counters import (
    COLUMNS,
    DISCARDS,
    ERRORS,
    OCTETS,
    PACKETS,
    Counter,
    DeviceTally,
    LevelTally,
    SecondsTally,
)
from verifier.rules.soak.tally import words

CLOCK_S = 5.0
"""How far a device's clock may be off: logs of several devices must still be put in order (common
practice; NTP keeps it well below one second)."""
_NO_SAMPLES = "the device answered no sample by SNMP"


class _Kind(NamedTuple):
    """A kind of bad seconds, its limit in the plan's acceptance, and what one means without it."""

    check: str
    what: str
    limit: str
    unlimited: Verdict


_SECONDS = {
    "errored_s": _Kind("radio.errored-seconds", "errored", "max_es", "warn"),
    "severely_errored_s": _Kind(
        "radio.severely-errored-seconds", "severely errored", "max_ses", "fail"
    ),
    "unavailable_s": _Kind("radio.unavailable-seconds", "unavailable", "max_uas", "fail"),
}
"""ITU-T G.826: errored seconds happen; severely errored ones a sound link has in rain alone, and
unavailable ones mean no link."""


def devices(context: Context, soak: Soaking) -> Findings:
    """Every check that rests on samples by SNMP."""
    tally = soak.came_to.devices.get(context.device.name)
    for port in context.device.ports:
        yield rests_on(_port(context, soak, port, tally), soak)
    if context.device.snmp is not None:
        yield rests_on(_uptime(context, soak, tally), soak)
        yield from (rests_on(f, soak) for f in _clock(context))
    for end in _ends(context):
        for finding in _radio(context, soak, end, tally):
            yield rests_on(finding, soak)


# -- ports ------------------------------------------------------------------------------------


def _port(context: Context, soak: Soaking, port: Port, tally: DeviceTally | None) -> Finding:
    limit = context.plan.acceptance.max_port_errors
    counters = {c: tally.counters.get((port.name, c)) if tally else None for c in COLUMNS}
    unread = _unread(context, tally, counters)
    invalid = next((c.invalid for c in counters.values() if c and c.column in
                    (*ERRORS, *DISCARDS) and c.invalid), "")  # fmt: skip
    errors = sum(c.grown for name in ERRORS if (c := counters[name]) is not None)
    verdict: Verdict = "pass"
    observed: int | None = errors
    if unread or invalid:
        verdict, observed = "not-tested", None
        reason = unread or f"the counters prove nothing: {invalid}"
    else:
        reason = _port_words(counters)
        if errors > (limit or 0):
            verdict = "warn" if limit is None else "fail"
            reason += "; the plan sets no limit" if limit is None else ""
        verdict, reason = soak.settled(verdict, reason)
    return context.finding(
        "port.errors",
        verdict,
        reason,
        expected=0 if limit is None else limit,
        observed=observed,
        subject=context.port(port.name),
        limit=None if limit is None else "max_port_errors",
        advice="check the cable, its plugs and shield, and both ends' speed and duplex"
        if verdict in {"fail", "warn"}
        else "",
    )


def _unread(
    context: Context, tally: DeviceTally | None, counters: dict[str, Counter | None]
) -> str:
    if context.device.snmp is None:
        return context.snmp_gap or ""
    if tally is None or not tally.answered:
        return _NO_SAMPLES
    known = [counters[name] for name in ERRORS]
    if any(c is None for c in known):
        return "the device gives no error counters of this port"
    if any(c is not None and c.seen < 2 for c in known):  # noqa: PLR2004
        return "the counters were read once only: there is nothing to compare"
    return ""


def _port_words(counters: dict[str, Counter | None]) -> str:
    def both(columns: tuple[str, ...], what: str) -> str:
        found = [counters[c] for c in columns]
        if any(c is None for c in found):
            return ""
        told = [f"{c.grown}" if not c.invalid else "unknown" for c in found if c is not None]
        return f"{what} in {told[0]}, out {told[1]}"

    parts = (both(ERRORS, "errors"), both(DISCARDS, "discards"), both(PACKETS, "unicast packets"),
             both(OCTETS, "octets"))  # fmt: skip
    return "; ".join(part for part in parts if part)


# -- restarts ---------------------------------------------------------------------------------


def _uptime(context: Context, soak: Soaking, tally: DeviceTally | None) -> Finding:
    verdict: Verdict = "not-tested"
    reason, observed, advice = context.snmp_gap or _NO_SAMPLES, None, ""
    if tally is not None and tally.uptime_ticks is not None:
        observed = len(tally.restarts)
        verdict = "pass"
        reason = f"up for {words(tally.uptime_ticks / 100)}, no restart"
        if tally.restarts:
            verdict = "fail"
            what = "its SNMP agent started again" if tally.agent_only else "it started again"
            reason = f"{what}: {moments(tally.restarts)}"
            if tally.agent_only:
                reason += "; the system under it ran on (hrSystemUptime)"
            advice = "find out why: supply, software, or a person at work"
        verdict, reason = soak.settled(verdict, reason)
    return context.finding(
        "state.restarts",
        verdict,
        reason,
        expected=0,
        observed=observed,
        unit="restarts",
        advice=advice,
        evidence=(context.seen.first("sysUpTime"),),
    )


# -- clock ------------------------------------------------------------------------------------


def _clock(context: Context) -> Findings:
    """`state.clock`: hrSystemDate or the profile's reading against this laptop's time of day."""
    seen = [o for what in ("hrSystemDate", "clock") for o in context.seen.all(what)
            if o.value is not None]  # fmt: skip
    by_ntp = any("ntp" in h.uses for h in context.plan.management.hosts)
    if not seen:
        if not by_ntp and not any(r.field == "clock" for r in context.profile.reading):
            return  # nobody expects this kind of device to tell the time
        why = context.snmp_gap or "the device tells no time of day (hrSystemDate, profile)"
        yield context.finding("state.clock", "not-tested", why)
        return
    latest = seen[-1] if seen[0].what != "hrSystemDate" else _last(seen, "hrSystemDate")
    told = clocks.read(str(latest.value))
    if told is None:
        why = f"what the device tells is no time: {latest.value}"
        yield context.finding("state.clock", "not-tested", why, evidence=(latest,))
        return
    off_s = clocks.off_s(told, dt.datetime.fromisoformat(latest.at))
    right = abs(off_s) <= CLOCK_S
    reason = f"{abs(off_s):.1f} s {'ahead of' if off_s > 0 else 'behind'} this laptop's clock"
    if told.tzinfo is None:
        reason += "; the device tells no zone, so whole quarters of an hour are left out"
    yield context.finding(
        "state.clock",
        "pass" if right else "fail" if by_ntp else "warn",
        reason,
        expected=CLOCK_S,
        observed=round(off_s, 1) + 0.0,  # never -0.0
        unit="s",
        advice="" if right else "set the device's time server, and look at this laptop's own clock",
        evidence=(latest,),
    )


def _last(seen: list[Observation], what: str) -> Observation:
    return [o for o in seen if o.what == what][-1]


# -- radio ------------------------------------------------------------------------------------


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
    kind: _Kind,
    counted: SecondsTally | None,
    rain: Observation | None,
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
    kind: _Kind, grown: float, limit: int | None, rain: Observation | None
) -> tuple[Verdict, str]:
    """Against the plan's limit; without one rain that was stated excuses what nothing else does."""
    reason = f"{grown:g} {kind.what} seconds by the device's own count"
    if limit is not None:
        return ("pass" if grown <= limit else "fail"), f"{reason}, {limit} allowed ({kind.limit})"
    if not grown:
        return "pass", reason
    reason += f"; the plan sets no limit ({kind.limit})"
    if kind.unlimited == "fail" and rain is not None:
        return "not-tested", f"{reason}, and rain was recorded: {rain.value}"
    return kind.unlimited, reason
