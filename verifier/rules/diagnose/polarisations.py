"""Two polarisations of one channel (XPIC) whose lines are exchanged at one end.

Each receiver then gets the other carrier: at the right level, as the channel is the same, with a
discrimination that is worse than none, no lock, or the other device's name. Nothing else does so to
both carriers of one end, so this leads the causes of what it explains.
"""

from __future__ import annotations

from collections.abc import Iterator

from verifier.model.plan import EndName, Link
from verifier.model.result import Finding
from verifier.model.subject import Subject
from verifier.rules.diagnose.case import (
    WRONG,
    CarrierFindings,
    Causes,
    Certainty,
    FindingIndex,
    cause,
    number,
)

_ENDS: tuple[EndName, ...] = ("a", "b")
_XPIC = 2
"""Carriers of one channel, one a polarisation."""
_TURNED = [("V", "H"), ("H", "V")]
"""Planned and read."""
_NO_XPI_DB = 3.0
"""A receiver on the wrong polarisation reads none or a negative one. Common practice, no source."""
_FOLLOWS = ("radio.polarisation", "radio.xpi", "radio.lock", "link.far-end", "radio.link-id",
            "radio.snr", "radio.modulation", "radio.capacity")  # fmt: skip
"""What receiving the other carrier does to an end."""


def causes(case: FindingIndex) -> Causes:
    """Each link with both polarisations of one channel."""
    for link in case.plan.links:
        hops = [case.hops[link.name, c.carrier] for c in link.carriers
                if (link.name, c.carrier) in case.hops]  # fmt: skip
        if link.protection == "2+0-xpic" and len(hops) == _XPIC:
            yield from _crossed(link, hops)


def _crossed(link: Link, hops: list[CarrierFindings]) -> Causes:
    """By settings that read each other's polarisation at an end; else by what is received."""
    turned = [e for e in _ENDS if all(_reads_the_other(h, e) for h in hops)]
    heard = [e for e in _ENDS if all(_hears_the_other(h, e) for h in hops)]
    deaf = [e for e in _ENDS if all(_right_but_unlocked(h, e) for h in hops)]
    found = turned or heard or deaf
    if not found:
        return
    sure: Certainty = "likely" if turned or heard else "possible"
    subject = Subject("link", link.name, end=found[0] if len(found) == 1 else None)
    where = f"at end {found[0]} of" if len(found) == 1 else "at one end of"
    told = "each radio reads the other's polarisation" if turned else (
        "both receivers get the other carrier at the right level"
        if heard
        else "both receivers get the right level and do not lock"
    )  # fmt: skip
    are = "are" if sure == "likely" else "may be"
    yield cause(
        "polarisations-crossed", subject, sure,
        f"V and H {are} exchanged {where} {link.name}: {told}", list(_tied(hops, found)),
    )  # fmt: skip


def _reads_the_other(hop: CarrierFindings, end: EndName) -> bool:
    """Whether the polarisation read is the other one."""
    finding = hop.get("radio.polarisation", end, "fail")
    return finding is not None and (finding.expected, finding.observed) in _TURNED


def _hears_the_other(hop: CarrierFindings, end: EndName) -> bool:
    """Whether a right level comes without discrimination, or under the other device's name."""
    if hop.get("radio.rx-level", end, "pass") is None:
        return False
    xpi = hop.get("radio.xpi", end, "fail")
    reads = number(xpi.observed) if xpi is not None else None
    far = hop.get("link.far-end", end, "fail")
    return (reads is not None and reads <= _NO_XPI_DB) or (far is not None and _others(hop, far))


def _others(hop: CarrierFindings, far: Finding) -> bool:
    """Whether the name that is heard is of the link's other carrier."""
    named = [e.device for c in hop.link.carriers if c is not hop.carrier for _, e in c.ends()]
    return far.observed in named


def _right_but_unlocked(hop: CarrierFindings, end: EndName) -> bool:
    right = hop.get("radio.rx-level", end, "pass") is not None
    return right and hop.get("radio.lock", end, "fail") is not None


def _tied(hops: list[CarrierFindings], ends: list[EndName]) -> Iterator[Finding]:
    """What is wrong of both carriers: at these ends, and at the others that hear them."""
    yield from (f for h in hops for f in h.all(_FOLLOWS, ends, *WRONG))
    yield from (f for h in hops for f in h.all(_FOLLOWS, _ENDS, *WRONG))
    yield from (f for h in hops for f in h.all(("radio.rx-level",), ends, "pass"))
