"""Settings that were never made, went back, or were left as they were for another purpose.

Ports: slower than planned, or with another duplex at each side.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from verifier.model import mib
from verifier.model.plan import EndName, Plan, Port
from verifier.model.problem import Subject
from verifier.model.result import Cause, Finding
from verifier.rules.diagnose.case import (
    WRONG,
    CarrierFindings,
    Causes,
    Certainty,
    DeviceFindings,
    FindingIndex,
    cause,
    number,
)
from verifier.rules.diagnose.relations import GROUPS

_SET_BY_HAND = (
    "identity.name", "identity.location", "address.mask", "address.gateway", "settings.trap",
    "settings.syslog", "settings.ntp", "port.speed", "port.duplex", "port.mtu", "port.status",
)  # fmt: skip
_SET_ON_AIR = (
    "radio.tx-frequency", "radio.rx-frequency", "radio.bandwidth", "radio.tx-power",
    "radio.link-id", "radio.atpc", "radio.modulation",
)  # fmt: skip
_SEVERAL = 3
"""Settings wrong together from which they are looked at as one: our own choice."""
_RECENT_S = 3600.0
"""A restart within the last hour is worth a word: our own choice."""
_AFTER_TEST = ("radio.lock", "radio.snr", "radio.capacity", "radio.errored-seconds",
               "radio.severely-errored-seconds", "radio.unavailable-seconds")  # fmt: skip
_FINISHED = frozenset({"handover", "service"})
"""Stages at which aligning is over; before, raised power is no setting left behind."""
_LEFT = ("radio.modulation", "radio.tx-power", "radio.atpc", "radio.eirp", "radio.capacity")
_ADAPTED = ("radio.modulation", "radio.capacity")
"""What a link without one direction comes down to at both ends."""
_UNHEARD = ("radio.rx-level", "radio.lock", "radio.snr", "radio.path-loss", "radio.fade-margin",
            "radio.xpi", "radio.capacity")  # fmt: skip

_NEEDS_SIGNAL = (*_UNHEARD, "radio.reciprocity", "link.far-end")
"""What cannot be tested where nothing is received."""


def causes(case: FindingIndex) -> Causes:
    """Of devices: unsaved, reverted. Of ends: in alignment settings, muted, in a test mode."""
    for device in case.by_device.values():
        yield from _saved(device)
        yield from _reverted(case, device)
    for hop in case.hops.values():
        for end, far in (("a", "b"), ("b", "a")):
            yield from _left_behind(hop, end, far)  # type: ignore[arg-type]
            if case.stage in _FINISHED:
                yield from _alignment(hop, end)  # type: ignore[arg-type]


def _saved(device: DeviceFindings) -> Causes:
    head = device.get("settings.saved", "fail")
    if head is not None:
        yield cause(
            "settings-unsaved", device.subject, "likely",
            f"the settings of {device.name} are not saved: a restart takes them back", [head],
        )  # fmt: skip


def _reverted(case: FindingIndex, device: DeviceFindings) -> Causes:
    """Many settings wrong in the planned device: back to what they were, or never made."""
    wrong = [*device.all(_SET_BY_HAND, *WRONG), *_of_ends(device)]
    known = device.all(("identity.serial", "neighbour.mac"), "pass")
    other = device.all(("identity.serial", "neighbour.mac", "identity.object-id"), "fail")
    restarted = device.get("state.restarts", "fail", "warn")
    kinds = {GROUPS.get(f.check, f.check) for f in wrong}
    if len(kinds) < _SEVERAL or not any(f.verdict == "fail" for f in wrong):
        return
    recent = restarted is not None or _restarted(case, device)
    certainty: Certainty = "likely" if recent and known and not other else "possible"
    who = (
        f"{device.name} is the planned device"
        if known
        else f"{device.name} may be the planned device"
    )
    since = " when it restarted" if recent else ""
    yield cause(
        "settings-reverted", device.subject, certainty,
        f"{who} with {len(kinds)} settings wrong: they were not saved and went back{since}",
        [*wrong, restarted, *known], other,
    )  # fmt: skip
    yield cause(
        "not-set-up", device.subject, "possible",
        f"{who} with {len(kinds)} settings wrong: they were never made",
        [*wrong, *known], [restarted, *other],
    )  # fmt: skip


def _of_ends(device: DeviceFindings) -> list[Finding]:
    return [f for f in device.of_ends if f.check in _SET_ON_AIR and f.verdict == "fail"]


def _restarted(case: FindingIndex, device: DeviceFindings) -> bool:
    ticks = [number(value) for value in case.seen_of(device.name).values(mib.SYS_UP_TIME)]
    return any(t is not None and t / 100 < _RECENT_S for t in ticks)


def _left_behind(hop: CarrierFindings, end: EndName, far: EndName) -> Causes:
    device = hop.device(end)
    if (head := hop.get("radio.transmitter", end, "fail")) is not None and _off(head):
        unheard = hop.all(_UNHEARD, [far], *WRONG)
        adapted = hop.all(_ADAPTED, (end, far), *WRONG)
        level = hop.get("radio.rx-level", far, "fail")
        if level is not None and number(level.observed) is None:
            unheard += hop.all(_NEEDS_SIGNAL, (far, None), "not-tested")
        yield cause(
            "muted", head.subject, "likely",
            f"the transmitter of {device} is off"
            + (", so the far end receives nothing" if unheard else ""),
            [head, *unheard, *adapted],
        )  # fmt: skip
    if (head := hop.get("radio.test-mode", end, "fail", "warn")) is not None:
        yield cause(
            "test-mode", head.subject, "likely", f"{device} was left in a test mode",
            [head, *hop.all(_AFTER_TEST, (end, far), *WRONG), *hop.all(_ADAPTED, [end], *WRONG)],
        )  # fmt: skip


def _off(head: Finding) -> bool:
    """Whether it is off and should be on; the other way round it is no cause of silence."""
    return str(head.observed).lower() in {"false", "off", "0", "0.0", "muted", "disabled"}


def _alignment(hop: CarrierFindings, end: EndName) -> Causes:
    """Lowest modulation *and* raised power; a low modulation alone follows from a low level."""
    modulation = hop.get("radio.modulation", end, "fail")
    power = hop.get("radio.tx-power", end, "fail")
    atpc = hop.get("radio.atpc", end, "fail")
    if not power_raised(hop, end):
        return
    certainty: Certainty = "likely" if modulation is not None else "possible"
    far: EndName = "b" if end == "a" else "a"
    rest = [*hop.all(_LEFT, [end], *WRONG), *_heard_of_it(hop, far, low=modulation is not None)]
    held = hop.get("radio.modulation", end, "pass")
    yield cause(
        "left-in-alignment", power.subject if power else hop.subject, certainty,
        f"{hop.device(end)} was left in alignment settings: raised power"
        + (", low modulation" if modulation is not None else "")
        + (", ATPC off" if atpc is not None else ""),
        [power, *rest], [held],
    )  # fmt: skip


def _heard_of_it(hop: CarrierFindings, far: EndName, *, low: bool) -> list[Finding]:
    """What the far end sees of raised power and low modulation."""
    level = hop.get("radio.rx-level", far, *WRONG)
    strong = [level] if level is not None and _above(level) else []
    unlike = [*hop.all(_ADAPTED, [far], *WRONG), *hop.all(["radio.lock"], ("a", "b"), *WRONG)]
    return [*strong, *(unlike if low else [])]


def power_raised(hop: CarrierFindings, end: EndName) -> bool:
    """Whether an end sends with more power than planned, as for an alignment."""
    power = hop.get("radio.tx-power", end, "fail")
    return power is not None and _above(power)


def _above(finding: Finding) -> bool:
    seen, planned = number(finding.observed), number(finding.expected)
    return seen is not None and planned is not None and seen > planned


KIND = "settings-unsaved"
_APART = ("plan.", "manual.", "local.", "laptop.")
"""Checks that ask nothing of a device."""


def nothing_saved(
    plan: Plan,
    found_at: Mapping[str, tuple[Finding, str]],
    findings: Sequence[Finding],
    causes: Sequence[Cause],
) -> tuple[tuple[Finding, ...], tuple[Cause, ...]]:
    """The findings and causes with, first of all, that nothing was saved of these devices.

    What fails at a silent address, and what could not be tested there, hangs on that; other causes
    of the same are taken away, as it is known where the device is.

    Args:
        plan: which device is at which end of a link.
        found_at: by device, its finding that says so and the other address in words.
        findings: those of what was seen after, tied to causes.
        causes: of these.
    """
    made: list[Cause] = []
    claimed: dict[str, list[str]] = defaultdict(list)
    for n, (name, (head, where)) in enumerate(found_at.items(), start=len(causes) + 1):
        hanging = [f.id for f in findings if f.id != head.id and _hangs(plan, f, name)]
        cause = Cause(
            id=f"c{n}",
            kind=KIND,
            subject=Subject("device", name),
            certainty="likely",
            text=f"nothing was saved in {name}: after the restart it is back at {where}, "
            "and its planned address is silent",
            try_first="reach it there, set it up again from the plan, save, and restart it again",
            for_=(head.id, *hanging),
        )
        made.append(cause)
        for finding in cause.for_:
            claimed[finding].append(cause.id)
    failing = {f.id for f in findings if f.verdict != "pass"}
    left = (dataclasses.replace(c, for_=_without(c.for_, claimed)) for c in causes)
    others = [c for c in left if failing.intersection(c.for_)]
    known = {c.id for c in others}
    tied = tuple(
        dataclasses.replace(
            f, caused_by=tuple(claimed.get(f.id) or (c for c in f.caused_by if c in known))
        )
        for f in findings
    )
    return tied, (*made, *others)


def _without(ids: Iterable[str], claimed: Mapping[str, object]) -> tuple[str, ...]:
    return tuple(i for i in ids if i not in claimed)


def _hangs(plan: Plan, finding: Finding, name: str) -> bool:
    """Whether a finding is as it is because this device does not answer where it was asked."""
    if finding.verdict == "pass" or finding.check.startswith(_APART):
        return False
    subject = finding.subject
    if subject.kind in {"device", "port"}:
        return subject.name == name
    return (
        subject.kind == "link"
        and finding.verdict == "not-tested"
        and any(
            end.device == name and subject.end in {None, side}
            for link in plan.links
            if link.name == subject.name
            for carrier in link.carriers
            for side, end in carrier.ends()
        )
    )


_FOUR_PAIRS_MBPS = 1000
"""1000BASE-T needs all four pairs (IEEE 802.3 clause 40)."""
_TWO_PAIRS_MBPS = (10, 100)
"""10BASE-T and 100BASE-TX use two of them (IEEE 802.3 clauses 14 and 25)."""
_FIBRE = ("fib", "sfp", "optic", "lwl")
"""How plans write a medium that has no pairs: common practice, no source."""


def of_ports(case: FindingIndex) -> Causes:
    """Each port with a wrong speed or duplex."""
    for device in case.by_device.values():
        if not device.all(("port.speed", "port.duplex"), "fail"):
            continue
        ports: dict[str, dict[str, Finding]] = defaultdict(dict)
        for finding in device.found:
            if finding.subject.port is not None:
                ports[finding.subject.port][finding.check] = finding
        for name, found in ports.items():
            duplex, speed = found.get("port.duplex"), found.get("port.speed")
            if duplex is not None and duplex.verdict == "fail":
                yield _duplex(case, device, name, found)
            if speed is not None and speed.verdict == "fail":
                yield from _slow(case, device, name, found)


def _planned(device: DeviceFindings, name: str) -> Port | None:
    ports = device.device.ports if device.device is not None else ()
    return next((p for p in ports if p.name == name), None)


def _slow(
    case: FindingIndex, device: DeviceFindings, name: str, found: dict[str, Finding]
) -> Causes:
    """The cable or a fixed speed: both fit; counted errors and the medium tell."""
    head = found["port.speed"]
    port = _planned(device, name)
    seen, planned = number(head.observed), number(head.expected)
    if seen is None or planned is None or seen >= planned:
        return
    errors = found.get("port.errors")
    bad = errors if errors is not None and errors.verdict in {"fail", "warn"} else None
    clean = errors if errors is not None and errors.verdict == "pass" else None
    far = [f for f in case.other_side(head) if f.check == "port.speed"]
    fibre = port is not None and any(w in (port.media or "").lower() for w in _FIBRE)
    pairs = planned == _FOUR_PAIRS_MBPS and seen in _TWO_PAIRS_MBPS and not fibre
    if pairs:
        certainty: Certainty = "likely" if bad is not None else "possible"
        yield cause(
            "negotiated-down", head.subject, certainty,
            f"{device.name} {name} runs at {seen:g} Mbit/s: two of the cable's four pairs "
            f"carry it, "
            "so a pair, a plug or a surge arrester is bad",
            [head, bad, *far], [clean],
        )  # fmt: skip
    yield cause(
        "speed-set", head.subject, "possible",
        f"{device.name} {name}, or the port at the other side, is set to {seen:g} Mbit/s or can do "
        "no more",
        [head, *far], [bad] if pairs else [],
    )  # fmt: skip


def _duplex(
    case: FindingIndex, device: DeviceFindings, name: str, found: dict[str, Finding]
) -> Cause:
    """One side fixed, the other negotiating: it falls back to half (IEEE 802.3 28.2.3.1)."""
    head = found["port.duplex"]
    far = [f for f in case.other_side(head) if f.check == "port.duplex"]
    unlike = [f for f in far if f.verdict == "pass" or f.observed not in (None, head.observed)]
    alike = [f for f in far if f.observed is not None and f.observed == head.observed]
    errors = [f for c in ("port.errors", "port.speed") if (f := found.get(c)) is not None]
    bad = [f for f in errors if f.verdict in {"fail", "warn"}]
    lost = device.get("echo.loss", "fail", "warn")
    certainty: Certainty = "possible" if alike else "likely"
    text = f"{device.name} {name} runs {head.observed} duplex"
    text += ", and so does the other side" if alike else ": the other side is set, and not alike"
    return cause(
        "duplex-mismatch", head.subject, certainty, text, [head, *unlike, *bad, lost], alike
    )
