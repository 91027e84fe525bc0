"""The runbook on paper: each step's sentence, and commands as they can be pasted on each system."""

from __future__ import annotations

from dataclasses import replace

import pytest

from verifier.model.address import Address, Interface
from verifier.model.laptop import System
from verifier.model.runbook import Blocked, Confirm, Connect, Runbook, SetDevice, SetLaptop
from verifier.report.runbook.page import page
from verifier.report.runbook.text import RunbookPaper, lines, text

FIRST, SECOND = Interface.parse("192.0.2.254/24"), Interface.parse("198.18.20.254/24")
OLD, NEW = Interface.parse("192.0.2.20/24"), Interface.parse("198.18.20.11/24")
OLD_6, NEW_6 = Interface.parse("2001:db8:1::20/64"), Interface.parse("2001:db8:2::11/64")
LAPTOP_6 = Interface.parse("2001:db8:2::fe/64")


def confirm(device: str, new: Interface, old: Interface) -> Confirm:
    return Confirm(n=5, device=device, address=new.address, silent=old.address)


BOOK = Runbook(
    setting="one-at-a-time",
    laptop_addresses="one",
    laptop_start=(),
    proved_best=True,
    lower_bound=None,
    device_changes=1,
    connects=1,
    laptop_changes=2,
    steps=(
        SetLaptop(n=1, addresses=(FIRST,)),
        Connect(n=2, device="quarry"),
        SetDevice(n=3, device="quarry", from_=OLD, to=NEW, gateway=Address.parse("198.18.20.1"), temporary=False),
        SetLaptop(n=4, addresses=(SECOND,)),
        confirm("quarry", NEW, OLD),
    ),
    follow_ups=(),
    blocked=(Blocked(device="ferry", reason="198.18.20.12 is held by host manager-1"),),
)  # fmt: skip
SILENT_FROM_AFAR = "the old address cannot be tested from here"


def sheet(system: System = "linux", **changed: object) -> RunbookPaper:
    made = RunbookPaper(plan="Harbour ring", runbook=BOOK, system=system, interface="eth0")
    return replace(made, runbook=replace(BOOK, **changed))  # type: ignore[arg-type]


def told(made: RunbookPaper) -> list[str]:
    """All commands, in order."""
    return [command for line in lines(made) for command, _ in line.commands]


LINUX = (
    "ip address add 192.0.2.254/24 dev eth0",
    "ip neigh flush dev eth0",
    "ip address del 192.0.2.254/24 dev eth0",
    "ip address add 198.18.20.254/24 dev eth0",
    "ping -c 3 198.18.20.11",
    "arping -D -c 3 -I eth0 192.0.2.20",
)
MACOS = (
    "ifconfig eth0 inet 192.0.2.254 netmask 255.255.255.0 alias",
    "arp -d -a",
    "ifconfig eth0 inet 192.0.2.254 -alias",
    "ifconfig eth0 inet 198.18.20.254 netmask 255.255.255.0 alias",
    "ping -c 3 198.18.20.11",
)


@pytest.mark.parametrize(("system", "commands"), [("linux", LINUX), ("macos", MACOS)])
def test_commands_in_order(system: System, commands: tuple[str, ...]) -> None:
    """What the laptop held is taken away, the cache is emptied when a device is attached."""
    assert tuple(told(sheet(system))) == commands


def test_commands_of_windows() -> None:
    made = told(sheet("windows"))
    assert "netsh interface ip delete arpcache" in made
    assert any("delete address" in c and "192.0.2.254" in c for c in made)
    assert made[-1] == "ping -n 3 198.18.20.11"


@pytest.mark.parametrize("system", ["macos", "windows"])
def test_what_cannot_be_asked_is_said(system: System) -> None:
    """Without an ARP probe nothing is claimed of the old address off the laptop's subnets."""
    assert SILENT_FROM_AFAR in " ".join(text(sheet(system)).split())
    assert SILENT_FROM_AFAR not in text(sheet())
    assert SILENT_FROM_AFAR in " ".join(text(sheet(setting="remote")).split())


@pytest.mark.parametrize(
    ("system", "ping"), [("linux", "ping -c"), ("macos", "ping6 -c"), ("windows", "ping -n")]
)
def test_ipv6(system: System, ping: str) -> None:
    steps = (SetLaptop(n=1, addresses=(LAPTOP_6,)), confirm("quarry", NEW_6, OLD_6))
    made = sheet(system, steps=steps)
    assert told(made)[-1] == f"{ping} 3 2001:db8:2::11"
    assert SILENT_FROM_AFAR in " ".join(text(made).split())


@pytest.mark.parametrize("system", ["linux", "macos", "windows"])
def test_a_command_can_be_pasted(system: System) -> None:
    """It ends its line: what is to come of it stands before it, not behind it as a comment."""
    both = (SetLaptop(n=1, addresses=(FIRST, SECOND)), confirm("quarry", NEW, OLD))
    made = sheet(system, steps=both)
    shown = text(made).splitlines()
    for command in told(made):
        assert any(line.endswith(f" {command}") for line in shown), command
    assert [line.strip().partition(":")[0] for line in shown if " ping" in line] == [
        "answers",
        "no answer",
    ]


def test_picture_shows_devices_that_stay() -> None:
    """A blocked device keeps its address, which matters to every step: it is drawn at each."""
    made = replace(sheet(setting="segment"), staying={"ferry": Interface.parse("192.0.2.21/24")})
    drawn = page(made)
    assert "Circles: 1 quarry, 2 ferry" in drawn
    assert drawn.count('text-anchor="middle">2</text>') == len(BOOK.steps) + 1
    assert "Too many" not in drawn


def test_a_picture_that_is_left_out_is_said() -> None:
    many = {f"u{n}": Interface.parse(f"192.0.2.{n}/24") for n in range(30, 60)}
    drawn = page(replace(sheet(), staying=many))
    assert "<svg" not in drawn
    assert "Too many devices or subnets for a small picture" in drawn


def test_blocked_devices_stand_on_paper_and_page() -> None:
    """With the reason, before the steps."""
    shown, printed = text(sheet()), page(sheet())
    assert shown.index("held by host manager-1") < shown.index("[ ]   1")
    assert printed.index("held by host manager-1") < printed.index("<h2>Steps</h2>")
