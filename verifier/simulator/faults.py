"""What can be wrong with a simulated device: one table, from a fault's kind to what it changes."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from verifier.errors import UsageError
from verifier.model.address import Address, Interface, Mac
from verifier.model.plan import Device
from verifier.simulator.condition import Condition
from verifier.simulator.radio import Setting

_FULL_SPEED_MBPS = 1000
_LOSS_DB = 12.0
_DELAY_S = 0.5
_OTHER_ADDRESS = Address.parse("127.255.255.254")
_SPARE_MAC = Mac.parse("02:00:5e:10:ff:01")
_MHZ_OFF = 14.0
_MORE_DB = 4.0
_NOISE_DB = 24.0
_MTU = 1400
_OCTET = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantedFault:
    """One thing wrong.

    Attributes:
        kind: a name of `KINDS`.
        device: the device that has it, or
        link: the link whose ends have it.
        port: of the device; the first planned if None.
        value: in the unit that `KINDS` tells; its default if None.
    """

    kind: str
    device: str | None = None
    link: str | None = None
    port: str | None = None
    value: float | str | None = None

    def __post_init__(self) -> None:
        kind = KINDS.get(self.kind)
        if kind is None:
            raise UsageError(f"no fault {self.kind!r}: there are {', '.join(KINDS)}")
        if (self.device if kind.of == "device" else self.link) is None:
            raise UsageError(f"fault {self.kind!r} is one of a {kind.of}: name the {kind.of}")


Change = Callable[[Condition, Device, PlantedFault, Device | None], Condition]


@dataclass(frozen=True, slots=True)
class FaultKind:
    """A kind of fault: whose it is, in words, and the condition it makes of another.

    `change` gets the device as planned, the fault, and for a link the far device as planned.
    """

    of: Literal["device", "link"]
    words: str
    change: Change


def _with(**fixed: object) -> Change:
    """A change that sets these fields of a condition."""
    return lambda c, _device, _fault, _far: dataclasses.replace(c, **fixed)  # type: ignore[arg-type]


def _radio(change: Callable[[Setting, PlantedFault], Setting]) -> Change:
    """A change of the radio's setting."""
    return lambda c, _device, f, _far: dataclasses.replace(c, radio=change(c.radio, f))


def _number(fault: PlantedFault, default: float) -> float:
    return default if fault.value is None else float(fault.value)


def _less_received(setting: Setting, fault: PlantedFault) -> Setting:
    loss_db = setting.rx_extra_db + _number(fault, _LOSS_DB)
    return dataclasses.replace(setting, rx_extra_db=loss_db)


def _more_received(setting: Setting, fault: PlantedFault) -> Setting:
    return dataclasses.replace(setting, rx_extra_db=setting.rx_extra_db - _number(fault, _LOSS_DB))


def _less_sent(setting: Setting, fault: PlantedFault) -> Setting:
    return dataclasses.replace(setting, power_offset_db=-_number(fault, _LOSS_DB))


def _name(
    condition: Condition, device: Device, fault: PlantedFault, far: Device | None
) -> Condition:
    del far
    return dataclasses.replace(condition, name=str(fault.value or f"{device.name}-spare"))


def _setting(**fixed: object) -> Change:
    """A change that sets these fields of the radio."""
    return _radio(lambda s, _: dataclasses.replace(s, **fixed))  # type: ignore[arg-type]


_SPARE: tuple[tuple[str, str | Mac | None], ...] = (("serial", "990001"), ("mac", _SPARE_MAC))


def _another(
    condition: Condition, device: Device, fault: PlantedFault, far: Device | None
) -> Condition:
    """A device that nobody planned, with a name, a place and a serial number of its own."""
    del device, fault, far
    return dataclasses.replace(
        condition, name="stranger", location="elsewhere", hardware=(*condition.hardware, *_SPARE)
    )


def _hardware(
    condition: Condition, device: Device, fault: PlantedFault, far: Device | None
) -> Condition:
    """The far device's hardware, with the settings that are planned here."""
    del device, fault
    assert far is not None
    own = (("serial", far.serial), ("mac", far.mac), ("part_number", far.part_number))
    return dataclasses.replace(condition, hardware=(*condition.hardware, *own))


def _software(
    condition: Condition, device: Device, fault: PlantedFault, far: Device | None
) -> Condition:
    del device, far
    own = ("software", str(fault.value or "3.9.0"))
    return dataclasses.replace(condition, hardware=(*condition.hardware, own))


def _extra(
    condition: Condition, device: Device, fault: PlantedFault, far: Device | None
) -> Condition:
    del fault, far
    octets = device.address.address.ip.packed
    own = Address.parse(".".join(map(str, (octets[0], octets[1] ^ 1, *octets[2:]))))
    return dataclasses.replace(condition, extra_addresses=(Interface.of(own, 24),))


def _of_port(change: Callable[[Condition, str, PlantedFault], Condition]) -> Change:
    """A change of one port; the first planned if none is named."""
    return lambda c, device, fault, _: change(c, fault.port or device.ports[0].name, fault)


def _reset(
    condition: Condition, device: Device, fault: PlantedFault, far: Device | None
) -> Condition:
    """As it came from the factory, but for its address."""
    radio = dataclasses.replace(
        condition.radio, mhz_off=_MHZ_OFF, rx_mhz_off=_MHZ_OFF, link_id="factory"
    )
    own = _prefix(condition, device, dataclasses.replace(fault, value=None), far)
    return dataclasses.replace(
        own, name="", location="", gateway_lost=True, clock_free=True, radio=radio,
        restarts=condition.restarts + 1,
    )  # fmt: skip


def _prefix(
    condition: Condition, device: Device, fault: PlantedFault, far: Device | None
) -> Condition:
    del far
    planned = device.address.prefix
    wrong = planned - _OCTET if planned > _OCTET else planned + _OCTET
    prefix = int(_number(fault, wrong))
    return dataclasses.replace(
        condition, prefix=Interface.of(device.address.address, prefix).prefix
    )


def _gateway(
    condition: Condition, device: Device, fault: PlantedFault, far: Device | None
) -> Condition:
    """Another host of the subnet: the gateway's last bit but one the other way round."""
    del far
    if fault.value is not None:
        other = Address.parse(str(fault.value))
    else:
        planned = device.gateway or device.address.address
        octets = planned.ip.packed
        other = Address.parse(".".join(map(str, (*octets[:-1], octets[-1] ^ 2))))
    return dataclasses.replace(condition, gateway=other)


def _port(speed_mbps: Callable[[int, PlantedFault], int]) -> Change:
    """A change of one port's speed."""

    def change(
        condition: Condition, device: Device, fault: PlantedFault, far: Device | None
    ) -> Condition:
        del far
        ports = {p.name: p.speed_mbps or _FULL_SPEED_MBPS for p in device.ports}
        name = fault.port or next(iter(ports), None)
        if name not in ports:
            raise UsageError(f"{device.name} has no port {name!r} in the plan")
        speeds = dict(condition.ports) | {name: speed_mbps(ports[name], fault)}
        return dataclasses.replace(condition, ports=tuple(speeds.items()))

    return change


def _responder(
    condition: Condition, device: Device, fault: PlantedFault, far: Device | None
) -> Condition:
    del device, far
    other = Address.parse(str(fault.value)) if fault.value else _OTHER_ADDRESS
    if not (other.is_v4 and other.is_loopback):
        raise UsageError(f"{other}: a simulated device answers from 127.0.0.0/8 only")
    return dataclasses.replace(condition, responder=other)


KINDS: dict[str, FaultKind] = {
    "no-answer": FaultKind("device", "the SNMP agent is silent", _with(silent=True)),
    "slow": FaultKind(
        "device", "answers so many seconds late (0.5)",
        lambda c, _, f, __: dataclasses.replace(c, delay_s=_number(f, _DELAY_S)),
    ),
    "wrong-name": FaultKind("device", "another sysName", _name),
    "swapped-ends": FaultKind(
        "link", "the two devices stand at each other's place",
        lambda c, _, __, far: dataclasses.replace(c, stands_for=far.name if far else None),
    ),
    "wrong-mask": FaultKind("device", "another prefix length", _prefix),
    "wrong-gateway": FaultKind("device", "another default gateway", _gateway),
    "port-down": FaultKind("device", "a port is down", _port(lambda _, __: 0)),
    "port-slow": FaultKind(
        "device", "a port runs at so many Mbit/s (a tenth)",
        _port(lambda planned, fault: int(_number(fault, max(1, planned // 10)))),
    ),
    "counters-running": FaultKind("device", "error counters run", _with(counting=True)),
    "level-low": FaultKind("device", "receives so many dB less (12)", _radio(_less_received)),
    "level-low-both": FaultKind("link", "both ends receive so many dB less (12)",
                           _radio(_less_received)),
    "power-low": FaultKind(
        "device", "transmits so many dB less than it says (12)", _radio(_less_sent)
    ),
    "alignment-left": FaultKind(
        "device", "still in alignment settings: lowest modulation, highest power",
        _radio(lambda s, _: dataclasses.replace(s, alignment=True)),
    ),
    "muted": FaultKind("device", "the transmitter is off",
                  _radio(lambda s, _: dataclasses.replace(s, muted=True))),
    "level-high": FaultKind(
        "device", "receives so many dB more (12)",
        _radio(_more_received),
    ),
    "power-set": FaultKind(
        "device", "its power is set so many dB over the plan (4)",
        _radio(lambda s, f: dataclasses.replace(s, set_offset_db=_number(f, _MORE_DB))),
    ),
    "frequency": FaultKind(
        "device", "transmits so many MHz over its frequency (14)",
        _radio(lambda s, f: dataclasses.replace(s, mhz_off=_number(f, _MHZ_OFF))),
    ),
    "frequencies-crossed": FaultKind("link", "each end has the other's frequencies",
                                _setting(crossed=True)),
    "bandwidth": FaultKind(
        "device", "has this bandwidth (14 MHz)",
        _radio(lambda s, f: dataclasses.replace(s, bandwidth_mhz=_number(f, _MHZ_OFF))),
    ),
    "link-id": FaultKind(
        "device", "has this link id ('other')",
        _radio(lambda s, f: dataclasses.replace(s, link_id=str(f.value or "other"))),
    ),
    "key": FaultKind("device", "has another encryption key", _setting(key="other")),
    "polarisation": FaultKind(
        "device", "has this polarisation (H)",
        _radio(lambda s, f: dataclasses.replace(s, polarisation=str(f.value or "H"))),
    ),
    "modulation": FaultKind("device", "is fixed at the lowest modulation", _setting(lowest=True)),
    "atpc": FaultKind("device", "ATPC is on", _setting(atpc=True)),
    "test-mode": FaultKind("device", "transmits a bare carrier for a test", _setting(testing=True)),
    "interference": FaultKind(
        "device", "another transmitter takes so many dB off its SNR (24)",
        _radio(lambda s, f: dataclasses.replace(s, noise_db=_number(f, _NOISE_DB))),
    ),
    "no-name": FaultKind("device", "sysName is empty", _with(name="")),
    "location": FaultKind(
        "device", "another sysLocation ('elsewhere')",
        lambda c, _, f, __: dataclasses.replace(c, location=str(f.value or "elsewhere")),
    ),
    "software": FaultKind("device", "runs this software (3.9.0)", _software),
    "exchanged": FaultKind(
        "device", "a spare stands at its place, set up as planned",
        lambda c, _, __, ___: dataclasses.replace(c, hardware=(*c.hardware, *_SPARE)),
    ),
    "another": FaultKind("device", "a device that nobody planned stands at its place", _another),
    "hardware-swapped": FaultKind(
        "link", "the two devices are at each other's place, set up for where they are", _hardware
    ),
    "no-gateway": FaultKind("device", "has no default route", _with(gateway_lost=True)),
    "extra-address": FaultKind("device", "holds a further address of 127.0.0.0/8", _extra),
    "half-duplex": FaultKind(
        "device", "a port runs half duplex",
        _of_port(lambda c, p, _: dataclasses.replace(c, half_duplex=(*c.half_duplex, p))),
    ),
    "mtu": FaultKind(
        "device", "a port has this MTU (1400)",
        _of_port(lambda c, p, f: dataclasses.replace(
            c, mtus=(*c.mtus, (p, int(_number(f, _MTU)))))),
    ),
    "alarm": FaultKind("device", "an alarm is present", _with(alarm=True)),
    "clock-free": FaultKind("device", "its clock follows no time server", _with(clock_free=True)),
    "reset": FaultKind("device", "restarted with the factory's settings, at its address", _reset),
    "unsaved": FaultKind("device", "settings are not saved", _with(unsaved=True)),
    "switch-forced": FaultKind("device", "the protection switch is forced", _with(forced=True)),
    "restarted": FaultKind(
        "device", "restarts now",
        lambda c, _, __, ___: dataclasses.replace(c, restarts=c.restarts + 1),
    ),
    "non-increasing": FaultKind(
        "device", "GETNEXT gives the object it is asked for", _with(stuck=True)
    ),
    "too-big": FaultKind(
        "device", "tooBig for more objects than these (1)",
        lambda c, _, f, __: dataclasses.replace(c, most=int(_number(f, 1))),
    ),
    "truncated": FaultKind("device", "replies are cut short", _with(damage="truncated")),
    "garbage": FaultKind("device", "replies are no SNMP", _with(damage="garbage")),
    "wrong-community": FaultKind("device", "has another community or key", _with(refuses=True)),
    "other-address": FaultKind("device", "answers from another address of 127.0.0.0/8", _responder),
}  # fmt: skip
"""Every fault there is, by name."""
