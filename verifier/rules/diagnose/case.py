"""What a cause is concluded from: the findings by device and by hop; how a cause is made."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from typing import Literal

from verifier.model import mib
from verifier.model.kind import Kind
from verifier.model.observations import ECHO, ENGINE_ID, NEIGHBOUR, Observation
from verifier.model.plan import Carrier, Device, EndName, Link, Plan, Site, Stage
from verifier.model.problem import Subject
from verifier.model.profile import Profile
from verifier.model.result import Cause, Finding
from verifier.rules.diagnose.kinds import TRY_FIRST
from verifier.rules.observations import Observations, by_device

Certainty = Literal["likely", "possible"]
"""What a family of causes says of its own; that one is certain follows from the table of faults."""
Causes = Iterator[Cause]

UNTESTED = frozenset({"not-tested", "warn"})
"""Of a device that does not answer; a warning is then a check that may stay untested."""
WRONG = frozenset({"fail", "warn"})
_NO_SIGN_OF_LIFE = frozenset({"laptop", "plan", "manual"})
"""Layers of checks that say nothing of whether the device itself answers."""
_OF_BOTH = ("radio.path-loss", "not-tested")
"""What the path takes rests on what both its ends answer."""
_LARGEST = 1e12
"""No planned figure is larger; what an agent sends may be."""
_LOOKED_AT: frozenset[Kind] = frozenset(
    {NEIGHBOUR, mib.IF_PHYS_ADDRESS, mib.SYS_NAME, mib.SYS_UP_TIME, ECHO, ENGINE_ID}
)
"""Observations that causes look at; there may be hundreds of thousands of others."""
_NOTHING = Observations()


class DeviceFindings:
    """The findings of one device: of itself and its ports; and those of its ends of links.

    Attributes:
        found: what the device itself answered, or did not.
        of_ends: findings of a link that rest on what this device answers.
    """

    __slots__ = ("by_check", "device", "found", "name", "of_ends")

    def __init__(self, name: str, device: Device | None) -> None:
        self.name = name
        self.device = device
        self.found: list[Finding] = []
        self.of_ends: list[Finding] = []
        self.by_check: dict[str, list[Finding]] = {}

    @property
    def subject(self) -> Subject:
        """The device."""
        return Subject("device", self.name)

    def get(self, check: str, *verdicts: str) -> Finding | None:
        """The first finding of this check with one of these verdicts (any, if none is named)."""
        found = self.by_check.get(check, ())
        return next((f for f in found if not verdicts or f.verdict in verdicts), None)

    def all(self, checks: Iterable[str], *verdicts: str) -> list[Finding]:
        """Every finding of these checks with one of these verdicts."""
        return [f for c in checks for f in self.by_check.get(c, ()) if f.verdict in verdicts]

    def untested(self) -> list[Finding]:
        """What could not be tested of it, or only with a warning."""
        return [f for f in (*self.found, *self.of_ends) if f.verdict in UNTESTED]


class CarrierFindings:
    """The findings of one carrier of a link, by check and end."""

    def __init__(self, link: Link, carrier: Carrier) -> None:
        self.link = link
        self.carrier = carrier
        self.found: dict[tuple[str, str | None], Finding] = {}

    @property
    def subject(self) -> Subject:
        """The carrier; the link itself where it has one only."""
        several = len(self.link.carriers) > 1
        return Subject("link", self.link.name, carrier=self.carrier.carrier if several else None)

    def get(self, check: str, end: EndName | None, *verdicts: str) -> Finding | None:
        """The finding of this check at this end, if it has one of these verdicts (or any)."""
        finding = self.found.get((check, end))
        return finding if finding and (not verdicts or finding.verdict in verdicts) else None

    def all(
        self, checks: Iterable[str], ends: Iterable[EndName | None], *verdicts: str
    ) -> list[Finding]:
        """Every finding of these checks at these ends with one of these verdicts."""
        ends = tuple(ends)
        found = (self.get(c, e, *verdicts) for c in checks for e in ends)
        return [f for f in found if f is not None]

    def end(self, end: EndName) -> Subject:
        """One end of the carrier."""
        return Subject("link", self.link.name, carrier=self.carrier.carrier, end=end)

    def place(self, end: EndName | None = None) -> tuple[str | int, ...]:
        """This carrier, or one end of it, as a place of a fault."""
        here = (self.link.name, self.carrier.carrier)
        return here if end is None else (*here, end)

    def device(self, end: EndName) -> str:
        """Name of the device at this end."""
        return (self.carrier.a if end == "a" else self.carrier.b).device


class FindingIndex:
    """All findings of a run, sorted for looking up.

    Args:
        plan: what hangs on what.
        findings: of one run.
        observations: what they rest on, if at hand.
        profiles: by id, if at hand.
        stage: what the work has come to.
    """

    def __init__(
        self,
        plan: Plan,
        findings: Sequence[Finding],
        observations: Iterable[Observation[object]] = (),
        profiles: Mapping[str, Profile] | None = None,
        *,
        stage: Stage = "handover",
    ) -> None:
        self.plan = plan
        self.stage = stage
        self.findings = findings
        self.profiles = profiles or {}
        self.devices = {d.name: d for d in plan.devices}
        self.by_device: dict[str, DeviceFindings] = {}
        self.hops: dict[tuple[str, int], CarrierFindings] = {
            (link.name, c.carrier): CarrierFindings(link, c)
            for link in plan.links
            for c in link.carriers
        }
        self._of_link: dict[str, list[CarrierFindings]] = defaultdict(list)
        self.hops_at: dict[str, list[tuple[CarrierFindings, EndName]]] = defaultdict(list)
        for (name, _), hop in self.hops.items():
            self._of_link[name].append(hop)
            for end, at in hop.carrier.ends():
                self.hops_at[at.device].append((hop, end))
        self.behind_gateway: dict[tuple[str, str], list[str]] = defaultdict(list)
        for device in plan.devices:
            if device.gateway is not None:
                key = (device.address.subnet, str(device.gateway))
                self.behind_gateway[key].append(device.name)
        self.owners = {
            (check, str(value).strip().lower()): d.name
            for d in plan.devices
            for check, value in (("identity.serial", d.serial), ("neighbour.mac", d.mac))
            if value is not None
        }
        self.links: dict[str, list[Finding]] = defaultdict(list)
        self.passing: dict[str, list[Finding]] = defaultdict(list)
        self._sites = {site.name: site for site in plan.sites}
        self._behind: dict[str, frozenset[str]] = {}
        self.seen = by_device(o for o in observations if o.kind in _LOOKED_AT)
        for finding in findings:
            self._sort(finding)

    def _sort(self, finding: Finding) -> None:
        subject = finding.subject
        if finding.verdict == "pass":
            self.passing[finding.check].append(finding)
        if subject.kind in {"device", "port"}:
            device = self._device(subject.name)
            device.by_check.setdefault(finding.check, []).append(finding)
            if finding.check.partition(".")[0] not in _NO_SIGN_OF_LIFE:
                device.found.append(finding)
        elif subject.kind == "link":
            self.links[subject.name].append(finding)
            for hop in self.hops_of(subject):
                hop.found.setdefault((finding.check, subject.end), finding)
                if finding.check.partition(".")[0] in _NO_SIGN_OF_LIFE:
                    continue
                ends: tuple[EndName, ...] = ("a", "b") if subject.end is None else (subject.end,)
                if (finding.check, finding.verdict) == _OF_BOTH:
                    ends = ("a", "b")
                for end in ends:
                    self._device(hop.device(end)).of_ends.append(finding)

    def hops_of(self, subject: Subject) -> list[CarrierFindings]:
        """The hop a finding is of; all of the link where it names no carrier."""
        if subject.carrier is not None:
            hop = self.hops.get((subject.name, subject.carrier))
            return [hop] if hop else []
        return self._of_link.get(subject.name, [])

    def _device(self, name: str) -> DeviceFindings:
        if name not in self.by_device:
            self.by_device[name] = DeviceFindings(name, self.devices.get(name))
        return self.by_device[name]

    @cached_property
    def answered(self) -> frozenset[str | None]:
        """Entries of the credentials that some device answers."""
        devices = (u.device for u in self.by_device.values() if u.get("snmp.answer", "pass"))
        return frozenset(d.snmp for d in devices if d is not None)

    @cached_property
    def _holders(self) -> dict[str, str]:
        """The planned device that holds each address."""
        held: dict[str, str] = {}
        for device in self.plan.devices:
            for interface in (device.address, *(o.address for o in device.other_addresses)):
                held.setdefault(str(interface.address), device.name)
        return held

    def other_side(self, finding: Finding) -> list[Finding]:
        """Findings of the planned neighbour's port that leads to the port of this one."""
        device = self.by_device.get(finding.subject.name)
        ports = device.device.ports if device is not None and device.device is not None else ()
        near = next((p for p in ports if p.name == finding.subject.port), None)
        far = self.by_device.get(near.neighbour or "") if near is not None else None
        if far is None or far.device is None:
            return []
        towards = {p.name for p in far.device.ports if p.neighbour == finding.subject.name}
        return [f for f in far.found if f.subject.port in towards]

    def ends_swapped(self, link: Link) -> Finding | None:
        """That the ends answer under each other's names, unless hardware stands where it should."""
        found = self.links.get(link.name, ())
        head = next((f for f in found if f.check == "link.ends-swapped"), None)
        names = frozenset().union(*link.devices())
        devices = [self.by_device[n] for n in names if n in self.by_device]
        if any(u.all(("identity.serial", "neighbour.mac"), "pass") for u in devices):
            return None
        return head if head is not None and head.verdict == "fail" else None

    def site_of(self, name: str) -> Site | None:
        """The site of a device."""
        device = self.devices.get(name)
        return self._sites.get(device.site or "") if device is not None else None

    def gateway_of(self, device: Device) -> str | None:
        """The planned device that is a device's gateway, or the gateway's address."""
        if device.gateway is None:
            return None
        return self._holders.get(str(device.gateway), str(device.gateway))

    @cached_property
    def gateways(self) -> frozenset[str | None]:
        """Names of the devices, or addresses, that are somebody's gateway."""
        return frozenset(self.gateway_of(d) for d in self.plan.devices) - {None}

    @cached_property
    def _next(self) -> dict[str, list[str]]:
        """Whose traffic passes through whom as the next one, by name or gateway address."""
        after: dict[str, list[str]] = defaultdict(list)
        for device in self.plan.devices:
            for before in (*device.uplink, self.gateway_of(device)):
                if before is not None:
                    after[before].append(device.name)
        return after

    def behind(self, name: str) -> frozenset[str]:
        """The devices whose traffic may pass through this one, or through this gateway."""
        if name not in self._behind:
            found = dict.fromkeys(self._next.get(name, ()))
            work = list(found)
            for one in work:
                new = [n for n in self._next.get(one, ()) if n not in found]
                found.update(dict.fromkeys(new))
                work += new
            self._behind[name] = frozenset(found) - {name}
        return self._behind[name]

    def of_devices(self, finding: Finding) -> list[str]:
        """The devices that a finding is of: its own, or those at its end or ends."""
        subject = finding.subject
        if subject.kind != "link":
            return [subject.name]
        ends = ("a", "b") if subject.end is None else (subject.end,)
        return [hop.device(end) for hop in self.hops_of(subject) for end in ends]  # type: ignore[arg-type]

    def seen_of(self, device: str) -> Observations:
        """What was seen of a device of the kinds that causes look at."""
        return self.seen.get(device, _NOTHING)


def cause(  # noqa: PLR0913, PLR0917
    kind: str,
    subject: Subject,
    certainty: Certainty,
    text: str,
    for_: Iterable[Finding | None],
    against: Iterable[Finding | None] = (),
    *,
    try_first: str = "",
) -> Cause:
    """A cause without its id. What it explains stands first in `for`, then what speaks for it.

    The first of `for_` stays first, as its head; `try_first` is that of the table unless given.
    """
    found = list(dict.fromkeys(f.id for f in _explained_first(for_)))
    contrary = dict.fromkeys(f.id for f in against if f is not None)
    return Cause(
        id="",
        kind=kind,
        subject=subject,
        certainty=certainty,
        text=text,
        try_first=try_first or TRY_FIRST[kind],
        for_=tuple(found),
        against=tuple(i for i in contrary if i not in set(found)),
    )


def _explained_first(findings: Iterable[Finding | None]) -> list[Finding]:
    there = [f for f in findings if f is not None]
    return sorted(there, key=lambda f: f.verdict == "pass")


def number(value: object) -> float | None:
    """A value as a number; None where it is none."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or abs(value) > _LARGEST:
        return None
    return float(value) if math.isfinite(value) else None
