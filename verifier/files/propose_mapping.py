"""A first mapping for somebody's own sheet: what is recognised, and what a person must look at."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from verifier.errors import InputError, UsageError
from verifier.files.disk import read_bytes
from verifier.files.faults import shown
from verifier.files.mapping.form import FORMAT, UNREAD, UNSURE
from verifier.files.mapping.guess import TheirColumn, TheirSheet, seen_sheet
from verifier.files.read_plan import read_plan
from verifier.files.sheets.csv_text import PROPOSED, unsure_lines
from verifier.files.sheets.open_pages import VALUES_ONLY, WHY_VALUES_ONLY, pages_of
from verifier.files.sheets.page import Page, listed


def propose(theirs: Path, out: Path) -> str:
    """Writes a mapping for the sheet at `theirs` to `out`; what a person should know of it.

    What is unsure is marked in the file by a comment that begins with `unsure:`.

    Raises:
        InputError: the sheet cannot be read, or nothing in it is recognised.
        UsageError: `out` is there already or cannot be written.
    """
    if out.exists():
        raise UsageError(f"{out} is there already: name a file that is not")
    found = [sheet for page in _pages(theirs) if (sheet := seen_sheet(page)) is not None]
    known = [sheet for sheet in found if sheet.row]
    if not known:
        raise InputError(f"{theirs}: nothing is recognised: write the mapping by hand")
    parts = (_toml(sheet, alone=len(found) == 1) for sheet in known)
    text = "\n".join((f'format = "{FORMAT}"', *_of_the_file(theirs), *parts, ""))
    try:
        out.write_text(text, encoding="utf-8")
    except OSError as fault:
        raise UsageError(f"{out} cannot be written: {fault.strerror}") from None
    left = [f"sheet {s.page.name}: not recognised, left out" for s in found if not s.row]
    return "\n".join((*(_told(s) for s in known), *left, _tried(theirs, out), ""))


def _of_the_file(theirs: Path) -> list[str]:
    """What a person must say of the file itself."""
    if theirs.suffix.lower() in VALUES_ONLY:
        why = f"{WHY_VALUES_ONLY}; or write true"
        return [f'values_only = "{UNSURE}"  # unsure: {why}']
    lines = unsure_lines(read_bytes(theirs)) if theirs.suffix.lower() == ".csv" else {}
    if not lines:
        return []
    number, text = next(iter(lines.items()))
    known = f"in {PROPOSED} line {number} is {shown(text)}; look at line {listed(list(lines))}"
    return [f'encoding = "{UNSURE}"  # unsure: {known}; if they read well, write "{PROPOSED}"']


def _pages(theirs: Path) -> tuple[Page, ...]:
    encoding = ""
    if theirs.suffix.lower() == ".csv" and unsure_lines(read_bytes(theirs)):
        encoding = PROPOSED
    return pages_of(theirs, values_only=True, encoding=encoding)


def _toml(sheet: TheirSheet, *, alone: bool) -> str:
    """The part of the mapping about one sheet."""
    theirs = "*" if alone else sheet.page.name
    lines = ["", "[[table]]", f"page = {_quoted(theirs)}"]
    doubt = f"  # unsure: {sheet.row_doubt}" if sheet.row_doubt else ""
    lines.append(f'row = "{sheet.row}"{doubt}')
    if sheet.heading_row:
        lines.append(f"heading_row = {sheet.heading_row}")
    lines += ["", "[table.columns]", *map(_line, sheet.columns)]
    if sheet.made:
        lines += ["", "[table.made]"]
        lines += [
            f"{_quoted(name)} = {_quoted(text)}  # unsure: no column holds it; is this the name?"
            for name, text in sheet.made.items()
        ]
    return "\n".join(lines)


def _line(column: TheirColumn) -> str:
    heading = _quoted(column.heading)
    if not column.fields:
        why = column.doubt or ("not recognised" if column.guess is None else "no field of a plan")
        return f'{heading} = "{UNREAD}"  # {why}'
    readings = [_value(reading) for reading in column.readings]
    if column.doubt:
        why = column.doubt.replace("; write unit", "").replace(": write decimal", "")
        return f'{heading} = "{UNSURE}"  # unsure: {why}; write {" or ".join(readings)}'
    return f"{heading} = {readings[0]}"


def _value(reading: dict[str, Any]) -> str:
    """What a column holds, as it is written in a mapping."""
    if "leave_out" in reading:
        return f"{{leave_out = {_quoted(reading['leave_out'])}}}"
    fields = reading["field"]
    value = _toml_value(fields[0] if len(fields) == 1 else list(fields))
    if len(reading) == 1:
        return value
    more = ", ".join(f"{k} = {_toml_value(said)}" for k, said in reading.items() if k != "field")
    return f"{{field = {value}, {more}}}"


def _toml_value(value: Any) -> str:
    if isinstance(value, dict):
        return f"{{{', '.join(f'{_quoted(k)} = {_quoted(v)}' for k, v in value.items())}}}"
    if isinstance(value, list):
        return f"[{', '.join(map(_quoted, value))}]"
    return _quoted(value)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _told(sheet: TheirSheet) -> str:
    """What was recognised of a sheet, in words."""
    read = sum(bool(c.fields) for c in sheet.columns)
    doubts = [c.heading for c in sheet.columns if "unsure" in _line(c)] + list(sheet.made)
    unsure = f"; look at {', '.join(doubts)}" if doubts else ""
    count = f"{read} of {len(sheet.columns)} columns recognised"
    return f"sheet {sheet.page.name}: each row is one {sheet.row}, {count}{unsure}"


def _tried(theirs: Path, out: Path) -> str:
    """What the sheet gives when it is read by the mapping."""
    try:
        plan, problems = read_plan(theirs, out)
    except InputError as fault:
        return f"{out}: written, but the sheet cannot be read by it yet: {fault}"
    errors = sum(p.severity == "error" for p in problems)
    return (
        f"{out}: written; read by it: {len(plan.devices)} devices, {len(plan.links)} links, "
        f"{errors} errors. Go through the lines marked unsure, then: "
        f"plan-verifier check {theirs} --mapping {out}"
    )
