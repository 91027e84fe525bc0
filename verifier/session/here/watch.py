"""Looks again until it is right: through a reboot, a swap of cables, the next device."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from verifier.model.here import HereResult
from verifier.session.here.request import HereRequest
from verifier.session.here.run import Hold, here
from verifier.session.world import World

EVERY_S = 1.0
"""Pause between two looks."""
_LISTENS_S = 3.0
"""So long a look goes on where nobody was found for some looks: slips are asked, frames heard."""
_QUICK_LOOKS = 3
Show = Callable[[HereResult], None]


def watch(
    request: HereRequest,
    world: World,
    hold: Hold,
    show: Show,
    *,
    ring: Callable[[], None] | None = None,
) -> HereResult:
    """Looks until a device is right; the last look.

    Args:
        request: what is looked for.
        world: what is asked.
        hold: addresses that are borrowed over all looks.
        show: takes each look.
        ring: called for each device that has become right; then it goes on to the next one, until
            it is interrupted. None: it ends with the first.

    Raises as `here`.
    """
    clocks = world.clocks
    missed_s: float | None = None
    empty = 0
    right: set[str] = set()
    while True:
        began_s = clocks.monotonic_s()
        quick = empty % (_QUICK_LOOKS + 1) != _QUICK_LOOKS
        result = here(replace(request, looks_s=_LISTENS_S), world, hold, quick=quick)
        if result.state == "found":
            missed_s, empty = None, 0
        else:
            missed_s, empty = began_s if missed_s is None else missed_s, empty + 1
            for_s = round(clocks.monotonic_s() - missed_s, 1)
            result = replace(result, sought_s=for_s)
        result = replace(result, watching=True)
        show(result)
        now_right = {d.who for d in result.devices if d.verdict == "pass"}
        if result.interrupted or (ring is None and result.verdict == "pass"):
            return result
        if ring is not None and now_right - right:
            ring()
        right = now_right
        clocks.pause(EVERY_S)
