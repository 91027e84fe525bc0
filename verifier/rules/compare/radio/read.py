"""One reading of one radio of a device: its value from several samples, or why there is none.

Readings are never borrowed. A mode of a neighbouring bandwidth, the first radio's level for the
second, a set power for an actual one under ATPC: each is `not-tested`. A level of -3276.8 dBm is
taken for a mark of "none", not for a level.
"""

from __future__ import annotations

import datetime as dt
import math
import re
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from verifier.model.kind import Scalar
from verifier.model.observations import Observation
from verifier.model.observations import reading as reading_kind
from verifier.model.profile import Profile, ProfileReading
from verifier.rules import decode
from verifier.rules.compare.context import Context

_RAW = re.compile(r'[A-Za-z0-9]+ (?:"(.*)"|(\S+))', re.DOTALL)
"""How an observation writes what came: its type, then the value."""
_EXCEPTIONS = frozenset({"noSuchObject", "noSuchInstance", "endOfMibView"})
"""What a device answers instead of a value (RFC 3416 section 3)."""
_RANGES: Mapping[str, tuple[float, float]] = {
    "rx_level_dbm": (-140, 30),
    "tx_power_dbm": (-80, 60),
    "tx_power_set_dbm": (-80, 60),
    "tx_mhz": (1, 400_000),
    "rx_mhz": (1, 400_000),
    "bandwidth_mhz": (0.001, 20_000),
    "snr_db": (-30, 100),
    "xpi_db": (-30, 100),
    "configured_capacity_mbps": (0, 1e7),
    "current_capacity_mbps": (0, 1e7),
    "key_capacity_mbps": (0, 1e7),
}
"""What such a value can be at all (common practice, generously): beyond, it is a mark of the
device's for "none", or the profile's scale is wrong."""
LEAST_MHZ = 0.001
"""Frequencies nearer than this are one frequency (contract: comparing)."""
_MEDIAN = frozenset({"rx_level_dbm", "tx_power_dbm", "snr_db", "xpi_db"})
"""Figures that move by themselves; of the others the last sample counts."""
_TRUE = frozenset({"true", "on", "yes", "enabled", "locked"})
_FALSE = frozenset({"false", "off", "no", "disabled", "unlocked"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """A reading as it came.

    Attributes:
        name: what its observations are called.
        value: median of the samples of a level, power or SNR, the last of others; None: see `gap`.
        nothing: the device says that it receives nothing.
        gap: why there is no value; empty where there is one, or nothing is received.
        samples: moment and value of each sample of a number, in order.
        silent: samples in which the device said that it receives nothing.
        lost: samples in which the device answered without a value that can be meant.
        sequence: what each sample showed, in order, in words.
        seen: what it rests on.
    """

    reading: ProfileReading
    name: str
    value: float | str | None = None
    nothing: bool = False
    gap: str = ""
    samples: tuple[tuple[dt.datetime | None, float], ...] = ()
    silent: int = 0
    lost: int = 0
    sequence: tuple[str, ...] = ()
    seen: tuple[Observation[Scalar], ...] = ()

    @property
    def number(self) -> float | None:
        """The value, where it is a number."""
        return self.value if isinstance(self.value, float) else None

    @property
    def at_least(self) -> bool:
        """Whether the value is the end of its scale, so that there may be more."""
        end = self.reading.ceiling
        return end is not None and self.number is not None and (
            self.number >= end * self.reading.scale - 1e-6
        )  # fmt: skip

    @property
    def word(self) -> str | None:
        """The value as text; None where there is none."""
        if self.value is None:
            return None
        return f"{self.value:g}" if isinstance(self.value, float) else self.value.strip()

    @property
    def truth(self) -> bool | None:
        """The value as yes or no; None where it says neither."""
        return truth_of(self.word)

    @property
    def truths(self) -> tuple[bool | None, ...]:
        """Each sample as yes or no, in order; None where it says neither."""
        return tuple(truth_of(o.value) for o in self.seen)


def truth_of(value: object) -> bool | None:
    """A word as yes or no; None where it says neither."""
    word = str(value).strip().casefold()
    return True if word in _TRUE else False if word in _FALSE else None


def find(
    profile: Profile, field: str, radio: int, *, sole: bool
) -> tuple[str, ProfileReading] | None:
    """The reading of a field for radio N of a device, under its name; None: there is none.

    Args:
        profile: of the device.
        field: what is read.
        radio: the N of `radio:N`.
        sole: the device has only this radio, so that whatever the profile reads is of it.
    """
    found = [(n, r) for n, r in profile.named_readings().items() if r.field == field]
    exact = [(n, r) for n, r in found if r.index in {f"radio:{radio}", str(radio)}]
    if exact:
        return exact[0]
    if sole or radio == 1:
        plain = [(n, r) for n, r in found if r.index in {None, "first"} or sole]
        return plain[0] if plain else None
    return None


def read(context: Context, name: str, reading: ProfileReading) -> Read:
    """What was seen of a reading."""
    seen = tuple(context.seen.all(reading_kind(name)))
    gap = context.snmp_gap
    if gap is None and not seen:
        gap = context.unread(None, reading.field)
    if gap is not None:
        return Read(reading=reading, name=name, gap=gap)
    if reading.field in _RANGES:
        return _number(reading, name, seen)
    last = seen[-1]
    value = last.value if isinstance(last.value, str) else number_of(last.value)
    if value is None:
        why = _why(reading, last)
        return Read(reading=reading, name=name, gap=f"the device gives no {reading.field}: {why}",
                    seen=seen)  # fmt: skip
    return Read(reading=reading, name=name, value=value, seen=seen)


def _number(reading: ProfileReading, name: str, seen: Sequence[Observation[Scalar]]) -> Read:
    """The median; nothing received, where most samples say so."""
    samples: list[tuple[dt.datetime | None, float]] = []
    silent, lost, gaps, sequence = 0, 0, [], []
    for one in seen:
        if one.value is None and says_nothing(reading, one):
            silent += 1
            sequence.append("nothing")
            continue
        value = number_of(one.value)
        sequence.append(_shown(one, value))
        if value is None:
            lost += _came(one)
            gaps.append(f"the device gives no {reading.field}: {_why(reading, one)}")
        elif not can_be(reading.field, value):
            lost += 1
            gaps.append(
                f"{reading.field} {value:g} cannot be: is it the device's mark for none "
                "(no_signal), or is the profile's scale wrong?"
            )
        else:
            samples.append((moment(one.at), value))
    if silent > len(samples):
        return Read(reading=reading, name=name, nothing=True, silent=silent, lost=lost,
                    sequence=tuple(sequence), samples=tuple(samples), seen=tuple(seen))  # fmt: skip
    if not samples:
        return Read(reading=reading, name=name, gap=gaps[0] if gaps else "not read",
                    seen=tuple(seen))  # fmt: skip
    value = samples[-1][1]
    if reading.field in _MEDIAN:
        value = statistics.median(v for _, v in samples)
    return Read(
        reading=reading, name=name, value=value, samples=tuple(samples), silent=silent, lost=lost,
        sequence=tuple(sequence), seen=tuple(seen),
    )  # fmt: skip


def _came(seen: Observation[Scalar]) -> bool:
    """Whether the device answered at all; what got lost on the way says nothing of the radio."""
    raw = seen.raw or ""
    return raw in _EXCEPTIONS or _RAW.fullmatch(raw) is not None


def _shown(seen: Observation[Scalar], value: float | None) -> str:
    """One sample in a word."""
    if value is not None:
        return f"{value:g}"
    return "no value" if _came(seen) else "no answer"


def slack_mhz(read: Read | None) -> float:
    """How far a frequency may be off: the larger of 1 kHz and half the reading's last digit.

    A reading in steps of 10 kHz cannot show 23198.875 MHz: it shows 23198.88.
    """
    if read is None or not read.seen:
        return LEAST_MHZ
    last = read.seen[-1].value
    if isinstance(last, str):
        decimals = len(last.strip().partition(".")[2])
        return max(LEAST_MHZ, 0.5 * 10.0**-decimals)
    return max(LEAST_MHZ, abs(read.reading.scale) / 2)


def is_mhz(read: Read, mhz: float, further_mhz: float = 0.0) -> bool:
    """Whether what was read is this frequency (or bandwidth), as closely as it is shown.

    Args:
        read: a frequency as it was read.
        mhz: what it is compared with.
        further_mhz: how far that may be off itself.
    """
    allowed = (slack_mhz(read) + further_mhz) * (1 + 1e-6) + 1e-9
    return read.number is not None and abs(read.number - mhz) <= allowed


def can_be(field: str, value: float) -> bool:
    """Whether a reading's number can be meant; what cannot is often a device's mark for none."""
    low, high = _RANGES[field]
    return low <= value <= high


def number_of(value: object) -> float | None:
    """A number, also one that the device writes as text."""
    if isinstance(value, str):
        exact = decode.number(value)
        return None if exact is None else float(exact)
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        return None
    return float(value)


def _why(reading: ProfileReading, seen: Observation[Scalar]) -> str:
    """Why an observation holds no value."""
    raw = seen.raw or "no answer"
    if isinstance(seen.value, str):
        return f"{seen.value!r} is not a number"
    if raw_number(seen) is None:
        return raw if _RAW.fullmatch(raw) is None else f"{raw} is not a number"
    if reading.type == "enumeration":
        return f"{raw} is not among the profile's values"
    return raw


def raw_number(seen: Observation[Scalar]) -> int | None:
    """The whole number that came, before it was scaled or named."""
    raw = seen.raw or ""
    found = _RAW.fullmatch(raw)
    text = raw if found is None else found[1] if found[1] is not None else found[2]
    exact = decode.number(text)
    return int(exact) if exact is not None and exact == int(exact) else None


def says_nothing(reading: ProfileReading, seen: Observation[Scalar]) -> bool:
    """Whether what came is the device's mark for "nothing received"."""
    return raw_number(seen) in reading.no_signal


def good(reading: ProfileReading, seen: Observation[Scalar]) -> bool | None:
    """Whether the profile calls what came good; None where it does not say."""
    if not reading.good:
        truth = truth_of(seen.value)
        return None if truth is None or reading.field == "ntp_locked" else not truth
    raw = raw_number(seen)
    if raw is not None:
        return raw in reading.good
    if reading.type == "enumeration" and isinstance(seen.value, str):
        return any(reading.values.get(g) == seen.value for g in reading.good)
    value = number_of(seen.value)
    return None if value is None else any(value == g * reading.scale for g in reading.good)


def moment(at: str) -> dt.datetime | None:
    """RFC 3339 text as a moment; None where it is none."""
    try:
        found = dt.datetime.fromisoformat(at)
    except ValueError:
        return None
    return found if found.tzinfo is not None else None
