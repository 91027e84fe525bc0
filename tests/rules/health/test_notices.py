"""What is told, and what a maintenance window holds."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

import pytest

from verifier.model.address import Interface
from verifier.model.health import Memory, State, StateChange
from verifier.model.plan import Carrier, Device, End, Link, Maintenance, Network, Plan, Site
from verifier.model.problem import Subject
from verifier.rules.health.notices import Windows, notify

NOON = dt.datetime(2026, 12, 1, 12, tzinfo=dt.UTC)
HOUR = dt.timedelta(hours=1)
NAMES = ("lighthouse-quarry", "quarry-lighthouse", "harbour-switch")
RADIO, FAR, SWITCH = (Subject("device", name) for name in NAMES)
HOP = Subject("link", "Hop 1")


def plan(*windows: Maintenance) -> Plan:
    sites = ("Lighthouse", "Quarry", "Harbour")
    return Plan(
        network=Network(name="Harbour ring"),
        sites=tuple(Site(name=s) for s in sites),
        devices=tuple(
            Device(name=n, site=s, address=Interface.parse(f"198.18.20.{i}/24"))
            for i, (n, s) in enumerate(zip(NAMES, sites, strict=True), start=1)
        ),
        links=(
            Link(name="Hop 1", carriers=(Carrier(a=End(device=NAMES[0]), b=End(device=NAMES[1])),)),
        ),
        maintenance=windows,
    )


def window(*sites: str, start: dt.datetime = NOON, hours: int = 1) -> Maintenance:
    return Maintenance(name="mast work", start=start, to=start + hours * HOUR, sites=sites)


def memory(subject: Subject, state: State = "silent", **more: Any) -> Memory:
    more = {
        "notified": "sound",
        "root": subject,
        "since_s": NOON.timestamp(),
        "reason": "none",
        **more,
    }
    return Memory(subject=subject, state=state, **more)


def at(minutes: float) -> float:
    return NOON.timestamp() + 60 * minutes


def test_one_root_is_one_message() -> None:
    """The root comes first, whatever hangs on it is folded under it; another root is another."""
    subjects = [memory(HOP, root=FAR), memory(RADIO, root=FAR), memory(FAR), memory(SWITCH)]
    made = notify(plan(), subjects, (), at(5), "key")
    first, second = made.notices
    assert (first.id, first.root, second.id) == ("key-1", FAR, "key-2")
    assert [c.subject for c in first.changes] == [FAR, HOP, RADIO]
    assert first.text == (
        "quarry-lighthouse is silent (was sound): none; with it: Hop 1 silent, "
        "lighthouse-quarry silent"
    )
    assert first.at == "2026-12-01T12:05:00.000Z"
    assert [c.subject for c in second.changes] == [SWITCH]


def test_what_was_told_is_not_told_again() -> None:
    made = notify(plan(), [memory(RADIO)], (), at(5), "key")
    assert len(made.notices) == 1
    assert notify(plan(), made.memories, (), at(10), "next").notices == ()


def test_a_latecomer_names_its_root() -> None:
    made = notify(plan(), [memory(RADIO, root=FAR)], (), at(5), "key")
    assert "it hangs on device quarry-lighthouse" in made.notices[0].text
    many = [memory(RADIO, root=FAR), memory(HOP, root=FAR)]
    (notice,) = notify(plan(), many, (), at(5), "key").notices
    assert notice.text.startswith("because of device quarry-lighthouse")


@pytest.mark.parametrize(
    ("sites", "minutes", "held"),
    [
        (("Lighthouse",), 0, True),
        (("Lighthouse",), 59.9, True),
        (("Lighthouse",), 60, False),
        (("Lighthouse",), -0.1, False),
        (("Quarry",), 30, False),
        ((), 30, True),
        (("Quarry", "Lighthouse"), 30, True),
    ],
)
def test_a_window_holds_what_is_at_its_sites(
    sites: tuple[str, ...],
    minutes: float,
    held: bool,  # noqa: FBT001
) -> None:
    """From its start until before its end; without sites it holds everything."""
    change = StateChange(
        subject=RADIO,
        before="sound",
        after="silent",
        at_s=at(-5),
        confirmed_s=at(minutes),
        root=RADIO,
    )
    made = notify(plan(window(*sites)), [memory(RADIO)], [change], at(minutes), "key")
    assert bool(made.notices) is not held
    assert made.changes[0].held == ("mast work" if held else None)


def test_a_window_holds_what_hangs_on_its_sites() -> None:
    """A device elsewhere that is silent because of one in the window; and a link with one end there."""
    subjects = [memory(SWITCH, root=FAR), memory(HOP), memory(FAR)]
    assert notify(plan(window("Quarry")), subjects, (), at(5), "key").notices == ()


def test_what_still_stands_after_the_window_is_told_once() -> None:
    """With the window it happened in; what came back within it is never told."""
    held = notify(plan(window("Lighthouse")), [memory(RADIO)], (), at(5), "key")
    after = notify(plan(window("Lighthouse")), held.memories, (), at(65), "key-b")
    (notice,) = after.notices
    assert (notice.changes[0].held, notice.changes[0].before) == ("mast work", "sound")
    assert notify(plan(window("Lighthouse")), after.memories, (), at(70), "key-c").notices == ()
    back = [dataclasses.replace(m, state="sound") for m in held.memories]
    assert notify(plan(window("Lighthouse")), back, (), at(65), "key-d").notices == ()


@pytest.mark.parametrize(
    ("count", "words"),
    [
        (1, "SW is silent (was sound): none"),
        (2, "SW is silent (was sound): none; with it: d1 silent"),
        (6, "SW is silent (was sound): none; with it: d1 silent, d2 silent, d3 silent, d4 silent, d5 silent"),
        (7, "SW is silent (was sound): none; with it: d1 silent, d2 silent, d3 silent, d4 silent, d5 silent and 1 more"),
    ],
)  # fmt: skip
def test_five_are_named_and_the_rest_is_counted(count: int, words: str) -> None:
    subjects = [SWITCH, *(Subject("device", f"d{n}") for n in range(1, count))]
    (notice,) = notify(plan(), [memory(s, root=SWITCH) for s in subjects], (), at(5), "key").notices
    assert notice.text == words.replace("SW", SWITCH.name)
    assert len(notice.changes) == count


def test_a_message_in_full() -> None:
    """Each change with the state told before, since when, why, what to do, and the window it began in."""
    began = memory(RADIO, since_s=at(30), reason="", try_first="look there", notified="impaired")
    (notice,) = notify(plan(window("Lighthouse")), [began], (), at(65), "key").notices
    (told,) = notice.changes
    assert (notice.network, notice.text) == (
        "Harbour ring",
        "lighthouse-quarry is silent (was impaired)",
    )
    assert (told.before, told.after, told.since, told.reason, told.try_first, told.held) == (
        "impaired", "silent", "2026-12-01T12:30:00.000Z", "", "look there", "mast work",
    )  # fmt: skip
    alone = memory(RADIO, root=FAR)
    (notice,) = notify(plan(), [alone], (), at(65), "key").notices
    assert notice.text == (
        "lighthouse-quarry is silent (was sound): none; it hangs on device quarry-lighthouse"
    )
    both = [memory(RADIO, root=FAR), memory(HOP, root=FAR)]
    (notice,) = notify(plan(), both, (), at(65), "key").notices
    assert notice.text == (
        "because of device quarry-lighthouse; with it: lighthouse-quarry silent, Hop 1 silent"
    )


@pytest.mark.parametrize(("minutes", "on"), [(-0.1, 0), (0, 1), (59.9, 1), (60, 0)])
def test_windows_that_are_on(minutes: float, on: int) -> None:
    """From the start until before the end; a time without a zone is UTC."""
    assert len(Windows(plan(window())).on(at(minutes))) == on
    naive = window(start=NOON.replace(tzinfo=None))
    assert len(Windows(plan(naive)).on(at(minutes))) == on


def test_a_window_holds_what_hangs_on_the_site_itself() -> None:
    held = memory(SWITCH, root=Subject("site", "Quarry"))
    assert Windows(plan(window("Quarry"))).at(held, at(5)) == "mast work"
    assert Windows(plan(window("Quarry"))).at(memory(SWITCH), at(5)) is None
    assert Windows(plan(window("Quarry"))).at(memory(Subject("laptop", "laptop")), at(5)) is None
