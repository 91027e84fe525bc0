"""Stories in simulated time, drawn at random: what a command says must be so.

`tests/bench/story_bench.py KIND COUNT SEED` tells many more, and one again by its seed.
"""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from tests.stories import KINDS


@pytest.mark.parametrize("story", KINDS.values(), ids=KINDS)
def test_what_is_said_is_so(story: Callable[[random.Random], None]) -> None:
    """300 stories of each kind; a smaller seed is no simpler story, so none is looked for."""

    @settings(max_examples=300, phases=(Phase.explicit, Phase.reuse, Phase.generate))
    @given(seed=st.integers(0, 2**32 - 1))
    def told(seed: int) -> None:
        story(random.Random(seed))

    told()


@pytest.mark.parametrize(
    ("kind", "seed"),
    [
        ("powercycle", 101396),  # switched off by mistake, and again while it still starts
        ("powercycle", 104294),  # the laptop's cable first, then the device: it is waited for anew
    ],
)
def test_what_was_once_said_wrong(kind: str, seed: int) -> None:
    KINDS[kind](random.Random(seed))
