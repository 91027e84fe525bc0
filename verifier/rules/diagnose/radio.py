"""Where the level is right and the link is not: interference, lock, frequencies or lines exchanged.

Each receiver then gets the other carrier: at the right level, as the channel is the same, with a
discrimination that is worse than none, no lock, or the other device's name. Nothing else does so to
both carriers of one end, so this leads the causes of what it explains.
"""

from __future__ import annotations

from collections.abc import Iterator

from verifier.model.plan import EndName, Link
from verifier.model.problem import Subject
from verifier.model.result import Finding
from verifier.rules import radio
from verifier.rules.diagnose.case import (
    WRONG,
    CarrierFindings,
    Causes,
    Certainty,
    FindingIndex,
    cause,
    number,
)
from verifier.rules.diagnose.levels import ENDS
from verifier.rules.diagnose.relations import is_other_ends_mhz
from verifier.rules.diagnose.settings import power_raised

_OVERLOAD_NEAR_DB = 10.0
"""Margin below its limit at which a receiver is not overloaded. Common practice, no source."""
"""Two frequencies that differ by no more are the same, as in the comparison with the plan."""
_QUALITY = ("radio.modulation", "radio.capacity", "radio.errored-seconds",
            "radio.severely-errored-seconds", "radio.unavailable-seconds")  # fmt: skip
_LOCK = (
    ("radio.link-id", "link-id-differs", "the link id differs"),
    ("radio.bandwidth", "bandwidth-differs", "the bandwidth differs"),
    ("radio.modulation", "mode-differs", "the modulation or mode differs"),
)
"""What keeps a receiver with a right level from locking, and the check that tells."""
_UNTUNED = ("radio.rx-frequency", "radio.rx-level", "radio.lock", "radio.snr", "radio.path-loss",
            "radio.fade-margin", "radio.xpi", "link.far-end")  # fmt: skip


def causes(case: FindingIndex) -> Causes:
    """Each carrier: SNR, lock, frequencies."""
    for hop in case.hops.values():
        yield from _frequencies(case, hop)
        for end, far in ENDS:
            level = hop.get("radio.rx-level", end, "pass")
            if level is None:
                continue
            if hop.get("radio.lock", end, "fail") is not None:
                yield from _no_lock(hop, end, far, level)
            elif (snr := hop.get("radio.snr", end, *WRONG)) is not None:
                yield from _noisy(case, hop, end, (level, snr))


def _noisy(
    case: FindingIndex, hop: CarrierFindings, end: EndName, found: tuple[Finding, Finding]
) -> Causes:
    """Level right, SNR low: something else is received, or the wanted signal twice."""
    level, snr = found
    device = hop.device(end)
    heads = [snr, *hop.all(_QUALITY, [end], *WRONG), level]
    right = f"the level of {device} is right and its SNR is low"
    xpi = hop.get("radio.xpi", end, *WRONG)
    spread = hop.get("radio.rx-level-spread", end, *WRONG)
    yield cause("interference", snr.subject, "likely" if xpi else "possible",
                f"{right}: it receives another transmitter besides", [*heads, xpi])  # fmt: skip
    if (
        margin_db := _below_overload(case, hop, end, level)
    ) is None or margin_db < _OVERLOAD_NEAR_DB:
        yield cause("overload", snr.subject, "likely" if _over(margin_db) else "possible",
                    f"{right}: its receiver is overloaded, by this or another signal",
                    heads)  # fmt: skip
    yield cause("multipath", snr.subject, "likely" if spread else "possible",
                f"{right}: it receives its own signal twice, off water or the ground",
                [*heads, spread])  # fmt: skip


def _below_overload(
    case: FindingIndex, hop: CarrierFindings, end: EndName, level: Finding
) -> float | None:
    """How far the level is below what the profile says the receiver stands."""
    device = case.devices.get(hop.device(end))
    profile = case.profiles.get(device.profile) if device is not None else None
    seen = number(level.observed)
    limit = profile.limits.rx_max_dbm if profile is not None else None
    return None if limit is None or seen is None else limit - seen


def _over(margin_db: float | None) -> bool:
    return margin_db is not None and margin_db <= 0


def _no_lock(hop: CarrierFindings, end: EndName, far: EndName, level: Finding) -> Causes:
    """Level right, no lock: what was read and differs; else all that was not seen to be right."""
    head = hop.get("radio.lock", end, "fail")
    rest = [head, *hop.all(("radio.snr", *_QUALITY), [end], *WRONG)]
    device = hop.device(end)
    settings = [s for s in _LOCK if s[1] != "mode-differs" or not radio.is_adaptive(hop.link)]
    told = hop.get("radio.test-mode", far, "fail", "warn") is not None
    left = any(power_raised(hop, e) and hop.get("radio.modulation", e, "fail") for e, _ in ENDS)
    for check, kind, words in settings:
        if differing := hop.all([check], (end, far), "fail"):
            if check == "radio.modulation" and (told or left):
                continue
            told = True
            who = f"{device} receives the right level and does not lock: {words}"
            yield cause(kind, hop.subject, "likely", who, [*rest, *differing, level])
    if told:
        return
    for check, kind, words in () if left else settings:
        if len(hop.all([check], (end, far), "pass")) < len(ENDS):
            who = f"{device} receives the right level and does not lock: perhaps {words}"
            yield cause(kind, hop.subject, "possible", who, [*rest, level])
    if hop.get("radio.test-mode", far, "pass") is None and not left:
        who = f"{device} receives the right level and does not lock: {hop.device(far)} may be in a"
        yield cause("test-mode", hop.end(far), "possible", f"{who} test mode", [*rest, level])
    who = f"{device} receives the right level and does not lock: perhaps the encryption key differs"
    checked = [f for check, _, _ in settings for f in hop.all([check], (end, far), "pass")]
    yield cause("key-differs", hop.subject, "possible", who, [*rest, level, *checked])


def _frequencies(case: FindingIndex, hop: CarrierFindings) -> Causes:
    """Each end with what is planned for the other; with one end alone it is that end's fault."""
    wrong = {e: f for e, _ in ENDS if (f := hop.get("radio.tx-frequency", e, "fail")) is not None}
    crossed = {e: f for e, f in wrong.items() if is_other_ends_mhz(case, f)}
    if case.ends_swapped(hop.link) is not None:
        return
    if len(crossed) == len(ENDS):
        yield from _both_crossed(case, hop, [*wrong.values(), *_untuned(hop, ("a", "b"))])
        return
    for end, head in wrong.items():
        far: EndName = "b" if end == "a" else "a"
        right = hop.get("radio.tx-frequency", far, "pass", "fail")
        known = right is not None or end not in crossed
        own = f"{hop.device(end)} transmits on {head.observed} MHz instead of {head.expected}"
        own += f", which is planned for {hop.device(far)}" if end in crossed else ""
        tied = [head, *_untuned(hop, (far,)), *hop.all(_QUALITY, (end, far), *WRONG)]
        yield cause("frequency-wrong", head.subject, "likely" if known else "possible", own, tied)
        if not known or (end in crossed and far in wrong):
            text = f"the frequencies of {hop.subject} may be crossed: {own}"
            yield cause("frequencies-crossed", hop.subject, "possible", text, tied)


def _untuned(hop: CarrierFindings, ends: tuple[EndName, ...]) -> list[Finding]:
    """What an end that listens elsewhere cannot receive."""
    return [
        *hop.all(_UNTUNED, ends, *WRONG, "not-tested"),
        *hop.all(["radio.reciprocity"], [None], "not-tested"),
    ]


def _both_crossed(case: FindingIndex, hop: CarrierFindings, tied: list[Finding]) -> Causes:
    """Settings or devices: part numbers of the other half of the band tell devices."""
    devices = [case.by_device[hop.device(e)] for e, _ in ENDS if hop.device(e) in case.by_device]
    parts = [f for u in devices for f in u.all(("identity.part", "identity.serial"), "fail")]
    same = [f for u in devices for f in u.all(("identity.part", "identity.serial"), "pass")]
    if parts:
        yield cause("bands-crossed", hop.subject, "possible" if same else "likely",
                    f"the devices of {hop.subject} stand at each other's end: each has the other's "
                    "half of the band", [*tied, *parts], same)  # fmt: skip
        return
    yield cause("frequencies-crossed", hop.subject, "likely",
                f"each end of {hop.subject} transmits on what is planned for the other",
                [*tied, *same])  # fmt: skip
    if not same:
        yield cause("bands-crossed", hop.subject, "possible",
                    f"the devices of {hop.subject} may be at each other's end", tied)  # fmt: skip


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


def exchanged_lines(case: FindingIndex) -> Causes:
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
