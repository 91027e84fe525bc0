"""The shapes of sheets: where headings, rows, titles, noise and footers stand."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from typing import Any

from tests.files.mapping.sheet_styles import words
from tests.files.mapping.sheet_styles.drawing import (
    DrawnCell,
    DrawnColumn,
    DrawnPage,
    DrawnSheet,
    keys_of,
)
from tests.files.mapping.sheet_styles.truth import OF_LINK

_SPLIT = {"tx", "rx", "power", "level", "azimuth", "height"}
Row = tuple[int, str]
"""A link and, where a row is one end, which."""


def lay_out(drawn: DrawnSheet) -> None:
    """Draws the pages of a sheet in its style."""
    make = {
        "link": _link, "link grouped": _grouped, "end": _end, "end with far": _end,
        "fill down": _end, "form": _forms, "forms stacked": _forms, "transposed": _transposed,
        "stacked": _stacked, "relational": _relational, "split cells": _link,
    }  # fmt: skip
    make[drawn.style](drawn)
    rng = drawn.rng
    if not drawn.csv and rng.random() < 0.15:
        old = DrawnPage(rng.choice(("old", "Archive", "Links_old", "backup 2024")))
        old.put(1, 1, drawn.heading("name"))
        old.put(2, 1, drawn.truth.texts[0, "", "name"])
        old.put(1, 2, drawn.with_unit("tx", drawn.heading("tx")))
        old.put(2, 2, 11111.5)
        old.hidden = rng.random() < 0.5
        drawn.pages.append(old)


# -- columns ---------------------------------------------------------------------------------------


def _link_columns(drawn: DrawnSheet) -> list[DrawnColumn]:
    """The columns of a row that is a link: of the link, then of its ends, in one of two orders."""
    sides = drawn.sides
    found, ends = [], []
    for what in drawn.wanted:
        clear = drawn.is_clear(what, "")
        if what in OF_LINK:
            heading = drawn.with_unit(what, drawn.heading(what))
            found.append(DrawnColumn(what, "", heading, clear=clear))
        else:
            pair = []
            for side, form in zip("ab", sides[:2], strict=True):
                name = form.format(drawn.heading(what))
                pair.append(DrawnColumn(what, side, drawn.with_unit(what, name), clear=clear))
            ends.append(pair)
    if drawn.rng.random() < 0.5:
        found += [column for pair in ends for column in pair]
    else:
        found += [pair[0] for pair in ends] + [pair[1] for pair in ends]
    return _noisy(drawn, found)


def _grouped_columns(drawn: DrawnSheet) -> list[DrawnColumn]:
    """The same with the words for the ends in a row above."""
    found = [
        DrawnColumn(what, "", drawn.with_unit(what, drawn.heading(what)), clear=drawn.is_clear(what, ""))
        for what in drawn.wanted
        if what in OF_LINK
    ]  # fmt: skip
    found = _noisy(drawn, found)
    for side, group in zip("ab", drawn.sides_group, strict=True):
        for what in drawn.wanted:
            if what not in OF_LINK:
                heading = drawn.with_unit(what, drawn.heading(what))
                found.append(DrawnColumn(what, side, heading, group, drawn.is_clear(what, "")))
    return found


def _end_columns(drawn: DrawnSheet) -> list[DrawnColumn]:
    """The columns of a row that is one end."""
    word, _ = words.END[drawn.language]
    found = []
    for what in drawn.wanted:
        heading = drawn.with_unit(what, drawn.heading(what))
        side = "" if what in OF_LINK else "own"
        found.append(DrawnColumn(what, side, heading, clear=drawn.is_clear(what, "")))
        if what == "name" and drawn.style != "end with far" and drawn.rng.random() < 0.6:
            found.append(DrawnColumn("end", "own", word))
    if drawn.style == "end with far":
        for what in ("site", "address", "level"):
            if what in drawn.wanted or what == "address":
                heading = drawn.with_unit(what, drawn.far.format(drawn.heading(what)))
                found.append(DrawnColumn(what, "far", heading, clear=drawn.is_clear(what, "")))
    return _noisy(drawn, found)


def _noisy(drawn: DrawnSheet, columns: list[DrawnColumn]) -> list[DrawnColumn]:
    """With columns between that are no part of a plan."""
    rng = drawn.rng
    for heading, values in rng.sample(words.NOISE[drawn.language], k=rng.choice((0, 1, 1, 2, 3))):
        at = rng.randint(1, len(columns))
        columns.insert(at, DrawnColumn("=", "", heading, noise=values))
    return columns


# -- cells -----------------------------------------------------------------------------------------


def _value(drawn: DrawnSheet, column: DrawnColumn, row: Row) -> DrawnCell | None:
    """The cell of a column in a row; None where it is empty."""
    link, end = row
    if column.what == "=":
        value = drawn.rng.choice(column.noise)
        return DrawnCell(value) if value != "" else None
    if column.what == "end":
        return DrawnCell(words.END[drawn.language][1]["ab".index(end)])
    side = {"a/b": "a", "own": end, "far": "b" if end == "a" else "a"}.get(column.side, column.side)
    keys = keys_of(column.what, link, side, prefix=drawn.with_prefix)
    return DrawnCell(drawn.written(keys[0]), keys)


def _put_row(
    drawn: DrawnSheet, page: DrawnPage, at: int, columns: Sequence[DrawnColumn], row: Row
) -> None:
    for number, column in enumerate(columns, start=1):
        if (cell := _value(drawn, column, row)) is not None:
            page.cells[at, number] = cell


def _put_headings(
    drawn: DrawnSheet, page: DrawnPage, at: int, columns: Sequence[DrawnColumn]
) -> int:
    """Writes the headings; number of the row below them."""
    for number, column in enumerate(columns, start=1):
        page.put(at, number, column.heading)
    if drawn.unit_place == "row":
        units = drawn.truth.units
        named = [(n, units[c.what].text) for n, c in enumerate(columns, 1) if c.what in units]
        if len(named) > 1:
            for number, text in named:
                page.put(at + 1, number, drawn.rng.choice((text, f"({text})")))
            return at + 2
    return at + 1


def _title(drawn: DrawnSheet, page: DrawnPage) -> int:
    """Writes lines of a title, or none; number of the row below."""
    rng = drawn.rng
    if rng.random() < 0.5:
        return 1
    titles = words.TITLES[drawn.language]
    for number in range(1, rng.randint(1, 2) + 1):
        page.put(number, 1, titles[number - 1])
    return page.last_row + rng.choice((1, 2))


def _footer(drawn: DrawnSheet, page: DrawnPage, columns: Sequence[DrawnColumn]) -> None:
    """Writes a total or a note below, or nothing."""
    rng = drawn.rng
    total, note = words.FOOTERS[drawn.language]
    row = page.last_row + rng.choice((1, 2))
    if rng.random() < 0.25:
        page.put(row, 1, total)
        summed = [n for n, c in enumerate(columns, 1) if c.what in ("km", "capacity")]
        for number in summed:
            page.put(row, number, 123.4 if not drawn.csv else "123")
        row += 1
    if rng.random() < 0.25:
        page.put(row, 1, note)


def _rows_of(
    drawn: DrawnSheet, page: DrawnPage, at: int, columns: Sequence[DrawnColumn], rows: Iterable[Row]
) -> int:
    """Writes rows; those of links that are no plan say so. Number of the row below."""
    rng = drawn.rng
    heading, good, bad = words.STATUS[drawn.language]
    column = next((n for n, c in enumerate(columns, 1) if c.heading == heading), None)
    for row in rows:
        _put_row(drawn, page, at, columns, row)
        dropped = row[0] in drawn.dropped
        if column is not None:
            word = bad[row[0] % len(bad)] if dropped else good[row[0] % len(good)]
            page.cells[at, column] = DrawnCell(word)
        elif dropped:
            page.strike(at)
        at += 1
        if rng.random() < 0.03 and drawn.style != "fill down":
            _put_headings(drawn, page, at, columns)  # as at the top of a printed page
            at = page.last_row + 1
    return at


def _with_status(drawn: DrawnSheet, columns: list[DrawnColumn]) -> list[DrawnColumn]:
    """A column for the status, where rows must say that they are no plan, or by chance."""
    if (drawn.dropped and (drawn.csv or drawn.rng.random() < 0.5)) or drawn.rng.random() < 0.2:
        heading, *_ = words.STATUS[drawn.language]
        columns.append(DrawnColumn("=", "", heading, noise=("",)))
    return columns


# -- styles ----------------------------------------------------------------------------------------


def _link(drawn: DrawnSheet) -> None:
    page = DrawnPage(drawn.rng.choice(("Links", "Hops", "Sheet1", "Plan 2026")))
    if page.name == "Links":
        page.name = "MW links"
    columns = _with_status(drawn, _link_columns(drawn))
    if drawn.style == "split cells":
        columns = _split(drawn, columns)
    at = _put_headings(drawn, page, _title(drawn, page), columns)
    _rows_of(drawn, page, at, columns, ((link, "") for link in range(drawn.truth.links)))
    if drawn.style == "split cells":
        _join_cells(drawn, page, columns)
    _done(drawn, page, columns)


def _done(drawn: DrawnSheet, page: DrawnPage, columns: list[DrawnColumn]) -> None:
    _footer(drawn, page, columns)
    noise = [n for n, c in enumerate(columns, 1) if c.what == "="]
    if noise and not drawn.csv and drawn.rng.random() < 0.2:
        page.hidden_columns.add(drawn.rng.choice(noise))
    drawn.columns += columns
    drawn.pages.append(page)


def _split(drawn: DrawnSheet, columns: list[DrawnColumn]) -> list[DrawnColumn]:
    """The same columns; both ends of some values are one: the second of each pair goes."""
    found = []
    for column in columns:
        if column.what in _SPLIT and column.side == "b":
            continue
        if column.what in _SPLIT and column.side == "a":
            heading = drawn.with_unit(column.what, drawn.heading(column.what) + " A / B")
            both = dataclasses.replace(column, side="a/b", heading=heading, clear=False)
            found.append(both)
        else:
            found.append(column)
    return found


def _join_cells(drawn: DrawnSheet, page: DrawnPage, columns: list[DrawnColumn]) -> None:
    """Fills the cells of both ends."""
    for (row, number), cell in list(page.cells.items()):
        column = columns[number - 1]
        if column.side == "a/b" and cell.keys:
            link = cell.keys[0][0]
            keys = tuple((link, end, column.what) for end in "ab")
            texts = [drawn.spelt(drawn.truth.figures[key].written) for key in keys]
            page.cells[row, number] = DrawnCell(" / ".join(texts), keys, cell.struck)


def _grouped(drawn: DrawnSheet) -> None:
    page = DrawnPage("Hops")
    columns = _with_status(drawn, _grouped_columns(drawn))
    at = _title(drawn, page)
    merged = drawn.rng.random() < 0.6 and not drawn.csv
    groups: dict[str, list[int]] = {}
    for number, column in enumerate(columns, start=1):
        if column.group:
            groups.setdefault(column.group, []).append(number)
    for group, numbers in groups.items():
        page.put(at, numbers[0], group)
        if merged and len(numbers) > 1:
            page.merges.append((at, numbers[0], at, numbers[-1]))
    at = _put_headings(drawn, page, at + 1, columns)
    for link in range(drawn.truth.links):
        at = _rows_of(drawn, page, at, columns, [(link, "")])
    _done(drawn, page, columns)


def _end(drawn: DrawnSheet) -> None:
    page = DrawnPage(drawn.rng.choice(("Stations", "Ends", "Radio list")), row="end")
    columns = _with_status(drawn, _end_columns(drawn))
    at = _put_headings(drawn, page, _title(drawn, page), columns)
    rows = [(link, end) for link in range(drawn.truth.links) for end in "ab"]
    if drawn.style == "end" and drawn.rng.random() < 0.3 and any(c.what == "end" for c in columns):
        drawn.rng.shuffle(rows)
    _rows_of(drawn, page, at, columns, rows)
    if drawn.style == "fill down":
        names = [n for n, c in enumerate(columns, 1) if c.what in OF_LINK]
        for (row, number), cell in list(page.cells.items()):
            second = any(k[1] == "b" for n in range(1, len(columns) + 1)
                         if (other := page.cells.get((row, n))) for k in other.keys)  # fmt: skip
            if number in names and second and cell.keys:
                del page.cells[row, number]
                if not drawn.csv and drawn.seed % 2:
                    page.merges.append((row - 1, number, row, number))
    _done(drawn, page, columns)


def _form(drawn: DrawnSheet, page: DrawnPage, at: int, link: int, columns: dict[str, str]) -> int:
    """One form: labels, then the near and the far end beside them; of the link, one value."""
    for what in drawn.wanted:
        page.put(at, 1, columns[what])
        if what in OF_LINK:
            page.put(at, 2, drawn.written((link, "", what)), (link, "", what))
        else:
            for number, end in enumerate("ab", start=2):
                keys = keys_of(what, link, end, prefix=drawn.with_prefix)
                page.put(at, number, drawn.written(keys[0]), *keys)
        if what == "name":
            at += 1
            for number, word in enumerate(drawn.sides_group, start=2):
                page.put(at, number, word)
        at += 1
    return at


def _forms(drawn: DrawnSheet) -> None:
    columns = {what: drawn.with_unit(what, drawn.heading(what)) for what in drawn.wanted}
    for what, heading in columns.items():
        sides = ("",) if what in OF_LINK else ("a", "b")
        groups = ("",) if what in OF_LINK else drawn.sides_group
        clear = drawn.is_clear(what, "")
        drawn.columns += [
            DrawnColumn(what, s, heading, g, clear) for s, g in zip(sides, groups, strict=True)
        ]
    page, at = DrawnPage("Forms"), 1
    for link in range(drawn.truth.links):
        if drawn.style == "form":
            page, at = DrawnPage(f"Hop {link + 1}"), 1
            drawn.pages.append(page)
        at = _form(drawn, page, at, link, columns) + drawn.rng.choice((1, 2))
    if drawn.style != "form":
        drawn.pages.append(page)


def _transposed(drawn: DrawnSheet) -> None:
    page = DrawnPage("Plan")
    columns = _link_columns(drawn)
    for number, column in enumerate(columns, start=1):
        page.put(number, 1, column.heading)
        for link in range(drawn.truth.links):
            if (cell := _value(drawn, column, (link, ""))) is not None:
                page.cells[number, link + 2] = cell
    drawn.columns += columns
    drawn.pages.append(page)


def _stacked(drawn: DrawnSheet) -> None:
    """Several tables of the same headings under each other, each with the name of its region."""
    page = DrawnPage("Regions")
    columns = _with_status(drawn, _link_columns(drawn))
    at, half = 1, max(1, drawn.truth.links // 2)
    for part, links in enumerate((range(half), range(half, drawn.truth.links))):
        page.put(at, 1, f"Region {part + 1}")
        at = _put_headings(drawn, page, at + 1, columns)
        at = _rows_of(drawn, page, at, columns, ((link, "") for link in links))
        at += drawn.rng.choice((0, 1, 2))
    drawn.columns += columns
    drawn.pages.append(page)


def _relational(drawn: DrawnSheet) -> None:
    """One sheet of the devices, one of the links, which name the devices."""
    wanted = {*drawn.wanted, "device"}
    devices = DrawnPage("Equipment", row="device")
    columns = [
        DrawnColumn(what, "own", drawn.heading(what), clear=drawn.is_clear(what, ""))
        for what in ("device", "site", *_DEVICES)
        if what in wanted
    ]
    at = _put_headings(drawn, devices, 1, columns)
    for link in range(drawn.truth.links):
        for end in "ab":
            _put_row(drawn, devices, at, columns, (link, end))
            at += 1
    drawn.columns += columns
    drawn.pages.append(devices)
    links = DrawnPage("Hops")
    rest = dataclasses.replace(drawn, columns=[], pages=[])
    rest.wanted = tuple(w for w in (*drawn.wanted,) if w not in (*_DEVICES, "site", *_PLACE))
    if "device" not in rest.wanted:
        rest.wanted = (*rest.wanted, "device")
    more = _link_columns(rest)
    at = _put_headings(rest, links, 1, more)
    _rows_of(rest, links, at, more, ((link, "") for link in range(drawn.truth.links)))
    drawn.columns += more
    drawn.pages.append(links)


_DEVICES = ("address", "mask", "gateway", "vlan", "serial", "mac")
_PLACE = ("latitude", "longitude")


def as_rows(page: DrawnPage) -> list[list[Any]]:
    """The cells of a page, row by row, empty ones as empty texts."""
    wide = max((column for _, column in page.cells), default=0)
    rows: list[list[Any]] = [[""] * wide for _ in range(page.last_row)]
    for (row, column), cell in page.cells.items():
        rows[row - 1][column - 1] = cell.value
    return rows
