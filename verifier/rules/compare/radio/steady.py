"""Readings that came and went while they were taken never pass as their median."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import NamedTuple

from verifier.model.plan import Stage
from verifier.model.result import VERDICTS, Finding, Verdict
from verifier.rules.compare.radio.carrier_end import EXACT_DB, figure
from verifier.rules.compare.radio.read import Read

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
