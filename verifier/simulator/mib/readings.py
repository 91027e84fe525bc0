"""The readings of a device's profile, each with the raw value that means what the device shows."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from verifier.model.plan import Use
from verifier.model.profile import ProfileReading
from verifier.simulator.agent.cells import Cell, Oid, Row, SecondsCell, clock, number, oid, text
from verifier.simulator.condition import ShownDevice, ShownRadio

_ERRORED_PER_S = 0.5
_NEUTRAL_XPI_DB = 30.0
_TRUE_WORDS = ("true", "on", "yes", "enabled", "locked", "up")
_FALSE_WORDS = ("false", "off", "no", "disabled", "unlocked", "down")
Value = float | str | bool | Cell | None


def readings(shown: ShownDevice) -> Iterator[Row]:
    """A row for each reading that has a meaning here; the others are no such objects."""
    for reading in shown.profile.reading:
        suffix = _suffix(shown, reading)
        cell = _cell(shown, reading) if suffix is not None else None
        if suffix is not None and cell is not None:
            yield (*oid(reading.oid), *suffix), cell


def _suffix(shown: ShownDevice, reading: ProfileReading) -> Oid | None:
    """What follows the reading's OID: nothing for a scalar; None where no such row is planned."""
    index = reading.index
    if index is None:
        return ()
    kind, _, name = index.partition(":")
    if kind == "port":
        return next(((p.index,) for p in shown.ports if p.name == name), None)
    if kind == "radio":
        return (int(name),) if name.isdigit() else None
    return (1,) if index == "first" else (int(index),)


def _radio(shown: ShownDevice, reading: ProfileReading) -> ShownRadio | None:
    """The radio a reading is of: `radio:N`, else the device's first."""
    kind, _, name = (reading.index or "").partition(":")
    if kind == "radio":
        return next((r for r in shown.radios if str(r.number) == name), None)
    return shown.radios[0] if shown.radios else None


def _cell(shown: ShownDevice, reading: ProfileReading) -> Cell | None:
    if reading.field in _STATES:
        return _state(reading, wrong=_STATES[reading.field](shown))
    if reading.field in _OF_DEVICE:
        return _encoded(reading, _OF_DEVICE[reading.field](shown))
    radio = _radio(shown, reading)
    if radio is None:
        return None
    value = _OF_RADIO[reading.field](radio)
    if value is None and reading.no_signal:
        return number(reading.no_signal[0])
    return _encoded(reading, value)


def _encoded(reading: ProfileReading, value: Value) -> Cell | None:
    """The cell that decodes to `value` by the reading's type; None where it has no such value."""
    if value is None or callable(value) or isinstance(value, bytes):
        return value
    if reading.type == "text":
        return text(f"{value:g}" if isinstance(value, float) else str(value))
    if reading.type == "enumeration":
        raw = _enumerated(reading, value)
        return None if raw is None else number(raw)
    return None if isinstance(value, str) else number(round(float(value) / reading.scale))


def _enumerated(reading: ProfileReading, value: Any) -> int | None:
    words = (str(value).casefold(),)
    if isinstance(value, bool):
        words = _TRUE_WORDS if value else _FALSE_WORDS  # type: ignore[assignment]
    return next((raw for raw, word in reading.values.items() if word.casefold() in words), None)


_STATES: dict[str, Callable[[ShownDevice], bool]] = {
    "unsaved_settings": lambda s: s.condition.unsaved,
    "test_mode": lambda s: s.condition.radio.testing,
    "alarm": lambda s: s.condition.alarm,
    "switch_forced": lambda s: s.condition.forced,
}
"""Whether a state is not the one that the profile calls good."""


def _state(reading: ProfileReading, *, wrong: bool) -> Cell:
    """A state that the profile calls good, 0 where it calls none so; or one that is not good."""
    good = reading.good or tuple(
        r for r, w in reading.values.items() if w.casefold() in _FALSE_WORDS
    )
    good = good or (0,)
    if not wrong:
        return number(good[0])
    others = [*reading.values, *range(max(good) + 2)]
    return number(next(raw for raw in others if raw not in good))


def _hosts(use: Use) -> Callable[[ShownDevice], Value]:
    """Addresses of the management hosts with this use."""
    return lambda s: ", ".join(str(h.address) for h in s.plan.management.hosts if use in h.uses)


def _seconds(shown: ShownDevice) -> Value:
    return SecondsCell(_ERRORED_PER_S) if shown.condition.counting else 0.0


_OF_DEVICE: dict[str, Callable[[ShownDevice], Value]] = {
    "software": lambda s: s.device.software or "",
    "serial": lambda s: s.device.serial or "",
    "part_number": lambda s: s.device.part_number or "",
    "clock": lambda _: clock,
    "ntp_locked": lambda s: not s.condition.clock_free,
    "trap_targets": _hosts("trap"),
    "syslog_hosts": _hosts("syslog"),
    "ntp_hosts": _hosts("ntp"),
    "errored_s": _seconds,
    "severely_errored_s": _seconds,
    "unavailable_s": lambda _: 0.0,
}


def _mhz(radio: ShownRadio, *, crossed: bool, off_mhz: float) -> Value:
    """What is planned for this end, or crossed over for the far one; None where nothing is."""
    planned = (radio.far_planned if crossed else radio.planned).tx_mhz
    return None if planned is None else planned + off_mhz


def _modulation(radio: ShownRadio) -> Value:
    return radio.seen.mode.modulation if radio.seen.mode else radio.link.modulation_max


def _far_modulation(radio: ShownRadio) -> Value:
    return radio.seen.far_mode.modulation if radio.seen.far_mode else radio.link.modulation_max


def _capacity(radio: ShownRadio) -> Value:
    mode = radio.seen.mode
    return mode.capacity_mbps if mode and mode.capacity_mbps else radio.link.capacity_mbps


_OF_RADIO: dict[str, Callable[[ShownRadio], Value]] = {
    "tx_mhz": lambda r: _mhz(r, crossed=r.setting.crossed, off_mhz=r.setting.mhz_off),
    "rx_mhz": lambda r: _mhz(r, crossed=not r.setting.crossed, off_mhz=r.setting.rx_mhz_off),
    "bandwidth_mhz": lambda r: r.setting.bandwidth_mhz or r.link.bandwidth_mhz,
    "tx_modulation": _modulation,
    "rx_modulation": _far_modulation,
    "polarisation": lambda r: r.setting.polarisation or r.polarisation,
    "tx_enabled": lambda r: not r.setting.muted,
    "tx_power_dbm": lambda r: r.seen.power_dbm,
    "tx_power_set_dbm": lambda r: r.seen.power_set_dbm,
    "atpc": lambda r: r.seen.atpc,
    "rx_level_dbm": lambda r: r.seen.rx_dbm,
    "snr_db": lambda r: r.seen.snr_db or 0.0,
    "xpi_db": lambda r: max(_NEUTRAL_XPI_DB, r.link.min_xpi_db or 0.0),
    "locked": lambda r: r.seen.locked,
    "link_id": lambda r: r.setting.link_id or r.planned.link_id or "",
    "far_end_name": lambda r: r.far_name if r.seen.locked else "",
    "configured_capacity_mbps": lambda r: r.link.capacity_mbps or _capacity(r),
    "current_capacity_mbps": _capacity,
    "key_capacity_mbps": lambda r: r.link.key_capacity_mbps or r.link.capacity_mbps,
}
