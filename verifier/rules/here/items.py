"""What of a device is right, what is not, and what could not be read, in the trade's words.

The findings are those of `verify`; here they are put together until a person takes them in.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from verifier.model.here import HereItem, HereLevel
from verifier.model.plan import Carrier, Device, EndName, Plan
from verifier.model.problem import Subject
from verifier.model.profile import Profile
from verifier.model.result import Figure, Finding, Result, Verdict

WORDS: Mapping[str, str] = {
    "neighbour.mac": "identity", "identity.serial": "identity", "identity.object-id": "identity",
    "snmp.engine-id": "identity", "identity.part": "part number",
    "identity.software": "software", "link.software-differs": "software",
    "identity.location": "location", "identity.name": "name", "address.mask": "mask",
    "address.gateway": "gateway", "address.extra": "further addresses",
    "tcp.open": "services", "tcp.closed": "services", "snmp.answer": "SNMP",
    "snmp.responder": "SNMP", "snmp.default-refused": "default community",
    "echo.reply": "echo", "echo.loss": "echo loss", "echo.round-trip": "round trip",
    "echo.duplicate": "echo duplicates", "neighbour.duplicate": "sole holder of its address",
    "neighbour.proxy": "proxy ARP", "settings.saved": "saved", "settings.ntp": "time server",
    "state.alarm": "alarm", "port.status": "port", "port.speed": "port", "port.duplex": "port",
    "port.mtu": "port", "port.neighbour": "cabling", "radio.tx-frequency": "frequency",
    "radio.rx-frequency": "frequency", "radio.tx-power": "power", "radio.eirp": "EIRP",
    "radio.atpc": "ATPC", "radio.rx-level": "level", "radio.rx-level-spread": "level",
    "radio.path-loss": "path loss", "radio.snr": "SNR", "radio.xpi": "XPI",
    "radio.transmitter": "transmitter", "radio.test-mode": "test mode",
    "radio.switch-forced": "forced switch", "radio.link-id": "link id",
    "link.ends-swapped": "ends", "link.far-end": "far end",
}  # fmt: skip
"""What a check is called in one word; what is not listed is called by its own last part."""
_ORDER = ("identity", "address", "mask", "gateway", "services", "name", "saved", "power", "ATPC",
          "frequency", "test mode", "transmitter", "level")  # fmt: skip
_SILENT_WHERE_RIGHT = frozenset(
    {
        "echo", "echo loss", "round trip", "echo duplicates", "SNMP", "proxy ARP", "ends",
        "sole holder of its address",
    }
)  # fmt: skip
"""Said by the verdict already (reachable), or worth a word only where it is wrong."""
_WITH_VALUE = {"power": " dBm", "ATPC": ""}
"""What is right is shown with its value."""
ALWAYS_SAID: Mapping[str, str] = {
    "settings.saved": "unsaved_settings", "state.alarm": "alarm",
}  # fmt: skip
"""What is said where the device does not tell it: whether a restart loses it, and its alarms; with
the field of the profile that would tell."""
BEFORE_LEAVING: Mapping[str, str] = {
    "radio.tx-power": "tx_power_dbm", "radio.test-mode": "test_mode",
    "radio.transmitter": "tx_enabled", "radio.rx-level": "rx_level_dbm",
    "radio.switch-forced": "switch_forced",
}  # fmt: skip
"""The same of a radio, before a site is left: power back, no test mode, no mute, no forced switch
(where there is anything to switch to), the level after tightening."""
_BY_REASON = frozenset(
    {"settings.saved", "settings.ntp", "state.alarm", "radio.transmitter", "radio.test-mode",
     "radio.lock", "radio.switch-forced"}
)  # fmt: skip
"""What is said in words: what a device calls such a state is its own."""
_NOT_READ = frozenset({"laptop.fit"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Sorted:
    """What the findings of one device come to.

    Attributes:
        failed: the findings that did.
    """

    right: tuple[str, ...] = ()
    wrong: tuple[HereItem, ...] = ()
    cautions: tuple[HereItem, ...] = ()
    unread: tuple[HereItem, ...] = ()
    failed: tuple[Finding, ...] = ()

    def without(self, words: Container[str]) -> Sorted:
        """The same without what is called by these words."""
        return replace(
            self,
            right=tuple(r for r in self.right if r not in words),
            wrong=tuple(i for i in self.wrong if i.what not in words),
            cautions=tuple(i for i in self.cautions if i.what not in words),
            unread=tuple(i for i in self.unread if i.what not in words),
            failed=tuple(f for f in self.failed if word(f.check) not in words),
        )


def word(check: str) -> str:
    """What a check is called."""
    return WORDS.get(check) or check.partition(".")[2].replace("-", " ")


def sort(  # noqa: PLR0913
    plan: Plan, device: Device, profile: Profile, result: Result, *, levels: bool, leaving: bool
) -> Sorted:
    """What of a device is right and what is not.

    `levels`: the receive levels have lines of their own; `leaving`: it is the last look.
    """
    groups: dict[str, list[Finding]] = {}
    mine = [
        f
        for f in result.findings
        if f.check not in _NOT_READ and _concerns(plan, device, f.subject)
    ]
    for finding in mine:
        there = "there " if _there(plan, device, finding.subject) else ""
        groups.setdefault(f"{there}{word(finding.check)}", []).append(finding)
    said = _said(plan, device, leaving=leaving)
    shown = {n: fs for n, fs in groups.items() if not (levels and n in {"level", "there level"})}
    return Sorted(
        right=tuple(_right(groups)),
        wrong=_items(shown, "fail"),
        cautions=_items(shown, "warn"),
        unread=(
            *_items(shown, "not-tested"),
            *_never_read(mine, profile, result, said),
        ),
        failed=tuple(f for f in mine if f.verdict == "fail"),
    )


def _concerns(plan: Plan, device: Device, subject: Subject) -> bool:
    if subject.kind in {"device", "port"}:
        return subject.name == device.name
    return subject.kind == "link" and any(
        device.name in {end.device for _, end in carrier.ends()}
        for link in plan.links
        if link.name == subject.name
        for carrier in link.carriers
    )


def _there(plan: Plan, device: Device, subject: Subject) -> bool:
    """Whether a subject is the far end of the device's link."""
    if subject.kind != "link" or subject.end is None:
        return False
    return end_device(plan, subject) != device.name


def end_device(plan: Plan, subject: Subject) -> str:
    """The device of an end of a carrier."""
    for link in plan.links:
        for carrier in link.carriers:
            if link.name == subject.name and subject.carrier in {None, carrier.carrier}:
                ends: dict[EndName, str] = {name: end.device for name, end in carrier.ends()}
                if subject.end is not None:
                    return ends[subject.end]
    return ""


def _right(groups: Mapping[str, Sequence[Finding]]) -> Iterable[str]:
    """Each group all of whose findings passed, in the order of the trade; with the far end's."""
    good = {n: fs for n, fs in groups.items() if all(f.verdict == "pass" for f in fs)}
    here = [n for n in good if not n.startswith("there ") and n not in _SILENT_WHERE_RIGHT]
    here.sort(key=lambda n: _ORDER.index(n) if n in _ORDER else len(_ORDER))
    for name in here:
        far = good.get(f"there {name}")
        if name not in _WITH_VALUE or good[name][0].observed is None:
            yield name
            continue
        mine = figure(good[name][0].observed) + _WITH_VALUE[name]
        other = figure(far[0].observed) + _WITH_VALUE[name] if far else None
        both = "both " if other == mine and name == "power" else ""
        yield f"{name} {both}{mine}"


def _items(groups: Mapping[str, Sequence[Finding]], verdict: Verdict) -> tuple[HereItem, ...]:
    found: dict[HereItem, None] = {}
    for name, findings in groups.items():
        for finding in findings:
            if finding.verdict == verdict:
                found[HereItem(what=_what(name, finding), words=_words(finding))] = None
    return tuple(found)


def _what(name: str, finding: Finding) -> str:
    port = finding.subject.port
    return f"{name} {port}" if port is not None and name == "port" else name


def _words(finding: Finding) -> str:
    if finding.verdict == "not-tested" or finding.check in _BY_REASON:
        return finding.reason
    if finding.expected is None or finding.observed is None:
        missing = finding.check == "address.gateway" and finding.observed is None
        if missing and finding.expected is not None:
            return f"planned {figure(finding.expected)}, found none"
        return finding.reason
    unit = f" {finding.unit}" if finding.unit else ""
    return f"planned {figure(finding.expected)}{unit}, found {figure(finding.observed)}{unit}"


def figure(value: Figure) -> str:
    """A planned or found value."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return " / ".join(map(figure, value))
    if value is None:
        return "none"
    return f"{value:.1f}" if isinstance(value, float) else str(value)


def _said(plan: Plan, device: Device, *, leaving: bool) -> Mapping[str, str]:
    """The checks that are never left out for this device."""
    links = [k for k in plan.links if any(device.name in _ends(c) for c in k.carriers)]
    if not (leaving and links):
        return ALWAYS_SAID
    more = dict(BEFORE_LEAVING)
    if all(link.protection in {None, "1+0"} for link in links):
        del more["radio.switch-forced"]
    return {**ALWAYS_SAID, **more}


def _ends(carrier: Carrier) -> set[str]:
    return {end.device for _, end in carrier.ends()}


def _never_read(
    findings: Iterable[Finding], profile: Profile, result: Result, said: Mapping[str, str]
) -> Iterable[HereItem]:
    """What the device's profile has no reading for, of that which is never left out."""
    told = {f.check for f in findings}
    readable = {r.field for r in profile.reading}
    for check, field in said.items():
        if check in told or check in result.not_in_stage:
            continue
        why = f"profile {profile.id} has no reading"
        if field in readable:
            why = "nothing is planned or said to be good"
        yield HereItem(what=word(check), words=why)


# -- levels ---------------------------------------------------------------------------------------


def levels(
    plan: Plan, device: Device, result: Result, age_s: Mapping[int, float]
) -> tuple[HereLevel, ...]:
    """The receive levels of the device's link, here and there; empty where none was judged.

    `age_s`: how old each observation is, by its id.
    """
    found: dict[str, HereLevel] = {}
    for finding in result.findings:
        subject = finding.subject
        if finding.check != "radio.rx-level" or not _concerns(plan, device, subject):
            continue
        name = end_device(plan, subject)
        place = "here" if name == device.name else "there"
        if place not in found:
            found[place] = _level(finding, name, here=name == device.name, age_s=age_s)
    return tuple(found[p] for p in ("here", "there") if p in found)


def _level(finding: Finding, device: str, *, here: bool, age_s: Mapping[int, float]) -> HereLevel:
    level, planned = number(finding.observed), number(finding.expected)
    both = level is not None and planned is not None
    ages = [age_s[n] for n in finding.evidence if n in age_s]
    return HereLevel(
        place="here" if here else "there",
        device=device,
        level_dbm=level,
        planned_dbm=planned,
        difference_db=round(level - planned, 1)
        if both and level is not None and planned is not None
        else None,
        age_s=min(ages, default=None) if level is not None else None,
        problem="" if level is not None else finding.reason,
    )


def number(value: Figure) -> float | None:
    """A value that is one number."""
    return float(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else None
