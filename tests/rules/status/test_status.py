"""What the status page shows: roots with what hangs on them, counts, places, windows, levels."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from tests.report.status import examples as paging
from tests.report.status.examples import NOW_S, change, memory, reading, subject
from tests.store.examples import sweep
from verifier.model.health import HealthReading, Reason, ReceivedLevel, StateChange, SweepReport
from verifier.model.plan import Plan
from verifier.model.problem import Subject
from verifier.model.status import MOST_CHANGES, Recent, Status
from verifier.rules.status import status
from verifier.rules.status.open_faults import open_faults, subject_status

NOT_ASKED = (Reason("identity.name", "not-tested", "no entry for SNMP"),)


@pytest.fixture(scope="module")
def ring() -> Status:
    return paging.ring()


def report(
    *readings: HealthReading, changes: tuple[StateChange, ...] = (), **more: Any
) -> SweepReport:
    swept = sweep(*readings, at_s=NOW_S, **more)
    return SweepReport(7, swept, {r.subject: memory(r) for r in readings}, changes, ())


def test_counts_are_of_the_states_that_count(ring: Status) -> None:
    """Devices and links by confirmed state; what was seen once is counted apart."""
    assert ring.counts["silent"] == (3, 2)
    assert ring.counts["impaired"] == (0, 1)
    assert ring.counts["sound"] == (9, 3)
    assert ring.pending_n == 1


def test_what_hangs_on_a_root_is_under_it(ring: Status) -> None:
    """Worst roots first; within one weight the one that more hangs on."""
    heads = [(t.head.subject.name, [u.subject.name for u in t.rest]) for t in ring.open_faults]
    assert heads == [
        ("lighthouse-ferry-point", ["ferry-point-lighthouse", "Hop 6"]),
        ("windmill-old-mill", ["Hop 3"]),
        ("quarry-harbour", []),
        ("Hop 4", []),
    ]
    assert ring.open_faults[0].head.try_first == "look whether the device has power"


def test_a_root_outside_the_sweep_has_no_state() -> None:
    """A gateway, say: it is shown by the reason of the first that hangs on it."""
    gateway = Subject("gateway", "198.18.0.1")
    seen = reading("a", "silent", root=gateway, reasons=(paging.OUTAGE,), try_first="look there")
    (open_fault,), alike = open_faults(
        [seen],
        {seen.subject: subject_status(seen, memory(seen), confirm=2)},
        {seen.subject: memory(seen)},
    )
    assert (open_fault.head.subject, open_fault.head.state, alike) == (gateway, None, ())
    assert (open_fault.head.reasons, open_fault.head.try_first) == ((paging.OUTAGE,), "look there")


@pytest.mark.parametrize(
    ("pending_n", "confirm", "needed_n"), [(1, 2, 1), (1, 5, 4), (2, 3, 1), (3, 2, 1)]
)
def test_a_pending_state_says_what_it_still_needs(
    pending_n: int, confirm: int, needed_n: int
) -> None:
    seen = reading("a", "silent")
    kept = memory(seen, "sound", pending="silent", pending_n=pending_n)
    shown = subject_status(seen, kept, confirm=confirm)
    assert (shown.state, shown.pending, shown.needed_n) == ("sound", "silent", needed_n)


def test_the_reason_of_a_state_outlives_a_sound_look() -> None:
    """Silent by count, sound in this sweep: why it counts as silent is what was remembered."""
    kept = memory(reading("a", "silent", reasons=(paging.OUTAGE,)), pending="sound", pending_n=1)
    shown = subject_status(reading("a"), kept, confirm=2)
    assert shown.reasons[0].text.startswith("echo.reply: none of 3 echoes")


def test_lone_untested_devices_are_put_together_by_their_reason() -> None:
    """The biggest group first; one with something hanging on it is a root like others."""
    subjects = [reading(f"device-{n}", "untested", reasons=NOT_ASKED) for n in range(5)]
    subjects += [reading("odd", "untested", reasons=(Reason("", "not-tested", "laptop"),))]
    subjects += [reading("leaf", "untested", root=subject("device-4")), reading("mute", "untested")]
    made = status(Plan(), report(*subjects), Recent(), every_s=None, confirm=2)
    assert [(a.reason, len(a.subjects)) for a in made.alike] == [
        ("identity.name: no entry for SNMP", 4), ("laptop", 1), ("no reason is known", 1),
    ]  # fmt: skip
    assert [t.head.subject.name for t in made.open_faults] == ["device-4"]


def test_changes_of_this_sweep_are_not_shown_twice(ring: Status) -> None:
    """With what hangs on the same root under it; the day's earlier ones apart, and counted."""
    plan = paging.ring_plan()
    done, recent = paging.ring_report(plan), paging.ring_recent()
    both = dataclasses.replace(recent, changes=(*done.changes, *recent.changes), changes_n=20)
    made = status(plan, done, both, every_s=300.0, confirm=2)
    assert [(c.head.subject.name, len(c.rest)) for c in made.changed] == [
        ("lighthouse-ferry-point", 2), ("Hop 2", 0),
    ]  # fmt: skip
    assert made.changed == ring.changed
    assert made.earlier == ring.earlier
    assert made.earlier_more == 20 - 4 - 4


def test_first_sights_are_no_changes() -> None:
    new = dataclasses.replace(change("a", "sound"), before=None)
    made = status(Plan(), report(reading("a"), changes=(new,)), Recent(), every_s=None, confirm=2)
    assert (made.changed, made.new_n) == ((), 1)


def test_earlier_changes_are_bounded() -> None:
    many = tuple(change(f"u{n}", "sound", confirmed_s=NOW_S - 300.0 * n) for n in range(1, 90))
    made = status(Plan(), report(reading("a")), Recent(many, 500), every_s=None, confirm=2)
    assert len(made.earlier) == MOST_CHANGES
    assert made.earlier_more == 500 - MOST_CHANGES


def test_a_window_that_is_on_says_what_it_holds(ring: Status) -> None:
    (window,) = ring.windows
    assert (window.name, window.sites) == ("mast work", ("Windmill",))
    assert [u.subject.name for u in window.holds] == ["windmill-old-mill", "Hop 3"]
    assert ring.open_faults[1].head.held == "mast work"
    assert paging.calm().windows == ()


@pytest.mark.parametrize(("every_s", "stale_s"), [(300.0, 600.0), (None, 900.0), (5.0, 10.0)])
def test_a_page_is_stale_after_two_intervals(every_s: float | None, stale_s: float) -> None:
    """A single sweep, as long as it said it would speak."""
    made = status(Plan(), report(reading("a")), Recent(), every_s=every_s, confirm=2)
    assert made.stale_s == stale_s


def test_every_device_is_at_its_place(ring: Status) -> None:
    """A link stands where its end a does, and is pointed to from the other."""
    assert [p.subject.name for p in ring.map_nodes] == list(paging.PLACES)
    assert sum(len(p.devices) for p in ring.map_nodes) == 13
    lighthouse = ring.map_nodes[0]
    assert [x.subject.subject.name for x in lighthouse.links] == ["Hop 2", "Hop 6"]
    assert lighthouse.elsewhere == ((2, "Hop 1"),)
    assert [p.state for p in ring.map_nodes] == [
        "silent", "sound", "untested", "silent", "sound", "silent",
    ]  # fmt: skip
    assert len(ring.lines) == 6


def test_devices_without_a_site() -> None:
    """An end of a link is a place of its own; the others share one that has no name."""
    devices = tuple(paging.device(n, name, None) for n, name in enumerate(("a", "b", "c", "d")))
    plan = Plan(devices=devices, links=(paging.link("Hop 1", paging.end("a"), paging.end("b")),))
    seen = [reading(n) for n in ("a", "b", "c", "d", "Hop 1")]
    made = status(plan, report(*seen), Recent(), every_s=None, confirm=2)
    assert [(p.subject.kind, p.subject.name, len(p.devices)) for p in made.map_nodes] == [
        ("device", "a", 1), ("device", "b", 1), ("network", "", 2),
    ]  # fmt: skip
    assert [(x.a, x.b) for x in made.lines] == [(0, 1)]


def test_a_sweep_of_some_devices_leaves_the_others_open() -> None:
    """What was not swept has no state; its place is still there."""
    made = status(
        paging.ring_plan(), report(reading("harbour-switch")), Recent(), every_s=None, confirm=2
    )
    assert [p.state for p in made.map_nodes].count(None) == 5
    assert made.lines == ()


def test_levels_of_several_carriers() -> None:
    """A line for each end of each carrier that has a plan, a reading or a past; none for others."""
    one, two = (
        dataclasses.replace(
            paging.link("Hop 1", paging.end("a", dbm), paging.end("b")).carriers[0], carrier=n
        )
        for n, dbm in ((1, -45.0), (2, None))
    )
    hop = dataclasses.replace(paging.link("Hop 1", one.a, one.b), carriers=(one, two))
    plan = Plan(devices=tuple(paging.device(n, x, None) for n, x in enumerate("ab")), links=(hop,))
    seen = reading("Hop 1", levels=(ReceivedLevel(2, "b", -50.0),))
    past = Recent(levels={"Hop 1": {(2, "a"): paging.day(-47.0)}})
    made = status(plan, report(reading("a"), reading("b"), seen), past, every_s=None, confirm=2)
    lines = made.map_nodes[0].links[0].levels
    assert [(v.carrier, v.end, v.now_dbm, v.planned_dbm, len(v.samples)) for v in lines] == [
        (1, "a", None, -45.0, 0), (2, "a", None, None, 36), (2, "b", -50.0, None, 0),
    ]  # fmt: skip


def test_nothing_at_all() -> None:
    made = paging.empty()
    assert (made.map_nodes, made.open_faults, made.changed, made.windows) == ((), (), (), ())
