"""Small sweeps, made by hand."""

from __future__ import annotations

import itertools
from typing import Any

from verifier.model.health import (
    HealthReading,
    Memory,
    NewPortErrors,
    Notice,
    NoticeChange,
    PortErrors,
    Reason,
    ReceivedLevel,
    State,
    StateChange,
    Sweep,
)
from verifier.model.problem import Subject

RADIO = Subject("device", "lighthouse-quarry")
FAR = Subject("device", "quarry-lighthouse")
HOP = Subject("link", "Hop 1")
START_S = 1_795_500_000.0
"""2026-11-24 06:00:00 UTC: the start of an hour."""
_numbers = itertools.count()


def reading(subject: Subject = RADIO, state: State = "sound", **more: Any) -> HealthReading:
    more = {"root": subject, "answered": state not in {"silent", "untested"}, **more}
    return HealthReading(subject=subject, state=state, **more)


def full_reading() -> HealthReading:
    return reading(
        RADIO, "impaired", root=HOP, rtt_ms=1.25, loss_pct=20.0, uptime_s=77.5,
        reasons=(Reason("port.speed", "fail", "eth1: slower than planned"),),
        ports=(PortErrors("eth1", 12, 0), PortErrors("eth2", 0, 4_294_967_295)),
    )  # fmt: skip


def link_reading() -> HealthReading:
    return reading(HOP, levels=(ReceivedLevel(1, "a", -45.5), ReceivedLevel(1, "b", -46.25)))


def sweep(*readings: HealthReading, at_s: float = START_S, **more: Any) -> Sweep:
    return Sweep(
        key=f"made-{next(_numbers)}", started_s=at_s, took_s=1.5, valid_s=900.0,
        readings=readings or (reading(),), **more,
    )  # fmt: skip


def memory(subject: Subject = RADIO, state: State = "sound", **more: Any) -> Memory:
    more = {"since_s": START_S, "notified": state, "root": subject, **more}
    return Memory(subject=subject, state=state, **more)


def change(subject: Subject = RADIO, after: State = "silent", at_s: float = START_S) -> StateChange:
    return StateChange(
        subject=subject, before="sound", after=after, at_s=at_s, confirmed_s=at_s + 300.0, root=FAR,
        reason="echo.reply: none", held="mast work",
    )  # fmt: skip


def notice(id_: str = "n-1") -> Notice:
    told = NoticeChange(
        subject=RADIO, before="sound", after="silent", since="2026-11-24T06:00:00.000Z",
        reason="r", try_first="", held=None,
    )  # fmt: skip
    return Notice(
        id=id_, network="Harbour ring", at="2026-11-24T06:05:00.000Z", root=RADIO,
        changes=(told,), text="lighthouse-quarry is silent (was sound): Größe",
    )  # fmt: skip


def added(errors: int = 3) -> NewPortErrors:
    return NewPortErrors(RADIO, "eth1", errors, 1)
