"""A sweep as text, a line for a log or `plan-verifier/sweep/1`; a message as RFC 5424 has it."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections import Counter
from collections.abc import Collection, Iterator
from typing import Any

from verifier.model.health import STATES, HealthReading, SubjectNow, SweepDocument, SweepReport
from verifier.model.problem import Subject
from verifier.report.result.json import laid_out
from verifier.report.style import ReportStyle, page, paragraph, plain
from verifier.rules.decode import rfc3339

_COLOURS = {
    "silent": "1;31",
    "impaired": "1;31",
    "unsteady": "1;33",
    "untested": "1;35",
    "sound": "1;32",
}
_NAMED = 12
"""Number of devices behind one root that are named."""


def brief(report: SweepReport, look: ReportStyle) -> str:
    """The counts, and what is silent or impaired."""
    return _text(report, look, ("silent", "impaired"))


def text(report: SweepReport, look: ReportStyle) -> str:
    """The counts; then what is not sound, by what it hangs on."""
    return _text(report, look, STATES)


def _text(report: SweepReport, look: ReportStyle, states: Collection[str]) -> str:
    name = plain(report.sweep.plan_name) or "the network"
    head = f"{name}: sweep {report.number}, {rfc3339(report.sweep.started_s)}"
    verdict = f"{head}: {_counts(report)} ({report.sweep.took_s:.1f} s)"
    parts = [
        verdict,
        *("\n".join(lines) for lines in _roots(report, look, states)),
    ]
    return page("\n\n".join(parts), [verdict])


def line(report: SweepReport) -> str:
    """One line a sweep, and one for each message."""
    head = f"{rfc3339(report.sweep.started_s)} sweep {report.number}"
    lines = [
        f"{head}: {_counts(report)} ({report.sweep.took_s:.1f} s)",
        *(f"  {plain(notice.text)}" for notice in report.notices),
    ]
    return "\n".join(lines) + "\n"


def document(report: SweepReport) -> dict[str, Any]:
    """The JSON document."""
    sweep = report.sweep
    made = dataclasses.asdict(
        SweepDocument(
            network=sweep.plan_name,
            revision=sweep.plan_revision,
            plan_sha256=sweep.plan_sha256,
            number=report.number,
            started=rfc3339(sweep.started_s, "milliseconds"),
            took_s=round(sweep.took_s, 3),
            skipped=sweep.skipped,
            summary={s: n for s, n in _counted(report).items() if s != "unsteady"},
            subjects=tuple(_now(report, reading) for reading in sweep.readings),
            changes=report.notices,
        )
    )
    return {"format": "plan-verifier/sweep/1", **_short(made)}


def json(report: SweepReport, look: ReportStyle) -> str:
    """The document, laid out to be read."""
    del look
    return laid_out(document(report))


def _short(value: Any) -> Any:
    """Devices and roots are named by kind and name alone."""
    if isinstance(value, dict):
        short = {key: _short(inner) for key, inner in value.items()}
        for key in ("subject", "root"):
            if key in short:
                short[key] = {name: short[key][name] for name in ("kind", "name")}
        return short
    return [_short(inner) for inner in value] if isinstance(value, (list, tuple)) else value


def _now(report: SweepReport, reading: HealthReading) -> SubjectNow:
    memory = report.memories[reading.subject]
    return SubjectNow(
        subject=reading.subject,
        state=memory.state,
        seen=reading.state,
        since=rfc3339(memory.since_s, "milliseconds"),
        root=reading.root,
        answered=reading.answered,
        reasons=reading.reasons,
        rtt_ms=reading.rtt_ms,
        loss_pct=reading.loss_pct,
        uptime_s=reading.uptime_s,
        levels=reading.levels,
        ports=reading.ports,
    )


def _counted(report: SweepReport) -> dict[Any, int]:
    by_state = Counter(r.state for r in report.sweep.readings)
    return {state: by_state[state] for state in reversed(STATES)}


def _counts(report: SweepReport) -> str:
    parts = [f"{n} {state}" for state, n in _counted(report).items() if n or state == "sound"]
    unsteady = sum(m.state == "unsteady" for m in report.memories.values())
    return ", ".join(parts) + (f"; {unsteady} unsteady" if unsteady else "")


def _roots(report: SweepReport, look: ReportStyle, states: Collection[str]) -> Iterator[list[str]]:
    groups: dict[Subject, list[HealthReading]] = {}
    for reading in report.sweep.readings:
        if reading.state != "sound" and reading.state in states:
            groups.setdefault(reading.root, []).append(reading)
    for root, readings in groups.items():
        head = next((r for r in readings if r.subject == root), readings[0])
        rest = [r for r in readings if r is not head]
        yield list(_group(report, head, rest, look))


def _group(
    report: SweepReport, head: HealthReading, rest: list[HealthReading], look: ReportStyle
) -> Iterator[str]:
    word = head.state.upper()
    if look.colour:
        word = f"\x1b[{_COLOURS[head.state]}m{word}\x1b[0m"
    yield f"{word}  {plain(head.subject)}{_confirmed(report, head)}"
    shown = head.reasons if look.verbose else head.reasons[:3]
    for reason in shown:
        yield from paragraph(f"{reason.check}: {reason.text}" if reason.check else reason.text)
    if more := len(head.reasons) - len(shown):
        yield f"    and {more} more; --verbose shows them"
    if head.root != head.subject:
        yield f"    because of {head.root.kind} {plain(head.root)}"
    if head.try_first:
        yield from paragraph(f"do: {head.try_first}")
    if rest:
        named = rest if look.verbose else rest[:_NAMED]
        names = ", ".join(f"{r.subject} {r.state}" for r in named)
        more_text = f" and {len(rest) - len(named)} more" if len(rest) > len(named) else ""
        yield from paragraph(f"with it: {names}{more_text}")


def _confirmed(report: SweepReport, reading: HealthReading) -> str:
    memory = report.memories[reading.subject]
    if memory.state == reading.state:
        return f", since {rfc3339(memory.since_s)}"
    if memory.state == "unsteady":
        return ", unsteady"
    needed = f"{memory.pending_n} of {report.confirm} sweeps needed"
    return f", seen in {needed}; recorded state: {memory.state}"


FACILITY = 16
"""local0 (RFC 5424 section 6.2.1)."""
SEVERITY = {"silent": 3, "impaired": 4, "unsteady": 4, "untested": 5, "sound": 6}
"""error, warning, notice, informational (RFC 5424 section 6.2.1)."""
MAX_OCTETS = 2048
"""Receivers should accept so many (RFC 5424 section 6.1)."""
ENTERPRISE = 32473
"""For examples (RFC 5612): this program has no enterprise number of its own."""
_BOM = "\ufeff"


def message(  # noqa: PLR0913
    *,
    severity: int,
    facility: int = FACILITY,
    at: dt.datetime | None = None,
    host: str = "",
    app: str = "",
    process: str = "",
    kind: str = "",
    data: dict[str, dict[str, str]] | None = None,
    text: str = "",
    max_octets: int = MAX_OCTETS,
) -> str:
    """One syslog message (RFC 5424 section 6), its text cut so that it fits into `max_octets`.

    Fields have the RFC's names or plainer ones: `app` APP-NAME, `process` PROCID, `kind` MSGID,
    `data` the parameters of each element of the structured data. `at` has its zone, and fractions
    of a second down to microseconds.
    """
    head = " ".join(
        (
            f"<{facility * 8 + severity}>1",
            "-" if at is None else at.isoformat().replace("+00:00", "Z"),
            _name(host, 255),
            _name(app, 48),
            _name(process, 128),
            _name(kind, 32),
            _structured(data or {}),
        )
    )
    if not text:
        return head
    room = max(0, max_octets - len(f"{head} {_BOM}".encode()))
    cut = text.encode()[:room].decode(errors="ignore")
    return f"{head} {_BOM}{cut}"


def _name(text: str, longest: int) -> str:
    """PRINTUSASCII without spaces, or the nil value."""
    return "".join(c if "!" <= c <= "~" else "_" for c in text)[:longest] or "-"


def _structured(data: dict[str, dict[str, str]]) -> str:
    elements = (
        f"[{name}" + "".join(f' {key}="{_escaped(value)}"' for key, value in values.items()) + "]"
        for name, values in data.items()
    )
    return "".join(elements) or "-"


def _escaped(value: str) -> str:
    """Section 6.3.3: backslash, quotation mark and closing bracket."""
    for character in '\\"]':
        value = value.replace(character, f"\\{character}")
    return value
