"""Stories of the guide: a person with a laptop and a cable goes through a runbook, and errs."""

from __future__ import annotations

import json
import random
import tempfile
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from tests.stories.bench import (
    BOOT_S,
    ENTRIES,
    PROFILES,
    Bench,
    clone,
    drawn,
    masked,
    slipped,
)
from verifier.errors import CannotMeasureError
from verifier.files.journals.guide import FORMAT, Story, read_story
from verifier.model.address import Address, Interface
from verifier.model.runbook import Assessment, Confirm, Connect, Runbook, SetDevice, SetLaptop
from verifier.rules.guide.before import change_of
from verifier.rules.readdress import readdress
from verifier.rules.readdress.request import Wish, task
from verifier.rules.readdress.world import Task
from verifier.session.guide.look import DeviceObserver, Guiding, Move, moves
from verifier.session.guide.run import Guide
from verifier.session.guide.wait import Waiter
from verifier.session.laptop import LaptopAddresses
from verifier.simulator.memory import DeviceSettings, MemoryCable, MemoryDevice, MemoryWorld

SETTLED_S = 8.0
"""What has stood so for this long has settled: looks take at most some 3 s."""
PATIENCE = 7
"""Questions after which the person does everything right, and then gives up."""


class Killed(BaseException):
    """The program is killed: nothing of it runs any more."""


class MemoryJournal:
    """Keeps lines as `GuideJournal` writes them."""

    def __init__(self) -> None:
        self.lines: list[str] = []

    def add(self, record: str, **fields: Any) -> None:
        """Adds a line."""
        self.lines.append(json.dumps({"record": record, **fields}) + "\n")

    def story(self) -> Story | None:
        """What they tell to whoever resumes."""
        with tempfile.NamedTemporaryFile("w", suffix=".jsonl") as file:
            file.write("".join(self.lines))
            file.flush()
            return read_story(Path(file.name))


@dataclass
class Signals:
    """No signal comes."""

    first: int | None = None

    def fileno(self) -> int:
        """Never readable."""
        return -1


@dataclass
class Person:
    """Whom the guide leads; see `session.guide.wait.Console`. Also the judge of what it says."""

    chance: random.Random
    bench: Bench
    world: MemoryWorld
    plugged: MemoryCable
    runbook: Runbook
    moves: Mapping[int, Move]
    auto: bool
    hands: bool
    errs: float
    log: list[str] = field(default_factory=list)
    at: Connect | SetLaptop | SetDevice | Confirm | None = None
    asked: int = 0
    begun: set[int] = field(default_factory=set)
    changed_s: float = -100.0

    # -- the console ------------------------------------------------------------------------------

    def step(self, number: int, *, again: bool = False) -> None:
        """A step is shown."""
        self.at = next(s for s in self.runbook.steps if s.n == number)
        self.log.append(f"{self._now_s():.1f} step {self.at}")
        if self.auto and not again and not isinstance(self.at, SetDevice):
            self._soon(self.at)

    def _soon(self, step: Connect | SetLaptop | SetDevice | Confirm) -> None:
        at_s = self._now_s() + self.chance.uniform(0.5, 5.0)
        self.world.clocks.call_at(at_s, lambda: self._do(step, right=False))

    def say(self, words: str) -> None:
        """Something is said."""
        self.log.append(f"{self._now_s():.1f} said {words}")

    def watch(self, words: str, gone_s: float, of_s: float) -> None:
        """A second goes by; something may happen."""
        del words, gone_s, of_s
        if self.chance.random() < 0.02 * self.errs:
            self._accident()

    def ask(self, question: str) -> str | None:
        """The person does what the step says, or something else, and presses Enter."""
        self.asked += 1
        self.log.append(f"{self._now_s():.1f} asked {question}")
        if isinstance(self.at, SetDevice) and question.startswith("make this change"):
            self._judge_request(self.at)
        self.world.clocks.pause(self.chance.uniform(0.5, 20.0))
        ends = self.chance.random()
        if ends < 0.02 * self.errs:
            return None
        if ends < 0.05 * self.errs or self.asked > PATIENCE + 6:
            return "q"
        if ends < 0.08 * self.errs:
            self.world.laptop.killed = True
            raise Killed
        if self.chance.random() < 0.05 * self.errs:
            self._accident()
        self._do(self.at, right=self.asked > PATIENCE)
        return ""

    def tell(self, meaning: Assessment) -> None:
        """What a look means: it must be so."""
        self.log.append(f"{self._now_s():.1f} told {meaning.kind} {meaning.seen}")
        if isinstance(self.at, SetDevice) and self.at.n not in self.begun:
            self._judge_before(self.at, meaning)
            if meaning.ok:
                self.begun.add(self.at.n)
                if self.auto and meaning.kind == "ready":
                    self._soon(self.at)
        elif isinstance(self.at, Confirm):
            self._judge_after(self.at, meaning)

    # -- what the person does ---------------------------------------------------------------------

    def _now_s(self) -> float:
        return self.world.clocks.monotonic_s()

    def _did(self, words: str) -> None:
        self.changed_s = self._now_s()
        self.log.append(f"{self.changed_s:.1f}   {words}")

    def _do(self, step: Connect | SetLaptop | SetDevice | Confirm | None, *, right: bool) -> None:
        """What a step asks for; not always rightly."""
        errs = not right and self.chance.random() < 0.3 * self.errs
        if right:
            self.plugged.carrier = True
        if isinstance(step, Connect):
            self._connect(step, errs=errs)
        elif isinstance(step, SetLaptop) and not self.hands:
            self._set_laptop(step, errs=errs)
        elif isinstance(step, SetDevice):
            self._set_device(step, errs=errs)
        elif isinstance(step, Confirm) and not self.auto:
            self.plugged.carrier = True
            self._set_device(change_of(self.runbook.steps, step), errs=errs)

    def _connect(self, step: Connect, *, errs: bool) -> None:
        names = [step.device] if step.device is not None else list(self.bench.devices)
        if errs:
            names = self.chance.choice(([], self.chance.sample(list(self.bench.devices), 1)))
        self.plugged.devices = [self.bench.devices[n] for n in names]
        self.plugged.carrier = bool(names)
        self._did(f"plugs in {names}")

    def _set_laptop(self, step: SetLaptop, *, errs: bool) -> None:
        wanted = list(step.addresses)
        if errs and wanted:
            wanted[0] = self.chance.choice((slipped, masked))(self.chance, wanted[0])
        self.world.laptop.addresses = wanted
        self._did(f"sets the laptop {list(map(str, wanted))}")

    def _set_device(self, step: SetDevice, *, errs: bool) -> None:
        made = self.bench.devices[step.device]
        settings = DeviceSettings(address=step.to, gateway=step.gateway, name=step.device)
        save = True
        if errs:
            made, settings, save = self._wrongly(step, made, settings)
        if made not in self.plugged.devices:
            return
        made.set(settings)
        if save:
            made.save()
        self._did(f"sets {made.hardware.name} {settings} saved {save}")

    def _wrongly(
        self, step: SetDevice, made: MemoryDevice, settings: DeviceSettings
    ) -> tuple[MemoryDevice, DeviceSettings, bool]:
        kind = self.chance.choice((
            "octet", "mask", "gateway", "name", "unsaved", "other", "second", "nothing", "restart",
            "factory", "twin",
        ))  # fmt: skip
        self.log.append(f"    errs: {kind}")
        if kind == "octet":
            settings = replace(settings, address=slipped(self.chance, step.to))
        elif kind == "mask":
            settings = replace(settings, address=masked(self.chance, step.to))
        elif kind == "gateway":
            other = slipped(self.chance, step.to).address
            settings = replace(settings, gateway=None if step.gateway is not None else other)
        elif kind == "name":
            settings = replace(settings, name="")
        elif kind == "other":
            made = self.chance.choice(self.plugged.devices or [made])
            settings = replace(settings, name=made.running.name)
        elif kind == "second" and made.running.address.address != step.to.address:
            settings = replace(settings, second=made.running.address)
        elif kind in {"nothing", "factory"}:
            settings = made.running if kind == "nothing" else made.factory
        elif kind == "twin" and not self.bench.strangers:
            made.set(settings)
            self._plug_in_twin(made)
        elif kind == "restart":
            made.set(settings)
            self._restart(made)
            return made, made.running, False
        return made, settings, kind != "unsaved"

    def _accident(self) -> None:
        """Something happens by itself."""
        kind = self.chance.choice(("restart", "pull", "clone", "slow"))
        made = self.chance.choice(list(self.bench.devices.values()))
        if kind == "restart":
            self._restart(made)
        elif kind == "slow":
            made.boot_s = 20.0
            self._restart(made)
        elif kind == "pull":
            self.plugged.carrier = False
            self.world.clocks.call_at(
                self._now_s() + self.chance.uniform(2.0, 20.0), self._plug_in_again
            )
            self._did("pulls the cable")
        elif self.plugged.devices and not self.bench.strangers:
            self._plug_in_twin(self.chance.choice(self.plugged.devices))

    def _plug_in_twin(self, of: MemoryDevice) -> None:
        """Another device that was set alike."""
        twin = clone(of, self.chance, 70)
        self.bench.strangers.append(twin)
        self.plugged.devices.append(twin)
        self._did(f"plugs in a twin {twin.running}")

    def _plug_in_again(self) -> None:
        self.plugged.carrier = True
        self._did("plugs the cable in")

    def _restart(self, made: MemoryDevice) -> None:
        now_s = self._now_s()
        made.power(now_s, on=False)
        made.power(now_s + 2.0, on=True)
        self._did(f"restarts {made.hardware.name}: {made.running}")

    # -- whether it is so -------------------------------------------------------------------------

    def story(self, words: str) -> str:
        """A fault, and what led to it."""
        return "\n".join((words, *self.log[-40:]))

    def _there(self, address: Address) -> list[MemoryDevice]:
        return list(self.plugged.arp_responders(address, self._now_s()))

    def _still(self) -> bool:
        """Whether nothing has changed for long enough."""
        ups = [d.up_s for d in self.plugged.devices]
        return self._now_s() - max([self.changed_s, *ups]) >= SETTLED_S

    def _reaches(self, at: Interface) -> bool:
        own = self.world.laptop.addresses
        mine = [a for a in own if a.holds(at.address)]
        longest = max(mine, key=lambda a: a.prefix, default=None)
        return (
            self.plugged.carrier
            and longest is not None
            and at.holds(longest.address)
            and all(a.address != at.address for a in own)
        )

    def _judge_request(self, step: SetDevice) -> None:
        """A change that is asked for leads nowhere else: the laptop reaches where it goes."""
        steps = list(self.runbook.steps)
        later = steps[steps.index(step) :]
        confirm = next(s for s in later if isinstance(s, Confirm) and s.device == step.device)
        before = [s for s in steps[: steps.index(confirm)] if isinstance(s, SetLaptop)]
        held = before[-1].addresses if before else self.runbook.laptop_start
        assert any(a.holds(step.to.address) and step.to.holds(a.address) for a in held), self.story(
            f"{step} leaves the laptop's {held}"
        )
        assert all(a.address != step.to.address for a in held), self.story("the laptop's own")

    def _judge_before(self, step: SetDevice, meaning: Assessment) -> None:
        made, move = self.bench.devices[step.device], self.moves[step.n]
        at_old, at_new = self._there(move.old.address), self._there(move.new.address)
        if meaning.kind == "ready" and not meaning.notes and not self._moving():
            assert at_old, self.story("ready, where nobody is")
            if made not in at_old:
                assert not self._told_apart(at_old), self.story("ready, of another device")
            if not move.same:
                others = [d for d in at_new if d is not made]
                assert not others, self.story("ready, though the new address is another's")
        named = made.running.name in {"", step.device}
        alone = at_old == [made] and (move.same or not at_new)
        reached = self._reaches(made.running.address) and made.running.address == move.old
        if not meaning.ok and alone and named and reached and self._still():
            raise AssertionError(self.story(f"{meaning.kind}, though it is ready: {meaning}"))

    def _judge_after(self, step: Confirm, meaning: Assessment) -> None:
        if self._moving():
            return
        wrong = self._wrong(step, meaning)
        if meaning.ok:
            assert not wrong, self.story(f"OK, but {wrong}: {meaning}")
        elif not wrong and self._still() and self._reaches(self.moves[step.n].new):
            made, new = self.bench.devices[step.device], self.moves[step.n].new
            if made.running.name == step.device and self._there(new.address) == [made]:
                raise AssertionError(self.story(f"{meaning.kind}, but it is right: {meaning}"))

    def _moving(self) -> bool:
        """Whether something changed just now, amid a look."""
        ups = [d.up_s for d in self.plugged.devices if d.up_s <= self._now_s()]
        return self._now_s() - max([self.changed_s, *ups]) < 3.5

    def _wrong(self, step: Confirm, meaning: Assessment) -> str:
        """What is wrong with a device, of what was not said to be untested."""
        made, move = self.bench.devices[step.device], self.moves[step.n]
        at_new, untested = self._there(move.new.address), " ".join(meaning.not_tested)
        if not at_new:
            return "nobody is there"
        runs, gateway = at_new[0].running, move.new_gateway
        old = step.silent if not move.same else None
        seen = old is not None and (self.world.cable.permitted or self._route(old))
        another = made not in at_new and self._told_apart(at_new)
        faults = {
            "another is there": another and not meaning.notes,
            "two are there": len({d.mac for d in at_new}) > 1 and self.world.cable.permitted,
            "its mask is another": runs.address.prefix != move.new.prefix
            and "mask" not in untested,
            "its gateway is another": gateway is not None
            and runs.gateway != gateway
            and "gateway" not in untested,
            "somebody is at its old address": old is not None
            and seen
            and "is silent" not in untested
            and bool(self._there(old)),
        }
        return ", ".join(words for words, so in faults.items() if so)

    def _route(self, address: Address) -> bool:
        return any(a.holds(address) for a in self.world.laptop.addresses)

    def _told_apart(self, there: list[MemoryDevice]) -> bool:
        """Whether the plan tells those from its device."""
        for other in there:
            planned = other.hardware
            if planned.name not in self.bench.devices:
                continue
            if planned.mac is not None and self.world.cable.permitted and other.mac != planned.mac:
                return True
        names = {d.running.name for d in there}
        return bool(names - {"", self.at.device if self.at is not None else ""})  # type: ignore[union-attr]


def led(chance: random.Random) -> None:
    """One runbook, gone through in up to three runs of the guide."""
    bench = drawn(chance, most=chance.choice((1, 1, 2, 3)))
    wish = Wish(setting=chance.choice(("segment", "segment", "one-at-a-time")))
    asked = task(bench.plan, PROFILES, wish)
    runbook = readdress(bench.plan, asked)
    if not runbook.steps:
        return
    plugged = MemoryCable()
    if asked.setting == "segment":
        plugged.devices = bench.everything
    with MemoryWorld(plugged) as world:
        world.cable.permitted = chance.random() < 0.8
        for made in bench.devices.values():
            made.echoes_twice = chance.random() < 0.1
        person = Person(
            chance, bench, world, plugged, runbook, moves(runbook, asked.devices),
            auto=chance.random() < 0.3, hands=chance.random() < 0.5,
            errs=chance.choice((0.0, 1.0, 2.0)),
        )  # fmt: skip
        _several(person, asked)


def _several(person: Person, asked: Task) -> None:
    laptop, journal = person.world.laptop, MemoryJournal()
    if person.hands and person.chance.random() < 0.5:
        laptop.addresses = [Interface.parse("100.64.0.5/24")]
    start = list(laptop.addresses)
    for _ in range(3):
        if _once(person, asked, journal):
            break
    if person.hands:
        laptop.killed = False
        laptop.take_back_leftovers(person.say)
        left = [str(a) for a in laptop.addresses]
        assert laptop.addresses == start, person.story(f"the laptop still holds {left}")


def _once(person: Person, asked: Task, journal: MemoryJournal) -> bool:
    """One run of the guide; whether it is over for good."""
    world, bench = person.world, person.bench
    world.laptop.killed = False
    world.laptop.take_back_leftovers(person.say)
    story = journal.story() if journal.lines else None
    person.begun.clear()
    eyes = DeviceObserver(
        plan=replace(bench.plan, devices=tuple(u.device for u in asked.devices)),
        profiles=PROFILES,
        credentials=ENTRIES,
        world=world,
        remote=False,
        interface="eth0",
    )
    guiding = Guiding(
        runbook=person.runbook,
        moves=person.moves,
        boot_s=dict.fromkeys(bench.devices, BOOT_S),
        auto=person.auto,
        wait_s=10.0,
        start={"format": FORMAT, "asked": {}, "steps": []},
        story=story,
        find=lambda device, marks: None,
    )
    before = list(world.laptop.addresses)
    try:
        with ExitStack() as until:
            hands = None
            if person.hands:
                hands = until.enter_context(LaptopAddresses("eth0", person.say, world.laptop))
            waiter = Waiter(person, Signals(), world.clocks)
            made = Guide(guiding, eyes, hands, person, journal, waiter)  # type: ignore[arg-type]
            ending, _ = made.run()
    except Killed:
        return False
    except CannotMeasureError as fault:
        person.log.append(f"cannot: {fault}")
        ending = "failed"
    if person.hands:
        left = [str(a) for a in world.laptop.addresses]
        assert world.laptop.addresses == before, person.story(f"the laptop still holds {left}")
    return ending == "done" or person.asked > PATIENCE
