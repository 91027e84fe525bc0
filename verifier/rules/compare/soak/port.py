"""`port.errors`: error counters of a port over a soak."""

from __future__ import annotations

from verifier.model.plan import Port
from verifier.model.result import Finding, Verdict
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.soak.context import NO_SAMPLES, Soaking, rests_on
from verifier.rules.soak.counters import (
    COLUMNS,
    DISCARDS,
    ERRORS,
    OCTETS,
    PACKETS,
    Counter,
    DeviceTally,
)


def errors(context: Context, soak: Soaking) -> Findings:
    """`port.errors` of each planned port."""
    tally = soak.came_to.devices.get(context.device.name)
    for port in context.device.ports:
        yield rests_on(_port(context, soak, port, tally), soak)


def _port(context: Context, soak: Soaking, port: Port, tally: DeviceTally | None) -> Finding:
    limit = context.plan.acceptance.max_port_errors
    counters = {c: tally.counters.get((port.name, c)) if tally else None for c in COLUMNS}
    unread = _unread(context, tally, counters)
    invalid = next((c.invalid for c in counters.values() if c and c.column in
                    (*ERRORS, *DISCARDS) and c.invalid), "")  # fmt: skip
    grown = sum(c.grown for name in ERRORS if (c := counters[name]) is not None)
    verdict: Verdict = "pass"
    observed: int | None = grown
    if unread or invalid:
        verdict, observed = "not-tested", None
        reason = unread or f"the counters prove nothing: {invalid}"
    else:
        reason = _port_words(counters)
        if grown > (limit or 0):
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
        return NO_SAMPLES
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
