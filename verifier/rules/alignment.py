"""What the ends of links showed, planned or not; and what two people who align them want to know.

While aligning these are both levels, and how far to go.
"""

from __future__ import annotations

import statistics
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from verifier.errors import UsageError
from verifier.model.kind import ReadingKind
from verifier.model.observations import Observation, reading
from verifier.model.plan import Carrier, End, EndName, Link, Plan, Stage
from verifier.model.profile import Profile, ProfileReading
from verifier.rules.compare.radio.read import find, number_of
from verifier.rules.radio import levels
from verifier.rules.selection import refuse_unknown

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


STALE_S = 3.0
"""A reading older than this says nothing of where the antenna is now."""
_BETTER_DB = 0.1
"""Levels are given in tenths of a decibel; less is no new best."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LatestReading:
    """What one end said last.

    Attributes:
        at_s: when, on the clock that `end_view` is asked with.
        level_dbm: None where it receives nothing, or it could not be read.
        power_dbm: what it transmits now; None where that is not read.
        problem: why there is no level; empty where there is one, or nothing is received.
    """

    at_s: float
    level_dbm: float | None = None
    power_dbm: float | None = None
    problem: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class EndView:
    """One end at one moment.

    Attributes:
        level_dbm: the last level; None: nothing received, or never read (then `problem` says why).
        age_s: since when; None where nothing was ever read.
        stale: the level is too old to steer by.
        expected_dbm: what it should be at this stage, None where `unknown` says why not.
        difference_db: level less expected level.
        highest_dbm: so far.
        best: this reading is a new best.
        window: voltage at the expected level; None where `unknown` or the profile gives none.
        silent: it was read and receives nothing.
    """

    end: EndName
    device: str
    level_dbm: float | None
    age_s: float | None
    stale: bool
    highest_dbm: float | None
    best: bool = False
    silent: bool = False
    expected_dbm: float | None = None
    difference_db: float | None = None
    window: levels.Window | None = None
    unknown: str = ""
    problem: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AlignedCarrier:
    """The carrier that is aligned; `profiles` are those of both ends' devices, by the end."""

    link: Link
    carrier: Carrier
    stage: Stage
    profiles: Mapping[EndName, Profile]


@dataclass(frozen=True, slots=True, kw_only=True)
class EndReadings:
    """What is read of one end, each under its name in the profile; `power` where it has that."""

    level: tuple[str, ProfileReading]
    power: tuple[str, ProfileReading] | None


def chosen(plan: Plan, name: str, carrier: int | None) -> tuple[Link, Carrier]:
    """The link of that name, and its carrier of that number; the first one without a number.

    Raises UsageError where there is none.
    """
    links = {link.name: link for link in plan.links}
    refuse_unknown("link", (name,), list(links))
    link = links[name]
    numbers = [c.carrier for c in link.carriers]
    if carrier is not None and carrier not in numbers:
        raise UsageError(f"link {name!r} has carrier {', '.join(map(str, numbers))}, not {carrier}")
    return link, next(c for c in link.carriers if carrier in (None, c.carrier))


def end_readings(plan: Plan, carrier: Carrier, end: End, profile: Profile) -> EndReadings | str:
    """What is read of an end's device; a text: why its level cannot be read.

    Args:
        plan: with the device and all its carriers.
        carrier: the one that is aligned.
        end: of that carrier.
        profile: of the device.
    """
    device = next(d for d in plan.devices if d.name == end.device)
    radio = end.radio if end.radio is not None else carrier.carrier
    carriers = [c for link in plan.links for c in link.carriers]
    sole = sum(device.name in {c.a.device, c.b.device} for c in carriers) == 1
    if device.snmp is None:
        return "the plan names no credentials entry in `snmp`"
    level = find(profile, "rx_level_dbm", radio, sole=sole)
    if level is None:
        return f"profile {profile.id!r} has no reading rx_level_dbm for radio {radio}"
    return EndReadings(level=level, power=find(profile, "tx_power_dbm", radio, sole=sole))


def standing(last: LatestReading | None, new: LatestReading) -> LatestReading:
    """What stands of an end: one without an answer leaves the last level, to grow old."""
    return last if last is not None and new.problem and not last.problem else new


def rises(highest_dbm: float | None, level_dbm: float | None) -> bool:
    """Whether a level is higher than any before."""
    if level_dbm is None:
        return False
    return highest_dbm is None or level_dbm >= highest_dbm + _BETTER_DB - 1e-9


def end_view(  # noqa: PLR0913
    hop: AlignedCarrier,
    name: EndName,
    latest: Mapping[EndName, LatestReading],
    highest: Mapping[EndName, float],
    now_s: float,
    *,
    best: bool,
) -> EndView:
    """One end as it stands at `now_s`.

    Args:
        hop: what is planned.
        name: the end.
        latest: what stands of each end that was asked.
        highest: the best level of each end so far.
        now_s: on the clock of the readings.
        best: whether its level is a new best that was not told yet.
    """
    other: EndName = "b" if name == "a" else "a"
    ends = dict(hop.carrier.ends())
    near, far = ends[name], ends[other]
    reading, across = latest.get(name), latest.get(other)
    power = across.power_dbm if across is not None else None
    expected = levels.expected_level(near, far, hop.stage, far_power_dbm=power)
    level = reading.level_dbm if reading is not None else None
    known = None if isinstance(expected, str) else expected
    window = None if known is None else levels.line(near, hop.profiles[name], known)
    age_s = None if reading is None or reading.problem else max(0.0, now_s - reading.at_s)
    stale = age_s is not None and age_s > STALE_S
    return EndView(
        end=name,
        device=near.device,
        level_dbm=level,
        age_s=age_s,
        stale=stale,
        highest_dbm=highest.get(name),
        best=best,
        silent=age_s is not None and level is None,
        expected_dbm=None if known is None else known.value,
        difference_db=None if known is None or level is None else level - known.value,
        window=window if isinstance(window, levels.Window) else None,
        unknown=expected if isinstance(expected, str) else "",
        problem=reading.problem if reading is not None else "",
    )
