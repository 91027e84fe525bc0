"""How often is looked before something is said: in simulated time."""

from __future__ import annotations

from collections.abc import Generator, Iterator

import pytest

from tests.stories.guide import Signals
from verifier.model.runbook import Assessment, Kind
from verifier.session.guide.wait import Stopped, Waiter
from verifier.simulator.memory.loop import MemoryClocks


class Desk:
    """Who watches and answers."""

    def __init__(self, *answers: str | None) -> None:
        self.answers = list(answers)
        self.said: list[str] = []

    def step(self, number: int, *, again: bool = False) -> None:
        raise AssertionError(number, again)

    def say(self, words: str) -> None:
        self.said.append(words)

    def watch(self, words: str, gone_s: float, of_s: float) -> None:
        self.said.append(f"{words} {gone_s:g} of {of_s:g} s")

    def tell(self, meaning: Assessment) -> None:
        raise AssertionError(meaning)

    def ask(self, question: str) -> str | None:
        self.said.append(question)
        return self.answers.pop(0)


@pytest.fixture
def clocks() -> Generator[MemoryClocks, None, None]:
    """Of a world in memory."""
    made = MemoryClocks()
    yield made
    made.close()


WELL = Assessment(kind="right", ok=True, seen="right")
SILENT = Assessment(kind="neither", seen="nobody")
OLD = Assessment(kind="old-still", seen="still there")
OTHER = Assessment(kind="wrong-device", settled=True, seen="another")


@pytest.mark.parametrize(
    ("looks", "hasty", "count", "kind"),
    [
        ([WELL, WELL], True, 2, "right"),
        ([WELL, SILENT, WELL, WELL], True, 4, "right"),
        ([OTHER] * 9, True, 3, "wrong-device"),
        ([OTHER] * 9, False, 5, "wrong-device"),
        ([SILENT] * 9, True, 5, "neither"),
        ([SILENT, OLD] * 20, True, 15, "neither"),
        ([SILENT, SILENT, SILENT, SILENT, WELL, SILENT, SILENT], True, 7, "neither"),
    ],
    ids=["two that all is well", "one of them amid a change", "three of a fault that stays",
         "not told early", "one that may go: over its time", "never the same twice",
         "the last look is well"],
)  # fmt: skip
def test_looks_before_something_is_said(
    clocks, looks: list[Assessment], hasty: bool, count: int, kind: Kind  # noqa: FBT001
) -> None:  # fmt: skip
    """A look begins each second; 4 s of patience, and 10 s more where no two looks agree."""
    desk = Desk()
    coming: Iterator[Assessment] = iter(looks)
    begun_s: list[float] = []

    def look() -> Assessment:
        begun_s.append(clocks.monotonic_s())
        clocks.jump(0.25)
        return next(coming)

    seen = Waiter(desk, Signals(), clocks).poll(look, 3.75, 2, hasty=hasty)
    assert (len(begun_s), seen.kind) == (count, kind)
    assert begun_s == pytest.approx(range(count))


def test_waits_for_what_this_laptop_is_to_hold(clocks) -> None:
    """It looks each second, and says what is missing when the time is over."""
    desk = Desk()
    waiter = Waiter(desk, Signals(), clocks)
    assert not waiter.until_held(lambda: ["198.18.20.250/24"], 3.0, lambda: None)
    words = "this laptop does not hold 198.18.20.250/24"
    assert desk.said == [
        *(f"{words} {n} of 3 s" for n in range(3)),
        f"{words}, 3 s after it was asked for",
    ]
    assert waiter.until_held(list, 3.0, lambda: None)


@pytest.mark.parametrize(
    ("answer", "at_end", "ending"),
    [("q", "input-ended", "interrupted"), ("QUIT", "failed", "failed"), (None, "failed", "failed"),
     (None, "input-ended", "input-ended"), ("", "input-ended", None)],
)  # fmt: skip
def test_asked_whether_it_is_set(clocks, answer, at_end, ending) -> None:
    """Enter goes on, q ends; so does an input without an end."""
    desk = Desk(answer)
    waiter = Waiter(desk, Signals(), clocks)
    if ending is None:
        waiter.ask("set?", at_end)
    else:
        with pytest.raises(Stopped) as stopped:
            waiter.ask("set?", at_end)
        assert stopped.value.ending == ending
