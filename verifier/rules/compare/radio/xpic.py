"""Both polarisations of one channel on one path: they arrive alike."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from verifier.model.result import Finding, Verdict
from verifier.model.subject import Subject
from verifier.rules.compare.context import Findings
from verifier.rules.compare.radio.carrier_end import EXACT_DB, CarrierEnd, figure
from verifier.rules.compare.radio.carriers import LiveCarrier
from verifier.rules.compare.radio.level import measured_loss
from verifier.rules.compare.radio.read import Read
from verifier.rules.radio import levels

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
    for side in hop.ends():
        for pair in _pairs(side):
            yield _finding(hop, side, pair)


def _pairs(side: CarrierEnd) -> Iterator[_Pair]:
    """Each V with each H of an end, where both are known."""
    sides = (side, *side.others)
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


def _finding(hop: LiveCarrier, side: CarrierEnd, pair: _Pair) -> Finding:
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
        subject=Subject("link", hop.link.name, end=side.name),
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
