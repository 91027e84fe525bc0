"""Advice that takes a link down says whose management goes with it, and who is done first."""

from __future__ import annotations

import dataclasses

import pytest

from tests.rules.compare.radio.radio_world import (
    RIGHT,
    RIGHT_B,
    A,
    B,
    Change,
    judged,
    observed,
    planned,
)
from verifier.model.address import Interface
from verifier.model.plan import Device, Plan, Stage

FERRY = Device(
    name="ferry", address=Interface.parse("198.18.20.13/24"), uplink=(B,), profile="hop-radio"
)


def plan(uplink_of_b: tuple[str, ...] = (A,), *more: Device) -> Plan:
    """The hop of the radio tests; `b` is managed over it, and `more` behind it."""
    base = planned(a={"tx_power_dbm": 18.0})
    devices = [
        dataclasses.replace(d, uplink=uplink_of_b) if d.name == B else d for d in base.devices
    ]
    return dataclasses.replace(base, devices=(*devices, *more))


def advice(
    of: Plan, check: str, a: Change = RIGHT, b: Change = RIGHT_B, stage: Stage = "handover"
) -> str:
    result = judged(of, stage, observed(A, a), observed(B, b))
    return "\n".join(f.advice for f in result.findings if f.check == check and f.advice)


CAUTION = (
    f"Caution: Hop 1 carries the management of {B}, ferry, which is cut off while the link is "
    f"down: do {B}, the far end, first"
)
WRONG: dict[str, tuple[Change, Change]] = {
    "radio.tx-frequency": ({**RIGHT, "tx_mhz": 13150.0}, RIGHT_B),
    "radio.rx-frequency": ({**RIGHT, "rx_mhz": 12870.0}, RIGHT_B),
    "radio.bandwidth": ({**RIGHT, "bandwidth_mhz": 14.0}, RIGHT_B),
    "radio.polarisation": ({**RIGHT, "polarisation": "H"}, RIGHT_B),
    "radio.rx-level": ({**RIGHT, "rx_level_dbm": -10.0}, RIGHT_B),
    "radio.lock": (RIGHT, {**RIGHT_B, "tx_enabled": "false"}),
    "radio.transmitter": (RIGHT, {**RIGHT_B, "tx_enabled": "false"}),
    "link.far-end": (RIGHT, {**RIGHT_B, "tx_enabled": "false"}),
}


@pytest.mark.parametrize("check", WRONG)
def test_it_warns_where_the_link_carries_management(check: str) -> None:
    """Who is behind the far end is named; the near end is not among them."""
    a, b = WRONG[check]
    assert advice(plan((A,), FERRY), check, a, b).endswith(CAUTION)


@pytest.mark.parametrize("check", WRONG)
def test_it_does_not_where_nobody_is_cut_off(check: str) -> None:
    """No device is managed over the link, or each has another way."""
    a, b = WRONG[check]
    hub = Device(name="hub", address=Interface.parse("198.18.20.14/24"), profile="hop-radio")
    for of in (plan(()), plan((A, "hub"), FERRY, hub)):
        told = advice(of, check, a, b)
        assert told
        assert "Caution" not in told


def test_it_does_not_on_the_bench() -> None:
    """No link is built there."""
    of, (a, b) = plan((A,), FERRY), WRONG["radio.tx-frequency"]
    told = advice(of, "radio.tx-frequency", a, b, "bench")
    assert "mute it" in told
    assert "Caution" not in told


def test_other_advice_is_left_as_it_is() -> None:
    told = advice(plan((A,), FERRY), "radio.tx-power", {**RIGHT, "tx_power_set_dbm": 10.0})
    assert told
    assert "Caution" not in told
