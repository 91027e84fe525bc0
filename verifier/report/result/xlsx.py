"""The result as a workbook: summary, findings, and the plan's own sheets with what was found."""

from __future__ import annotations

import io
import math
import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter

from verifier.model.result import VERDICTS, Finding, Result
from verifier.report.result.csv import LONGEST_CELL
from verifier.report.result.links import drawn_links
from verifier.report.sentences import (
    WORDS,
    accepted_lines,
    not_asked_lines,
    scope_words,
    sentence,
)
from verifier.report.style import ReportSheet, ReportStyle, plain

_FILLS = {
    "fail": ("F6CFC9", "7A1A0F"),
    "not-tested": ("E3DCEB", "44305C"),
    "incomplete": ("E3DCEB", "44305C"),
    "conditional": ("F7E6B4", "5E4500"),
    "warn": ("F7E6B4", "5E4500"),
    "pass": ("D7E9DA", "16502A"),
}
"""Ground and ink of each verdict; the word stands there too."""
_DARK = "24404F"
_FONT = "Calibri"
_PLAIN = Font(name=_FONT, size=11)
_BOLD = Font(name=_FONT, size=11, bold=True)
_WHITE = Font(name=_FONT, size=11, bold=True, color="FFFFFF")
_TITLE = Font(name=_FONT, size=18, bold=True, color=_DARK)
_DARK_FILL = PatternFill("solid", fgColor=_DARK)
_MARKS = {
    verdict: (Font(name=_FONT, size=11, bold=True, color=ink), PatternFill("solid", fgColor=ground))
    for verdict, (ground, ink) in _FILLS.items()
}
_ESCAPE = re.compile(r"_(?=x[0-9A-Fa-f]{4}_)")  # ISO/IEC 29500-1 22.9.2.19: begins a character
_LINE, _HIGHEST = 15.0, 405.0
"""Points of a line; a row has 409.5 at most."""
_A4 = 9  # ISO/IEC 29500-1 18.3.1.63
_TOP = Alignment(horizontal="left", vertical="top", wrap_text=True)
_HEADINGS = (
    "Verdict", "Subject", "Check", "Planned", "Found", "Device", "Reason", "Do", "Where planned",
)  # fmt: skip
_WIDTHS = (13, 30, 22, 24, 24, 9, 60, 48, 36)
_ENDS_HEADINGS = ("Link", "End", "Device", "Site", "What", "Planned", "Found", "Verdict")
_ENDS_WIDTHS = (24, 6, 26, 20, 20, 22, 30, 14)
_END = {"a": "a.", "b": "b.", None: ""}

FIELDS = {
    "identity.name": "name", "identity.location": "location", "identity.serial": "serial",
    "identity.part": "part_number", "identity.software": "software", "address.mask": "mask",
    "address.gateway": "gateway", "neighbour.mac": "mac", "echo.reply": "address",
    "snmp.answer": "snmp", "identity.object-id": "profile",
    "port.status": "status", "port.speed": "speed_mbps", "port.duplex": "duplex",
    "port.mtu": "mtu", "port.neighbour": "neighbour",
    "radio.tx-frequency": "tx_mhz", "radio.tx-power": "tx_power_dbm",
    "radio.rx-level": "rx_level_dbm", "radio.atpc": "atpc", "radio.link-id": "link_id",
    "radio.bandwidth": "bandwidth_mhz", "radio.polarisation": "polarisation",
    "radio.modulation": "modulation_max", "radio.eirp": "max_eirp_dbm",
    "radio.snr": "min_snr_db", "radio.capacity": "capacity_mbps",
    "radio.fade-margin": "fade_margin_db", "link.ends-swapped": "name",
    "manual.label": "label", "manual.azimuth": "azimuth_deg", "manual.tilt": "tilt_deg",
    "manual.antenna-height": "antenna_height_m", "manual.alignment-voltage": "alignment_v",
}  # fmt: skip
"""The column of the plan that a check compares with."""
_SHARED = {"bandwidth_mhz", "capacity_mbps", "fade_margin_db", "modulation_max", "polarisation"}
"""Columns of a link without an end."""
_SHEETS = {"device": ("Devices", ("name",)), "port": ("Ports", ("device", "name")),
           "link": ("Links", ("name", "carrier"))}  # fmt: skip
"""The sheet of each kind of subject, and the columns that tell its rows apart."""


def render(result: Result, look: ReportStyle) -> bytes:
    """The whole workbook."""
    book = Workbook(write_only=True)
    book.properties.title = f"Verification of {plain(result.plan.name)}"
    book.properties.creator = plain(result.by or "")
    _summary(book, result, look)
    _findings(book, result)
    for sheet in look.annex.sheets:
        _as_found(book, sheet, result.findings)
    _link_ends(book, result, look)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _summary(book: Any, result: Result, look: ReportStyle) -> None:
    page = _page(book, "Summary", (24, 96), upright=True)
    title = f"Verification of {plain(result.plan.name) or 'an unnamed plan'}"
    if not result.scope.whole:
        title += f": {scope_words(result.scope)}"
    heading = _cell(page, title, _TITLE)
    heading.alignment = Alignment(vertical="top")
    page.row_dimensions[1].height = 28
    page.append([heading])
    page.append([_verdict(page, result.verdict)])
    rows: list[tuple[str, Any]] = [
        ("Scope", scope_words(result.scope)),
        ("Outcome", sentence(result)),
        *((WORDS[v].capitalize(), n) for v, n in result.summary.items()),
        *((f"Cause {c.id}", f"{c.text} ({c.certainty}). {c.try_first}") for c in result.causes),
        *(("Not asked", line.removeprefix("not asked: ")) for line in not_asked_lines(result)),
        *(("Accepted", line) for line in accepted_lines(result)),
        ("Command, stage", f"{result.command}, {result.stage}"),
        ("Plan revision", result.plan.revision),
        ("Plan SHA-256", result.plan.sha256),
        ("Started", result.started),
        ("Finished", result.finished),
        ("By", result.by),
        ("Place", result.place),
        ("Tool", f"plan-verifier {result.tool.version}"),
        *((f"SHA-256 of {name}", value) for name, value in look.annex.sha256.items()),
        ("Signature", look.annex.signature or "not signed"),
        ("Not in this stage", ", ".join(result.not_in_stage) or None),
        ("Throughput", "Echoes are not a throughput test; attach one."),
    ]
    for row, (name, value) in enumerate(rows, start=3):
        _append(page, row, [_cell(page, name, _BOLD), _cell(page, value)], (24, 96))


def _findings(book: Any, result: Result) -> None:
    page = _page(book, "Findings", _WIDTHS)
    page.freeze_panes = "D2"
    page.print_title_rows = "1:1"
    page.auto_filter.ref = f"A1:{get_column_letter(len(_HEADINGS))}{len(result.findings) + 1}"
    page.append([_heading(page, text) for text in _HEADINGS])
    heaviest = sorted(result.findings, key=lambda f: VERDICTS.index(f.verdict))
    for row, finding in enumerate(heaviest, start=2):
        values = (
            str(finding.subject), finding.check, finding.expected, finding.observed, finding.unit,
            finding.reason, finding.advice, str(finding.origin or ""),
        )  # fmt: skip
        cells = [_verdict(page, finding.verdict), *(_cell(page, v) for v in values)]
        _append(page, row, cells, _WIDTHS)


def _link_ends(book: Any, result: Result, look: ReportStyle) -> None:
    """What is handed over of each end of each link: identity, figures, pointing, keys, alarms."""
    links = drawn_links(look.annex.plan, result)
    if not links:
        return
    page = _page(book, "Link ends", _ENDS_WIDTHS)
    page.freeze_panes = "B2"
    page.print_title_rows = "1:1"
    page.append([_heading(page, text) for text in _ENDS_HEADINGS])
    rows = [
        (link["name"], "ab"[n], end["device"], end["site"], row["title"], row["ends"][n])
        for link in links
        for n, end in enumerate(link["ends"])
        for row in link["rows"]
    ]
    for number, (*texts, value) in enumerate(rows, start=2):
        cells = [*texts, value["planned"], value["found"]]
        verdict = value["verdict"]
        mark = None if verdict is None else _verdict(page, verdict)
        _append(page, number, [*(_cell(page, c) for c in cells), mark], _ENDS_WIDTHS)


def _as_found(book: Any, sheet: ReportSheet, findings: Iterable[Finding]) -> None:
    """A sheet of the plan; beside each column that was looked at stand value and verdict.

    A column that is empty and that nobody looked at is left out.
    """
    by_place = _by_place(sheet.name, findings)
    paths = [path for path, _ in sheet.columns]
    looked_at = {path for places in by_place.values() for path in places}
    kept = [
        n for n, path in enumerate(paths)
        if path in looked_at or any(row[n] is not None for row in sheet.rows)
    ]  # fmt: skip
    widths: list[float] = []
    headings: list[str] = []
    for n in kept:
        heading = sheet.columns[n][1]
        longest = max((len(str(row[n])) for row in sheet.rows if row[n] is not None), default=0)
        widths.append(min(max(12, len(heading) + 2, longest + 2), 44))
        headings.append(heading)
        if paths[n] in looked_at:
            widths += [26, 14]
            headings += [f"{heading}, as found", "Verdict"]
    page = _page(book, sheet.name, widths, across=None)
    page.freeze_panes = "B2"
    page.print_title_rows = "1:1"
    _append(page, 1, [_heading(page, text) for text in headings], widths)
    for number, row in enumerate(sheet.rows, start=2):
        of_row = by_place.get(_key(sheet.name, dict(zip(paths, row, strict=True))), {})
        cells: list[Any] = []
        for n in kept:
            cells.append(_cell(page, row[n]))
            if paths[n] in looked_at:
                cells += _beside(page, of_row.get(paths[n], []))
        _append(page, number, cells, widths)


def _beside(page: Any, findings: Sequence[Finding]) -> list[Any]:
    """What was found, and the heaviest verdict about it; nothing where nobody looked."""
    if not findings:
        return [None, None]
    heaviest = min(findings, key=lambda f: VERDICTS.index(f.verdict))
    untested = heaviest.verdict == "not-tested"
    value = heaviest.reason if untested else heaviest.observed
    return [_cell(page, value), _verdict(page, heaviest.verdict)]


def _by_place(
    sheet: str, findings: Iterable[Finding]
) -> Mapping[tuple[str, ...], dict[str, list[Finding]]]:
    """Findings by the key of a row, then by the path of a column.

    What both ends share (bandwidth, capacity ...) is planned once, and read at either end.
    """
    findings_of: dict[tuple[str, ...], dict[str, list[Finding]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for finding in findings:
        subject = finding.subject
        field = FIELDS.get(finding.check)
        if field is None or _SHEETS.get(subject.kind, ("",))[0] != sheet:
            continue
        parts = {"port": (subject.name, subject.port or ""),
                 "link": (subject.name, str(subject.carrier or 1))}  # fmt: skip
        key = parts.get(subject.kind, (subject.name,))
        path = field if field in _SHARED else _END[subject.end] + field
        findings_of[key][path].append(finding)
    return findings_of


def _key(sheet: str, row: Mapping[str, Any]) -> tuple[str, ...]:
    names = next((n for s, n in _SHEETS.values() if s == sheet), ())
    return tuple(str(row.get(n) or (1 if n == "carrier" else "")) for n in names)


def _page(
    book: Any, name: str, widths: Sequence[float], *, across: int | None = 1, upright: bool = False
) -> Any:
    """A sheet for A4, `across` pages wide or, if None, as many as it takes."""
    page = book.create_sheet(name)
    page.page_setup.paperSize = _A4
    page.page_setup.orientation = "portrait" if upright else "landscape"
    if across is None:
        page.page_setup.scale = 67
        page.print_title_cols = "A:A"
    else:
        page.page_setup.fitToWidth, page.page_setup.fitToHeight = across, 0
        page.sheet_properties.pageSetUpPr.fitToPage = True
    page.oddFooter.center.text = "&A - &P / &N"
    for index, width in enumerate(widths, start=1):
        page.column_dimensions[get_column_letter(index)].width = width
    return page


def _append(page: Any, row: int, cells: Sequence[Any], widths: Sequence[float]) -> None:
    """Adds a row, as high as its longest text needs in its column."""
    texts = ((str(c.value), w) for c, w in zip(cells, widths, strict=True) if c is not None)
    lines = max(math.ceil(len(text) * 1.05 / width) for text, width in texts)
    if lines > 1:
        page.row_dimensions[row].height = min(lines * _LINE, _HIGHEST)
    page.append(cells)


def _heading(page: Any, text: str) -> Any:
    cell = _cell(page, text, _WHITE)
    cell.fill = _DARK_FILL
    return cell


def _verdict(page: Any, verdict: str) -> Any:
    font, fill = _MARKS[verdict]
    cell = _cell(page, WORDS[verdict], font)
    cell.fill = fill
    return cell


def _cell(page: Any, value: Any, font: Font | None = None) -> Any:
    """A cell with a value: a number as such, anything else as a text that nothing runs."""
    cell = WriteOnlyCell(page)
    cell.alignment = _TOP
    cell.font = font or _PLAIN
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        cell.value = value if abs(value) < 1e15 else str(value)  # noqa: PLR2004 - digits of a cell
    elif value is not None:
        cell.value = _ESCAPE.sub("_x005F_", plain(value, longest=LONGEST_CELL - 100))
        cell.data_type = "s"
    return cell
