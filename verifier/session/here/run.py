"""One look at the cable: who is there, addresses borrowed to reach them, their settings read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Self

from verifier.errors import CannotMeasureError, UsageError
from verifier.model.address import Interface
from verifier.model.here import HereItem, HereResult
from verifier.model.laptop import Fit, Laptop
from verifier.model.observations import Observation
from verifier.model.plan import Device, Plan
from verifier.model.result import Result
from verifier.rules.compare.judge import compare
from verifier.rules.here import verdict
from verifier.rules.here.places import Occupied
from verifier.rules.here.seen import ON_THE_WAY, Seen
from verifier.rules.search.candidates import key_of
from verifier.session import laptop as laptop_fit
from verifier.session.here.look import HereLook
from verifier.session.here.request import HereRequest
from verifier.session.laptop import LaptopAddresses
from verifier.session.recorder import timestamp
from verifier.session.request import Probing, Request
from verifier.session.run import run
from verifier.session.search.asking import wires_of
from verifier.session.world import World

_PROBING = Probing(echoes=3, interval_s=0.05, timeout_s=0.5, snmp_timeout_s=0.8, snmp_retries=1)
"""Who is asked has just answered; the far end of its link may be silent, and is not waited for."""
_MOST_BORROWED = 8


@dataclass(slots=True, kw_only=True)
class Hold:
    """Addresses that were borrowed for one or several looks; a context manager.

    Attributes:
        interface: where they are set.
    """

    request: HereRequest
    world: World
    addresses: list[Interface] = field(default_factory=list)
    refused: bool = False
    _holder: LaptopAddresses | None = None
    _until: ExitStack = field(default_factory=ExitStack)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self._until.close()

    def also(self, interface: str, addresses: Sequence[Interface]) -> bool:
        """Has these too; whether it did. A person is asked once."""
        new = [a for a in dict.fromkeys(addresses) if a not in self.addresses]
        new = new[: _MOST_BORROWED - len(self.addresses)]
        if not new or self.refused:
            return False
        if self._holder is None:
            if not self.request.may_borrow(interface, new):
                self.refused = True
                return False
            holder = LaptopAddresses(interface, self.request.say, self.world.laptop)
            self._holder = self._until.enter_context(holder)
        self._holder.hold([*self.addresses, *new])
        self.addresses += new
        return True


def here(request: HereRequest, world: World, hold: Hold, *, quick: bool = False) -> HereResult:
    """What is on the cable now.

    `quick`: nobody is looked for where they should not be; for one look of many.
    Raises CannotMeasureError where not even this machine can be read, UsageError for an interface
    that it does not have.
    """
    return _HereLook(request, world, hold).result(quick=quick)


class _HereLook:
    def __init__(self, request: HereRequest, world: World, hold: Hold) -> None:
        self._request, self._world, self._hold = request, world, hold
        self._clocks = world.clocks
        self._notes: list[str] = []
        self._interrupted = False

    def result(self, *, quick: bool) -> HereResult:
        request, world = self._request, self._world
        started, began_s = timestamp(self._clocks.now()), self._clocks.monotonic_s()
        laptop = world.laptop.look()
        self._refuse_unknown(laptop)
        out = verdict.without_link(laptop, next(iter(request.interfaces), None))
        seen = self._seen(laptop, began_s, quick=quick) if not out else Seen(
            plan=request.plan, profiles=request.profiles, stage=request.stage,
            asked=request.device, command=request.command,
        )  # fmt: skip
        found = verdict.devices(seen)
        state, judged, words, do = verdict.whole(found, out)
        return HereResult(
            plan=request.plan.network.name,
            stage=request.stage,
            leaving=request.leaving,
            device="" if request.device is None else request.device.name,
            started=started,
            finished=timestamp(self._clocks.now()),
            state=state,
            verdict=judged,
            words=words,
            do=do,
            cables=verdict.cables(laptop, request.interfaces, request.plan, request.device),
            devices=found,
            sought_s=round(self._clocks.monotonic_s() - began_s, 1),
            boots_s=verdict.boots_s(request.plan, seen),
            open=_open(seen.result) if request.leaving else (),
            borrowed=tuple(self._hold.addresses),
            notes=tuple(dict.fromkeys(self._notes)),
            interrupted=self._interrupted,
        )

    def _refuse_unknown(self, laptop: Laptop) -> None:
        known = [i.name for i in laptop.interfaces]
        for name in self._request.interfaces:
            if name not in known:
                raise UsageError(f"no interface {name!r} at this laptop; it has {', '.join(known)}")

    def _seen(self, laptop: Laptop, began_s: float, *, quick: bool) -> Seen:
        request, world = self._request, self._world
        looking = HereLook(request, world, laptop, wires_of(request.interfaces, laptop))
        world.run(looking.first())
        self._reach(looking)
        if not looking.found() and not quick:
            self._borrow_for_all(looking)
            left_s = request.looks_s - (self._clocks.monotonic_s() - began_s)
            world.run(looking.longer(left_s))
            self._reach(looking)
        found = looking.found()
        fits = self._fits(found)
        result, names = self._read(found, fits)
        self._notes += looking.notes
        return Seen(
            plan=request.plan,
            profiles=request.profiles,
            stage=request.stage,
            asked=request.device,
            occupied=found,
            result=result,
            read=names,
            fits=fits,
            heard=looking.heard,
            age_s=_ages(result.observations, self._clocks.now()) if result is not None else {},
            command=request.command,
            leaving=request.leaving,
        )

    # -- addresses of this laptop -----------------------------------------------------------------

    def _fits(self, found: Sequence[Occupied]) -> dict[tuple[int, int], Fit]:
        """How this laptop stands to who is at each place."""
        return {key_of(o.at.address): self._fit(o.device, o.at, o) for o in found}

    def _fit(self, device: Device | None, at: Interface, place: Occupied | None = None) -> Fit:
        request = self._request
        about = device or request.device or request.plan.devices[0]
        question = laptop_fit.FitQuestion(
            plan=request.plan,
            profiles=request.profiles,
            devices=(replace(about, present_address=at, present_gateway=None),),
            present=True,
            system=laptop_fit.SYSTEMS.get(self._world.laptop.platform, "linux"),
            interface=None if place is None else place.place.answer.interface,
        )
        return laptop_fit.answer(question, self._world.laptop).devices[0]

    def _reach(self, looking: HereLook) -> None:
        """Borrows an address beside everybody who was heard and cannot be asked; asks again."""
        lacking = [
            (o, fit.suggested)
            for o in looking.found()
            if (fit := self._fit(o.device, o.at, o)).relation not in ON_THE_WAY
            and fit.suggested is not None
        ]
        if not lacking:
            return
        interface = lacking[0][0].place.answer.interface or self._socket()
        if interface is not None and self._borrowed(interface, [a for _, a in lacking if a]):
            looking.moved(self._world.laptop.look())
            self._world.run(looking.again([o.place.candidate for o, _ in lacking]))

    def _borrow_for_all(self, looking: HereLook) -> None:
        """Nobody answers by ARP: an address in each subnet where a device may be, then again."""
        interface = self._socket()
        if interface is None:
            return
        wanted: dict[Interface, None] = {}
        for candidate in looking.where.candidates:
            claims = looking.where.of(candidate.address.address)
            fit = self._fit(claims[0].device, candidate.address)
            if fit.relation not in ON_THE_WAY and fit.suggested is not None:
                wanted[fit.suggested] = None
            if len(wanted) >= _MOST_BORROWED:
                break
        if wanted and self._borrowed(interface, list(wanted)):
            looking.moved(self._world.laptop.look())

    def _borrowed(self, interface: str, addresses: Sequence[Interface]) -> bool:
        try:
            return self._hold.also(interface, addresses)
        except CannotMeasureError as fault:
            self._notes.append(str(fault))
            return False

    def _socket(self) -> str | None:
        """The one interface that an address can be meant for."""
        laptop = self._world.laptop.look()
        names = self._request.interfaces or tuple(
            i.name for i in laptop.interfaces if i.up and i.medium in {"cable", "unknown"}
        )
        return names[0] if len(names) == 1 else None

    # -- settings ---------------------------------------------------------------------------------

    def _read(
        self, found: Sequence[Occupied], fits: Mapping[tuple[int, int], Fit]
    ) -> tuple[Result | None, frozenset[str]]:
        """What `verify` says of everybody who can be asked, where they are; and who that is."""
        request = self._request
        asked = {
            o.device.name: o
            for o in found
            if o.device is not None
            and not o.shared
            and o.place.answer.snmp == "answered"
            and fits[key_of(o.at.address)].relation in ON_THE_WAY
        }
        if request.device is not None and request.device.name in asked:
            asked = {request.device.name: asked[request.device.name]}
        if not asked:
            return None, frozenset()
        plan = replace(
            request.plan,
            devices=tuple(
                _where_it_is(d, asked[d.name]) if d.name in asked else d
                for d in request.plan.devices
            ),
        )
        wanted = set(asked) | self._far_ends(plan, asked)
        devices = [d for d in plan.devices if d.name in wanted]
        outcome = run(
            Request(
                command="verify",
                plan=plan,
                plan_sha256=request.plan_sha256,
                problems=(),
                stage=request.stage,
                devices=devices,
                names=tuple(d.name for d in devices),
                profiles=request.profiles,
                credentials=request.credentials,
                probing=_PROBING,
                observed=request.observed,
                ask_all=False,
            ),
            self._world,
        )
        self._interrupted = outcome.interrupted
        result = outcome.result
        return self._with_links(plan, result, devices), frozenset(asked)

    def _with_links(self, plan: Plan, result: Result, devices: Sequence[Device]) -> Result:
        """On the bench each end of a link is judged by itself: its far end was not asked."""
        request = self._request
        far = self._beyond(plan, {d.name for d in devices}) if request.stage == "bench" else set()
        if not far:
            return result
        both = [d for d in plan.devices if d in devices or d.name in far]
        judged = compare(
            plan, request.profiles, result.observations, stage=request.stage, devices=both
        )
        return replace(
            result,
            findings=judged.findings,
            causes=judged.causes,
            not_in_stage=judged.not_in_stage,
        )

    def _far_ends(self, plan: Plan, asked: Mapping[str, Occupied]) -> set[str]:
        """Devices at the other ends of the links of those on the cable, once links are built."""
        request = self._request
        if request.stage == "bench" or len(asked) > 1:
            return set()
        far = self._beyond(plan, set(asked))
        known = {d.name: d for d in plan.devices}
        return {n for n in far if known[n].snmp is None or known[n].snmp in request.credentials}

    @staticmethod
    def _beyond(plan: Plan, names: set[str]) -> set[str]:
        """The devices at the other ends of the links of these."""
        ends = [
            {end.device for _, end in carrier.ends()}
            for link in plan.links
            for carrier in link.carriers
        ]
        return {name for both in ends if both & names for name in both} - names


def _where_it_is(device: Device, at: Occupied) -> Device:
    """The device as the plan has it, at the address and with the credentials that it has now."""
    answer = at.place.answer
    moved = key_of(at.at.address) != key_of(device.address.address)
    return replace(
        device,
        address=at.at if moved else device.address,
        snmp=answer.credentials or device.snmp,
    )


def _ages(observations: Sequence[Observation[object]], now: datetime) -> dict[int, float]:
    return {
        o.id: (now - datetime.fromisoformat(o.at)).total_seconds() for o in observations if o.at
    }


def _open(result: Result | None) -> tuple[HereItem, ...]:
    if result is None:
        return ()
    return verdict.still_open([(n.what, n.reason, n.count) for n in result.not_asked])
