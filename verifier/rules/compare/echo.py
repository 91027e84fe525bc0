"""`echo.*` of a few echoes: replies, loss, round trip, duplicates. A soak's: `soak/echo.py`."""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from verifier.model.observations import (
    ANSWER,
    ECHO,
    ENGINE_ID,
    OTHER_ADDRESS,
    WARM_UP,
    EchoSeries,
    Observation,
    Silence,
)
from verifier.model.result import Finding, Verdict
from verifier.rules.compare.context import Context, Findings
from verifier.rules.observations import Observations

_JITTER_GAIN: Final = 16
"""RFC 3550 6.4.1: each new difference counts a sixteenth."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EchoStats:
    """Figures of at least one echo. Times are of the received ones; infinite if none was.

    Attributes:
        loss_pct: lost part of those sent (RFC 7680 section 4.1, as a percentage).
        median_ms: of an even number the mean of the two in the middle.
        jitter_ms: see `jitter_ms`.
    """

    sent: int
    received: int
    loss_pct: float
    min_ms: float
    average_ms: float
    median_ms: float
    max_ms: float
    jitter_ms: float | None


def echo_stats(rtt_ms: Sequence[float | None]) -> EchoStats:
    """Returns the figures of a series with one round-trip time per echo sent, None for a loss.

    Raises ValueError for an empty one: where nothing was sent there is no loss to speak of.
    """
    if not rtt_ms:
        raise ValueError("no echo was sent: nothing was measured")
    received = [rtt for rtt in rtt_ms if rtt is not None]
    times = received or [math.inf]
    return EchoStats(
        sent=len(rtt_ms),
        received=len(received),
        loss_pct=100.0 * (len(rtt_ms) - len(received)) / len(rtt_ms),
        min_ms=min(times),
        average_ms=statistics.fmean(times),
        median_ms=statistics.median(times),
        max_ms=max(times),
        jitter_ms=jitter_ms(rtt_ms),
    )


def jitter_ms(rtt_ms: Sequence[float | None]) -> float | None:
    """Returns the interarrival jitter of RFC 3550 6.4.1 after the last echo.

    J += (|D| - J) / 16, D the difference of two round-trip times received one after the other
    (losses between them are passed over), J 0 at first. None with fewer than two received.
    """
    received = [rtt for rtt in rtt_ms if rtt is not None]
    if len(received) < 2:  # noqa: PLR2004
        return None
    jitter = 0.0
    for before, after in itertools.pairwise(received):
        jitter += (abs(after - before) - jitter) / _JITTER_GAIN
    return jitter


def percentile_ms(rtt_ms: Sequence[float | None], percent: float) -> float:
    """Returns the smallest time within which `percent` of the echoes sent were answered.

    The empirical distribution of RFC 2330 11.3; a loss counts as infinite (RFC 2681 section 4.1),
    so the result is infinite where too many were lost. Raises ValueError for an empty series and
    for a `percent` outside 0 < percent <= 100.
    """
    if not rtt_ms or not 0 < percent <= 100:  # noqa: PLR2004
        raise ValueError(f"no percentile {percent:g} of {len(rtt_ms)} echoes")
    ordered = sorted(math.inf if rtt is None else rtt for rtt in rtt_ms)
    return ordered[math.ceil(len(ordered) * percent / 100) - 1]


_FIT_ADVICE = "set the laptop into the device's subnet, or give both a way through a gateway"
_FILTER_ADVICE = "a filter on this laptop keeps them back: allow them, then try again"


@dataclass(frozen=True, slots=True)
class _Counted:
    """Every counted echo: the series, and the observations they are from."""

    series: tuple[EchoSeries, ...]
    seen: tuple[Observation[EchoSeries], ...]

    @property
    def silences(self) -> list[Silence]:
        """Why echoes had no reply, in order."""
        return [s for each in self.series for s in each.silence]


def _counted(context: Context) -> _Counted:
    seen = context.seen.all(ECHO)
    return _Counted(tuple(context.seen.values(ECHO)), tuple(o for o in seen if o.value is not None))


def _stats(counted: _Counted) -> EchoStats | None:
    """Statistics over all of them; None: none was sent."""
    rtts = tuple(rtt for each in counted.series for rtt in each.rtt_ms)
    return echo_stats(rtts) if rtts else None


def _measured_by(counted: _Counted) -> str:
    """Who measured, where that was not this program."""
    by = dict.fromkeys(each.by for each in counted.series if each.by)
    return f" (measured by the system's ping, {', '.join(by)})" if by else ""


def answered(context: Context) -> bool:
    """Whether the device gave any sign of life, by any probe."""
    return not context.itself and alive(context.seen)


def alive(seen: Observations) -> bool:
    """Whether what was seen holds any sign of life."""
    replied = any(series.received for series in seen.values(ECHO))
    return replied or _warmed_up(seen) or _answered_otherwise(seen)


def _warmed_up(seen: Observations) -> bool:
    return any(warm_up.replied for warm_up in seen.values(WARM_UP))


def _answered_otherwise(seen: Observations) -> bool:
    answer, engine = seen.first(ANSWER), seen.first(ENGINE_ID)
    if engine is not None and engine.value:
        return True
    return any(o.value in {"open", "closed"} for o in seen.by_tcp()) or (
        answer is not None and answer.value not in {None, *SILENT_OUTCOMES}
    )


SILENT_OUTCOMES = frozenset(
    {"silent", "host-unreachable", "no-route", "local-error", "port-unreachable"}
)
"""SNMP outcomes that are no sign of life. A port unreachable can be sent by a router's filter."""


def echoes(context: Context) -> Findings:
    """`echo.reply`, `echo.loss` and `echo.round-trip`; `echo.duplicate` where there was one."""
    counted = _counted(context)
    stats = _stats(counted)
    if stats is None:
        unsent = _unsent(context, counted)
        yield unsent
        yield from _no_figures(context, unsent.reason)
        return
    if not stats.received:
        yield _no_reply(context, stats, counted)
        yield from _no_figures(context, "no echo was answered")
        return
    address = str(context.device.address.address)
    yield context.finding(
        "echo.reply",
        "pass",
        f"{stats.received} of {stats.sent} echoes answered{_measured_by(counted)}",
        path=("address",),
        expected=address,
        observed=address,
        evidence=counted.seen,
    )
    cut = next((o.raw for o in context.seen.all(ECHO) if o.value is None), None)
    if cut is None:
        yield _loss(context, stats, counted)
        yield _rtt(context, stats, counted)
    else:
        yield from _no_figures(context, f"{cut}, {stats.received} of them answered")
    if duplicates := sum(each.duplicates for each in counted.series):
        yield context.finding(
            "echo.duplicate",
            "warn",
            f"{duplicates} echoes were answered more than once",
            path=("address",),
            expected=0,
            observed=duplicates,
            advice="look for a second device at this address, a loop, or a doubled path",
            evidence=counted.seen,
        )


def _unsent(context: Context, counted: _Counted) -> Finding:
    """`echo.reply` where no echo left this machine."""
    raw = next((o.raw for o in context.seen.all(ECHO) if o.raw), None)
    reason, advice = raw or "no echo was sent", ""
    if silences := counted.silences:
        reason = f"the echoes could not be sent: {_words(silences)}"
        refused = any(s.reason == "not-permitted" for s in silences)
        advice = _FILTER_ADVICE if refused else _FIT_ADVICE
    return context.finding(
        "echo.reply",
        "not-tested",
        reason,
        path=("address",),
        expected=str(context.device.address.address),
        advice=advice,
        evidence=counted.seen,
    )


def _no_figures(context: Context, reason: str) -> Findings:
    for check in ("echo.loss", "echo.round-trip"):
        yield context.finding(check, "not-tested", reason)


def _no_reply(
    context: Context,
    stats: EchoStats,
    counted: _Counted,
) -> Finding:
    reason = f"none of {stats.sent} echoes was answered: {_words(counted.silences)}"
    reason += _measured_by(counted)
    where, advice = _elsewhere(context)
    reason += where
    if rewritten := sum(each.foreign_id for each in counted.series):
        reason += f"; {rewritten} came back with another identifier"
        advice = "a firewall or address translation on the way rewrites echoes: go around it"
    if _warmed_up(context.seen):
        reason += "; the one before them was: the device went silent"
    elif _answered_otherwise(context.seen):
        reason += "; the device answers otherwise, so echoes are filtered"
        advice = "a filter drops echoes; allow them from the management hosts, or plan without them"
    return context.finding(
        "echo.reply",
        "fail",
        reason,
        path=("address",),
        expected=str(context.device.address.address),
        advice=advice,
        evidence=(*counted.seen, *context.seen.all(OTHER_ADDRESS)),
    )


def _elsewhere(context: Context) -> tuple[str, str]:
    """What was seen at the device's other addresses, and what to do then."""
    looks = context.seen.values(OTHER_ADDRESS)
    planned = context.device.address
    for look in looks:
        at = f"{look.address}, its {look.what} address"
        set_it = f"set {planned} in the device, save, and read it again"
        if look.seen == "device":
            return f"; the device is at {at}", set_it
        if look.seen == "likely":
            check = "compare its serial number with the plan; if it is the one, "
            return f"; a device of its family is at {at}", f"{check}{set_it}"
    nobody = [str(look.address) for look in looks if look.asked and look.seen == "nobody"]
    there = [look for look in looks if look.seen in {"another", "unknown"}]
    words = f"; nobody is at {' and '.join(nobody)} either" if nobody else ""
    for look in there:
        who = look.who or "somebody who cannot be told"
        words += f"; at {look.address}, its {look.what} address, is {who}"
    return words, "check power, cable and port; is the device at another address?"


def _words(silences: Iterable[Silence]) -> str:
    return "; ".join(dict.fromkeys(s.text for s in silences)) or "no answer in time"


def _loss(
    context: Context,
    stats: EchoStats,
    counted: _Counted,
) -> Finding:
    limit = context.plan.acceptance.max_loss_pct
    over = stats.loss_pct > limit if limit is not None else stats.loss_pct > 0
    reason = f"{stats.sent - stats.received} of {stats.sent} echoes lost{_measured_by(counted)}"
    if silences := counted.silences:
        reason += f" ({_words(silences)})"
    if over:
        reason += "; echoes to a device judge its management path only"
        if limit is None:
            reason += "; the plan sets no limit"
    return context.finding(
        "echo.loss",
        "pass" if not over else "warn" if limit is None else "fail",
        reason,
        limit=None if limit is None else "max_loss_pct",
        expected=0 if limit is None else limit,
        observed=round(stats.loss_pct, 3),
        unit="%",
        advice="repeat at one echo a second: many devices answer echoes at low priority"
        if over
        else "",
        evidence=counted.seen,
    )


def _rtt(context: Context, stats: EchoStats, counted: _Counted) -> Finding:
    limit = context.plan.acceptance.max_rtt_p95_ms
    reason = (
        f"min {stats.min_ms:.3f}, average {stats.average_ms:.3f}, median {stats.median_ms:.3f}, "
        f"max {stats.max_ms:.3f} ms"
    )
    if stats.jitter_ms is not None:
        reason += f", jitter {stats.jitter_ms:.3f} ms"
    reason += _measured_by(counted)
    verdict: Verdict = "pass"
    if limit is not None and stats.median_ms > limit:
        verdict, reason = "fail", f"{reason}: more than half are over {limit:g} ms"
    elif limit is not None and stats.max_ms > limit:
        verdict, reason = "warn", f"{reason}: some are over {limit:g} ms; a soak decides"
    return context.finding(
        "echo.round-trip",
        verdict,
        reason,
        limit=None if limit is None else "max_rtt_p95_ms",
        expected=limit,
        observed=round(stats.median_ms, 3),
        unit="ms",
        advice="look for load, interference or a detour on the way" if verdict != "pass" else "",
        evidence=counted.seen,
    )
