"""The order in which echoes leave: each waits for its time and for the paces of its lane."""

from __future__ import annotations

import math
from collections import deque
from typing import NamedTuple

from verifier.probes.echo.series import Series
from verifier.probes.pace import Slots


class Due(NamedTuple):
    """An echo to be sent, not before `at_s`."""

    at_s: float
    series: Series
    number: int
    tries: int = 1


class Lane:
    """Echoes that wait for the same paces, in order of time.

    Attributes:
        batch: most echoes to send between two looks at the socket.
    """

    def __init__(self, *paces: Slots, batch: int = 32) -> None:
        self.queue: deque[Due] = deque()
        self.batch = batch
        self._paces = tuple(p for p in paces if not p.unlimited)
        self._passed = 0
        self._slot_s = 0.0

    def ready_s(self, now_s: float) -> float:
        """When the first one may leave; no slot is taken before it could be used."""
        if not self.queue:
            return math.inf
        at_s = max(self._slot_s, self.queue[0].at_s)
        while at_s <= now_s and self._passed < len(self._paces):
            at_s = self._slot_s = self._paces[self._passed].slot(now_s)
            self._passed += 1
        return at_s

    def take(self) -> Due:
        """Takes the first one."""
        self._passed = 0
        return self.queue.popleft()
