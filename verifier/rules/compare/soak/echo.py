"""What the echoes of a soak say of each device: its management path, as they end at the device."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from verifier.model.observations import MTU, PathMtu
from verifier.model.result import Finding, Verdict
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.soak.context import Soaking, moment, rests_on, together
from verifier.rules.soak.tally import UNAVAILABLE_S, EchoFigures, words

_PATH = "management path: "
_LOSS_ADVICE = (
    "look for interference, load and bad cables; devices may answer echoes at low priority, so let "
    "hosts beyond both ends (traffic_pairs) judge the link"
)


def echoes(context: Context, soak: Soaking) -> Findings:
    """Loss, round trip, jitter, gaps, duplicates and reordering of echoes: `echo.*`."""
    figures = soak.came_to.of(context.subject)
    counted = [f for f in figures if f.sent]
    if not any(f.received for f in counted):
        yield from _nothing(context, soak, counted)
        return
    for check in (_loss, _rtt, _jitter, _gap, _duplicate, _reordered):
        yield rests_on(check(context, soak, counted), soak)


def _nothing(context: Context, soak: Soaking, counted: Sequence[EchoFigures]) -> Findings:
    sent = sum(f.sent for f in counted)
    why = "no echo of the soak could be counted: this laptop could not send, or not hear"
    if counted:
        why = f"none of the {sent} echoes of the soak was answered"
    for check in ("loss", "round-trip", "jitter", "gap", "duplicate", "reordered"):
        dead = check == "loss" and bool(counted)
        yield rests_on(
            context.finding(
                f"echo.{check}",
                "fail" if dead else "not-tested",
                _PATH + why,
                observed=100.0 if dead else None,
                unit="%" if dead else None,
            ),
            soak,
        )


def _finding(  # noqa: PLR0913
    context: Context,
    soak: Soaking,
    check: str,
    verdict: Verdict,
    reason: str,
    *,
    observed: float | None,
    unit: str | None,
    expected: float | None = None,
    limit: str | None = None,
    advice: str = "",
) -> Finding:
    settled, why = soak.settled(verdict, reason)
    missed = soak.gaps_of(context.device.name)
    if missed:
        why += f"; {words(sum(g.long_s for g in missed))} not counted, see laptop.soak"
    return context.finding(
        check,
        settled,
        _PATH + why,
        expected=expected,
        observed=observed,
        unit=unit,
        limit=limit,
        advice=advice if settled in {"fail", "warn"} else "",
    )


def loss_words(counted: Sequence[EchoFigures]) -> tuple[float, float, str]:
    """Loss of all sizes together, that of the worst size (both in percent), and words."""
    sent, lost = sum(f.sent for f in counted), sum(f.lost for f in counted)
    reason = f"{lost} of {sent} echoes lost"
    if lost:
        each = together(counted, "{f.lost} of {f.sent} of {bytes} byte")
        reason += f" ({each})" if each else ""
        silences: Counter[str] = Counter()
        for f in counted:
            silences.update(f.silences)
        reason += f"; {', '.join(silences)}" if silences else ""
    return 100.0 * lost / sent, max(f.loss_pct for f in counted), reason


def _loss(context: Context, soak: Soaking, counted: Sequence[EchoFigures]) -> Finding:
    limit = context.plan.acceptance.max_loss_pct
    pct, worst_pct, reason = loss_words(counted)
    verdict: Verdict = "pass"
    if limit is None:
        verdict = "warn" if pct > 0 else "pass"
        reason += "; the plan sets no limit" if pct > 0 else ""
    elif max(pct, worst_pct) > limit:
        verdict = "fail"
        if context.plan.acceptance.traffic_pairs:
            verdict = "warn"
            reason += "; the link is judged by its traffic pairs, see traffic.loss"
    shown = worst_pct if limit is not None and worst_pct > limit >= pct else pct
    return _finding(
        context, soak, "echo.loss", verdict, reason,
        observed=round(shown, 4), unit="%",
        expected=0 if limit is None else limit,
        limit=None if limit is None else "max_loss_pct",
        advice=_LOSS_ADVICE,
    )  # fmt: skip


def _ms(value: float) -> str:
    return f"{value:.3f}" if math.isfinite(value) else "unanswered"


def rtt_words(figures: Sequence[EchoFigures]) -> str:
    """Percentiles of each size."""
    return "; ".join(
        f"{f.target.bytes} byte: 50 % within {_ms(f.percentiles_ms[0])}, 95 % within "
        f"{_ms(f.percentiles_ms[1])}, 99 % within {_ms(f.percentiles_ms[2])} ms"
        for f in figures
    )


def _rtt(context: Context, soak: Soaking, counted: Sequence[EchoFigures]) -> Finding:
    limit = context.plan.acceptance.max_rtt_p95_ms
    worst_ms = max(f.percentiles_ms[1] for f in counted)
    reason = rtt_words(counted)
    verdict: Verdict = "pass"
    if not math.isfinite(worst_ms):
        verdict = "warn" if limit is None else "fail"
        reason += "; more than 5 % were not answered at all, which is no time"
    elif limit is not None and worst_ms > limit:
        verdict = "fail"
    if verdict == "fail" and context.plan.acceptance.traffic_pairs:
        verdict = "warn"
        reason += "; the link is judged by its traffic pairs, see traffic.round-trip"
    return _finding(
        context, soak, "echo.round-trip", verdict, reason,
        observed=round(worst_ms, 3) if math.isfinite(worst_ms) else None, unit="ms",
        expected=limit, limit=None if limit is None else "max_rtt_p95_ms",
        advice="look for load, interference or a detour on the way",
    )  # fmt: skip


def _jitter(context: Context, soak: Soaking, counted: Sequence[EchoFigures]) -> Finding:
    known = [f for f in counted if f.jitter_ms is not None]
    if not known:
        return _finding(
            context, soak, "echo.jitter", "not-tested", "fewer than two echoes were answered",
            observed=None, unit="ms",
        )  # fmt: skip
    reason = "; ".join(
        f"{f.target.bytes} byte: {f.jitter_ms:.3f} ms at the end, {f.jitter_most_ms:.3f} ms at most"
        for f in known
    )
    worst = max(f.jitter_ms or 0.0 for f in known)
    return _finding(
        context, soak, "echo.jitter", "pass", f"{reason} (RFC 3550 A.8)",
        observed=round(worst, 4), unit="ms",
    )  # fmt: skip


def _gap(context: Context, soak: Soaking, counted: Sequence[EchoFigures]) -> Finding:
    longest = max(counted, key=lambda f: f.gap_s)
    verdict: Verdict = "pass"
    reason = "no echo in a row was lost"
    if longest.gap_s:
        reason = f"longest time without a reply {words(longest.gap_s)}, {moment(longest.gap_at_s)}"
    if longest.gap_s >= UNAVAILABLE_S:
        verdict = "warn"
        reason += f"; {UNAVAILABLE_S:g} s and more are unavailable time (ITU-T G.826)"
    return _finding(
        context, soak, "echo.gap", verdict, reason, observed=round(longest.gap_s, 3), unit="s",
        advice="compare the moment with the device's log, the weather and the power supply",
    )  # fmt: skip


def _duplicate(context: Context, soak: Soaking, counted: Sequence[EchoFigures]) -> Finding:
    number = sum(f.duplicates for f in counted)
    return _none_wanted(
        context, soak, "echo.duplicate", number,
        f"{number} echoes were answered more than once" if number else "no reply came twice",
        "look for a second device at this address, a loop, or a doubled path",
    )  # fmt: skip


def _reordered(context: Context, soak: Soaking, counted: Sequence[EchoFigures]) -> Finding:
    number = sum(f.reordered for f in counted)
    return _none_wanted(
        context, soak, "echo.reordered", number,
        f"{number} replies were overtaken by a later one" if number else "no reply was overtaken",
        "look for parallel ways that share the load packet by packet",
    )  # fmt: skip


def _none_wanted(  # noqa: PLR0913, PLR0917
    context: Context, soak: Soaking, check: str, number: int, reason: str, advice: str
) -> Finding:
    """A count that is best 0 and no fault where it is not."""
    return _finding(
        context, soak, check, "warn" if number else "pass", reason, observed=number, unit=None,
        expected=0, advice=advice,
    )  # fmt: skip


def mtu(context: Context, soak: Soaking) -> Findings:
    """`echo.mtu`: an echo of the planned size that must not be divided is answered."""
    planned = context.plan.acceptance.mtu_bytes
    if planned is None:
        return
    seen = context.seen.first(MTU)
    verdict: Verdict = "not-tested"
    value = seen.value if seen is not None else None
    reason = (seen and seen.raw) or soak.cut_short or "no echo of that size was sent"
    if value is not None:
        verdict, reason = _mtu_verdict(value, planned)
    yield context.finding(
        "echo.mtu",
        verdict,
        reason,
        limit="mtu_bytes",
        expected=planned,
        observed=value.largest if value else None,
        unit="byte",
        advice="find the port on the way with the smaller MTU, and set the planned one"
        if verdict == "fail"
        else "",
        evidence=(seen,),
    )


def _mtu_verdict(value: PathMtu, planned: int) -> tuple[Verdict, str]:
    if value.passed:
        return "pass", f"a packet of {planned} byte passes undivided, there and back"
    if value.refused:
        return "not-tested", f"this laptop's own interface does not take {planned} byte whole"
    if value.largest is None:
        return "not-tested", "no echo was answered, of no size"
    told = ""
    if value.next_hop_mtu is not None:
        told = f"; {value.reporter} reports that it passes on {value.next_hop_mtu} byte at most"
    return "fail", f"{value.largest} byte pass undivided and no more{told}"
