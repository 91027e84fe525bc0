"""The result as text: causes with what they explain, what stands alone, the summary."""

from __future__ import annotations

import dataclasses
import datetime as dt
import textwrap
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence

from tabulate import tabulate

from verifier.model.observations import ECHO, EchoSeries
from verifier.model.result import VERDICTS, Cause, Finding, Result, Verdict
from verifier.report import sentences
from verifier.report.result import screen
from verifier.report.result.causes import Group, counted_with_a_cause, evidence, explained, groups
from verifier.report.result.pictures import lines, pictures
from verifier.report.sentences import (
    WORDS,
    accepted_lines,
    not_asked_lines,
    soak_title,
    verdict_line,
    word,
)
from verifier.report.style import ReportStyle, page, paragraph, plain, wrapped
from verifier.rules.compare.echo import echo_stats
from verifier.rules.compare.soak.context import UNTIL_THEN
from verifier.rules.observations import of_kind

_INDENT = " " * 4
_SUBJECT, _DEVICE, _WHY = 40, 18, 12
"""Columns for a name in the summary, for name and reason among the echoes; longer ones fold."""
_MOST_PICTURES = 8
_MANY = 40
"""Devices beyond this number are listed only where something is not right."""


def render(result: Result, look: ReportStyle) -> str:
    """The whole report, or what fits the screen; ends with a newline."""
    if look.screen:
        head = [*_verdict(result, look), *_heading(result, look, counts=False).splitlines()]
        table = _echo_table(result) if result.command == "reach" else ""
        return page("\n".join(screen.lines(result, look, head, table)), _verdict(result, look))
    parts = [
        "\n".join([*_verdict(result, look), _heading(result, look)]),
        *causes(result, look),
        *wrong(result, look),
        *([_echo_table(result)] if result.command == "reach" else []),
        *_pictures(result, look),
        _devices(result, look),
        *([_everything(result)] if look.verbose else []),
        sentences.entered_text(result, look.width),
        _closing(result, look),
    ]
    return page("\n\n".join(part for part in parts if part), _verdict(result, look))


def brief(result: Result, look: ReportStyle) -> str:
    """The verdict line, and one line for each check that failed; ends with a newline."""
    lines = [*_verdict(result, look)]
    for finding in result.findings:
        if finding.verdict == "fail":
            line = f"{plain(finding.subject)}  {finding.check}: {values(finding) or finding.reason}"
            lines += paragraph(f"{WORDS['fail']}  {line}", "", look.width, hang=_INDENT)
    return page("\n".join(lines), _verdict(result, look))


def _verdict(result: Result, look: ReportStyle) -> list[str]:
    """The verdict line; a second one only where names and counts need it."""
    first, *more = wrapped(verdict_line(result), "", look.width, hang=_INDENT)
    return [first.replace(WORDS[result.verdict], word(result.verdict, look), 1), *more]


def _heading(result: Result, look: ReportStyle, *, counts: bool = True) -> str:
    revision = f", revision {plain(result.plan.revision)}" if result.plan.revision else ""
    name = plain(result.plan.name) or "unnamed plan"
    took = f"{_seconds(result):.1f} s, {result.started}"
    title = f"{name}{revision}: {result.command}, stage {result.stage}"
    if soak := soak_title(result):
        title += f", {soak}"
    if not counts:
        return textwrap.fill(f"{title} ({took})", look.width, subsequent_indent=_INDENT)
    each = ", ".join(f"{n} {WORDS[v].lower()}" for v, n in result.summary.items())
    return f"{textwrap.fill(title, look.width, subsequent_indent=_INDENT)}\n{each} ({took})"


def _seconds(result: Result) -> float:
    ends = [dt.datetime.fromisoformat(t) for t in (result.started, result.finished)]
    return (ends[1] - ends[0]).total_seconds()


def _pictures(result: Result, look: ReportStyle) -> list[str]:
    """Radio links of which something is off, or all when everything is asked for."""
    if look.annex.plan is None:
        return []
    drawn = [p for p in pictures(look.annex.plan, result) if look.verbose or p.off]
    shown = drawn if look.verbose else drawn[:_MOST_PICTURES]
    parts = ["\n".join(lines(p, look.width)) for p in shown]
    if more := len(drawn) - len(shown):
        parts.append(f"({more} more links of which something is off; --verbose draws them)")
    return parts


def _devices(result: Result, look: ReportStyle) -> str:
    """One row for each device or other subject: how many of its checks ended how."""
    counts: dict[tuple[str, str], Counter[Verdict]] = defaultdict(Counter)
    for finding in result.findings:
        kind = "device" if finding.subject.kind == "port" else finding.subject.kind
        counts[kind, finding.subject.name][finding.verdict] += 1
    shown = list(counts.items())
    left_out, behind = 0, 0
    if len(shown) > _MANY and not look.verbose:
        wrong_ = [(k, c) for k, c in shown if set(c) != {"pass"}]
        counted = counted_with_a_cause(result)
        left_out, shown = len(shown) - len(wrong_), [(k, c) for k, c in wrong_ if k not in counted]
        behind = len(wrong_) - len(shown)
    rows = [
        [plain(name), kind, word(_heaviest(c), look), *(c[v] or "" for v in _COLUMNS)]
        for (kind, name), c in shown
    ]
    headings = ["subject", "kind", "verdict", *(WORDS[v].lower() for v in _COLUMNS)]
    widths = [_SUBJECT, *[None] * (len(headings) - 1)]
    table = tabulate(
        rows, headings, tablefmt="simple", disable_numparse=True, stralign="left",
        maxcolwidths=widths,
    )  # fmt: skip
    if left_out:
        table += f"\n({left_out} more, all passed)"
    if behind:
        table += f"\n({behind} more, counted with their causes above)"
    return table if rows else ""


_COLUMNS: tuple[Verdict, ...] = ("pass", "fail", "warn", "not-tested")


def _heaviest(counts: Iterable[Verdict]) -> Verdict:
    return min(counts, key=VERDICTS.index)


def _everything(result: Result) -> str:
    rows = [
        [WORDS[f.verdict], plain(f.subject), f.check, values(f) or plain(f.reason)]
        for f in result.findings
    ]
    return tabulate(
        rows,
        ["verdict", "subject", "check", "planned and found"],
        tablefmt="simple",
        maxcolwidths=[None, 24, None, 40],
        disable_numparse=True,
    )


def _echo_table(result: Result) -> str:
    """Loss and round-trip times of each device that echoes were sent to."""
    seen: dict[str, list[EchoSeries]] = defaultdict(list)
    for observation in of_kind(result.observations, ECHO):
        if observation.value is not None and observation.value.sent:
            seen[observation.subject.name].append(observation.value)
    if not seen:
        return ""
    rows = [[plain(name), *_echo_row(series)] for name, series in seen.items()]
    times = ["min/ms", "avg", "median", "max", "jitter"]
    headings = ["device", "sent", "loss%", *times, "dup", "silence"]
    widths = [_DEVICE, *[None] * 8, _WHY]
    return tabulate(rows, headings, tablefmt="simple", floatfmt=".3f", maxcolwidths=widths)


def _echo_row(series: Sequence[EchoSeries]) -> list[object]:
    stats = echo_stats([rtt for each in series for rtt in each.rtt_ms])
    times = (stats.min_ms, stats.average_ms, stats.median_ms, stats.max_ms, stats.jitter_ms)
    shown = times if stats.received else ("-",) * len(times)
    duplicates = sum(each.duplicates for each in series)
    why = "; ".join(dict.fromkeys(plain(s.text) for each in series for s in each.silence))
    return [stats.sent, f"{stats.loss_pct:g}", *shown, duplicates or "", why]


def _closing(result: Result, look: ReportStyle) -> str:
    lines = []
    if result.not_in_stage:
        checks = f"not in stage {result.stage}: {', '.join(result.not_in_stage)}"
        lines += paragraph(checks, "", look.width)
    for left in not_asked_lines(result):
        lines += paragraph(left, "", look.width)
    for allowed in accepted_lines(result):
        lines += paragraph(f"accepted: {allowed}", "", look.width)
    return "\n".join(lines)


# --- blocks of findings, causes with what hangs on them -------------------------------------------


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
    lines = ["CAUSES:" if certain else f"POSSIBLE CAUSES ({len(group.causes)}):"]
    for cause in group.causes:
        lines += _wrapped(f"{cause.certainty}: {cause.text}", look)
        lines += _words_of(cause, group, look, _INDENT * 2)
    if group.common:
        lines += _wrapped(f"for each of them: {evidence(group.common)}", look)
    return lines


def _words_of(cause: Cause, group: Group, look: ReportStyle, indent: str) -> list[str]:
    lines = _wrapped(f"try first: {cause.try_first}", look, indent) if cause.try_first else []
    for title, findings in (
        ("for it", group.speaking[cause.id]),
        ("against", group.against[cause.id]),
    ):
        if findings:
            lines += _wrapped(f"{title}: {evidence(findings)}", look, indent)
    return lines


def _findings(group: Group, look: ReportStyle) -> list[str]:
    """The first finding whole, the rest of its subject a line each, then what hangs on it."""
    narrow = dataclasses.replace(look, width=look.width - len(_INDENT))
    lines = [f"{_INDENT}{line}" for line in _block([group.head], narrow, advice=False)]
    for finding in group.same:
        words = values(finding) or finding.reason
        head = f"{WORDS[finding.verdict]}  {finding.subject}  {finding.check}: {words}"
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
    if len(checks) == 1 and first.verdict == "fail":
        lines += _wrapped(f"more: plan-verifier explain {checks[0]}", look)
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
