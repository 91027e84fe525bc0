"""The result as text: what is wrong first, each with reason and advice, then the summary."""

from __future__ import annotations

import datetime as dt
import textwrap
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence

from tabulate import tabulate

from verifier.model.observation import Observation
from verifier.model.result import VERDICTS, Finding, Result, Verdict
from verifier.report import Look
from verifier.report.plain import plain
from verifier.rules.echo import echo_stats

WORDS: dict[str, str] = {
    "pass": "PASS",
    "fail": "FAIL",
    "warn": "WARN",
    "not-tested": "NOT TESTED",
    "incomplete": "INCOMPLETE",
}
_COLOURS = {
    "FAIL": "1;31",
    "NOT TESTED": "1;35",
    "INCOMPLETE": "1;35",
    "WARN": "1;33",
    "PASS": "1;32",
}
_INDENT = " " * 4
_LONGEST_PARAGRAPH = 2000
"""A reason with what the unit said in it, or the checks and ports it is about."""
_SUBJECT, _DEVICE, _WHY = 40, 18, 12
"""Columns for a name in the summary, for name and reason among the echoes; longer ones fold."""
_MANY = 40
"""Units beyond this number are listed only where something is not right."""


def render(result: Result, look: Look) -> str:
    """The whole report; ends with a newline."""
    parts = [
        _heading(result, look),
        *_wrong(result, look),
        *([_echo_table(result)] if result.command == "reach" else []),
        _units(result, look),
        *([_everything(result)] if look.verbose else []),
        _closing(result),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _word(verdict: str, look: Look) -> str:
    word = WORDS[verdict]
    return f"\x1b[{_COLOURS[word]}m{word}\x1b[0m" if look.colour else word


def _heading(result: Result, look: Look) -> str:
    revision = f", revision {plain(result.plan.revision)}" if result.plan.revision else ""
    name = plain(result.plan.name) or "unnamed plan"
    counts = ", ".join(f"{n} {WORDS[v].lower()}" for v, n in result.summary.items())
    title = f"{name}{revision}: {result.command}, stage {result.stage}"
    return (
        f"{textwrap.fill(title, look.width, subsequent_indent=_INDENT)}\n"
        f"{_word(result.verdict, look)}: {counts} ({_seconds(result):.1f} s, {result.started})"
    )


def _seconds(result: Result) -> float:
    ends = [dt.datetime.fromisoformat(t) for t in (result.started, result.finished)]
    return (ends[1] - ends[0]).total_seconds()


def _wrong(result: Result, look: Look) -> Iterator[str]:
    """One block for each group of findings that say the same of one subject, heaviest first.

    What hangs on another finding by a cause stands in that finding's block.
    """
    by_id = {f.id: f for f in result.findings}
    hanging = {c.for_[0]: [by_id[i] for i in c.for_[1:]] for c in result.causes if c.for_}
    folded = {i for c in result.causes for i in c.for_[1:]}
    for verdict in VERDICTS[:-1]:
        groups: dict[tuple[str, str, str], list[Finding]] = defaultdict(list)
        for finding in result.findings:
            if finding.verdict == verdict and finding.id not in folded:
                key = (finding.subject.name, finding.reason, finding.advice)
                groups[key].append(finding)
        for same in _merged(groups.values()) if verdict == "not-tested" else groups.values():
            yield _block(same, hanging.get(same[0].id, []), look)


def _merged(groups: Iterable[list[Finding]]) -> Iterable[list[Finding]]:
    """Units of which the same checks are not tested for the same reason, together."""
    merged: dict[tuple[str, str, frozenset[str]], list[Finding]] = {}
    for same in groups:
        key = (same[0].reason, same[0].advice, frozenset(f.check for f in same))
        merged.setdefault(key, []).extend(same)
    return merged.values()


def _block(same: Sequence[Finding], hanging: Sequence[Finding], look: Look) -> str:
    first = same[0]
    checks = list(dict.fromkeys(f.check for f in same))
    subjects = list(dict.fromkeys(str(f.subject) for f in same))
    names = {f.subject.name for f in same}
    name: object = first.subject if len(subjects) == 1 else first.subject.name
    if len(names) > 1:
        name = f"{len(names)} units"
    head = f"{_word(first.verdict, look)}  {plain(name)}"
    lines = [f"{head}  {checks[0]}" if len(checks) == 1 else head]
    if len(checks) > 1:
        lines += _wrapped(", ".join(checks), look)
    if len(subjects) > 1:
        lines += _wrapped("of: " + ", ".join(plain(s) for s in subjects), look)
    lines += _wrapped(first.reason, look)
    if len(same) == 1 and (first.expected is not None or first.observed is not None):
        lines += _wrapped(_values(first), look)
    if first.advice:
        lines += _wrapped(f"do: {first.advice}", look)
    if len(same) == 1 and first.origin:
        lines += _wrapped(f"plan: {first.origin}", look)
    lines += _hanging(hanging, look)
    return "\n".join(lines)


def _hanging(findings: Sequence[Finding], look: Look) -> list[str]:
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


def _values(finding: Finding) -> str:
    unit = f" {finding.unit}" if finding.unit else ""
    parts = []
    if finding.expected is not None:
        parts.append(f"planned {plain(finding.expected)}{unit}")
    if finding.observed is not None:
        parts.append(f"found {plain(finding.observed) or 'an empty text'}{unit}")
    return ", ".join(parts)


def _wrapped(words: str, look: Look) -> list[str]:
    return textwrap.wrap(
        plain(words, longest=_LONGEST_PARAGRAPH),
        look.width,
        initial_indent=_INDENT,
        subsequent_indent=_INDENT + "  ",
        break_on_hyphens=False,
    )


def _units(result: Result, look: Look) -> str:
    """One row for each unit or other subject: how many of its checks ended how."""
    counts: dict[tuple[str, str], Counter[Verdict]] = defaultdict(Counter)
    for finding in result.findings:
        kind = "device" if finding.subject.kind == "port" else finding.subject.kind
        counts[kind, finding.subject.name][finding.verdict] += 1
    shown = list(counts.items())
    left_out = 0
    if len(shown) > _MANY and not look.verbose:
        shown = [(k, c) for k, c in shown if set(c) != {"pass"}]
        left_out = len(counts) - len(shown)
    rows = [
        [plain(name), kind, _word(_heaviest(c), look), *(c[v] or "" for v in _COLUMNS)]
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
    return table if rows else ""


_COLUMNS: tuple[Verdict, ...] = ("pass", "fail", "warn", "not-tested")


def _heaviest(counts: Iterable[Verdict]) -> Verdict:
    return min(counts, key=VERDICTS.index)


def _everything(result: Result) -> str:
    rows = [
        [WORDS[f.verdict], plain(f.subject), f.check, _values(f) or plain(f.reason)]
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
    """Loss and round-trip times of each unit that echoes were sent to."""
    seen: dict[str, list[Observation]] = defaultdict(list)
    for observation in result.observations:
        if observation.what == "echo" and observation.value and observation.value["sent"]:
            seen[observation.subject.name].append(observation)
    if not seen:
        return ""
    rows = [[plain(name), *_echo_row(series)] for name, series in seen.items()]
    times = ["min/ms", "avg", "median", "max", "jitter"]
    headings = ["device", "sent", "loss%", *times, "dup", "silence"]
    widths = [_DEVICE, *[None] * 8, _WHY]
    return tabulate(rows, headings, tablefmt="simple", floatfmt=".3f", maxcolwidths=widths)


def _echo_row(series: Sequence[Observation]) -> list[object]:
    stats = echo_stats([rtt for o in series for rtt in o.value["rtt_ms"]])
    times = (stats.min_ms, stats.average_ms, stats.median_ms, stats.max_ms, stats.jitter_ms)
    shown = times if stats.received else ("-",) * len(times)
    duplicates = sum(o.value["duplicates"] for o in series)
    why = "; ".join(dict.fromkeys(plain(s["text"]) for o in series for s in o.value["silence"]))
    return [stats.sent, f"{stats.loss_pct:g}", *shown, duplicates or "", why]


def _closing(result: Result) -> str:
    if result.not_in_stage:
        return f"not in stage {result.stage}: {', '.join(result.not_in_stage)}"
    return ""
