"""What a device's objects may mean, for a person; and the profile that follows from it, in TOML."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence

from verifier.model.profile import ReadingField
from verifier.report.style import plain
from verifier.rules.decode import number, scaled
from verifier.rules.profile_draft import FieldCandidates, ObjectCandidate, unit_of

_LISTED = 8
_ENTERPRISES = "1.3.6.1.4.1."


def listing(candidates: Sequence[FieldCandidates]) -> str:
    """For each figure the objects that fit it; ends with a newline."""
    return "\n".join(line for one in candidates for line in _listed(one)) + "\n"


def toml(name: str, system: Mapping[str, str], candidates: Sequence[FieldCandidates]) -> str:
    """A profile called `name` with a reading for each figure.

    What is uncertain stands in a comment beside it; a figure that many objects fit alike is written
    as a comment as a whole, so that nothing is read that nobody chose.
    """
    lines = [
        "# A draft: what is uncertain says so. Put right what is wrong, then try it live:",
        "#   plan-verifier profiles check FILE --against ADDRESS",
        f"id = {_quoted(name)}",
        f"title = {_quoted(system.get('sysDescr') or name)}",
        'kind = "radio"    # radio | switch | router | other',
    ]
    object_id = system.get("sysObjectID", "")
    if object_id.startswith(_ENTERPRISES):
        lines.append(f"object_id = {_quoted(object_id)}")
    for one in candidates:
        lines += ["", *_reading(one)]
    return "\n".join(lines) + "\n"


def _listed(candidates: FieldCandidates) -> Iterator[str]:
    figure = candidates.figure
    unit = unit_of(figure.field)
    yield f"{figure.field} = {plain(figure.text)}{f' {unit}' if unit else ''}"
    if not candidates.fits:
        yield "    nothing fits: is it below another root, or is the figure not up to date?"
    for fit in candidates.fits[:_LISTED]:
        yield f"    {_described(figure.field, fit)}"
    if len(candidates.fits) > _LISTED:
        yield f"    and {len(candidates.fits) - _LISTED} more"


def _described(name: ReadingField, fit: ObjectCandidate) -> str:
    """An object, what it holds, and how that fits."""
    unit = unit_of(name)
    raw = number(fit.raw)
    words = f"{fit.oid}  raw {plain(fit.raw, longest=60)}"
    if fit.type == "integer" and unit is not None and raw is not None:
        words += f" x {fit.scale:.10g} = {scaled(raw, fit.scale):.10g} {unit}"
    return f"{words}  ({fit.close})"


def _reading(candidates: FieldCandidates) -> Iterator[str]:
    figure = candidates.figure
    seen = f"# seen: {figure.field} = {plain(figure.text)}"
    if not candidates.fits:
        yield f"{seen}; no object fits"
        return
    first = candidates.chosen or candidates.fits[0]
    blind = "" if candidates.chosen else "# "
    if blind:
        yield f"{seen}; {candidates.alike} objects fit alike: choose, and take away the '# '"
    else:
        yield seen
    if not first.oid.endswith(".0"):
        yield '# a row of a table: its column as oid and index = "first", "radio:1" or "port:NAME"'
        yield "# would find it on devices that number their rows otherwise"
    yield f"{blind}[[reading]]"
    for line in _keys(figure.field, first):
        yield f"{blind}{line}"
    others = [f for f in candidates.fits if f.oid != first.oid]
    if others and not blind:
        yield f"# or is it {'one of these' if len(others) > 1 else 'this one'}?"
    for fit in others[:_LISTED]:
        yield f"#   {_described(figure.field, fit)}"
    if len(others) > _LISTED:
        yield f"#   and {len(others) - _LISTED} more"


def _keys(name: ReadingField, fit: ObjectCandidate) -> Iterator[str]:
    yield f"field = {_quoted(name)}"
    yield f"oid = {_quoted(fit.oid)}"
    yield f"type = {_quoted(fit.type)}"
    if fit.type == "integer" and fit.scale != 1:
        yield f"scale = {fit.scale!r}"
    if fit.values:
        pairs = ", ".join(f"{raw} = {_quoted(word)}" for raw, word in fit.values.items())
        yield f"values = {{ {pairs} }}"
    if fit.type == "integer" and (unit := unit_of(name)) is not None:
        yield f"unit = {_quoted(unit)}"
    yield f"source = {_quoted('draft: compared with what the device showed')}"
    if fit.guess:
        yield f"# a guess: {plain(fit.guess)}"


def _quoted(text: str) -> str:
    """A TOML basic string; what does not print is escaped first."""
    return json.dumps(plain(text), ensure_ascii=False)
