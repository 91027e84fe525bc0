"""What a receiver bears: overload and damage, judged at every stage, whatever is planned."""

from __future__ import annotations

from verifier.model.result import Finding
from verifier.rules.compare.radio.carrier_end import EXACT_DB, CarrierEnd, figure
from verifier.rules.compare.radio.read import Read


def limits(side: CarrierEnd) -> list[tuple[float, str, str]]:
    """What the receiver bears, the worst first: limit in dBm, what happens above it, advice."""
    assert side.context is not None
    bears = side.context.profile.limits
    known = (
        (bears.rx_damage_dbm, "the receiver is damaged above",
         "caution: mute the far transmitter now, then put an attenuator in"),
        (bears.rx_max_dbm, "the receiver is overloaded above",
         "lower the far end's power, or put an attenuator in"),
    )  # fmt: skip
    return [(limit, what, advice) for limit, what, advice in known if limit is not None]


def overload(side: CarrierEnd, seen: Read) -> Finding | None:
    """A level over what the receiver takes, at any stage and in any sample."""
    values = [v for _, v in seen.samples]
    level = max(values, default=seen.number)
    if level is None:
        return None
    shown = f"{figure(level)} dBm"
    if seen.number is not None and level - seen.number > EXACT_DB:
        shown += f" in one of {len(values)} samples"
    for limit, what, advice in limits(side):
        if level > limit + 1e-6:
            return side.finding(
                "radio.rx-level", "fail", f"{shown}: {what} {figure(limit)} dBm",
                expected=limit, observed=level, unit="dBm", advice=advice, silences=True,
                reads=(seen,),
            )  # fmt: skip
    return None
