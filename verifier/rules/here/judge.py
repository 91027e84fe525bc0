"""What stands at one place of the cable, and whether it is right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from verifier.model.here import (
    HereDevice,
    HereItem,
    HereLevel,
    HereState,
    Transmitter,
    Verdict,
)
from verifier.model.observations import Observation
from verifier.model.plan import Device
from verifier.model.result import Finding
from verifier.model.search import CandidateKind
from verifier.rules.compare.radio.read import truth_of
from verifier.rules.here import items
from verifier.rules.here.items import Sorted
from verifier.rules.here.next_step import ESSENTIAL, NextStep, meaning
from verifier.rules.here.places import Occupied
from verifier.rules.here.seen import ON_THE_WAY, Seen
from verifier.rules.observations import by_device
from verifier.rules.search.candidates import key_of


def judge(seen: Seen, at: Occupied) -> HereDevice:
    """What stands at one place."""
    return _Judge(seen, at).device()


@dataclass(frozen=True, slots=True)
class _Judge:
    seen: Seen
    at: Occupied

    def device(self) -> HereDevice:
        state = self.state()
        found = self.sorted(state)
        verdict = self.verdict(state, found)
        answer, device = self.at.place.answer, self.at.device
        planned = self.planned()
        mac = answer.macs[0] if len(answer.macs) == 1 else answer.port_mac
        told = (
            _BY_LEVEL if self.low(found) else frozenset()
        )  # said by the levels, and by the verdict
        wrong = (
            *self.wrong(state),
            *(i for i in found.wrong if i.what.removeprefix("there ") not in told),
        )
        return HereDevice(
            state=state,
            verdict=verdict,
            device="" if device is None or len(self.at.likely) > 1 else device.name,
            who=self.who(),
            asked="" if planned is None else planned.name,
            half="" if planned is None else planned.tx_band or "",
            address=self.at.at,
            planned=None if device is None else device.address,
            interface=answer.interface,
            serial=answer.serial,
            mac=mac,
            radio=self.is_radio(),
            transmitter=self.transmitter() if self.is_radio() else None,
            reached=self.reached(),
            levels=() if state in {"another", "shared"} else self.levels(),
            right=self.right(state, found),
            wrong=wrong,
            cautions=found.cautions,
            unread=found.unread if self.was_read() else self.not_asked(),
            means=meaning(self.seen, found),
            do=NextStep(self.seen, self.at, planned, found, self.was_read()).words(state),
            words=self.words(state, found),
        )

    def words(self, state: HereState, found: Sorted) -> str:
        """The verdict in words."""
        planned = self.planned()
        if state == "another":
            return (
                f"wrong device for {(planned and (planned.site or planned.name)) or 'this place'}"
            )
        if state != "planned":
            device = "right device" if not self.at.likely else "a device without its name"
            return _WORDS[state].format(device=device)
        reach = "reachable" if self.reached() else "not reachable"
        return self.low(found) or f"right device, {reach}, {self.settings(found)}"

    def settings(self, found: Sorted) -> str:
        """What its settings come to."""
        if found.failed:
            return failed_words(found.failed)
        if not self.was_read():
            return "its settings were not read"
        unread = [i.what for i in found.unread]
        if set(unread) & set(ESSENTIAL):
            return f"not read: {', '.join(dict.fromkeys(unread))}"
        count = len(found.cautions)
        cautions = f"; {count} warning{'s' if count > 1 else ''}" if count else ""
        return f"settings right{cautions}"

    def low(self, found: Sorted) -> str:
        """What is said where levels alone are low; else empty."""
        levels = [f for f in found.failed if f.check == "radio.rx-level"]
        if not levels or any(items.word(f.check) not in _BY_LEVEL for f in found.failed):
            return ""
        places = [v for v in self.levels() if v.difference_db is not None and v.difference_db < 0]
        if len(levels) > 1 and len(places) > 1:
            return "level low both ways"
        return f"level low {places[0].place}" if len(places) == 1 == len(levels) else ""

    # -- which state ------------------------------------------------------------------------------

    def planned(self) -> Device | None:
        """The device that belongs here: the one asked for, else the one whose place it is."""
        if self.seen.asked is not None:
            return self.seen.asked
        claim = self.at.claim
        if claim is not None and claim.kind == "factory" and self.at.device is not None:
            return self.at.device
        return claim.device if claim is not None else self.at.device

    def state(self) -> HereState:
        at, device, planned = self.at, self.at.device, self.planned()
        if at.shared:
            return "shared"
        if device is None:
            return "stranger" if at.place.identity == "another" else "unidentified"
        if planned is not None and device.name != planned.name:
            return "another"
        own = (device.address, *(o.address for o in device.other_addresses))
        if key_of(at.at.address) in {key_of(a.address) for a in own}:
            return "planned"
        kind = at.claim.kind if at.claim is not None else at.place.candidate.kind
        return _UNMOVED.get(kind, "elsewhere")

    def verdict(self, state: HereState, found: Sorted) -> Verdict:
        if state == "unidentified":
            return "not-tested"
        if state != "planned" or found.wrong or found.failed:
            return "fail"
        essential = {i.what for i in found.unread} & set(ESSENTIAL)
        return "pass" if self.was_read() and not essential else "not-tested"

    def was_read(self) -> bool:
        """Whether it was asked what it is set to."""
        device = self.at.device
        return device is not None and device.name in self.seen.read

    def reached(self) -> bool:
        answer = self.at.place.answer
        return bool(answer.echo) or answer.snmp == "answered"

    def who(self) -> str:
        at = self.at
        if at.device is not None and len(at.likely) < 2:  # noqa: PLR2004
            return at.device.name
        if at.likely:
            return f"one of {', '.join(at.likely)}"
        if at.place.who:
            return at.place.who
        macs = ", ".join(str(m) for m in at.place.answer.macs)
        return macs or "somebody"

    # -- what it is like --------------------------------------------------------------------------

    def sorted(self, state: HereState) -> Sorted:
        seen, device = self.seen, self.at.device
        if seen.result is None or device is None or not self.was_read():
            return Sorted()
        found = items.sort(
            seen.plan,
            device,
            seen.profiles[device.profile],
            seen.result,
            levels=bool(self.levels()),
            leaving=seen.leaving,
        )
        if not seen.on_site:  # the far end was not asked: it is on no bench
            every = (*found.wrong, *found.cautions, *found.unread)
            found = found.without({i.what for i in every if i.what.startswith("there ")})
        if state == "planned":
            return found
        if state in {"another", "shared"}:
            return Sorted()
        out = {"mask", "gateway", "further addresses"}
        return found.without(out | ({"name"} if state == "factory" else set()))

    def levels(self) -> tuple[HereLevel, ...]:
        seen, device = self.seen, self.at.device
        if seen.result is None or device is None or not self.was_read() or not seen.on_site:
            return ()
        return items.levels(seen.plan, device, seen.result, seen.age_s)

    def is_radio(self) -> bool:
        device = self.at.device or self.planned()
        if device is None:
            return False
        profile = self.seen.profiles.get(device.profile)
        ends = {
            end.device
            for link in self.seen.plan.links
            for carrier in link.carriers
            for _, end in carrier.ends()
        }
        return device.name in ends or (profile is not None and profile.kind == "radio")

    def transmitter(self) -> Transmitter:
        """Whether any radio of the device transmits, by its reading."""
        seen, device = self.seen, self.at.device
        if seen.result is None or device is None:
            return "not-read"
        observations: Sequence[Observation[object]] = seen.result.observations
        read = by_device(observations).get(device.name)
        values = [] if read is None else [o.value for o in read.readings("tx_enabled")]
        known = [on for v in values if (on := truth_of(v)) is not None]
        if any(known):
            return "on"
        return "off" if known and len(known) == len(values) else "not-read"

    def right(self, state: HereState, found: Sorted) -> tuple[str, ...]:
        known = (
            []
            if self.at.device is None or state in {"another", "stranger", "shared"}
            else ["identity"]
        )
        if state == "planned":
            known.append("address")
        rest = [r for r in found.right if r not in known]
        wrong = {i.what for i in found.wrong}
        return tuple(r for r in (*known, *rest) if r not in wrong)

    def wrong(self, state: HereState) -> tuple[HereItem, ...]:
        """What the place itself says is wrong."""
        at, device, planned = self.at, self.at.device, self.planned()
        if state == "shared":
            listed = ", ".join(str(m) for m in at.place.answer.macs)
            return (HereItem(what="address", words=f"several devices answer for it: {listed}"),)
        if state in {"another", "stranger"}:
            by = _known_by(at)
            words = f"this is {self.who()}{self.half()}"
            if state == "stranger":
                words = f"this is {self.who()}, no device of the plan"
            return (HereItem(what=by, words=words),)
        if state in {"present", "factory", "elsewhere"} and device is not None:
            name = {
                "present": "not moved yet",
                "factory": "never set",
            }.get(state, at.place.candidate.why)
            words = f"planned {device.address}, found {at.at} ({name})"
            return (HereItem(what="address", words=words),)
        del planned
        return ()

    def half(self) -> str:
        """Which half of a hop a device is, and where it belongs."""
        device = self.at.device
        if device is None:
            return ""
        band = f", {device.tx_band} half" if device.tx_band else ""
        return f"{band}, for {device.site}" if device.site else band

    def not_asked(self) -> tuple[HereItem, ...]:
        """Why its settings are not known."""
        answer = self.at.place.answer
        if (fit := self.seen.fit(self.at)) is not None and fit.relation not in ON_THE_WAY:
            own = fit.laptop_address or "no address"
            words = f"this laptop has {own}, and none beside {self.at.at}"
        elif answer.snmp not in {None, "answered"}:
            words = f"SNMP: {answer.snmp}"
        elif self.at.device is not None and self.at.device.snmp is None:
            words = "the plan names no SNMP credentials for it"
        elif answer.snmp is None:
            words = "SNMP was not asked: no credentials at hand"
        else:
            return ()
        return (HereItem(what="settings", words=words),)


_UNMOVED: Mapping[CandidateKind, HereState] = {"present": "present", "factory": "factory"}
_WORDS: Mapping[HereState, str] = {
    "present": "{device}, not moved yet",
    "factory": "{device}, never set",
    "elsewhere": "{device}, wrong address",
    "no-address": "{device}, says no address",
    "stranger": "no device of the plan",
    "shared": "several devices at one address",
    "unidentified": "who is there cannot be told",
}
_BY_LEVEL = frozenset(
    {
        "level", "path loss", "reciprocity", "SNR", "fade margin", "capacity", "modulation", "lock",
    }
)  # fmt: skip
"""What a low level takes with it."""


def _known_by(at: Occupied) -> str:
    answer = at.place.answer
    if answer.serial is not None:
        return f"serial {answer.serial}"
    if len(answer.macs) == 1:
        return f"MAC {answer.macs[0]}"
    return f"name {answer.name}" if answer.name else "identity"


def failed_words(failed: Sequence[Finding]) -> str:
    """What failed, in few words."""
    words = list(dict.fromkeys(items.word(f.check) for f in failed))
    gone = [f for f in failed if f.check == "address.gateway" and f.observed in {None, "none"}]
    if words == ["gateway"] and gone:
        return "gateway missing"
    shown = words[:3]
    listed = " and ".join([", ".join(shown[:-1]), shown[-1]]) if len(shown) > 1 else shown[0]
    more = f" and {len(words) - len(shown)} more" if len(words) > len(shown) else ""
    return f"{listed}{more} wrong"
