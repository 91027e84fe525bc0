"""Message ids that no other process of this program has used a moment ago.

pysnmp counts its ids from where the process stood that was forked: each sweep would ask with those
of the one before, in another order, and a late answer of one unit could be taken for another's.
"""

from __future__ import annotations

import os
import secrets
from typing import Any

_MOST = 2**31 - 1
"""RFC 3416 section 3 (request-id), RFC 3412 section 6.2 (msgID)."""


class MessageIds:
    """Counts up from a random number; anew in each forked process."""

    def __init__(self) -> None:
        self.begin()

    def begin(self) -> None:
        """Goes on from another random number."""
        self._last = secrets.randbelow(_MOST)

    def __call__(self) -> int:
        """The next id."""
        self._last = self._last % _MOST + 1
        return self._last


_IDS = MessageIds()
if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_IDS.begin)


def give_ids(engine: Any) -> None:
    """Makes a pysnmp engine take its message ids here."""
    for model in engine.message_processing_subsystems.values():
        model._cache.new_message_id = _IDS  # noqa: SLF001 - there is no public way
