"""A planned neighbour answers for others: nothing passes or fails through it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import Literal

import pytest

from tests.session.hostile_rounds import ABSENT, Company, company

ROUNDS = 4
"""Of each command here; `tests/bench/hostile_bench.py` plays 1,000."""


@pytest.fixture(scope="module")
def bad(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Company]:
    with company(tmp_path_factory.mktemp("bad"), look=os.geteuid() == 0) as made:
        yield made


@pytest.mark.parametrize("command", ["verify", "sweep"])
def test_nothing_passes_or_fails_through_a_neighbour(
    bad: Company, command: Literal["verify", "sweep"]
) -> None:
    """Right devices pass, wrong names fail, and who is absent stays silent, whatever it sends."""
    before = bad.forged
    for n in range(ROUNDS):
        right, found = bad.round(command, with_absent=n == 0)
        assert found == right
    assert bad.forged > before


def test_the_company_is_what_it_is_said_to_be(bad: Company) -> None:
    """So that the rounds can fail: some pass, some fail, one is silent and answered for."""
    right, _ = bad.round("verify", with_absent=True)
    names = {name: right["identity.name", name, None][0] for name in ("lighthouse", "quarry", "harbour",
             "signed", "castle", "museum", ABSENT)}  # fmt: skip
    assert names == {
        "lighthouse": "pass", "quarry": "pass", "harbour": "pass", "signed": "pass",
        "castle": "fail", "museum": "fail", ABSENT: "not-tested",
    }  # fmt: skip
    assert right["snmp.answer", ABSENT, None] == ("fail", "silent")
    assert not [key for key in right if key[0] == "snmp.responder"]
