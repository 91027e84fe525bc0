"""Does each planned port see its neighbour: what the device hears by LLDP (IEEE 802.1AB)."""

from __future__ import annotations

from verifier.model import mib
from verifier.model.observation import NO_ROWS, Observation
from verifier.model.plan import Port
from verifier.model.result import Finding, Verdict
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.identity import same_device
from verifier.rules.compare.ports import port_names
from verifier.rules.mib import ports as port_rules

_ADVICE = "is the cable in the right port, at both ends? Does the neighbour send LLDP?"


def neighbours(context: Context) -> Findings:
    """`port.neighbour` of each port that has one planned: the name the neighbour announces."""
    for port in context.device.ports:
        if port.neighbour is None:
            continue
        if (gap := _gap(context)) is not None:
            yield _finding(context, port, "not-tested", gap)
            continue
        heard = _heard(context, _local_numbers(context, port.name))
        yield _judged(context, port, port.neighbour, heard)


def _gap(context: Context) -> str | None:
    if (gap := context.snmp_gap) is not None:
        return gap
    if not context.seen.column("lldpLocPortId", mib.LLDP_LOCAL_PORTS["lldpLocPortId"]):
        unread = context.unread(context.seen.first("lldpLocPortId"), "LLDP table")
        return unread or "the device lists no LLDP ports"
    return None


def _unheard(context: Context) -> str | None:
    """Why it is not known who else is heard, or None where the whole table was read."""
    rows = [o for what in mib.LLDP_NEIGHBOURS for o in context.seen.all(what)]
    if not rows:
        return context.unread(None, "LLDP table of neighbours")
    failed = (o.raw for o in rows if o.value is None and o.raw and o.raw != NO_ROWS)
    raw = next(failed, None)
    return raw and f"the LLDP table of neighbours was not read to its end: {raw}"


def _local_numbers(context: Context, port: str) -> set[str]:
    """LLDP's number of a port: by its LLDP name or description, else taken to be its ifIndex."""
    for what, oid in mib.LLDP_LOCAL_PORTS.items():
        named = {i for i, o in context.seen.column(what, oid).items() if o.value == port}
        if named:
            return named
    return set(port_rules.match(port_names(context), port))


def _heard(context: Context, numbers: set[str]) -> dict[str, Observation]:
    """Names of the neighbours that are heard on these ports."""
    rows = context.seen.column("lldpRemSysName", mib.LLDP_NEIGHBOURS["lldpRemSysName"])
    return {
        str(seen.value): seen
        for index, seen in rows.items()
        if index.count(".") == 2 and index.split(".")[1] in numbers  # noqa: PLR2004
    }


def _judged(context: Context, port: Port, planned: str, heard: dict[str, Observation]) -> Finding:
    seen = tuple(heard.values())
    listed = ", ".join(heard) or None
    if planned in heard:
        return _finding(context, port, "pass", "the planned neighbour is heard", listed, seen)
    if any(same_device(name, planned) for name in heard):
        reason = "the neighbour's name differs by capital letters or a domain suffix only"
        return _finding(context, port, "warn", reason, listed, seen)
    if (gap := _unheard(context)) is not None:
        return _finding(context, port, "not-tested", gap, listed, seen)
    reason = "another neighbour is heard on this port" if heard else "no neighbour is heard there"
    return _finding(context, port, "fail", reason, listed, seen)


def _finding(  # noqa: PLR0913, PLR0917
    context: Context,
    port: Port,
    verdict: Verdict,
    reason: str,
    observed: str | None = None,
    seen: tuple[Observation, ...] = (),
) -> Finding:
    return context.finding(
        "port.neighbour",
        verdict,
        reason,
        path=("ports", port.name, "neighbour"),
        expected=port.neighbour,
        observed=observed,
        advice=_ADVICE if verdict == "fail" else "",
        subject=context.port(port.name),
        evidence=seen,
    )
