"""Whom the echoes of a soak go to, how often; and blocks of echoes and samples, one a minute."""

from __future__ import annotations

import datetime as dt
import queue
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from verifier.model.address import Address
from verifier.model.laptop import Route
from verifier.model.plan import Device, Plan
from verifier.model.problem import Subject
from verifier.model.samples import Block, BlockSubject, Sample
from verifier.probes.echo.exchange import EchoTarget
from verifier.probes.echo.mtu import SMALL_BYTES
from verifier.probes.echo.watch import Unheard, Watched
from verifier.rules.compare.soak.traffic import pair_hosts
from verifier.rules.soak.tally import NOT_COUNTED
from verifier.session.recorder import Clock, timestamp
from verifier.session.request import DEFAULT_PACKETS_PER_S
from verifier.session.world import EchoAccess

LARGE_BYTES: Final = 1500
"""Size of the large echoes where the plan names none: a full Ethernet frame (RFC 894)."""
_SHARE: Final = 0.8
"""Part of the packet limit that echoes may take; the rest is left to SNMP."""

Routes = Callable[[Sequence[Address]], Mapping[Address, Route | None]]


@dataclass(frozen=True, slots=True, kw_only=True)
class GridTarget:
    """What a row of the grid is about: whom its echoes go to, and what they judge."""

    subject: Subject
    path: Literal["management", "traffic"]
    bytes: int
    interface: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class EchoGrid:
    """Rows, and how each is measured.

    Attributes:
        step_s: time between two echoes of a row.
        loopback: whether nothing leaves this machine.
        fault: why an address family is left out, or empty.
    """

    rows: tuple[GridTarget, ...] = ()
    watched: tuple[Watched, ...] = ()
    step_s: float = 1.0
    loopback: bool = False
    fault: str = ""


def grid(
    plan: Plan,
    devices: Sequence[Device],
    routes: Routes,
    echoes: EchoAccess,
    limit_per_s: float | None,
) -> EchoGrid:
    """The rows of each device and of each host of a traffic pair, in two sizes.

    Args:
        plan: its limits, its traffic pairs, and the hosts they name.
        devices: the devices.
        routes: this machine's choice for addresses.
        echoes: sends them.
        limit_per_s: packet limit that was given; None: the default, from which loopback is exempt.
    """
    whom = {Subject("device", d.name): d.address.address for d in devices}
    hosts = pair_hosts(plan)
    whom |= {Subject("host", name): a for name, a in hosts.items() if a is not None}
    found = routes(list(whom.values()))
    missing = _missing_families(whom.values(), echoes)
    sizes = dict.fromkeys((SMALL_BYTES, large_bytes(plan)))
    rows, watched = [], []
    for subject, address in whom.items():
        if address.version in missing:
            continue
        route = found.get(address)
        for size in sizes:
            interface = route.interface if route is not None else None
            path: Literal["management", "traffic"] = (
                "management" if subject.kind == "device" else "traffic"
            )
            rows.append(GridTarget(subject=subject, path=path, bytes=size, interface=interface))
            target = EchoTarget(address=address)
            watched.append(Watched(target=target, packet_bytes=size, interface=interface))
    loopback = all(w.target.address.is_loopback for w in watched)
    return EchoGrid(
        rows=tuple(rows),
        watched=tuple(watched),
        step_s=_step_s(plan, len(rows), limit_per_s, loopback=loopback),
        loopback=loopback,
        fault="; ".join(missing.values()),
    )


def large_bytes(plan: Plan) -> int:
    """Size of the larger echoes: the planned one, that of a full Ethernet frame without a plan."""
    return max(SMALL_BYTES, plan.acceptance.mtu_bytes or LARGE_BYTES)


def _missing_families(addresses: Iterable[Address], echoes: EchoAccess) -> dict[int, str]:
    """Address families whose echoes this machine cannot send, and why.

    One family without permission must not keep the other from being measured.
    """
    why = {version: echoes.missing(version) for version in sorted({a.version for a in addresses})}
    return {version: words for version, words in why.items() if words}


def _step_s(plan: Plan, rows: int, limit_per_s: float | None, *, loopback: bool) -> float:
    """The plan's, or longer where the packet limit is met."""
    step_s = 1.0 / (plan.acceptance.echo_per_s or 1.0)
    if limit_per_s is None and loopback:
        return step_s
    return max(step_s, round(rows / (_SHARE * (limit_per_s or DEFAULT_PACKETS_PER_S)), 3))


BLOCK_S: Final = 60.0
_MARGIN_S: Final = 0.5
"""How late an echo may leave and still be in its block when that is handed over."""
_STEP_S: Final = 1.0
"""A clock that is off by more than this since the last look was set, not slewed."""
_LOOK_S: Final = 1.0


def subject_value(subject: Subject) -> BlockSubject:
    """A subject as a block has it."""
    return {"kind": "host" if subject.kind == "host" else "device", "name": subject.name}


class _Part:
    """A row's places of the block in the making."""

    def __init__(self, places: int) -> None:
        self.rtt_us: list[int | None] = [NOT_COUNTED] * places
        self.extra = {"duplicates": 0, "reordered": 0}
        self.silence: Counter[str] = Counter()


class EchoBlocks:
    """Takes echoes from the thread that measures and puts finished blocks into a queue.

    Args:
        rows: what the grid's rows are about.
        step_s, timeout_s: of the grid.
        ready: takes the blocks.
        clock: the time of day, for their `at`, and to see it set.
        block_s: length of a block.
    """

    def __init__(  # noqa: PLR0913, PLR0917
        self,
        rows: Sequence[GridTarget],
        step_s: float,
        timeout_s: float,
        ready: queue.SimpleQueue[Block],
        clock: Clock,
        block_s: float = BLOCK_S,
    ) -> None:
        self._rows, self._step_s = rows, step_s
        self._late_s = step_s + timeout_s + _MARGIN_S
        self._places = max(1, round(block_s / step_s))
        self._ready, self._clock = ready, clock
        self._parts: dict[int, dict[int, _Part]] = {}
        self._offset_s: float | None = None
        self._looked_s = -_LOOK_S
        self._handed = 0
        self.now_s = 0.0
        self.sent = self.lost = 0

    def heard(self, index: int, slot: int, rtt_us: int) -> None:
        """See `icmp_watch.Sink`."""
        part, place = self._at(index, slot)
        if part is not None:
            part.rtt_us[place] = rtt_us
            self.sent += 1

    def unheard(self, index: int, slot: int, what: Unheard, why: str) -> None:
        """See `icmp_watch.Sink`."""
        part, place = self._at(index, slot)
        if part is None:
            return
        part.silence[why] += 1
        if what == "lost":
            part.rtt_us[place] = None
            self.sent += 1
            self.lost += 1

    def again(self, index: int, what: Literal["duplicates", "reordered"]) -> None:
        """See `icmp_watch.Sink`; it goes into the block in the making."""
        part, _ = self._at(index, int(self.now_s / self._step_s))
        if part is not None:
            part.extra[what] += 1

    def gap(self, start_s: float, end_s: float, interface: str | None) -> None:
        """See `icmp_watch.Sink`."""
        targets = {r.subject.name: None for r in self._rows if interface in (None, r.interface)}
        what = "this program was stopped, or this laptop slept"
        if interface is not None:
            what = f"this laptop's interface {interface} was down"
        self._ready.put({
            "kind": "gap",
            "at": self._at_time(end_s - start_s),
            "start_s": round(start_s, 3),
            "end_s": round(end_s, 3),
            "why": "stopped" if interface is None else "interface",
            "text": what,
            "targets": list(targets),
        })  # fmt: skip

    def tick(self, now_s: float) -> None:
        """See `icmp_watch.Sink`."""
        self.now_s = now_s
        if now_s >= self._looked_s + _LOOK_S:
            self._looked_s = now_s
            self._look_at_clock()
        while now_s > (self._handed + 1) * self._places * self._step_s + self._late_s:
            self._hand_over(self._places)

    def finish(self) -> None:
        """Hands over what is begun; no echo may come any more."""
        passed = int(self.now_s / self._step_s)
        while self._parts:
            left = passed + 1 - self._handed * self._places
            self._hand_over(max(1, min(self._places, left)))

    def _at(self, index: int, slot: int) -> tuple[_Part | None, int]:
        number, place = divmod(slot, self._places)
        if number < self._handed:
            return None, place
        block = self._parts.setdefault(number, {})
        if index not in block:
            block[index] = _Part(self._places)
        return block[index], place

    def _hand_over(self, places: int) -> None:
        start_s = self._handed * self._places * self._step_s
        for index, part in sorted(self._parts.pop(self._handed, {}).items()):
            row = self._rows[index]
            rtt_us = part.rtt_us[:places]
            while places < self._places and rtt_us and rtt_us[-1] == NOT_COUNTED:
                rtt_us.pop()
            self._ready.put({
                "kind": "echo",
                "subject": subject_value(row.subject),
                "path": row.path,
                "bytes": row.bytes,
                "at": self._at_time(self.now_s - start_s),
                "start_s": round(start_s, 3),
                "step_s": self._step_s,
                "rtt_us": rtt_us,
                "silence": dict(part.silence),
                "duplicates": part.extra["duplicates"],
                "reordered": part.extra["reordered"],
            })  # fmt: skip
        self._handed += 1

    def _at_time(self, ago_s: float) -> str:
        return timestamp(self._clock() - dt.timedelta(seconds=ago_s))

    def _look_at_clock(self) -> None:
        """The time of day against the clock that nobody sets."""
        offset_s = self._clock().timestamp() - self.now_s
        if self._offset_s is not None and abs(offset_s - self._offset_s) > _STEP_S:
            self._ready.put({
                "kind": "clock",
                "at": self._at_time(0.0),
                "at_s": round(self.now_s, 3),
                "stepped_s": round(offset_s - self._offset_s, 3),
            })  # fmt: skip
        self._offset_s = offset_s


class ValueBlocks:
    """Collects the samples of one device and hands over a block a minute."""

    def __init__(
        self,
        subject: Subject,
        put: Callable[[Block], None],
        clock: Clock,
        block_s: float = BLOCK_S,
    ) -> None:
        self._subject, self._put, self._clock = subject, put, clock
        self._block_s = block_s
        self._t_s: list[float] = []
        self._rows: list[Mapping[str, Sample]] = []
        self.speeds: dict[str, float] = {}

    def add(self, at_s: float, row: Mapping[str, Sample]) -> None:
        """Takes a sample."""
        if self._t_s and int(at_s / self._block_s) != int(self._t_s[0] / self._block_s):
            self.hand_over(at_s)
        self._t_s.append(round(at_s, 3))
        self._rows.append(row)

    def hand_over(self, now_s: float) -> None:
        """Hands over what is begun."""
        if not self._t_s:
            return
        names = dict.fromkeys(name for row in self._rows for name in row)
        ago = dt.timedelta(seconds=now_s - self._t_s[0])
        self._put({
            "kind": "values",
            "subject": subject_value(self._subject),
            "at": timestamp(self._clock() - ago),
            "t_s": self._t_s,
            "series": {name: _short([row.get(name) for row in self._rows]) for name in names},
            "speeds": dict(self.speeds),
        })  # fmt: skip
        self._t_s, self._rows = [], []


def _short(values: list[Sample]) -> list[Sample]:
    """One value stands for all where they are equal: most counters stand still."""
    first = values[0]
    same = all(v is first or (v == first and type(v) is type(first)) for v in values)
    return values[:1] if same else values
