"""What the ends of links showed, whether or not the plan wants it: figures beside the findings."""

from __future__ import annotations

import statistics
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from verifier.model.kind import ReadingKind
from verifier.model.observations import Observation, reading
from verifier.model.plan import Carrier, End, Plan
from verifier.rules.compare.radio.read import number_of

_SHOWN = frozenset(
    """
    tx_mhz tx_power_dbm rx_level_dbm snr_db tx_modulation key_capacity_mbps current_capacity_mbps
    serial part_number software
    """.split()  # noqa: SIM905 - reads better than ten quoted names
)
"""Reading fields that a report shows of an end."""


class Live:
    """Readings of the ends, from the observations of a run.

    Args:
        plan: which radios a device has.
        observations: all of the run.
    """

    def __init__(self, plan: Plan, observations: Iterable[Observation[object]]) -> None:
        self._seen: dict[tuple[str, ReadingKind], list[Observation[object]]] = defaultdict(list)
        for seen in observations:
            if (
                isinstance(kind := seen.kind, ReadingKind)
                and kind.field in _SHOWN
                and not seen.before
            ):
                self._seen[seen.subject.name, kind].append(seen)
        self._radios: Mapping[str, set[int]] = defaultdict(set)
        for link in plan.links:
            for carrier in link.carriers:
                for _, end in carrier.ends():
                    self._radios[end.device].add(_radio(carrier, end))

    def at(self, carrier: Carrier, end: End) -> LiveReadings:
        """What one end of a carrier showed."""
        return LiveReadings(
            self._seen, end.device, _radio(carrier, end), len(self._radios[end.device])
        )


@dataclass(frozen=True, slots=True)
class LiveReadings:
    """Readings of one radio of a device.

    Attributes:
        seen: observations by device and by what is read.
        radios: so many radios the device has by the plan.
    """

    seen: Mapping[tuple[str, ReadingKind], Sequence[Observation[object]]]
    device: str
    radio: int
    radios: int

    def number(self, field: str) -> float | None:
        """The median of what was shown; None where most of it was no number."""
        found = [number_of(o.value) for o in self._of(field)]
        known = [value for value in found if value is not None]
        return statistics.median(known) if len(known) * 2 > len(found) else None

    def word(self, field: str) -> str | None:
        """The last that was shown; None where that was nothing, or an empty text."""
        found = self._of(field)
        value = found[-1].value if found else None
        return None if value is None else str(value).strip() or None

    def _of(self, field: str) -> Sequence[Observation[object]]:
        """Observations of a field, under the names that `Profile.named_readings` gives."""
        for name in (f"{field} radio:{self.radio}", f"{field} {self.radio}"):
            if (found := self.seen.get((self.device, reading(name)))) is not None:
                return found
        own = self.radio == 1 or self.radios == 1
        return self.seen.get((self.device, reading(field)), ()) if own else ()


def _radio(carrier: Carrier, end: End) -> int:
    """The N of `radio:N`."""
    return carrier.carrier if end.radio is None else end.radio
