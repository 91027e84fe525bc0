"""What a check of one device may look at, and how it says what it found."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from verifier.model.laptop import Fit
from verifier.model.observations import ANSWER, DEADLINE, Observation
from verifier.model.plan import Device, Plan, Stage
from verifier.model.problem import Subject
from verifier.model.profile import Profile
from verifier.model.result import Figure, Finding, Verdict
from verifier.rules.observations import Observations

Findings = Iterator[Finding]


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """One device of the plan, its profile, what was seen of it, and how the laptop stands to it.

    Attributes:
        stage: what the work has come to; what does not belong to it is left out afterwards.
        itself: this laptop holds the device's address: whatever answers there is the laptop.
    """

    plan: Plan
    device: Device
    profile: Profile
    seen: Observations
    fit: Fit | None
    stage: Stage = "handover"
    itself: bool = False

    @property
    def subject(self) -> Subject:
        """The device."""
        return Subject("device", self.device.name)

    def port(self, name: str) -> Subject:
        """A port of the device."""
        return Subject("port", self.device.name, port=name)

    def finding(  # noqa: PLR0913
        self,
        check: str,
        verdict: Verdict,
        reason: str,
        *,
        path: tuple[str, ...] = (),
        expected: Figure = None,
        observed: Figure = None,
        unit: str | None = None,
        advice: str = "",
        evidence: Iterable[Observation[object] | None] = (),
        subject: Subject | None = None,
        limit: str | None = None,
    ) -> Finding:
        """A finding about the device; `path` is that of the planned value below the device.

        `limit` is instead a field of the plan's `acceptance` that decided.
        """
        planned = ("acceptance", limit) if limit else ("devices", self.device.name, *path)
        return Finding(
            check=check,
            subject=subject or self.subject,
            verdict=verdict,
            reason=reason,
            expected=expected,
            observed=observed,
            unit=unit,
            origin=self.plan.origin(*planned),
            advice=advice,
            evidence=tuple(o.id for o in evidence if o is not None),
        )

    @property
    def snmp_gap(self) -> str | None:
        """Why SNMP tells nothing about the device, or None where it answered."""
        if self.device.snmp is None:
            return "the plan names no credentials entry in `snmp`, so the device was not asked"
        answer = self.seen.first(ANSWER)
        if answer is None:
            deadline = self.seen.first(DEADLINE)
            return (deadline and deadline.raw) or "SNMP was not asked"
        if answer.value == "answered":
            return None
        return f"SNMP gave no values: {answer.raw or answer.value}"

    def unread(self, observation: Observation[object] | None, what: str) -> str | None:
        """Why a value that SNMP should give is missing, or None where it is there."""
        if (gap := self.snmp_gap) is not None:
            return gap
        if observation is None:
            deadline = self.seen.first(DEADLINE)
            return deadline.raw if deadline and deadline.raw else f"{what} was not read"
        if observation.value is None:
            return f"the device gives no {what}: {observation.raw}"
        return None
