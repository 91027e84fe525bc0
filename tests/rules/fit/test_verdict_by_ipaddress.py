"""The relations a second time, by the standard library, for any settings."""

from __future__ import annotations

import random
from typing import Literal

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.lab.fit_cases import Case, expected, random_case
from verifier.model.address import Address, Interface
from verifier.model.laptop import Fit, Laptop, LaptopInterface
from verifier.model.plan import Device
from verifier.rules.fit.verdict import assumed_route, fit


def judged(case: Case) -> Fit:
    laptop = Laptop(
        interfaces=tuple(
            LaptopInterface(name=name, addresses=(Interface.parse(address),))
            for name, address in case.laptop
        ),
        gateways=(Address.parse(case.via),) if case.via else (),
        assumed=True,
    )
    gateway = Address.parse(case.gateway) if case.gateway else None
    device = Device(name="device", address=Interface.parse(case.device), gateway=gateway)
    return fit(device, laptop, assumed_route(laptop, device.address.address))


def told(case: Case) -> tuple[str, bool]:
    """The relation, `?` where half of it is known only; whether it fails."""
    found = judged(case)
    half = found.relation == "routed" and found.verdict == "warn"
    return found.relation + ("?" if half else ""), found.verdict == "fail"


def by_the_library(case: Case) -> tuple[str, bool]:
    """The same by `ipaddress`."""
    relation = expected(case)
    return relation, relation in {"unusable", "clash", "one-way", "off-subnet"}


@settings(max_examples=300)
@given(st.integers(0, 1 << 32))
def test_near_settings(seed: int) -> None:
    """Masks from wide to a single host, gateways inside and outside, a second interface."""
    case = random_case(random.Random(seed))
    assert told(case) == by_the_library(case)


def close(version: Literal[4, 6]) -> st.SearchStrategy[str]:
    """Any address, a host's or not, out of so few that they meet."""
    network = "198.18.20.0/27" if version == 4 else "2001:db8:20::/123"
    lengths = st.integers(24, 32) if version == 4 else st.integers(120, 128)
    ips = st.ip_addresses(v=version, network=network)
    return st.builds(lambda ip, length: f"{ip}/{length}", ips, lengths)


@st.composite
def crowded(draw: st.DrawFn) -> Case:
    """Everybody at each other's place."""
    address = close(draw(st.sampled_from([4, 6])))
    own = draw(st.lists(address, min_size=1, max_size=2))
    gateway = st.none() | address.map(lambda text: text.split("/")[0])
    return Case(
        laptop=tuple((f"eth{n}", a) for n, a in enumerate(own)),
        device=draw(address),
        via=draw(gateway),
        gateway=draw(gateway),
    )


@settings(max_examples=500)
@given(crowded())
def test_crowded_settings(case: Case) -> None:
    """Network and broadcast addresses, gateways that are somebody else."""
    if case.via != case.device.split("/")[0]:  # no next hop can be the destination itself
        assert told(case) == by_the_library(case)
