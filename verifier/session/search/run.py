"""Looks for a device that does not answer where it should: asks at a low rate, listens, judges.

`look_for` does it all; the rules say where to look and what it means (`rules.search`).
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

from verifier.errors import UsageError
from verifier.model.address import Address, Interface
from verifier.model.laptop import Fit, Laptop, System
from verifier.model.runbook import SetDevice
from verifier.model.search import SearchedPlace, SearchResult
from verifier.rules.fit.suggest import present, tagged_interface, taken_addresses
from verifier.rules.readdress import readdress
from verifier.rules.readdress.request import Wish, task
from verifier.rules.search import candidates, chosen, judge, tag_of, taken_for
from verifier.session import laptop as laptop_fit
from verifier.session.recorder import timestamp
from verifier.session.search.asking import wires_of
from verifier.session.search.course import SearchRun
from verifier.session.search.request import Search
from verifier.session.world import World


def look_for(search: Search, world: World) -> SearchResult:
    """Where the device is. An interrupt ends it early; what was seen so far is judged.

    Raises:
        UsageError: no interface of that name.
        CannotMeasureError: not even this machine can be read.
    """
    started = timestamp(world.clocks.now())
    laptop = world.laptop.look()
    looking = _begun(search, world, laptop)
    interrupted = world.run(looking.run())
    return _Ended(search, world, laptop, looking).result(started, interrupted=interrupted)


async def located(search: Search, world: World) -> tuple[SearchedPlace, ...]:
    """Each possible place and who answers there. The caller handles signals.

    Raises as `look_for`.
    """
    looking = _begun(search, world, world.laptop.look())
    await looking.glance()
    return looking.places()


def _begun(search: Search, world: World, laptop: Laptop) -> SearchRun:
    wanted = candidates(
        search.plan,
        search.device,
        search.profiles,
        temporary=(*search.temporary, *_temporary(search)),
        own=_own(laptop),
    )
    return SearchRun(search, world, laptop, _interfaces(search, laptop), wanted)


def _own(laptop: Laptop) -> list[Address]:
    return [a.address for i in laptop.interfaces for a in i.addresses]


def _interfaces(search: Search, laptop: Laptop) -> tuple[str, ...]:
    """Those to ask and listen on: the named ones, else every one with a carrier."""
    known = {i.name: i for i in laptop.interfaces}
    for name in search.interfaces:
        if name not in known:
            raise UsageError(f"no interface {name!r} at this laptop; it has {', '.join(known)}")
    return wires_of(search.interfaces, laptop)


def _temporary(search: Search) -> list[Interface]:
    """Addresses that the runbook gives the device for a while."""
    plan, device = search.plan, search.device
    at, _ = present(device, search.profiles.get(device.profile))
    if at == device.address:
        return []
    steps = readdress(plan, task(plan, search.profiles, Wish())).steps
    changes = [s for s in steps if isinstance(s, SetDevice) and s.device == device.name]
    return [step.to for step in changes if step.temporary]


# -- what comes of it -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Ended:
    """A search that has come to its end."""

    search: Search
    world: World
    laptop: Laptop
    looking: SearchRun

    def result(self, started: str, *, interrupted: bool) -> SearchResult:
        search, looking = self.search, self.looking
        sought, places, heard = search.sought, looking.places(), looking.heard()
        place = chosen(sought, places)
        fit = None if place is None else self._fit(place)
        where = judge(sought, places, heard, fit, listened=bool(looking.listened_on))
        planned = search.device.address
        notes = list(looking.notes)
        if any(a.value == planned.address.value for a in _own(self.laptop)):
            notes.insert(0, f"this laptop itself holds the planned address {planned}")
        where = replace(
            where,
            interface=where.interface or (fit.interface if fit is not None else None),
            notes=(*where.notes, *notes),
        )
        return SearchResult(
            **{f.name: getattr(where, f.name) for f in fields(where)},
            plan=search.plan.network.name,
            device=search.device.name,
            planned=planned,
            started=started,
            finished=timestamp(self.world.clocks.now()),
            interrupted=interrupted,
            up_since=None if place is None else place.answer.up_since,
            fit=fit,
            listened_on=looking.listened_on,
            places=places,
            heard=heard,
        )

    def _fit(self, place: SearchedPlace) -> Fit:
        """How this laptop stands to the device where it is, and which address reaches it."""
        search, looking = self.search, self.looking
        taken = taken_addresses(search.plan, search.profiles, _own(self.laptop))
        known = place.answer.held or place.candidate.address
        vlan = tag_of(search.sought, place, looking.heard())
        at = known if vlan is not None else taken_for(search.sought, place, taken)
        device = search.device
        if at != device.address:
            device = replace(device, present_address=at)
        interface = place.answer.interface or looking.on(at.address)
        question = laptop_fit.FitQuestion(
            plan=search.plan,
            profiles=search.profiles,
            devices=(device,),
            present=at != device.address,
            system=self._system(),
            interface=interface,
        )
        (fit,) = laptop_fit.answer(question, self.world.laptop).devices
        if vlan is not None:
            return self._tagged(fit, interface, vlan)
        if at == known:
            return fit
        words = f"no answer reaches this laptop at {fit.laptop_address}; its mask is not known"
        if fit.suggested is not None:
            words += f": {fit.suggested} is beside it under every mask up to /{at.prefix}"
        return replace(fit, explanation=words)

    def _tagged(self, fit: Fit, interface: str | None, vlan: int) -> Fit:
        """The same answer through a VLAN interface, for a device that sends tagged frames."""
        lines = tagged_interface(interface, vlan, self._system())
        own = fit.suggested or fit.laptop_address
        note = f"only an interface that tags with VLAN {vlan} reaches it: {'; '.join(lines)}"
        if own is not None:
            note += f"; then set {own} on that one, and not on {interface}"
        verdict = fit.verdict if fit.verdict == "fail" else "warn"
        return replace(fit, verdict=verdict, suggested=None, commands=(), notes=(note,))

    def _system(self) -> System:
        return laptop_fit.SYSTEMS.get(self.world.laptop.platform, "linux")
