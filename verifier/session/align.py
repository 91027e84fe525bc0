"""Asks both ends of one carrier for their level, again and again, each at its own speed."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from verifier.errors import UsageError
from verifier.model.address import Address
from verifier.model.credentials import SnmpEntry
from verifier.model.plan import EndName, Plan
from verifier.model.profile import ProfileReading as Planned
from verifier.probes.snmp.values import SnmpTarget
from verifier.rules.alignment import (
    AlignedCarrier,
    EndView,
    LatestReading,
    end_readings,
    end_view,
    rises,
    standing,
)
from verifier.session.ask import readings
from verifier.session.world import Clocks, SnmpManager, World

EVERY_S = 1.0
Show = Callable[[tuple[EndView, EndView], float], None]
"""Takes both ends and how many seconds have gone since the start."""


class Peaks:
    """Both ends of one carrier, and what was seen of them so far."""

    def __init__(self, hop: AlignedCarrier) -> None:
        self._hop = hop
        self._latest: dict[EndName, LatestReading] = {}
        self._highest: dict[EndName, float] = {}
        self._best: set[EndName] = set()

    def take(self, end: EndName, reading: LatestReading) -> None:
        """Takes in a reading."""
        self._latest[end] = standing(self._latest.get(end), reading)
        level, before = reading.level_dbm, self._highest.get(end)
        if level is not None and rises(before, level):
            self._highest[end] = level
            if before is not None:
                self._best.add(end)

    def view(self, now_s: float) -> tuple[EndView, EndView]:
        """Both ends as they stand; a new best is told once."""
        best, self._best = self._best, set()
        a, b = (
            end_view(self._hop, name, self._latest, self._highest, now_s, best=name in best)
            for name, _ in self._hop.carrier.ends()
        )
        return a, b


@dataclass(frozen=True, slots=True, kw_only=True)
class AlignQuestion:
    """How one end is asked: its device, and the readings for level and, if any, power."""

    address: Address
    entry: SnmpEntry
    level: tuple[str, Planned]
    power: tuple[str, Planned] | None

    @property
    def target(self) -> SnmpTarget:
        """Where, and with which credentials: short waits, as the next question follows at once."""
        return SnmpTarget(address=self.address, entry=self.entry, timeout_s=EVERY_S, retries=0)

    @property
    def named(self) -> Mapping[str, Planned]:
        """Both, by name."""
        return dict(pair for pair in (self.level, self.power) if pair is not None)


def questions_of(
    plan: Plan,
    hop: AlignedCarrier,
    credentials: Mapping[str, SnmpEntry],
) -> tuple[dict[EndName, AlignQuestion], dict[EndName, str]]:
    """How each end is asked, and why an end cannot be.

    Raises UsageError where neither can.
    """
    devices = {d.name: d for d in plan.devices}
    questions: dict[EndName, AlignQuestion] = {}
    unread: dict[EndName, str] = {}
    for name, end in hop.carrier.ends():
        readings_ = end_readings(plan, hop.carrier, end, hop.profiles[name])
        device = devices[end.device]
        if isinstance(readings_, str) or device.snmp is None:
            unread[name] = str(readings_)
            continue
        questions[name] = AlignQuestion(
            address=device.address.address,
            entry=credentials[device.snmp],
            level=readings_.level,
            power=readings_.power,
        )
    if not questions:
        why = "; ".join(dict.fromkeys(unread.values()))
        raise UsageError(f"no level can be read of {hop.link.name!r}: {why}")
    return questions, unread


async def align(  # noqa: PLR0913
    world: World,
    peaks: Peaks,
    questions: Mapping[EndName, AlignQuestion],
    show: Show,
    *,
    lasts_s: float | None = None,
    every_s: float = EVERY_S,
) -> None:
    """Asks each end every `every_s` seconds and shows both as often, until cancelled.

    Args:
        world: what is asked.
        peaks: takes the readings.
        questions: by end; one that cannot be read has none.
        show: called at each tick.
        lasts_s: ends after so long; None: never.
        every_s: of asking and of showing.
    """
    clocks = world.clocks
    began_s = clocks.monotonic_s()
    async with world.snmp() as client:
        asking = [
            asyncio.ensure_future(_Follower(client, clocks, question).follow(peaks, end, every_s))
            for end, question in questions.items()
        ]
        try:
            tick = 0
            while lasts_s is None or tick * every_s < lasts_s:
                tick += 1
                await _until(began_s + tick * every_s - clocks.monotonic_s(), asking)
                now_s = clocks.monotonic_s()
                show(peaks.view(now_s), now_s - began_s)
        finally:
            for task in asking:
                task.cancel()
            await asyncio.gather(*asking, return_exceptions=True)


async def _until(wait_s: float, asking: Sequence[asyncio.Future[None]]) -> None:
    """Waits; a fault of ours while asking ends the waiting with it."""
    done, _ = await asyncio.wait(
        asking, timeout=max(0.0, wait_s), return_when=asyncio.FIRST_EXCEPTION
    )
    for task in done:
        task.result()


@dataclass(frozen=True, slots=True)
class _Follower:
    client: SnmpManager
    clocks: Clocks
    question: AlignQuestion

    async def follow(self, peaks: Peaks, end: EndName, every_s: float) -> None:
        due_s = self.clocks.monotonic_s()
        while True:
            peaks.take(end, await self._read())
            now_s = self.clocks.monotonic_s()
            due_s = max(due_s + every_s, now_s)
            await self.clocks.sleep(due_s - now_s)

    async def _read(self) -> LatestReading:
        question = self.question
        read = readings.read(self.client, question.target, question.named)
        found = {got.name: got async for got in read}
        level = found[question.level[0]]
        power = found.get(question.power[0]) if question.power is not None else None
        problem = "" if level.no_signal else level.gap
        return LatestReading(
            at_s=self.clocks.monotonic_s(),
            level_dbm=_number(level.value),
            power_dbm=_number(power.value) if power is not None else None,
            problem=problem,
        )


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, (int, float)) else None
