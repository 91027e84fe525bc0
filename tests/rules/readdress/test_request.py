"""From plan and wishes to a task: where devices are and are to be, who holds what, what is refused."""

from __future__ import annotations

import dataclasses
import ipaddress
from typing import Any

import pytest

from tests.said import hear
from verifier.errors import InputError, UsageError, VerifierError
from verifier.model.address import Address, Interface, Mac
from verifier.model.plan import (
    Carrier,
    Device,
    End,
    Host,
    Link,
    Management,
    Network,
    Plan,
)
from verifier.model.profile import Factory, Profile
from verifier.model.runbook import SetLaptop
from verifier.rules.readdress import readdress
from verifier.rules.readdress.renumber import Renumber, Renumbering, behind
from verifier.rules.readdress.request import Wish, finished, sharing, task

PROFILES = {
    "mib2": Profile(id="mib2"),
    "radio": Profile(
        id="radio",
        factory=Factory(
            low=Interface.parse("192.0.2.20/24"), high=Interface.parse("192.0.2.21/24")
        ),
    ),
}


def device(name: str, address: str, **more: object) -> Device:
    """A device; addresses are given as text."""
    for key in ("gateway", "present_gateway"):
        if key in more:
            more[key] = Address.parse(str(more[key]))
    if "present_address" in more:
        more["present_address"] = Interface.parse(str(more["present_address"]))
    return Device(name=name, address=Interface.parse(address), **more)  # type: ignore[arg-type]


def plan(*devices: Device, name: str = "Harbour", hosts: tuple[Host, ...] = ()) -> Plan:
    return Plan(network=Network(name=name), devices=devices, management=Management(hosts=hosts))


def change(text: str) -> Renumbering:
    name, _, value = text.partition("=")
    at, _, gateway = value.partition(",")
    return Renumbering(
        device=name,
        address=Interface.parse(at),
        gateway=Address.parse(gateway) if gateway else None,
    )


def renumber(text: str) -> Renumber:
    old, new = (Interface.parse(part) for part in text.split("="))
    return Renumber(old=old, new=new)


def moves(made: Plan, **wish: object) -> dict[str, tuple[str, str]]:
    """Present and planned address of the devices that move."""
    devices = task(made, PROFILES, Wish(**wish)).devices  # type: ignore[arg-type]
    return {u.name: (str(u.present.at), str(u.planned.at)) for u in devices if u.moves}


TWO = plan(
    device("a", "198.18.20.11/24", gateway="198.18.20.1"),
    device("b", "198.18.20.12/24", gateway="198.18.20.1"),
)


def test_present_is_said_else_factory_else_planned() -> None:
    made = plan(
        device("a", "198.18.20.11/24", present_address="198.18.9.9/24", profile="radio"),
        device("b", "198.18.20.12/24", profile="radio", tx_band="high"),
        device("c", "198.18.20.13/24", profile="radio", tx_band="low"),
        device("d", "198.18.20.14/24"),
    )
    assert moves(made) == {
        "a": ("198.18.9.9/24", "198.18.20.11/24"),
        "b": ("192.0.2.21/24", "198.18.20.12/24"),
        "c": ("192.0.2.20/24", "198.18.20.13/24"),
    }


def test_done_devices_are_in_place() -> None:
    made = plan(device("b", "198.18.20.12/24", profile="radio", tx_band="high"))
    assert moves(made, done=("b",)) == {}


def test_a_shared_present_address_forces_one_at_a_time() -> None:
    """Until all but one of them are done."""
    made = plan(
        *(
            device(n, f"198.18.20.{i}/24", profile="radio", tx_band="low")
            for i, n in enumerate("ab", 11)
        )
    )
    assert task(made, PROFILES, Wish()).setting == "one-at-a-time"
    assert task(made, PROFILES, Wish(done=("a",))).setting == "segment"


def test_from_an_old_plan_by_name_serial_and_mac() -> None:
    mac = Mac.parse("02:00:5e:10:00:01")
    old = plan(
        device("a", "198.18.1.11/24"), device("old-b", "198.18.1.12/24", serial="7"),
        device("old-c", "198.18.1.13/24", mac=mac), device("gone", "198.18.1.14/24"),
    )  # fmt: skip
    new = plan(
        device("a", "198.18.2.11/24"), device("b", "198.18.2.12/24", serial="7"),
        device("c", "198.18.2.13/24", mac=mac), device("d", "198.18.1.14/24"),
    )  # fmt: skip
    assert moves(new, old=old) == {
        "a": ("198.18.1.11/24", "198.18.2.11/24"),
        "b": ("198.18.1.12/24", "198.18.2.12/24"),
        "c": ("198.18.1.13/24", "198.18.2.13/24"),
    }


def test_a_device_that_only_the_old_plan_has_holds_its_address() -> None:
    old = plan(device("a", "198.18.1.11/24"), device("gone", "198.18.2.11/24"))
    new = plan(device("a", "198.18.2.11/24"))
    runbook = readdress(new, task(new, PROFILES, Wish(old=old)))
    assert "gone of the old plan" in runbook.blocked[0].reason


def test_renumbering_keeps_host_numbers_and_masks_and_takes_gateways_along() -> None:
    made = task(TWO, PROFILES, Wish(renumbers=(renumber("198.18.20.0/24=198.18.30.0/24"),)))
    assert [str(u.planned.at) for u in made.devices] == ["198.18.30.11/24", "198.18.30.12/24"]
    assert {str(u.planned.gateway) for u in made.devices} == {"198.18.30.1"}


def test_a_device_that_is_the_gateway_is_renumbered_after_those_behind_it() -> None:
    """It holds its address itself: the gateway is nobody else's."""
    made = plan(device("router", "198.18.20.1/24"), *TWO.devices)
    asked = task(made, PROFILES, Wish(renumbers=(renumber("198.18.20.0/24=198.18.30.0/24"),)))
    runbook = readdress(made, asked)
    assert runbook.blocked == ()
    kinds = [(f.subject.name, f.message) for f in runbook.follow_ups if f.kind == "gateway"]
    assert [name for name, _ in kinds] == ["a", "b"]
    assert all("was 198.18.20.1" in message for _, message in kinds)


def test_moving_the_gateway_alone_is_told_to_those_who_use_it() -> None:
    made = plan(device("router", "198.18.20.1/24"), *TWO.devices)
    runbook = readdress(
        made, task(made, PROFILES, Wish(changes=(change("router=198.18.20.254/24"),)))
    )
    told = {f.subject.name: f.message for f in runbook.follow_ups if f.kind == "gateway"}
    assert set(told) == {"a", "b"}
    assert all("198.18.20.1 is gone" in message for message in told.values())


@pytest.mark.usefixtures("words")
def test_follow_ups_of_one_move() -> None:
    """Poller, receiver, cache with the old MAC, label, row of the plan, devices behind it."""
    host = Host(
        name="manager-1", address=Address.parse("203.0.113.10"), uses=("snmp", "trap", "syslog")
    )
    made = plan(
        device("a", "198.18.20.11/24", present_address="198.18.20.12/24", label="A > B", mac=Mac.parse("02:00:5e:10:00:01")),
        device("b", "198.18.20.13/24", present_address="198.18.20.11/24", uplink=("a",)),
        hosts=(host,),
    )  # fmt: skip
    runbook = readdress(made, task(made, PROFILES, Wish()))
    told = {(f.kind, f.subject.kind, f.subject.name): f.message for f in runbook.follow_ups}
    assert {k for k, _, _ in told} == {
        "manager",
        "receiver",
        "neighbour-cache",
        "label",
        "plan",
        "uplink",
    }
    hosts = [f.message for f in runbook.follow_ups if f.subject.kind == "host"]
    assert hosts == [
        "polls a at 198.18.20.12: change that to 198.18.20.11",
        (
            "traps and log messages of a come from 198.18.20.11, no longer from 198.18.20.12: "
            "change what it accepts and how it names the sender"
        ),
        "polls b at 198.18.20.11: change that to 198.18.20.13",
        (
            "traps and log messages of b come from 198.18.20.13, no longer from 198.18.20.11: "
            "change what it accepts and how it names the sender"
        ),
    ]
    cache = told["neighbour-cache", "device", "a"]
    for words in ("02:00:5e:10:00:01", "198.18.20.11 as b", "ip neigh flush", "arp -d", "Windows"):
        assert words in cache
    assert "'A > B'" in told["label", "device", "a"]
    for follow_up in runbook.follow_ups:
        hear(f"{follow_up.kind} {follow_up.subject}: {follow_up.message}")
    assert ("uplink", "device", "b") in told


@pytest.mark.parametrize(
    ("uses", "kinds"),
    [
        (("icmp",), ["manager"]), (("snmp",), ["manager"]), (("trap",), ["receiver"]),
        (("syslog",), ["receiver"]), (("ntp",), []), (("icmp", "trap"), ["manager", "receiver"]),
    ],
)  # fmt: skip
def test_hosts_that_know_an_address(uses: Any, kinds: list[str]) -> None:
    """Who polls it, and who takes in what it sends."""
    host = Host(name="manager-1", address=Address.parse("203.0.113.10"), uses=uses)
    made = plan(device("a", "198.18.20.11/24", present_address="198.18.20.12/24"), hosts=(host,))
    told = readdress(made, task(made, PROFILES, Wish())).follow_ups
    assert [f.kind for f in told if f.subject.kind == "host"] == kinds


def test_neighbour_caches_of_ipv6() -> None:
    """Each system has another command for them than for ARP."""
    made = plan(device("a", "2001:db8:20::11/64", present_address="2001:db8:30::11/64"))
    told = readdress(made, task(made, PROFILES, Wish())).follow_ups
    (cache,) = (f.message for f in told if f.kind == "neighbour-cache")
    for words in (
        "Linux `ip neigh flush to 2001:db8:30::11`",
        "macOS `ndp -d 2001:db8:30::11`",
        'Windows `netsh interface ipv6 delete neighbors "INTERFACE" 2001:db8:30::11`',
    ):
        assert words in cache


def test_what_hangs_behind_a_device() -> None:
    """Devices whose management traffic passes through it, however far, and the links of them all."""
    a, b = End(device="a"), End(device="b")
    hop = Link(name="Hop 1", carriers=(Carrier(carrier=1, a=a, b=b),))
    near = device("a", "198.18.20.11/24")
    mid = device("b", "198.18.20.12/24", uplink=("a",))
    far = device("c", "198.18.20.13/24", uplink=("b",))
    made = Plan(devices=(near, mid, far), links=(hop,))
    assert behind(made) == {"a": (["b", "c"], ["Hop 1"]), "b": (["c"], ["Hop 1"])}


def test_addresses_of_hosts_are_not_given_to_devices() -> None:
    """A management host holds its address, whether it answers or not."""
    host = Host(name="manager-1", address=Address.parse("198.18.20.10"), uses=("snmp",))
    made = plan(*TWO.devices, hosts=(host,))
    asked = task(made, PROFILES, Wish(changes=(change("a=198.18.20.10/24"),)))
    (blocked,) = readdress(made, asked).blocked
    assert blocked.device == "a"
    assert "held by host manager-1: free it there first" in blocked.reason


def test_a_device_does_not_take_the_address_of_its_own_gateway() -> None:
    """It sends through somebody there who is not itself; a device that becomes the gateway may."""
    asked = task(TWO, PROFILES, Wish(changes=(change("a=198.18.20.1/24,198.18.20.2"),)))
    (blocked,) = readdress(TWO, asked).blocked
    assert blocked.device == "a"
    assert "held by gateway 198.18.20.1" in blocked.reason
    made = plan(device("router", "198.18.20.254/24"), *TWO.devices)
    asked = task(made, PROFILES, Wish(changes=(change("router=198.18.20.1/24"),)))
    assert readdress(made, asked).blocked == ()


def test_devices_that_share_a_present_address_are_all_named() -> None:
    """Also the one that is in place already and is not moved."""
    made = plan(
        device("a", "198.18.20.12/24", present_address="198.18.20.11/24"),
        device("b", "198.18.20.11/24", present_address="198.18.20.12/24"),
        device("c", "198.18.20.13/24"),
    )
    asked = task(made, PROFILES, Wish(done=("a",)))
    assert asked.setting == "one-at-a-time"
    assert [u.name for u in sharing(asked.devices)] == ["a", "b"]


def test_the_row_that_a_change_makes_wrong_is_named_with_what_mends_it() -> None:
    """The new address with its gateway; a name as a shell takes it as one word."""
    device = Device(
        name="quarry 1", address=Interface.parse("198.18.20.11/24"),
        gateway=Address.parse("198.18.20.1"),
    )  # fmt: skip
    made = Plan(devices=(device,))
    asked = task(made, PROFILES, Wish(changes=(change("quarry 1=198.18.30.11/24,198.18.30.1"),)))
    (told,) = (f.message for f in readdress(made, asked).follow_ups if f.kind == "plan")
    assert told.endswith(
        "its row says 198.18.20.11/24; it is to be 198.18.30.11/24, gateway 198.18.30.1 "
        "(--done 'quarry 1' --write-plan FILE writes it)"
    )


def test_what_was_planned_is_written_and_read_as_what_is_left() -> None:
    """A written plan gives the same moves by itself, but for those that are done."""
    wish = Wish(renumbers=(renumber("198.18.20.0/24=198.18.30.0/24"),), done=("a",))
    written = finished(TWO, task(TWO, PROFILES, wish), wish.done)
    assert moves(written) == {"b": ("198.18.20.12/24", "198.18.30.12/24")}


def test_a_done_device_is_not_taken_back_to_its_factory_address() -> None:
    made = plan(device("a", "198.18.20.11/24", profile="radio", tx_band="low"))
    written = finished(made, task(made, PROFILES, Wish(done=("a",))), ["a"])
    assert moves(written) == {}


REFUSED = [
    ("unknown device", TWO, {"done": ("c",)}, UsageError, ["'c'"]),
    ("too small", TWO, {"renumbers": (renumber("198.18.20.0/24=198.18.30.0/29"),)}, UsageError, ["too small", "a (198.18.20.11/24)", "b ("]),
    ("no device there", TWO, {"renumbers": (renumber("198.18.50.0/24=198.18.30.0/24"),)}, UsageError, ["no device"]),
    ("a host for a subnet", TWO, {"renumbers": (renumber("198.18.20.5/24=198.18.30.0/24"),)}, UsageError, ["198.18.20.0/24"]),
    ("too wide a subnet", TWO, {"renumbers": (renumber("198.18.20.0/24=0.0.0.0/1"),)}, UsageError, ["/1", "/8 or longer"]),
    ("too wide a prefix", TWO, {"changes": (change("a=198.18.40.5/7"),)}, UsageError, ["/7", "/8 or longer"]),
    ("two families", TWO, {"renumbers": (renumber("198.18.20.0/24=2001:db8::/64"),)}, UsageError, ["IPv6"]),
    ("two at one address", TWO, {"changes": (change("a=198.18.20.12/24"),)}, UsageError, ["a and b", "198.18.20.12"]),
    ("contradiction", TWO, {"changes": (change("a=198.18.30.5/24"), change("a=198.18.30.6/24"))}, UsageError, ["contradict", "198.18.30.5/24", "198.18.30.6/24"]),
    ("contradiction with a renumbering", TWO, {"changes": (change("a=198.18.40.5/24"),), "renumbers": (renumber("198.18.20.0/24=198.18.30.0/24"),)}, UsageError, ["contradict"]),
    ("not a host", TWO, {"changes": (change("a=198.18.30.0/24"),)}, UsageError, ["network address"]),
    ("old plan and changes", TWO, {"old": TWO, "changes": (change("a=198.18.30.5/24"),)}, UsageError, ["--from"]),
    ("another network", TWO, {"old": plan(device("x", "198.18.1.1/24"), name="Ferry")}, InputError, ["another network", "Ferry", "Harbour"]),
    ("afar without a laptop", TWO, {"setting": "remote", "changes": (change("a=198.18.20.13/24"),)}, UsageError, ["--laptop"]),
    ("afar without a gateway", TWO, {"setting": "remote", "laptop": (Interface.parse("203.0.113.9/24"),), "changes": (change("a=198.18.20.13/24"),)}, UsageError, ["--laptop-gateway"]),
    ("the laptop is a device", TWO, {"laptop": (Interface.parse("198.18.20.11/24"),)}, UsageError, ["address of a"]),
    ("two addresses, one allowed", TWO, {"many": False, "laptop": (Interface.parse("198.18.20.9/24"), Interface.parse("198.18.20.8/24"))}, UsageError, ["once"]),
]  # fmt: skip


@pytest.mark.parametrize(
    ("made", "wish", "error", "words"), [r[1:] for r in REFUSED], ids=[r[0] for r in REFUSED]
)
def test_refused(
    made: Plan, wish: dict[str, object], error: type[VerifierError], words: list[str]
) -> None:
    with pytest.raises(error) as caught:
        task(made, PROFILES, Wish(**wish))  # type: ignore[arg-type]
    assert all(word in str(caught.value) for word in words), str(caught.value)


def test_a_kept_gateway_outside_the_new_subnet_blocks_and_says_how_to_name_one() -> None:
    made = task(TWO, PROFILES, Wish(changes=(change("a=198.18.30.5/24"),)))
    reason = readdress(TWO, made).blocked[0].reason
    assert "--change a=198.18.30.5/24,GATEWAY" in reason
    good = task(TWO, PROFILES, Wish(changes=(change("a=198.18.30.5/24,198.18.30.1"),)))
    assert readdress(TWO, good).blocked == ()


def test_factory_addresses_are_not_given_to_the_laptop() -> None:
    """The highest free one is taken, but none a new device may bring along."""
    radio = dataclasses.replace(
        PROFILES["radio"], factory=Factory(address=Interface.parse("192.0.2.254/24"))
    )
    made = plan(device("a", "198.18.20.11/24", profile="radio"))
    runbook = readdress(made, task(made, {"radio": radio}, Wish()))
    assert str(runbook.steps[0].addresses[0]) == "192.0.2.253/24"  # type: ignore[union-attr]


@pytest.mark.parametrize("present", ["192.0.2.20/0", "11.0.0.5/1", "126.0.0.5/7", "fd00::5/0"])
@pytest.mark.parametrize("one", [True, False])
def test_a_runbook_of_the_widest_subnet_comes_at_once(present: str, one: bool) -> None:  # noqa: FBT001
    """Free addresses are looked for within bounds, never loopback or multicast ones."""
    planned = "fd00::11/64" if ":" in present else "198.18.20.11/24"
    moved = Device(
        name="quarry", address=Interface.parse(planned), present_address=Interface.parse(present)
    )
    wish = Wish(setting="one-at-a-time" if one else "segment")
    runbook = readdress(plan(moved), task(plan(moved), {}, wish))
    assert not runbook.blocked
    held = [a for s in runbook.steps if isinstance(s, SetLaptop) for a in s.addresses]
    assert held
    for address in held:
        found = ipaddress.ip_interface(str(address)).ip
        assert not any((found.is_loopback, found.is_multicast, found.is_link_local))
