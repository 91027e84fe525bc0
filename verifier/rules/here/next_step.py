"""What a fault on the cable comes from, and the one thing to do next."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from verifier.model.here import HereState
from verifier.model.plan import Device
from verifier.model.result import Cause
from verifier.rules.here import items
from verifier.rules.here.items import Sorted
from verifier.rules.here.places import Occupied
from verifier.rules.here.seen import ON_THE_WAY, Seen
from verifier.rules.search.candidates import key_of

ESSENTIAL = ("mask", "gateway", "name")
"""What must have been read before a device counts as right: who it is, and how it is reached."""
_SETTINGS = {"address.mask": "mask", "address.gateway": "gateway", "identity.name": "name"}
_TRIVIAL = frozenset(
    {
        "mask-wrong", "gateway-wrong", "name-wrong", "settings-unsaved", "device-silent",
        "test-mode", "muted", "wrong-device", "nothing-answers", "cable-out", "plan-wrong",
    }
)  # fmt: skip
"""Causes that say no more than the one finding that they explain."""
_WEIGHT = {"certain": 0, "likely": 1, "possible": 2}
_POINTING = {"side-lobe", "side-lobes-both", "misaligned", "polarisation-turned", "path-loss"}


def cause(seen: Seen, found: Sorted) -> Cause | None:
    """The cause that most of what failed comes from; None where none is known."""
    if seen.result is None:
        return None
    failed = {f.id for f in found.failed}
    mine = [c for c in seen.result.causes if failed & set(c.for_)]
    mine.sort(key=lambda c: (-len(failed & set(c.for_)), _WEIGHT[c.certainty]))
    return mine[0] if mine else None


def meaning(seen: Seen, found: Sorted) -> str:
    """What failed comes from, and how sure that is; empty where it says nothing new."""
    known = cause(seen, found)
    if known is None or known.kind in _TRIVIAL:
        return ""
    sure = {"certain": "", "likely": "likely: ", "possible": "possibly: "}[known.certainty]
    return f"{sure}{known.text}"


@dataclass(frozen=True, slots=True)
class NextStep:
    """What is to be done about one place of the cable.

    Attributes:
        planned: the device that belongs there; None: nobody.
        read: whether its settings were read.
    """

    seen: Seen
    at: Occupied
    planned: Device | None
    found: Sorted
    read: bool

    def words(self, state: HereState) -> str:
        """The one thing to do; empty where all is right."""
        return _STEPS[state](self)

    def of_shared(self) -> str:
        """Two at one address."""
        return f"take one of the devices off the cable, then: {self.seen.again()}"

    def of_stranger(self) -> str:
        """No device of the plan."""
        return f"unplug it, or correct the plan; then: {self.seen.again()}"

    def of_another(self) -> str:
        """Where it took the planned device's settings, the two were exchanged."""
        planned, device = self.planned, self.at.device
        assert planned is not None
        assert device is not None
        taken = (planned.address, planned.present_address)
        if key_of(self.at.at.address) in {key_of(a.address) for a in taken if a is not None}:
            return "exchange the two devices; change no setting"
        site = f" to {device.site}" if device.site else ""
        return f"take it{site}, plug in {planned.name}, then: {self.seen.again()}"

    def of_unidentified(self) -> str:
        """It is asked from an address beside it, else by what the plan lacks."""
        return self.reach_it() or (
            "give the plan its credentials (snmp) or its hardware address (mac); then: "
            + self.seen.again()
        )

    def of_heard(self) -> str:
        """It is on the cable and says no address."""
        return f"restart it: it announces its address then; {self.seen.again('--watch')}"

    def reach_it(self) -> str:
        """How this laptop comes to reach it; empty where it does."""
        fit = self.seen.fit(self.at)
        if fit is None or fit.relation in ON_THE_WAY or fit.suggested is None:
            return ""
        return self.seen.again("--set-laptop")

    def of_unmoved(self) -> str:
        """What is to be set in a device that is not at its planned address."""
        device = self.at.device
        assert device is not None
        if len(self.at.likely) > 1:
            wanted = "its planned address, gateway and name"
        else:
            wanted = str(device.address)
            wanted += f", gateway {device.gateway}" if device.gateway is not None else ""
            answer = self.at.place.answer
            if answer.snmp == "answered" and answer.name != device.name:
                wanted += f", name {device.name}"
        check = "compare its serial number with the plan; then " if self.at.likely else ""
        return f"{check}set {wanted}, save, then: {self.seen.again('--watch')}"

    def of_planned(self) -> str:
        """About what failed, else about what was not read."""
        if not self.read and (how := self.reach_it()):
            return how
        if self.found.failed:
            return self.mend()
        unread = {i.what for i in self.found.unread}
        return self.seen.again() if unread & set(ESSENTIAL) else ""

    def mend(self) -> str:
        """The one thing to do about what failed."""
        failed = self.found.failed
        settings = [f for f in failed if f.check in _SETTINGS]
        if settings and len(settings) == len(failed):
            wanted = ", ".join(f"{_SETTINGS[f.check]} {items.figure(f.expected)}" for f in settings)
            return f"set {wanted}, save, then: {self.seen.again('--watch')}"
        known = cause(self.seen, self.found)
        low = [f for f in failed if f.check == "radio.rx-level"]
        if low and self.seen.on_site and (known is None or known.kind in _POINTING):
            return self.seen.command.typed("align", low[0].subject.name)
        if known is not None and known.try_first:
            return known.try_first
        return next((f.advice for f in failed if f.advice), self.seen.again())


_STEPS: Mapping[HereState, Callable[[NextStep], str]] = {
    "planned": NextStep.of_planned,
    "present": NextStep.of_unmoved,
    "factory": NextStep.of_unmoved,
    "elsewhere": NextStep.of_unmoved,
    "no-address": NextStep.of_heard,
    "another": NextStep.of_another,
    "stranger": NextStep.of_stranger,
    "shared": NextStep.of_shared,
    "unidentified": NextStep.of_unidentified,
}
