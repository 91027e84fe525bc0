"""Were settings saved: what a device said before a restart, what it says after, and the plan.

Observations of the time before are marked so (`Observation.before`); the device's observation
`RESTART` says how it went. Both stand in the same result as what was seen after, so that it
can be judged again.

So `report --judge-again` works on such a result as on any other.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from verifier.model.address import Address
from verifier.model.kind import Scalar
from verifier.model.observations import (
    NEIGHBOUR,
    RESTART,
    Observation,
    RestartTimes,
)
from verifier.model.plan import Device, NotTestedOk, Plan, Stage
from verifier.model.problem import Problem, Subject
from verifier.model.profile import Profile
from verifier.model.result import Cause, Finding, Verdict
from verifier.rules.compare.judge import Judgement, compare
from verifier.rules.compare.scope import accept
from verifier.rules.diagnose.settings import nothing_saved
from verifier.rules.observations import Observations, Settings, of_kind, settings
from verifier.rules.soak.tally import words

WAIT_BOOTS: Final = 4.0
"""How long a device is waited for: so many times the boot time of its profile."""

_MANY: Final = 12
_SETTINGS: Final = frozenset({"identity", "state", "address", "port", "radio", "settings", "tcp"})
"""First words of the checks that tell a setting."""
_WAY: Final = frozenset({"local", "laptop", "icmp", "echo", "snmp"})
"""First words of the checks of whether a device can be asked at all."""


def unread(
    devices: Iterable[Device],
    findings: Sequence[Finding],
    causes: Iterable[Cause],
    observations: Sequence[Observation[object]],
) -> dict[str, str]:
    """Devices of which no setting was read before a restart, and why; by its cause, where known."""
    said = {c.id: c.text for c in causes}
    found: dict[str, str] = {}
    for device in devices:
        if settings(device, observations):
            continue
        if device.snmp is None:
            found[device.name] = "the plan says no snmp entry for it, so its settings are not read"
            continue
        wrong = (
            f for f in findings
            if f.verdict in {"fail", "not-tested"} and f.subject == Subject("device", device.name)
            and f.check.partition(".")[0] in _WAY
        )  # fmt: skip
        first = next(wrong, None)
        reason = "it gave none of its settings" if first is None else first.reason
        named = [said[c] for c in first.caused_by if c in said] if first is not None else []
        found[device.name] = named[0] if named else reason
    return found


def before(observations: Iterable[Observation[object]]) -> Iterator[Observation[object]]:
    """What was seen of devices before the restart, marked as such."""
    for o in observations:
        if o.subject.kind in {"device", "port"}:
            yield dataclasses.replace(o, before=True)


@dataclass(frozen=True, slots=True)
class SettingChange:
    """A setting that is another after the restart; None: it is not there any more."""

    name: str
    before: Scalar | None
    after: Scalar | None

    def __str__(self) -> str:
        return f"{self.name}: {_said(self.before)} before, {_said(self.after)} now"


def _said(value: Scalar | None) -> str:
    return "nothing" if value is None else repr(value) if isinstance(value, str) else str(value)


def changes(old: Settings, new: Settings) -> tuple[SettingChange, ...]:
    """Every setting that differs, in order."""
    names = dict.fromkeys((*old, *new))
    return tuple(
        SettingChange(n, old.get(n), new.get(n)) for n in names if old.get(n) != new.get(n)
    )


def waits_s(
    devices: Iterable[Device], profiles: Mapping[str, Profile], typed_s: float | None
) -> dict[str, float]:
    """By device, how long it may take to go and to come back: as a person says, else by its boot.

    Args:
        devices: those that are restarted.
        profiles: by id, theirs among them.
        typed_s: what a person says, for all of them.
    """
    return {d.name: typed_s or WAIT_BOOTS * profiles[d.profile].boot_s for d in devices}


def judge(  # noqa: PLR0913
    plan: Plan,
    profiles: Mapping[str, Profile],
    observations: Sequence[Observation[object]],
    *,
    stage: Stage,
    devices: Sequence[Device],
    names: Sequence[str] = (),
    accept_untested: Iterable[NotTestedOk] = (),
    problems: Iterable[Problem] = (),
) -> Judgement:
    """What was seen after, and `settings.saved` and `state.restarts` of each device.

    Arguments as `compare`; these two are asked at every stage, for that is what was done.
    """
    olds = [dataclasses.replace(o, before=False) for o in observations if o.before]
    news = [o for o in observations if not o.before]
    accepted = tuple(accept_untested)
    after = compare(
        plan, profiles, news, stage=stage, devices=devices, names=names,
        accept_untested=accepted, problems=problems,
    )  # fmt: skip
    laptop = [o for o in news if o.subject.kind == "laptop"]
    earlier = compare(plan, profiles, [*laptop, *olds], stage=stage, devices=devices)
    went = {o.subject.name: o for o in of_kind(news, RESTART)}
    own: list[Finding] = []
    for device in devices:
        noted = went.get(device.name)
        how = noted.value if noted is not None else None
        reverted = _reverted(plan, device, earlier.findings, after.findings)
        mine = [_saved(plan, device, (olds, news), how, reverted)]
        if how is not None and how.snmp_s is not None:
            mine.append(_took(plan, device, profiles[device.profile], how))
        evidence = (noted.id,) if noted is not None else ()
        own += [dataclasses.replace(f, evidence=evidence) for f in mine]
    kept = [f for f in after.findings if f.check not in {"settings.saved", "state.restarts"}]
    numbered = [f.numbered(f"f{n}") for n, f in enumerate(own, start=len(after.findings) + 1)]
    findings, told = accept(plan, (*kept, *numbered), (*accepted, *plan.not_tested_ok))
    present = {f.id for f in findings}
    both = tuple(
        dataclasses.replace(a, findings=(*(i for i in b.findings if i in present), *a.findings))
        for a, b in zip(told, after.accepted, strict=True)
    )
    findings, causes = nothing_saved(plan, _elsewhere(went, findings), findings, after.causes)
    return dataclasses.replace(after, findings=findings, causes=causes, accepted=both)


def _elsewhere(
    went: Mapping[str, Observation[RestartTimes]], findings: Iterable[Finding]
) -> dict[str, tuple[Finding, str]]:
    """By device found at another address: its failed `settings.saved`, and the address in words."""
    heads = {
        f.subject.name: f for f in findings if f.check == "settings.saved" and f.verdict == "fail"
    }
    return {
        name: (heads[name], f"{how.found_at}, its {how.found_as} address")
        for name, o in went.items()
        if name in heads and (how := o.value) is not None and how.found_at is not None
    }


def _reverted(
    plan: Plan, device: Device, earlier: Iterable[Finding], after: Iterable[Finding]
) -> tuple[Finding, ...]:
    """What was as planned before and is not any more."""
    right = {(f.check, f.subject) for f in earlier if f.verdict == "pass"}
    return tuple(
        f for f in after
        if f.verdict in {"fail", "warn"} and (f.check, f.subject) in right
        and _is_of(plan, device, f.subject)
        and f.check.partition(".")[0] in _SETTINGS
    )  # fmt: skip


def _is_of(plan: Plan, device: Device, subject: Subject) -> bool:
    """Whether a subject is the device, a port of it, or its end of a link."""
    if subject.kind != "link":
        return subject.name == device.name
    return any(
        end.device == device.name and subject.end == name
        for link in plan.links if link.name == subject.name
        for carrier in link.carriers
        for name, end in carrier.ends()
    )  # fmt: skip


def _saved(
    plan: Plan,
    device: Device,
    seen: tuple[Sequence[Observation[object]], Sequence[Observation[object]]],
    how: RestartTimes | None,
    reverted: Sequence[Finding],
) -> Finding:
    old, new = (settings(device, part) for part in seen)
    verdict, reason, observed, advice = _verdict(old, new, how, reverted)
    if how is not None and (exchanged := _exchanged(device, seen)):
        verdict, reason, observed, advice = "not-tested", *exchanged
    return Finding(
        check="settings.saved",
        subject=Subject("device", device.name),
        verdict=verdict,
        reason=reason,
        expected="the same settings after a restart",
        observed=observed,
        origin=plan.origin("devices", device.name),
        advice=advice,
    )


def _exchanged(
    device: Device, seen: tuple[Sequence[Observation[object]], Sequence[Observation[object]]]
) -> tuple[str, str, str] | None:
    """What is said where another device answers than before, by its hardware address."""
    before, now = (
        Observations(o for o in part if o.subject.name == device.name).values(NEIGHBOUR)
        for part in seen
    )
    if not before or not now or before[0] == now[0]:
        return None
    old, new = before[0], now[0]
    reason = f"another device answers now: hardware address {new}, before the restart {old}"
    return reason, str(new), "plug the device in that was read before, and restart that one"


def _verdict(
    old: Settings,
    new: Settings,
    how: RestartTimes | None,
    reverted: Sequence[Finding],
) -> tuple[Verdict, str, str | None, str]:
    told = _no_comparison(how, old, new)
    if told is not None or how is None:
        return told or ("not-tested", "it was not waited for to the end", None, "")
    changed = changes(old, new)
    if not changed:
        return "pass", f"all {len(old)} settings are as before; {_back(how)}", "unchanged", ""
    listed = "; ".join(map(str, changed[:_MANY]))
    more = f"; and {len(changed) - _MANY} more" if len(changed) > _MANY else ""
    gone_back = "; ".join(
        f"{f.check} of {f.subject} (planned {f.expected}, found {f.observed})" for f in reverted
    )
    reason = f"{len(changed)} settings are others after the restart: {listed}{more}"
    reason += f". As planned before and not any more: {gone_back}" if gone_back else ""
    advice = "set what was lost again, save in the device, and restart it once more"
    return "fail", f"{reason}; {_back(how)}", f"{len(changed)} changed", advice


def _no_comparison(
    how: RestartTimes | None, old: Settings, new: Settings
) -> tuple[Verdict, str, str | None, str] | None:
    """What is said where before and after cannot be compared; None where they can."""
    if how is None:
        return None
    if (why := _not_restarted(how)) is not None:
        return "not-tested", why, "not restarted", "restart it: switch its supply off and on"
    if how.found_at is not None:
        reason = f"it came back at {how.found_at}, its {how.found_as} address: nothing was saved"
        return "fail", reason, how.found_at, "set it up again from the plan, and save"
    away = how.ping_s is None and not how.ping_held
    if away and how.snmp_s is None:
        reason = f"it did not come back within {words(how.waited_s)}"
        return "fail", reason, "no answer", "look at its supply and its lamps; find looks for it"
    if not old:
        return "not-tested", "it gave no settings before the restart to compare with", None, ""
    return None if new else (
        "not-tested", f"it gives no settings any more: {_back(how)}", None, ""
    )  # fmt: skip


def _not_restarted(how: RestartTimes) -> str | None:
    """Why a device was not restarted at all, or None where it was, or nobody can tell."""
    if how.restarted is False and how.snmp_s is not None:
        return (
            "it was away, but its uptime went on: its cable was pulled and not its supply, or the "
            "way to it was down"
        )
    if how.gone_s is None and not how.restarted:
        return f"it was not restarted: it answered throughout the {words(how.waited_s)} of waiting"
    return None


def _back(how: RestartTimes) -> str:
    parts = []
    if how.ping_held:
        parts.append("it answered echoes throughout, only its agent was away")
    elif how.ping_s is not None:
        parts.append(f"back to echoes after {words(how.ping_s)}")
    if how.snmp_s is not None:
        parts.append(f"to SNMP after {words(how.snmp_s)}")
    return ", ".join(parts) or "it did not come back"


def _took(plan: Plan, device: Device, profile: Profile, how: RestartTimes) -> Finding:
    """`state.restarts`: how long the device was away, against its profile's boot time."""
    assert how.snmp_s is not None
    slow = how.snmp_s > profile.boot_s
    return Finding(
        check="state.restarts",
        subject=Subject("device", device.name),
        verdict="warn" if slow else "pass",
        reason=_back(how) + (f"; profile {profile.id!r} says {profile.boot_s:g} s" if slow else ""),
        expected=profile.boot_s,
        observed=round(how.snmp_s, 1),
        unit="s",
        origin=plan.origin("devices", device.name, "profile"),
        advice="look at its log, or correct boot_s in the profile" if slow else "",
    )


def fallback_addresses(device: Device, profile: Profile) -> dict[str, Address]:
    """Addresses it may have fallen back to; for a simulated device only those of this machine."""
    own = device.address.address
    factory = profile.factory.address_for(device.tx_band)
    named = {"former": device.present_address, "factory": factory}
    if factory is None:
        named |= {"lower factory": profile.factory.low, "upper factory": profile.factory.high}
    return {
        kind: i.address
        for kind, i in named.items()
        if i is not None and i.address.value != own.value
        and (i.address.is_loopback or not own.is_loopback)
    }  # fmt: skip
