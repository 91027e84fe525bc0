"""The state of this machine's interfaces during a long measurement: what they may have lost."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from verifier.probes.laptop.look import LinkState

SETTLE_S: Final = 3.0
"""How long after an interface came up again a missing reply is still put down to it: the switch
port and the neighbour's entry come first."""


@dataclass(slots=True)
class _Link:
    """An interface. `good_s`: when it was last seen up, monotonic, and on the grid's clock."""

    state: LinkState
    good_s: tuple[float, float] | None = None
    down_from_s: float | None = None
    doubt: tuple[float, float] = (0.0, 0.0)


class Links:
    """The state of this machine's interfaces, looked at again and again."""

    def __init__(self, names: set[str], look: Callable[[str], LinkState]) -> None:
        self._look = look
        self._links: Mapping[str, _Link] = {name: _Link(look(name)) for name in sorted(names)}

    def is_up(self, name: str) -> bool:
        """Whether it was up when it was last looked at."""
        return self._links[name].state.up

    def look(
        self, now_s: float, monotonic_s: float
    ) -> list[tuple[str, tuple[float, float] | None]]:
        """Looks at all; those that were down since the last look, and the time if it is over."""
        found: list[tuple[str, tuple[float, float] | None]] = []
        for name, link in self._links.items():
            state = self._look(name)
            flapped = state.changes != link.state.changes
            good_s, good_monotonic_s = link.good_s or (now_s, monotonic_s)
            if link.down_from_s is None and (not state.up or flapped):
                link.down_from_s = good_s
                link.doubt = (good_monotonic_s, float("inf"))
            if link.down_from_s is not None and state.up:
                found.append((name, (link.down_from_s, now_s)))
                link.down_from_s = None
                link.doubt = (link.doubt[0], monotonic_s)
            if state.up:
                link.good_s = now_s, monotonic_s
            link.state = state
        return found

    def still_down(self) -> dict[str, float]:
        """Interfaces that are down, each with the grid's time since when."""
        return {n: k.down_from_s for n, k in self._links.items() if k.down_from_s is not None}

    def doubts(self, name: str, sent_s: float, settled_s: float) -> bool:
        """Whether an echo sent then, unanswered, may be this interface's fault.

        Until the first reply after it came up again, `SETTLE_S` at most, it still may.
        """
        start_s, end_s = self._links[name].doubt
        if start_s <= sent_s <= end_s:
            return True
        return end_s < sent_s <= end_s + SETTLE_S and settled_s <= end_s
