"""The result as text: causes with what they explain, what stands alone, the summary."""

from __future__ import annotations

import datetime as dt
import textwrap
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence

from tabulate import tabulate

from verifier.model.observations import ECHO, EchoSeries
from verifier.model.result import VERDICTS, Result, Verdict
from verifier.report.plain import page, paragraph, plain, wrapped
from verifier.report.result import entered
from verifier.report.result.causes import counted_with_a_cause
from verifier.report.result.pictures import lines, pictures
from verifier.report.result.text_blocks import causes, values, word, wrong
from verifier.report.sentences import (
    WORDS,
    accepted_lines,
    not_asked_lines,
    soak_title,
    verdict_line,
)
from verifier.report.style import ReportStyle
from verifier.rules.echo import echo_stats
from verifier.rules.observations import of_kind

_INDENT = " " * 4
_SUBJECT, _DEVICE, _WHY = 40, 18, 12
"""Columns for a name in the summary, for name and reason among the echoes; longer ones fold."""
_MOST_PICTURES = 8
_MANY = 40
"""Devices beyond this number are listed only where something is not right."""


def render(result: Result, look: ReportStyle) -> str:
    """The whole report; ends with a newline."""
    parts = [
        "\n".join([*_verdict(result, look), _heading(result, look)]),
        *causes(result, look),
        *wrong(result, look),
        *([_echo_table(result)] if result.command == "reach" else []),
        *_pictures(result, look),
        _devices(result, look),
        *([_everything(result)] if look.verbose else []),
        entered.text(result, look.width),
        _closing(result, look),
    ]
    return page("\n\n".join(part for part in parts if part), _verdict(result, look))


def brief(result: Result, look: ReportStyle) -> str:
    """The verdict line, and one line for each check that failed; ends with a newline."""
    lines = [*_verdict(result, look)]
    for finding in result.findings:
        if finding.verdict == "fail":
            said = f"{plain(finding.subject)}  {finding.check}: {values(finding) or finding.reason}"
            lines += paragraph(f"{WORDS['fail']}  {said}", "", look.width, hang=_INDENT)
    return page("\n".join(lines), _verdict(result, look))


def _verdict(result: Result, look: ReportStyle) -> list[str]:
    """The verdict line; a second one only where names and counts need it."""
    first, *more = wrapped(verdict_line(result), "", look.width, hang=_INDENT)
    return [first.replace(WORDS[result.verdict], word(result.verdict, look), 1), *more]


def _heading(result: Result, look: ReportStyle) -> str:
    revision = f", revision {plain(result.plan.revision)}" if result.plan.revision else ""
    name = plain(result.plan.name) or "unnamed plan"
    counts = ", ".join(f"{n} {WORDS[v].lower()}" for v, n in result.summary.items())
    title = f"{name}{revision}: {result.command}, stage {result.stage}"
    if soak := soak_title(result):
        title += f", {soak}"
    return (
        f"{textwrap.fill(title, look.width, subsequent_indent=_INDENT)}\n"
        f"{counts} ({_seconds(result):.1f} s, {result.started})"
    )


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
    said = []
    if result.not_in_stage:
        checks = f"not in stage {result.stage}: {', '.join(result.not_in_stage)}"
        said += paragraph(checks, "", look.width)
    for left in not_asked_lines(result):
        said += paragraph(left, "", look.width)
    for allowed in accepted_lines(result):
        said += paragraph(f"accepted: {allowed}", "", look.width)
    return "\n".join(said)
