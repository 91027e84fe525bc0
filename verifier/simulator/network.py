"""A simulated network: which address of 127.0.0.0/8 is which device, and what is wrong with it."""

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
from verifier.simulator.condition import (
    Condition,
    ShownDevice,
    ShownRadio,
    addresses_of,
    ports_of,
    settings_of,
)
from verifier.simulator.device import SimulatedDevice
from verifier.simulator.faults import KINDS, PlantedFault

Agents = dict[int, dict[bytes, SimulatedDevice]]
"""Devices by UDP port and by the four octets of an address."""


_Wrong = tuple[tuple[PlantedFault, Device | None], ...]
"""The faults of a device, each with the far device as planned where it is one of a link."""
_Value = TypeVar("_Value")


class SimulatedNetwork:
    """All devices of a plan, as they should be but for the faults.

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
        faults: Iterable[PlantedFault] = (),
    ) -> None:
        self.plan = plan
        self._port = port
        self._faults: list[PlantedFault] = []
        self._wrong: dict[str, _Wrong] = {}
        self._links = {link.name: link for link in plan.links}
        self._ends: dict[str, list[tuple[Link, Carrier, EndName]]] = defaultdict(list)
        for link in plan.links:
            for carrier in link.carriers:
                for name, end in carrier.ends():
                    self._ends[end.device].append((link, carrier, name))
        self._sites = {site.name: site for site in plan.sites}
        start_s = time.monotonic()
        self.devices: dict[str, SimulatedDevice] = {}
        for device in plan.devices:
            _can_be_simulated(device)
            profile = _known(profiles, device.profile, f"{device.name}: profile")
            entry = (
                None
                if device.snmp is None
                else _known(credentials, device.snmp, f"{device.name}: SNMP credentials")
            )
            self.devices[device.name] = SimulatedDevice(device, profile, entry, self._look, start_s)
        for fault in faults:
            self.put(fault)

    @property
    def faults(self) -> tuple[PlantedFault, ...]:
        """What is wrong now, in the order it was put on."""
        return tuple(self._faults)

    def put(self, fault: PlantedFault) -> None:
        """Puts a fault on, also while the network is running. Raises UsageError: no such device."""
        concerned = self._concerned(fault)
        self._change(
            {u: (*self._wrong.get(u.device.name, ()), (fault, far)) for u, far in concerned}
        )
        self._faults.append(fault)

    def take_off(self, fault: PlantedFault) -> None:
        """Takes a fault off again. What happened (`restarted`) stays. Raises UsageError: not on."""
        if fault not in self._faults:
            raise UsageError(f"fault {fault.kind!r} is not on")
        self._faults.remove(fault)
        wrong: dict[SimulatedDevice, _Wrong] = {}
        for device, far in self._concerned(fault):
            left = list(self._wrong[device.device.name])
            left.remove((fault, far))
            wrong[device] = tuple(left)
        self._change(wrong)

    def agents(self) -> Agents:
        """Which device answers at which port and address.

        Raises UsageError where two devices have one address.
        """
        by_port: Agents = defaultdict(dict)
        for device in self.devices.values():
            if device.entry is None:
                continue
            port = device.entry.port if self._port is None else self._port
            address = device.device.address.address
            if address.ip.packed in by_port[port]:
                raise UsageError(f"two devices at {address}")
            by_port[port][address.ip.packed] = device
        for agents in by_port.values():
            for device in list(agents.values()):
                for octets in _other_addresses(device.device):
                    agents.setdefault(octets, device)
        return dict(by_port)

    def _change(self, wrong: Mapping[SimulatedDevice, _Wrong]) -> None:
        """Gives devices their faults; what cannot be raises before anything has changed."""
        conditions = {device: _condition(device.device, faults) for device, faults in wrong.items()}
        now_s = time.monotonic()
        for device, condition in conditions.items():
            self._wrong[device.device.name] = wrong[device]
            device.change(condition, now_s)
            for _, carrier, name in self._ends.get(device.device.name, ()):
                far = self.devices.get(_far(carrier, name).device)
                if far is not None:
                    far.forget()

    def _concerned(self, fault: PlantedFault) -> list[tuple[SimulatedDevice, Device | None]]:
        """The devices a fault is of, each with the far device as planned where it is of a link."""
        if fault.device is not None and KINDS[fault.kind].of == "device":
            return [(_known(self.devices, fault.device, "device"), None)]
        link = _known(self._links, fault.link or "", "link")
        pairs = {
            end.device: _far(carrier, name).device
            for carrier in link.carriers
            for name, end in carrier.ends()
        }
        return [
            (_known(self.devices, own, "device"), _known(self.devices, far, "device").device)
            for own, far in pairs.items()
        ]

    def _look(self, simulated: SimulatedDevice) -> ShownDevice:
        """What a device shows, with all that is wrong at both ends of its links."""
        own, condition = simulated.device, simulated.condition
        occupant = self.devices[condition.stands_for or own.name]
        device = settings_of(own, occupant.device, condition)
        ports = ports_of(device, condition)
        return ShownDevice(
            plan=self.plan,
            device=device,
            profile=occupant.profile,
            condition=condition,
            location=(device.location or device.site or "")
            if condition.location is None
            else condition.location,
            engine_id=simulated.engine_id,
            boots=simulated.boots,
            ports=ports,
            addresses=addresses_of(device, ports),
            radios=tuple(self._radio(*end) for end in self._ends.get(own.name, ())),
        )

    def _radio(self, link: Link, planned: Carrier, name: EndName) -> ShownRadio:
        """The radio at one end; devices that stand elsewhere take their settings with them."""
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
        """An end with the settings of the device that stands there."""
        device = self.devices.get(own.device)
        if device is None or device.condition.stands_for != far.device:
            return own
        return dataclasses.replace(
            own, tx_mhz=far.tx_mhz, tx_power_dbm=far.tx_power_dbm, link_id=far.link_id
        )

    def _setting(self, end: End) -> radio.Setting:
        device = self.devices.get(end.device)
        return device.condition.radio if device is not None else radio.Setting()

    def _profile(self, end: End) -> Profile:
        device = self.devices.get(end.device)
        return device.profile if device is not None else Profile(id="")

    def _name(self, name: str) -> str:
        device = self.devices.get(name)
        if device is None:
            return name
        condition = device.condition
        return condition.stands_for or name if condition.name is None else condition.name

    def _km(self, link: Link, carrier: Carrier) -> float | None:
        if link.path_km is not None:
            return link.path_km
        devices = [self.devices.get(end.device) for end in (carrier.a, carrier.b)]
        sites = [self._sites.get(u.device.site or "") if u is not None else None for u in devices]
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
