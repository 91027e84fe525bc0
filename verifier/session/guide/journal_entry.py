"""A look's meaning as the guide's journal keeps it, and what it tells of a device read back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from verifier.model.address import Mac
from verifier.model.guide import Assessment, Fingerprint


def told(meaning: Assessment) -> dict[str, Any]:
    """A meaning as plain values."""
    kept: dict[str, Any] = {
        "kind": meaning.kind,
        "seen": meaning.seen,
        "means": meaning.means,
        "by": list(meaning.by),
        "notes": list(meaning.notes),
        "not_tested": list(meaning.not_tested),
    }
    marks = meaning.marks
    if marks is not None and marks:
        kept["marks"] = {
            "mac": None if marks.mac is None else str(marks.mac),
            "name": marks.name,
            "engine_id": marks.engine_id,
            "serial": marks.serial,
        }
    return kept


def marks_of(record: Mapping[str, Any]) -> Fingerprint | None:
    """What a line of the journal tells a device by; None where it tells nothing."""
    seen = record.get("marks")
    if not isinstance(seen, dict):
        return None
    texts = {key: seen.get(key) for key in ("mac", "name", "engine_id", "serial")}
    if not all(value is None or isinstance(value, str) for value in texts.values()):
        return None
    mac = texts.pop("mac")
    try:
        return Fingerprint(mac=None if mac is None else Mac.parse(mac), **texts)
    except ValueError:
        return None
