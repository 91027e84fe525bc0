"""One end of a carrier and its device: what a radio check may look at, and how it speaks.

In hot standby and space diversity it also says who transmits, and whom a planned level is of.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from verifier.model.observations import Observation
from verifier.model.plan import Carrier, End, EndName, Link, Plan, Stage
from verifier.model.problem import Origin, Subject
from verifier.model.result import Figure, Finding, Verdict
from verifier.rules import radio
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.echo import answered
from verifier.rules.compare.radio.read import Read, find, is_mhz, number_of, read
from verifier.rules.compare.snmp import answered_elsewhere
from verifier.rules.outage import Uplinks, caution

EXACT_DB = 0.05
"""Levels are shown with one decimal: what differs by less is equal."""
POWER_DB = 0.5
"""What a power may differ from the plan (contract: comparing)."""
READ_DB = 1.0
"""How well a receiver knows its level, SNR and discrimination. Common practice, no source."""
HOT_STANDBY = frozenset({"1+1-hsb", "1+1-sd"})
"""One transmitter of two is on at a time; with frequency diversity both are."""


@dataclass(frozen=True)
class CarrierEnd:
    """One end of a carrier, and its device.

    Attributes:
        context: of the device; None: it was not asked for.
        far: what the other end is planned to be.
        sole: the device has only this radio.
        others: the same end of the link's other carriers.
        facing: the other end of this carrier, alone in its list.
        km: length of the path, where the plan or its sites tell it.
        uplinks: which way the plan's devices are managed.
    """

    plan: Plan
    link: Link
    carrier: Carrier
    name: EndName
    end: End
    far: End
    stage: Stage
    context: Context | None
    sole: bool
    others: list[CarrierEnd] = field(default_factory=list, repr=False)
    facing: list[CarrierEnd] = field(default_factory=list, repr=False)
    km: float | None = None
    uplinks: Uplinks | None = field(default=None, repr=False, compare=False)

    @property
    def subject(self) -> Subject:
        """The end."""
        return Subject("link", self.link.name, carrier=self.carrier.carrier, end=self.name)

    @property
    def radio(self) -> int:
        """The N of `radio:N`."""
        return self.end.radio if self.end.radio is not None else self.carrier.carrier

    @cached_property
    def gap(self) -> str:
        """Why the device tells nothing; empty where it answered."""
        if self.context is None:
            return f"{self.end.device} was not asked"
        if self.context.itself:
            return "this laptop holds the device's address, see laptop.fit"
        if (why := self.context.snmp_gap) is None:
            return ""
        if answered(self.context) or answered_elsewhere(self.context):
            return why
        fit = self.context.fit
        if fit is not None and fit.verdict == "fail":
            return "this laptop does not reach the device, see laptop.fit"
        return "the device gave no answer at all, see echo.reply"

    @cached_property
    def _reads(self) -> dict[str, Read | None]:
        return {}

    def read(self, *fields: str) -> Read | None:
        """The first of these readings that the profile has; None where it has none of them."""
        for name in fields:
            if name not in self._reads:
                self._reads[name] = self._read(name)
            if (found := self._reads[name]) is not None:
                return found
        return None

    def _read(self, name: str) -> Read | None:
        if self.context is None:
            return None
        found = find(self.context.profile, name, self.radio, sole=self.sole)
        if found is None:
            return None
        if self.gap:
            return Read(reading=found[1], name=found[0], gap=self.gap)
        return read(self.context, *found)

    def number(self, *fields: str) -> float | None:
        """The value of that reading, where it is a number."""
        found = self.read(*fields)
        return found.number if found is not None else None

    def truth(self, name: str) -> bool | None:
        """Yes or no of that reading; None where it is not read."""
        found = self.read(name)
        return found.truth if found is not None else None

    def missing(self, *fields: str) -> str:
        """Why that reading has no value, in words."""
        found = self.read(*fields)
        if found is not None and found.nothing:
            return "nothing is received"
        if found is not None:
            return found.gap or f"{found.word!r} is none of the words of {fields[0]}"
        if self.context is None or self.gap:
            return self.gap
        several = "" if self.sole else f" of radio {self.radio}"
        names = " or ".join(fields)
        return f"profile {self.context.profile.id!r} has no reading for {names}{several}"

    @property
    def transmits(self) -> bool | None:
        """Whether its transmitter is on; None where that is not read."""
        on = self.truth("tx_enabled")
        return False if on and self.output_muted else on

    @cached_property
    def output_muted(self) -> bool:
        """Whether it is a hot standby that is enabled and reads that nothing leaves it."""
        return self.link.protection in HOT_STANDBY and _output_muted(self)

    @property
    def atpc_on(self) -> bool:
        """Whether ATPC is on: as read, else as planned."""
        seen = self.truth("atpc")
        return bool(self.end.atpc) if seen is None else seen

    @property
    def standby(self) -> bool:
        """Whether it is rightly off: another carrier's transmitter of this end is on."""
        return (
            self.link.protection in HOT_STANDBY
            and self.transmits is False
            and any(other.transmits for other in self.others)
        )

    @property
    def across(self) -> CarrierEnd:
        """The other end of the carrier."""
        return self.facing[0]

    @property
    def sender(self) -> CarrierEnd:
        """The end that this one receives from: in hot standby the far one that is on."""
        return _sender(self) if self.link.protection in HOT_STANDBY else self.across

    @cached_property
    def planned_for(self) -> CarrierEnd:
        """The far transmitter whose signal the planned level is of."""
        return _planned_for(self) if self.link.protection in HOT_STANDBY else self.across

    @property
    def bandwidth_mhz(self) -> float | None:
        """In use: as read, else as planned; the planned one where the reading is it, rounded."""
        seen, planned = self.read("bandwidth_mhz"), self.link.bandwidth_mhz
        if seen is None or seen.number is None:
            return planned
        if planned is not None and is_mhz(seen, planned):
            return planned
        return seen.number

    @property
    def heard_mhz(self) -> float | None:
        """The frequency this end receives on, as planned, else as either end reads it."""
        planned = self.far.tx_mhz
        return planned or self.across.number("tx_mhz") or self.number("rx_mhz")

    def finding(  # noqa: PLR0913
        self,
        check: str,
        verdict: Verdict,
        reason: str,
        *,
        at: str = "",
        origin: Origin | None = None,
        expected: Figure = None,
        observed: Figure = None,
        unit: str | None = None,
        advice: str = "",
        silences: bool = False,
        reads: Iterable[Read | None] = (),
        evidence: Iterable[Observation[object]] = (),
    ) -> Finding:
        """A finding of this end; `at` is the planned field, of the end or else of the link.

        `origin` says instead where the planned value stands; `silences`: who follows the advice
        takes the link down, so it says whose management goes with it.
        """
        if silences and advice and (words := self._caution()):
            advice = f"{advice}. {words}"
        return Finding(
            check=check,
            subject=self.subject,
            verdict=verdict,
            reason=reason,
            expected=rounded(expected),
            observed=rounded(observed),
            unit=unit,
            origin=self.origin(at) if origin is None else origin,
            advice=advice,
            evidence=tuple(
                dict.fromkeys(
                    [*(o.id for r in reads if r is not None for o in r.seen),
                     *(o.id for o in evidence)]
                )
            ),
        )  # fmt: skip

    def _caution(self) -> str:
        """See `rules.outage.caution`; on the bench no link is built."""
        if self.uplinks is None or self.stage == "bench":
            return ""
        here, there = self.end.device, self.far.device
        cut = self.uplinks.over(here, there) or self.uplinks.over(there, here)
        return caution(self.link.name, cut)

    def origin(self, at: str) -> Origin | None:
        """Where a field of the end, the carrier or the link was written."""
        number = str(self.carrier.carrier)
        if hasattr(self.end, at):
            return self.plan.origin("links", self.link.name, number, self.name, at)
        if hasattr(self.carrier, at):
            return self.plan.origin("links", self.link.name, number, at)
        return self.plan.origin("links", self.link.name, *((at,) if at else ()))


def rounded(value: Figure) -> Figure:
    """A number as a report shows it: to a thousandth."""
    return round(value, 3) if isinstance(value, float) else value


figure = radio.figure


def near_limit(beyond: float, accuracy: float) -> str:
    """Words that a figure is within its reading's accuracy of a limit; else empty.

    It is judged as it reads all the same: simple acceptance, no guard band.
    """
    return "; near the limit" if abs(beyond) <= accuracy + 1e-6 else ""


if TYPE_CHECKING:
    from verifier.rules.compare.radio.carrier_end import CarrierEnd
_MUTED_DB = 10.0
"""A transmitter that reads so much below its least does not radiate: our own choice."""


def _output_muted(near: CarrierEnd) -> bool:
    """Whether a protected transmitter reads that nothing leaves it.

    Its state may be an administrative one: a standby can be enabled and mute its output.
    """
    power = near.read("tx_power_dbm") if near.others else None
    if power is None or not power.seen:
        return False
    usual = [near.end.tx_power_dbm, near.end.atpc_min_dbm, near.number("tx_power_set_dbm")]
    least = min((dbm for dbm in usual if dbm is not None), default=0.0) - _MUTED_DB
    shown = [number_of(o.value) for o in power.seen]
    known = [dbm for dbm in shown if dbm is not None]
    return power.nothing or (bool(known) and max(known) < least)


def _sender(near: CarrierEnd) -> CarrierEnd:
    """The far transmitter that is on, where one is; else the one that the level is planned of."""
    far = near.across
    on = [one for one in (far, *far.others) if one.transmits]
    return on[0] if len(on) == 1 else near.planned_for


def _planned_for(near: CarrierEnd) -> CarrierEnd:
    """The far transmitter whose signal the planned level is of.

    A second receiver hears the first transmitter, and its planned level is of that one, unless the
    plan's own figures say that it is of its partner.
    """
    far = near.across
    main = min((far, *far.others), key=lambda s: s.carrier.carrier)
    first = main.across
    own, other = near.end.rx_level_dbm, first.end.rx_level_dbm
    if main is far or own is None:
        return far
    if other is None:
        return main
    sent, received = arms_db(far, main), arms_db(near, first, receiving=True)
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


EndCheck = Callable[[CarrierEnd], Findings]
