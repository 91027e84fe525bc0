"""Random small cases: none invalid, none worse than the best there is; `bench/readdress_campaign.py` tries thousands."""

from __future__ import annotations

import random
from typing import Any

import pytest

from tests.rules.readdress.brute_force import TooBigError, best
from tests.rules.readdress.cases import planned, random_case
from tests.rules.readdress.replayer import judge
from tests.said import hear

REPLAYED, COMPARED = 600, 100
CHUNK = 25


def told(runbook: dict[str, Any]) -> tuple[int, int, int, int]:
    figures = (runbook["device_changes"], runbook["connects"], runbook["laptop_changes"])
    return (*figures, len(runbook["steps"]))


def to_be_moved(case: dict[str, Any]) -> int:
    return sum(
        (u["present"], u["present_gateway"]) != (u["planned"], u["gateway"])
        for u in case["devices"].values()
    )


def complaints(seed: int, *, compare: bool) -> list[str]:
    """What is wrong with the runbook of a random case."""
    case = random_case(random.Random(seed))
    runbook = planned(case)
    wrong = judge(case, runbook)
    if not runbook["proved_best"]:
        wrong.append("not proved best with so few devices")
    if not compare:
        return wrong
    try:
        figures, most = best(case)
    except TooBigError:
        return wrong
    if figures is None and to_be_moved(case) - len(runbook["blocked"]) < most:
        wrong.append(f"{len(runbook['blocked'])} blocked, but {most} can be moved")
    if figures is not None and (runbook["blocked"] or told(runbook) != figures):
        wrong.append(f"{told(runbook)}, best is {figures}, blocked {runbook['blocked']}")
    return wrong


@pytest.mark.parametrize("first", range(0, REPLAYED, CHUNK))
def test_every_runbook_is_valid(first: int) -> None:
    """The replayer finds nothing wrong in any of these runbooks."""
    found = {seed: complaints(seed, compare=False) for seed in range(first, first + CHUNK)}
    assert not {seed: wrong for seed, wrong in found.items() if wrong}


@pytest.mark.parametrize("first", range(1_000_000, 1_000_000 + COMPARED, CHUNK))
def test_no_runbook_is_worse_than_the_best(first: int) -> None:
    """Trying everything finds nothing better, and nothing more that can be moved."""
    found = {seed: complaints(seed, compare=True) for seed in range(first, first + CHUNK)}
    assert not {seed: wrong for seed, wrong in found.items() if wrong}


def test_the_cases_are_of_every_kind() -> None:
    """Settings, one and many addresses, shared addresses and rings are all there, often."""
    cases = [random_case(random.Random(seed)) for seed in range(500)]
    count = {
        "remote": sum(c["setting"] == "remote" for c in cases),
        "apart": sum(c["setting"] == "one-at-a-time" for c in cases),
        "one": sum(not c["many"] for c in cases),
        "aside": sum(any(s.get("temporary") for s in planned(c)["steps"]) for c in cases),
        "shared": sum(
            len({u["present"].split("/")[0] for u in c["devices"].values()}) < len(c["devices"])
            for c in cases
        ),
    }
    assert min(count.values()) > 25, count


def test_the_same_case_gives_the_same_runbook() -> None:
    """Nothing depends on the order of sets or on what was planned before."""
    for seed in range(50):
        case = random_case(random.Random(seed))
        assert planned(case) == planned(case)


def in_words(runbook: dict[str, Any]) -> str:
    """Its steps in a line."""
    steps = []
    for step in runbook["steps"]:
        if step["action"] == "set-laptop":
            steps.append(f"laptop {' '.join(step['addresses'])}")
        elif step["action"] == "connect":
            steps.append(f"connect {step['device'] or 'all'}")
        elif step["action"] == "set-device":
            aside = " aside" if step["temporary"] else ""
            steps.append(f"{step['device']} {step['from']} to {step['to']}{aside}")
        else:
            steps.append(f"confirm {step['device']} {step['address']} not {step['silent']}")
    blocked = [f"blocked {b['device']}: {b['reason']}" for b in runbook["blocked"]]
    return "; ".join((*steps, *blocked))


@pytest.mark.usefixtures("words")
@pytest.mark.parametrize("seed", range(120))
def test_a_plan_gives_the_runbook_that_it_gave(seed: int) -> None:
    """Of equally good ones always the same: who reads it again finds the steps that were agreed."""
    hear(f"{seed}: {in_words(planned(random_case(random.Random(seed))))}")
