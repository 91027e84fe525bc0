"""The state of each device, and what the ends of each link receive, as one sweep saw it.

| state | a device | a link |
| --- | --- | --- |
| silent | asked, and gave no sign of life | no device of one of its ends gave one |
| impaired | alive, and something failed | a check of it failed, or a device of several is silent |
| untested | something could not be tested, nothing failed | the same, or an end is untested |
| sound | everything was tested and passed; warnings allowed | the same |

`unsteady` is no state of one sweep: `follow.py` gives it.

A lower modulation that neither level nor SNR explains is put aside: `follow.lasting` makes its link
impaired once it has lasted. A level for which the plan holds no figure makes no link untested.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from verifier.model import mib
from verifier.model.health import HealthReading, PortErrors, Reason, ReceivedLevel, State
from verifier.model.observations import Observation
from verifier.model.plan import Device, Link, Plan
from verifier.model.problem import Subject
from verifier.model.result import Cause, Finding
from verifier.rules import observations as port_rules
from verifier.rules.alignment import Live
from verifier.rules.compare.echo import alive
from verifier.rules.compare.radio import modulation
from verifier.rules.compare.radio.read import can_be
from verifier.rules.observations import Observations, by_device

_FIELD = "rx_level_dbm"


def levels(link: Link, findings: Iterable[Finding], live: Live) -> Iterable[ReceivedLevel]:
    """Levels in dBm: as judged by `radio.rx-level`, else as the devices show them.

    An end whose level was judged and not found has none, whatever its device shows.
    """
    judged = {
        (f.subject.carrier or 1, f.subject.end): f.observed
        for f in findings
        if f.check == "radio.rx-level" and f.subject.name == link.name
    }
    for carrier in link.carriers:
        for name, end in carrier.ends():
            key = (carrier.carrier, name)
            level_dbm = judged[key] if key in judged else live.at(carrier, end).number(_FIELD)
            if isinstance(level_dbm, (int, float)) and can_be(_FIELD, level_dbm):
                yield ReceivedLevel(carrier.carrier, name, float(level_dbm))


MAX_REASONS = 8
"""Reasons kept of one device in one sweep; the rest is counted."""
_TICKS_PER_S = 100
"""TimeTicks are hundredths of a second (RFC 2578 section 7.1.8)."""


def readings(
    plan: Plan,
    devices: Sequence[Device],
    findings: Sequence[Finding],
    causes: Sequence[Cause],
    observations: Collection[Observation[object]],
) -> tuple[HealthReading, ...]:
    """What a sweep saw of each of `devices`, and of each link with all its ends among them."""
    seen = by_device(observations)
    of_device: dict[Subject, list[Finding]] = defaultdict(list)
    for finding in findings:
        of_device[unit_of(finding.subject)].append(finding)
    roots = _Roots(findings, causes)
    of_devices = {
        d.name: _device(
            d, of_device[Subject("device", d.name)], seen.get(d.name, Observations()), roots
        )
        for d in devices
    }
    live = Live(plan, observations if plan.links else ())
    links = [
        _link(link, of_device[Subject("link", link.name)], of_devices, roots, live)
        for link in plan.links
        if frozenset().union(*link.devices()) <= of_devices.keys()
    ]
    return (*of_devices.values(), *links)


def unit_of(subject: Subject) -> Subject:
    """The device, link or other thing that a subject is a part of."""
    if subject.kind in {"device", "port"}:
        return Subject("device", subject.name)
    return Subject(subject.kind, subject.name)


def _device(
    device: Device, found: Sequence[Finding], seen: Observations, roots: _Roots
) -> HealthReading:
    verdicts = {f.check: f.verdict for f in found}
    unfit = verdicts.get("laptop.fit") == "not-tested"
    lives = not unfit and alive(seen)
    asked = not unfit and "fail" in {verdicts.get("echo.reply"), verdicts.get("snmp.answer")}
    failed = [f for f in found if f.verdict == "fail"]
    untested = [f for f in found if f.verdict == "not-tested"]
    state: State
    if not lives:
        state = "silent" if asked else "untested"
        telling = failed if asked else untested
    else:
        state = "impaired" if failed else "untested" if untested else "sound"
        telling = [*failed, *untested]
    subject = Subject("device", device.name)
    return HealthReading(
        subject=subject,
        state=state,
        root=subject if state == "sound" else roots.of(subject),
        answered=True if lives else False if asked else None,
        reasons=_reasons(telling),
        rtt_ms=_figure(found, "echo.round-trip"),
        loss_pct=_figure(found, "echo.loss") if state != "silent" else 100.0,
        uptime_s=_uptime_s(seen),
        ports=tuple(_port_errors(device, seen)),
        try_first=telling[0].advice if telling else "",
    )


def _reasons(findings: Sequence[Finding]) -> tuple[Reason, ...]:
    if not findings:
        return ()
    kept = [
        Reason(
            f.check,
            f.verdict,
            f"{f.subject.port}: {_words(f)}" if f.subject.port else _words(f),
        )
        for f in findings[:MAX_REASONS]
    ]
    if more := len(findings) - len(kept):
        kept.append(Reason("", findings[-1].verdict, f"and {more} more"))
    return tuple(kept)


def _words(finding: Finding) -> str:
    """Why, and what was planned and found, where the reason does not say both."""
    planned, found = finding.expected, finding.observed
    if planned is None or found is None:
        return finding.reason
    if str(planned) in finding.reason and str(found) in finding.reason:
        return finding.reason
    unit = f" {finding.unit}" if finding.unit else ""
    return f"{finding.reason} (planned {planned}{unit}, found {found}{unit})"


def _figure(findings: Sequence[Finding], check: str) -> float | None:
    for f in findings:
        if f.check == check and isinstance(f.observed, (int, float)):
            return float(f.observed)
    return None


def _uptime_s(seen: Observations) -> float | None:
    ticks = seen.first(mib.SYS_UP_TIME)
    if ticks is None or ticks.value is None:
        return None
    return ticks.value / _TICKS_PER_S


def _port_errors(device: Device, seen: Observations) -> Iterable[PortErrors]:
    """The error counters of each planned port that has exactly one row and both values."""
    names = seen.port_names()
    for port in device.ports:
        rows = port_rules.rows_of_port(names, port.name)
        if len(rows) != 1:
            continue
        in_, out = (seen.at(c, rows[0]) for c in (mib.IF_IN_ERRORS, mib.IF_OUT_ERRORS))
        if in_ and out and in_.value is not None and out.value is not None:
            yield PortErrors(port.name, in_.value, out.value)


def _link(
    link: Link,
    found: Sequence[Finding],
    devices: Mapping[str, HealthReading],
    roots: _Roots,
    live: Live,
) -> HealthReading:
    subject = Subject("link", link.name)
    ends = [[devices[name] for name in sorted(side)] for side in link.devices()]
    subjects = [subject for end in ends for subject in end]
    gone = [u for end in ends if all(u.state == "silent" for u in end) for u in end]
    failed = [f for f in found if f.verdict == "fail"]
    untested = [f for f in found if f.verdict == "not-tested" and not _unplanned(f)]
    lower = [f for f in found if f.verdict == "warn" and modulation.UNEXPLAINED in f.reason]
    silent = [u for u in subjects if u.state == "silent"]
    hidden = [u for u in subjects if u.answered is None]
    state: State = "sound"
    because: list[HealthReading] = []
    if gone:
        state, because = "silent", gone
    elif failed or silent:
        state, because = "impaired", silent
    elif untested or hidden:
        state, because = "untested", hidden or [u for u in subjects if u.state != "sound"]
    reasons = tuple(
        Reason(
            "", "fail" if u.state == "silent" else "not-tested", f"{u.subject.name} is {u.state}"
        )
        for u in because
    )
    own = [*failed, *untested]
    root = roots.of(subject) if own and not gone else subject
    if root == subject and because and not failed:
        root = because[0].root
    answered = [any(u.answered for u in end) for end in ends]
    return HealthReading(
        subject=subject,
        state=state,
        root=root if state != "sound" else subject,
        answered=True if all(answered) else False if gone else None,
        reasons=(*reasons, *_reasons(own))[: MAX_REASONS + 1],
        levels=tuple(levels(link, found, live)),
        try_first=next(
            (f.advice for f in own), next((u.try_first for u in because), _first(lower))
        ),
        unexplained=_reasons(lower),
    )


def _first(findings: Sequence[Finding]) -> str:
    return findings[0].advice if findings else ""


def _unplanned(finding: Finding) -> bool:
    """Whether a level was read, and the plan holds nothing to judge it by: for `check` to tell."""
    return (
        finding.check == "radio.rx-level"
        and finding.expected is None
        and finding.observed is not None
    )


@dataclass(frozen=True, slots=True)
class _Step:
    """That a device's findings hang on another subject, by a cause so sure."""

    certain: bool
    subject: Subject


class _Roots:
    """What each device's state hangs on, by the causes of its findings."""

    def __init__(self, findings: Iterable[Finding], causes: Iterable[Cause]) -> None:
        whose = {f.id: unit_of(f.subject) for f in findings}
        self._up: dict[Subject, _Step] = {}
        for cause in causes:
            if cause.certainty == "possible":
                continue
            at, certain = unit_of(cause.subject), cause.certainty == "certain"
            for subject in {whose[f] for f in cause.for_ if f in whose} - {at}:
                known = self._up.get(subject)
                if known is None or (certain and not known.certain):
                    self._up[subject] = _Step(certain, at)

    def of(self, subject: Subject) -> Subject:
        """The last subject on the way from cause to cause; the device itself without any."""
        passed = {subject}
        while (step := self._up.get(subject)) is not None and step.subject not in passed:
            subject = step.subject
            passed.add(subject)
        return subject
