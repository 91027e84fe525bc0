"""Finds a device that does not answer where it should: where to look, who is there, what it means.

`slips` and `candidates` say where to look, `identity` who is at an address, `places` which of them
is the device's, `verdict` what that means. Nothing is sent from here.
"""

from __future__ import annotations

from verifier.rules.search.candidates import MAX_CANDIDATES, candidates, heard
from verifier.rules.search.identity import (
    Sought,
    chosen,
    identify,
    reaching,
    routers,
    tag_of,
    taken_for,
)
from verifier.rules.search.verdict import judge

__all__ = [
    "MAX_CANDIDATES",
    "Sought",
    "candidates",
    "chosen",
    "heard",
    "identify",
    "judge",
    "reaching",
    "routers",
    "tag_of",
    "taken_for",
]
