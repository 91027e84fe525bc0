"""`echo.*` of a few echoes: replies, loss, round trip, duplicates. A soak's: `soak/echo.py`."""

from __future__ import annotations

from typing import Any

from verifier.model.observation import Observation
from verifier.model.result import Finding, Verdict
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.seen import DeviceObservations
from verifier.rules.echo import EchoStats, echo_stats

_FIT_ADVICE = "set the laptop into the device's subnet, or give both a way through a gateway"
_FILTER_ADVICE = "a filter on this laptop keeps them back: allow them, then try again"


def counted(context: Context) -> tuple[EchoStats | None, list[Observation]]:
    """Statistics over every counted echo, and the observations they rest on; None: none sent."""
    observed = [o for o in context.seen.all("echo") if o.value is not None]
    rtts = tuple(r for o in observed for r in o.value["rtt_ms"])
    return (echo_stats(rtts) if rtts else None), observed


def answered(context: Context) -> bool:
    """Whether the device gave any sign of life, by any probe."""
    return not context.itself and alive(context.seen)


def alive(seen: DeviceObservations) -> bool:
    """Whether what was seen holds any sign of life."""
    replied = any(o.value["received"] for o in seen.all("echo") if o.value is not None)
    return replied or _warmed_up(seen) or _answered_otherwise(seen)


def _warmed_up(seen: DeviceObservations) -> bool:
    return any(o.value["replied"] for o in seen.all("warm-up") if o.value)


def _answered_otherwise(seen: DeviceObservations) -> bool:
    answer, engine = seen.first("answer"), seen.first("engine-id")
    if engine is not None and engine.value:
        return True
    return any(o.value in {"open", "closed"} for o in seen.starting("tcp/")) or (
        answer is not None and answer.value not in {None, *SILENT_OUTCOMES}
    )


SILENT_OUTCOMES = frozenset(
    {"silent", "host-unreachable", "no-route", "local-error", "port-unreachable"}
)
"""SNMP outcomes that are no sign of life. A port unreachable can be sent by a router's filter."""


def echoes(context: Context) -> Findings:
    """`echo.reply`, `echo.loss` and `echo.round-trip`; `echo.duplicate` where there was one."""
    stats, observed = counted(context)
    silences = [s for o in observed for s in o.value["silence"]]
    if stats is None:
        unsent = _unsent(context, silences, observed)
        yield unsent
        yield from _no_figures(context, unsent.reason)
        return
    if not stats.received:
        yield _no_reply(context, stats, silences, observed)
        yield from _no_figures(context, "no echo was answered")
        return
    address = str(context.device.address.address)
    yield context.finding(
        "echo.reply",
        "pass",
        f"{stats.received} of {stats.sent} echoes answered",
        path=("address",),
        expected=address,
        observed=address,
        evidence=tuple(observed),
    )
    if (cut := next((o.raw for o in context.seen.all("echo") if o.value is None), None)) is None:
        yield _loss(context, stats, silences, observed)
        yield _rtt(context, stats, observed)
    else:
        yield from _no_figures(context, f"{cut}, {stats.received} of them answered")
    if duplicates := sum(o.value["duplicates"] for o in observed):
        yield context.finding(
            "echo.duplicate",
            "warn",
            f"{duplicates} echoes were answered more than once",
            path=("address",),
            expected=0,
            observed=duplicates,
            advice="look for a second device at this address, a loop, or a doubled path",
            evidence=tuple(observed),
        )


def _unsent(
    context: Context, silences: list[dict[str, Any]], observed: list[Observation]
) -> Finding:
    """`echo.reply` where no echo left this machine."""
    raw = next((o.raw for o in context.seen.all("echo") if o.raw), None)
    reason, advice = raw or "no echo was sent", ""
    if silences:
        reason = f"the echoes could not be sent: {_words(silences)}"
        refused = any(s["reason"] == "not-permitted" for s in silences)
        advice = _FILTER_ADVICE if refused else _FIT_ADVICE
    return context.finding(
        "echo.reply",
        "not-tested",
        reason,
        path=("address",),
        expected=str(context.device.address.address),
        advice=advice,
        evidence=tuple(observed),
    )


def _no_figures(context: Context, reason: str) -> Findings:
    for check in ("echo.loss", "echo.round-trip"):
        yield context.finding(check, "not-tested", reason)


def _no_reply(
    context: Context,
    stats: EchoStats,
    silences: list[dict[str, Any]],
    observed: list[Observation],
) -> Finding:
    reason = f"none of {stats.sent} echoes was answered: {_words(silences)}"
    advice = "check power, cable and port; is the device at another address?"
    if rewritten := sum(o.value.get("foreign_id", 0) for o in observed):
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
        evidence=tuple(observed),
    )


def _words(silences: list[dict[str, Any]]) -> str:
    return "; ".join(dict.fromkeys(s["text"] for s in silences)) or "no answer in time"


def _loss(
    context: Context,
    stats: EchoStats,
    silences: list[dict[str, Any]],
    observed: list[Observation],
) -> Finding:
    limit = context.plan.acceptance.max_loss_pct
    over = stats.loss_pct > limit if limit is not None else stats.loss_pct > 0
    reason = f"{stats.sent - stats.received} of {stats.sent} echoes lost"
    if silences:
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
        evidence=tuple(observed),
    )


def _rtt(context: Context, stats: EchoStats, observed: list[Observation]) -> Finding:
    limit = context.plan.acceptance.max_rtt_p95_ms
    reason = (
        f"min {stats.min_ms:.3f}, average {stats.average_ms:.3f}, median {stats.median_ms:.3f}, "
        f"max {stats.max_ms:.3f} ms"
    )
    if stats.jitter_ms is not None:
        reason += f", jitter {stats.jitter_ms:.3f} ms"
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
        evidence=tuple(observed),
    )
