"""Settings that were never made, went back, or were left as they were for another purpose."""

from __future__ import annotations

from verifier.model import mib
from verifier.model.plan import EndName
from verifier.model.result import Finding
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
