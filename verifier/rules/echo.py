"""What a series of echoes amounts to: loss, round-trip times, jitter."""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

_JITTER_GAIN: Final = 16
"""RFC 3550 6.4.1: each new difference counts a sixteenth."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EchoStats:
    """Figures of at least one echo. Times are of the received ones; infinite if none was.

    Attributes:
        loss_pct: lost part of those sent (RFC 7680 section 4.1, as a percentage).
        median_ms: of an even number the mean of the two in the middle.
        jitter_ms: see `jitter_ms`.
    """

    sent: int
    received: int
    loss_pct: float
    min_ms: float
    average_ms: float
    median_ms: float
    max_ms: float
    jitter_ms: float | None


def echo_stats(rtt_ms: Sequence[float | None]) -> EchoStats:
    """Returns the figures of a series with one round-trip time per echo sent, None for a loss.

    Raises ValueError for an empty one: where nothing was sent there is no loss to speak of.
    """
    if not rtt_ms:
        raise ValueError("no echo was sent: nothing was measured")
    received = [rtt for rtt in rtt_ms if rtt is not None]
    times = received or [math.inf]
    return EchoStats(
        sent=len(rtt_ms),
        received=len(received),
        loss_pct=100.0 * (len(rtt_ms) - len(received)) / len(rtt_ms),
        min_ms=min(times),
        average_ms=statistics.fmean(times),
        median_ms=statistics.median(times),
        max_ms=max(times),
        jitter_ms=jitter_ms(rtt_ms),
    )


def jitter_ms(rtt_ms: Sequence[float | None]) -> float | None:
    """Returns the interarrival jitter of RFC 3550 6.4.1 after the last echo.

    J += (|D| - J) / 16, D the difference of two round-trip times received one after the other
    (losses between them are passed over), J 0 at first. None with fewer than two received.
    """
    received = [rtt for rtt in rtt_ms if rtt is not None]
    if len(received) < 2:  # noqa: PLR2004
        return None
    jitter = 0.0
    for before, after in itertools.pairwise(received):
        jitter += (abs(after - before) - jitter) / _JITTER_GAIN
    return jitter


def percentile_ms(rtt_ms: Sequence[float | None], percent: float) -> float:
    """Returns the smallest time within which `percent` of the echoes sent were answered.

    The empirical distribution of RFC 2330 11.3; a loss counts as infinite (RFC 2681 section 4.1),
    so the result is infinite where too many were lost. Raises ValueError for an empty series and
    for a `percent` outside 0 < percent <= 100.
    """
    if not rtt_ms or not 0 < percent <= 100:  # noqa: PLR2004
        raise ValueError(f"no percentile {percent:g} of {len(rtt_ms)} echoes")
    ordered = sorted(math.inf if rtt is None else rtt for rtt in rtt_ms)
    return ordered[math.ceil(len(ordered) * percent / 100) - 1]
