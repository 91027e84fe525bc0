"""Everything that may stand on the cable is told apart, in memory, without root."""

from __future__ import annotations

import dataclasses

import pytest

from tests.session.here.scenes import (
    FACTORY,
    LIGHTHOUSE,
    PLAN,
    PRESENT,
    QUARRY,
    Scene,
    made,
    planned,
    settings,
)
from verifier.errors import UsageError
from verifier.model.address import Interface
from verifier.model.here import HereResult
from verifier.report import here as drawn
from verifier.report.style import ReportStyle
from verifier.session.here.run import Hold, here

ELSEWHERE = Interface.parse("198.18.20.112/24")
STRANGER = planned("mill", "Mill", 40, "000999")
SCENES: dict[str, tuple[Scene, str, int, str]] = {
    "planned": (
        Scene(devices=[made(QUARRY, 2)]), "planned", 0, "right device, reachable, settings right",
    ),
    "present": (
        Scene(devices=[made(QUARRY, 2, settings(QUARRY, PRESENT))], borrows=True),
        "present", 1, "right device, not moved yet",
    ),
    "factory": (
        Scene(devices=[made(QUARRY, 2, settings(QUARRY, FACTORY, name="", gateway=None))],
              borrows=True),
        "factory", 1, "right device, never set",
    ),
    "slip": (
        Scene(devices=[made(QUARRY, 2, settings(QUARRY, ELSEWHERE))]),
        "elsewhere", 1, "right device, wrong address",
    ),
    "another": (
        Scene(devices=[made(QUARRY, 2, settings(LIGHTHOUSE))]),
        "another", 1, "wrong device for Lighthouse",
    ),
    "other asked": (
        Scene(devices=[made(QUARRY, 2)], asked=LIGHTHOUSE), "another", 1,
        "wrong device for Lighthouse",
    ),
    "stranger": (
        Scene(devices=[made(STRANGER, 9, settings(STRANGER, QUARRY.address))]),
        "stranger", 1, "no device of the plan",
    ),
    "shared": (
        Scene(devices=[made(QUARRY, 2), made(STRANGER, 9, settings(STRANGER, QUARRY.address))]),
        "shared", 1, "several devices at one address",
    ),
    "gateway": (
        Scene(devices=[made(QUARRY, 2, settings(QUARRY, gateway=None))]),
        "planned", 1, "right device, reachable, gateway missing",
    ),
}  # fmt: skip


def text(result: HereResult) -> str:
    return drawn.text(result, ReportStyle())


@pytest.mark.parametrize("name", SCENES)
def test_what_stands_on_the_cable(name: str) -> None:
    """The state, the exit code and the verdict line; never more than ten lines of 100 columns."""
    scene, state, code, words = SCENES[name]
    result = scene.look()
    shown = text(result)
    assert [d.state for d in result.devices] == [state], shown
    assert result.exit_code() == code, shown
    lines = shown.rstrip("\n").split("\n")
    assert lines[-1].endswith(words), shown
    assert len(lines) <= drawn.LINES
    assert all(len(line) <= 100 for line in lines), shown


def test_where_it_should_be_within_two_seconds() -> None:
    """Also where the other device of the plan is not on the cable."""
    scene = Scene(devices=[made(QUARRY, 2)])
    scene.look()
    assert scene.took_s < 2.0


def test_nobody_within_eight_seconds() -> None:
    """The cable has a link, and nobody answers or is heard."""
    scene = Scene(devices=[])
    result = scene.look()
    assert (result.state, result.exit_code()) == ("nobody", 3)
    assert 6.0 < scene.took_s < 9.0
    assert "nothing heard for 8 s" in text(result)
    assert "may be booting: that takes up to 00:45" in text(result)


def test_no_link() -> None:
    """Nothing is asked where the cable is out."""
    scene = Scene(devices=[made(QUARRY, 2)], carrier=False)
    result = scene.look()
    assert (result.state, result.exit_code()) == ("no-link", 3)
    assert "eth0 no link" in text(result)
    assert scene.took_s < 0.1


def test_several_on_one_switch() -> None:
    """A line each, what is wrong first."""
    wrong = settings(LIGHTHOUSE, gateway=None)
    result = Scene(devices=[made(LIGHTHOUSE, 1, wrong), made(QUARRY, 2)]).look()
    lines = text(result).split("\n")
    assert lines[0].startswith("lighthouse-quarry  198.18.20.11/24")
    assert "WRONG  gateway: planned 198.18.20.1, found none" in lines[0]
    assert lines[1].startswith("quarry-lighthouse  198.18.20.12/24")
    assert "FAIL  2 devices on this cable: 1 wrong, 1 right" in text(result)
    assert result.exit_code() == 1


def test_swapped_halves() -> None:
    """A device with the other one's address and name is told by its serial number."""
    shown = text(Scene(devices=[made(QUARRY, 2, settings(LIGHTHOUSE))]).look())
    assert "planned here: lighthouse-quarry" in shown
    assert "WRONG  serial 000124: this is quarry-lighthouse, low half, for Quarry" in shown
    assert "do     exchange the two devices; change no setting" in shown


def test_without_an_address_of_its_own() -> None:
    """Seen by ARP alone: who it is, if the plan has its hardware address; the way to ask it."""
    device = dataclasses.replace(QUARRY, mac=made(QUARRY, 2).mac)
    plan = dataclasses.replace(PLAN, devices=(LIGHTHOUSE, device))
    result = Scene(devices=[made(device, 2)], plan=plan, laptop=()).look()
    (found,) = result.devices
    assert (found.state, found.device, found.verdict) == ("planned", QUARRY.name, "not-tested")
    assert found.do == "plan-verifier here --set-laptop"
    assert result.exit_code() == 3


def test_borrows_and_takes_back() -> None:
    """With leave to, it borrows an address beside the device, reads it and gives it back."""
    scene = Scene(devices=[made(QUARRY, 2)], laptop=(), borrows=True)
    result = scene.look()
    assert (result.exit_code(), [str(a) for a in result.borrowed]) == (0, ["198.18.20.254/24"])
    assert any("adding 198.18.20.254/24 to eth0" in words for words in scene.said)
    assert any("taken back" in words for words in scene.said)


def test_as_an_ordinary_user() -> None:
    """No ARP, no listening: echo and SNMP alone still say who it is; what was not done is said."""
    result = Scene(devices=[made(QUARRY, 2)], permitted=False).look()
    assert result.exit_code() == 0
    assert any("as root" in note for note in result.notes)


def test_what_cannot_be_read_is_said() -> None:
    """The profile has no reading for saved settings and alarms: never left out."""
    result = Scene(devices=[made(QUARRY, 2)], stage="service").look()
    (found,) = result.devices
    assert {"saved", "alarm"} <= {i.what for i in found.unread}
    assert "not read: " in text(result)
    assert "saved" in text(result)


def test_an_interface_that_is_not_there() -> None:
    """Said with those there are; nothing is asked."""
    scene = Scene(devices=[])
    with scene.world() as world:
        request = dataclasses.replace(scene.request(), interfaces=("nope0",))
        with pytest.raises(UsageError, match="no interface 'nope0' at this laptop; it has eth0"):
            here(request, world, Hold(request=request, world=world))
