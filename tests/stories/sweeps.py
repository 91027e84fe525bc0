"""Stories of a year of sweeps: states, messages, outages, availability, counted a second time.

The first account is the product's: `session.sweep.loop` with `rules.health`. The second one is made
here, from what was wrong in the network when, and shares nothing with the first but the figures
that the documents promise.
"""

from __future__ import annotations

import datetime as dt
import functools
import itertools
import json
import random
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any, Literal

from tests.stories.bench import ENTRIES, PROFILES, SIMPLE
from verifier.errors import CannotMeasureError
from verifier.model.address import Interface, Mac
from verifier.model.health import HealthReading, Memory, Notice, StateChange, Sweep, SweepReport
from verifier.model.history import Outage, Spell, SubjectPast
from verifier.model.plan import Device, Maintenance, Network, Plan
from verifier.model.problem import Subject
from verifier.rules.health.follow import outages
from verifier.rules.health.states import readings
from verifier.rules.history.record import availability
from verifier.session import Probing, Request, run
from verifier.session.signals import Signals
from verifier.session.sweep.deliver import DeliveryError
from verifier.session.sweep.loop import Settings, SweepLoop
from verifier.session.sweep.process import Measured
from verifier.session.world import Clocks, World
from verifier.simulator.memory import DeviceSettings, MemoryCable, MemoryDevice, MemoryWorld
from verifier.store.store import UndeliveredMessage

YEAR_S = 365 * 86_400.0
Wrong = Literal["nothing", "off", "renamed", "mute"]
"""What is wrong with a device: its supply is off, it has another name, its agent is silent."""
UPLINK = {"harbour": None, "mill": "harbour", "quarry": "mill"}
"""Each device's traffic passes the one before it."""
Network_ = tuple[tuple[Wrong, ...], bool]
"""What is wrong with each device, and whether the desk itself is on the network."""


def _plan(windows: Iterable[Maintenance] = ()) -> Plan:
    devices = tuple(
        Device(
            name=name,
            address=Interface.parse(f"198.18.20.{10 + n}/24"),
            profile=SIMPLE.id,
            snmp="field",
            uplink=(up,) if up is not None else (),
        )
        for n, (name, up) in enumerate(UPLINK.items())
    )
    return Plan(network=Network(name="Coast"), devices=devices, maintenance=tuple(windows))


def _request(plan: Plan) -> Request:
    return Request(
        command="sweep", plan=plan, plan_sha256="0", stage="service", devices=plan.devices,
        profiles=PROFILES, credentials=ENTRIES, probing=Probing(echoes=2, snmp_retries=0),
    )  # fmt: skip


@functools.cache
def seen(network: Network_) -> tuple[HealthReading, ...]:
    """What a whole sweep sees of a network, by the real session in memory."""
    plan, (wrong, on) = _plan(), network
    cable = MemoryCable()
    for n, (device, what) in enumerate(zip(plan.devices, wrong, strict=True)):
        name = "other" if what == "renamed" else device.name
        made = MemoryDevice(
            hardware=device,
            profile=SIMPLE,
            factory=DeviceSettings(address=device.address),
            entries=() if what == "mute" else tuple(ENTRIES.values()),
            mac=Mac(f"02:00:5e:00:53:{n:02x}"),
            boot_s=1.0,
            settings=DeviceSettings(address=device.address, name=name),
        )
        made.powered = not _cut(wrong, device.name)
        cable.devices.append(made)
    cable.carrier = on
    with MemoryWorld(cable, [Interface.parse("198.18.20.200/24")]) as world:
        result = run(_request(plan), world).result
    found = result.findings, result.causes, result.observations
    return readings(plan, plan.devices, *found)


def _cut(wrong: Sequence[Wrong], name: str) -> bool:
    """Whether a device is off, or one that its traffic passes."""
    names = list(UPLINK)
    return any(what == "off" for what in wrong[: names.index(name) + 1])


# -- the desk -------------------------------------------------------------------------------------


@dataclass
class MemoryStore:
    """Keeps what a desk gives it, as `store.store.Store` does."""

    sweeps: list[Sweep] = field(default_factory=list)
    kept: dict[Subject, Memory] = field(default_factory=dict)
    changes: list[StateChange] = field(default_factory=list)
    notices: list[tuple[Notice, int]] = field(default_factory=list)
    outbox: list[UndeliveredMessage] = field(default_factory=list)
    delivered_ids: list[int] = field(default_factory=list)

    def memories(self) -> dict[Subject, Memory]:
        """What is remembered."""
        return dict(self.kept)

    def counters(self) -> dict[Any, Any]:
        """No port is planned."""
        return {}

    def save(
        self, sweep: Sweep, memories: Iterable[Memory], changes: Iterable[StateChange],
        notices: Iterable[Notice], **more: Any,
    ) -> int:  # fmt: skip
        """Keeps a sweep."""
        self.sweeps.append(sweep)
        self.kept |= {m.subject: m for m in memories}
        self.changes += changes
        for notice in notices:
            self.notices.append((notice, len(self.sweeps) - 1))
            if more["deliveries"]:
                body = json.loads(json.dumps(asdict(notice)))
                self.outbox.append(UndeliveredMessage(len(self.notices), body, 0, 0.0))
        return len(self.sweeps)

    def waiting(self, name: str) -> list[UndeliveredMessage]:
        """What is still to be delivered, oldest first."""
        del name
        return list(self.outbox)

    def delivered(self, name: str, message: int, at_s: float) -> None:
        """A message left."""
        del name, at_s
        self.outbox = [m for m in self.outbox if m.id != message]

    def not_delivered(self, name: str, message: int, fault: str, next_s: float) -> None:
        """A message waits on."""
        del name, fault
        self.outbox = [
            replace(m, attempts=m.attempts + 1, next_s=next_s) if m.id == message else m
            for m in self.outbox
        ]


@dataclass
class Receiver:
    """Whom the desk tells; now and then nobody is there."""

    chance: random.Random
    got: list[str] = field(default_factory=list)
    name: str = "receiver"

    def deliver(self, message: UndeliveredMessage) -> None:
        """Takes a message, or does not."""
        if self.chance.random() < 0.2:
            raise DeliveryError("nobody is there")
        self.got.append(str(message.body["id"]))

    def forget(self, message: UndeliveredMessage) -> None:
        """Nothing is kept."""


@dataclass
class Stop:
    """Whether the desk is to end; see `session.signals.Signals`."""

    stop: bool = False
    reload: bool = False

    def wait(self, clocks: Clocks, timeout_s: float, *others: Any) -> tuple[Any, ...]:
        """Time goes by."""
        del others
        clocks.pause(timeout_s)
        return ()


@dataclass
class Desk:
    """A year at the desk: what is wrong when, and what the desk makes of it."""

    chance: random.Random
    world: MemoryWorld
    store: MemoryStore
    every_s: float
    windows: tuple[Maintenance, ...]
    wrong: list[Wrong] = field(default_factory=lambda: ["nothing"] * len(UPLINK))
    on: bool = True
    truth: list[Network_] = field(default_factory=list)
    receiver: Receiver = field(init=False)

    def __post_init__(self) -> None:
        self.receiver = Receiver(self.chance)

    def measure(self, request: Request, world: World, signals: Signals) -> Measured | None:
        """One sweep; between it and the one before something may have happened."""
        del request, world, signals
        self._happens()
        took_s = self.chance.choice((2.0, 2.0, 2.0, 2.0, 2.0, 2.6 * self.every_s))
        self.world.clocks.pause(took_s)
        if self.chance.random() < 0.03:
            raise CannotMeasureError("the kernel's routes cannot be read")
        network = (tuple(self.wrong), self.on)
        self.truth.append(network)
        return Measured(seen(network), took_s)

    def _happens(self) -> None:
        for n in range(len(self.wrong)):
            if self.chance.random() < 0.25:
                self.wrong[n] = self.chance.choice(("nothing", "nothing", "off", "renamed", "mute"))
        if self.chance.random() < 0.05:
            self.on = not self.on
        self.on = self.on or self.chance.random() < 0.5

    def works(self) -> None:
        """The year; the desk is started anew now and then."""
        plan = _plan(self.windows)
        request = _request(plan)
        clocks = self.world.clocks
        while (left_s := YEAR_S - clocks.monotonic_s()) > self.every_s:
            signals = Stop()
            until_s = clocks.monotonic_s() + left_s * self.chance.choice((0.3, 1.0, 1.0))

            def show(done: SweepReport, signals: Stop = signals, until_s: float = until_s) -> None:
                del done
                signals.stop = clocks.monotonic_s() + self.every_s > until_s

            settings = Settings(deliveries=(self.receiver,))
            desk = SweepLoop(
                self.store,  # type: ignore[arg-type]
                settings,
                lambda _: None,
                self.world,
                self.measure,
            )
            desk.every(self.every_s, request, lambda: request, show, signals)  # type: ignore[arg-type]
            clocks.pause(self.chance.choice((60.0, 0.5 * self.every_s, 5.0 * self.every_s)))


def year(chance: random.Random) -> None:
    """A year of sweeps; raises AssertionError where the two accounts differ."""
    with MemoryWorld(MemoryCable(), chance=chance) as world:
        store, every_s = MemoryStore(), YEAR_S / chance.randint(10, 60)
        start = world.clocks.now()
        windows: tuple[Maintenance, ...] = ()
        if chance.random() < 0.4:
            begin = start + dt.timedelta(days=chance.uniform(0, 300))
            end = begin + dt.timedelta(days=chance.uniform(1, 60))
            windows = (Maintenance(name="works", start=begin, to=end),)
        desk = Desk(chance, world, store, every_s, windows)
        desk.works()
        Account(desk, world.clocks.now().timestamp()).compare()


# -- the second account ---------------------------------------------------------------------------

LETTERS = {"sound": "o", "impaired": "i", "silent": "s", "untested": "u"}
WORDS = {letter: state for state, letter in LETTERS.items()} | {"y": "unsteady"}


@dataclass
class Account:
    """What a person counts with pencil and paper."""

    desk: Desk
    end_s: float

    def compare(self) -> None:
        """Every figure of both accounts."""
        store = self.desk.store
        times = [s.started_s for s in store.sweeps]
        assert len(times) == len(self.desk.truth)
        said: dict[int, int] = {}
        for n, name in enumerate(UPLINK):
            subject = Subject("device", name)
            looks = "".join(self._look(n, network) for network in self.desk.truth)
            self._states(subject, looks, times)
            for at in self._told(subject, looks, times):
                said[at] = said.get(at, 0) + 1
            self._outages(subject, looks, times)
        counted: dict[int, int] = {}
        for notice, at in store.notices:
            counted[at] = counted.get(at, 0) + len(notice.changes)
        assert counted == said, (counted, said)
        for _, group in itertools.groupby(store.notices, key=lambda pair: pair[1]):
            roots = [notice.root for notice, _ in group]
            assert len(roots) == len(set(roots)), "two messages of one root"
        ids = [notice.id for notice, _ in store.notices]
        waits = [str(m.body["id"]) for m in store.outbox]
        assert self.desk.receiver.got + waits == ids, "a message told twice, late or never"

    @staticmethod
    def _look(n: int, network: Network_) -> str:
        """A letter for what one sweep can see of a device."""
        wrong, on = network
        if not on:
            return "u"
        if "off" in wrong[: n + 1]:
            return "s"
        return "o" if wrong[n] == "nothing" else "i"

    def _states(self, subject: Subject, looks: str, times: Sequence[float]) -> None:
        seen_states = [
            LETTERS[r.state] for s in self.desk.store.sweeps for r in s.readings
            if r.subject == subject
        ]  # fmt: skip
        assert "".join(seen_states) == looks, (subject, "".join(seen_states), looks)
        counted = [
            (times.index(c.confirmed_s), c.after, times.index(c.at_s))
            for c in self.desk.store.changes if c.subject == subject
        ]  # fmt: skip
        mine = [(at, WORDS[after], since) for at, after, since in steps(looks)]
        assert counted == mine, (subject, looks, counted, mine)

    def _told(self, subject: Subject, looks: str, times: Sequence[float]) -> list[int]:
        """Sweeps after which somebody hears of a device: it stands otherwise than told last."""
        course = steps(looks)
        told, stands, heard = [], "u", "u"
        for at in range(len(looks)):
            for when, after, _ in course:
                if when == at:
                    stands = after
                    heard = after if at == 0 and after in "ou" else heard
            if stands != heard and not self._window(times[at]):
                told.append(at)
                heard = stands
        assert self.desk.store.kept[subject].state == WORDS[stands]
        return told

    def _window(self, at_s: float) -> bool:
        return any(w.start.timestamp() <= at_s < w.to.timestamp() for w in self.desk.windows)

    def _spans(self) -> list[float]:
        """For how long each sweep speaks: until the next, but not for longer than it may."""
        sweeps = self.desk.store.sweeps
        nexts = [s.started_s for s in sweeps[1:]] + [self.end_s]
        return [min(n - s.started_s, s.valid_s) for s, n in zip(sweeps, nexts, strict=True)]

    def _outages(self, subject: Subject, looks: str, times: Sequence[float]) -> None:
        spans = self._spans()
        down_s = sum(span for look, span in zip(looks, spans, strict=True) if look == "s")
        up_s = sum(span for look, span in zip(looks, spans, strict=True) if look in "oi")
        past = self._past(subject, times, spans)
        found = outages(past, times[0], self.end_s)
        mine = [
            (times[m.start()], sum(spans[n] for n in range(*m.span()) if looks[n] == "s"))
            for m in re.finditer("s[su]*", looks)
        ]
        assert len(found) == len(mine), (looks, found)
        begins = zip(map(_start, found), mine, strict=True)
        assert all(abs(told - at) <= 1.0 for told, (at, _) in begins), (looks, found)
        assert all(abs(o.length_s - s) < 1e-3 for o, (_, s) in zip(found, mine, strict=True))
        assert abs(sum(o.length_s for o in found) - down_s) < 1e-3
        figures = availability(past.answered_s, past.unanswered_s, self.end_s - times[0])
        if up_s + down_s == 0:
            assert figures.available_pct is None
        else:
            assert figures.available_pct is not None
            assert abs(figures.available_pct - 100 * up_s / (up_s + down_s)) < 1e-9
            assert (figures.available_pct == 100.0) == (down_s == 0)

    def _past(
        self, subject: Subject, times: Sequence[float], spans: Sequence[float]
    ) -> SubjectPast:
        """What a store would give: each sweep's answer as the sweep has it."""
        answers = [
            r.answered for s in self.desk.store.sweeps for r in s.readings if r.subject == subject
        ]
        spells = [Spell(t, s, a) for t, s, a in zip(times, spans, answers, strict=True)]
        sums: Mapping[bool | None, float] = {
            a: sum(s.for_s for s in spells if s.answered is a) for a in (True, False, None)
        }
        return SubjectPast(
            subject=subject, first_s=times[0], time_s={}, answered_s=sums[True],
            unanswered_s=sums[False], raw_s=times[0], spells=tuple(spells), levels={},
            level_hours={}, errors={}, changes=(),
        )  # fmt: skip


def _start(outage: Outage) -> float:
    return dt.datetime.fromisoformat(outage.start).timestamp()


def steps(looks: str) -> list[tuple[int, str, int]]:
    """Changes that count, with pencil and paper: sweep, new state, sweep that saw it first.

    Two looks alike make a state. Of twelve looks, four changes (what could not be looked at left
    out) make a device unsteady, until six looks in a row are alike.
    """
    found, stands = [], "u"
    if looks and looks[0] in "ou":
        found, stands = [(0, looks[0], 0)], looks[0]
    for at in range(1 if found else 0, len(looks)):
        window = looks[max(0, at - 11) : at + 1]
        run_ = len(looks[: at + 1]) - len(looks[: at + 1].rstrip(looks[at]))
        if stands == "y":
            if run_ >= 6:
                found.append((at, looks[at], at))
                stands = looks[at]
            continue
        flips = len(list(itertools.groupby(window.replace("u", "")))) - 1
        if flips >= 4:
            found.append((at, "y", at))
            stands = "y"
        elif looks[at] != stands and run_ >= 2:
            since = at - run_ + 1
            found.append((at, looks[at], since))
            stands = looks[at]
    return found
