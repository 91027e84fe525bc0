"""From what was remembered and what a sweep saw to the changes that count, and to outages.

An outage goes from the first sweep without an answer to the first with one again.

A new state counts when it was seen in `confirm` sweeps, one after the other. A device whose state
as seen keeps changing is `unsteady` until it stays as it is. All of this is our own rule.

`unsteady` hides nothing: readings keep every state as seen. It keeps a device that comes and goes
from being told twenty times.
"""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from verifier.model.health import Counters, HealthReading, Memory, NewPortErrors, State, StateChange
from verifier.model.history import Outage, Spell, SubjectPast
from verifier.model.problem import Subject
from verifier.rules.decode import rfc3339


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


CONFIRM = 2
"""Sweeps in which a new state must be seen; the default."""
RECENT = 12
"""Sweeps that are looked back on."""
UNSTEADY_CHANGES = 4
"""Number of changes within them that make a device unsteady: twice away and back."""
STEADY_SWEEPS = 6
"""Number of equal sweeps in a row that end `unsteady`."""
LASTING_S = 900.0
"""Seconds after which an unexplained lower modulation makes its link impaired (requirement)."""
COUNTER32 = 1 << 32
"""ifInErrors and ifOutErrors start again at 0 after this (RFC 2863, Counter32)."""
_WRAP_FROM = COUNTER32 // 2
"""A counter that was above this and is now lower has wrapped; from less it was reset."""


@dataclass(frozen=True, slots=True)
class Followed:
    """What is remembered from now on, of every device seen, and the changes that count."""

    memories: tuple[Memory, ...]
    changes: tuple[StateChange, ...]


def follow(
    remembered: Mapping[Subject, Memory],
    readings: Iterable[HealthReading],
    at_s: float,
    *,
    confirm: int = CONFIRM,
) -> Followed:
    """Puts a sweep that started at `at_s` on top of what is remembered."""
    steps = [_step(remembered.get(r.subject), r, at_s, confirm) for r in readings]
    return Followed(
        tuple(memory for memory, _ in steps), tuple(c for _, c in steps if c is not None)
    )


def lasting(
    remembered: Mapping[Subject, Memory], readings: Iterable[HealthReading], at_s: float
) -> tuple[HealthReading, ...]:
    """The readings of a sweep, impaired where what nothing explains has lasted.

    That is from the sweep that saw it first, with no sweep in between that did not see it.
    """
    return tuple(_lasting(remembered.get(r.subject), r, at_s) for r in readings)


def _lasting(memory: Memory | None, reading: HealthReading, at_s: float) -> HealthReading:
    if memory is None or not reading.unexplained or reading.state not in _ALIVE:
        return reading
    known = _is_of(memory, reading)
    long = memory.pending_since_s is not None and at_s - memory.pending_since_s >= LASTING_S
    if not known or not (memory.state == "impaired" or (memory.pending == "impaired" and long)):
        return reading
    return dataclasses.replace(
        reading, state="impaired", reasons=(*reading.unexplained, *reading.reasons)
    )


_ALIVE: frozenset[State] = frozenset({"sound", "untested"})


def _is_of(memory: Memory, reading: HealthReading) -> bool:
    """Whether what is remembered is the same unexplained thing."""
    return memory.reason.startswith(f"{reading.unexplained[0].check}: ")


def _step(
    memory: Memory | None, reading: HealthReading, at_s: float, confirm: int
) -> tuple[Memory, StateChange | None]:
    if memory is None:
        return _first(reading, at_s, confirm)
    memory = dataclasses.replace(memory, recent=(*memory.recent, reading.state)[-RECENT:])
    if memory.state == "unsteady":
        steady = _steady(memory.recent)
        return _changed(memory, reading, reading.state, at_s, at_s) if steady else (memory, None)
    if _flips(memory.recent) >= UNSTEADY_CHANGES:
        return _changed(memory, reading, "unsteady", at_s, at_s)
    if reading.state == memory.state:
        return _unchanged(memory, reading, at_s), None
    seen = memory.pending_n + 1 if memory.pending == reading.state else 1
    since_s = memory.pending_since_s if seen > 1 and memory.pending_since_s is not None else at_s
    if seen >= confirm:
        return _changed(memory, reading, reading.state, since_s, at_s)
    pending = dataclasses.replace(
        memory, pending=reading.state, pending_n=seen, pending_since_s=since_s
    )
    return pending, None


def _first(reading: HealthReading, at_s: float, confirm: int) -> tuple[Memory, StateChange | None]:
    """A device seen for the first time. Sound needs no second look, and nobody needs to be told."""
    memory = Memory(
        subject=reading.subject,
        state="untested",
        since_s=at_s,
        notified="untested",
        root=reading.subject,
    )
    if reading.state in {"sound", "untested"}:
        memory = dataclasses.replace(
            memory, state=reading.state, notified=reading.state, recent=(reading.state,)
        )
        first = StateChange(
            subject=reading.subject,
            before=None,
            after=reading.state,
            at_s=at_s,
            confirmed_s=at_s,
            root=reading.root,
            reason=_words(reading),
        )
        return _unchanged(memory, reading, at_s), first
    return _step(memory, reading, at_s, confirm)


def _unchanged(memory: Memory, reading: HealthReading, at_s: float) -> Memory:
    """The same state; why it is so may be another reason now."""
    root = memory.root if reading.state == "sound" else reading.root
    if reading.unexplained and reading.state in _ALIVE:
        known = memory.pending == "impaired" and _is_of(memory, reading)
        return dataclasses.replace(
            memory,
            root=root,
            reason=_words(dataclasses.replace(reading, reasons=reading.unexplained)),
            try_first=reading.try_first,
            pending="impaired",
            pending_n=memory.pending_n + 1 if known else 1,
            pending_since_s=memory.pending_since_s if known else at_s,
        )
    return dataclasses.replace(
        memory,
        root=root,
        reason=_words(reading),
        try_first=reading.try_first,
        pending=None,
        pending_n=0,
        pending_since_s=None,
    )


def _changed(
    memory: Memory, reading: HealthReading, after: State, since_s: float, at_s: float
) -> tuple[Memory, StateChange]:
    """A change that counts. What is sound again hangs on what it hung on before."""
    root = memory.root if reading.state == "sound" else reading.root
    reason = _words(reading)
    if after == "unsteady":
        reason = f"changed {_flips(memory.recent)} times in {len(memory.recent)} sweeps" + (
            f"; {reason}" if reason else ""
        )
    change = StateChange(
        subject=memory.subject,
        before=memory.state,
        after=after,
        at_s=since_s,
        confirmed_s=at_s,
        root=root,
        reason=reason,
    )
    now = dataclasses.replace(
        memory,
        state=after,
        since_s=since_s,
        root=root,
        reason=reason,
        try_first=reading.try_first,
        pending=None,
        pending_n=0,
        pending_since_s=None,
    )
    return now, change


def _words(reading: HealthReading) -> str:
    """The first reason, and how many more there are."""
    if not reading.reasons:
        return ""
    first = reading.reasons[0]
    text = f"{first.check}: {first.text}" if first.check else first.text
    more = len(reading.reasons) - 1
    return f"{text} (and {more} more)" if more else text


def _flips(recent: Sequence[State]) -> int:
    """How often the state as seen changed; where nothing could be tested, nothing changed."""
    tested = [state for state in recent if state != "untested"]
    return sum(a != b for a, b in itertools.pairwise(tested))


def _steady(recent: Sequence[State]) -> bool:
    return len(recent) >= STEADY_SWEEPS and len(set(recent[-STEADY_SWEEPS:])) == 1


def errors_added(
    counters: Mapping[tuple[Subject, str], Counters], readings: Iterable[HealthReading]
) -> tuple[NewPortErrors, ...]:
    """Errors that ports counted since they were read last; ports without any are left out.

    After a restart of the agent a counter began at 0; one that is lower than it was has wrapped
    where it stood in the upper half of its 32 bits, else it was reset.
    """
    found = []
    for reading in readings:
        for port in reading.ports:
            before = counters.get((reading.subject, port.port))
            if before is None:
                continue
            restarted = _restarted(before.uptime_s, reading.uptime_s)
            in_added = _added(before.in_errors, port.in_errors, restarted=restarted)
            out_added = _added(before.out_errors, port.out_errors, restarted=restarted)
            if in_added or out_added:
                found.append(NewPortErrors(reading.subject, port.port, in_added, out_added))
    return tuple(found)


def _restarted(before_s: float | None, now_s: float | None) -> bool:
    """Whether the uptime fell, other than by its own wrap after 497 days (RFC 2578)."""
    if before_s is None or now_s is None or now_s >= before_s:
        return False
    return before_s < _UPTIME_WRAP_S - _WRAP_MARGIN_S


_UPTIME_WRAP_S = COUNTER32 / 100
_WRAP_MARGIN_S = 86_400.0
"""Uptimes lower than the wrap by more than this did not wrap between two sweeps."""


def _added(before: int, now: int, *, restarted: bool) -> int:
    if restarted:
        return now
    if now >= before:
        return now - before
    return now - before + COUNTER32 if before >= _WRAP_FROM else now
