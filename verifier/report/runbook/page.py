"""The runbook as one self-contained page to print, with a picture of where everything is."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from verifier.model.address import Interface
from verifier.model.cautions import CLOSING, cautions
from verifier.model.runbook import Connect, Runbook, SetDevice, SetLaptop
from verifier.report.html import draw
from verifier.report.runbook.text import RunbookPaper, heading, kinds, lines

_MOST_STEPS, _MOST_SUBNETS, _MOST_DEVICES = 60, 8, 16
"""More than that is no small picture any more."""
_LONGEST = 2000
"""Characters of one text: a reason names every device that stands in the way."""
_LEFT, _COLUMN, _ROW, _TOP = 46, 150, 30, 64
_MARK = 20
"""Width of the mark of one device, in pixels."""
_MARKS = 4
"""Number of marks side by side in a column."""


@dataclass(frozen=True, slots=True)
class _Mark:
    """A device in the picture: its number, where it stands, and what just became of it."""

    number: int
    x: int
    y: int
    state: str


def page(sheet: RunbookPaper) -> str:
    """The page. It fetches nothing and has no script."""
    groups: dict[str, list[Any]] = defaultdict(list)
    for item in sheet.runbook.follow_ups:
        groups[item.kind].append(item)
    return draw(
        "runbook.html",
        "runbook.css",
        longest=_LONGEST,
        sheet=sheet,
        book=sheet.runbook,
        heading=list(heading(sheet)),
        lines=list(lines(sheet)),
        groups=[(title, groups[kind]) for kind, title in kinds().items() if kind in groups],
        picture=_picture(sheet),
        cautions=cautions("runbook"),
        closing=CLOSING,
    )


# -- picture ---------------------------------------------------------------------------------------


def _picture(sheet: RunbookPaper) -> dict[str, Any] | None:
    """Subnets as columns, time downwards; None where it would not be small."""
    book = sheet.runbook
    at = {**_starts(book), **sheet.staying}
    columns = _columns(book, sheet.staying.values())
    if not book.steps or len(at) > _MOST_DEVICES or len(columns) > _MOST_SUBNETS:
        return None
    steps = book.steps[:_MOST_STEPS]
    place = {subnet: n for n, subnet in enumerate(columns)}
    numbers = {name: n for n, name in enumerate(at, start=1)}
    rows = list(_rows(book, at, place, numbers))[: len(steps) + 1]
    return {
        "columns": [(s, _LEFT + n * _COLUMN) for n, s in enumerate(columns)],
        "rows": rows,
        "devices": [(n, name) for name, n in numbers.items()],
        "left_out": len(book.steps) - len(steps),
        "width": _LEFT + len(columns) * _COLUMN,
        "height": _TOP + len(rows) * _ROW,
        "column": _COLUMN,
        "row": _ROW,
        "mark": _MARK,
    }


def _starts(book: Runbook) -> dict[str, Interface]:
    starts: dict[str, Interface] = {}
    for step in book.steps:
        if isinstance(step, SetDevice):
            starts.setdefault(step.device, step.from_)
    return starts


def _columns(book: Runbook, staying: Iterable[Interface]) -> list[str]:
    met: list[Interface] = []
    for step in book.steps:
        if isinstance(step, SetDevice):
            met += [step.from_, step.to]
        elif isinstance(step, SetLaptop):
            met += step.addresses
    return list(dict.fromkeys(i.subnet for i in (*met, *book.laptop_start, *staying)))


def _rows(
    book: Runbook, at: dict[str, Interface], place: dict[str, int], numbers: dict[str, int]
) -> Iterator[dict[str, Any]]:
    """The state before the first step, and after each."""
    where, laptop = dict(at), book.laptop_start
    attached = set() if book.setting == "one-at-a-time" else set(at)
    open_: set[str] = set()
    before: dict[str, _Mark] = {}
    for n, step in enumerate((None, *book.steps)):
        moved = None
        if isinstance(step, Connect):
            attached = set(at) if step.device is None else {step.device}
        elif isinstance(step, SetLaptop):
            laptop = step.addresses
        elif isinstance(step, SetDevice):
            moved = step.device
            where[moved] = step.to
            open_.add(moved)
        elif step is not None:
            open_.discard(step.device)
        y = _TOP + n * _ROW
        states = {u: _state(u, open_, attached) for u in where}
        marks = _marks(y, {u: place[own.subnet] for u, own in where.items()}, numbers, states)
        path = None if moved is None else (before[moved].x, before[moved].y, marks[moved].x, y)
        held = dict.fromkeys(_LEFT + place[own.subnet] * _COLUMN for own in laptop)
        before = marks
        yield {
            "label": str(n) if n else "",
            "y": y,
            "marks": list(marks.values()),
            "laptop": list(held),
            "path": path,
        }


def _state(device: str, open_: set[str], attached: set[str]) -> str:
    if device in open_:
        return "open"
    return "here" if device in attached else "away"


def _marks(
    y: int, columns: dict[str, int], numbers: dict[str, int], states: dict[str, str]
) -> dict[str, _Mark]:
    """The devices side by side in their columns."""
    counts: dict[int, int] = defaultdict(int)
    marks: dict[str, _Mark] = {}
    for device, column in columns.items():
        slot, layer = counts[column] % _MARKS, counts[column] // _MARKS
        counts[column] += 1
        x = _LEFT + column * _COLUMN + 34 + slot * (_MARK + 6)
        marks[device] = _Mark(numbers[device], x, y + 3 * layer, states[device])
    return marks
