"""What a document says of itself as a whole (scope, verdict, counts), and what a person entered.

No sentence claims more than the counts behind it: *as planned* only where no warning stands,
*everything* only where nothing was accepted, left out or not asked.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from verifier.model.manual import BY_CHECK, Entered
from verifier.model.observations import ACCEPTED, SHEET, SOAK, Observation
from verifier.model.result import Accepted, NotAsked, Result, Scope, Verdict
from verifier.model.samples import SoakCourse
from verifier.report.style import ReportStyle, paragraph, plain
from verifier.rules.compare.scope import by_whom
from verifier.rules.observations import of_kind
from verifier.rules.soak.tally import title

WORDS: dict[str, str] = {
    "pass": "PASS",
    "fail": "FAIL",
    "warn": "WARN",
    "not-tested": "NOT TESTED",
    "incomplete": "INCOMPLETE",
    "conditional": "CONDITIONAL",
}
_COLOURS = {
    "FAIL": "1;31",
    "NOT TESTED": "1;35",
    "INCOMPLETE": "1;35",
    "CONDITIONAL": "1;33",
    "WARN": "1;33",
    "PASS": "1;32",
}
_NAMED = 3
"""Number of names in a sentence; more are counted."""


def word(verdict: str, look: ReportStyle) -> str:
    """A verdict as it stands in a text."""
    text = WORDS[verdict]
    return f"\x1b[{_COLOURS[text]}m{text}\x1b[0m" if look.colour else text


def counted(number: int, one: str, many: str = "") -> str:
    """`1 link`, `2 links`."""
    return f"{number} {one if number == 1 else many or f'{one}s'}"


def scope_words(scope: Scope) -> str:
    """`whole plan (3 links, 7 devices)`, `Hop 1 (1 of 3 links, 2 of 7 devices)`."""
    if scope.whole:
        parts = [counted(scope.links[1], "link")] if scope.links[1] else []
        return f"whole plan ({', '.join([*parts, counted(scope.devices[1], 'device')])})"
    parts = [f"{scope.links[0]} of {counted(scope.links[1], 'link')}"] if scope.links[1] else []
    parts.append(f"{scope.devices[0]} of {counted(scope.devices[1], 'device')}")
    return f"{_listed(scope.names)} ({', '.join(parts)})"


def verdict_line(result: Result) -> str:
    """The one line of a document: verdict, scope, and what the counts say."""
    return f"{WORDS[result.verdict]}, {scope_words(result.scope)}: {sentence(result)}"


def sentence(result: Result) -> str:
    """What the counts say, in one sentence without its full stop."""
    parts = [_outcome(result), *_marks(result)]
    left = [] if result.verdict == "fail" else [*_left_out(result)]
    if left:
        parts.append(f"not asked: {' and '.join(left)}")
    return "; ".join(parts)


def _outcome(result: Result) -> str:
    counts, total = result.summary, len(result.findings)
    accepted = len(result.untested_ok)
    checks = counted(total, "check")
    if not total:
        return "nothing was tested"
    if counts["fail"]:
        untested = f", {counts['not-tested']} not tested" if counts["not-tested"] else ""
        return f"{counts['fail']} of {checks} failed{untested}"
    if counts["not-tested"]:
        return f"nothing failed, but {counts['not-tested']} of {checks} could not be tested"
    if accepted:
        return f"{total - accepted} of {checks} tested, nothing failed"
    if counts["warn"]:
        return f"{counts['pass']} of {checks} passed"
    return f"{'all ' if total > 1 else ''}{checks} passed{_praise(result)}"


def _praise(result: Result) -> str:
    """What may be said beside *all passed* where nothing at all was left out; else nothing."""
    if result.command == "reach":
        return " (echoes and TCP services only)"
    whole = result.scope.whole and not [*_left_out(result)]
    return ": everything asked was tested, and is as planned" if whole else ""


def _marks(result: Result) -> Iterator[str]:
    """What stands beside passes and failures: warnings, and what a person accepted."""
    accepted = [a for a in result.accepted if a.findings]
    untested = len(result.untested_ok)
    if (warned := result.summary["warn"] - untested) > 0:
        yield counted(warned, "warning")
    if untested:
        who = dict.fromkeys(a.by for a in accepted)
        names = _listed([name for name in who if name])
        by = f" by {names}" if names else ""
        more = " and somebody not named" if names and None in who else ""
        yield f"{untested} not tested, which was accepted{by}{more}"


def _left_out(result: Result) -> Iterator[str]:
    """What belongs to the scope and was not asked, counted."""
    values = sum(n.count for n in result.not_asked if n.what in BY_CHECK)
    others = [n for n in result.not_asked if n.what not in BY_CHECK]
    if values:
        yield counted(values, "planned value")
    if others:
        yield _listed([n.what for n in others])
    if result.not_in_stage:
        yield f"{counted(len(result.not_in_stage), 'check')} not of this stage"


def _listed(names: list[str] | tuple[str, ...]) -> str:
    more = len(names) - _NAMED
    shown = ", ".join(plain(n, longest=60) for n in names[:_NAMED])
    return shown + (f" and {more} more" if more > 0 else "")


def not_asked_lines(result: Result) -> list[str]:
    """Each thing that was not asked, and why; values that only a person can see as one line."""
    values = [n for n in result.not_asked if n.what in BY_CHECK]
    lines = [f"not asked: {n.what}: {n.reason}" for n in result.not_asked if n.what not in BY_CHECK]
    if values:
        total = sum(n.count for n in values)
        listed = ", ".join(f"{_title(n)} {n.count}" for n in values)
        lines.append(
            f"not asked: {counted(total, 'planned value')} that only a person can see ({listed}); "
            "cards --blank FILE.csv writes the sheet, --observed FILE.csv has it judged"
        )
    return lines


def _title(entry: NotAsked) -> str:
    return BY_CHECK[entry.what].title.lower()


def accepted_lines(result: Result) -> list[str]:
    """Each check that a person allowed to stay untested: how often it did, who says so, why."""
    return [accepted_words(a) for a in result.accepted]


def accepted_words(accepted: Accepted) -> str:
    """One acceptance in words."""
    times = len(accepted.findings)
    used = f"not tested {counted(times, 'time')}" if times else "was tested, or did not apply"
    return f"{accepted.check}: {used}; {by_whom(accepted.by)}: {accepted.reason}"


def soak_of(result: Result) -> SoakCourse | None:
    """How the soak of a run went; None where there was none."""
    return next((o.value for o in of_kind(result.observations, SOAK) if o.value), None)


def soak_title(result: Result) -> str:
    """What the soak of a run is called; empty where there was none."""
    soak = soak_of(result)
    return "" if soak is None else title(soak)


MARK = "entered, not measured"
_NO_ENTRY = frozenset({ACCEPTED, SHEET})


@dataclass(frozen=True, slots=True)
class EnteredLine:
    """One entry in words.

    Attributes:
        verdict: of the finding that rests on it; None where there is none.
        about: by whom, with what, its calibration, photo with its hash, note; in words.
    """

    what: str
    of: str
    value: str
    at: str
    verdict: Verdict | None
    about: tuple[str, ...]


def entered_rows(result: Result) -> list[EnteredLine]:
    """Every entry, in the order of the sheet."""
    verdicts = {i: f.verdict for f in result.findings if f.check in BY_CHECK for i in f.evidence}
    return [
        EnteredLine(
            o.what,
            str(o.subject),
            _said(o),
            o.at,
            verdicts.get(o.id),
            tuple(_about(o)),
        )
        for o in result.observations
        if o.kind.probe == "person" and o.kind not in _NO_ENTRY
    ]


def sheets(result: Result) -> list[str]:
    """The sheets they come from: file, rows and hash."""
    entries = [o.value for o in of_kind(result.observations, SHEET)]
    return [f"{v.file}, {v.rows} rows, SHA-256 {v.sha256}" for v in entries if v is not None]


def _said(seen: Observation[object]) -> str:
    """What was entered, as a person would write it."""
    if isinstance(seen.value, Entered):
        return seen.value.words(seen.unit)
    return seen.raw or "" if seen.value is None else str(seen.value)


def _about(seen: Observation[object]) -> Iterator[str]:
    row = seen.value
    if not isinstance(row, Entered):
        return
    if row.by:
        yield f"by {row.by}"
    if row.zone:
        yield f"at {row.at}, local time, {row.zone}"
    if row.instrument:
        yield row.instrument
    if row.instrument_serial:
        yield f"serial {row.instrument_serial}"
    if row.calibration_due:
        yield f"calibrated until {row.calibration_due}"
    if row.photo:
        yield f"photo {row.photo}, SHA-256 {row.photo_sha256 or 'unknown'}"
    if row.note:
        yield f"note: {row.note}"
    if row.row:
        yield row.row


def entered_text(result: Result, width: int) -> str:
    """The entries for a terminal, one paragraph each; empty where there are none."""
    entries = entered_rows(result)
    if not entries:
        return ""
    lines = [f"{MARK.capitalize()}: {len(entries)} value{'s' * (len(entries) != 1)}"]
    for entry in entries:
        head = f"{entry.of}: {entry.what.removeprefix('manual.')}: {entry.value}"
        about = f" ({'; '.join(entry.about)})" if entry.about else ""
        lines += paragraph(f"{head}{about}, {entry.at}", "  ", width)
    lines += [line for sheet in sheets(result) for line in paragraph(plain(sheet), "  ", width)]
    return "\n".join(lines)
