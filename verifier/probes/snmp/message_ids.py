"""Ids of requests and messages: nobody can guess one, and none is used twice while it is open.

An id that counts up lets whoever is asked answer for the one that is asked next. So each is drawn
anew from the system's random numbers (RFC 3416 section 3 and RFC 3412 section 6.2 leave the choice
to the sender), for every engine and device of this process from one place.

pysnmp's own ids count up, so that a neighbour could answer for the next device.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable
from typing import Any

_MOST = 2**31 - 1
"""RFC 3416 section 3 (request-id), RFC 3412 section 6.2 (msgID)."""


class MessageIds:
    """Ids that are open: drawn, and not closed yet.

    Args:
        below: gives a random number from 0 up to, and not including, its argument.
    """

    def __init__(self, below: Callable[[int], int] = secrets.randbelow) -> None:
        self._below = below
        self._open: set[int] = set()

    def draw(self) -> int:
        """A random id from 1 to 2^31-1 that is not open; it is now."""
        while True:
            drawn = self._below(_MOST) + 1
            if drawn not in self._open:
                self._open.add(drawn)
                return drawn

    def close(self, ids: Iterable[int]) -> None:
        """From now on these may be drawn again."""
        self._open.difference_update(ids)


IDS = MessageIds()
"""Of this process: one for all its engines and devices."""


def give_ids(engine: Any, draw: Callable[[], int]) -> None:
    """Makes a pysnmp engine take its message ids from `draw`."""
    for model in engine.message_processing_subsystems.values():
        model._cache.new_message_id = draw  # noqa: SLF001 - there is no public way
