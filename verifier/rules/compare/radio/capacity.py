"""Capacity: what is configured, what the feature key allows, what is carried now.

Three numbers, and the smallest explains the rest: a feature key is not a fault of the link, and a
lower modulation is told by `radio.modulation`.
"""

from __future__ import annotations

from dataclasses import dataclass

from verifier.model.result import VERDICTS, Verdict
from verifier.rules import radio
from verifier.rules.compare.context import Findings
from verifier.rules.compare.radio.carrier_end import CarrierEnd, figure
from verifier.rules.compare.radio.read import Read

_FIELDS = {
    "configured": "configured_capacity_mbps",
    "key": "key_capacity_mbps",
    "current": "current_capacity_mbps",
}
_SHARE, _LEAST = 0.01, 0.5
"""Devices round capacities: 1 %, at least half a Mbit/s, is no difference (common practice)."""


@dataclass(frozen=True, slots=True)
class _Numbers:
    """Figures in Mbit/s; None: not read, or not to be judged.

    Attributes:
        planned: the share of the planned capacity that this radio (or this device) carries.
        carriers: so many of the link's carriers are in the figures read.
    """

    planned: float | None
    planned_key: float | None
    carriers: int
    configured: float | None
    key: float | None
    current: float | None


def _short(value: float | None, wanted: float | None) -> bool:
    if value is None or wanted is None:
        return False
    return value < wanted - max(_LEAST, _SHARE * wanted)


def capacity(near: CarrierEnd) -> Findings:
    """`radio.capacity`: configured, key and current capacity against the plan."""
    link = near.link
    if (link.capacity_mbps is None and link.key_capacity_mbps is None) or near.standby:
        return
    reads = {name: near.read(field) for name, field in _FIELDS.items()}
    at = "capacity_mbps" if link.capacity_mbps is not None else "key_capacity_mbps"
    if all(r is None for r in reads.values()) and _told_elsewhere(near):
        return
    numbers = _numbers(near, reads)
    wanted = numbers.planned if numbers.planned is not None else numbers.planned_key
    gap = _gap(near, reads, numbers)
    if gap:
        yield near.finding("radio.capacity", "not-tested", gap, at=at, expected=wanted,
                           unit="Mbit/s", reads=reads.values())  # fmt: skip
        return
    verdict, reasons, advice = _judged(near, numbers)
    known = [v for v in (numbers.configured, numbers.key, numbers.current) if v is not None]
    yield near.finding(
        "radio.capacity", verdict, f"{_said(numbers)}: {'; '.join(reasons)}", at=at,
        expected=wanted, observed=min(known), unit="Mbit/s", advice=advice, reads=reads.values(),
    )  # fmt: skip


def _told_elsewhere(near: CarrierEnd) -> bool:
    """Whether the device gives one figure for all its radios, judged at the first."""
    if near.sole or near.radio == 1 or near.context is None:
        return False
    plain = {r.field for r in near.context.profile.reading if r.index is None}
    return bool(plain & set(_FIELDS.values()))


def _numbers(near: CarrierEnd, reads: dict[str, Read | None]) -> _Numbers:
    link, count = near.link, 1
    whole = any(r is not None and r.reading.index is None for r in reads.values())
    if whole and not near.sole:
        count = sum(s.end.device == near.end.device for s in (near, *near.others))
    count = min(count, radio.carrying(link))
    planned = link.capacity_mbps
    if planned is not None:
        planned = planned * count / radio.carrying(link)
    values = {n: r.number if r is not None else None for n, r in reads.items()}
    if near.stage in {"bench", "alignment"}:
        values["current"] = None
    return _Numbers(planned=planned, planned_key=link.key_capacity_mbps, carriers=count, **values)


def _gap(near: CarrierEnd, reads: dict[str, Read | None], numbers: _Numbers) -> str:
    """Why nothing can be judged; empty where something can."""
    if numbers.configured is None and numbers.key is None and numbers.current is None:
        return near.missing(*_FIELDS.values())
    there = reads["current"]
    if there is not None and there.gap and near.stage in {"handover", "service"}:
        return there.gap
    most = _most(near, numbers.carriers)
    if numbers.current is not None and most is not None and numbers.current > most * (1 + _SHARE):
        return (
            f"{figure(numbers.current)} Mbit/s is read, more than bits x bandwidth carry "
            f"({figure(most)} Mbit/s): is the profile's scale right?"
        )
    return ""


def _most(near: CarrierEnd, carriers: int) -> float | None:
    """Bits x bandwidth of the modulation in use, for each carrier (Nyquist: a symbol a hertz)."""
    seen = near.read("tx_modulation")
    word = seen.word if seen is not None else None
    bits = radio.bits_per_symbol(word) if word else None
    if bits is None or near.bandwidth_mhz is None:
        return None
    return carriers * bits * near.bandwidth_mhz


def _said(n: _Numbers) -> str:
    known = {"configured": n.configured, "key": n.key, "current": n.current}
    return ", ".join(f"{k} {figure(v)} Mbit/s" for k, v in known.items() if v is not None)


def _judged(near: CarrierEnd, n: _Numbers) -> tuple[Verdict, list[str], str]:
    """Verdict, what explains it, advice."""
    found: list[tuple[Verdict, str, str]] = []
    if _short(n.key, n.planned):
        why = f"the feature key allows {figure(n.key or 0)} Mbit/s only: no fault of the link"
        found.append(("warn", why, "order a key for the planned capacity"))
    elif _short(n.key, n.planned_key):
        why = f"the feature key allows less than the {figure(n.planned_key or 0)} Mbit/s ordered"
        found.append(("warn", f"{why}: no fault of the link", "load the key that was ordered"))
    if _short(n.configured, n.planned):
        by_key = n.key is not None and not _short(n.configured, n.key)
        if not (by_key and _short(n.key, n.planned)):
            why = f"configured for less than the {figure(n.planned or 0)} Mbit/s planned"
            found.append(("fail", why, "set the planned capacity, save, and read it again"))
    if _short(n.current, n.planned):
        found.append(_why_less(near, n))
    if not found:
        return "pass", ["as planned"], ""
    verdict = min((f[0] for f in found), key=VERDICTS.index)
    advice = next((a for v, _, a in found if v == verdict and a), "")
    return verdict, list(dict.fromkeys(reason for _, reason, _ in found)), advice


def _why_less(near: CarrierEnd, n: _Numbers) -> tuple[Verdict, str, str]:
    """Less is carried than planned: the smallest of key, configuration and modulation explains."""
    current, planned = n.current or 0.0, n.planned or 0.0
    limits: list[tuple[float, Verdict, str, str]] = []
    if n.key is not None and n.key < planned:
        limits.append((n.key, "warn", "the key explains what is carried", ""))
    if n.configured is not None and n.configured < planned:
        limits.append((n.configured, "warn", "the configuration explains what is carried", ""))
    seen = near.read("tx_modulation")
    word = seen.word if seen is not None else None
    if word and near.context is not None:
        mode = radio.mode_for(near.context.profile, word, near.bandwidth_mhz)
        bits, most = _most(near, n.carriers), near.link.modulation_max
        if not isinstance(mode, str) and mode.capacity_mbps is not None:
            bits = mode.capacity_mbps * n.carriers
        lower = most is not None and radio.plain_modulation(most) != radio.plain_modulation(word)
        verdict: Verdict = "pass" if lower and near.stage == "service" else "warn"
        if bits is not None and bits < planned:
            why = f"{word} carries {figure(bits)} Mbit/s"
            limits.append((bits, verdict, why, "see radio.modulation" if lower else ""))
        elif lower:
            limits.append((current, verdict, f"{word} is in use", "see radio.modulation"))
    fitting = [limit for limit in limits if not _short(current, limit[0])]
    if not fitting:
        return "fail", "less is carried than planned, and nothing that was read explains it", (
            "is traffic shaped on a port, or the modulation changing?"
        )  # fmt: skip
    _, verdict, why, advice = min(fitting, key=lambda limit: limit[0])
    return verdict, why, advice
