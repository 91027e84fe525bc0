"""Looks for a device that does not answer where it should: asks at a low rate, listens, judges.

`look_for` does it all; the rules say where to look and what it means (`rules.search`).
"""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace

from verifier.errors import UsageError
from verifier.model.address import Address, Interface, Mac
from verifier.model.credentials import SnmpEntry
from verifier.model.fit import Fit, System
from verifier.model.laptop import Laptop
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.model.runbook import SetDevice
from verifier.model.search import Candidate, SearchedPlace, SearchResult
from verifier.probes.cable.arp import PROBE_MIN_S
from verifier.probes.laptop import look as this_machine
from verifier.rules.fit.commands import tagged_interface
from verifier.rules.fit.suggest import present, taken_addresses
from verifier.rules.readdress import readdress
from verifier.rules.readdress.request import Wish, task
from verifier.rules.search import Sought, candidates, chosen, judge, tag_of, taken_for
from verifier.session.laptop import fit as laptop_fit
from verifier.session.recorder import Clock, timestamp, utc_now
from verifier.session.search.course import SearchRun

PACKETS_PER_S = 20.0
"""Echoes, ARP probes and SNMP requests together: low, for a device's processor is small."""


def _nothing(what: object) -> None:
    """Says nothing."""
    del what


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """Which device is looked for, and how.

    Attributes:
        profiles: by id, all the plan's.
        credentials: by entry name: the device's, the factory's of its profile, those of others.
        temporary: addresses it may have been given on its way, besides those of the runbook.
        macs, engine_ids: what was seen of the device before, besides the plan's.
        interfaces: of this laptop, to be asked and heard on; all with a cable if empty.
        timeout_s: wait for an echo, and between two ARP probes for one address.
        routes_at: who has this address is asked for its default route too.
        listen_s: how long to listen if asking has not found it; None: not at all.
        show: called with all candidates before anything is sent.
        say: called with what is going on.
    """

    plan: Plan
    device: Device
    profiles: Mapping[str, Profile]
    credentials: Mapping[str, SnmpEntry] = field(default_factory=dict)
    temporary: tuple[Interface, ...] = ()
    macs: frozenset[Mac] = frozenset()
    engine_ids: frozenset[str] = frozenset()
    interfaces: tuple[str, ...] = ()
    routes_at: Interface | None = None
    listen_s: float | None = None
    packets_per_s: float = PACKETS_PER_S
    timeout_s: float = PROBE_MIN_S
    snmp_timeout_s: float = 2.0
    snmp_retries: int = 1
    show: Callable[[Sequence[Candidate]], None] = _nothing
    say: Callable[[str], None] = _nothing
    clock: Clock = utc_now

    @property
    def sought(self) -> Sought:
        """The device, for the rules."""
        device = self.device
        return Sought(
            plan=self.plan,
            device=device,
            profile=self.profiles.get(device.profile),
            macs=self.macs | ({device.mac} if device.mac is not None else frozenset()),
            engine_ids=self.engine_ids,
        )


def look_for(search: Search) -> SearchResult:
    """Where the device is. An interrupt ends it early; what was seen so far is judged.

    Raises:
        UsageError: no interface of that name.
        CannotMeasureError: not even this machine can be read.
    """
    started = timestamp(search.clock())
    laptop = this_machine.look()
    wanted = candidates(
        search.plan,
        search.device,
        search.profiles,
        temporary=(*search.temporary, *_temporary(search)),
        own=_own(laptop),
    )
    looking = SearchRun(search, laptop, _interfaces(search, laptop), wanted)
    interrupted = asyncio.run(looking.run())
    return _found(search, laptop, looking, started, interrupted=interrupted)


def _own(laptop: Laptop) -> list[Address]:
    return [a.address for i in laptop.interfaces for a in i.addresses]


def _interfaces(search: Search, laptop: Laptop) -> tuple[str, ...]:
    """Those to ask and listen on: the named ones, else every one with a carrier."""
    known = {i.name: i for i in laptop.interfaces}
    for name in search.interfaces:
        if name not in known:
            raise UsageError(f"no interface {name!r} at this laptop; it has {', '.join(known)}")
    wanted = search.interfaces or tuple(known)
    media = {"cable", "wifi", "unknown"}
    return tuple(n for n in wanted if known[n].up and known[n].medium in media)


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


def _found(
    search: Search, laptop: Laptop, looking: SearchRun, started: str, *, interrupted: bool
) -> SearchResult:
    sought, places, heard = search.sought, looking.places(), looking.heard()
    place = chosen(sought, places)
    fit = None if place is None else _fit(search, laptop, place, looking)
    where = judge(sought, places, heard, fit, listened=bool(looking.listened_on))
    planned = search.device.address
    notes = list(looking.notes)
    if any(a.value == planned.address.value for a in _own(laptop)):
        notes.insert(0, f"this laptop itself holds the planned address {planned.address}")
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
        finished=timestamp(search.clock()),
        interrupted=interrupted,
        up_since=None if place is None else place.answer.up_since,
        fit=fit,
        listened_on=looking.listened_on,
        places=places,
        heard=heard,
    )


def _fit(search: Search, laptop: Laptop, place: SearchedPlace, looking: SearchRun) -> Fit:
    """How this laptop stands to the device where it is, and which address reaches it."""
    taken = taken_addresses(search.plan, search.profiles, _own(laptop))
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
        system=_system(),
        interface=interface,
    )
    (fit,) = laptop_fit.answer(question).devices
    if vlan is not None:
        return _tagged(fit, interface, vlan)
    if at == known:
        return fit
    words = f"no answer reaches this laptop at {fit.laptop_address}; its mask is not known"
    if fit.suggested is not None:
        words += f": {fit.suggested} is beside it under every mask up to /{at.prefix}"
    return replace(fit, explanation=words)


def _tagged(fit: Fit, interface: str | None, vlan: int) -> Fit:
    """The same by an interface that tags, for a device whose frames carry a tag."""
    lines = tagged_interface(interface, vlan, _system())
    own = fit.suggested or fit.laptop_address
    note = f"only an interface that tags with VLAN {vlan} reaches it: {'; '.join(lines)}"
    if own is not None:
        note += f"; then set {own} on that one, and not on {interface}"
    verdict = fit.verdict if fit.verdict == "fail" else "warn"
    return replace(fit, verdict=verdict, suggested=None, commands=(), notes=(note,))


def _system() -> System:
    return laptop_fit.SYSTEMS.get(sys.platform, "linux")
