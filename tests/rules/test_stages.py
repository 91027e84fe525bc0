"""Which check belongs to which stage: the contract's section *Stages*, row by row."""

from __future__ import annotations

from fnmatch import fnmatchcase
from typing import Any, get_args

import pytest

from verifier.model.address import Interface
from verifier.model.checks import CHECK_NAMES
from verifier.model.plan import Carrier, Device, End, Link, Plan, Stage
from verifier.model.problem import Subject
from verifier.model.result import Finding
from verifier.rules.stages import ABSENT, BENCH_NEEDS, belongs, of_stage

END_A = Subject("link", "Hop 1", carrier=1, end="a")
END_B = Subject("link", "Hop 1", carrier=1, end="b")
HOP = Subject("link", "Hop 1", carrier=1)


def plan(a: dict[str, Any] | None = None, b: dict[str, Any] | None = None) -> Plan:
    ends = [End(device=n, **(more or {})) for n, more in (("lighthouse", a), ("quarry", b))]
    devices = tuple(
        Device(name=n, address=Interface.parse(f"198.18.20.{i}/24"))
        for i, n in enumerate(("lighthouse", "quarry"), start=11)
    )
    return Plan(
        devices=devices, links=(Link(name="Hop 1", carriers=(Carrier(a=ends[0], b=ends[1]),)),)
    )


def links(a: dict[str, Any] | None = None, b: dict[str, Any] | None = None) -> dict[str, Link]:
    """The one link of that plan by its name."""
    return {link.name: link for link in plan(a, b).links}


@pytest.mark.parametrize("stage", ["handover", "service"])
def test_everything_belongs_to_handover_and_service(stage: Stage) -> None:
    """Handover: everything; service: as handover."""
    assert all(belongs(links(), stage, check, END_A) for check in CHECK_NAMES)


@pytest.mark.parametrize("stage", get_args(Stage))
@pytest.mark.parametrize("check", ["radio.eirp", "identity.name", "address.mask", "radio.tx-power"])
def test_settings_and_licence_belong_to_every_stage(stage: Stage, check: str) -> None:
    """Addresses, names and settings are right at every stage, and so is the licence."""
    assert belongs(links(), stage, check, END_A)


@pytest.mark.parametrize(
    ("check", "subject", "given", "asked"),
    [
        ("radio.rx-level", END_A, {}, True),
        ("radio.rx-level", END_B, {"bench_attenuation_db": 60.0}, True),
        ("radio.lock", END_A, {}, False),
        ("radio.lock", END_A, {"bench_attenuation_db": 60.0}, True),
        ("radio.lock", END_B, {"bench_attenuation_db": 60.0}, True),
        ("radio.reciprocity", HOP, {"bench_attenuation_db": 60.0}, False),
        ("radio.transmitter", END_A, {}, True),
        ("radio.fade-margin", END_A, {"bench_attenuation_db": 60.0}, False),
        ("port.neighbour", Subject("port", "lighthouse", port="eth1"), {}, False),
    ],
)
def test_on_the_bench_what_is_received_belongs_only_where_it_is_planned(
    check: str, subject: Subject, given: dict[str, float], *, asked: bool
) -> None:
    """With no attenuation the transmitter is off; what a receiver bears holds all the same."""
    assert belongs(links(a=given), "bench", check, subject) is asked


def test_both_ends_need_the_attenuation_for_what_compares_them() -> None:
    """The two directions are compared where both are fed through an attenuator."""
    fed = {"bench_attenuation_db": 60.0}
    assert belongs(links(fed, fed), "bench", "radio.reciprocity", HOP)


def test_what_follows_from_the_modulation_is_not_asked_while_aligning() -> None:
    """Lowest modulation and raised power are right then; level and path loss are judged."""
    asked = {c for c in CHECK_NAMES if belongs(links(), "alignment", c, END_A)}
    assert {"radio.capacity", "radio.fade-margin", "settings.saved"}.isdisjoint(asked)
    assert {"radio.rx-level", "radio.path-loss", "radio.atpc", "radio.transmitter"} <= asked


def test_every_pattern_of_the_table_is_a_check() -> None:
    """A misspelt name would silently ask everything."""
    patterns = {*BENCH_NEEDS, *(p for absent in ABSENT.values() for p in absent)}
    assert not [p for p in patterns if not any(fnmatchcase(c, p) for c in CHECK_NAMES)]


def test_a_check_that_is_left_out_is_named_once() -> None:
    """What stands among the findings is not said to be outside of the stage."""
    made = [
        Finding(check=check, subject=subject, verdict="pass", reason="x")
        for check in ("radio.rx-level", "radio.lock")
        for subject in (END_A, END_B)
    ]
    asked, absent = of_stage(plan(), "bench", made)
    assert [f.check for f in asked] == ["radio.rx-level", "radio.rx-level"]
    assert absent == ("radio.lock",)
