"""What the samples of a soak amount to: one pass over its blocks, little is kept.

A block is one line of the journal, see `model/samples.py`. The blocks come from the journal, so
memory does not grow with the time, but by 4 bytes an echo at the end.
"""

from __future__ import annotations

import math
from array import array
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from verifier.model.problem import Subject
from verifier.model.samples import (
    Block,
    BlockSubject,
    EchoBlock,
    GapBlock,
    Sample,
    SoakCourse,
    ValuesBlock,
)
from verifier.rules.soak.counters import DeviceTally

NOT_COUNTED: Final = -1
_LOST: Final = (1 << 31) - 1
"""Of a lost echo: after all times there can be (RFC 2681 section 4.1)."""
_JITTER_GAIN: Final = 16
"""RFC 3550 6.4.1 and A.8: each new difference counts a sixteenth."""
SHORT_S: Final = 3600.0
"""A soak below one hour is called short; 24 h is common practice."""
UNAVAILABLE_S: Final = 10.0
"""Number of bad seconds in a row that begin unavailable time (ITU-T G.826)."""
PERCENTS: Final = (50.0, 95.0, 99.0)
_EXACT_DIGITS: Final = 15
"""Every number of so many digits is exact in JSON (RFC 8785 section 3.2.2.3)."""


@dataclass(frozen=True, slots=True)
class SoakTarget:
    """Whom echoes went to, and how large they were: bytes of the IP packet."""

    subject: Subject
    bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class EchoFigures:
    """What the echoes of one size to one target came to.

    Attributes:
        percentiles_ms: of all that were counted, the lost ones as infinite (RFC 2681 4.1).
        jitter_ms, jitter_most_ms: RFC 3550 A.8, after the last echo and at its highest.
        gap_s, gap_at_s: the longest time without a reply, and when it began.
        not_counted: places in which nothing was measured.
    """

    target: SoakTarget
    path: str
    sent: int
    received: int
    percentiles_ms: tuple[float, float, float]
    jitter_ms: float | None
    jitter_most_ms: float | None
    gap_s: float
    gap_at_s: float
    duplicates: int
    reordered: int
    not_counted: int
    silences: Mapping[str, int]

    @property
    def lost(self) -> int:
        """Echoes without a reply."""
        return self.sent - self.received

    @property
    def loss_pct(self) -> float:
        """Lost part of those counted (RFC 7680 4.1), as a percentage; 0 of none."""
        return 100.0 * self.lost / self.sent if self.sent else 0.0


class EchoTally:
    """The echoes of one size to one target, block after block in order."""

    def __init__(self, target: SoakTarget, path: str) -> None:
        self._target, self._path = target, path
        self._times_us = array("i")
        self._received = self._not_counted = self._duplicates = self._reordered = 0
        self._silences: Counter[str] = Counter()
        self._last_us: int | None = None
        self._jitter_us = self._jitter_most_us = 0.0
        self._run_s = self._run_at_s = self._gap_s = self._gap_at_s = 0.0

    def take(self, block: EchoBlock) -> None:
        """Takes the next block."""
        self._duplicates += block["duplicates"]
        self._reordered += block["reordered"]
        self._silences.update(block["silence"])
        step_s = block["step_s"]
        for number, rtt_us in enumerate(block["rtt_us"]):
            if rtt_us is None:
                self._times_us.append(_LOST)
                self._silent(block["start_s"] + number * step_s, step_s)
            elif rtt_us == NOT_COUNTED:
                self._not_counted += 1
                self._run_s = 0.0
            else:
                self._times_us.append(rtt_us)
                self._heard(rtt_us)

    def _heard(self, rtt_us: int) -> None:
        self._received += 1
        self._run_s = 0.0
        if self._last_us is not None:
            self._jitter_us += (abs(rtt_us - self._last_us) - self._jitter_us) / _JITTER_GAIN
            self._jitter_most_us = max(self._jitter_most_us, self._jitter_us)
        self._last_us = rtt_us

    def _silent(self, at_s: float, step_s: float) -> None:
        if not self._run_s:
            self._run_at_s = at_s
        self._run_s += step_s
        if self._run_s > self._gap_s:
            self._gap_s, self._gap_at_s = self._run_s, self._run_at_s

    def figures(self) -> EchoFigures:
        """What it came to."""
        ordered = sorted(self._times_us)
        enough = self._received > 1
        return EchoFigures(
            target=self._target,
            path=self._path,
            sent=len(ordered),
            received=self._received,
            percentiles_ms=_percentiles_ms(ordered),
            jitter_ms=self._jitter_us / 1e3 if enough else None,
            jitter_most_ms=self._jitter_most_us / 1e3 if enough else None,
            gap_s=self._gap_s,
            gap_at_s=self._gap_at_s,
            duplicates=self._duplicates,
            reordered=self._reordered,
            not_counted=self._not_counted,
            silences=dict(self._silences),
        )


def _percentiles_ms(ordered_us: list[int]) -> tuple[float, float, float]:
    """Empirical distribution (RFC 2330 11.3): the time within which so many were answered."""

    def one(percent: float) -> float:
        if not ordered_us:
            return math.inf
        us = ordered_us[math.ceil(len(ordered_us) * percent / 100) - 1]
        return math.inf if us == _LOST else us / 1e3

    low, mid, high = (one(p) for p in PERCENTS)
    return low, mid, high


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A time in which this laptop measured nothing. `why`: `stopped` or `interface`."""

    start_s: float
    end_s: float
    why: str
    text: str
    targets: tuple[str, ...] = ()

    @property
    def long_s(self) -> float:
        """How long it was."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Soaked:
    """What a soak came to: figures by target, devices by name, gaps, steps of the wall clock."""

    echoes: tuple[EchoFigures, ...] = ()
    devices: Mapping[str, DeviceTally]
    gaps: tuple[Gap, ...] = ()
    steps_s: tuple[float, ...] = ()
    last_s: float = 0.0

    def of(self, subject: Subject) -> tuple[EchoFigures, ...]:
        """The figures of one target, small echoes first."""
        mine = [f for f in self.echoes if f.target.subject == subject]
        return tuple(sorted(mine, key=lambda f: f.target.bytes))


def soaked(blocks: Iterable[Block]) -> Soaked:
    """One pass over the blocks of a soak, in their order; `files/evidence` proves them."""
    echoes: dict[SoakTarget, EchoTally] = {}
    devices: dict[str, DeviceTally] = {}
    gaps: list[Gap] = []
    steps: list[float] = []
    last_s = 0.0
    for block in blocks:
        if block["kind"] == "echo":
            target = SoakTarget(subject_of(block["subject"]), block["bytes"])
            tally = echoes.setdefault(target, EchoTally(target, block["path"]))
            tally.take(block)
            last_s = max(last_s, block["start_s"] + len(block["rtt_us"]) * block["step_s"])
        elif block["kind"] == "values":
            _take_values(devices.setdefault(block["subject"]["name"], DeviceTally()), block)
        elif block["kind"] == "gap":
            gaps.append(_gap(block))
        else:
            steps.append(block["stepped_s"])
    return Soaked(
        echoes=tuple(t.figures() for t in echoes.values()),
        devices=devices,
        gaps=tuple(gaps),
        steps_s=tuple(steps),
        last_s=last_s,
    )


def subject_of(subject: BlockSubject) -> Subject:
    """What a block is about."""
    return Subject(subject["kind"], subject["name"])


def rows(block: ValuesBlock) -> Iterable[tuple[float, dict[str, Sample]]]:
    """The samples of a block of values: when, and each value by its name."""
    names = list(block["series"])
    long = len(block["t_s"])
    columns = [v * long if len(v) == 1 else v for v in block["series"].values()]
    for at_s, *values in zip(block["t_s"], *columns, strict=True):
        yield at_s, dict(zip(names, map(_whole, values), strict=True))


def _whole(value: Sample) -> Sample:
    """A value of a series; a count that stands as digits is a number again."""
    if isinstance(value, str) and len(value) > _EXACT_DIGITS and value.isascii():
        return int(value) if value.isdecimal() else value
    return value


def _take_values(device: DeviceTally, block: ValuesBlock) -> None:
    for at_s, row in rows(block):
        device.take(at_s, row, block["speeds"])


def _gap(block: GapBlock) -> Gap:
    return Gap(
        start_s=block["start_s"],
        end_s=block["end_s"],
        why=block["why"],
        text=block["text"],
        targets=tuple(block["targets"]),
    )


def words(seconds: float) -> str:
    """A length of time for a person: `42 s`, `15 min`, `24 h`, `1 h 30 min`."""
    whole = round(seconds)
    if whole < 60:  # noqa: PLR2004
        return f"{seconds:.3g} s"
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    parts = ((hours, "h"), (minutes, "min"), (left if not hours else 0, "s"))
    return " ".join(f"{n} {device}" for n, device in parts if n)


def title(soak: SoakCourse) -> str:
    """What a document calls a soak, by how it went."""
    called = f"soak of {words(soak.asked_s)}"
    if soak.asked_s < SHORT_S:
        called = f"short {called} (24 h is common practice)"
    return called if soak.complete else f"{called}, {soak.state}"
