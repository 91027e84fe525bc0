"""Topics are found by what a person types."""

from __future__ import annotations

import pytest

from verifier.files.explain import load_topics

TOPICS = load_topics(("verify", "fit"))


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("radio.rx-level", "radio.rx-level"), ("RADIO.rx_level", "radio.rx-level"),
        ("plan.gateway-outside-subnet", "gateway-outside-subnet"),
        ("gateway outside subnet", "gateway-outside-subnet"),
        ("3", "exit-3"), ("exit 3", "exit-3"), ("exit-3", "exit-3"),
        ("not tested", "not-tested"), ("near the limit", "near the limit"), ("verify", "verify"),
    ],
)  # fmt: skip
def test_found(typed: str, name: str) -> None:
    found = TOPICS.find(typed)
    assert found is not None
    assert found.name == name


@pytest.mark.parametrize(
    ("typed", "near"),
    [
        ("radio.rx-levl", "radio.rx-level"), ("rx-level", "radio.rx-level"),
        ("gateway-outside", "gateway-outside-subnet"), ("mask", "address.mask"),
        ("verfy", "verify"),
    ],
)  # fmt: skip
def test_near(typed: str, near: str) -> None:
    assert TOPICS.find(typed) is None
    assert near in TOPICS.near(typed)


def test_what_is_like_nothing_has_nothing_near() -> None:
    assert TOPICS.near("qqqqqqqq") == []


def test_kinds_follow_from_the_page() -> None:
    kinds = {
        n: TOPICS.by_name[n].kind for n in ("verify", "soak", "muted", "sound", "bench", "exit-0")
    }
    assert kinds == {"verify": "command", "soak": "topic", "muted": "cause", "sound": "state",
                     "bench": "stage", "exit-0": "exit"}  # fmt: skip
    assert TOPICS.by_name["muted"].about == "The transmitter is off."
