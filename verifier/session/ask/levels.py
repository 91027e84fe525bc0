"""Levels and powers of both ends of a link, several times within the same two seconds.

A path fades, and ATPC follows: what the path takes is known only from figures of one moment at both
ends. So when all devices are read, each two devices that face each other are asked together.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from typing import TYPE_CHECKING

from verifier.model.kind import ReadingKind
from verifier.model.observations import ANSWER, Unreadable, reading
from verifier.model.plan import Plan
from verifier.model.profile import Profile, ProfileReading
from verifier.probes.snmp.values import SnmpTarget
from verifier.rules import radio
from verifier.session.ask import readings
from verifier.session.recorder import Recorder, RecorderEntry
from verifier.session.world import Clocks, SnmpManager

if TYPE_CHECKING:
    from verifier.session.ask.poller import Job, LoopPoller, Poller

LEVELS = frozenset({"rx_level_dbm", "tx_power_dbm", "snr_db"})
SAMPLED = LEVELS | {"xpi_db", "locked"}
WATCHED = LEVELS | {"tx_modulation", "rx_modulation", "current_capacity_mbps"}
"""What is read again where a modulation is lower than planned, to see whether it stays so."""
TIMES = 5
"""The rules take the median of so many at least."""
INTERVAL_S = 0.2
"""From one sample to the next: five are done within a second, if the device is quick."""
WATCH_S, WATCHES = 10.0, 7
"""A minute's grace, which `radio.modulation` gives, and one look more."""
_DEADLINE_S = 10.0
_PAIRS_AT_ONCE = 64
"""As many as are asked within one interval: both ends then answer within some 10 ms of each other,
with four times as many within 1.2 s, and 1,000 devices take hardly longer:
tests/bench/README.md."""


def sampled(profile: Profile, fields: frozenset[str] = SAMPLED) -> dict[str, ProfileReading]:
    """The readings that are sampled, by the names of their observations."""
    return {n: r for n, r in profile.named_readings().items() if r.field in fields}


async def sample(  # noqa: PLR0913, PLR0917
    client: SnmpManager,
    clocks: Clocks,
    target: SnmpTarget,
    named: Mapping[str, ProfileReading],
    record: Recorder,
    times: int,
) -> None:
    """Reads what is sampled so many times and writes it down; silence ends it early.

    Rows of tables are looked for once; from then on one request holds it all.
    """
    begun_s = clocks.monotonic_s()
    found = dict(named)
    with suppress(TimeoutError):
        async with asyncio.timeout(_DEADLINE_S):
            for n in range(times):
                await clocks.sleep(begun_s + n * INTERVAL_S - clocks.monotonic_s())
                answered = False
                async for got in readings.read(client, target, dict(found)):
                    answered |= got.binding is not None
                    found[got.name] = readings.where_found(got)
                    note(record, got)
                if not answered:
                    return


def note(record: Recorder, got: readings.ReadingResult) -> None:
    """Writes down what came of a reading."""
    value = got.value
    record.note(
        reading(got.name),
        Unreadable(got.gap or got.raw) if value is None else value,
        raw=got.raw,
        oid=got.oid,
        unit=got.reading.unit,
        took_ms=got.took_ms,
    )


def pairs(plan: Plan, jobs: Mapping[str, Job], answered: Callable[[str], bool]) -> list[set[str]]:
    """Devices to be sampled together: two that face each other, both answer and have levels."""
    found: dict[frozenset[str], None] = {}
    for link in plan.links:
        for carrier in link.carriers:
            both = frozenset((carrier.a.device, carrier.b.device))
            if all(n in jobs and answered(n) and sampled(jobs[n].profile) for n in both):
                found[both] = None
    return [set(both) for both in _joined(found)]


def _joined(found: Mapping[frozenset[str], None]) -> Iterator[frozenset[str]]:
    """Pairs that share a device are one group, so that none is sampled twice: 1+1 and 2+0."""
    groups: dict[str, frozenset[str]] = {}
    for both in found:
        whole = both.union(*(groups.get(name, frozenset()) for name in both))
        for name in whole:
            groups[name] = whole
    yield from dict.fromkeys(groups.values())


async def sample_links(
    plan: Plan, jobs: Mapping[str, Job], records: Mapping[str, Recorder], asking: Poller
) -> list[Exception]:
    """Samples every link whose devices answered, a number of links at once.

    Returns faults of ours; each leaves its device with fewer samples and no other.

    Args:
        plan: which devices face each other.
        jobs: by device: who can be asked.
        records: by device: what was seen, and what will be.
        asking: asks.
    """
    gate = asyncio.Semaphore(_PAIRS_AT_ONCE)
    faults: list[Exception] = []

    def answered(name: str) -> bool:
        return "answered" in records[name].of(ANSWER)

    async def one(name: str) -> None:
        try:
            await asking.sample(name, records[name])
        except Exception as fault:  # noqa: BLE001 - told at the end, after the report
            faults.append(fault)

    async def together(names: set[str]) -> None:
        async with gate:
            await asyncio.gather(*(one(name) for name in sorted(names)))

    async with asyncio.TaskGroup() as tasks:
        for names in pairs(plan, jobs, answered):
            tasks.create_task(together(names))
    return faults


def waiting(plan: Plan, records: Mapping[str, Recorder]) -> set[str]:
    """Devices of adaptive links that were read with a lower modulation than the highest planned."""
    found: set[str] = set()
    for link in plan.links:
        highest = link.modulation_max
        if highest is None or not radio.is_adaptive(link):
            continue
        for carrier in link.carriers:
            for _, end in carrier.ends():
                seen = records[end.device].seen if end.device in records else ()
                if any(_lower(o, highest) for o in seen):
                    found |= {carrier.a.device, carrier.b.device}
    return found


def _lower(seen: RecorderEntry, highest: str) -> bool:
    kind, value = seen.kind, seen.value
    if not isinstance(kind, ReadingKind) or kind.field not in {"tx_modulation", "rx_modulation"}:
        return False
    if not isinstance(value, str):
        return False
    return radio.plain_modulation(value) != radio.plain_modulation(highest)


async def watch(
    plan: Plan,
    jobs: Mapping[str, Job],
    records: Mapping[str, Recorder],
    asking: LoopPoller,
    clocks: Clocks,
) -> None:
    """Looks for a minute at devices whose modulation is lower, so that the rules can tell for long.

    Arguments as for `sample_links`; ends when it is cancelled, at once where there is nothing.
    """
    names = sorted(waiting(plan, records) & jobs.keys())
    if not names:
        return
    async with asking:
        for _ in range(WATCHES):
            await clocks.sleep(WATCH_S)
            looks = (asking.look(name, records[name]) for name in names)
            await asyncio.gather(*looks, return_exceptions=True)
