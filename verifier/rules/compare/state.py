"""`state.*`: is an alarm present; over a soak also restarts and the clock of each device."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from verifier.model import mib
from verifier.model.kind import Scalar
from verifier.model.observations import Observation, reading
from verifier.model.result import Finding, Verdict
from verifier.rules import decode
from verifier.rules.compare.by_profile import StateRule, of_device
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.soak.context import NO_SAMPLES, Soaking, moments, rests_on
from verifier.rules.soak.counters import DeviceTally
from verifier.rules.soak.tally import words

_RULES = {
    "alarm": StateRule("state.alarm", "no alarm is present", "an alarm is present",
                       "look at the device's list of alarms"),
}  # fmt: skip


def alarm(context: Context) -> Findings:
    """`state.alarm`, where the profile says which values are good."""
    yield from of_device(context, _RULES)


CLOCK_S = 5.0
"""How far a device's clock may be off: logs of several devices must still be put in order (common
practice; NTP keeps it well below one second)."""


def restarts(context: Context, soak: Soaking) -> Findings:
    """`state.restarts` of a device that is asked by SNMP."""
    if context.device.snmp is not None:
        tally = soak.came_to.devices.get(context.device.name)
        yield rests_on(_restarts(context, soak, tally), soak)


def _restarts(context: Context, soak: Soaking, tally: DeviceTally | None) -> Finding:
    ticks = context.seen.first(mib.SYS_UP_TIME)
    verdict: Verdict = "not-tested"
    reason, observed, advice = context.snmp_gap or NO_SAMPLES, None, ""
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
        evidence=(ticks,),
    )


def clock(context: Context, soak: Soaking) -> Findings:
    """`state.clock` of a device that is asked by SNMP."""
    if context.device.snmp is not None:
        yield from (rests_on(f, soak) for f in _clock(context))


def _clock(context: Context) -> Findings:
    """`state.clock`: hrSystemDate or the profile's reading against this laptop's time of day."""
    by_mib = [o for o in context.seen.all(mib.HR_SYSTEM_DATE) if o.value is not None]
    by_reading = [o for o in context.seen.all(reading("clock")) if o.value is not None]
    seen: Sequence[Observation[str] | Observation[Scalar]] = by_mib or by_reading
    by_ntp = any("ntp" in h.uses for h in context.plan.management.hosts)
    if not seen:
        if not by_ntp and not any(r.field == "clock" for r in context.profile.reading):
            return  # nobody expects this kind of device to tell the time
        why = context.snmp_gap or "the device tells no time of day (hrSystemDate, profile)"
        yield context.finding("state.clock", "not-tested", why)
        return
    latest = seen[-1]
    told = decode.read(str(latest.value))
    if told is None:
        why = f"what the device tells is no time: {latest.value}"
        yield context.finding("state.clock", "not-tested", why, evidence=(latest,))
        return
    off_s = decode.off_s(told, dt.datetime.fromisoformat(latest.at))
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
