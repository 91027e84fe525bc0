"""The largest packet that reaches a device whole, by echoes that must not be divided (RFC 1191)."""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from verifier.model.observations import PathMtu
from verifier.probes.echo.burst import Echoer
from verifier.probes.echo.exchange import EchoBurst, EchoTarget
from verifier.probes.echo.packet import payload_bytes

SMALL_BYTES: Final = 84
"""An echo with the usual 56 bytes of payload."""
_TRIES: Final = 3
_INTERVAL_S: Final = 0.1


def path_mtus(
    echoer: Echoer,
    targets: Sequence[EchoTarget],
    planned: int,
    *,
    timeout_s: float,
    stop: threading.Event | None = None,
) -> list[PathMtu]:
    """What reaches each target whole, up to the planned size; `echoer` must send `whole`.

    Where the planned size is not answered, the largest that is is looked for by halving; not where
    this laptop's own interface does not take it.
    Raises CannotMeasureError where a socket is missing.
    """
    probe = _SizeProbe(echoer, targets, timeout_s, stop)
    everyone = range(len(targets))
    first = probe.round(dict.fromkeys(everyone, planned))
    results = [_judged(first[i], planned) if i in first else PathMtu(planned=planned)
             for i in everyone]  # fmt: skip
    doubtful = [i for i in first if not results[i].passed and not results[i].refused]
    small = probe.round(dict.fromkeys(doubtful, SMALL_BYTES))
    low = {i: SMALL_BYTES for i in small if _answered(small[i])}
    high = dict.fromkeys(low, planned)
    while searched := [i for i in low if high[i] - low[i] > 1]:
        tried = {i: _next_try(results[i], low[i], high[i]) for i in searched}
        seen = probe.round(tried)
        if not seen:
            break
        for i, series in seen.items():
            (low if _answered(series) else high)[i] = tried[i]
    return [replace(f, largest=low[i]) if i in low else f for i, f in enumerate(results)]


def _next_try(result: PathMtu, low: int, high: int) -> int:
    """What the router said, and one more; else the middle."""
    if result.next_hop_mtu is not None:
        for size in (result.next_hop_mtu, result.next_hop_mtu + 1):
            if low < size < high:
                return size
    return (low + high) // 2


def _judged(series: EchoBurst, planned: int) -> PathMtu:
    if _answered(series):
        return PathMtu(planned=planned, passed=True, largest=planned)
    silence = next((s for s in series.silences if s.mtu is not None), None)
    return PathMtu(
        planned=planned,
        next_hop_mtu=silence.mtu if silence else None,
        reporter=silence.reporter if silence else None,
        refused=any(s.errno == "EMSGSIZE" for s in series.silences),
    )


def _answered(series: EchoBurst) -> bool:
    return any(rtt is not None for rtt in series.rtt_ms)


@dataclass(frozen=True, slots=True)
class _SizeProbe:
    echoer: Echoer
    targets: Sequence[EchoTarget]
    timeout_s: float
    stop: threading.Event | None

    def round(self, sizes: dict[int, int]) -> dict[int, EchoBurst]:
        """Echoes of a size to each; those of one size together. Empty once `stop` is set."""
        groups: dict[tuple[int, int], list[int]] = defaultdict(list)
        for i, size in sizes.items():
            groups[self.targets[i].address.version, size].append(i)
        seen: dict[int, EchoBurst] = {}
        for (version, size), members in groups.items():
            series = self.echoer.run(
                [self.targets[i] for i in members],
                count=_TRIES,
                interval_s=_INTERVAL_S,
                timeout_s=self.timeout_s,
                payload_bytes=payload_bytes(version, size),
                stop=self.stop,
            )
            if self.stop is not None and self.stop.is_set():
                return {}
            seen.update(zip(members, series, strict=True))
        return seen
