"""What two people on two masts want to know while they align: both levels, and how far to go."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from verifier.model.plan import Carrier, EndName, Link, Stage
from verifier.model.profile import Profile
from verifier.rules.radio import levels, voltage

STALE_S = 3.0
"""A reading older than this says nothing of where the antenna is now."""
_BETTER_DB = 0.1
"""Levels are given in tenths of a decibel; less is no new best."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What one end said last.

    Attributes:
        at_s: when, on the clock that `view` is asked with.
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
    window: voltage.Window | None = None
    unknown: str = ""
    problem: str = ""


@dataclass
class Peaks:
    """Both ends of one carrier, and what was seen of them so far.

    Attributes:
        profiles: of both ends' units, by the end.
        latest: the last reading of each end that was read at all.
        highest: the best level of each end.
    """

    link: Link
    carrier: Carrier
    stage: Stage
    profiles: Mapping[EndName, Profile]
    latest: dict[EndName, Reading] = field(default_factory=dict)
    highest: dict[EndName, float] = field(default_factory=dict)
    _best: set[EndName] = field(default_factory=set)

    def take(self, end: EndName, reading: Reading) -> None:
        """Takes in a reading. One without an answer leaves the last level standing, to grow old."""
        last = self.latest.get(end)
        if reading.problem and last is not None and not last.problem:
            return
        self.latest[end] = reading
        level, before = reading.level_dbm, self.highest.get(end)
        if level is not None and (before is None or level >= before + _BETTER_DB - 1e-9):
            self.highest[end] = level
            if before is not None:
                self._best.add(end)

    def view(self, now_s: float) -> tuple[EndView, EndView]:
        """Both ends as they stand; a new best is told once."""
        best, self._best = self._best, set()
        made = [self._end(name, now_s, best=name in best) for name, _ in self.carrier.ends()]
        return made[0], made[1]

    def _end(self, name: EndName, now_s: float, *, best: bool) -> EndView:
        other: EndName = "b" if name == "a" else "a"
        ends = dict(self.carrier.ends())
        near, far = ends[name], ends[other]
        reading, across = self.latest.get(name), self.latest.get(other)
        power = across.power_dbm if across is not None else None
        expected = levels.expected_level(near, far, self.stage, far_power_dbm=power)
        level = reading.level_dbm if reading is not None else None
        known = None if isinstance(expected, str) else expected
        window = None if known is None else levels.line(near, self.profiles[name], known)
        age_s = None if reading is None or reading.problem else max(0.0, now_s - reading.at_s)
        stale = age_s is not None and age_s > STALE_S
        return EndView(
            end=name,
            device=near.device,
            level_dbm=level,
            age_s=age_s,
            stale=stale,
            highest_dbm=self.highest.get(name),
            best=best,
            silent=age_s is not None and level is None,
            expected_dbm=None if known is None else known.value,
            difference_db=None if known is None or level is None else level - known.value,
            window=window if isinstance(window, voltage.Window) else None,
            unknown=expected if isinstance(expected, str) else "",
            problem=reading.problem if reading is not None else "",
        )
