"""Who is heard and found at no address."""

from __future__ import annotations

import dataclasses

from tests.session.here.scenes import LIGHTHOUSE, PLAN, PROFILES, QUARRY, mac
from verifier.model.address import Address, Mac
from verifier.model.here import HereDevice
from verifier.model.search import HeardFrames, What
from verifier.rules.here.heard import heard_only
from verifier.rules.here.seen import Seen
from verifier.rules.here.verdict import devices

KNOWN = dataclasses.replace(QUARRY, mac=mac(2))
SEEN = Seen(
    plan=dataclasses.replace(PLAN, devices=(LIGHTHOUSE, KNOWN)), profiles=PROFILES, stage="bench"
)


def frame(of: Mac, what: What, address: str | None = None, name: str = "") -> HeardFrames:
    return HeardFrames(
        interface="eth0", mac=of, what=what,
        address=None if address is None else Address.parse(address), name=name, port="", vlan=None,
        first="2026-11-24T10:00:00Z", last="2026-11-24T10:00:00Z", count=1,
    )  # fmt: skip


def of(*frames: HeardFrames, **more: object) -> tuple[HereDevice, ...]:
    return devices(dataclasses.replace(SEEN, heard=frames, **more))  # type: ignore[arg-type]


def test_a_device_of_the_plan_without_an_address() -> None:
    """By its hardware address, or by the name it gives by LLDP."""
    (by_mac,) = of(frame(mac(2), "nd-router", "fe80::5eff:fe10:2"))
    assert (by_mac.state, by_mac.device, by_mac.verdict) == ("no-address", QUARRY.name, "fail")
    assert "it has fe80::5eff:fe10:2" in by_mac.wrong[0].words
    (by_name,) = of(frame(mac(9), "lldp", name=LIGHTHOUSE.name))
    assert by_name.device == LIGHTHOUSE.name
    assert "plan-verifier here --watch" in by_name.do


def test_a_stranger_where_nobody_else_is() -> None:
    """Named by what it says; one that only looks for an IPv6 router tells nothing."""
    frames = (frame(mac(7), "arp-request", "192.0.2.77"), frame(mac(8), "nd-router", "fe80::8"))
    (stranger,) = of(*frames)
    assert (stranger.state, stranger.who) == ("stranger", str(mac(7)))
    assert "has or wants 192.0.2.77" in stranger.wrong[0].words
    found = HereDevice(state="planned", verdict="pass", device=LIGHTHOUSE.name)
    assert heard_only(dataclasses.replace(SEEN, heard=frames), [found]) == ()


def test_only_the_device_that_was_asked_for() -> None:
    assert of(frame(mac(2), "nd-router", "fe80::2"), asked=LIGHTHOUSE) == ()
