"""Where `find` would ask, as the command comes to it; nothing is sent."""

from __future__ import annotations

import pytest

from verifier.errors import UsageError
from verifier.model.address import Interface
from verifier.model.laptop import Laptop, LaptopInterface
from verifier.model.plan import Device, Plan
from verifier.session.search.request import Search
from verifier.session.search.run import _interfaces, _temporary

SWAP = {"a": ("198.18.20.11/24", "198.18.20.12/24"), "b": ("198.18.20.12/24", "198.18.20.11/24")}


def search(*, interfaces: tuple[str, ...] = (), swap: bool = True, name: str = "a") -> Search:
    devices = {
        device: Device(
            name=device,
            address=Interface.parse(new),
            present_address=Interface.parse(old) if swap else None,
        )
        for device, (old, new) in SWAP.items()
    }
    plan = Plan(devices=tuple(devices.values()))
    return Search(plan=plan, device=devices[name], profiles={}, interfaces=interfaces)


def test_temporary_address_of_the_runbook() -> None:
    """Of two devices that swap addresses one goes aside; that address is where it may be."""
    found = [_temporary(search(name=name)) for name in SWAP]
    (aside,) = [at for temporary in found for at in temporary]
    assert aside.subnet == "198.18.20.0/24"
    assert str(aside) not in {address for pair in SWAP.values() for address in pair}
    assert _temporary(search(swap=False)) == []


LAPTOP = Laptop(
    interfaces=(
        LaptopInterface(name="lo", medium="loopback"),
        LaptopInterface(name="eth0", medium="cable"),
        LaptopInterface(name="eth1", medium="cable", up=False),
        LaptopInterface(name="tun0", medium="tunnel"),
    )
)


def test_interfaces_to_ask_on() -> None:
    """Every one with a carrier that can have a device behind it; or those that are named."""
    assert _interfaces(search(), LAPTOP) == ("eth0",)
    assert _interfaces(search(interfaces=("eth1",)), LAPTOP) == ()
    with pytest.raises(UsageError, match="no interface 'eth7' at this laptop; it has lo, eth0"):
        _interfaces(search(interfaces=("eth7",)), LAPTOP)
