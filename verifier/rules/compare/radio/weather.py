"""What may account for a reading that is off: weather that a person stated, or unsteady samples.

Readings that came and went while they were taken never pass as their median.

Weather is one of dry, rain, wet snow, ice, fog, stated within 30 minutes of the readings. Dry air
and fog excuse nothing, nor does any other word (dew, wind, frost).
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
import re
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from verifier.model.manual import Entered
from verifier.model.observations import WEATHER, Observation
from verifier.model.plan import Stage
from verifier.model.result import VERDICTS, Finding, Verdict
from verifier.rules.compare.radio.carrier_end import EXACT_DB, CarrierEnd, figure
from verifier.rules.compare.radio.read import Read, moment
from verifier.rules.radio import levels, path

NEAR_S = 1800.0
"""Weather counts for readings so near in time (contract: comparing)."""
FROM_MHZ = 5000.0
"""Below, rain takes nothing that shows (contract: comparing)."""
HEAVIEST_MM_PER_H = 150.0
"""Rain whose rate nobody stated was not heavier: more falls on less than some minutes a year
anywhere (ITU-R P.837 maps; the figure is our own choice)."""
ON_ANTENNAS_DB = 20.0
"""What wet snow or ice on two antennas takes at most. Common practice, no source."""
WORDS: Mapping[str, re.Pattern[str]] = {
    "rain": re.compile(r"\brain(y|s|ing|fall)?\b"),
    "wet snow": re.compile(r"\bwet[\s-]+snow\b"),
    "ice": re.compile(r"\b(ice|icing)\b"),
    "fog": re.compile(r"\bfog(gy)?\b"),
    "dry": re.compile(r"\bdry\b"),
}
"""What weather can be, the most to excuse first."""
_TAKES = ("rain", "wet snow", "ice")
_WITHOUT = re.compile(r"\b(no|not|without)\s+(wet[\s-]+)?\w+")
_RATE = re.compile(r"(\d+(?:[.,]\d+)?)\s*mm\s*(?:/|per|p)?\s*h", re.IGNORECASE)


@dataclasses.dataclass(frozen=True, slots=True)
class Weather:
    """What somebody stated.

    Attributes:
        kinds: which words of `WORDS` it names, in that order.
        mm_per_h: how hard it rains; None: not stated.
    """

    kinds: tuple[str, ...]
    mm_per_h: float | None = None

    @property
    def takes(self) -> bool:
        """Whether it may take anything away."""
        return any(kind in _TAKES for kind in self.kinds)


def weather_of(words: object) -> Weather:
    """What a text says of the weather; without kinds where it names none of them."""
    text = str(words).casefold()
    kept = _WITHOUT.sub(" ", text)
    kinds = tuple(kind for kind, pattern in WORDS.items() if pattern.search(kept))
    rate = _RATE.search(text)
    return Weather(kinds, float(rate[1].replace(",", ".")) if rate is not None else None)


@dataclasses.dataclass(frozen=True, slots=True)
class Excuse:
    """What stated weather may account for.

    Attributes:
        db: so much at most.
        words: the weather and why so much, in words.
        said: what a person entered.
    """

    db: float
    words: str
    said: Observation[Entered]


def excuse(near: CarrierEnd, at: dt.datetime | None) -> Excuse | None:
    """The most that weather stated at either end accounts for at that moment.

    None where nobody stated any but plainly dry weather or fog.
    """
    stated = [o for end in (near, near.across) if (o := _stated(end, at)) is not None]
    found = [_excuse(near, o, at) for o in stated]
    return max((e for e in found if e is not None), key=lambda e: e.db, default=None)


def _stated(near: CarrierEnd, at: dt.datetime | None) -> Observation[Entered] | None:
    """What a person at this end stated nearest to that moment, else last."""
    seen = near.context.seen.all(WEATHER) if near.context is not None else []
    given = [o for o in seen if o.value is not None and o.value.value]
    timed = [(abs((when - at).total_seconds()), n) for n, o in enumerate(given)
             if at is not None and (when := stated_at(o)) is not None]  # fmt: skip
    return given[min(timed)[1]] if timed else given[-1] if given else None


def stated_at(entry: Observation[Entered]) -> dt.datetime | None:
    """The moment an entry is of; None where the person wrote none beside it."""
    return None if entry.value is None or entry.value.timeless else moment(entry.at)


def _excuse(near: CarrierEnd, said: Observation[Entered], at: dt.datetime | None) -> Excuse | None:
    told = said.value.value if said.value is not None else None
    weather, then = weather_of(told), stated_at(said)
    stated = f"stated weather: {told}"
    if weather.kinds and not weather.takes:
        return None
    if not weather.kinds:
        none = f"which is none of {', '.join(WORDS)} and excuses nothing"
        return Excuse(0.0, f"{stated}, {none}", said)
    if then is None or at is None:
        return Excuse(0.0, f"{stated}, without a time beside it, so it excuses nothing", said)
    if (apart_s := abs((then - at).total_seconds())) > NEAR_S:
        apart = f"{apart_s / 60:.0f} min from the readings"
        return Excuse(0.0, f"{stated}, {apart}, so it excuses nothing", said)
    db, why = _most_db(near, weather)
    return Excuse(db, f"{stated}, {why}", said)


def _most_db(near: CarrierEnd, weather: Weather) -> tuple[float, str]:
    """What it takes on this path at most, and why, in words."""
    mhz = near.heard_mhz
    if mhz is not None and mhz < FROM_MHZ:
        return 0.0, f"which takes nothing at {figure(mhz)} MHz"
    found: list[tuple[float, str]] = []
    if "rain" in weather.kinds:
        found.append(_rain_db(near, mhz, weather.mm_per_h))
    if set(weather.kinds) & {"wet snow", "ice"}:
        found.append((ON_ANTENNAS_DB, f"which takes at most {figure(ON_ANTENNAS_DB)} dB"))
    return max(found)


def _rain_db(near: CarrierEnd, mhz: float | None, mm_per_h: float | None) -> tuple[float, str]:
    km = near.km
    if mhz is None or km is None:
        what = "length of the path" if km is None else "frequency"
        return math.inf, f"and how much it may take is not known: the {what} is not planned"
    rate = HEAVIEST_MM_PER_H if mm_per_h is None else mm_per_h
    db = path.most_db(mhz / 1000, rate, km, near.carrier.polarisation)
    at = f"which takes at most {db:.1f} dB on {figure(km)} km (ITU-R P.838-3"
    if mm_per_h is None:
        return db, f"without its mm/h, {at}, by {figure(rate)} mm/h)"
    return db, f"{at})"


def excused(
    near: CarrierEnd, finding: Finding, short_db: float | None = None, at: dt.datetime | None = None
) -> Finding:
    """The finding; where too little arrives and stated weather may explain it: not tested.

    On the bench no weather lies between the devices.

    Args:
        near: the end that receives.
        finding: of what it receives.
        short_db: by how much it is beyond what is allowed; None: as the finding's figures say.
        at: when it was read; None: when the level was.
    """
    if finding.verdict != "fail" or near.sender.transmits is False or near.stage == "bench":
        return finding
    found = excuse(near, _read_at(near) if at is None else at)
    if found is None:
        return finding
    short = _short_db(near, finding) if short_db is None else short_db
    evidence = (*finding.evidence, found.said.id)
    if short is not None and 0 < short <= found.db + EXACT_DB:
        advice = "repeat in dry weather"
        if "without its mm/h" in found.words:
            advice += ", or state how hard it rained, in mm/h"
        return dataclasses.replace(
            finding, verdict="not-tested", reason=f"{finding.reason}; {found.words}",
            advice=advice, evidence=evidence,
        )  # fmt: skip
    more = ": more is missing" if found.db > 0 and short is not None else ""
    return dataclasses.replace(
        finding, reason=f"{finding.reason}; {found.words}{more}", evidence=evidence
    )


def _read_at(near: CarrierEnd) -> dt.datetime | None:
    """When this end's level was last read, else its SNR."""
    for field in ("rx_level_dbm", "snr_db"):
        found = near.read(field)
        moments = [m for o in (found.seen if found else ()) if (m := moment(o.at)) is not None]
        if moments:
            return max(moments)
    return None


_LESS_IS_SHORT = frozenset({"radio.rx-level", "radio.fade-margin", "radio.snr", "radio.xpi"})
_TOLERANT = frozenset({"radio.rx-level", "radio.fade-margin", "radio.path-loss"})
"""Figures that may be off by the level's tolerance."""


def _short_db(near: CarrierEnd, finding: Finding) -> float | None:
    """By how much a figure is beyond what is allowed; None where the finding has no figures."""
    expected, observed = finding.expected, finding.observed
    if not isinstance(expected, float) or not isinstance(observed, float):
        return None
    short = expected - observed if finding.check in _LESS_IS_SHORT else observed - expected
    if finding.check in _TOLERANT and near.context is not None:
        short -= levels.tolerance_db(near.end, near.context.profile)
    return short


DEEP_DB = 3.0
"""A sample that is so far beyond what is allowed is no scatter of readings: our own choice."""
_UNFINISHED: frozenset[Stage] = frozenset({"bench", "alignment"})
"""Where antennas and cables are being moved, what is received comes and goes."""
_ADVICE = (
    "look again, then run a soak: a loose plug, an antenna that moves, fading, interference, or "
    "the far transmitter coming and going"
)


class Wavered(NamedTuple):
    """What is said of a reading that did not hold still."""

    verdict: Verdict
    words: str


def sequence(read: Read) -> str:
    """What each sample showed, in order: `-45.6, nothing, -45.7`."""
    return ", ".join(read.sequence)


def some(read: Read) -> str:
    """The samples of what mostly received nothing, where some did; else empty."""
    return (
        f" in {read.silent} of {len(read.sequence)} samples ({sequence(read)})"
        if read.samples
        else ""
    )


def wavered(
    read: Read | None, stage: Stage, spread_db: float, least: float | None = None
) -> Wavered | None:
    """Whether a figure came and went, and how bad that is; None: it held still.

    Args:
        read: several samples of a level, an SNR or the like.
        stage: where the work has come to.
        spread_db: what its samples may differ among themselves.
        least: what each sample should reach; None: nothing is planned.
    """
    if read is None or not read.samples:
        return None
    values = [value for _, value in read.samples]
    spread = max(values) - min(values)
    low = 0 if least is None else sum(v < least - EXACT_DB for v in values)
    deep = least is not None and min(values) < least - DEEP_DB - EXACT_DB
    count = len(read.sequence)
    words: list[str] = []
    if read.silent:
        words.append(f"nothing was received in {read.silent} of {count} samples")
    if read.lost:
        words.append(f"no value that can be meant in {read.lost} of {count} samples")
    if spread > spread_db + EXACT_DB:
        words.append(f"the samples lie {spread:.1f} dB apart, allowed {figure(spread_db)} dB")
    if low and (low < count or words):
        words.append(f"{low} of {count} samples are below {figure(round(least or 0.0, 1))}")
    if not words:
        return None
    bad = bool(read.silent) or deep
    verdict: Verdict = "fail" if bad and stage not in _UNFINISHED else "warn"
    return Wavered(verdict, f"it came and went: {'; '.join(words)} ({sequence(read)})")


def held(finding: Finding, found: Wavered | None) -> Finding:
    """The finding, which does not pass where what it rests on did not hold still.

    What is not tested for another reason stays so.
    """
    if found is None:
        return finding
    worse = min(finding.verdict, found.verdict, key=VERDICTS.index)
    if finding.verdict == "not-tested":
        worse = "not-tested"
    return dataclasses.replace(
        finding,
        verdict=worse,
        reason=f"{finding.reason}; {found.words}",
        advice=finding.advice if finding.verdict == "fail" else finding.advice or _ADVICE,
    )


def at_least(finding: Finding, read: Read | None, *, more_is_right: bool = False) -> Finding:
    """The finding of a reading at the end of its scale, which means *at least*.

    What is too low may not be so; what is as planned may be more, which is right only of a figure
    that has no upper limit.
    """
    if read is None or not read.at_least or (finding.verdict == "pass" and more_is_right):
        return finding
    verdict: Verdict = "not-tested" if finding.verdict == "fail" else finding.verdict
    return dataclasses.replace(
        finding,
        verdict="warn" if verdict == "pass" else verdict,
        reason=f"{finding.reason}; {figure(read.number or 0.0)} is the end of the reading's scale "
        "and means at least so much",
        advice=finding.advice or "measure it with an instrument that shows more",
    )


def by_median(finding: Finding, found: Iterable[Wavered | None]) -> Finding:
    """A finding made of the median of what did not hold still: it cannot pass."""
    words = [w.words for w in found if w is not None]
    if finding.verdict != "pass" or not words:
        return finding
    reason = f"{finding.reason}; this is a median, and {words[0]}"
    return dataclasses.replace(finding, verdict="warn", reason=reason, advice=_ADVICE)
