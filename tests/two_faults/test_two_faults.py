"""Two faults at once, with ground truth: what is said of them is never false.

Here a sample by a fixed seed and the pairs that once went wrong; every pair in
`tests/bench/two_faults_bench.py`.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest

from tests.two_faults.judging import complaints
from tests.two_faults.planting import HOP1, HOP2, KINDS, A, B, D, Planted, pairs, places
from tests.two_faults.world import World, world
from verifier.rules.diagnose.faults import FAULTS
from verifier.rules.diagnose.kinds import TRY_FIRST
from verifier.simulator.faults import KINDS as SIMULATED

SAMPLE = random.Random(16).sample(pairs(), 40)
ONCE_WRONG = [
    # a frequency swallowed a low level with its own reason
    (Planted("frequency", A), Planted("level-low", A)),
    # ends swapped, where both serials belong to neither
    (Planted("far-name", A), Planted("far-name", B)),
    (Planted("another", A), Planted("far-name", A)),
    # -4.0 dB explained -6.9 dB
    (Planted("power-a-little-low", A), Planted("level-a-little-low", B)),
    # an unnamed device whose identity is unknown
    (Planted("no-name", D), Planted("unsaved", D)),
    # a test mode beside a path 20 dB low
    (Planted("test-mode", A), Planted("lobe", HOP1)),
    # two swapped devices were exchanged and set up again
    (Planted("hardware-swapped", HOP1), Planted("unsaved", A)),
    # two that happen to be alike, or to cancel out what tells them apart
    (Planted("level-lost", A), Planted("level-lost", B)),
    (Planted("reset", A), Planted("exchanged", A)),
    (Planted("wrong-name", A), Planted("exchanged", A)),
    (Planted("far-name", A), Planted("exchanged", A)),
    (Planted("lobe", HOP1), Planted("polarisation", A)),
    (Planted("level-high", A), Planted("level-low-both", HOP1)),
    (Planted("alignment-left", D), Planted("level-low-both", HOP2)),
    (Planted("lobe", HOP1), Planted("modulation", A)),
    (Planted("planned-level", B), Planted("power-low", A)),
    (Planted("reset", A), Planted("swapped-ends", HOP1)),
    (Planted("far-name", A), Planted("hardware-swapped", HOP1)),
    (Planted("another", D), Planted("clock-free", D)),
    (Planted("half-duplex", A), Planted("port-slow", A)),
    (Planted("modulation", D), Planted("reset", D)),
    (Planted("lobes", HOP2), Planted("management-silent", D)),
    (Planted("address-twice", A), Planted("dead", A)),
    (Planted("echoes-filtered", A), Planted("wrong-privacy", A)),
    (Planted("echoes-filtered", A), Planted("no-answer", A)),
    (Planted("echoes-filtered", A), Planted("other-address", A)),
    (Planted("key", A), Planted("power-set", A)),
]


@pytest.fixture(scope="module")
def network() -> Iterator[World]:
    with world() as made:
        yield made


@pytest.mark.parametrize("pair", [*SAMPLE, *ONCE_WRONG], ids=lambda p: f"{p[0]} and {p[1]}")
def test_nothing_false_is_said_of_two_faults(network: World, pair: tuple[Planted, Planted]) -> None:
    """No certain cause that was not planted, nothing laid at the wrong one, none hidden."""
    judged = network.judged(*pair)
    assert list(complaints(network, pair, judged)) == []


def test_a_sound_network_has_no_cause(network: World) -> None:
    """Everything passes where nothing is planted."""
    judged = network.judged()
    assert {f.verdict for f in judged.findings} == {"pass"}
    assert judged.causes == ()


@pytest.mark.parametrize("kind", KINDS)
def test_one_fault_alone(network: World, kind: str) -> None:
    """It is among the causes if it makes something fail and causes can name it.

    That only the echoes are filtered is said by the finding itself.
    """
    planted = places(kind, A)
    judged = network.judged(planted)
    assert list(complaints(network, [planted], judged)) == []
    if (
        kind != "echoes-filtered"
        and KINDS[kind].names
        and "fail" in {f.verdict for f in judged.findings}
    ):
        assert {c.kind for c in judged.causes} & set(KINDS[kind].names)


CERTAIN = {
    "wrong-name": "name-wrong", "wrong-mask": "mask-wrong", "wrong-gateway": "gateway-wrong",
    "unsaved": "settings-unsaved", "muted": "muted", "test-mode": "test-mode",
    "power-low": "power-low", "frequency": "frequency-wrong",
    "frequencies-crossed": "frequencies-crossed", "swapped-ends": "ends-swapped",
    "hardware-swapped": "devices-swapped", "link-id": "link-id-differs",
    "bandwidth": "bandwidth-differs", "cloned": "engine-id-cloned", "address-twice": "address-twice",
}  # fmt: skip


@pytest.mark.parametrize("kind", CERTAIN)
def test_what_is_read_is_certain(network: World, kind: str) -> None:
    """Of a device that is known by its name and hardware, what it says of itself leaves no doubt."""
    causes = network.judged(places(kind, A)).causes
    assert [c.kind for c in causes if c.certainty == "certain"] == [CERTAIN[kind]]


def test_a_planned_level_against_the_plans_own_sum(network: World) -> None:
    """Found is what the plan's figures add up to: nobody needs to climb."""
    judged = network.judged(Planted("planned-level", A))
    assert [c.kind for c in judged.causes] == ["planned-level-wrong"]
    assert {f.check for f in judged.findings if f.caused_by} == {
        "radio.rx-level",
        "radio.path-loss",
    }


def test_advice_that_would_silence_management_says_so(network: World) -> None:
    """The far end is done first, and who is cut off is named."""
    (cause,) = network.judged(Planted("frequency", A)).causes
    assert (
        "carries the management of mill-hill, mill-pier, mill-switch and 1 more" in cause.try_first
    )
    assert "do mill-hill, the far end, first" in cause.try_first
    (cause,) = network.judged(Planted("frequency", D)).causes
    assert "carries the management of pier-mill, which" in cause.try_first
    (cause,) = network.judged(Planted("unsaved", A)).causes
    assert "carries" not in cause.try_first


def test_enough_faults_and_pairs() -> None:
    """All that the simulator can show in one look, and what the lab does besides."""
    planted = {name for kind in KINDS.values() for name, _ in kind.simulated} | {"wrong-name"}
    # late; seen in a soak only; asked of protected links only, of which this plan has none
    assert set(SIMULATED) - planted == {"slow", "counters-running", "switch-forced"}
    assert len(KINDS) >= 25
    assert len(pairs()) >= 300


def test_every_kind_of_cause_is_in_the_table() -> None:
    """The table is closed: what can be concluded stands in it."""
    assert set(TRY_FIRST) <= set(FAULTS)
