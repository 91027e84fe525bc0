"""The model back to the tree that a file holds: groups, lists and values under a file's names."""

from __future__ import annotations

import dataclasses
import datetime as dt
import functools
from typing import Any

from verifier.errors import UsageError
from verifier.files.faults import shown
from verifier.files.plan.columns import FILE_NAMES, SHORT_FORMS
from verifier.files.plan.scalars import MAX_TEXT

Group = dict[str, Any]


def as_tree(group: Any) -> Group:
    """The fields of a dataclass of the plan by their names in a file.

    Values stay what they are, lists become Python lists; what is as it would be read from an empty
    cell is left out.
    """
    tree: Group = {}
    for name, file_name, default in _fields(group.__class__):
        value = getattr(group, name)
        if value is None or value == default:
            continue
        if (short := SHORT_FORMS.get((group.__class__, name))) is not None:
            field, word = short
            tree.setdefault(field, word)
            continue
        if type(value) is tuple:
            tree[file_name] = [_value(v) for v in value]
        elif (inner := _value(value)) != {}:
            tree[file_name] = inner
    return tree


def _value(value: Any) -> Any:
    is_group = dataclasses.is_dataclass(value) and not hasattr(value, "parse")
    return as_tree(value) if is_group else value


@functools.cache
def _fields(cls: Any) -> tuple[tuple[str, str, Any], ...]:
    """Name in the model, name in a file and default of every field that is part of equality."""
    return tuple(
        (f.name, FILE_NAMES.get((cls, f.name), f.name), f.default)
        for f in dataclasses.fields(cls)
        if f.compare
    )


def written(value: Any) -> str:
    """One value as the text that is read back as the same value.

    Raises:
        UsageError: it is a text that no file can hold.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return _number(value)
    if isinstance(value, dt.datetime):
        return _moment(value)
    if isinstance(value, dt.date):
        return value.isoformat()
    text = str(value)
    if not text or text != text.strip() or not text.isprintable() or len(text) > MAX_TEXT:
        raise UsageError(
            f"{shown(text)} cannot be written: a text of a plan has 1 to {MAX_TEXT} characters that"
            " print, and no space at its ends"
        )
    return text


def _number(value: float) -> str:
    """All its digits; with a point before an exponent, as YAML 1.1 wants it."""
    text = repr(value).removesuffix(".0")
    return text if "." in text else text.replace("e", ".0e")


def _moment(value: dt.datetime) -> str:
    """In UTC, to the minute if that is exact: `2026-12-01T08:00Z`."""
    utc = value.astimezone(dt.UTC)
    text = utc.isoformat(timespec="seconds" if utc.second else "minutes")
    return text.replace("+00:00", "Z")
