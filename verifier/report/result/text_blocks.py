"""What the text report is made of: blocks of findings, causes with what hangs on them."""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence

from verifier.model.result import VERDICTS, Cause, Finding, Result, Verdict
from verifier.report.plain import paragraph, plain
from verifier.report.result.causes import Group, evidence, explained, groups
from verifier.report.sentences import WORDS
from verifier.report.style import ReportStyle
from verifier.rules.compare.soak.context import UNTIL_THEN

_COLOURS = {
    "FAIL": "1;31",
    "NOT TESTED": "1;35",
    "INCOMPLETE": "1;35",
    "CONDITIONAL": "1;33",
    "WARN": "1;33",
    "PASS": "1;32",
}
_INDENT = " " * 4


def word(verdict: str, look: ReportStyle) -> str:
    """A verdict as it stands in the report."""
    text = WORDS[verdict]
    return f"\x1b[{_COLOURS[text]}m{text}\x1b[0m" if look.colour else text


def causes(result: Result, look: ReportStyle) -> Iterator[str]:
    """One block for each cause, or for those that explain the same; heaviest first."""
    for group in groups(result):
        yield "\n".join([*_causes(group, look), *_findings(group, look)])


def _causes(group: Group, look: ReportStyle) -> list[str]:
    if len(group.causes) == 1:
        (cause,) = group.causes
        title = f"CAUSE, {cause.certainty}: {cause.text}"
        return [*_wrapped(title, look, ""), *_words_of(cause, group, look, _INDENT)]
    certain = any(c.certainty == "certain" for c in group.causes)
    lines = ["CAUSES:" if certain else f"CAUSE, one of {len(group.causes)} that fit:"]
    for cause in group.causes:
        lines += _wrapped(f"{cause.certainty}: {cause.text}", look)
        lines += _words_of(cause, group, look, _INDENT * 2)
    if group.common:
        lines += _wrapped(f"for each of them: {evidence(group.common)}", look)
    return lines


def _words_of(cause: Cause, group: Group, look: ReportStyle, indent: str) -> list[str]:
    lines = _wrapped(f"try first: {cause.try_first}", look, indent) if cause.try_first else []
    for title, said in (("for it", group.speaking[cause.id]), ("against", group.against[cause.id])):
        if said:
            lines += _wrapped(f"{title}: {evidence(said)}", look, indent)
    return lines


def _findings(group: Group, look: ReportStyle) -> list[str]:
    """The first finding whole, the rest of its subject a line each, then what hangs on it."""
    narrow = dataclasses.replace(look, width=look.width - len(_INDENT))
    lines = [f"{_INDENT}{line}" for line in _block([group.head], narrow, advice=False)]
    for finding in group.same:
        said = values(finding) or finding.reason
        head = f"{WORDS[finding.verdict]}  {finding.subject}  {finding.check}: {said}"
        lines += _wrapped(head, look)
    lines += _hanging(group.few, look)
    if group.many:
        lines += _wrapped(group.folded, look)
    return lines


def wrong(result: Result, look: ReportStyle) -> Iterator[str]:
    """One block for each group of findings that say the same of one subject, heaviest first.

    What a cause explains stands with that cause. What a soak that was cut short had measured of
    several devices is left out: it is different for each.
    """
    with_cause = explained(result)
    for verdict in VERDICTS[:-1]:
        alike: dict[tuple[str, str, str], list[Finding]] = defaultdict(list)
        for finding in result.findings:
            if finding.verdict == verdict and finding.id not in with_cause:
                key = (finding.subject.name, _why(finding), finding.advice)
                alike[key].append(finding)
        for same in _merged(alike.values()) if verdict == "not-tested" else alike.values():
            for part in _parts(same):
                yield "\n".join(_block(part, look))


def _why(finding: Finding) -> str:
    """Its reason; of what a soak did not test to its end, without what it had measured."""
    if finding.verdict != "not-tested":
        return finding.reason
    return finding.reason.partition(UNTIL_THEN)[0]


def _parts(same: list[Finding]) -> Iterable[list[Finding]]:
    """All of several devices; of one device, those whose reasons agree in every word."""
    if len({f.subject.name for f in same}) > 1:
        return [same]
    parts: dict[str, list[Finding]] = defaultdict(list)
    for finding in same:
        parts[finding.reason].append(finding)
    return parts.values()


def _merged(groups: Iterable[list[Finding]]) -> Iterable[list[Finding]]:
    """Devices of which the same checks are not tested for the same reason, together."""
    merged: dict[tuple[str, str, frozenset[str]], list[Finding]] = {}
    for same in groups:
        key = (_why(same[0]), same[0].advice, frozenset(f.check for f in same))
        merged.setdefault(key, []).extend(same)
    return merged.values()


def _block(same: Sequence[Finding], look: ReportStyle, *, advice: bool = True) -> list[str]:
    first = same[0]
    checks = list(dict.fromkeys(f.check for f in same))
    subjects = list(dict.fromkeys(str(f.subject) for f in same))
    names = {f.subject.name for f in same}
    name: object = first.subject if len(subjects) == 1 else first.subject.name
    if len(names) > 1:
        name = f"{len(names)} devices"
    head = f"{word(first.verdict, look)}  {plain(name)}"
    lines = [f"{head}  {checks[0]}" if len(checks) == 1 else head]
    if len(checks) > 1:
        lines += _wrapped(", ".join(checks), look)
    if len(subjects) > 1:
        lines += _wrapped("of: " + ", ".join(plain(s) for s in subjects), look)
    if len({f.reason for f in same}) == 1:
        lines += _wrapped(first.reason, look)
    else:
        lines += _wrapped(f"{_why(first)}; --verbose shows what was measured until then", look)
    if len(same) == 1 and (first.expected is not None or first.observed is not None):
        lines += _wrapped(values(first), look)
    if first.advice and advice:
        lines += _wrapped(f"do: {first.advice}", look)
    if len(same) == 1 and first.origin:
        lines += _wrapped(f"plan: {first.origin}", look)
    return lines


def _hanging(findings: Sequence[Finding], look: ReportStyle) -> list[str]:
    """What has the same cause, by verdict and subject: names of checks only."""
    groups: dict[tuple[Verdict, str], list[str]] = defaultdict(list)
    for finding in findings:
        groups[finding.verdict, str(finding.subject)].append(finding.check)
    words = {"fail": "fails with it", "warn": "warns with it", "not-tested": "not tested for it"}
    return [
        line
        for (verdict, subject), checks in groups.items()
        for line in _wrapped(f"{words[verdict]}: {subject}: {', '.join(checks)}", look)
    ]


def values(finding: Finding) -> str:
    """What was planned and what was found, in words."""
    unit = f" {finding.unit}" if finding.unit else ""
    parts = []
    if finding.expected is not None:
        parts.append(f"planned {plain(finding.expected)}{unit}")
    if finding.observed is not None:
        parts.append(f"found {plain(finding.observed) or 'an empty text'}{unit}")
    return ", ".join(parts)


def _wrapped(words: str, look: ReportStyle, indent: str = _INDENT) -> list[str]:
    return paragraph(words, indent, look.width, split=True)
