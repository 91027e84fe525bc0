"""Blocks of a soak: places, edges of minutes, and a time of day that is set meanwhile."""

from __future__ import annotations

import datetime as dt
import queue
from typing import Any

import pytest

from verifier.model.problem import Subject
from verifier.rules.soak.tally import rows, soaked
from verifier.session.soak.blocks import EchoBlocks, GridTarget, ValueBlocks

NOON = dt.datetime(2026, 11, 24, 12, 0, tzinfo=dt.UTC)
DEVICE = Subject("device", "lighthouse-quarry")
ROWS = [
    GridTarget(subject=DEVICE, path="management", bytes=size, interface="eth0")
    for size in (84, 1500)
]


class Watched:
    """Blocks with clocks in the test's hand."""

    def __init__(self, step_s: float = 1.0, block_s: float = 60.0) -> None:
        self.ready: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self.ahead_s = 0.0
        self.blocks = EchoBlocks(ROWS, step_s, 1.0, self.ready, self._clock, block_s)

    def _clock(self) -> dt.datetime:
        return NOON + dt.timedelta(seconds=self.blocks.now_s + self.ahead_s)

    def taken(self, kind: str | None = None) -> list[Any]:
        found = []
        while not self.ready.empty():
            found.append(self.ready.get())
        return [b for b in found if kind in (None, b["kind"])]


def test_one_block_for_each_row_and_minute() -> None:
    """Each echo at its place, lost ones null, those that never were -1."""
    watch = Watched()
    for slot in range(125):
        watch.blocks.tick(float(slot))
        watch.blocks.heard(0, slot, 1000 + slot)
        if slot % 10:
            watch.blocks.unheard(1, slot, "lost", "no reply in time")
    watch.blocks.tick(126.0)
    watch.blocks.finish()
    blocks = watch.taken("echo")
    assert [(b["bytes"], b["start_s"], len(b["rtt_us"])) for b in blocks] == [
        (84, 0.0, 60), (1500, 0.0, 60), (84, 60.0, 60), (1500, 60.0, 60), (84, 120.0, 5), (1500, 120.0, 5),
    ]  # fmt: skip
    assert blocks[2]["rtt_us"] == list(range(1060, 1120))
    assert blocks[3]["rtt_us"][:3] == [-1, None, None]
    assert blocks[3]["silence"] == {"no reply in time": 54}
    assert blocks[2]["at"] == "2026-11-24T12:01:00.000Z"


@pytest.mark.parametrize("ahead_s", [-3600.0, 3600.0, 90.0])
def test_a_time_of_day_that_is_set_moves_no_place(ahead_s: float) -> None:
    """An hour back or forth in the middle: a line says so, and every place stays where it is."""
    watch = Watched()
    for slot in range(60):
        if slot == 30:
            watch.ahead_s = ahead_s
        watch.blocks.tick(float(slot))
        watch.blocks.heard(0, slot, 1000)
    watch.blocks.finish()
    blocks = watch.taken()
    (stepped,) = (b for b in blocks if b["kind"] == "clock")
    assert stepped["stepped_s"] == pytest.approx(ahead_s)
    (figures,) = soaked(blocks).of(DEVICE)
    assert (figures.sent, figures.lost, figures.not_counted) == (60, 0, 0)


def test_a_slow_clock_is_not_set() -> None:
    """NTP that slews by half a second a second is nothing to tell of."""
    watch = Watched()
    for slot in range(60):
        watch.ahead_s = slot * 0.5
        watch.blocks.tick(float(slot))
    assert not watch.taken("clock")


def test_a_minute_without_anything_is_no_block() -> None:
    """The laptop slept: the time before and after is there, at its place."""
    watch = Watched()
    for slot in (0, 1, 2, 200, 201):
        watch.blocks.tick(float(slot))
        watch.blocks.heard(0, slot, 1000)
    watch.blocks.gap(2.5, 199.5, None)
    watch.blocks.tick(202.0)
    watch.blocks.finish()
    blocks = watch.taken()
    assert [b["start_s"] for b in blocks if b["kind"] == "echo"] == [0.0, 180.0]
    found = soaked(blocks)
    assert found.gaps[0].long_s == pytest.approx(197.0)
    assert found.of(DEVICE)[0].sent == 5
    assert found.last_s == pytest.approx(202.0, abs=1.0)


def test_an_interface_concerns_those_behind_it() -> None:
    """A gap of another interface names nobody here."""
    watch = Watched()
    watch.blocks.gap(1.0, 2.0, "eth0")
    watch.blocks.gap(1.0, 2.0, "wlan0")
    assert [b["targets"] for b in watch.taken("gap")] == [[DEVICE.name], []]


def test_values_go_over_by_the_minute() -> None:
    """Series that a device stopped to give are null there; speeds go with each block."""
    taken: list[Any] = []
    values = ValueBlocks(DEVICE, taken.append, lambda: NOON)
    values.speeds["eth1"] = 1000.0
    for at_s in range(0, 90, 10):
        values.add(
            float(at_s), {"sysUpTime": at_s} | ({"rx_level_dbm": -45.0} if at_s < 30 else {})
        )
    values.hand_over(90.0)
    assert [b["t_s"] for b in taken] == [[0.0, 10.0, 20.0, 30.0, 40.0, 50.0], [60.0, 70.0, 80.0]]
    assert taken[0]["series"]["rx_level_dbm"] == [-45.0] * 3 + [None] * 3
    assert taken[1]["speeds"] == {"eth1": 1000.0}


def test_a_series_that_stands_still_is_one_value() -> None:
    """It reads as before; zero and "nothing received" are not the same."""
    taken: list[Any] = []
    values = ValueBlocks(DEVICE, taken.append, lambda: NOON)
    said: list[Any] = [{"ifInErrors eth1": 7, "rx_level_dbm": v} for v in (0, False, 0)]
    for number, row in enumerate(said):
        values.add(number * 10.0, row)
    values.hand_over(30.0)
    (block,) = taken
    assert block["series"]["ifInErrors eth1"] == [7]
    assert [row for _, row in rows(block)] == said
    assert block["series"]["rx_level_dbm"][1] is False
