"""Looks at the present and the factory address of devices that were silent at their planned one."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping, Sequence
from typing import Literal

from verifier.errors import CannotMeasureError
from verifier.model.credentials import SnmpEntry
from verifier.model.laptop import Laptop
from verifier.model.observations import ECHO, OTHER_ADDRESS
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.model.search import AddressElsewhere, Candidate, SearchedPlace
from verifier.rules.compare.echo import alive
from verifier.rules.observations import Observations
from verifier.rules.search import identify
from verifier.rules.search.candidates import key_of, named
from verifier.rules.search.identity import Sought
from verifier.session.recorder import Recorder
from verifier.session.search.asking import AddressAsker, AskedWith, Manner, wires_of
from verifier.session.search.by_snmp import Asker
from verifier.session.world import SnmpManager, World

_MOST = 64
"""So many silent devices are looked for: of more, the way to all of them is the likelier fault."""
_MANNER = Manner(packets_per_s=150.0, timeout_s=0.3, probes=2, echoes=1, silent_too=False)
_SNMP_TIMEOUT_S = 1.0


class Elsewhere:
    """Where silent devices may be.

    Args:
        profiles: by id, those of the devices.
        credentials: by entry name; none where SNMP is not asked.
        stop: once set, it ends with what was seen.
    """

    def __init__(
        self,
        plan: Plan,
        profiles: Mapping[str, Profile],
        credentials: Mapping[str, SnmpEntry],
        world: World,
        stop: threading.Event,
    ) -> None:
        self._plan = plan
        self._profiles = profiles
        self._credentials = credentials
        self._world = world
        self._stop = stop

    async def look(
        self, laptop: Laptop, devices: Sequence[Device], records: Mapping[str, Recorder]
    ) -> None:
        """Notes what is at the other addresses of those of the devices that are silent."""
        silent = [d for d in devices if _silent(records[d.name])][:_MOST]
        wanted = {d.name: list(self._candidates(d)) for d in silent}
        if not any(wanted.values()):
            return
        asking = AddressAsker(
            self._world, laptop, AskedWith(asker=self._asker, entries=self._entries), _MANNER,
            frozenset(d.mac for d in silent if d.mac is not None), self._stop,
        )  # fmt: skip
        once = {key_of(c.address.address): c for several in wanted.values() for c in several}
        try:
            async with asking.opened(wires_of((), laptop), everything=False):
                await asking.ask(list(once.values()))
        except CannotMeasureError:
            return
        for device in silent:
            for candidate in wanted[device.name]:
                self._note(device, candidate, asking, records[device.name])

    def _note(
        self, device: Device, candidate: Candidate, asking: AddressAsker, record: Recorder
    ) -> None:
        answer = asking.answer(candidate)
        sought = Sought(
            plan=self._plan,
            device=device,
            profile=self._profiles.get(device.profile),
            macs=frozenset({device.mac} if device.mac is not None else ()),
        )
        (place,) = identify(sought, [(candidate, answer)], asking.heard)
        what: Literal["present", "factory"] = (
            "present" if candidate.kind == "present" else "factory"
        )
        record.note(
            OTHER_ADDRESS,
            AddressElsewhere(
                address=candidate.address.address,
                what=what,
                asked=answer.asked,
                seen=_seen(place),
                who=place.who,
            ),
            raw=answer.not_asked or None,
        )

    def _candidates(self, device: Device) -> Iterator[Candidate]:
        met = {key_of(device.address.address)}
        for at, kind, why in named(device, self._profiles):
            key = key_of(at.address)
            if kind in {"present", "factory"} and key not in met:
                met.add(key)
                yield Candidate(address=at, kind=kind, why=why, owner=device.name)

    def _owner(self, candidate: Candidate) -> Device:
        return next(d for d in self._plan.devices if d.name == candidate.owner)

    def _asker(self, client: SnmpManager, candidate: Candidate) -> Asker:
        return Asker(
            client=client,
            profile=self._profiles.get(self._owner(candidate).profile),
            timeout_s=_SNMP_TIMEOUT_S,
            retries=0,
            clock=self._world.clocks.now,
        )

    def _entries(self, candidate: Candidate) -> list[SnmpEntry]:
        device = self._owner(candidate)
        profile = self._profiles.get(device.profile)
        names = [device.snmp, profile.factory.snmp if profile is not None else None]
        wanted = (n for n in dict.fromkeys(names) if n is not None)
        return [self._credentials[n] for n in wanted if n in self._credentials]


def _seen(place: SearchedPlace) -> Literal["device", "likely", "another", "unknown", "nobody"]:
    return place.identity if place.answer.somebody or place.identity != "unknown" else "nobody"


def _silent(record: Recorder) -> bool:
    """Whether a device was asked by echo and gave no sign of life by any probe."""
    seen = Observations(
        entry.observation(number, record.subject) for number, entry in enumerate(record.seen)
    )
    sent = any(s.sent for s in seen.values(ECHO))
    return sent and not alive(seen)
