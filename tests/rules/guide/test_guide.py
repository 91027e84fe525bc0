"""What is seen after a step of a runbook, and what it means: one situation a row."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.model.address import Address, Interface, Mac
from verifier.model.laptop import Fit, Relation
from verifier.model.mib import BestRoute, Routes
from verifier.model.plan import Device, Plan
from verifier.model.runbook import (
    Confirm,
    Connect,
    Fingerprint,
    Kind,
    SetDevice,
    SetLaptop,
    Sighting,
    Step,
)
from verifier.model.search import Answer, Candidate, SearchedPlace
from verifier.rules.guide import after_change, before_change, reopened, standing
from verifier.rules.guide.before import last_change
from verifier.rules.search import Sought, identify

OLD, NEW = Interface.parse("192.0.2.20/24"), Interface.parse("198.18.20.11/24")
MINE, YOURS = Mac.parse("02:00:5e:10:00:01"), Mac.parse("02:00:5e:10:00:02")
DEVICE = Device(name="lighthouse", address=NEW, present_address=OLD, snmp="field")
OTHER = Device(name="quarry", address=Interface.parse("198.18.20.12/24"))
CABLE, ECHO = ("arp",), ("arp", "echo")


def silent() -> Answer:
    return Answer(asked=ECHO, echo=False)


def alive(mac: Mac | None = MINE, name: str | None = "lighthouse", **more: Any) -> Answer:
    """Answers echoes, and SNMP where it has a name."""
    snmp = {"snmp": "answered", "credentials": "field", "name": name} if name is not None else {}
    return Answer(asked=ECHO, echo=True, macs=(mac,) if mac else (), **{**snmp, **more})


def sight(
    new: Answer,
    left: Answer | None,
    *,
    device: Device = DEVICE,
    relation: Relation = "direct",
    **more: Any,
) -> Sighting:
    """A look at the device as the session makes it: identity by the rules of `find`."""
    sought = Sought(
        plan=Plan(devices=(device, OTHER)),
        device=device,
        macs=frozenset({device.mac} if device.mac else ()),
    )
    asked = [(Candidate(address=NEW, kind="planned", why=""), new)]
    if left is not None:
        asked.append((Candidate(address=OLD, kind="present", why=""), left))
    places: tuple[SearchedPlace, ...] = identify(sought, asked, ())
    fit = Fit(
        device=device.name, address=NEW, verdict="pass", relation=relation, explanation="so it is"
    )
    values: dict[str, Any] = {
        "device": device, "goal": NEW, "new": places[0], "left": places[1] if left is not None else None,
        "left_told": left is not None and bool(left.asked), "stands": fit,
        "stands_left": fit if left is not None else None, "others": {}, "snmp": device.snmp is not None,
    }  # fmt: skip
    return Sighting(**{**values, **more})


GATEWAY = Address.parse("198.18.20.1")
ROUTED = Routes(defaults=(BestRoute(next_hop="198.18.20.1"),))
ELSEWHERE = Routes(defaults=(BestRoute(next_hop="198.18.20.9"),))
UNLINKED = Fit(
    device="lighthouse", address=NEW, verdict="fail", relation="off-subnet",
    explanation="the cable is out: no link on eth0",
)  # fmt: skip
NAMELESS = replace(DEVICE, snmp=None)
BY_MAC = replace(DEVICE, snmp=None, mac=MINE)
GATELESS = replace(DEVICE, no_gateway=True)
AFTER: dict[str, tuple[Sighting, Kind, str]] = {
    "right by name": (sight(alive(), silent()), "right", ""),
    "right with a space behind its name": (sight(alive(name="lighthouse "), silent()), "right", ""),
    "right by the plan's MAC": (sight(alive(name=None), silent(), device=BY_MAC), "right", ""),
    "both, one device by MAC": (sight(alive(), alive()), "both-answer", "the same device has both"),
    "both, one device by name": (sight(alive(None), alive(None)), "both-answer", "the same device has both"),
    "both, two devices": (sight(alive(YOURS, "quarry"), alive()), "both-answer", "two devices: quarry"),
    "both, nothing tells": (sight(alive(None, None), alive(None, None), device=NAMELESS), "both-answer", "or there are two devices"),
    "old one by the cable only": (sight(alive(), Answer(asked=CABLE, macs=(MINE,))), "both-answer", "the same device has both"),
    "neither": (sight(silent(), silent()), "neither", "neither at 198.18.20.11 nor at 192.0.2.20"),
    "old one still": (sight(silent(), alive()), "old-still", "not applied or not saved"),
    "old one again": (sight(silent(), alive(), once=True), "reverted", "is back at 192.0.2.20"),
    "another name": (sight(alive(YOURS, "quarry"), silent()), "wrong-device", "is quarry (by its name (SNMP)), not lighthouse"),
    "a name nobody has": (sight(alive(YOURS, "ferry"), silent()), "wrong-device", "is ferry"),
    "no name": (sight(alive(name=""), silent()), "wrong-device", "without a name"),
    "another MAC than planned": (sight(alive(YOURS, None), silent(), device=BY_MAC), "wrong-device", str(YOURS)),
    "another MAC than before": (sight(alive(YOURS, None), silent(), device=NAMELESS, before=Fingerprint(mac=MINE)), "wrong-device", f"but {MINE} was"),
    "a device of this runbook": (sight(alive(YOURS, None), silent(), device=NAMELESS, others={"quarry": Fingerprint(mac=YOURS)}), "wrong-device", "is quarry"),
    "SNMP silent": (sight(alive(name=None, snmp="silent"), silent()), "snmp-silent", "credentials 'field'"),
    "SNMP key differs": (sight(alive(name=None, snmp="wrong-digest"), silent()), "snmp-silent", "wrong-digest"),
    "wrong mask": (sight(alive(held=Interface.parse("198.18.20.11/16")), silent()), "wrong-mask", "255.255.0.0 (/16), planned 255.255.255.0"),
    "a mask with holes": (sight(alive(odd_mask="255.0.255.0"), silent()), "wrong-mask", "255.0.255.0, which is none"),
    "its gateway": (sight(alive(routes=ROUTED), silent(), gateway=GATEWAY), "right", ""),
    "no gateway": (sight(alive(routes=Routes(connected=True)), silent(), gateway=GATEWAY), "wrong-gateway", "has no gateway"),
    "another gateway": (sight(alive(routes=ELSEWHERE), silent(), gateway=GATEWAY), "wrong-gateway", "goes elsewhere"),
    "another gateway, and none planned": (sight(alive(routes=ELSEWHERE), silent()), "right", ""),
    "a gateway, and it is to have none": (sight(alive(routes=ROUTED), silent(), device=GATELESS), "wrong-gateway", "the plan wants none"),
    "no gateway, as planned": (sight(alive(routes=Routes(connected=True)), silent(), device=GATELESS), "right", ""),
    "a gateway on its way only": (sight(alive(routes=ROUTED), silent(), device=GATELESS, temporary=True), "right", ""),
    "no gateway, another routing instance": (sight(alive(routes=Routes(gap="hidden")), silent(), gateway=GATEWAY), "right", ""),
    "held and mute": (sight(Answer(asked=ECHO, echo=False, macs=(MINE,)), silent()), "mute", "wrong mask or gateway"),
    "laptop in the way": (sight(Answer(), silent(), relation="off-subnet"), "laptop", "the laptop's"),
    "the cable is out": (sight(Answer(), silent(), stands=UNLINKED), "laptop", "until this laptop has a link"),
    "nothing can be sent": (sight(Answer(), Answer()), "unseen", "cannot be seen"),
    "old one still, laptop not in the new subnet": (sight(Answer(), alive(), relation="off-subnet"), "old-still", "still at"),
}  # fmt: skip


@pytest.mark.parametrize("name", AFTER)
def test_after_a_change(name: str) -> None:
    seen, kind, words = AFTER[name]
    meaning = after_change(seen)
    assert (meaning.kind, meaning.ok) == (kind, kind == "right"), meaning
    assert words in meaning.means
    assert meaning.seen
    assert bool(meaning.do) is not meaning.ok


BEFORE: dict[str, tuple[Sighting, Kind, str]] = {
    "there": (sight(silent(), alive()), "ready", ""),
    "there, not named yet": (sight(silent(), alive(name="as-delivered")), "ready", ""),
    "there, held only": (sight(silent(), Answer(asked=CABLE, macs=(MINE,))), "ready", ""),
    "moved already": (sight(alive(), silent()), "already", "already"),
    "new address in use": (sight(alive(YOURS, "quarry"), alive()), "in-use", "by quarry"),
    "new address in use by nobody known": (sight(alive(None, None), alive(None, None), device=NAMELESS), "in-use", "whom the runbook does not know"),
    "has both": (sight(alive(), alive()), "ready", ""),
    "not there": (sight(silent(), silent()), "not-there", "is not at 192.0.2.20"),
    "another is plugged in": (sight(silent(), alive(YOURS, "quarry")), "wrong-device", "quarry (by its name (SNMP)) is plugged in"),
    "another by the plan's MAC": (sight(silent(), alive(YOURS, None), device=BY_MAC), "wrong-device", str(YOURS)),
    "the one before is still plugged in": (sight(silent(), alive(YOURS, None), device=NAMELESS, others={"quarry": Fingerprint(mac=YOURS)}), "wrong-device", "quarry"),
    "laptop in the way": (sight(silent(), Answer(), relation="off-subnet"), "laptop", "the laptop's"),
    "the cable is out": (sight(silent(), Answer(), stands_left=UNLINKED), "laptop", "until this laptop has a link"),
    "nothing can be sent": (sight(Answer(), Answer()), "unseen", "cannot be seen"),
}  # fmt: skip


@pytest.mark.parametrize("name", BEFORE)
def test_before_a_change(name: str) -> None:
    seen, kind, words = BEFORE[name]
    meaning = before_change(seen)
    assert (meaning.kind, meaning.ok) == (kind, kind in {"ready", "already"}), meaning
    assert words in meaning.means


BY: dict[str, tuple[Sighting, tuple[str, ...]]] = {
    "name": (sight(alive(None), silent()), ("its name (SNMP)",)),
    "MAC of the plan": (sight(alive(name=None), silent(), device=BY_MAC), (f"its hardware address {MINE} (ARP)",)),
    "MAC as before": (sight(alive(name=None), silent(), device=NAMELESS, before=Fingerprint(mac=MINE)), (f"the same hardware address {MINE} as at 192.0.2.20 before",)),
    "engine id as before": (sight(alive(None, engine_id="80007ed905"), silent(), before=Fingerprint(engine_id="80007ed905")),
        ("its name (SNMP)", "the same SNMP engine id as at 192.0.2.20 before")),
}  # fmt: skip


@pytest.mark.parametrize("name", BY)
def test_what_it_is_known_by_is_named(name: str) -> None:
    seen, by = BY[name]
    assert after_change(seen).by == by


def gaps(seen: Sighting) -> str:
    return " ".join(after_change(seen).not_tested)


def test_a_gateway_that_is_to_go_is_told_and_named_where_it_is_not_read() -> None:
    meaning = after_change(sight(alive(routes=ELSEWHERE), silent(), device=GATELESS))
    assert "its gateway is 198.18.20.9" in meaning.seen
    assert meaning.do == "take the gateway 198.18.20.9 out of the device, save it"
    unread = sight(alive(held=NEW, routes=Routes(gap="hidden")), silent(), device=GATELESS)
    assert gaps(unread) == "gateway: not read (hidden)"
    not_asked = sight(
        alive(None, None, held=NEW), silent(), device=replace(BY_MAC, no_gateway=True)
    )
    assert "gateway: not read (SNMP was not asked)" in gaps(not_asked)


def test_what_could_not_be_told_is_named() -> None:
    """Alive is not right, and nobody asked is not silent."""
    unknown = sight(alive(None, None), silent(), device=NAMELESS)
    assert "whether it is the right device" in gaps(unknown)
    assert "whether 192.0.2.20 is silent" in gaps(sight(alive(), Answer()))
    whole = alive(held=NEW)
    assert gaps(sight(whole, silent())) == ""
    assert gaps(sight(whole, None)) == ""
    assert (
        gaps(sight(alive(name=None), silent(), device=BY_MAC))
        == "mask: not read (SNMP was not asked)"
    )
    assert "mask: not read" in gaps(sight(alive(), silent()))
    gated = sight(alive(name=None), silent(), device=BY_MAC, gateway=GATEWAY)
    assert "mask and gateway: not read (SNMP was not asked)" in gaps(gated)
    assert "gateway: not read" in gaps(sight(whole, silent(), gateway=GATEWAY))
    hidden = replace(whole, routes=Routes(gap="its own subnet is not listed"))
    assert "gateway: not read (its own subnet is" in gaps(sight(hidden, silent(), gateway=GATEWAY))
    assert gaps(sight(replace(whole, routes=ROUTED), silent(), gateway=GATEWAY)) == ""


def test_a_changed_engine_id_proves_nothing() -> None:
    """It may be made of the address (RFC 3411 section 5)."""
    seen = sight(alive(None, engine_id="aa"), silent(), before=Fingerprint(engine_id="bb"))
    assert after_change(seen).kind == "right"


def test_planned_hardware_outranks_a_name() -> None:
    """The right device that is not named yet is a note, not another device."""
    meaning = after_change(
        sight(alive(name="as-delivered"), silent(), device=replace(DEVICE, mac=MINE))
    )
    assert meaning.kind == "right"
    assert "'as-delivered', planned 'lighthouse'" in meaning.notes[0]


def test_hardware_that_is_not_the_planned_is_noted() -> None:
    """A device with the right name on other hardware: exchanged, or another that was so named."""
    device = replace(DEVICE, mac=MINE)
    for meaning in (
        after_change(sight(alive(YOURS), silent(), device=device)),
        before_change(sight(silent(), alive(YOURS), device=device)),
    ):
        assert meaning.ok
        (note,) = meaning.notes
        assert note.startswith(f"its hardware address {YOURS} is not the planned {MINE}: ")
    assert after_change(sight(alive(), silent(), device=device)).notes == ()


def test_an_address_of_two_is_nobody_s() -> None:
    """Two hardware addresses answer for it: never OK, whoever gave its name."""
    both = replace(alive(), macs=(MINE, YOURS))
    after = after_change(sight(both, silent(), device=replace(DEVICE, mac=MINE)))
    assert [after.kind, after.ok, after.settled] == ["wrong-device", False, True]
    assert after.means == f"2 devices hold 198.18.20.11: {MINE}, {YOURS}"
    before = before_change(sight(silent(), both))
    assert before.ok
    assert before.notes == (f"2 devices hold that address ({MINE}, {YOURS}): unplug the other",)


STEPS: tuple[Step, ...] = (
    SetLaptop(n=1, addresses=(Interface.parse("192.0.2.9/24"),)),
    Connect(n=2, device="a"),
    SetDevice(n=3, device="a", from_=OLD, to=NEW, gateway=None),
    Confirm(n=4, device="a", address=NEW.address, silent=OLD.address),
    Connect(n=5, device="b"),
    SetDevice(n=6, device="b", from_=OLD, to=Interface.parse("198.18.20.12/24"), gateway=None),
    SetLaptop(n=7, addresses=()),
    Confirm(n=8, device="b", address=Address.parse("198.18.20.12"), silent=None),
)


@pytest.mark.parametrize(
    ("done", "at", "connected", "held"),
    [(0, 0, None, 0), (1, 1, None, 1), (2, 2, "a", 1), (4, 4, "a", 1), (5, 5, "b", 1), (7, 7, "b", 0), (8, 8, "b", 0)],
)  # fmt: skip
def test_what_stands_before_the_next_step(
    done: int, at: int, connected: str | None, held: int
) -> None:
    course = standing(STEPS, (), range(1, done + 1))
    assert (course.at, course.connected, len(course.laptop)) == (at, connected, held)


@given(done=st.sets(st.integers(1, 8)), device=st.sampled_from(["a", "b"]))
def test_reopening_takes_back_only_that_devices_last_change(done: set[int], device: str) -> None:
    """The change and what followed it; other devices' steps stay done, and doing it twice adds none."""
    left = reopened(STEPS, done, device)
    change = last_change(STEPS, done, device)
    assert left <= done
    assert set(done - left) <= {s.n for s in STEPS if getattr(s, "device", None) == device}
    assert (change is None) == (left == done)
    assert reopened(STEPS, left, device) == left or last_change(STEPS, left, device) is not None
