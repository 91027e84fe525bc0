"""Radio checks: one carrier with both ends in, findings out.

`OF_END` is asked of each end, `OF_HOP` of each carrier; what does not belong to a stage is left out
afterwards (`rules/stages.py`), what is right at a stage is said here.

A sound link never fails. Where two figures of the plan are at odds with what a device can tell (set
power to 0.5 dB, its own to 2 dB, level to its tolerance), what depends on them (EIRP, fade margin)
warns inside that. A bad link never passes: `steady` looks at every sample before a median may pass.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from verifier.model.plan import Link, Plan
from verifier.model.result import Finding
from verifier.model.subject import Subject
from verifier.rules import radio
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.radio import (
    capacity,
    eirp,
    level,
    manual,
    modulation,
    power,
    quality,
    settings,
    states,
    tx_power,
    xpic,
)
from verifier.rules.compare.radio.hop import (
    CarrierEnd,
    EndCheck,
    LiveCarrier,
    hops,
    is_radio,
    rounded,
)

OF_DEVICE = states.of_device
"""A check of one device, for the table of those."""
OF_END: tuple[EndCheck, ...] = (
    settings.tx_frequency,
    settings.rx_frequency,
    settings.bandwidth,
    settings.polarisation,
    settings.link_id,
    modulation.modulation,
    power.transmitter,
    tx_power.tx_power,
    eirp.eirp,
    power.atpc,
    level.rx_level,
    level.path_loss,
    quality.snr,
    quality.xpi,
    quality.lock,
    quality.fade_margin,
    capacity.capacity,
    states.of_radio,
    quality.far_end,
    manual.alignment_voltage,
)
OF_HOP: tuple[Callable[[LiveCarrier], Findings], ...] = (level.reciprocity, xpic.balance)


def radio_findings(plan: Plan, contexts: Mapping[str, Context]) -> Findings:
    """Every finding of the links at least one of whose devices was asked for.

    Args:
        plan: what should be.
        contexts: by name, of the devices that were asked for.
    """
    for hop in hops(plan, contexts):
        for side in hop.sides():
            if is_radio(side):
                for check in OF_END:
                    yield from check(side)
                yield from _sum_agrees(side)
        if all(map(is_radio, hop.sides())):
            for check_hop in OF_HOP:
                yield from check_hop(hop)
    for link in plan.links:
        yield from software_differs(plan, link, contexts)


def _sum_agrees(side: CarrierEnd) -> Findings:
    """The plan's level and ours agree: `pass` with the sum; else the plan's rule has warned."""
    level_dbm = side.end.rx_level_dbm
    found = radio.budget(side.link, side.far, side.end, side.km)
    if level_dbm is None or isinstance(found, str):
        return
    if abs(found.level_dbm - level_dbm) > radio.AGREE_DB:
        return
    yield side.finding(
        f"plan.{radio.OFF_BUDGET}", "pass", f"our sum: {found.in_line()}{found.gas_words()}",
        at="rx_level_dbm", expected=level_dbm, observed=found.level_dbm, unit="dBm",
    )  # fmt: skip


def software_differs(plan: Plan, link: Link, contexts: Mapping[str, Context]) -> Findings:
    """`link.software-differs`: both ends of one family run the same software, else a warning."""
    pairs = dict.fromkeys((c.a.device, c.b.device) for c in link.carriers)
    for a, b in pairs:
        one, other = contexts.get(a), contexts.get(b)
        if one is None or other is None or one.profile.id != other.profile.id:
            continue
        seen = [c.seen.first("software") for c in (one, other)]
        if any(c.snmp_gap for c in (one, other)) or any(o is None or not o.value for o in seen):
            continue
        found = [str(o.value).strip() for o in seen if o is not None]
        same = found[0] == found[1]
        number = next(c.carrier for c in link.carriers if (c.a.device, c.b.device) == (a, b))
        yield Finding(
            check="link.software-differs",
            subject=Subject("link", link.name, carrier=number if len(pairs) > 1 else None),
            verdict="pass" if same else "warn",
            reason="both ends run the same software"
            if same
            else "the two ends run different software",
            expected="the same at both ends",
            observed=found[0] if same else f"{a}: {found[0]}, {b}: {found[1]}",
            origin=plan.origin("links", link.name),
            advice="" if same else "bring both ends to one version, the far end first",
            evidence=tuple(o.id for o in seen if o is not None),
        )


__all__ = ["OF_DEVICE", "OF_END", "OF_HOP", "CarrierEnd", "radio_findings", "rounded"]
