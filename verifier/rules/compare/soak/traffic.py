"""`traffic.loss` and `traffic.round-trip`: the link judged by hosts beyond both its ends."""

from __future__ import annotations

import math
from collections.abc import Sequence

from verifier.model.address import Address
from verifier.model.laptop import Laptop
from verifier.model.plan import Plan
from verifier.model.problem import Subject
from verifier.model.result import Finding, Verdict
from verifier.rules.compare.context import Findings
from verifier.rules.compare.soak.context import Soaking, rests_on
from verifier.rules.compare.soak.echo import loss_words, rtt_words
from verifier.rules.soak.tally import EchoFigures


def pairs(plan: Plan) -> tuple[tuple[str, str], ...]:
    """The traffic pairs as names; what is no pair is left out (a rule of the plan says so)."""
    found = [tuple(part.strip() for part in pair.split(">"))
             for pair in plan.acceptance.traffic_pairs]  # fmt: skip
    return tuple((p[0], p[1]) for p in found if len(p) == 2 and all(p))  # noqa: PLR2004


def pair_hosts(plan: Plan) -> dict[str, Address | None]:
    """Each host of the pairs with its address: that of `management.hosts`, or written out."""
    known = {h.name: h.address for h in plan.management.hosts}
    found: dict[str, Address | None] = {}
    for name in (n for pair in pairs(plan) for n in pair):
        found[name] = known.get(name)
        if found[name] is None:
            try:
                found[name] = Address.parse(name)
            except ValueError:
                continue
    return found


def traffic(plan: Plan, soak: Soaking, laptop: Laptop | None) -> Findings:
    """Both checks for each pair.

    Echoes leave from this laptop, so a pair is judged by the host that is farther from it; where
    this laptop holds one host's address, it is that host.
    """
    hosts = pair_hosts(plan)
    own = {a.address.value for i in (laptop.interfaces if laptop else ()) for a in i.addresses}
    for pair in pairs(plan):
        nameless = [n for n in pair if hosts[n] is None]
        if nameless:
            why = f"the plan gives no address for {' and '.join(nameless)} (management.hosts)"
            yield from _untested(plan, pair, why)
            continue
        away = [n for n in pair if (a := hosts[n]) is not None and a.value not in own]
        seen = {n: [f for f in soak.came_to.of(Subject("host", n)) if f.sent] for n in away}
        if not seen or any(not figures for figures in seen.values()):
            why = soak.cut_short or "this laptop could send no echo to one of the two"
            yield from _untested(plan, pair, why)
            continue
        from_here = len(away) < len(pair)
        for check in (_loss, _rtt):
            yield rests_on(check(plan, soak, pair, seen, from_here=from_here), soak)


def _subject(pair: tuple[str, str]) -> Subject:
    return Subject("host", ">".join(pair))


def _untested(plan: Plan, pair: tuple[str, str], why: str) -> Findings:
    for check in ("traffic.loss", "traffic.round-trip"):
        yield Finding(
            check=check,
            subject=_subject(pair),
            verdict="not-tested",
            reason=why,
            origin=plan.origin("acceptance", "traffic_pairs"),
        )


def _where(pair: tuple[str, str], farther: str, *, from_here: bool) -> str:
    nearer = pair[0] if farther == pair[1] else pair[1]
    if from_here:
        return f"from this laptop, which is {nearer}, to {farther}: "
    return f"from this laptop past {nearer} to {farther}: "


def _loss(
    plan: Plan,
    soak: Soaking,
    pair: tuple[str, str],
    seen: dict[str, list[EchoFigures]],
    *,
    from_here: bool,
) -> Finding:
    limit = plan.acceptance.max_loss_pct
    by_host = {name: loss_words(figures) for name, figures in seen.items()}
    farther = max(by_host, key=lambda n: (by_host[n][0], _p95(seen[n])))
    pct, worst_pct, reason = by_host[farther]
    near = [f"{n}: {w[2]}" for n, w in by_host.items() if n != farther]
    over = worst_pct > limit if limit is not None else pct > 0
    verdict: Verdict = "pass" if not over else "warn" if limit is None else "fail"
    reason = _where(pair, farther, from_here=from_here) + "; ".join((reason, *near))
    if over and limit is None:
        reason += "; the plan sets no limit"
    return _finding(plan, soak, pair, "loss", verdict, reason,
                    observed=round(worst_pct if over else pct, 4),
                    expected=0 if limit is None else limit, unit="%",
                    limit=None if limit is None else "max_loss_pct")  # fmt: skip


def _p95(figures: Sequence[EchoFigures]) -> float:
    return max(f.percentiles_ms[1] for f in figures)


def _rtt(
    plan: Plan,
    soak: Soaking,
    pair: tuple[str, str],
    seen: dict[str, list[EchoFigures]],
    *,
    from_here: bool,
) -> Finding:
    limit = plan.acceptance.max_rtt_p95_ms
    farther = max(seen, key=lambda n: _p95(seen[n]))
    worst_ms = _p95(seen[farther])
    near = [f"{n}: {rtt_words(f)}" for n, f in seen.items() if n != farther]
    over = not math.isfinite(worst_ms) or (limit is not None and worst_ms > limit)
    verdict: Verdict = "pass" if not over else "warn" if limit is None else "fail"
    reason = _where(pair, farther, from_here=from_here)
    reason += "; ".join((rtt_words(seen[farther]), *near))
    return _finding(plan, soak, pair, "round-trip", verdict, reason,
                    observed=round(worst_ms, 3) if math.isfinite(worst_ms) else None,
                    expected=limit, unit="ms",
                    limit=None if limit is None else "max_rtt_p95_ms")  # fmt: skip


def _finding(  # noqa: PLR0913, PLR0917
    plan: Plan,
    soak: Soaking,
    pair: tuple[str, str],
    check: str,
    verdict: Verdict,
    reason: str,
    *,
    observed: float | None,
    expected: float | None,
    unit: str,
    limit: str | None,
) -> Finding:
    settled, why = soak.settled(verdict, reason)
    advice = "look for interference, load, a wrong duplex setting or a bad cable on the way"
    return Finding(
        check=f"traffic.{check}",
        subject=_subject(pair),
        verdict=settled,
        reason=why,
        expected=expected,
        observed=observed,
        unit=unit,
        origin=plan.origin("acceptance", limit or "traffic_pairs"),
        advice=advice if settled in {"fail", "warn"} else "",
    )
