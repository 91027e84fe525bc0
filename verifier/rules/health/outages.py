"""Outages of a device: from the first sweep without an answer to the first with one again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from verifier.model.history import Outage, Spell, SubjectPast
from verifier.rules.soak.clocks import rfc3339


@dataclass(frozen=True, slots=True)
class _Down:
    """An outage that has begun."""

    at_s: float
    length_s: float


def outages(past: SubjectPast, start_s: float, end_s: float) -> list[Outage]:
    """Those of a period, oldest first; the sum of their lengths is the unanswered time.

    From `past.raw_s` on each sweep tells; before that only the changes that counted are left, so
    what was too short to be confirmed does not show.
    """
    spells = [*_by_changes(past, start_s), *_by_sweeps(past)]
    found: list[tuple[_Down, float | None]] = []
    down: _Down | None = None
    for spell in spells:
        if spell.answered is False:
            before_s = 0.0 if down is None else down.length_s
            at_s = spell.at_s if down is None else down.at_s
            down = _Down(at_s, before_s + max(0.0, spell.for_s))
        elif spell.answered and down is not None:
            found.append((down, spell.at_s))
            down = None
    if down is not None:
        found.append((down, None))
    return [_outage(past, one, ended_s, end_s) for one, ended_s in found]


def _outage(past: SubjectPast, down: _Down, ended_s: float | None, end_s: float) -> Outage:
    if ended_s is not None:  # a clock that was set back meanwhile tells a time before the begin
        ended_s = max(ended_s, down.at_s + down.length_s)
    lasted_s = (end_s if ended_s is None else ended_s) - down.at_s
    return Outage(
        subject=past.subject,
        start=rfc3339(down.at_s),
        end=None if ended_s is None else rfc3339(ended_s),
        length_s=down.length_s,
        untested_s=max(0.0, lasted_s - down.length_s),
        by="changes" if down.at_s < past.raw_s else "sweeps",
    )


def _by_sweeps(past: SubjectPast) -> Sequence[Spell]:
    """Where no sweep went without an answer none is given: then it answered all the time."""
    return past.spells or (Spell(past.raw_s, 0.0, answered=True),)


def _by_changes(past: SubjectPast, start_s: float) -> Iterator[Spell]:
    """Silent or not, by the confirmed states before the sweeps that are kept."""
    ends = [*(change.at_s for change in past.changes[1:]), past.raw_s]
    for change, next_s in zip(past.changes, ends, strict=False):
        at_s, until_s = max(change.at_s, start_s), min(next_s, past.raw_s)
        if until_s > at_s:
            yield Spell(at_s, until_s - at_s, answered=change.after != "silent")
