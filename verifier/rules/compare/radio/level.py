"""What arrives: receive level, path loss, and whether both directions agree."""

from __future__ import annotations

import statistics
from collections.abc import Iterator
from dataclasses import dataclass

from verifier.model.observations import Observation
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
    LiveCarrier,
    frequency_db,
    outage_db,
    signal_of_nobody,
)
from verifier.rules.compare.radio.expected import (
    JUDGED,
    Reference,
    arm_db,
    by_atpc_alone,
    expected_level,
    limits,
    overload,
    reference,
    too_low,
)
from verifier.rules.compare.radio.power import left_short
from verifier.rules.compare.radio.read import Read
from verifier.rules.compare.radio.weather import at_least, by_median, excused, held, some, wavered
from verifier.rules.radio import levels

TOGETHER_S = 2.0
"""Two samples further apart may be of different moments of a fade (requirement)."""
ENOUGH = 5
"""Samples of which the median is taken (requirement)."""
_TOO_LITTLE = "align again; look for an obstacle, a wrong polarisation, a bad line or joint"
_BENCH_LITTLE = (
    "nothing is to be aligned here: is more attenuation fitted than planned? Look at cables and "
    "connectors"
)
_BENCH_MUCH = "fit the planned attenuation first: too strong a signal harms a receiver"
RECIPROCITY_WARN_DB, RECIPROCITY_FAIL_DB = 3.0, 6.0
"""Two directions of one path differ by no more than what devices read wrong (common practice)."""


@dataclass(frozen=True, slots=True)
class Loss:
    """What the path to an end takes: median over pairs of samples, in dB."""

    db: float
    pairs: int
    reads: tuple[Read, ...]


def tolerance_db(near: CarrierEnd) -> float:
    """What a level at this end may be off."""
    assert near.context is not None
    return levels.tolerance_db(near.end, near.context.profile)


def measured_loss(near: CarrierEnd) -> Loss | str:
    """Far end's actual power less this end's level, else why it cannot be told.

    Each level with the power nearest to it in time, at most 2 s away; at least 5 of them.
    """
    sender = near.sender
    level, power = near.read("rx_level_dbm"), sender.read("tx_power_dbm")
    arm = arm_db(near)
    if gap := _loss_gap(near, sender, level, power):
        return gap
    if level is None or power is None or arm is None:
        return "the active device's antenna is not known, so its way cannot be compared"
    losses = [sent + arm - received for received, sent in _together(level, power)]
    if len(losses) < ENOUGH:
        return (
            f"{len(losses)} pairs of level and far power were sampled within {TOGETHER_S:g} s of "
            f"each other, {ENOUGH} are needed"
        )
    return Loss(statistics.median(losses), len(losses), (level, power))


def _loss_gap(near: CarrierEnd, sender: CarrierEnd, level: Read | None, power: Read | None) -> str:
    """Why one of the two figures is missing; empty where both are there."""
    if sender.context is None:
        return f"the far end {sender.end.device} was not asked"
    if level is not None and level.nothing:
        return "nothing is received, see radio.rx-level"
    if level is None or level.number is None:
        return near.missing("rx_level_dbm")
    if power is None or power.number is None:
        return f"the far end's actual power: {sender.missing('tx_power_dbm')}"
    return "the far end's transmitter is off" if sender.transmits is False else ""


def _together(level: Read, power: Read) -> Iterator[tuple[float, float]]:
    """Each level with the power nearest to it in time, where that is near enough."""
    powers = [(at, p) for at, p in power.samples if at is not None]
    for at, received in level.samples:
        if at is None or not powers:
            continue
        then, sent = min(powers, key=lambda s: abs((s[0] - at).total_seconds()))
        if abs((then - at).total_seconds()) <= TOGETHER_S:
            yield received, sent


def path_loss(near: CarrierEnd) -> Findings:
    """`radio.path-loss`: far power less level, against planned power less planned level.

    Holds at every stage, whatever ATPC or the modulation do to the power. Without a planned level
    it is against the computed one, where the far end's power is read or ATPC moves it.
    """
    if near.across.context is None:
        return
    planned, computed = _planned_loss(near)
    if isinstance(planned, str):
        if planned:
            yield near.finding("radio.path-loss", "not-tested", planned, at="rx_level_dbm",
                               unit="dB")  # fmt: skip
        return
    at = "bench_attenuation_db" if near.stage == "bench" else "rx_level_dbm"
    found = measured_loss(near)
    if isinstance(found, str):
        yield near.finding("radio.path-loss", "not-tested", found, at=at, expected=planned.value,
                           unit="dB")  # fmt: skip
        return
    over, tolerance = found.db - planned.value, tolerance_db(near)
    reason = (
        f"median of {found.pairs} samples {found.db:.1f} dB, planned {planned.value:.1f} dB "
        f"({planned.how}); {over:+.1f} dB, allowed {figure(tolerance)} dB"
    )
    reason += near_limit(abs(over) - tolerance, READ_DB)
    verdict: Verdict = "pass"
    advice = ""
    if (low := too_low(-over, tolerance, computed=computed)) is not None:
        verdict = low
        advice = _BENCH_LITTLE if near.stage == "bench" else _TOO_LITTLE
    elif over < -tolerance - EXACT_DB:
        verdict = "warn"
        reason += ": the path takes less than planned"
        advice = "are power, gains and losses in the plan those of what was built?"
        if near.stage == "bench":
            advice = _BENCH_MUCH
    finding = near.finding(
        "radio.path-loss", verdict, reason, at=at, expected=planned.value, observed=found.db,
        unit="dB", advice=advice, reads=found.reads,
    )  # fmt: skip
    still = wavered(near.read("rx_level_dbm"), near.stage, tolerance)
    finding = at_least(finding, near.read("rx_level_dbm"), more_is_right=True)
    yield by_median(excused(near, finding), [still])


def _planned_loss(near: CarrierEnd) -> tuple[levels.Expected | str, bool]:
    """What the path should take, and whether that is computed.

    Else why the acceptance, which rests on it where ATPC is on, is not possible; or empty.
    """
    found = reference(near)
    end = near.end if isinstance(found, str) else found.end
    far = near.far if near.stage == "bench" else near.planned_for.end
    planned = levels.planned_loss(end, far, near.stage)
    computed = isinstance(found, Reference) and bool(found.sum)
    if isinstance(planned, str):
        accepted = near.stage in JUDGED and near.sender.atpc_on and isinstance(found, Reference)
        return (f"ATPC is on at the far end, and {planned}" if accepted else ""), computed
    if computed and near.sender.number("tx_power_dbm") is None and not near.sender.atpc_on:
        return "", computed
    if isinstance(found, Reference) and computed:
        how = f"computed from the plan's own figures: {found.sum}"
        planned = levels.Expected(planned.value, how)
    return planned, computed


def reciprocity(hop: LiveCarrier) -> Findings:
    """`radio.reciprocity`: RX_a - RX_b against Tx_b - Tx_a + 20 log10(f_a / f_b), one-way losses.

    What both directions share cancels; what is left over is a transmitter, a receiver or a loss on
    one side only. Warned of over 3 dB, failed over 6 dB.
    """
    if hop.a.context is None or hop.b.context is None:
        return
    needed = [s.read(f) for s in hop.ends() for f in ("rx_level_dbm", "tx_power_dbm")]
    tilt = frequency_db(hop)
    if None in needed or (tilt is None and all(s.end.tx_mhz is None for s in hop.ends())):
        return
    to_a, to_b = measured_loss(hop.a), measured_loss(hop.b)
    if isinstance(to_a, str) or isinstance(to_b, str):
        end, why = ("a", to_a) if isinstance(to_a, str) else ("b", to_b)
        yield _of_hop(hop, "not-tested", f"towards end {end}: {why}")
        return
    if tilt is None:
        yield _of_hop(hop, "not-tested", "the frequencies of the two ends are not known")
        return
    one_way = radio.one_way_loss_db(hop.a.end, hop.b.end) - radio.one_way_loss_db(
        hop.b.end, hop.a.end
    )
    if hop.stage == "bench":
        tilt = one_way = 0.0
    off = to_b.db - to_a.db - tilt - one_way
    verdict: Verdict = "pass"
    if abs(off) > RECIPROCITY_WARN_DB + EXACT_DB:
        verdict = "fail" if abs(off) > RECIPROCITY_FAIL_DB + EXACT_DB else "warn"
    reason = (
        f"from a to b {to_b.db:.1f} dB, from b to a {to_a.db:.1f} dB; {tilt + one_way:+.1f} dB "
        f"of the difference is planned (frequencies, one-way losses), {off:+.1f} dB is left"
    )
    if verdict != "pass":
        reason += f": the way from {'a to b' if off > 0 else 'b to a'} takes more"
    evidence = tuple(o for loss in (to_a, to_b) for r in loss.reads for o in r.seen)
    yield _of_hop(hop, verdict, reason, off, evidence)


def _of_hop(
    hop: LiveCarrier,
    verdict: Verdict,
    reason: str,
    off: float | None = None,
    evidence: tuple[Observation[object], ...] = (),
) -> Finding:
    advice = ""
    if verdict in {"warn", "fail"}:
        advice = "compare power and level readings, feeders, couplers and filters of both ends"
    return Finding(
        check="radio.reciprocity",
        subject=hop.subject,
        verdict=verdict,
        reason=reason,
        expected=0.0,
        observed=None if off is None else round(off, 3),
        unit="dB",
        origin=hop.plan.origin("links", hop.link.name),
        advice=advice,
        evidence=tuple(dict.fromkeys(o.id for o in evidence)),
    )


def rx_level(near: CarrierEnd) -> Findings:
    """`radio.rx-level`: against what is expected at this stage; too much harms the receiver."""
    seen, at = near.read("rx_level_dbm"), "rx_level_dbm"
    if near.stage == "bench":
        at = "bench_rx_level_dbm"
    if seen is not None and (over := overload(near, seen)):
        yield over
        return
    if (strange := signal_of_nobody(near, seen)) is not None:
        yield strange
        return
    found = reference(near)
    if isinstance(found, str):
        yield from _without_level(near, found, seen)
        return
    planned = getattr(found.end, at)
    expected = expected_level(near)
    shown = expected if isinstance(expected, str) else expected.value
    if seen is not None and seen.nothing:
        yield excused(near, _nothing(near, at, shown, seen), short_db=outage_db(near))
        return
    if seen is None or seen.number is None or isinstance(expected, str):
        gap = near.missing("rx_level_dbm")
        known = seen is not None and seen.number is not None
        yield near.finding(
            "radio.rx-level", "not-tested", str(expected) if known else gap, at=at,
            expected=planned if isinstance(shown, str) else shown,
            observed=seen.number if seen is not None else None, unit="dBm", reads=(seen,),
        )  # fmt: skip
        return
    least = expected.value - tolerance_db(near)
    still = wavered(seen, near.stage, tolerance_db(near), least)
    judged = _judge_level(near, at, expected, seen, computed=bool(found.sum))
    yield held(at_least(judged, seen), still)


def _without_level(near: CarrierEnd, gap: str, seen: Read | None) -> Findings:
    """Neither a planned level nor a sum, as `gap` says; the receiver's limits hold all the same."""
    if seen is None:
        return
    if seen.nothing:
        if near.stage in JUDGED:
            yield excused(near, _nothing(near, "rx_level_dbm", gap, seen), short_db=outage_db(near))
        return
    unread = seen.number is None and near.sender.transmits is not False
    if gap or (unread and limits(near)):
        missing = near.missing("rx_level_dbm") if seen.number is None else gap
        yield near.finding("radio.rx-level", "not-tested", missing, at="rx_level_dbm",
                           observed=seen.number, unit="dBm", reads=(seen,))  # fmt: skip


def _judge_level(
    near: CarrierEnd, at: str, expected: levels.Expected, seen: Read, *, computed: bool
) -> Finding:
    level, tolerance = seen.number or 0.0, tolerance_db(near)
    off = level - expected.value
    reason = f"{off:+.1f} dB against {expected.value:.1f} dBm ({expected.how})"
    reason += near_limit(abs(off) - tolerance, READ_DB)
    verdict: Verdict = "pass"
    advice = ""
    if (low := too_low(off, tolerance, computed=computed)) is not None:
        verdict, reason = low, f"{reason}: too low, allowed {figure(tolerance)} dB"
        advice = _BENCH_LITTLE if near.stage == "bench" else _TOO_LITTLE
        if near.sender.transmits is False:
            reason += "; the far end's transmitter is off"
            advice = "switch the far end's transmitter on, when nobody is in front of its antenna"
    elif off > tolerance + EXACT_DB:
        verdict, reason = "warn", f"{reason}: more than planned"
        advice = "is the far end's power as planned, and the plan's path what was built?"
        if near.stage == "bench":
            advice = _BENCH_MUCH
    wanted = expected.value
    if verdict != "fail" and (left := left_short(near.sender, near)):
        verdict, wanted = "fail", left.required.dbm
        reason, advice = f"{reason}, but {left.reason}", "see radio.atpc"
    elif verdict == "pass" and (gap := by_atpc_alone(near)):
        verdict, reason, advice = "not-tested", f"{reason}, but {gap}", "write atpc_target_dbm"
    finding = near.finding(
        "radio.rx-level", verdict, reason, at=at, expected=wanted, observed=level,
        unit="dBm", advice=advice,
        reads=(seen, near.sender.read("tx_power_dbm"), near.sender.read("atpc")),
    )  # fmt: skip
    return excused(near, finding)


def _nothing(near: CarrierEnd, at: str, expected: float | str, seen: Read) -> Finding:
    """The device says that it receives nothing."""
    sender = near.sender
    shown = None if isinstance(expected, str) else expected
    off = sender.transmits is False
    if off and near.stage == "bench":
        return near.finding("radio.rx-level", "not-tested", "the far end's transmitter is off",
                            at=at, expected=shown, unit="dBm", reads=(seen,))  # fmt: skip
    reason = f"nothing is received{some(seen)}"
    advice = "does the far end transmit, on the planned frequency? "
    advice += "Look at cables and connectors" if near.stage == "bench" else "Then align again"
    if off:
        reason += ": the far end's transmitter is off"
        advice = "switch the far end's transmitter on, when nobody is in front of its antenna"
    return near.finding(
        "radio.rx-level", "fail", reason, at=at,
        expected=getattr(near.end, at) if shown is None else shown,
        unit="dBm", advice=advice, reads=(seen, sender.read("tx_enabled")),
    )  # fmt: skip
