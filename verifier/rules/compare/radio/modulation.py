"""Modulation: fixed must match, adaptive may be lower, while aligning the lowest is right."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from verifier.model.plan import Link
from verifier.model.result import VERDICTS, Verdict
from verifier.rules import radio
from verifier.rules.compare.context import Findings
from verifier.rules.compare.radio.carrier_end import CarrierEnd, figure
from verifier.rules.compare.radio.power import LEFT_ALIGNING, left_aligning
from verifier.rules.compare.radio.read import Read

HEADROOM_DB = 3.0
"""Margin above its threshold at which a mode is safe (requirement)."""
STEADY_S = 60.0
"""Seconds of good level and SNR after which a lower modulation is a fault."""


@dataclass(frozen=True, slots=True)
class _Result:
    verdict: Verdict
    reason: str
    advice: str = ""


def modulation(near: CarrierEnd) -> Findings:
    """`radio.modulation`: what the device transmits with and receives with."""
    link = near.link
    planned = link.modulation_max
    if planned is None or near.standby:
        return
    sent, heard = near.read("tx_modulation"), near.read("rx_modulation")
    words = [(r, s, w) for r, s, w in (
        (sent, near.across, "transmits"), (heard, near, "receives"),
    ) if r is not None and r.word]  # fmt: skip
    if not words:
        yield near.finding(
            "radio.modulation", "not-tested", near.missing("tx_modulation", "rx_modulation"),
            at="modulation_max", expected=planned, reads=(sent, heard),
        )  # fmt: skip
        return
    judged = [
        (_judge(near, listener, read), read, what)
        for read, listener, what in words
        if not (what == "receives" and near.sender.transmits is False)
    ] or [(_judge(near, words[0][1], words[0][0]), words[0][0], words[0][2])]
    found, read, what = min(judged, key=lambda j: VERDICTS.index(j[0].verdict))
    verdict, reason = found.verdict, f"{what} with {read.word}: {found.reason}"
    if lost := _unread(near, sent, heard):
        reason += f"; {lost}"
        verdict = "not-tested" if verdict == "pass" else verdict
    yield near.finding(
        "radio.modulation", verdict, reason,
        at="modulation_max", expected=planned, observed=read.word, advice=found.advice,
        reads=(sent, heard),
    )  # fmt: skip


def _unread(near: CarrierEnd, sent: Read | None, heard: Read | None) -> str:
    """Why one of the two directions is not known, where the profile reads it; else empty."""
    if sent is not None and sent.gap:
        return sent.gap
    silent = near.sender.transmits is False
    return heard.gap if heard is not None and not silent else ""


def _judge(near: CarrierEnd, listener: CarrierEnd, read: Read) -> _Result:
    """One direction; `listener` receives it."""
    word = read.word or ""
    planned = near.link.modulation_max or ""
    if radio.plain_modulation(word) == radio.plain_modulation(planned):
        return _Result("pass", "as planned")
    if left_aligning(near):
        return _Result("fail", LEFT_ALIGNING, "set the planned modulation and power, then save")
    if near.stage == "alignment" and (lowest := _lowest(near, word)) is not None:
        return lowest
    if not radio.is_adaptive(near.link):
        return _Result("fail", f"not {planned}, and it is planned fixed",
                       "set the planned modulation, save, and read it again")  # fmt: skip
    return _outside(near.link, word, planned) or _inside(near, listener, read, planned)


def _outside(link: Link, word: str, planned: str) -> _Result | None:
    """The verdict outside the planned range; None inside it."""
    bits, most = radio.bits_per_symbol(word), radio.bits_per_symbol(planned)
    if bits is None or most is None:
        return _Result("not-tested", f"whether that is more or less than {planned} is not known")
    if bits > most:
        return _Result("fail", f"above the highest planned, {planned}", "set the planned range")
    least = radio.bits_per_symbol(link.modulation_min) if link.modulation_min is not None else None
    if least is not None and bits < least:
        return _Result("fail", f"below the lowest planned, {link.modulation_min}",
                       "set the planned range")  # fmt: skip
    return None


def _inside(near: CarrierEnd, listener: CarrierEnd, read: Read, planned: str) -> _Result:
    """Adaptive, and lower than the highest."""
    if near.stage in {"bench", "alignment"}:
        return _Result("pass", "inside the planned range")
    if near.stage == "service":
        return _in_service(listener, planned)
    if any(_is(o.value, planned) for o in read.seen):
        return _Result("warn", f"it was {planned} a moment ago: it follows the path",
                       "run a soak to see how often")  # fmt: skip
    return _lower(listener, planned)


UNEXPLAINED = "and neither level nor SNR explains it"
"""Last words of the reason when nothing explains a lower modulation in service."""


def _in_service(listener: CarrierEnd, planned: str) -> _Result:
    """A lower modulation in service: right where the level or the SNR explains it."""
    snr, least = listener.read("snr_db"), listener.end.min_snr_db
    if snr is not None and snr.number is not None and least is not None and snr.number < least:
        return _Result("pass", f"rightly lower at this SNR: {figure(snr.number)} dB at "
                       f"{listener.end.device}, planned {figure(least)} dB")  # fmt: skip
    level, needed = listener.read("rx_level_dbm"), _needed_dbm(listener, planned)
    if level is not None and level.nothing:
        return _Result("pass", f"rightly lower: {listener.end.device} receives nothing")
    if isinstance(needed, str):
        return _Result("not-tested", f"whether rightly lower is not known: {needed}")
    if level is None or level.number is None:
        gap = listener.missing("rx_level_dbm")
        return _Result("not-tested", f"the level at {listener.end.device}: {gap}")
    at = f"{figure(level.number)} dBm at {listener.end.device}"
    if level.number < needed:
        return _Result("pass", f"rightly lower at this level: {at}, {planned} needs "
                       f"{figure(needed)} dBm")  # fmt: skip
    return _Result("warn", f"{at} would carry {planned}, {UNEXPLAINED}",
                   "does it last? Look for interference, or a limit that was set")  # fmt: skip


def _is(value: object, planned: str) -> bool:
    same = radio.plain_modulation(planned)
    return isinstance(value, str) and radio.plain_modulation(value) == same


def _lowest(near: CarrierEnd, word: str) -> _Result | None:
    """While aligning the most robust mode is right, adaptive or not; None: it is not that."""
    if near.context is None:
        return None
    if near.link.modulation_min is not None and radio.plain_modulation(
        near.link.modulation_min
    ) == radio.plain_modulation(word):
        return _Result("pass", "the lowest modulation, as is right while aligning")
    lowest = radio.lowest_mode(near.context.profile, near.bandwidth_mhz)
    if isinstance(lowest, str):
        bits = radio.bits_per_symbol(word)
        most = radio.bits_per_symbol(near.link.modulation_max or "")
        if bits is not None and most is not None and bits < most:
            return _Result("not-tested", f"whether it is the lowest is not known: {lowest}")
        return None
    if radio.plain_modulation(lowest.modulation) == radio.plain_modulation(word):
        return _Result("pass", "the lowest modulation, as is right while aligning")
    return None


def _lower(listener: CarrierEnd, planned: str) -> _Result:
    """A lower modulation at handover: right at a low level, wrong at a good one for long."""
    level, needed = listener.read("rx_level_dbm"), _needed_dbm(listener, planned)
    if isinstance(needed, str):
        return _Result("not-tested", f"whether rightly lower is not known: {needed}")
    if level is not None and level.nothing:
        return _Result("warn", f"{listener.end.device} receives nothing")
    if level is None or level.number is None:
        gap = listener.missing("rx_level_dbm")
        return _Result("not-tested", f"the level at {listener.end.device}: {gap}")
    at = f"{figure(level.number)} dBm at {listener.end.device}"
    if level.number < needed:
        return _Result("warn", f"rightly lower at this level: {at}, {planned} needs "
                       f"{figure(needed)} dBm", "look at radio.rx-level first")  # fmt: skip
    return _held_back(listener, level, needed, f"{at} would carry {planned}")


def _needed_dbm(listener: CarrierEnd, planned: str) -> float | str:
    """The level at which the highest modulation is safely carried, else why it is not known."""
    if listener.context is None:
        return f"{listener.end.device}, which receives it, was not asked"
    mode = radio.mode_for(listener.context.profile, planned, listener.bandwidth_mhz)
    if isinstance(mode, str):
        return mode
    if mode.threshold_dbm is None:
        return f"mode {mode.modulation} has no threshold in the profile"
    return mode.threshold_dbm + HEADROOM_DB


def _held_back(listener: CarrierEnd, level: Read, needed: float, at: str) -> _Result:
    """The level carries the highest modulation; is the SNR good too, and for how long?"""
    wait = "look again after a minute; run a soak to be sure"
    snr, least = listener.read("snr_db"), listener.end.min_snr_db
    if least is None:
        return _Result(
            "warn", f"{at}; whether its SNR allows it is not known: no min_snr_db is planned"
        )
    if snr is None or snr.number is None:
        return _Result("warn", f"{at}; its SNR is not known: {listener.missing('snr_db')}")
    if snr.number < least:
        return _Result("warn", f"{at}, but its SNR is {figure(snr.number)} dB, below the planned "
                       f"{figure(least)} dB", "look for interference")  # fmt: skip
    steady_s = min(_lasting_s(level, needed), _lasting_s(snr, least))
    if steady_s < STEADY_S:
        return _Result("warn", f"{at} and its SNR is good, seen for {steady_s:.0f} s of the "
                       f"{STEADY_S:.0f} s it may take to rise", wait)  # fmt: skip
    return _Result("fail", f"{at} and its SNR is good, for {steady_s:.0f} s: it should rise",
                   "is the highest modulation set, and allowed by the feature key?")  # fmt: skip


def _lasting_s(read: Read, least: float) -> float:
    """How long the last samples have all been this good, in s."""
    began: dt.datetime | None = None
    last: dt.datetime | None = None
    for at, value in read.samples:
        if value < least:
            began = last = None
        elif at is not None:
            began, last = began or at, at
    return (last - began).total_seconds() if began is not None and last is not None else 0.0
