"""How well a link works: SNR, cross-polar discrimination, lock, fade margin.

`balance` compares the two polarisations of one channel on one path: they arrive alike.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from verifier.model.problem import Subject
from verifier.model.result import Finding, Verdict
from verifier.rules import radio
from verifier.rules.compare.context import Findings
from verifier.rules.compare.radio.carrier_end import (
    EXACT_DB,
    READ_DB,
    CarrierEnd,
    figure,
    near_limit,
)
from verifier.rules.compare.radio.carriers import (
    LOOK_FOR_IT,
    MUTED_FAR,
    NOT_REAL,
    LiveCarrier,
    floor_dbm,
    outage_db,
)
from verifier.rules.compare.radio.level import measured_loss, tolerance_db
from verifier.rules.compare.radio.power import left_short
from verifier.rules.compare.radio.read import Read
from verifier.rules.compare.radio.weather import at_least, by_median, excused, held, some, wavered
from verifier.rules.radio import levels

FAINT_DB = 6.0
"""So little above its floor a receiver cannot lock: our own choice."""


def snr(near: CarrierEnd) -> Findings:
    """`radio.snr`: not below the planned minimum."""
    yield from _at_least(near, "radio.snr", "snr_db", near.end.min_snr_db, "min_snr_db",
                         "look for interference, and at the level first")  # fmt: skip


def xpi(near: CarrierEnd) -> Findings:
    """`radio.xpi`: not below the planned minimum; both polarisations must transmit."""
    least = near.link.min_xpi_db
    if least is not None and near.others and all(o.across.transmits is False for o in near.others):
        yield near.finding(
            "radio.xpi", "not-tested", "the other polarisation does not transmit",
            at="min_xpi_db", expected=least, unit="dB",
        )  # fmt: skip
        return
    advice = "turn the antenna's feed until the cross-polar level is least"
    yield from _at_least(near, "radio.xpi", "xpi_db", least, "min_xpi_db", advice)


def _at_least(  # noqa: PLR0913, PLR0917
    near: CarrierEnd, check: str, field: str, least: float | None, at: str, advice: str
) -> Findings:
    if least is None:
        return
    seen = near.read(field)
    if seen is not None and seen.nothing and not _rightly_silent(near):
        yield near.finding(check, "fail", f"nothing is received{some(seen)}", at=at, expected=least,
                           unit="dB", advice="see radio.rx-level", reads=(seen,))  # fmt: skip
        return
    if seen is None or seen.number is None:
        yield near.finding(check, "not-tested", near.missing(field), at=at, expected=least,
                           unit="dB", reads=(seen,))  # fmt: skip
        return
    right = seen.number >= least - EXACT_DB
    reason = f"{figure(seen.number)} dB, {'at least' if right else 'below'} {figure(least)} dB"
    reason += near_limit(seen.number - least, READ_DB)
    finding = near.finding(
        check, "pass" if right else "fail", reason, at=at, expected=least, observed=seen.number,
        unit="dB", advice="" if right else advice, reads=(seen,),
    )  # fmt: skip
    still = wavered(seen, near.stage, tolerance_db(near), least)
    yield held(excused(near, at_least(finding, seen, more_is_right=True)), still)


def _rightly_silent(near: CarrierEnd) -> bool:
    """On the bench the far transmitter may be off."""
    return near.stage == "bench" and near.sender.transmits is False


def lock(near: CarrierEnd) -> Findings:
    """`radio.lock`: the receiver is locked to the far end's signal, in every sample."""
    seen = near.read("locked")
    if seen is None:
        return
    if seen.truth is None and not any(t is False for t in seen.truths):
        yield near.finding("radio.lock", "not-tested", near.missing("locked"), expected="locked",
                           reads=(seen,))  # fmt: skip
        return
    verdict, reason, advice = _judge_lock(near, seen)
    observed = "not locked" if seen.truth is False else "locked"
    if seen.truth is not None and any(t is not seen.truth for t in seen.truths):
        observed = "not always locked"
    finding = near.finding(
        "radio.lock", verdict, reason, expected="locked", observed=observed, advice=advice,
        silences=advice is LOOK_FOR_IT,
        reads=(seen, near.sender.read("tx_enabled")),
    )  # fmt: skip
    heard = near.read("rx_level_dbm")
    faint = heard is not None and (
        heard.nothing or (heard.number is not None and heard.number < floor_dbm(near) + FAINT_DB)
    )
    yield excused(near, finding, short_db=outage_db(near)) if faint else finding


def _judge_lock(near: CarrierEnd, seen: Read) -> tuple[Verdict, str, str]:
    """Verdict, reason, advice; a lock that was not always there is none."""
    muted = near.sender.transmits is False
    unlocked: Verdict = "warn" if near.stage == "bench" else "fail"
    advice = (
        "see radio.rx-level; are frequencies, bandwidth, modulation and link id the same at both "
        "ends?"
    )
    known = [t for t in seen.truths if t is not None]
    if all(known):
        if muted:
            reason = f"the receiver is locked, and {MUTED_FAR}: {NOT_REAL}"
            return unlocked, reason, LOOK_FOR_IT
        if len(known) < len(seen.truths):
            gone = len(seen.truths) - len(known)
            reason = f"locked, with no answer that says so in {gone} of {len(seen.truths)} samples"
            return "pass", reason, ""
        return "pass", "the receiver is locked", ""
    reason = "the receiver is not locked"
    if any(known):
        words = ", ".join("?" if t is None else "yes" if t else "no" for t in seen.truths)
        reason = f"the lock came and went ({words})"
        unlocked = "warn" if near.stage in {"bench", "alignment"} else unlocked
    elif muted:
        reason += f": {MUTED_FAR}"
    if near.stage == "bench":
        reason += "; on the bench it need not be"
    return unlocked, reason, advice


def fade_margin(near: CarrierEnd) -> Findings:
    """`radio.fade-margin`: level less threshold of the *reference* modulation at this bandwidth.

    With ATPC at the level its highest power would give. A level that is low within its tolerance
    makes the margin low by as much: that is a warning.
    """
    planned, reference = near.link.fade_margin_db, near.link.modulation_reference
    if planned is None or near.context is None:
        return
    at, check = "fade_margin_db", "radio.fade-margin"
    seen = near.read("rx_level_dbm")
    mode = radio.mode_for(near.context.profile, reference, near.bandwidth_mhz)
    gap = mode if isinstance(mode, str) else ""
    if reference is None:
        gap = "no modulation_reference is planned"
    elif not isinstance(mode, str) and mode.threshold_dbm is None:
        gap = f"mode {mode.modulation} has no threshold in the profile"
    if seen is None or seen.number is None:
        gap = near.missing("rx_level_dbm")
    raised = _raised_db(near)
    if isinstance(raised, str):
        gap = gap or raised
    if gap or isinstance(mode, str) or isinstance(raised, str) or seen is None:
        yield near.finding(check, "not-tested", gap, at=at, expected=planned, unit="dB",
                           reads=(seen,))  # fmt: skip
        return
    level, threshold = (seen.number or 0.0) + raised, mode.threshold_dbm or 0.0
    margin = level - threshold
    still = wavered(seen, near.stage, tolerance_db(near))
    reason = f"{figure(level)} dBm - {figure(threshold)} dBm ({mode.modulation}"
    reason += f" at {figure(mode.bandwidth_mhz)} MHz)" if mode.bandwidth_mhz else ")"
    reason += f" = {margin:.1f} dB, planned {figure(planned)} dB"
    reason += near_limit(margin - planned, READ_DB)
    if raised:
        reason += f"; ATPC can still raise it by {raised:.1f} dB, counted in"
    verdict: Verdict = "pass"
    if margin < planned - EXACT_DB:
        verdict = "warn" if margin >= planned - tolerance_db(near) - EXACT_DB else "fail"
        reason += "; the level is low, within its tolerance" if verdict == "warn" else ""
    finding = near.finding(
        check, verdict, reason, at=at, expected=planned, observed=margin, unit="dB",
        advice="see radio.rx-level and radio.path-loss" if verdict != "pass" else "",
        reads=(seen, near.sender.read("tx_power_dbm")),
    )  # fmt: skip
    yield by_median(excused(near, finding), [still])


def _raised_db(near: CarrierEnd) -> float | str:
    """How much more ATPC at the far end can give; nothing, where it leaves this end short."""
    sender = near.sender
    if not sender.atpc_on or left_short(sender, near) is not None:
        return 0.0
    highest = sender.end.tx_power_dbm
    if sender.end.atpc_max_dbm is not None:
        highest = sender.end.atpc_max_dbm
    power = sender.number("tx_power_dbm")
    if highest is None:
        return "ATPC is on at the far end, and its highest power is not planned"
    if power is None:
        gap = sender.missing("tx_power_dbm")
        return f"ATPC is on at the far end, and its actual power is not known: {gap}"
    return max(0.0, highest - power)


ALIKE_DB = 3.0
"""V and H of one path differ by no more (contract: hot standby and XPIC)."""


class _Pair(NamedTuple):
    """The two carriers of one end, and how much weaker V arrives than planned against H."""

    v: CarrierEnd
    h: CarrierEnd
    off_db: float
    words: str
    reads: tuple[Read | None, ...]


def balance(hop: LiveCarrier) -> Findings:
    """`radio.polarisation-balance`: V and H of one path arrive alike, within 3 dB; else a warning.

    Compared are the losses on the way, powers and planned levels counted in. Told once a link.
    """
    if hop.link.protection != "2+0-xpic" or hop.carrier is not hop.link.carriers[0]:
        return
    for near in hop.ends():
        for pair in _pairs(near):
            yield _finding(hop, near, pair)


def _pairs(near: CarrierEnd) -> Iterator[_Pair]:
    """Each V with each H of an end, where both are known."""
    sides = (near, *near.others)
    for v in (s for s in sides if s.carrier.polarisation == "V"):
        for h in (s for s in sides if s.carrier.polarisation == "H"):
            if (pair := _compared(v, h)) is not None:
                yield pair


def _compared(v: CarrierEnd, h: CarrierEnd) -> _Pair | None:
    """By what was lost on the way; by the levels alone where no power is known."""
    if v.context is None or h.context is None:
        return None
    level_v, level_h = v.read("rx_level_dbm"), h.read("rx_level_dbm")
    if level_v is None or level_h is None or level_v.number is None or level_h.number is None:
        return None
    if v.sender.transmits is False or h.sender.transmits is False:
        return None
    shown = f"V {figure(level_v.number)} dBm, H {figure(level_h.number)} dBm"
    lost_v, lost_h = measured_loss(v), measured_loss(h)
    if isinstance(lost_v, str) or isinstance(lost_h, str):
        if v.sender.atpc_on or h.sender.atpc_on:
            return None
        planned = _differ(v.end.rx_level_dbm, h.end.rx_level_dbm)
        off_db = level_h.number - level_v.number + planned
        return _Pair(v, h, off_db, shown, (level_v, level_h))
    planned_v, planned_h = (levels.planned_loss(s.end, s.far, s.stage) for s in (v, h))
    planned = 0.0
    if not isinstance(planned_v, str) and not isinstance(planned_h, str):
        planned = planned_v.value - planned_h.value
    return _Pair(v, h, lost_v.db - lost_h.db - planned, shown, (*lost_v.reads, *lost_h.reads))


def _differ(one: float | None, other: float | None) -> float:
    return 0.0 if one is None or other is None else one - other


def _finding(hop: LiveCarrier, near: CarrierEnd, pair: _Pair) -> Finding:
    off = pair.off_db
    verdict: Verdict = "pass" if abs(off) <= ALIKE_DB + EXACT_DB else "warn"
    weaker = "V" if off > 0 else "H"
    reason = f"{pair.words}: the same within {figure(ALIKE_DB)} dB, as on one path"
    if verdict == "warn":
        reason = (
            f"{pair.words}: {weaker} arrives {abs(off):.1f} dB weaker than planned beside the other"
        )
    evidence = dict.fromkeys(o.id for r in pair.reads if r is not None for o in r.seen)
    return Finding(
        check="radio.polarisation-balance",
        subject=Subject("link", hop.link.name, end=near.name),
        verdict=verdict,
        reason=reason,
        expected=0.0,
        observed=round(off, 3),
        unit="dB",
        origin=hop.plan.origin("links", hop.link.name),
        advice=""
        if verdict == "pass"
        else "one path serves both: look at the feeder, the joint "
        f"and the transducer's port of {weaker}, at both ends",
        evidence=tuple(evidence),
    )
