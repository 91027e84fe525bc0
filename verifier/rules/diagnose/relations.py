"""How what was found may stand to what is planned, and the signs of a fault, which name it so."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import cached_property

from verifier.model.checks import CHECK_NAMES
from verifier.model.observations import NEIGHBOUR
from verifier.model.result import Finding
from verifier.rules.diagnose.case import UNTESTED, WRONG, FindingIndex, number
from verifier.rules.diagnose.places import (
    HARDWARE,
    PLACES,
    Of,
    Place,
    both_ends,
    device_of,
    ends_of,
    in_place_of,
    other_end,
    own_end,
    owner,
)
from verifier.rules.fit.ways import is_without_link
from verifier.rules.radio import same_mhz

Found = Callable[[FindingIndex, Finding], bool]
TUNED: Mapping[str, str] = {"radio.tx-frequency": "tx_mhz", "radio.rx-frequency": "rx_mhz"}
"""Checks of frequencies, and the readings that they rest on."""
GROUPS: Mapping[str, str] = {
    "radio.rx-frequency": "radio.tx-frequency", "radio.atpc": "radio.tx-power",
    "radio.modulation": "radio.tx-power", "radio.eirp": "radio.tx-power",
}  # fmt: skip
"""Checks that one setting makes wrong together, by the one that stands for them."""
_BY_SNMP = frozenset(
    {"identity", "state", "address", "port", "neighbour", "snmp", "radio", "settings", "link"}
)


def wrong(case: FindingIndex, finding: Finding) -> bool:  # noqa: ARG001
    """Another than the planned one, or none."""
    return finding.verdict in WRONG


def gone(case: FindingIndex, finding: Finding) -> bool:  # noqa: ARG001
    """Not answered, or for want of an answer not tested."""
    return _untold(finding) or (finding.check == "echo.reply" and finding.verdict in WRONG)


def _untold(finding: Finding) -> bool:
    return finding.verdict in UNTESTED and finding.observed is None


def unread(case: FindingIndex, finding: Finding) -> bool:  # noqa: ARG001
    """Not tested, and only SNMP can tell it."""
    return _untold(finding) and finding.check.partition(".")[0] in _BY_SNMP


def untested(case: FindingIndex, finding: Finding) -> bool:  # noqa: ARG001
    """Not tested, for whatever reason."""
    return finding.verdict == "not-tested"


def unlinked(case: FindingIndex, finding: Finding) -> bool:  # noqa: ARG001
    """Not tested because this laptop's interface has no link, which was seen."""
    return finding.verdict == "not-tested" and is_without_link(finding.reason)


def cross_polar(case: FindingIndex, finding: Finding) -> bool:
    """Wrong on a link that uses both polarisations of one channel (XPIC)."""
    if finding.verdict not in WRONG:
        return False
    links = (link for link in case.plan.links if link.name == finding.subject.name)
    return any(link.protection == "2+0-xpic" for link in links)


def anything(case: FindingIndex, finding: Finding) -> bool:  # noqa: ARG001
    """Not right, in whatever way."""
    return finding.verdict != "pass"


def never(case: FindingIndex, finding: Finding) -> bool:
    """Nothing."""
    del case, finding
    return False


def outcome(*words: str) -> Found:
    """One of these came of asking by SNMP."""
    return lambda _, f: f.verdict in WRONG and f.observed in words


def below(case: FindingIndex, finding: Finding) -> bool:  # noqa: ARG001
    """A figure under the planned one."""
    seen, planned = number(finding.observed), number(finding.expected)
    return finding.verdict in WRONG and seen is not None and planned is not None and seen < planned


def above(case: FindingIndex, finding: Finding) -> bool:  # noqa: ARG001
    """A figure over the planned one."""
    seen, planned = number(finding.observed), number(finding.expected)
    return finding.verdict in WRONG and seen is not None and planned is not None and seen > planned


def lacking(case: FindingIndex, finding: Finding) -> bool:
    """Less than planned, or nothing at all."""
    return finding.verdict in WRONG and (finding.observed is None or below(case, finding))


def off(case: FindingIndex, finding: Finding) -> bool:  # noqa: ARG001
    """Off, and planned on."""
    words = {"false", "off", "0", "0.0", "muted", "disabled"}
    return finding.verdict in WRONG and str(finding.observed).lower() in words


def both(one_: Found, other: Found) -> Found:
    """The one and the other."""
    return lambda case, finding: one_(case, finding) and other(case, finding)


def crossed(case: FindingIndex, finding: Finding) -> bool:
    """What the plan has for the other end of the link, or for the device that stands here."""
    if finding.check in TUNED:
        return finding.verdict in WRONG and is_other_ends_mhz(case, finding)
    others = list(_expected_across(case, finding))
    return finding.verdict in WRONG and finding.observed in others


def is_other_ends_mhz(case: FindingIndex, finding: Finding) -> bool:
    """Whether a frequency is the far end's planned one, as closely as the profile shows it."""
    seen = number(finding.observed)
    field, steps = TUNED[finding.check], [0.0]
    if seen is None:
        return False
    for hop, end in own_end(case, finding):
        ends = dict(hop.carrier.ends())
        theirs = ends[other_end(end) if field == "tx_mhz" else end].tx_mhz
        ours = ends[end if field == "tx_mhz" else other_end(end)].tx_mhz
        device = case.devices.get(hop.device(end))
        profile = case.profiles.get(device.profile) if device is not None else None
        steps += [abs(r.scale) for r in (profile.reading if profile else ()) if r.field == field]
        if theirs is not None and theirs != ours and same_mhz(seen, theirs, max(steps) / 2):
            return True
    return False


def not_crossed(case: FindingIndex, finding: Finding) -> bool:
    """Another than the planned one, and not that of the other end."""
    return finding.verdict in WRONG and not crossed(case, finding)


def own_setting(case: FindingIndex, finding: Finding) -> bool:
    """Of a device that is known by its hardware, and not what is planned for the other end."""
    device = case.by_device.get(finding.subject.name)
    return not_crossed(case, finding) and device is not None and bool(device.all(HARDWARE, "pass"))


def swapped(case: FindingIndex, finding: Finding) -> bool:
    """What the plan has for the other device, or anything where it has nothing for that one."""
    others = list(_expected_across(case, finding))
    return finding.verdict in WRONG and (finding.observed in others or others == [])


def _expected_across(case: FindingIndex, finding: Finding) -> Iterator[object]:
    """What is planned of the same check at the other end."""
    for hop, end in own_end(case, finding):
        far = hop.get(finding.check, other_end(end))
        ends = dict(hop.carrier.ends())
        if far is not None:
            yield far.expected
        elif finding.check == "radio.tx-frequency":
            yield ends[other_end(end)].tx_mhz
        elif finding.check == "radio.rx-frequency":
            yield ends[end].tx_mhz
    for hop, end in ends_of(case, finding):
        far_unit = case.by_device.get(hop.device(other_end(end)))
        same = far_unit.by_check.get(finding.check, ()) if far_unit is not None else ()
        yield from (f.expected for f in same)


def of_the_other(case: FindingIndex, finding: Finding) -> bool:
    """What the plan has for the very device that stands here by its hardware."""
    other = in_place_of(case, name) if (name := device_of(finding)) is not None else None
    device = case.by_device.get(other) if other is not None else None
    same = device.by_check.get(finding.check, ()) if device is not None else ()
    named = finding.check == "identity.name" and finding.observed == other
    known = other is not None and (named or owner(case, finding) == other)
    found = known or any(f.expected == finding.observed for f in same)
    return finding.verdict in WRONG and found


def nobodys(case: FindingIndex, finding: Finding) -> bool:
    """Hardware that the plan does not know."""
    return finding.verdict in WRONG and owner(case, finding) is None


def not_exchanged(case: FindingIndex, finding: Finding) -> bool:
    """Of a device that does not stand where that one stands whose hardware it shows."""
    name = device_of(finding)
    other = in_place_of(case, name) if name is not None else None
    return finding.verdict != "pass" and (other is None or in_place_of(case, other) != name)


def strange(case: FindingIndex, finding: Finding) -> bool:
    """Of a device that shows neither its name nor its hardware."""
    names = [n] if (n := device_of(finding)) is not None else [
        hop.device(end) for hop, end in (*own_end(case, finding), *both_ends(case, finding))
    ]  # fmt: skip
    devices = [case.by_device[n] for n in names if n in case.by_device]
    own = any(u.all(("identity.name", *HARDWARE), "pass") for u in devices)
    return not own and not_exchanged(case, finding)


def several(case: FindingIndex, finding: Finding) -> bool:  # noqa: ARG001
    """More than one value in turn."""
    return finding.verdict in WRONG and isinstance(finding.observed, (list, tuple))


def doubled(case: FindingIndex, finding: Finding) -> bool:
    """The hardware address of one of several that answer for one address on the cable."""
    name, said = finding.subject.name, str(finding.observed)
    device = case.by_device.get(name)
    macs = device.get("neighbour.duplicate", *WRONG) if device is not None else None
    cable = [str(value) for value in case.seen_of(name).values(NEIGHBOUR)]
    return said in cable or (macs is not None and said in str(macs.observed))


def apart(case: FindingIndex, finding: Finding) -> bool:
    """Shown by several devices, and not each of them answers under a name of its own."""
    same = [
        u for u in case.by_device.values()
        if (f := u.get(finding.check, *WRONG)) is not None and f.observed == finding.observed
    ]  # fmt: skip
    names = [n.observed for u in same if (n := u.get("identity.name")) is not None and n.observed]
    return len({str(n) for n in names}) < len(same)


def alike(case: FindingIndex, finding: Finding) -> bool:
    """Of a port whose other side is not seen to run otherwise."""
    said = [f for f in case.other_side(finding) if f.check == finding.check]
    unlike = any(f.verdict == "pass" or f.observed not in (None, finding.observed) for f in said)
    return finding.verdict in WRONG and not unlike


def stranger(case: FindingIndex, finding: Finding) -> bool:
    """Of a device that one device of elsewhere stands for."""
    return not_exchanged(case, finding) and not several(case, finding)


def one(case: FindingIndex, finding: Finding) -> bool:
    """One other value."""
    return finding.verdict in WRONG and not several(case, finding)


def heard(case: FindingIndex, finding: Finding) -> bool:
    """The very name under which the far end itself answers."""
    for hop, end in own_end(case, finding):
        device = case.by_device.get(hop.device(other_end(end)))
        said = device.get("identity.name", *WRONG) if device is not None else None
        if said is not None and said.observed == finding.observed:
            return finding.verdict in WRONG
    return False


def entry_unproved(case: FindingIndex, finding: Finding) -> bool:
    """No answer by credentials that nobody answers."""
    device = case.devices.get(finding.subject.name)
    return finding.verdict in WRONG and device is not None and device.snmp not in case.answered


def routed(case: FindingIndex, finding: Finding) -> bool:
    """Silent, and reached through a gateway only."""
    device = case.by_device.get(finding.subject.name)
    fit = device.get("laptop.fit") if device is not None else None
    return gone(case, finding) and fit is not None and fit.reason.startswith("routed:")


_LAPTOP = "laptop.fit"


@dataclass(frozen=True, slots=True)
class Sign:
    """Findings that a fault can have a part in.

    Attributes:
        at: where they are, seen from the fault; several words, one is enough.
        checks: names or patterns.
        found: how found stands to planned, where the fault has a part in it, alone or with another.
        alone: the same, where it makes the finding by itself; None: `found`.
        must: the fault always makes it, so a pass speaks it free.
    """

    at: str
    checks: str
    found: Found = wrong
    alone: Found | None = None
    must: bool = False

    def names(self) -> Iterator[str]:
        """The checks by name; how this laptop fits only where it is named: no device makes it."""
        for pattern in self.checks.split():
            yield from (
                c for c in CHECK_NAMES if c == pattern or (c != _LAPTOP and fnmatchcase(c, pattern))
            )

    def places(self, of: Of, case: FindingIndex, finding: Finding) -> Iterator[Place]:
        """Where the fault would be for this to be its sign."""
        for at in self.at.split():
            yield from PLACES[of, at](case, finding)  # type: ignore[index]

    def made_alone(self, case: FindingIndex, finding: Finding) -> bool:
        """Whether the fault makes such a finding by itself."""
        return (self.alone or self.found)(case, finding)


@dataclass(frozen=True)
class Fault:
    """One kind of fault.

    Attributes:
        kind: of the cause that names it; other rows are never concluded.
        of: what it is a fault of.
        signs: what it makes.
        likely: never certain, whatever was found.
        same: what it shares with other kinds that name the same fault, by what else was found.
        settings: so many groups of checks are wrong at least, where it is this.
    """

    kind: str
    of: Of
    signs: tuple[Sign, ...]
    likely: bool = False
    same: str = ""
    settings: int = 1

    @cached_property
    def by_check(self) -> Mapping[str, tuple[Sign, ...]]:
        """Its signs by the name of the check."""
        found: dict[str, list[Sign]] = {}
        for sign in self.signs:
            for name in sign.names():
                found.setdefault(name, []).append(sign)
        return {name: tuple(signs) for name, signs in found.items()}
