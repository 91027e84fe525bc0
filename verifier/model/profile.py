"""A device profile: what a family of devices looks like from outside, data only; modulations."""

from __future__ import annotations

import dataclasses
import functools
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from verifier.model.address import Interface
from verifier.model.plan import Band, Services

_QAM = re.compile(r"(\d{1,5})[ _-]?qam")
_PSK = {"bpsk": 1, "qpsk": 2, "4psk": 2, "8psk": 3}


@functools.lru_cache(maxsize=1024)
def plain_modulation(text: str) -> str:
    """One spelling for one modulation: `256-QAM` is `256qam`, `QPSK` is `4qam`."""
    low = text.strip().lower()
    if (qam := _QAM.fullmatch(low)) is not None:
        return f"{int(qam[1])}qam"
    return {"qpsk": "4qam", "4psk": "4qam"}.get(low, low)


def bits_per_symbol(modulation: str) -> int | None:
    """log2 of the number of states; None where the name does not tell it."""
    text = plain_modulation(modulation)
    if text in _PSK:
        return _PSK[text]
    if (qam := _QAM.fullmatch(text)) is None:
        return None
    states = int(qam[1])
    bits = states.bit_length() - 1
    return bits if bits > 0 and states == 1 << bits else None


ReadingField = Literal[
    "tx_mhz", "rx_mhz", "bandwidth_mhz", "tx_modulation", "rx_modulation", "polarisation",
    "tx_enabled", "tx_power_dbm", "tx_power_set_dbm", "atpc", "rx_level_dbm", "snr_db", "xpi_db",
    "locked", "link_id", "far_end_name", "configured_capacity_mbps", "current_capacity_mbps",
    "key_capacity_mbps", "errored_s", "severely_errored_s", "unavailable_s", "unsaved_settings",
    "test_mode", "alarm", "software", "serial", "part_number", "clock", "ntp_locked",
    "trap_targets", "syslog_hosts", "ntp_hosts", "switch_forced",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Factory:
    """Addresses a device has when it leaves the factory: one, or one for each half of the band."""

    address: Interface | None = None
    low: Interface | None = None
    high: Interface | None = None
    snmp: str | None = None

    def address_for(self, band: Band | None) -> Interface | None:
        """The factory address of a device that transmits in `band`."""
        chosen = {"low": self.low, "high": self.high}.get(band or "")
        return chosen or self.address


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfileReading:
    """One value to read by SNMP.

    Attributes:
        oid: a scalar, or a column with `index` (`port:NAME`, `radio:N`, `first`, or a number).
        scale: the value is the raw number times this.
        no_signal: raw values that mean "nothing received".
        ceiling: raw value at the end of the scale: it means "at least so much".
        good: raw values judged good without a plan value.
    """

    field: ReadingField
    oid: str
    type: Literal["integer", "text", "enumeration"]
    index: str | None = None
    scale: float = 1.0
    unit: str | None = None
    no_signal: tuple[int, ...] = ()
    ceiling: int | None = None
    values: Mapping[int, str] = dataclasses.field(default_factory=dict)
    good: tuple[int, ...] = ()
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mode:
    """One modulation at one bandwidth; threshold at BER 1e-6."""

    modulation: str
    bits: int
    bandwidth_mhz: float | None = None
    threshold_dbm: float | None = None
    max_tx_power_dbm: float | None = None
    capacity_mbps: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """A part number and the range it can transmit in."""

    part: str
    tx_min_mhz: float
    tx_max_mhz: float
    tx_band: Band | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AlignmentPort:
    """Voltage at the alignment port by receive level: rows of (dBm, V), rising or falling."""

    table: tuple[tuple[float, float], ...]
    no_signal_v: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Receive levels at which the receiver overloads and at which it is damaged."""

    rx_max_dbm: float | None = None
    rx_damage_dbm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """How far a reading may be from the plan."""

    rx_level_db: float = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """A family of devices. `boot_s` is the time from power to answer, in seconds.

    Attributes:
        set_power_caps_modes: whether no mode is sent with more than the set power; False: each mode
            has a power of its own; None: not known.
    """

    id: str
    title: str = ""
    kind: Literal["radio", "switch", "router", "other"] = "other"
    boot_s: float = 60.0
    set_power_caps_modes: bool | None = None
    object_id: str | None = None
    factory: Factory = Factory()
    services: Services = dataclasses.field(default_factory=Services)
    reading: tuple[ProfileReading, ...] = ()
    mode: tuple[Mode, ...] = ()
    variant: tuple[Variant, ...] = ()
    alignment_port: AlignmentPort | None = None
    limits: Limits = Limits()
    tolerance: Tolerance = Tolerance()

    def describes(self, object_id: str) -> bool:
        """Whether a device that shows this sysObjectID may be one of these; whole arcs count."""
        return self.object_id is None or f"{object_id}.".startswith(f"{self.object_id}.")

    def named_readings(self) -> dict[str, ProfileReading]:
        """Each reading under the name of its observation, in order.

        That is its field; from the second of a field on with the index: `rx_level_dbm radio:2`.
        """
        found: dict[str, ProfileReading] = {}
        for reading in self.reading:
            again = f"{reading.field} {reading.index}"
            found[again if reading.field in found else reading.field] = reading
        return found
