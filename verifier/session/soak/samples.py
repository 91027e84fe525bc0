"""Samples one device by SNMP again and again: uptime, receive level, counters of planned ports."""

from __future__ import annotations

import asyncio
import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from verifier.errors import CannotMeasureError
from verifier.model import mib
from verifier.model.observations import Observation, Unreadable
from verifier.model.observations import reading as reading_kind
from verifier.model.plan import Device
from verifier.model.profile import Profile, ProfileReading
from verifier.model.samples import Sample
from verifier.probes.snmp.values import MISSING, SnmpTarget, VarBind
from verifier.rules import decode, observations
from verifier.rules.decode import date_and_time
from verifier.rules.observations import Observations, speed_mbps
from verifier.rules.soak.counters import COLUMNS, DISCONTINUITY, NO_SIGNAL, SECONDS, WIDE
from verifier.session.ask.levels import LEVELS
from verifier.session.ask.readings import decoded
from verifier.session.recorder import Recorder
from verifier.session.soak.blocks import ValueBlocks
from verifier.session.world import SnmpManager

SAMPLED_READINGS: Final = LEVELS | {*SECONDS}
_AT_ONCE: Final = 24
"""Objects of one request: the answer stays below the 1472 octets an Ethernet frame holds."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What to sample of one device: objects by series name, and the readings among them."""

    oids: Mapping[str, str]
    readings: Mapping[str, ProfileReading]
    speeds: Mapping[str, float]


def wanted(device: Device, profile: Profile, observed: Sequence[Observation[object]]) -> Wanted:
    """What can be sampled, by what the poll has just seen of the device.

    Rows are taken from there: an interface's index, and the row a radio's reading was found in.
    """
    seen = Observations(observed)
    oids: dict[str, str] = dict(mib.UPTIMES)
    readings: dict[str, ProfileReading] = {}
    for name, reading in profile.named_readings().items():
        found = seen.first(reading_kind(name))
        if reading.field in SAMPLED_READINGS and found is not None and found.oid:
            oids[name], readings[name] = found.oid, reading
    speeds: dict[str, float] = {}
    for port, index in _indexes(device, seen).items():
        for column in (*COLUMNS, *WIDE.values(), DISCONTINUITY):
            oids[f"{column} {port}"] = f"{mib.IF_COUNTERS[column]}.{index}"
        if (mbps := _speed(seen, index)) is not None:
            speeds[port] = mbps
    return Wanted(oids, readings, speeds)


def _indexes(device: Device, seen: Observations) -> dict[str, str]:
    """The ifIndex of each planned port that exactly one interface is called after."""
    names = seen.port_names()
    found = {p.name: observations.rows_of_port(names, p.name) for p in device.ports}
    return {name: indexes[0] for name, indexes in found.items() if len(indexes) == 1}


def _speed(seen: Observations, index: str) -> float | None:
    speed, high = seen.at(mib.IF_SPEED, index), seen.at(mib.IF_HIGH_SPEED, index)
    return speed_mbps(speed and speed.value, high and high.value)


class Sampler:
    """Samples one device.

    Args:
        client, target: whom to ask, and how.
        what: what to sample.
        blocks: takes the samples.
        record: takes the device's clock.
        elapsed_s: seconds since the soak began.
    """

    def __init__(  # noqa: PLR0913, PLR0917
        self,
        client: SnmpManager,
        target: SnmpTarget,
        what: Wanted,
        blocks: ValueBlocks,
        record: Recorder,
        elapsed_s: Callable[[], float],
    ) -> None:
        self._client, self._target = client, target
        self._what, self._blocks, self._record = what, blocks, record
        self._elapsed_s = elapsed_s
        self._oids = dict(what.oids)
        self._asked_before = False
        blocks.speeds.update(what.speeds)

    async def run(self, first_s: float, every_s: float, end: asyncio.Event) -> None:
        """Samples on a fixed grid until `end`, and once more then.

        A sample that falls into a time in which the program was stopped is left out.
        """
        await self.clock()
        for number in itertools.count():
            wait_s = first_s + number * every_s - self._elapsed_s()
            if wait_s < -every_s:
                continue
            try:
                await asyncio.wait_for(end.wait(), max(0.0, wait_s))
                break
            except TimeoutError:
                await self.sample()
        await self.sample()
        await self.clock()

    async def sample(self) -> None:
        """One sample; what the device did not answer is null in it."""
        row: dict[str, Sample] = {}
        oids = list(self._oids.items())
        for start in range(0, len(oids), _AT_ONCE):
            part = dict(oids[start : start + _AT_ONCE])
            values = await self._ask(part)
            row.update(values)
            if all(v is None for v in values.values()):
                row.update(dict.fromkeys(self._oids, None) | row)
                break
        self._blocks.add(self._elapsed_s(), row)

    async def _ask(self, part: Mapping[str, str]) -> dict[str, Sample]:
        try:
            reply = await self._client.get(self._target, list(part.values()))
        except CannotMeasureError:
            return dict.fromkeys(part)
        found = {b.oid: b for b in reply.bindings}
        row = {name: self._value(name, found.get(oid)) for name, oid in part.items()}
        if reply.outcome == "answered":
            self._forget(part, found)
        return row

    def _value(self, name: str, binding: VarBind | None) -> Sample:
        if binding is None or binding.missing:
            return None
        reading = self._what.readings.get(name)
        if reading is None:
            return binding.value if isinstance(binding.value, int) else None
        if decode.no_signal(reading, binding.text):
            return NO_SIGNAL
        return decoded(reading, binding)

    def _forget(self, part: Mapping[str, str], found: Mapping[str, VarBind]) -> None:
        """What the device has not is not asked again, nor is a counter that has a wider one."""
        for name, oid in part.items():
            binding = found.get(oid)
            if binding is None or binding.type in MISSING:
                self._oids.pop(name, None)
                continue
            column, _, port = name.partition(" ")
            for narrow, wide in WIDE.items():
                if column == wide:
                    self._oids.pop(f"{narrow} {port}", None)

    async def clock(self) -> None:
        """The device's time of day, where the standard MIB or its profile tells it."""
        try:
            reply = await self._client.get(self._target, [mib.HR_SYSTEM_DATE.oid])
        except CannotMeasureError:
            return
        for binding in reply.bindings:
            if isinstance(binding.value, bytes):
                told = date_and_time(binding.value)
                self._record.note(
                    mib.HR_SYSTEM_DATE,
                    Unreadable(binding.raw) if told is None else told.isoformat(),
                    raw=binding.raw,
                    oid=binding.oid,
                    took_ms=reply.took_ms,
                )
