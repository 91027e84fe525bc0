"""`port.*`: is each planned port as planned. Error counters of a soak: `soak/port.py`.

Whom a port sees is what the device hears by LLDP (IEEE 802.1AB).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

from verifier.model import mib
from verifier.model.kind import MibObject
from verifier.model.observations import NO_ROWS, Observation
from verifier.model.plan import Port
from verifier.model.result import Figure, Finding, Verdict
from verifier.rules import observations as port_rules
from verifier.rules.compare.context import Context, Findings
from verifier.rules.selection import same_device

T = TypeVar("T")
_BITS_PER_MBIT = port_rules.BITS_PER_MBIT
_UNKNOWN = "the device says that it does not know"


@dataclass(frozen=True, slots=True, kw_only=True)
class _PortVerdict:
    """What one check of a port came to, before it is a finding. `right` None: not tested."""

    right: bool | None
    reason: str
    observed: Figure = None
    seen: tuple[Observation[object] | None, ...] = ()
    advice: str = ""


@dataclass(frozen=True, slots=True)
class _PortRow:
    """A planned port and its row of the device's interface table; `gap`: why there is none."""

    context: Context
    port: Port
    index: str
    gap: str | None

    def value(self, column: MibObject[T]) -> Observation[T] | None:
        return self.context.seen.at(column, self.index)

    def unread(self, column: MibObject[T]) -> _PortVerdict | None:
        """Not tested, with the reason, where a value is missing."""
        value = self.value(column)
        gap = self.gap or self.context.unread(value, column.what)
        return None if gap is None else _PortVerdict(right=None, reason=gap)


def ports(context: Context) -> Findings:
    """`port.status`, `port.speed`, `port.duplex`, `port.mtu` of each planned port."""
    names = context.seen.port_names()
    for port in context.device.ports:
        row = _row(context, port, port_rules.rows_of_port(names, port.name))
        for check, field, unit, judge in _CHECKS:
            planned = getattr(port, field)
            if planned is not None:
                yield _finding(row, check, field, unit, judge(row))


def _row(context: Context, port: Port, found: tuple[str, ...]) -> _PortRow:
    gap = context.snmp_gap
    if gap is None and len(found) > 1:
        gap = f"{len(found)} rows of the interface table are called {port.name!r}"
    elif gap is None and not found:
        names = context.seen.all(mib.IF_NAME)
        failed = next((o.raw for o in names if o.value is None and o.raw), None)
        gap = None if names else context.unread(None, "ifName")
        gap = gap or f"the device lists no port {port.name!r}" + (f" ({failed})" if failed else "")
    return _PortRow(context, port, "" if gap is not None else found[0], gap)


def _finding(
    row: _PortRow, check: str, field: str, unit: str | None, judged: _PortVerdict
) -> Finding:
    verdicts = {True: "pass", False: "fail", None: "not-tested"}
    return row.context.finding(
        check,
        verdicts[judged.right],  # type: ignore[arg-type]
        judged.reason,
        expected=getattr(row.port, field),
        observed=judged.observed,
        unit=unit,
        advice=judged.advice if judged.right is False else "",
        path=("ports", row.port.name, field),
        subject=row.context.port(row.port.name),
        evidence=judged.seen,
    )


def _status(row: _PortRow) -> _PortVerdict:
    if (unread := row.unread(mib.IF_OPER_STATUS)) is not None:
        return unread
    oper, admin = row.value(mib.IF_OPER_STATUS), row.value(mib.IF_ADMIN_STATUS)
    assert oper is not None
    if oper.value == "unknown":
        return _PortVerdict(right=None, reason=_UNKNOWN, observed=oper.value, seen=(oper, admin))
    off = admin is not None and admin.value == "down"
    is_up = oper.value == "up"
    advice = "unplug or switch off the port" if is_up else "check the cable and the far device"
    return _PortVerdict(
        right=is_up == (row.port.status == "up"),
        reason=f"the port is {oper.value}" + (" because it is switched off" if off else ""),
        observed=oper.value,
        seen=(oper, admin),
        advice="switch the port on in the device" if off else advice,
    )


def _speed(row: _PortRow) -> _PortVerdict:
    speed, high = row.value(mib.IF_SPEED), row.value(mib.IF_HIGH_SPEED)
    told = speed and speed.value, high and high.value
    found = port_rules.speed_mbps(*told)
    if row.gap is not None or found is None:
        return _no_speed(row, *told)
    planned = row.port.speed_mbps
    assert planned is not None
    beyond = planned * _BITS_PER_MBIT > mib.IF_SPEED_MAX
    if beyond and not told[1] and port_rules.is_modulo(round(found * _BITS_PER_MBIT), planned):
        reason = f"ifSpeed says what {planned} Mbit/s is modulo 2^32, and ifHighSpeed does not tell"
        return _PortVerdict(right=None, reason=reason, observed=found, seen=(speed, high))
    words = "the planned speed" if round(found) == planned else "another speed than planned"
    if round(found) < planned:
        words = "slower than planned: negotiated down, or set so"
    return _PortVerdict(
        right=round(found) == planned,
        reason=words,
        observed=int(found) if found.is_integer() else found,
        seen=(speed, high),
        advice="check both ends' speed setting and all four pairs of the cable",
    )


def _no_speed(row: _PortRow, speed: object, high: object) -> _PortVerdict:
    """Why the speed is not known."""
    seen = (row.value(mib.IF_SPEED), row.value(mib.IF_HIGH_SPEED))
    if row.gap is None and isinstance(speed, int) and isinstance(high, int) and high > 0 < speed:
        reason = f"ifSpeed says {speed} bit/s and ifHighSpeed {high} Mbit/s: they contradict"
        mbps = speed / _BITS_PER_MBIT
        both = (int(mbps) if mbps.is_integer() else mbps, high)
        return _PortVerdict(right=None, reason=f"{reason} each other", observed=both, seen=seen)
    if row.gap is None and isinstance(speed, int) and speed >= mib.IF_SPEED_MAX:
        reason = "ifSpeed is at its end (4,294,967,295 bit/s or more), ifHighSpeed does not tell"
        return _PortVerdict(right=None, reason=reason, seen=seen)
    nothing = _PortVerdict(
        right=None, reason="the device reports no speed, as for a port that is down"
    )
    return row.unread(mib.IF_SPEED) or nothing


def _duplex(row: _PortRow) -> _PortVerdict:
    if (unread := row.unread(mib.DOT3_STATS_DUPLEX_STATUS)) is not None:
        return unread
    seen = row.value(mib.DOT3_STATS_DUPLEX_STATUS)
    assert seen is not None
    if seen.value == "unknown":
        return _PortVerdict(right=None, reason=_UNKNOWN, observed=seen.value, seen=(seen,))
    return _PortVerdict(
        right=seen.value == row.port.duplex,
        reason=f"the port runs {seen.value} duplex",
        observed=seen.value,
        seen=(seen,),
        advice="set both ends alike: a mismatch loses frames under load",
    )


def _mtu(row: _PortRow) -> _PortVerdict:
    if (unread := row.unread(mib.IF_MTU)) is not None:
        return unread
    seen = row.value(mib.IF_MTU)
    assert seen is not None
    return _PortVerdict(
        right=seen.value == row.port.mtu,
        reason=f"the port's MTU is {seen.value}",
        observed=seen.value,
        seen=(seen,),
        advice="set the planned MTU in the device",
    )


_CHECKS = (
    ("port.status", "status", None, _status),
    ("port.speed", "speed_mbps", "Mbit/s", _speed),
    ("port.duplex", "duplex", None, _duplex),
    ("port.mtu", "mtu", "byte", _mtu),
)
_NEIGHBOUR_ADVICE = "is the cable in the right port, at both ends? Does the neighbour send LLDP?"


def neighbours(context: Context) -> Findings:
    """`port.neighbour` of each port that has one planned: the name the neighbour announces."""
    for port in context.device.ports:
        if port.neighbour is None:
            continue
        if (gap := _no_lldp(context)) is not None:
            yield _sees(context, port, "not-tested", gap)
            continue
        heard = _heard(context, _local_numbers(context, port.name))
        yield _neighbour(context, port, port.neighbour, heard)


def _no_lldp(context: Context) -> str | None:
    if (gap := context.snmp_gap) is not None:
        return gap
    if not context.seen.column(mib.LLDP_LOC_PORT_ID):
        first = context.seen.first(mib.LLDP_LOC_PORT_ID)
        return context.unread(first, "LLDP table") or "the device lists no LLDP ports"
    return None


def _unheard(context: Context) -> str | None:
    """Why it is not known who else is heard, or None where the whole table was read."""
    rows = [
        *context.seen.all(mib.LLDP_REM_PORT_ID),
        *context.seen.all(mib.LLDP_REM_SYS_NAME),
    ]
    if not rows:
        return context.unread(None, "LLDP table of neighbours")
    failed = (o.raw for o in rows if o.value is None and o.raw and o.raw != NO_ROWS)
    raw = next(failed, None)
    return raw and f"the LLDP table of neighbours was not read to its end: {raw}"


def _local_numbers(context: Context, port: str) -> set[str]:
    """LLDP's number of a port: by its LLDP name or description, else taken to be its ifIndex."""
    for column in (mib.LLDP_LOC_PORT_ID, mib.LLDP_LOC_PORT_DESC):
        named = {i for i, o in context.seen.column(column).items() if o.value == port}
        if named:
            return named
    return set(port_rules.rows_of_port(context.seen.port_names(), port))


def _heard(context: Context, numbers: set[str]) -> dict[str, Observation[str]]:
    """Names of the neighbours that are heard on these ports."""
    rows = context.seen.column(mib.LLDP_REM_SYS_NAME)
    return {
        str(seen.value): seen
        for index, seen in rows.items()
        if index.count(".") == 2 and index.split(".")[1] in numbers  # noqa: PLR2004
    }


def _neighbour(
    context: Context, port: Port, planned: str, heard: dict[str, Observation[str]]
) -> Finding:
    seen = tuple(heard.values())
    listed = ", ".join(heard) or None
    if planned in heard:
        return _sees(context, port, "pass", "the planned neighbour is heard", listed, seen)
    if any(same_device(name, planned) for name in heard):
        reason = "the neighbour's name differs by capital letters or a domain suffix only"
        return _sees(context, port, "warn", reason, listed, seen)
    if (gap := _unheard(context)) is not None:
        return _sees(context, port, "not-tested", gap, listed, seen)
    reason = "another neighbour is heard on this port" if heard else "no neighbour is heard there"
    return _sees(context, port, "fail", reason, listed, seen)


def _sees(  # noqa: PLR0913, PLR0917
    context: Context,
    port: Port,
    verdict: Verdict,
    reason: str,
    observed: str | None = None,
    seen: tuple[Observation[str], ...] = (),
) -> Finding:
    return context.finding(
        "port.neighbour",
        verdict,
        reason,
        path=("ports", port.name, "neighbour"),
        expected=port.neighbour,
        observed=observed,
        advice=_NEIGHBOUR_ADVICE if verdict == "fail" else "",
        subject=context.port(port.name),
        evidence=seen,
    )
