"""Sweeps for the status page, made by hand: a small ring amid trouble, and networks of any size."""

from __future__ import annotations

import datetime as dt
import itertools
import math
import random
from collections.abc import Mapping
from typing import Any

from tests.store.examples import START_S, sweep
from verifier.model.address import Interface
from verifier.model.health import (
    HealthReading,
    Memory,
    Reason,
    ReceivedLevel,
    State,
    StateChange,
    Sweep,
    SweepReport,
)
from verifier.model.history import LevelKey, Sample
from verifier.model.plan import (
    Carrier,
    Device,
    End,
    Link,
    Maintenance,
    Network,
    Plan,
    Site,
)
from verifier.model.problem import Subject
from verifier.model.status import Recent, Status
from verifier.rules.status import status

NOW_S = START_S + 4 * 3600.0
"""2026-11-24 10:00:00 UTC."""
EVIL = '"><img src=x onerror=alert(1)><script>alert(1)</script>\x1b[2J\u202e]]><!-- \u05d0\u05d1'


def subject(name: str) -> Subject:
    return Subject("link" if name.startswith("Hop") else "device", name)


def reading(name: str, state: State = "sound", **more: Any) -> HealthReading:
    about = subject(name)
    alive = {"rtt_ms": 1.25, "loss_pct": 0.0} if about.kind == "device" else {}
    gone = {"loss_pct": 100.0} if about.kind == "device" else {}
    figures: dict[str, Any] = gone if state == "silent" else alive
    more = {"root": about, "answered": state != "silent", **figures, **more}
    return HealthReading(subject=about, state=state, **more)


def memory(seen: HealthReading, state: State | None = None, **more: Any) -> Memory:
    state = state or seen.state
    why = f"{seen.reasons[0].check}: {seen.reasons[0].text}" if seen.reasons else ""
    more = {
        "since_s": NOW_S - 600.0, "notified": state, "root": seen.root, "reason": why,
        "try_first": seen.try_first, **more,
    }  # fmt: skip
    return Memory(subject=seen.subject, state=state, **more)


def change(name: str, after: State, before: State = "sound", **more: Any) -> StateChange:
    more = {"at_s": NOW_S - 300.0, "confirmed_s": NOW_S, "root": subject(name), **more}
    return StateChange(subject=subject(name), before=before, after=after, **more)


def end(device: str, dbm: float | None = None) -> End:
    return End(device=device, rx_level_dbm=dbm)


def link(name: str, a: End, b: End) -> Link:
    return Link(name=name, carriers=(Carrier(a=a, b=b),))


def device(number: int, name: str, site: str | None, *uplink: str) -> Device:
    address = Interface.parse(f"198.18.{number // 200}.{number % 200 + 1}/16")
    return Device(name=name, site=site, address=address, uplink=uplink)


def day(middle_dbm: float, seed: int = 0, now_s: float = NOW_S) -> tuple[Sample, ...]:
    """Levels of a day: hours, the last one by sweeps; a fade in the night."""
    chance = random.Random(seed)
    hours = [now_s - 3600.0 * h + 1800.0 for h in range(24, 1, -1)]
    found = []
    for n, at_s in enumerate(hours):
        fade = 9.0 * math.exp(-((n - 9) ** 2) / 3)
        low = middle_dbm - fade - chance.random()
        found.append(Sample(at_s, low - fade / 3, low + 0.3, middle_dbm + 0.4, 12))
    for n in range(12, -1, -1):
        dbm = middle_dbm + chance.uniform(-0.3, 0.3)
        found.append(Sample(now_s - 300.0 * n, dbm, dbm, dbm))
    return tuple(found)


# --- a ring of six sites -----------------------------------------------------------------------

PLACES = {
    "Lighthouse": (47.1000, -20.2000), "Quarry": (47.1544, -20.0723), "Harbour": (47.0400, -20.0600),
    "Windmill": (47.1900, -20.2600), "Old Mill": (47.2300, -20.1200), "Ferry Point": (47.0300, -20.2700),
}  # fmt: skip
RING = ("Harbour", "Lighthouse", "Windmill", "Old Mill", "Quarry", "Harbour")
OUTAGE = Reason("echo.reply", "fail", "none of 3 echoes was answered, nor of 3 more sent slowly")


def ring_plan(names: Mapping[str, str] | None = None, *, located: bool = True) -> Plan:
    """Five sites in a ring, one on a spur, a switch at the harbour; maintenance at the windmill."""
    names = names or {}
    sites = {name: names.get(name, name) for name in PLACES}
    devices = [device(1, "harbour-switch", sites["Harbour"])]
    links = []
    pairs = (*itertools.pairwise(RING), ("Lighthouse", "Ferry Point"))
    for n, (a, b) in enumerate(pairs, start=1):
        near, far = (f"{x}-{y}".lower().replace(" ", "-") for x, y in ((a, b), (b, a)))
        devices += [
            device(2 * n, near, sites[a], "harbour-switch"), device(2 * n + 1, far, sites[b], near)
        ]  # fmt: skip
        links.append(link(f"Hop {n}", end(near, -45.6), end(far, -45.8)))
    return Plan(
        network=Network(name=names.get("", "Harbour ring"), revision="3"),
        sites=tuple(
            Site(name=sites[n], latitude=la, longitude=lo) if located else Site(name=sites[n])
            for n, (la, lo) in PLACES.items()
        ),
        devices=tuple(devices),
        links=tuple(links),
        maintenance=(
            Maintenance(
                name=names.get("mast work", "mast work"),
                start=dt.datetime(2026, 11, 24, 8, tzinfo=dt.UTC),
                to=dt.datetime(2026, 11, 24, 16, tzinfo=dt.UTC),
                sites=(sites["Windmill"],),
            ),
        ),
    )


def ring_report(plan: Plan, word: str = "") -> SweepReport:
    """An outage with what hangs on it, a window that holds, an impaired link, one just seen."""
    gone, far = "lighthouse-ferry-point", "ferry-point-lighthouse"
    low = Reason("radio.rx-level", "fail", f"7.9 dB below the planned -45.8 dBm{word}")
    seen = {
        gone: reading(gone, "silent", reasons=(OUTAGE,), root=subject(gone),
                      try_first="look whether the device has power"),
        far: reading(far, "silent", reasons=(OUTAGE,), root=subject(gone)),
        "Hop 6": reading("Hop 6", "silent", root=subject(gone),
                         reasons=(Reason("", "fail", f"{gone} is silent"),)),
        "Hop 4": reading("Hop 4", "impaired", reasons=(low,), try_first="compare both ends' levels",
                         levels=(ReceivedLevel(1, "a", -45.9), ReceivedLevel(1, "b", -53.7))),
        "windmill-old-mill": reading("windmill-old-mill", "silent", reasons=(OUTAGE,)),
        "Hop 3": reading("Hop 3", "silent", root=subject("windmill-old-mill"),
                         reasons=(Reason("", "fail", "windmill-old-mill is silent"),)),
        "quarry-harbour": reading("quarry-harbour", "silent", reasons=(OUTAGE,), loss_pct=100.0),
        "harbour-switch": reading("harbour-switch", "untested",
                                  reasons=(Reason("identity.name", "not-tested", "the plan has no entry for SNMP"),)),
    }  # fmt: skip
    subjects = [*(d.name for d in plan.devices), *(x.name for x in plan.links)]
    levels = (ReceivedLevel(1, "a", -45.5), ReceivedLevel(1, "b", -45.9))
    readings = tuple(
        seen.get(n) or reading(n, levels=levels if n.startswith("Hop") else ()) for n in subjects
    )
    memories = {r.subject: memory(r, since_s=NOW_S - 86_400.0 * 3) for r in readings}
    for name in (gone, far, "Hop 6"):
        memories[subject(name)] = memory(seen[name], since_s=NOW_S - 300.0)
    for name in ("windmill-old-mill", "Hop 3"):
        memories[subject(name)] = memory(seen[name], notified="sound", since_s=NOW_S - 3000.0)
    memories[subject("Hop 4")] = memory(seen["Hop 4"], since_s=NOW_S - 7500.0)
    memories[subject("quarry-harbour")] = memory(
        seen["quarry-harbour"], "sound", pending="silent", pending_n=1, pending_since_s=NOW_S
    )
    changes = (
        change(gone, "silent", reason=f"echo.reply: {OUTAGE.text}"),
        change(far, "silent", root=subject(gone)),
        change("Hop 6", "silent", root=subject(gone), reason=f"{gone} is silent"),
        change("Hop 2", "sound", "impaired", root=subject("Hop 2"), at_s=NOW_S - 300.0),
    )
    swept = sweep(
        *readings, at_s=NOW_S, plan_name=plan.network.name, plan_revision="3",
        tool_version="0.1.0", skipped=1,
    )  # fmt: skip
    return SweepReport(4711, swept, memories, changes, ())


def ring_recent(word: str = "") -> Recent:
    """Changes of the day before, and a day of levels at every end."""
    levels: dict[str, dict[LevelKey, tuple[Sample, ...]]] = {
        f"Hop {n}": {(1, "a"): day(-45.6, n), (1, "b"): day(-53.7 if n == 4 else -45.8, n + 50)}
        for n in range(1, 6)
    }
    held: dict[str, Any] = {
        "confirmed_s": NOW_S - 2700.0,
        "at_s": NOW_S - 3000.0,
        "held": f"mast work{word}",
    }
    root = subject("windmill-old-mill")
    changes = (
        change("windmill-old-mill", "silent", reason=f"echo.reply: {OUTAGE.text}", **held),
        change("Hop 3", "silent", root=root, reason="windmill-old-mill is silent", **held),
        change("Hop 4", "impaired", at_s=NOW_S - 7500.0, confirmed_s=NOW_S - 7200.0,
               reason="radio.rx-level: 7.9 dB below the planned -45.8 dBm"),
        change("Hop 2", "impaired", at_s=NOW_S - 50_000.0, confirmed_s=NOW_S - 49_700.0,
               reason="radio.rx-level: 6.1 dB below the planned -45.6 dBm"),
    )  # fmt: skip
    return Recent(changes, 57, at_least=False, levels=levels)


def ring(every_s: float | None = 300.0, *, located: bool = True) -> Status:
    plan = ring_plan(located=located)
    return status(plan, ring_report(plan), ring_recent(), every_s=every_s, confirm=2)


def hostile(every_s: float | None = None) -> Status:
    """The ring with hostile names, as long as they get, and hostile words in every reason."""
    names = {name: f"{name} {EVIL}" for name in ("", "mast work", *PLACES)}
    names["Quarry"] = "Q" * 300
    plan = ring_plan(names)
    return status(plan, ring_report(plan, EVIL), ring_recent(EVIL), every_s=every_s, confirm=2)


def calm() -> Status:
    """The ring with nothing to tell."""
    plan = ring_plan()
    names = [*(d.name for d in plan.devices), *(x.name for x in plan.links)]
    swept = sweep(*map(reading, names), at_s=NOW_S, tool_version="0.1.0")
    report = SweepReport(1, swept, {r.subject: memory(r) for r in swept.readings}, (), ())
    return status(
        Plan(network=plan.network, sites=plan.sites, devices=plan.devices, links=plan.links),
        report, Recent(), every_s=None, confirm=2,
    )  # fmt: skip


def empty() -> Status:
    """A plan of nothing."""
    swept = Sweep(key="none", started_s=NOW_S, took_s=0.0, valid_s=3600.0, readings=())
    report = SweepReport(1, swept, {}, (), ())
    return status(Plan(), report, Recent(), every_s=None, confirm=2)


# --- any size ----------------------------------------------------------------------------------


def many_plan(several: int, *, located: bool = True) -> Plan:
    """So many devices: two radios a link, each site linked to one of the nearest before it."""
    chance = random.Random(several)
    hops = max(1, several // 2)
    wheres = [(47.0, -20.0)]
    for _ in range(hops):
        near = wheres[chance.randrange(max(0, len(wheres) - 40), len(wheres))]
        wheres.append((near[0] + chance.gauss(0.0, 0.12), near[1] + chance.gauss(0.0, 0.2)))
    sites = tuple(
        Site(
            name=f"Site {n:03}", latitude=la if located else None, longitude=lo if located else None
        )
        for n, (la, lo) in enumerate(wheres)
    )
    devices, links = [], []
    way: dict[int, tuple[str, ...]] = {0: ()}
    for n in range(1, hops + 1):
        other = min(range(n), key=lambda i: math.dist(wheres[i], wheres[n]))
        one, two = f"site-{other:03}-{n:03}", f"site-{n:03}-{other:03}"
        devices += [
            device(2 * n, one, f"Site {other:03}", *way[other]),
            device(2 * n + 1, two, f"Site {n:03}", one),
        ]
        way[n] = (two,)
        links.append(link(f"Hop {n:03}", end(one, -45.0), end(two, -45.0)))
    return Plan(
        network=Network(name="Coast", revision="12"), sites=sites, devices=tuple(devices),
        links=tuple(links),
    )  # fmt: skip


def many_report(plan: Plan, now_s: float = NOW_S, silent_each: int = 20) -> SweepReport:
    """Every `silent_each`th device silent with its link, one in fifty seen so once."""
    readings: list[HealthReading] = []
    memories: dict[Subject, Memory] = {}
    gone: dict[str, str] = {}
    for n, about in enumerate(plan.devices):
        if n % silent_each == 7 % silent_each:
            gone[about.name] = about.name
            seen = reading(about.name, "silent", reasons=(OUTAGE,), try_first="look for power")
            memories[seen.subject] = memory(seen, since_s=now_s - 300.0 * (n % 400))
        else:
            seen = reading(about.name, rtt_ms=0.4 + n % 37 / 10)
            memories[seen.subject] = memory(seen, since_s=now_s - 86_400.0 * 30)
        readings.append(seen)
    for n, hop in enumerate(plan.links):
        root = next((gone[e] for side in hop.devices() for e in side if e in gone), None)
        if root is None:
            levels = (
                ReceivedLevel(1, "a", -45.0 - n % 7 / 10),
                ReceivedLevel(1, "b", -45.0 - n % 11 / 10),
            )
            seen = reading(hop.name, levels=levels)
        else:
            why = (Reason("", "fail", f"{root} is silent"),)
            seen = reading(hop.name, "silent", root=subject(root), reasons=why)
        readings.append(seen)
        memories[seen.subject] = memory(seen, since_s=now_s - 86_400.0)
    swept = sweep(*readings, at_s=now_s, plan_name="Coast", tool_version="0.1.0")
    changes = [change(name, "silent", at_s=now_s - 300.0, confirmed_s=now_s) for name in gone][:6]
    return SweepReport(288, swept, memories, tuple(changes), ())


def many(subjects: int, every_s: float | None = 300.0, *, located: bool = True) -> Status:
    plan = many_plan(subjects, located=located)
    levels: dict[str, dict[LevelKey, tuple[Sample, ...]]] = {
        hop.name: {(1, "a"): day(-45.0, n), (1, "b"): day(-45.2, -n)}
        for n, hop in enumerate(plan.links)
    }
    earlier = tuple(
        change(f"site-{n:03}-{n + 1:03}", "sound", "silent", confirmed_s=NOW_S - 900.0 * n,
               at_s=NOW_S - 900.0 * n - 300.0)
        for n in range(1, 30)
    )  # fmt: skip
    return status(
        plan, many_report(plan), Recent(earlier, 35, at_least=False, levels=levels),
        every_s=every_s, confirm=2,
    )  # fmt: skip
