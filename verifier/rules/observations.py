"""Finding one observation among many: by its kind, by the row of a table, by a planned port."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from typing import Final, TypeVar, cast

from verifier.model import mib
from verifier.model.kind import Kind, KindOf, MibObject, ReadingKind, Scalar
from verifier.model.laptop import Laptop
from verifier.model.observations import (
    DEFAULT_ROUTE,
    ENGINE_ID,
    INTERFACES,
    SHEET,
    FilledSheet,
    Observation,
)
from verifier.model.plan import Device
from verifier.model.profile import ReadingField

T = TypeVar("T")
_NAMES = {mib.IF_NAME.what: mib.IF_NAME, mib.IF_DESCR.what: mib.IF_DESCR,
          mib.IF_ALIAS.what: mib.IF_ALIAS}  # fmt: skip


class Observations:
    """Observations of one device, by kind and by instance."""

    def __init__(self, observations: Iterable[Observation[object]] = ()) -> None:
        self._by_kind: dict[Kind, list[Observation[object]]] = defaultdict(list)
        for observation in observations:
            self._by_kind[observation.kind].append(observation)

    def all(self, kind: KindOf[T]) -> list[Observation[T]]:
        """Every observation of this kind, in order."""
        return cast("list[Observation[T]]", self._by_kind.get(kind, []))

    def first(self, kind: KindOf[T]) -> Observation[T] | None:
        """The first observation of this kind."""
        found = self.all(kind)
        return found[0] if found else None

    def values(self, kind: KindOf[T]) -> list[T]:
        """The value of each observation of this kind that has one, in order."""
        return [value for o in self.all(kind) if (value := o.value) is not None]

    def at(self, column: MibObject[T], index: str) -> Observation[T] | None:
        """The observation of this column at this instance."""
        suffix = f".{index}"
        return next((o for o in self.all(column) if o.oid and o.oid.endswith(suffix)), None)

    def column(self, column: MibObject[T]) -> dict[str, Observation[T]]:
        """Rows of a column with a value, by instance."""
        start = f"{column.oid}."
        return {
            o.oid.removeprefix(start): o
            for o in self.all(column)
            if o.oid and o.oid.startswith(start) and o.value is not None
        }

    def port_names(self) -> dict[str, dict[str, str]]:
        """What the rows of the interface table are called: text by column, then by ifIndex."""
        return {
            name: {i: str(o.value) for i, o in self.column(column).items()}
            for name, column in _NAMES.items()
        }

    def readings(self, field: str) -> list[Observation[Scalar]]:
        """Every reading of a field of the profile, of whatever index."""
        kinds = [k for k in self._by_kind if isinstance(k, ReadingKind) and k.field == field]
        return [o for kind in kinds for o in self.all(kind)]

    def by_tcp(self) -> Iterable[Observation[object]]:
        """Every try to connect by TCP."""
        return [o for kind, all_ in self._by_kind.items() if kind.probe == "tcp" for o in all_]


def by_device(observations: Iterable[Observation[object]]) -> dict[str, Observations]:
    """Observations of each device, by its name; ports of a device belong to it."""
    sorted_: dict[str, list[Observation[object]]] = defaultdict(list)
    for observation in observations:
        if observation.subject.kind in {"device", "port"}:
            sorted_[observation.subject.name].append(observation)
    return {name: Observations(found) for name, found in sorted_.items()}


def of_kind(observations: Iterable[Observation[object]], kind: KindOf[T]) -> list[Observation[T]]:
    """Every observation of a kind, of whatever subject."""
    return [cast("Observation[T]", o) for o in observations if o.kind is kind]


def laptop_of(observations: Iterable[Observation[object]]) -> Laptop | None:
    """The laptop as it was in the run; None where it was not looked at."""
    return next((o.value for o in of_kind(observations, INTERFACES)), None)


def sheet_of(observations: Iterable[Observation[object]]) -> Observation[FilledSheet] | None:
    """The sheet that a person filled in; None without one."""
    return next(iter(of_kind(observations, SHEET)), None)


BITS_PER_MBIT = 1_000_000
NAME_COLUMNS = ("ifName", "ifDescr", "ifAlias")
"""Where a port's name is looked for, in this order. ifIndex may change at a restart (RFC 2863
3.1.5); names are what people plan with."""


def rows_of_port(names: Mapping[str, Mapping[str, str]], port: str) -> tuple[str, ...]:
    """Indices of the rows called `port`: by ifName, else ifDescr, else ifAlias; exact.

    Args:
        names: for each of `NAME_COLUMNS`, text by ifIndex.
        port: the planned name.
    """
    for column in NAME_COLUMNS:
        found = tuple(i for i, text in names.get(column, {}).items() if text == port)
        if found:
            return found
    return ()


def speed_mbps(speed: object, high_speed: object) -> float | None:
    """Speed of a port in Mbit/s; None where neither object tells it, or the two are at odds.

    RFC 2863: at its largest value ifSpeed tells nothing and ifHighSpeed must be used. Where an
    agent lets ifSpeed go round at 2^32 instead, ifHighSpeed tells too. Either is 0 if not known.
    """
    slow = speed if isinstance(speed, int) and speed > 0 else None
    high = high_speed if isinstance(high_speed, int) and high_speed > 0 else None
    if slow is None or slow >= mib.IF_SPEED_MAX:
        return None if high is None else float(high)
    if high is None or abs(slow - high * BITS_PER_MBIT) < BITS_PER_MBIT:
        return slow / BITS_PER_MBIT
    return float(high) if is_modulo(slow, high) else None


def is_modulo(speed: int, high_speed: int) -> bool:
    """Whether ifSpeed is what ifHighSpeed says, modulo 2^32 bit/s; that one is a rounded figure."""
    apart = (high_speed * BITS_PER_MBIT - speed) % (mib.IF_SPEED_MAX + 1)
    return min(apart, mib.IF_SPEED_MAX + 1 - apart) < BITS_PER_MBIT


Settings = Mapping[str, Scalar]
"""Values by the words for them; of a table's row with what it is about."""
_OF_DEVICE: Final[Mapping[KindOf[str], str]] = {
    mib.SYS_NAME: "name", mib.SYS_LOCATION: "location", ENGINE_ID: "SNMP engine id",
}  # fmt: skip
_READINGS: Final[Mapping[ReadingField, str]] = {
    "tx_mhz": "transmit frequency", "rx_mhz": "receive frequency", "bandwidth_mhz": "bandwidth",
    "polarisation": "polarisation", "tx_enabled": "transmitter",
    "tx_power_set_dbm": "set power", "atpc": "ATPC", "link_id": "link id",
    "configured_capacity_mbps": "configured capacity", "key_capacity_mbps": "feature key",
    "trap_targets": "trap receivers", "syslog_hosts": "syslog hosts", "ntp_hosts": "time servers",
    "test_mode": "test mode", "software": "software", "serial": "serial",
    "part_number": "part number",
}  # fmt: skip
"""What a person sets, or what stays with the device; levels, states and counters are none of it."""


def settings(device: Device, observations: Iterable[Observation[object]]) -> Settings:
    """The settings of a device in the words of a person; a row of a table by what it is about."""
    seen = Observations(o for o in observations if o.subject.name == device.name)
    found: dict[str, Scalar] = {}
    for kind, name in _OF_DEVICE.items():
        for value in seen.values(kind):
            found[name] = value
    for field, name in _READINGS.items():
        for o in seen.readings(field):
            if o.value is not None:
                found[name + o.kind.what.removeprefix(field)] = o.value
    masks = seen.column(mib.IP_AD_ENT_NET_MASK)
    found |= {f"mask of {at}": o.value for at, o in masks.items() if o.value is not None}
    prefixes = seen.column(mib.IP_ADDRESS_PREFIX)
    found |= {
        f"prefix of address {index}": str(o.value).rpartition(".")[2]
        for index, o in prefixes.items()
    }
    if hops := {str(route.next_hop) for route in seen.values(DEFAULT_ROUTE)}:
        found["default route"] = ", ".join(sorted(hops))
    found.update(_port_settings(device, seen))
    return found


def _port_settings(device: Device, seen: Observations) -> Iterator[tuple[str, Scalar]]:
    """By the port's name, as its index may be another after a restart (RFC 2863 3.1.5)."""
    names = seen.port_names()
    for port in device.ports:
        indexes = rows_of_port(names, port.name)
        if len(indexes) != 1:
            continue
        switched, mtu = seen.at(mib.IF_ADMIN_STATUS, indexes[0]), seen.at(mib.IF_MTU, indexes[0])
        if switched is not None and switched.value is not None:
            yield f"{port.name} switched", switched.value
        if mtu is not None and mtu.value is not None:
            yield f"{port.name} MTU", mtu.value
