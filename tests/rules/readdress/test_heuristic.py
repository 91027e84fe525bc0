"""Where the best order is too far to search for: what is said instead is valid, and near the best."""

from __future__ import annotations

import random
from typing import Any

import pytest

from tests.rules.readdress.cases import planned, random_case, task
from tests.rules.readdress.replayer import judge
from tests.rules.readdress.test_random import in_words
from tests.rules.readdress.test_runbook import FIGURES
from tests.said import hear
from verifier.rules.readdress.heuristic import heuristic_order
from verifier.rules.readdress.search import SearchOutcome, best_order
from verifier.rules.readdress.world import Segment

CASES, WHOLE, MORE_LAPTOP = 60, 57, 7
"""Tried; in which nobody is left out; laptop changes beyond the best in these together."""


@pytest.fixture
def too_far(monkeypatch: pytest.MonkeyPatch) -> None:
    """The search comes to its bound, and not to its end."""

    def unfinished(world: Segment) -> SearchOutcome:
        found = best_order(world)
        return found if found.ops is None else found._replace(ops=None, bound=(0, 0))

    monkeypatch.setattr("verifier.rules.readdress.best_order", unfinished)


def cost(runbook: dict[str, Any]) -> tuple[int, int, int]:
    return runbook["device_changes"], runbook["connects"], runbook["laptop_changes"]


LOCAL = [(name, made, figures) for name, made, *figures in FIGURES if made["setting"] != "remote"]
MORE = {"the same, one address": [3, 2, 4], "mask only": [1, 0, 2]}
"""Where it is not as good as the best."""


@pytest.mark.usefixtures("too_far")
@pytest.mark.parametrize(("name", "made", "figures"), LOCAL, ids=[x[0] for x in LOCAL])
def test_small_cases(name: str, made: dict[str, Any], figures: list[int]) -> None:
    """As good as the best, but for two."""
    runbook = planned(made)
    assert judge(made, runbook) == []
    assert list(cost(runbook)) == MORE.get(name, figures)


@pytest.mark.usefixtures("words")
def test_random_cases(request: pytest.FixtureRequest) -> None:
    """Each valid; of those that can be moved nearly all are, at hardly more than the best price."""
    cases = [random_case(random.Random(seed)) for seed in range(3 * CASES)]
    cases = [c for c in cases if c["setting"] != "remote"][:CASES]
    best = [planned(c) for c in cases]
    request.getfixturevalue("too_far")
    made = [planned(c) for c in cases]
    assert [judge(c, r) for c, r in zip(cases, made, strict=True)] == [[]] * len(cases)
    for runbook in made:
        hear(in_words(runbook))
    whole = [(b, r) for b, r in zip(best, made, strict=True) if r["blocked"] == b["blocked"]]
    assert len(whole) >= WHOLE
    sums = [
        tuple(map(sum, zip(*map(cost, runs), strict=True))) for runs in zip(*whole, strict=True)
    ]
    assert sums[1][:2] == sums[0][:2]
    assert sums[1][2] <= sums[0][2] + MORE_LAPTOP


def test_an_address_that_somebody_waits_for_is_no_better_place() -> None:
    """The order comes to its end although the first place for the laptop brings nobody further."""
    made = random_case(random.Random(12))
    world = Segment(task(made), {})
    ops, state = heuristic_order(world)
    assert len(state.status) == len(world.movers)
    assert ops is None or len(ops) < 50
