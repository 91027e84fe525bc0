"""What of the plan was asked, what was not, and what a person allowed to stay untested.

The person's part is asked where a sheet is given: an observation `observed` of the laptop says so,
and `--judge-again` sees it. A plan of labels and azimuths would otherwise never pass without paper;
what was not asked is counted in the report instead.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

from verifier.model.manual import BY_CHECK
from verifier.model.plan import Device, Link, NotTestedOk, Plan
from verifier.model.problem import Problem, Subject
from verifier.model.result import Accepted, Finding, NotAsked, Scope
from verifier.rules.compare.manual.items import planned_values

NOT_READ = frozenset(("column-not-read",))
"""Rules of reading by which something of the plan's sheet was given and is not in the plan: what it
says cannot be tested, so nothing passes over it."""

NOT_SEEN = "only a person can see it, and nobody entered it"
"""Why a planned value was not asked for."""


def scope_of(plan: Plan, names: Sequence[str], devices: Sequence[Device]) -> Scope:
    """What `devices` are of the plan; `names` is what a person named to choose them."""
    asked = {d.name for d in devices}
    whole = len(asked) == len(plan.devices)
    return Scope(
        whole=whole,
        devices=(len(asked), len(plan.devices)),
        links=(sum(link_asked(link, asked) for link in plan.links), len(plan.links)),
        names=() if whole else tuple(names) or tuple(d.name for d in devices),
    )


def link_asked(link: Link, devices: Collection[str]) -> bool:
    """Whether every device of a link was asked: then it can be judged."""
    return all(name in devices for end in link.devices() for name in end)


def without_links(
    plan: Plan, devices: Collection[str], findings: Iterable[Finding]
) -> list[Finding]:
    """The findings but those of links that were not asked.

    What a person entered of the asked end stays: it was given, and needs no far end.
    """
    left = {link.name for link in plan.links if not link_asked(link, devices)}
    return [
        f
        for f in findings
        if f.subject.kind != "link" or f.subject.name not in left or f.check in BY_CHECK
    ]


def links_not_asked(plan: Plan, devices: Collection[str]) -> Iterator[NotAsked]:
    """Each link of which some devices were asked and some were not."""
    for link in plan.links:
        names = [n for c in link.carriers for n in (c.a.device, c.b.device)]
        left = list(dict.fromkeys(n for n in names if n not in devices))
        if left and len(left) < len(set(names)):
            yield NotAsked(
                what=f"link {link.name}",
                reason=f"{', '.join(left)} was not asked: a link is judged by both its ends",
            )


def not_read(problems: Iterable[Problem]) -> Iterator[NotAsked]:
    """What stands in the plan's sheet and nothing reads, whichever devices are asked."""
    for problem in problems:
        if problem.rule in NOT_READ:
            yield NotAsked(what=str(problem.origin or problem.subject), reason=problem.message)


def values_not_asked(
    plan: Plan, devices: Iterable[Device], findings: Iterable[Finding]
) -> Iterator[NotAsked]:
    """By check: how many planned values only a person can see, of which nothing is found."""
    planned = Counter(item.check for _, item in planned_values(plan, devices))
    told = Counter(f.check for f in findings)
    for check, count in planned.items():
        if (left := count - told[check]) > 0:
            yield NotAsked(what=check, reason=NOT_SEEN, count=left)


def accept(
    plan: Plan, findings: Iterable[Finding], allowed: Iterable[NotTestedOk]
) -> tuple[tuple[Finding, ...], tuple[Accepted, ...]]:
    """The findings, a warning where a person allowed that they stay untested; who allowed what.

    Where several allow the same, one that names the device counts, then the first.
    """
    order = sorted(dict.fromkeys(allowed), key=lambda a: a.device is None)
    taken: dict[NotTestedOk, list[str]] = {a: [] for a in order}
    ends = _ends(plan)
    made = []
    for finding in findings:
        found = None
        if finding.verdict == "not-tested":
            found = next((a for a in order if _covers(a, finding, ends)), None)
        if found is None:
            made.append(finding)
            continue
        taken[found].append(finding.id)
        reason = f"not tested ({finding.reason}); {by_whom(found.by)}: {found.reason}"
        made.append(dataclasses.replace(finding, verdict="warn", reason=reason))
    told = (Accepted(check=a.check, reason=a.reason, by=a.by, findings=tuple(ids))
            for a, ids in taken.items())  # fmt: skip
    return tuple(made), tuple(told)


def by_whom(by: str | None) -> str:
    """Who accepted something, in words."""
    return f"accepted by {by}" if by else "accepted by a person who is not named"


def _ends(plan: Plan) -> Mapping[Subject, str]:
    """The device at each end of each carrier."""
    return {
        Subject("link", link.name, carrier=carrier.carrier, end=name): end.device
        for link in plan.links
        for carrier in link.carriers
        for name, end in carrier.ends()
    }


def _covers(allowed: NotTestedOk, finding: Finding, ends: Mapping[Subject, str]) -> bool:
    if allowed.name != finding.check:
        return False
    subject = finding.subject
    device = subject.name if subject.kind in {"device", "port"} else ends.get(subject)
    return allowed.device is None or allowed.device == device
