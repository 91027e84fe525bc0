"""Receive levels below what is planned: the path, an antenna, a transmitter, a receiver.

All figures of dB that tell one from the other are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import dataclass

from verifier.model.plan import EndName
from verifier.model.result import Cause, Finding
from verifier.rules import radio
from verifier.rules.diagnose.case import (
    WRONG,
    CarrierFindings,
    Causes,
    Certainty,
    FindingIndex,
    cause,
    number,
)
from verifier.rules.diagnose.reception import short_db

ENDS: tuple[tuple[EndName, EndName], ...] = (("a", "b"), ("b", "a"))
_ALIKE_DB = 3.0
"""Two directions that differ by no more are equally low. Common practice, no source."""
_READ_DB = 1.0
"""Devices show levels to about 1 dB: at the edge of two figures both causes fit. Common practice,
no source."""
_FOLLOW = ("radio.snr", "radio.lock", "radio.modulation", "radio.capacity", "radio.fade-margin",
           "radio.path-loss", "radio.errored-seconds", "radio.severely-errored-seconds",
           "radio.unavailable-seconds", "radio.rx-level-spread")  # fmt: skip
"""What follows from a low level at the same end."""
_SWEEP = (
    "sweep one axis of one antenna through the peak and both nulls, then the other antenna: a "
    "lower peak with a null beside it is a side lobe; a normal lobe, just lower, is polarisation"
)


@dataclass(frozen=True, slots=True)
class _CauseKind:
    """A cause of a loss that both directions share.

    Attributes:
        above_db, to_db: how much it takes away. Common practice, no source.
        told_by: checks that speak against it where they pass, for it where they fail.
        for_only: a setting that speaks for it where it fails; a feed can be turned with it right.
    """

    kind: str
    certainty: Certainty
    above_db: float
    to_db: float
    text: str
    told_by: tuple[str, ...] = ()
    try_first: str = ""
    for_only: tuple[str, ...] = ()


_SHARED = (
    _CauseKind("side-lobe", "likely", 15.0, 25.0,
          "one antenna is on its first side lobe; the level cannot say at which end",
          ("manual.peak-on-main-lobe",), _SWEEP),
    _CauseKind("polarisation-turned", "likely", 25.0, 35.0,
          "one polarisation is turned; the level cannot say at which end",
          ("manual.polarisation",), _SWEEP, ("radio.polarisation",)),
    _CauseKind("side-lobes-both", "likely", 35.0, 45.0,
          "both antennas are on their first side lobe", ("manual.peak-on-main-lobe",), _SWEEP),
    _CauseKind("misaligned", "possible", 0.0, 15.0,
          "an antenna is off its peak; the level cannot say at which end",
          ("manual.peak-on-main-lobe",)),
    _CauseKind("misaligned", "possible", 45.0, 200.0, "an antenna points elsewhere",
          ("manual.peak-on-main-lobe",)),
    _CauseKind("path-loss", "possible", 0.0, 200.0,
          "the path takes more than planned: an obstacle, rain, wet snow or ice on an antenna",
          ("manual.weather",)),
    _CauseKind("feeder-loss", "possible", 0.0, 25.0,
          "a feeder or its joint, which both directions share, takes more than planned; the level "
          "cannot say at which end", ("manual.weatherproofing",)),
    _CauseKind("losses-apart", "possible", 0.0, 200.0,
          "two faults that happen to be alike, one on the way to each end"),
)  # fmt: skip


def causes(case: FindingIndex) -> Causes:
    """Each carrier whose ends receive too little, or what the plan's level does not agree with."""
    for hop in case.hops.values():
        low = {e: f for e, _ in ENDS if (f := _low(hop, e)) is not None}
        misplanned = dict(_misplanned(case, hop))
        yield from misplanned.values()
        powers = _powers(hop, low)
        yield from powers.values()
        for end, far in ENDS:
            if end in low and (held := _holding(hop, far)) is not None:
                yield _held_down(hop, end, far, low[end], held)
        told = {*misplanned, *_told(hop, low)}
        rest = {e: f for e, f in low.items() if e not in told}
        if len(rest) == len(low) == len(ENDS):
            yield from _both(case, hop, rest)
        elif rest and len(low) == 1 + len(misplanned.keys() & low.keys()):
            yield from _one(hop, *next(iter(rest.items())), misplanned.keys())
        elif not hop.all(["radio.rx-level"], ("a", "b"), "pass", *WRONG):
            yield from _by_difference(hop)


def _low(hop: CarrierFindings, end: EndName) -> Finding | None:
    """The level of an end, where it is too low or there is none at all.

    A level that more power than planned makes up for is found by what the path takes.
    """
    level = hop.get("radio.rx-level", end, *WRONG)
    short = short_db(level)
    none = level is not None and number(level.observed) is None
    if level is not None and (none or (short is not None and short > 0)):
        return level
    loss = hop.get("radio.path-loss", end, "fail")
    over = short_db(loss)
    return loss if over is not None and over < 0 else None


def follow(hop: CarrierFindings, ends: Iterable[EndName]) -> list[Finding]:
    """What follows from a low level at these ends."""
    return hop.all(_FOLLOW, (*ends, None), *WRONG)


def _misplanned(case: FindingIndex, hop: CarrierFindings) -> Iterator[tuple[EndName, Cause]]:
    """Ends whose planned level is not the sum of the plan's own figures, and the found one is.

    What the far transmitter says that it sends less is taken off the sum. Without a sum, or where
    gas is missing in it, nothing is concluded.
    """
    km = radio.link_km(hop.link, *(case.site_of(hop.device(e)) for e, _ in ENDS))
    for end, far in ENDS:
        level = hop.get("radio.rx-level", end, *WRONG)
        near_end, far_end = dict(hop.carrier.ends())[end], dict(hop.carrier.ends())[far]
        planned, seen = near_end.rx_level_dbm, number(level.observed) if level else None
        sum_ = radio.budget(hop.link, far_end, near_end, km)
        if level is None or planned is None or seen is None or isinstance(sum_, str):
            continue
        power = short_db(hop.get("radio.tx-power", far)) or 0.0
        off = abs(planned - sum_.level_dbm) > radio.AGREE_DB
        if sum_.gas_missing or not off or abs(seen + power - sum_.level_dbm) > radio.AGREE_DB:
            continue
        heads = [level, *hop.all(["radio.path-loss"], [end], *WRONG)]
        yield end, cause(
            "planned-level-wrong", level.subject, "likely",
            f"{hop.device(end)} receives {seen:.1f} dBm, which is what the plan's own "
            f"figures add up "
            f"to ({sum_.level_dbm:.1f} dBm); planned are {planned:.1f} dBm",
            heads,
        )  # fmt: skip


def _powers(hop: CarrierFindings, low: Mapping[EndName, Finding]) -> dict[EndName, Cause]:
    """Far transmitters that by their own word send less than planned, by the end that hears it."""
    found: dict[EndName, Cause] = {}
    for end, far in ENDS:
        power = hop.get("radio.tx-power", far, *WRONG)
        less, short = short_db(power), short_db(hop.get("radio.rx-level", end, *WRONG))
        if power is None or less is None or less <= 0:
            continue
        text = f"{hop.device(far)} transmits {less:.1f} dB less than planned"
        if short is not None:
            text += f"; {hop.device(end)} receives {short:.1f} dB less"
        heads = [power, low.get(end), *follow(hop, [end])]
        found[end] = cause("power-low", power.subject, "likely", text, heads)
    return found


def _told(hop: CarrierFindings, low: Mapping[EndName, Finding]) -> Iterator[EndName]:
    """Ends whose lack the far end accounts for: its power, its transmitter, its frequency."""
    for end, far in ENDS:
        if end not in low:
            continue
        excess = _excess_db(hop, end, low[end])
        untuned = (
            hop.get("radio.tx-frequency", far, "fail"),
            hop.get("radio.rx-frequency", end, "fail"),
            hop.get("radio.transmitter", far, "fail"),
        )
        nothing = number(low[end].observed) is None
        held = _holding(hop, far) is not None
        if held or (nothing and any(untuned)) or (excess is not None and excess <= _ALIKE_DB):
            yield end


def _holding(hop: CarrierFindings, far: EndName) -> Finding | None:
    """ATPC of this end, where it is on as planned and leaves the other end short."""
    held = hop.get("radio.atpc", far, "fail")
    return held if held is not None and (held.expected, held.observed) == ("on", "on") else None


def _held_down(
    hop: CarrierFindings, end: EndName, far: EndName, low: Finding, held: Finding
) -> Cause:
    """ATPC is on as planned and transmits too little, by its own word."""
    rest = [
        f for f in follow(hop, [end]) if f.check not in {"radio.path-loss", "radio.reciprocity"}
    ]
    return cause(
        "atpc-short", held.subject, "likely",
        f"ATPC of {hop.device(far)} leaves {hop.device(end)} short, though it may transmit more",
        [held, low, *rest], [hop.get("radio.path-loss", end, "fail")],
    )  # fmt: skip


def _excess_db(hop: CarrierFindings, end: EndName, low: Finding) -> float | None:
    """What the way to this end takes beyond the plan, the far end's reported power considered."""
    loss = short_db(hop.get("radio.path-loss", end))
    if loss is not None:
        return -loss
    short = short_db(low)
    less = short_db(hop.get("radio.tx-power", "b" if end == "a" else "a"))
    return None if short is None else short - (less or 0.0)


def _both(case: FindingIndex, hop: CarrierFindings, low: Mapping[EndName, Finding]) -> Causes:
    """Both ends lack the same: what both directions share. Where they differ: no conclusion."""
    lacking = [_excess_db(hop, end, finding) for end, finding in low.items()]
    if any(x is None for x in lacking):
        return
    known = [x for x in lacking if x is not None]
    if max(known) - min(known) > _ALIKE_DB or min(known) <= 0:
        return
    lost_db = sum(known) / len(known)
    power = hop.all(["radio.tx-power"], ("a", "b"), "pass")
    balanced = hop.get("radio.reciprocity", None, "pass")
    heads = [*low.values(), *follow(hop, ("a", "b"))]
    for kind in _SHARED:
        read = hop.all(kind.for_only, ("a", "b", None), "fail")
        most_db = math.inf if read else kind.to_db + _READ_DB
        if not kind.above_db - _READ_DB <= lost_db <= most_db:
            continue
        spoken = _spoken(case, hop, kind.told_by)
        wrong = [*(f for f in spoken if f.verdict in WRONG), *read]
        right = [f for f in spoken if f.verdict == "pass"]
        certainty: Certainty = "likely" if wrong else "possible" if right else kind.certainty
        yield cause(
            kind.kind, hop.subject, certainty,
            f"both ends of {hop.subject} lack about {lost_db:.0f} dB: {kind.text}",
            [*heads, *wrong, *power, balanced], right, try_first=kind.try_first,
        )  # fmt: skip


def _spoken(case: FindingIndex, hop: CarrierFindings, checks: Iterable[str]) -> list[Finding]:
    """What readings of the hop and people at its ends say of these checks."""
    devices = [case.by_device[n] for n in (hop.device("a"), hop.device("b")) if n in case.by_device]
    checks = tuple(checks)
    said = [f for u in devices for f in u.all(checks, "pass", *WRONG)]
    return [*said, *hop.all(checks, ("a", "b", None), "pass", *WRONG)]


def _by_difference(hop: CarrierFindings) -> Causes:
    """No level is planned, and one direction takes more than the other: one of its two ends."""
    head = hop.get("radio.reciprocity", None, "fail")
    more = number(head.observed) if head is not None else None
    if more is None or more == 0:
        return
    end: EndName = "b" if more > 0 else "a"
    far: EndName = "a" if end == "b" else "b"
    says = f"the way to {hop.device(end)} takes {abs(more):.1f} dB more than the way back"
    power = hop.get("radio.tx-power", far, "pass")
    heads = [head, *follow(hop, [end])]
    yield cause(
        "far-transmitter", hop.end(far), "possible",
        f"{says}: {hop.device(far)} sends less than it says, or its coupler takes more",
        heads, [power],
    )  # fmt: skip
    yield cause(
        "near-receiver", hop.end(end), "possible",
        f"{says}: the receiver of {hop.device(end)}, or its coupler on the way in, takes more",
        [*heads, power],
    )  # fmt: skip


def _one(
    hop: CarrierFindings, end: EndName, low: Finding, misplanned: Container[EndName]
) -> Causes:
    """One direction is low and the other is seen to be right: one of its two ends."""
    far: EndName = "b" if end == "a" else "a"
    right = hop.get("radio.rx-level", far, "pass") or hop.get("radio.path-loss", far, "pass")
    if right is None and far not in misplanned:
        return
    short = _excess_db(hop, end, low)
    lack = "nothing" if short is None else f"{short:.1f} dB too little"
    power = hop.get("radio.tx-power", far, "pass")
    heads = [low, *follow(hop, [end]), right]
    between = hop.get("radio.reciprocity", None, *WRONG)
    yield cause(
        "far-transmitter", hop.end(far), "possible",
        f"{hop.device(end)} receives {lack}, the other direction is right: {hop.device(far)} sends "
        "less than it says, or its coupler on the way out takes more",
        [*heads, between], [power],
    )  # fmt: skip
    yield cause(
        "near-receiver", hop.end(end), "possible",
        f"{hop.device(end)} receives {lack}, the other direction is right: its receiver or its "
        "coupler on the way in takes more, or reads wrong",
        [*heads, between, power],
    )  # fmt: skip
