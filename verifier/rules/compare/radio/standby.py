"""Hot standby and space diversity: who transmits, and whom a planned level is of."""

from __future__ import annotations

from typing import TYPE_CHECKING

from verifier.rules import radio
from verifier.rules.compare.radio.read import number_of

if TYPE_CHECKING:
    from verifier.rules.compare.radio.hop import CarrierEnd

_MUTED_DB = 10.0
"""A transmitter that reads so much below its least does not radiate: our own choice."""


def output_muted(side: CarrierEnd) -> bool:
    """Whether a protected transmitter reads that nothing leaves it.

    Its state may be an administrative one: a standby can be enabled and mute its output.
    """
    power = side.read("tx_power_dbm") if side.others else None
    if power is None or not power.seen:
        return False
    usual = [side.end.tx_power_dbm, side.end.atpc_min_dbm, side.number("tx_power_set_dbm")]
    least = min((dbm for dbm in usual if dbm is not None), default=0.0) - _MUTED_DB
    shown = [number_of(o.value) for o in power.seen]
    known = [dbm for dbm in shown if dbm is not None]
    return power.nothing or (bool(known) and max(known) < least)


def sender(side: CarrierEnd) -> CarrierEnd:
    """The far transmitter that is on, where one is; else the one that the level is planned of."""
    far = side.across
    on = [one for one in (far, *far.others) if one.transmits]
    return on[0] if len(on) == 1 else side.planned_for


def planned_for(side: CarrierEnd) -> CarrierEnd:
    """The far transmitter whose signal the planned level is of.

    A second receiver hears the first transmitter, and its planned level is of that one, unless the
    plan's own figures say that it is of its partner.
    """
    far = side.across
    main = min((far, *far.others), key=lambda s: s.carrier.carrier)
    first = main.across
    own, other = side.end.rx_level_dbm, first.end.rx_level_dbm
    if main is far or own is None:
        return far
    if other is None:
        return main
    sent, received = arms_db(far, main), arms_db(side, first, receiving=True)
    if sent is None or received is None:
        return main
    powers = far.end.tx_power_dbm, main.end.tx_power_dbm
    if powers[0] is not None and powers[1] is not None:
        sent += powers[0] - powers[1]
    differs = own - other - received
    return main if abs(differs) <= abs(differs - sent) else far


def arms_db(one: CarrierEnd, other: CarrierEnd, *, receiving: bool = False) -> float | None:
    """How much more one end's antenna and lines give than another's; None: not known alike.

    In hot standby both may feed one antenna over couplers of different loss.
    """
    gains = [radio.antenna_gain_dbi(s.end, s.end.tx_mhz) for s in (one, other)]
    lose = radio.losses_before_receiver_db if receiving else radio.losses_after_transmitter_db
    losses = [lose(s.end) for s in (one, other)]
    if gains == [None, None]:
        gains = [0.0, 0.0]
    if gains[0] is None or gains[1] is None:
        return None
    return gains[0] - gains[1] - losses[0] + losses[1]
