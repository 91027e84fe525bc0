"""Stories in simulated time, drawn at random: what a command says must be so.

`tests/bench/story_bench.py KIND COUNT SEED` tells many more, and one again by its seed.
"""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.stories import KINDS

settings.register_profile("stories", max_examples=300, deadline=None)


@pytest.mark.parametrize("story", KINDS.values(), ids=KINDS)
def test_what_is_said_is_so(story: Callable[[random.Random], None]) -> None:
    """300 stories of each kind."""

    @settings(max_examples=300, deadline=None)
    @given(st.randoms(use_true_random=False))
    def told(chance: random.Random) -> None:
        story(chance)

    told()
