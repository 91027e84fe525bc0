"""A simulated network: which address of 127.0.0.0/8 is which unit, and what is wrong with it."""

from __future__ import annotations

import dataclasses
import time
from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import TypeVar

from verifier.errors import UsageError
from verifier.model.credentials import SnmpEntry
from verifier.model.plan import Carrier, Device, End, EndName, Link, Plan
from verifier.model.profile import Profile
from verifier.simulator import radio
from verifier.simulator.condition import Condition
from verifier.simulator.faults import KINDS, Fault
from verifier.simulator.mib.shown import (
    Shown,
    ShownRadio,
    addresses_of,
    ports_of,
    settings_of,
)
from verifier.simulator.unit import Unit

Agents = dict[int, dict[bytes, Unit]]
"""Units by UDP port and by the four octets of an address."""


_Wrong = tuple[tuple[Fault, Device | None], ...]
"""The faults of a unit, each with the far unit as planned where it is one of a link."""
_Value = TypeVar("_Value")


class Network:
    """All units of a plan, as they should be but for the faults.

    Args:
        plan: its devices are simulated, each at its planned address.
        profiles: by id, every profile the devices name.
        credentials: by entry name, every entry the devices name.
        port: UDP port of every agent; None: the entry's.
        faults: what is wrong from the start.

    Raises:
        UsageError: a device's address is outside 127.0.0.0/8, two have the same, a profile or
            entry is missing, or a fault names what is not in the plan.
    """

    def __init__(
        self,
        plan: Plan,
        profiles: Mapping[str, Profile],
        credentials: Mapping[str, SnmpEntry],
        *,
        port: int | None = None,
        faults: Iterable[Fault] = (),
    ) -> None:
        self.plan = plan
        self._port = port
        self._faults: list[Fault] = []
        self._wrong: dict[str, _Wrong] = {}
        self._links = {link.name: link for link in plan.links}
        self._ends: dict[str, list[tuple[Link, Carrier, EndName]]] = defaultdict(list)
        for link in plan.links:
            for carrier in link.carriers:
                for name, end in carrier.ends():
                    self._ends[end.device].append((link, carrier, name))
        self._sites = {site.name: site for site in plan.sites}
        start_s = time.monotonic()
        self.units: dict[str, Unit] = {}
        for device in plan.devices:
            _can_be_simulated(device)
            profile = _known(profiles, device.profile, f"{device.name}: profile")
            entry = (
                None
                if device.snmp is None
                else _known(credentials, device.snmp, f"{device.name}: SNMP credentials")
            )
            self.units[device.name] = Unit(device, profile, entry, self._look, start_s)
        for fault in faults:
            self.put(fault)

    @property
    def faults(self) -> tuple[Fault, ...]:
        """What is wrong now, in the order it was put on."""
        return tuple(self._faults)

    def put(self, fault: Fault) -> None:
        """Puts a fault on, also while the network is running. Raises UsageError: no such unit."""
        concerned = self._concerned(fault)
        self._change(
            {u: (*self._wrong.get(u.device.name, ()), (fault, far)) for u, far in concerned}
        )
        self._faults.append(fault)

    def take_off(self, fault: Fault) -> None:
        """Takes a fault off again. What happened (`restarted`) stays. Raises UsageError: not on."""
        if fault not in self._faults:
            raise UsageError(f"fault {fault.kind!r} is not on")
        self._faults.remove(fault)
        wrong: dict[Unit, _Wrong] = {}
        for unit, far in self._concerned(fault):
            left = list(self._wrong[unit.device.name])
            left.remove((fault, far))
            wrong[unit] = tuple(left)
        self._change(wrong)

    def agents(self) -> Agents:
        """Which unit answers at which port and address.

        Raises UsageError where two units have one address.
        """
        found: Agents = defaultdict(dict)
        for unit in self.units.values():
            if unit.entry is None:
                continue
            port = unit.entry.port if self._port is None else self._port
            address = unit.device.address.address
            if address.ip.packed in found[port]:
                raise UsageError(f"two units at {address}")
            found[port][address.ip.packed] = unit
        for agents in found.values():
            for unit in list(agents.values()):
                for octets in _other_addresses(unit.device):
                    agents.setdefault(octets, unit)
        return dict(found)

    def _change(self, wrong: Mapping[Unit, _Wrong]) -> None:
        """Gives units their faults; what cannot be raises before anything has changed."""
        conditions = {unit: _condition(unit.device, faults) for unit, faults in wrong.items()}
        now_s = time.monotonic()
        for unit, condition in conditions.items():
            self._wrong[unit.device.name] = wrong[unit]
            unit.change(condition, now_s)
            for _, carrier, name in self._ends.get(unit.device.name, ()):
                far = self.units.get(_far(carrier, name).device)
                if far is not None:
                    far.forget()

    def _concerned(self, fault: Fault) -> list[tuple[Unit, Device | None]]:
        """The units a fault is of, each with the far unit as planned where it is of a link."""
        if fault.unit is not None and KINDS[fault.kind].of == "unit":
            return [(_known(self.units, fault.unit, "unit"), None)]
        link = _known(self._links, fault.link or "", "link")
        pairs = {
            end.device: _far(carrier, name).device
            for carrier in link.carriers
            for name, end in carrier.ends()
        }
        return [
            (_known(self.units, own, "unit"), _known(self.units, far, "unit").device)
            for own, far in pairs.items()
        ]

    def _look(self, unit: Unit) -> Shown:
        """What a unit shows, with all that is wrong at both ends of its links."""
        own, condition = unit.device, unit.condition
        occupant = self.units[condition.stands_for or own.name]
        device = settings_of(own, occupant.device, condition)
        ports = ports_of(device, condition)
        return Shown(
            plan=self.plan,
            device=device,
            profile=occupant.profile,
            condition=condition,
            location=(device.location or device.site or "")
            if condition.location is None
            else condition.location,
            engine_id=unit.engine_id,
            boots=unit.boots,
            ports=ports,
            addresses=addresses_of(device, ports),
            radios=tuple(self._radio(*end) for end in self._ends.get(own.name, ())),
        )

    def _radio(self, link: Link, planned: Carrier, name: EndName) -> ShownRadio:
        """The radio at one end; units that stand elsewhere take their settings with them."""
        carrier = dataclasses.replace(
            planned,
            a=self._settled(planned.a, planned.b),
            b=self._settled(planned.b, planned.a),
        )
        ends = (carrier.a, carrier.b)
        settings = [self._setting(end) for end in ends]
        profiles = [self._profile(end) for end in ends]
        both = radio.seen(link, carrier, self._km(link, carrier), profiles, settings)
        at = 0 if name == "a" else 1
        own, far = ends[at], ends[1 - at]
        return ShownRadio(
            number=own.radio or carrier.carrier,
            link=link,
            polarisation=carrier.polarisation,
            planned=own,
            far_planned=far,
            setting=settings[at],
            seen=both[at],
            far_name=self._name(far.device),
        )

    def _settled(self, own: End, far: End) -> End:
        """An end with the settings of the unit that stands there."""
        unit = self.units.get(own.device)
        if unit is None or unit.condition.stands_for != far.device:
            return own
        return dataclasses.replace(
            own, tx_mhz=far.tx_mhz, tx_power_dbm=far.tx_power_dbm, link_id=far.link_id
        )

    def _setting(self, end: End) -> radio.Setting:
        unit = self.units.get(end.device)
        return unit.condition.radio if unit is not None else radio.Setting()

    def _profile(self, end: End) -> Profile:
        unit = self.units.get(end.device)
        return unit.profile if unit is not None else Profile(id="")

    def _name(self, name: str) -> str:
        unit = self.units.get(name)
        if unit is None:
            return name
        condition = unit.condition
        return condition.stands_for or name if condition.name is None else condition.name

    def _km(self, link: Link, carrier: Carrier) -> float | None:
        if link.path_km is not None:
            return link.path_km
        units = [self.units.get(end.device) for end in (carrier.a, carrier.b)]
        sites = [self._sites.get(u.device.site or "") if u is not None else None for u in units]
        if sites[0] is None or sites[1] is None:
            return None
        return radio.distance_km(sites[0], sites[1])


def _condition(device: Device, faults: _Wrong) -> Condition:
    condition = Condition()
    for fault, far in faults:
        try:
            condition = KINDS[fault.kind].change(condition, device, fault, far)
        except ValueError as error:
            raise UsageError(f"fault {fault.kind!r} of {device.name}: {error}") from None
    return condition


def _far(carrier: Carrier, name: EndName) -> End:
    return carrier.b if name == "a" else carrier.a


def _other_addresses(device: Device) -> list[bytes]:
    """Further addresses at which it can be asked here."""
    addresses = [o.address.address for o in device.other_addresses]
    return [a.ip.packed for a in addresses if a.is_v4 and a.is_loopback]


def _can_be_simulated(device: Device) -> None:
    address = device.address.address
    if not address.is_v4:
        raise UsageError(
            f"{device.name}: {address} cannot be simulated: IPv6 has one loopback address only"
            " (::1); give it an address of 127.0.0.0/8"
        )
    if not address.is_loopback:
        raise UsageError(
            f"{device.name}: {address} cannot be simulated: it must lie in 127.0.0.0/8,"
            " which never leaves this machine"
        )


def _known(table: Mapping[str, _Value], name: str, what: str) -> _Value:
    if name not in table:
        raise UsageError(f"{what} {name!r} is not known to the simulated network")
    return table[name]
