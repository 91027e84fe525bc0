"""The first screen of a result: the verdict, then a line or two for each cause, then what is left.

Whatever does not fit is counted, and `--verbose` or a document shows it: nothing is left out in
silence. The whole text is `text.py`.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from verifier.model.result import VERDICTS, Cause, Finding, Result, Verdict
from verifier.report import sentences
from verifier.report.result.causes import Group, counted, explained, groups
from verifier.report.sentences import (
    WORDS,
    accepted_lines,
    not_asked_lines,
    word,
)
from verifier.report.sentences import (
    counted as number_of,
)
from verifier.report.style import SCREEN, ReportStyle, paragraph, plain

LINES, LINES_OF_ONE = 40, 10
"""What a network may take, and what one device may."""
_NAMES = 6
"""Number of names listed of those that share a cause; more are counted."""
_HANG = " " * 6
_HERE = "\0"
"""Stands for the name of what a text is about, where texts of several are compared."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScreenEntry:
    """One thing that is wrong, at one or more places.

    Attributes:
        verdict: the heaviest of the findings it takes in.
        text: what it is, with `_HERE` where the name belongs.
        do: what to do, likewise; empty where there is nothing to advise.
        others: the causes that fit as well, likewise: text and advice of each.
        names: the devices or links, in the order of the plan.
        takes_in: further findings that hang on it, in words: `3 fail, 31 not tested`.
        topic: what `explain` says more about: its cause, else its check; empty for none.
    """

    verdict: Verdict
    text: str
    do: str = ""
    others: tuple[tuple[str, str], ...] = ()
    names: tuple[str, ...] = ()
    takes_in: tuple[Finding, ...] = ()
    topic: str = ""


def lines(result: Result, look: ReportStyle, head: Sequence[str], table: str) -> list[str]:
    """The screen, without a verdict at its end.

    Args:
        result: what is shown.
        look: width and colour.
        head: the lines that stand first, with the verdict.
        table: what the command measured, where that is short enough to be shown.
    """
    alone = result.scope.devices[0] == 1 and not result.scope.links[0]
    most = LINES_OF_ONE if alone else LINES
    wrong = entries(result)
    tail = _tail(result, look, wrong[0].topic if wrong else "", brief=alone)
    measured = table.splitlines() if table else []
    room = most - len(head) - len(tail)
    if most > SCREEN:
        room -= 2  # the verdict's second time, after an empty line
    if len(measured) > max(room - len(wrong), 0):
        measured = []
    return [*head, *_fitted(wrong, room - len(measured), look), *measured, *tail]


def entries(result: Result) -> list[ScreenEntry]:
    """Everything that is not right, heaviest and widest first; equal things at several are one."""
    own = [_of_group(g) for g in groups(result)]
    with_cause = explained(result)
    loose = [f for f in result.findings if f.verdict != "pass" and f.id not in with_cause]
    own += [_of_finding(f) for f in loose if not _of_plan(f) and f.verdict != "not-tested"]
    own += _untested([f for f in loose if f.verdict == "not-tested"])
    made = _together(own)
    if plan := [f for f in loose if _of_plan(f) and f.verdict != "not-tested"]:
        text = f"the plan itself: {number_of(len(plan), 'warning')}"
        verdict = min((f.verdict for f in plan), key=VERDICTS.index)
        made.append(ScreenEntry(verdict=verdict, text=text, do="plan-verifier check lists them"))
    return sorted(made, key=lambda e: (VERDICTS.index(e.verdict), -len(e.takes_in)))


def _of_plan(finding: Finding) -> bool:
    return finding.check.startswith("plan.") and finding.check != "plan.column-not-read"


def _of_group(group: Group) -> ScreenEntry:
    name = group.head.subject.name
    first, *others = (_of_cause(c, name) for c in group.causes)
    text, do = first
    certainty = group.causes[0].certainty
    return ScreenEntry(
        verdict=group.verdict,
        text=f"{certainty}: {text}",
        do=do,
        others=tuple(
            (f"{c.certainty}: {t}", d) for c, (t, d) in zip(group.causes[1:], others, strict=True)
        ),
        names=(name,),
        takes_in=(group.head, *group.same, *group.few, *group.many),
        topic=group.causes[0].kind,
    )


def _of_cause(cause: Cause, name: str) -> tuple[str, str]:
    return _without(cause.text, name), _without(cause.try_first, name)


def _of_finding(finding: Finding) -> ScreenEntry:
    name = finding.subject.name
    what = f"{_without(str(finding.subject), name)}: {finding.check}: {_words(finding)}"
    return ScreenEntry(
        verdict=finding.verdict, text=what, do=_without(finding.advice, name), names=(name,),
        topic=finding.check,
    )  # fmt: skip


def _words(finding: Finding) -> str:
    """What was planned and found, else why."""
    unit = f" {finding.unit}" if finding.unit else ""
    if finding.expected is None or finding.observed is None:
        return _without(finding.reason, finding.subject.name)
    observed = plain(finding.observed) or "an empty text"
    return f"planned {plain(finding.expected)}{unit}, found {observed}{unit}"


def _untested(findings: Iterable[Finding]) -> Iterator[ScreenEntry]:
    """What could not be tested for one reason is one entry: its checks are counted."""
    alike: dict[tuple[str, str], list[Finding]] = defaultdict(list)
    for finding in findings:
        name = finding.subject.name
        alike[name, _without(finding.reason, name)].append(finding)
    for (name, why), same in alike.items():
        checks = list(dict.fromkeys(f.check for f in same))
        what = checks[0] if len(checks) == 1 else number_of(len(checks), "check")
        do = _without(same[0].advice, name)
        yield ScreenEntry(
            verdict="not-tested",
            text=f"{_HERE}: {what}: {why}",
            do=do,
            names=(name,),
            topic=checks[0],
        )


def _together(several: Iterable[ScreenEntry]) -> list[ScreenEntry]:
    """Entries that say the same of several names become one."""
    alike: dict[tuple[object, ...], list[ScreenEntry]] = defaultdict(list)
    for entry in several:
        alike[entry.verdict, entry.text, entry.do, entry.others].append(entry)
    return [
        replace(
            same[0],
            names=tuple(dict.fromkeys(n for e in same for n in e.names)),
            takes_in=tuple(f for e in same for f in e.takes_in),
        )
        for same in alike.values()
    ]


def _without(text: str, name: str) -> str:
    return text.replace(name, _HERE) if name else text


# --- as many words as there is room for -----------------------------------------------------------


def _fitted(all_: Sequence[ScreenEntry], room: int, look: ReportStyle) -> list[str]:
    """Each in a line at least; the first ones in more, as far as the room goes."""
    blocks = [[_one_line(entry, look)] for entry in all_]
    if len(blocks) > room:
        kept = max(room - 1, 1)
        shown = [line for block in blocks[:kept] for line in block]
        return [*shown, f"and {len(blocks) - kept} more like these: --verbose shows each"]
    left = room - len(blocks)
    for way in (_short, _whole):
        for n, entry in enumerate(all_):
            fuller = way(entry, look)
            if (needed := len(fuller) - len(blocks[n])) <= left:
                blocks[n] = fuller
                left -= needed
    return [line for block in blocks for line in block]


def _whole(entry: ScreenEntry, look: ReportStyle) -> list[str]:
    """What it is, what to do, and each cause that fits as well."""
    if not entry.others:
        made = _headed(entry, f"{entry.text}{_weight(entry)}", look)
        return made + _advice(entry, entry.do, look)
    made = _headed(
        entry, f"{_HERE}: POSSIBLE CAUSES ({len(entry.others) + 1}){_weight(entry)}", look
    )
    for text, do in ((entry.text, entry.do), *entry.others):
        words = f"{text.replace(_HERE, entry.names[0])}{_advised(_to_do(do), entry)}"
        made += _paragraph(words, _HANG, look)
    return made


def _short(entry: ScreenEntry, look: ReportStyle) -> list[str]:
    """What it is and what to do; the causes that fit as well are counted."""
    made = _headed(entry, f"{entry.text}{_or_else(entry)}{_weight(entry)}", look)
    return made + _advice(entry, entry.do, look)


def _one_line(entry: ScreenEntry, look: ReportStyle) -> str:
    words = f"{_named(entry.text, entry)}{_or_else(entry)}{_advised(_to_do(entry.do), entry)}"
    room = look.width - len(WORDS[entry.verdict]) - 2
    words = plain(words, longest=2000)
    shown = words if len(words) <= room else f"{words[: room - 3].rstrip()}..."
    return f"{word(entry.verdict, look)}  {shown}"


def _to_do(advice: str) -> str:
    return f"; do: {advice}" if advice else ""


def _or_else(entry: ScreenEntry) -> str:
    more = len(entry.others)
    return f", or {number_of(more, 'other possible cause')}" if more else ""


def _weight(entry: ScreenEntry) -> str:
    """What it takes in beside one finding at each place, counted."""
    if len(entry.takes_in) <= len(entry.names):
        return ""
    return f" ({counted(entry.takes_in)})"


def _headed(entry: ScreenEntry, text: str, look: ReportStyle) -> list[str]:
    bare = WORDS[entry.verdict]
    first, *rest = _paragraph(f"{bare}  {_named(text, entry)}", "", look)
    return [first.replace(bare, word(entry.verdict, look), 1), *rest]


def _advice(entry: ScreenEntry, do: str, look: ReportStyle) -> list[str]:
    return _paragraph(f"do: {_advised(do, entry)}", _HANG, look) if do else []


def _paragraph(words: str, indent: str, look: ReportStyle) -> list[str]:
    return paragraph(words, indent, look.width, hang=indent + "  " if indent else _HANG, split=True)


def _named(text: str, entry: ScreenEntry) -> str:
    """The text with its name; where several share it, with the first one's and then the others'."""
    first, *others = entry.names or ("",)
    words = text.replace(_HERE, first)
    if not others or _HERE not in text:
        return words
    listed = ", ".join(others[: _NAMES - 1])
    more = len(others) - _NAMES + 1
    return f"{words}; the same at {listed}{f' and {more} more' if more > 0 else ''}"


def _advised(advice: str, entry: ScreenEntry) -> str:
    return advice.replace(_HERE, "each of them" if len(entry.names) > 1 else "".join(entry.names))


# --- what is left to say --------------------------------------------------------------------------


def _tail(result: Result, look: ReportStyle, topic: str, *, brief: bool) -> list[str]:
    """What is right, what was not asked, what a person accepted or entered, and where more is."""
    closing = [_right(result)]
    closing += [f"accepted: {words}" for words in accepted_lines(result)]
    if values := len(sentences.entered_rows(result)):
        closing.append(f"entered by a person, not measured: {number_of(values, 'value')}")
    if result.not_in_stage:
        checks = number_of(len(result.not_in_stage), "check")
        closing.append(f"not in stage {result.stage}: {checks}")
    closing += not_asked_lines(result)
    more = f"--verbose, --out FILE.html, plan-verifier explain {topic}"
    closing.append(f"more: {more if topic else '--verbose, or --out FILE.html'}")
    if brief:
        closing = ["; ".join(c for c in closing[:-1] if c) + f". {closing[-1]}"]
    return [line for words in closing if words for line in _paragraph(words, "", look)]


def _right(result: Result) -> str:
    """How many devices and links have nothing but passes."""
    verdicts: dict[tuple[str, str], set[Verdict]] = defaultdict(set)
    for finding in result.findings:
        kind = "device" if finding.subject.kind == "port" else finding.subject.kind
        if kind in {"device", "link"}:
            verdicts[kind, finding.subject.name].add(finding.verdict)
    parts = []
    for kind, same in itertools.groupby(sorted(verdicts), key=lambda key: key[0]):
        names = list(same)
        right = sum(verdicts[n] == {"pass"} for n in names)
        parts.append(f"{right} of {number_of(len(names), kind)}")
    return f"all passed: {', '.join(parts)}" if parts else ""
