"""What counts as a change: sequences of states as seen, and what is made of them."""

from __future__ import annotations

import itertools
import random

import pytest

from verifier.model.health import Counters, HealthReading, Memory, PortErrors, Reason, State
from verifier.model.problem import Subject
from verifier.rules.health.follow import RECENT, errors_added, follow, lasting

RADIO = Subject("device", "lighthouse-quarry")
ROOT = Subject("device", "quarry-lighthouse")
LETTERS: dict[str, State] = {"s": "sound", "i": "impaired", "x": "silent", "u": "untested"}


def reading(state: State, root: Subject = RADIO) -> HealthReading:
    reasons = () if state == "sound" else (Reason("echo.reply", "fail", "none"),)
    return HealthReading(subject=RADIO, state=state, root=root, reasons=reasons)


def run(seen: str, confirm: int = 2) -> tuple[list[tuple[int, int, str]], Memory]:
    """Sweeps 300 s apart; each change as (sweep first seen, sweep that made it count, states)."""
    remembered: dict[Subject, Memory] = {}
    changes = []
    for n, letter in enumerate(seen):
        followed = follow(remembered, [reading(LETTERS[letter])], 300.0 * n, confirm=confirm)
        remembered = {m.subject: m for m in followed.memories}
        changes += [
            (int(c.at_s / 300), int(c.confirmed_s / 300), f"{c.before}>{c.after}")
            for c in followed.changes
        ]
    return changes, remembered[RADIO]


@pytest.mark.parametrize(
    ("seen", "confirm", "changes"),
    [
        ("s", 2, [(0, 0, "None>sound")]),
        ("u", 2, [(0, 0, "None>untested")]),
        ("x", 2, []),
        ("xx", 2, [(0, 1, "untested>silent")]),
        ("x", 1, [(0, 0, "untested>silent")]),
        ("sx", 2, [(0, 0, "None>sound")]),
        ("sxs", 2, [(0, 0, "None>sound")]),
        ("sxx", 2, [(0, 0, "None>sound"), (1, 2, "sound>silent")]),
        ("sxxx", 2, [(0, 0, "None>sound"), (1, 2, "sound>silent")]),
        ("sxix", 2, [(0, 0, "None>sound")]),
        ("sxii", 2, [(0, 0, "None>sound"), (2, 3, "sound>impaired")]),
        ("sxxss", 2, [(0, 0, "None>sound"), (1, 2, "sound>silent"), (3, 4, "silent>sound")]),
        ("sxx", 3, [(0, 0, "None>sound")]),
        ("sxxx", 3, [(0, 0, "None>sound"), (1, 3, "sound>silent")]),
        ("sx", 1, [(0, 0, "None>sound"), (1, 1, "sound>silent")]),
        ("suu", 2, [(0, 0, "None>sound"), (1, 2, "sound>untested")]),
    ],
)
def test_a_change_counts_when_seen_often_enough(
    seen: str, confirm: int, changes: list[tuple[int, int, str]]
) -> None:
    """In so many sweeps one after the other; it is dated by the first of them."""
    assert run(seen, confirm)[0] == changes


LOWER = (Reason("radio.modulation", "warn", "4qam, and neither level nor SNR explains it"),)
LINK = Subject("link", "Hop 1")


def swept(seen: str, every_s: float = 300.0) -> tuple[list[State], list[tuple[int, int, str]]]:
    """States as they count, sweep by sweep, and the changes; `l`: lower, and nothing explains it."""
    remembered: dict[Subject, Memory] = {}
    states: list[State] = []
    changes = []
    for n, letter in enumerate(seen):
        lower = LOWER if letter in "lv" else ()
        state = {**LETTERS, "l": LETTERS["s"], "v": LETTERS["u"]}[letter]
        reasons = (Reason("radio.lock", "fail", "no lock"),) if state != "sound" else ()
        raw = HealthReading(
            subject=LINK, state=state, root=LINK, reasons=reasons, unexplained=lower
        )
        readings = lasting(remembered, [raw], every_s * n)
        followed = follow(remembered, readings, every_s * n)
        remembered = {m.subject: m for m in followed.memories}
        states.append(readings[0].state)
        changes += [
            (round(c.at_s / every_s), round(c.confirmed_s / every_s), f"{c.before}>{c.after}")
            for c in followed.changes
        ]
    return states, changes


@pytest.mark.parametrize(
    ("seen", "every_s", "states", "last"),
    [
        ("slll", 300, "ssss", (0, 0, "None>sound")),  # 10 minutes
        ("sllll", 300, "ssssi", (1, 4, "sound>impaired")),  # 15 minutes
        ("llll", 300, "sssi", (0, 3, "sound>impaired")),  # from the very first sweep on
        ("sllsllls", 300, "ssssssss", (0, 0, "None>sound")),  # it rose in between
        ("slllll", 240, "sssssi", (1, 5, "sound>impaired")),  # 12 minutes, then 16
        ("sll", 900, "ssi", (1, 2, "sound>impaired")),
        ("sll", 899.9, "sss", (0, 0, "None>sound")),
        ("slllllss", 300, "ssssiiss", (6, 7, "impaired>sound")),  # it rose at last
        ("uvvvv", 300, "uuuui", (1, 4, "untested>impaired")),  # besides, something is untested
        ("siilll", 300, "siisss", (3, 4, "impaired>sound")),  # a fault of another kind went away
        ("silll", 300, "sisss", (0, 0, "None>sound")),  # its 15 minutes begin after the fault
        ("sillll", 300, "sisssi", (2, 5, "sound>impaired")),
    ],
)  # fmt: skip
def test_a_lower_modulation_that_nothing_explains_makes_a_link_impaired_after_15_minutes(
    seen: str, every_s: float, states: str, last: tuple[int, int, str]
) -> None:
    found, changes = swept(seen, every_s)
    assert "".join({"sound": "s", "impaired": "i", "untested": "u"}[s] for s in found) == states
    assert changes[-1] == last


def test_a_link_that_is_impaired_by_its_modulation_says_so() -> None:
    remembered: dict[Subject, Memory] = {}
    for n in range(4):
        raw = HealthReading(subject=LINK, state="sound", root=LINK, unexplained=LOWER)
        followed = follow(remembered, lasting(remembered, [raw], 300.0 * n), 300.0 * n)
        remembered = {m.subject: m for m in followed.memories}
    assert remembered[LINK].state == "impaired"
    assert remembered[LINK].reason == f"radio.modulation: {LOWER[0].text}"


def test_twice_away_and_back_is_unsteady() -> None:
    """Four changes as seen within twelve sweeps, though none of them was confirmed."""
    changes, memory = run("sxsxs")
    assert changes[-1] == (4, 4, "sound>unsteady")
    assert "changed 4 times in 5 sweeps" in memory.reason


def test_unsteady_ends_after_six_equal_sweeps() -> None:
    changes, memory = run("sxsxsxxxxx")
    assert changes[-1][2] == "sound>unsteady"
    changes, memory = run("sxsxsxxxxxx")
    assert changes[-1] == (10, 10, "unsteady>silent")
    assert memory.state == "silent"


def test_slow_changes_are_steady() -> None:
    """Four changes spread over more than twelve sweeps are changes like any other."""
    assert all(
        "unsteady" not in words for _, _, words in run("s" + "xxxx" + "ssss" + "xxxx" + "ss")[0]
    )


def test_untested_sweeps_make_nobody_unsteady() -> None:
    """A laptop that comes and goes is not the device's unrest."""
    assert all("unsteady" not in words for _, _, words in run("susususususu")[0])


def test_a_random_walk_keeps_its_promises() -> None:
    """Each change begins where the last one ended, was seen in two sweeps, and is dated rightly."""
    chance = random.Random(7)
    for _ in range(300):
        seen = "".join(chance.choice("ssssiixu") for _ in range(60))
        changes, memory = run(seen)
        assert len(memory.recent) == RECENT
        states = [words.split(">") for _, _, words in changes]
        for (_, after), (before, _) in itertools.pairwise(states):
            assert after == before
        for first, counted, words in changes[1:]:
            after = words.split(">")[1]
            if after != "unsteady" and words.split(">")[0] != "unsteady":
                assert counted == first + 1
                assert LETTERS[seen[first]] == LETTERS[seen[counted]] == after


def test_sound_again_hangs_on_what_it_hung_on() -> None:
    """So that what went down together comes back as one, also where it is told sweeps later."""
    remembered: dict[Subject, Memory] = {}
    roots = []
    for n, (state, root) in enumerate(
        [("silent", ROOT), ("silent", ROOT), ("sound", RADIO), ("sound", RADIO), ("sound", RADIO)]
    ):
        followed = follow(remembered, [reading(state, root)], 300.0 * n)  # type: ignore[arg-type]
        remembered = {m.subject: m for m in followed.memories}
        roots += [c.root for c in followed.changes]
    assert roots == [ROOT, ROOT]
    assert remembered[RADIO].root == ROOT


@pytest.mark.parametrize(
    ("before", "now", "added"),
    [
        ((10, 0, 100.0), (10, 0, 400.0), None),
        ((10, 0, 100.0), (15, 2, 400.0), (5, 2)),
        ((10, 0, 100.0), (3, 0, 20.0), (3, 0)),  # restarted: counted from 0
        ((10, 0, 100.0), (12, 0, 20.0), (12, 0)),
        ((4_294_967_290, 0, 100.0), (4, 0, 400.0), (10, 0)),  # wrapped after 4,294,967,295
        ((10, 0, 100.0), (3, 0, 400.0), (3, 0)),  # set to 0 by a person
        ((10, 0, None), (15, 0, None), (5, 0)),
        ((10, 0, None), (3, 0, 20.0), (3, 0)),
        ((10, 0, 100.0), (15, 0, None), (5, 0)),
        ((10, 0, 100.0), (15, 0, 100.0), (5, 0)),
        ((10, 3, 100.0), (10, 4, 400.0), (0, 1)),
        ((2_147_483_648, 0, 100.0), (4, 0, 400.0), (2_147_483_652, 0)),
        ((2_147_483_647, 0, 100.0), (4, 0, 400.0), (4, 0)),  # from less than half: set to 0
        # A day below its wrap an uptime that fell has not wrapped: a restart.
        ((10, 0, 42_863_272.9), (15, 0, 200.0), (15, 0)),
        ((10, 0, 42_863_273.0), (15, 0, 200.0), (5, 0)),
        # The uptime itself wraps at 42,949,672.96 s (RFC 2578): no restart.
        ((10, 0, 42_949_600.0), (15, 0, 200.0), (5, 0)),
    ],
)
def test_errors_added(
    before: tuple[int, int, float | None],
    now: tuple[int, int, float | None],
    added: tuple[int, int] | None,
) -> None:
    """Differences of 32-bit counters over restarts and wraps."""
    seen = HealthReading(
        subject=RADIO, state="sound", root=RADIO, uptime_s=now[2],
        ports=(PortErrors("eth1", now[0], now[1]), PortErrors("new", 9, 9)),
    )  # fmt: skip
    found = errors_added({(RADIO, "eth1"): Counters(*before)}, [seen])
    assert [(a.in_added, a.out_added) for a in found] == ([] if added is None else [added])


def test_a_port_that_is_new_does_not_end_the_list() -> None:
    """It has nothing to be compared with; the one after it has."""
    seen = HealthReading(
        subject=RADIO, state="sound", root=RADIO, uptime_s=400.0,
        ports=(PortErrors("new", 9, 9), PortErrors("eth1", 15, 0)),
    )  # fmt: skip
    found = errors_added({(RADIO, "eth1"): Counters(10, 0, 100.0)}, [seen])
    assert [(a.subject, a.port, a.in_added) for a in found] == [(RADIO, "eth1", 5)]


@pytest.mark.parametrize(("between", "state"), [(8, "unsteady"), (9, "sound")])
def test_twelve_sweeps_are_looked_back_on(between: int, state: str) -> None:
    """Four changes within twelve sweeps; with one sweep more the first of them is forgotten."""
    _, memory = run("sx" + "s" * between + "xs")
    assert (memory.state, len(memory.recent)) == (state, 12)


def remembered_of(*readings: HealthReading) -> Memory:
    memory: dict[Subject, Memory] = {}
    for n, seen in enumerate(readings):
        followed = follow(memory, lasting(memory, [seen], 300.0 * n), 300.0 * n)
        memory = {m.subject: m for m in followed.memories}
    return memory[readings[0].subject]


def test_what_is_remembered_of_a_state_that_waits_to_count() -> None:
    """Which, how often it was seen and since when; the old one with its reason until then."""
    bad = HealthReading(
        subject=RADIO, state="impaired", root=ROOT, try_first="look there",
        reasons=(Reason("port.speed", "fail", "slow"), Reason("", "fail", "more")),
    )  # fmt: skip
    once = remembered_of(reading("sound"), bad)
    assert once == Memory(
        subject=RADIO, state="sound", since_s=0.0, notified="sound", root=RADIO,
        recent=("sound", "impaired"), pending="impaired", pending_n=1, pending_since_s=300.0,
    )  # fmt: skip
    twice = remembered_of(reading("sound"), bad, bad)
    assert twice == Memory(
        subject=RADIO, state="impaired", since_s=300.0, notified="sound", root=ROOT,
        reason="port.speed: slow (and 1 more)", try_first="look there",
        recent=("sound", "impaired", "impaired"),
    )  # fmt: skip
    assert remembered_of(reading("sound"), bad, reading("sound")) == Memory(
        subject=RADIO, state="sound", since_s=0.0, notified="sound", root=RADIO,
        recent=("sound", "impaired", "sound"),
    )  # fmt: skip
    nameless = HealthReading(
        subject=RADIO, state="impaired", root=RADIO, reasons=(Reason("", "fail", "x"),)
    )
    assert remembered_of(nameless, nameless).reason == "x"


def test_what_is_remembered_of_a_lower_modulation() -> None:
    """It waits as an impairment, since the sweep that saw it first; another thing begins anew."""
    other = (Reason("radio.capacity", "warn", "less"),)
    lower, less = (
        HealthReading(subject=LINK, state="sound", root=ROOT, unexplained=why, try_first="look")
        for why in (LOWER, other)
    )
    sound = HealthReading(subject=LINK, state="sound", root=ROOT)
    waits = Memory(
        subject=LINK, state="sound", since_s=0.0, notified="sound", root=LINK,
        recent=("sound", "sound", "sound"), pending="impaired", pending_n=2, pending_since_s=300.0,
        reason=f"radio.modulation: {LOWER[0].text}", try_first="look",
    )  # fmt: skip
    assert remembered_of(sound, lower, lower) == waits
    seen = remembered_of(sound, lower, less)
    assert (seen.pending, seen.pending_n, seen.pending_since_s) == ("impaired", 1, 600.0)
    seen = remembered_of(sound, lower, sound)
    assert (seen.pending, seen.pending_n, seen.pending_since_s, seen.reason) == (None, 0, None, "")


def test_unsteady_says_why_it_is_so_now() -> None:
    _, memory = run("xsxsx")
    assert memory.reason == "changed 4 times in 5 sweeps; echo.reply: none"
    _, memory = run("sxsxs")
    assert (memory.reason, memory.pending, memory.pending_n) == (
        "changed 4 times in 5 sweeps",
        None,
        0,
    )
