"""The outcome of a run: findings, their causes, the verdict of the whole; two runs compared."""

from __future__ import annotations

from collections import Counter
from collections.abc import Container, Iterable
from dataclasses import dataclass, field
from typing import Literal

from verifier import __version__
from verifier.errors import EXIT_FAILED, EXIT_PASSED, EXIT_UNTESTED
from verifier.model.observations import Observation
from verifier.model.plan import Stage
from verifier.model.problem import Origin, Subject

Verdict = Literal["pass", "fail", "warn", "not-tested"]
VERDICTS: tuple[Verdict, ...] = ("fail", "not-tested", "warn", "pass")
"""By weight: what is wrong first."""
Figure = str | bool | int | float | tuple[str | int | float, ...] | None
"""A planned or found value as a report shows it: one, or several that contradict each other."""
Overall = Literal["pass", "conditional", "incomplete", "fail"]
"""The verdict of a document."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One check of one subject.

    Attributes:
        id: `f1`, `f2`, … within its result.
        check: a check name: layer, dot, what.
        expected, observed: as a person would write them, in `unit`.
        origin: where the plan says so; None where it does not.
        reason: why the verdict is what it is.
        advice: what to do; empty where nothing is to be done.
        caused_by: ids of causes.
        evidence: ids of observations.
    """

    check: str
    subject: Subject
    verdict: Verdict
    reason: str
    id: str = ""
    expected: Figure = None
    observed: Figure = None
    unit: str | None = None
    origin: Origin | None = None
    advice: str = ""
    caused_by: tuple[str, ...] = ()
    evidence: tuple[int, ...] = ()

    def numbered(self, number: str) -> Finding:
        """The same under this id, before causes are known; a third of what `replace` takes."""
        return Finding(
            id=number,
            check=self.check,
            subject=self.subject,
            verdict=self.verdict,
            reason=self.reason,
            expected=self.expected,
            observed=self.observed,
            unit=self.unit,
            origin=self.origin,
            advice=self.advice,
            evidence=self.evidence,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """Why findings are as they are: `for_` and `against` name the findings (in JSON `for`)."""

    id: str
    kind: str
    subject: Subject
    certainty: Literal["certain", "likely", "possible"]
    text: str
    try_first: str = ""
    for_: tuple[str, ...] = ()
    against: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanReference:
    """Which plan was used: hash of the model's canonical JSON (RFC 8785), hash of the file."""

    name: str
    revision: str | None
    sha256: str
    file_sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """What was asked of what is planned.

    Attributes:
        devices, links: asked and planned; a link is asked where both its ends are.
        names: what was named to be asked; empty for the whole plan.
    """

    whole: bool
    devices: tuple[int, int]
    links: tuple[int, int]
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class NotAsked:
    """Something planned that belongs to what was asked, and was not asked; has no verdict."""

    what: str
    reason: str
    count: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Accepted:
    """A check that a person allowed to stay untested.

    Attributes:
        check: `CHECK` or `CHECK@DEVICE`.
        by: who; None where nobody is named.
        findings: ids of the findings that stayed untested for it; none where all was tested.
    """

    check: str
    reason: str
    by: str | None = None
    findings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Tool:
    """What made the document."""

    version: str = __version__


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """A whole run. `verdict`, `summary` and `exit_code` follow from findings and acceptances."""

    command: str
    stage: Stage
    plan: PlanReference
    scope: Scope
    started: str
    finished: str
    findings: tuple[Finding, ...] = ()
    causes: tuple[Cause, ...] = ()
    observations: tuple[Observation[object], ...] = ()
    not_in_stage: tuple[str, ...] = ()
    not_asked: tuple[NotAsked, ...] = ()
    accepted: tuple[Accepted, ...] = ()
    by: str | None = None
    place: str | None = None
    tool: Tool = field(default_factory=Tool)

    @property
    def summary(self) -> dict[Verdict, int]:
        """Number of findings by verdict."""
        counted = Counter(f.verdict for f in self.findings)
        return {v: counted[v] for v in ("pass", "fail", "warn", "not-tested")}

    @property
    def untested_ok(self) -> frozenset[str]:
        """Ids of the findings that a person allowed to stay untested."""
        return frozenset(i for a in self.accepted for i in a.findings)

    @property
    def verdict(self) -> Overall:
        """What the whole comes to, see `overall`."""
        return overall(self.findings, self.untested_ok)

    def exit_code(self, *, strict: bool = False) -> int:
        """The contract's exit code; `strict` turns warnings into a failure of the command."""
        counts = self.summary
        if counts["fail"] or (strict and counts["warn"]):
            return EXIT_FAILED
        return EXIT_UNTESTED if counts["not-tested"] or not self.findings else EXIT_PASSED


def overall(findings: Iterable[Finding], untested_ok: Container[str] = ()) -> Overall:
    """The verdict of a document, or of a part of it, from its findings.

    `fail` if anything failed, else `incomplete` if anything, or everything, was not tested, else
    `conditional` if anything is among `untested_ok`, else `pass`.
    """
    found = list(findings)
    seen = {f.verdict for f in found}
    if "fail" in seen:
        return "fail"
    if "not-tested" in seen or not found:
        return "incomplete"
    return "conditional" if any(f.id in untested_ok for f in found) else "pass"


DifferenceKind = Literal["worse", "gone", "new", "plan", "value", "better", "reason"]
WEIGHT: tuple[DifferenceKind, ...] = ("worse", "gone", "new", "plan", "value", "better", "reason")
"""By weight: what got worse, what is no longer tested, what is tested only now, what is planned
otherwise, what was found otherwise under the same verdict, what got better, what is worded
otherwise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """What became of one check of one subject; one of `old` and `new` may be missing."""

    kind: DifferenceKind
    old: Finding | None
    new: Finding | None

    @property
    def either(self) -> Finding:
        """The new finding, else the old one."""
        found = self.new or self.old
        assert found is not None
        return found
