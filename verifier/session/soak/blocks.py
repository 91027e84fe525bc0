"""From single echoes and samples to blocks: one for each target and minute."""

from __future__ import annotations

import datetime as dt
import queue
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import Final, Literal

from verifier.model.samples import (
    Block,
    BlockSubject,
    Sample,
)
from verifier.model.subject import Subject
from verifier.probes.echo.watch import Unheard
from verifier.rules.soak.tally import NOT_COUNTED
from verifier.session.recorder import Clock, timestamp
from verifier.session.soak.grid import GridTarget

BLOCK_S: Final = 60.0
_MARGIN_S: Final = 0.5
"""How late an echo may leave and still be in its block when that is handed over."""
_STEP_S: Final = 1.0
"""A clock that is off by more than this since the last look was set, not slewed."""
_LOOK_S: Final = 1.0


def subject_value(subject: Subject) -> BlockSubject:
    """A subject as a block has it."""
    return {"kind": "host" if subject.kind == "host" else "device", "name": subject.name}


class _Part:
    """A row's places of the block in the making."""

    def __init__(self, places: int) -> None:
        self.rtt_us: list[int | None] = [NOT_COUNTED] * places
        self.extra = {"duplicates": 0, "reordered": 0}
        self.silence: Counter[str] = Counter()


class EchoBlocks:
    """Takes echoes from the thread that measures and puts finished blocks into a queue.

    Args:
        rows: what the grid's rows are about.
        step_s, timeout_s: of the grid.
        ready: takes the blocks.
        clock: the time of day, for their `at`, and to see it set.
        block_s: length of a block.
    """

    def __init__(  # noqa: PLR0913, PLR0917
        self,
        rows: Sequence[GridTarget],
        step_s: float,
        timeout_s: float,
        ready: queue.SimpleQueue[Block],
        clock: Clock,
        block_s: float = BLOCK_S,
    ) -> None:
        self._rows, self._step_s = rows, step_s
        self._late_s = step_s + timeout_s + _MARGIN_S
        self._places = max(1, round(block_s / step_s))
        self._ready, self._clock = ready, clock
        self._parts: dict[int, dict[int, _Part]] = {}
        self._offset_s: float | None = None
        self._looked_s = -_LOOK_S
        self._handed = 0
        self.now_s = 0.0
        self.sent = self.lost = 0

    def heard(self, index: int, slot: int, rtt_us: int) -> None:
        """See `icmp_watch.Sink`."""
        part, place = self._at(index, slot)
        if part is not None:
            part.rtt_us[place] = rtt_us
            self.sent += 1

    def unheard(self, index: int, slot: int, what: Unheard, why: str) -> None:
        """See `icmp_watch.Sink`."""
        part, place = self._at(index, slot)
        if part is None:
            return
        part.silence[why] += 1
        if what == "lost":
            part.rtt_us[place] = None
            self.sent += 1
            self.lost += 1

    def again(self, index: int, what: Literal["duplicates", "reordered"]) -> None:
        """See `icmp_watch.Sink`; it goes into the block in the making."""
        part, _ = self._at(index, int(self.now_s / self._step_s))
        if part is not None:
            part.extra[what] += 1

    def gap(self, start_s: float, end_s: float, interface: str | None) -> None:
        """See `icmp_watch.Sink`."""
        targets = {r.subject.name: None for r in self._rows if interface in (None, r.interface)}
        what = "this program was stopped, or this laptop slept"
        if interface is not None:
            what = f"this laptop's interface {interface} was down"
        self._ready.put({
            "kind": "gap",
            "at": self._at_time(end_s - start_s),
            "start_s": round(start_s, 3),
            "end_s": round(end_s, 3),
            "why": "stopped" if interface is None else "interface",
            "text": what,
            "targets": list(targets),
        })  # fmt: skip

    def tick(self, now_s: float) -> None:
        """See `icmp_watch.Sink`."""
        self.now_s = now_s
        if now_s >= self._looked_s + _LOOK_S:
            self._looked_s = now_s
            self._look_at_clock()
        while now_s > (self._handed + 1) * self._places * self._step_s + self._late_s:
            self._hand_over(self._places)

    def finish(self) -> None:
        """Hands over what is begun; no echo may come any more."""
        passed = int(self.now_s / self._step_s)
        while self._parts:
            left = passed + 1 - self._handed * self._places
            self._hand_over(max(1, min(self._places, left)))

    def _at(self, index: int, slot: int) -> tuple[_Part | None, int]:
        number, place = divmod(slot, self._places)
        if number < self._handed:
            return None, place
        block = self._parts.setdefault(number, {})
        if index not in block:
            block[index] = _Part(self._places)
        return block[index], place

    def _hand_over(self, places: int) -> None:
        start_s = self._handed * self._places * self._step_s
        for index, part in sorted(self._parts.pop(self._handed, {}).items()):
            row = self._rows[index]
            rtt_us = part.rtt_us[:places]
            while places < self._places and rtt_us and rtt_us[-1] == NOT_COUNTED:
                rtt_us.pop()
            self._ready.put({
                "kind": "echo",
                "subject": subject_value(row.subject),
                "path": row.path,
                "bytes": row.bytes,
                "at": self._at_time(self.now_s - start_s),
                "start_s": round(start_s, 3),
                "step_s": self._step_s,
                "rtt_us": rtt_us,
                "silence": dict(part.silence),
                "duplicates": part.extra["duplicates"],
                "reordered": part.extra["reordered"],
            })  # fmt: skip
        self._handed += 1

    def _at_time(self, ago_s: float) -> str:
        return timestamp(self._clock() - dt.timedelta(seconds=ago_s))

    def _look_at_clock(self) -> None:
        """The time of day against the clock that nobody sets."""
        offset_s = self._clock().timestamp() - self.now_s
        if self._offset_s is not None and abs(offset_s - self._offset_s) > _STEP_S:
            self._ready.put({
                "kind": "clock",
                "at": self._at_time(0.0),
                "at_s": round(self.now_s, 3),
                "stepped_s": round(offset_s - self._offset_s, 3),
            })  # fmt: skip
        self._offset_s = offset_s


class ValueBlocks:
    """Collects the samples of one device and hands over a block a minute."""

    def __init__(
        self,
        subject: Subject,
        put: Callable[[Block], None],
        clock: Clock,
        block_s: float = BLOCK_S,
    ) -> None:
        self._subject, self._put, self._clock = subject, put, clock
        self._block_s = block_s
        self._t_s: list[float] = []
        self._rows: list[Mapping[str, Sample]] = []
        self.speeds: dict[str, float] = {}

    def add(self, at_s: float, row: Mapping[str, Sample]) -> None:
        """Takes a sample."""
        if self._t_s and int(at_s / self._block_s) != int(self._t_s[0] / self._block_s):
            self.hand_over(at_s)
        self._t_s.append(round(at_s, 3))
        self._rows.append(row)

    def hand_over(self, now_s: float) -> None:
        """Hands over what is begun."""
        if not self._t_s:
            return
        names = dict.fromkeys(name for row in self._rows for name in row)
        ago = dt.timedelta(seconds=now_s - self._t_s[0])
        self._put({
            "kind": "values",
            "subject": subject_value(self._subject),
            "at": timestamp(self._clock() - ago),
            "t_s": self._t_s,
            "series": {name: _short([row.get(name) for row in self._rows]) for name in names},
            "speeds": dict(self.speeds),
        })  # fmt: skip
        self._t_s, self._rows = [], []


def _short(values: list[Sample]) -> list[Sample]:
    """One value stands for all where they are equal: most counters stand still."""
    first = values[0]
    same = all(v is first or (v == first and type(v) is type(first)) for v in values)
    return values[:1] if same else values
