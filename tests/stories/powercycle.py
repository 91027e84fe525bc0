"""Stories of `powercycle`: settings are saved or not, and a person switches the supply or not."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace

from tests.stories.bench import (
    BOOT_S,
    ENTRIES,
    FACTORY,
    PROFILES,
    Bench,
    beside,
    cable,
    clone,
    drawn,
    masked,
    slipped,
)
from verifier.errors import CannotMeasureError
from verifier.model.address import Interface
from verifier.model.plan import Device
from verifier.model.result import Result
from verifier.session import Probing, Request
from verifier.session.powercycle.run import powercycle
from verifier.session.request import Cycle
from verifier.simulator.memory import DeviceSettings, MemoryCable, MemoryDevice, MemoryWorld

WAIT_S = 4 * BOOT_S


def restarted(chance: random.Random) -> None:
    """One power cycle; raises AssertionError where it is told otherwise than it went."""
    bench = drawn(chance, most=2, factory=False)
    for device in bench.plan.devices:
        _set(chance, device, bench.devices[device.name])
    plugged = cable(bench)
    with MemoryWorld(plugged, _laptop(chance, bench)) as world:
        world.cable.permitted = chance.random() < 0.5
        person = Person(chance, bench, plugged, world)
        before = {name: d.running for name, d in bench.devices.items()}
        request = Request(
            command="verify",
            plan=bench.plan,
            plan_sha256="",
            stage=chance.choice(("bench", "handover")),
            devices=bench.plan.devices,
            profiles=PROFILES,
            credentials=ENTRIES,
            probing=Probing(echoes=2, snmp_retries=0),
        )
        waits = dict.fromkeys(bench.devices, WAIT_S)
        try:
            outcome = powercycle(Cycle(request=request, wait_s=waits, tell=person.told), world)
        except CannotMeasureError:
            return  # nobody was asked to switch anything
    judge(bench, person, before, outcome.result)


def _set(chance: random.Random, device: Device, made: MemoryDevice) -> None:
    """What runs in a device, and what of that was saved."""
    right = DeviceSettings(address=device.address, gateway=device.gateway, name=device.name)
    made.running = right if chance.random() < 0.8 else replace(right, name="other")
    made.saved = chance.choice((
        made.running, made.running, made.factory,
        replace(made.running, address=slipped(chance, device.address)),
        replace(made.running, address=masked(chance, device.address)),
        replace(made.running, gateway=None),
        replace(made.running, name=""),
        replace(made.running, second=FACTORY),
    ))  # fmt: skip


def _laptop(chance: random.Random, bench: Bench) -> list[Interface]:
    taken = {h.address for d in bench.everything for h in d.running.held}
    at = [bench.plan.devices[0].address, *([FACTORY] if chance.random() < 0.5 else [])]
    return [own for own in (beside(chance, a, taken) for a in at) if own is not None]


@dataclass
class Person:
    """Who switches the supply when asked; `restarts` by device: since when it was away."""

    chance: random.Random
    bench: Bench
    plugged: MemoryCable
    world: MemoryWorld

    def __post_init__(self) -> None:
        self.restarts: dict[str, float] = {}
        self.off_s: dict[str, float] = {}

    def told(self, name: str, what: str, words: str) -> None:
        """What the command says."""
        del words
        if what != "ask":
            return
        chance, now_s = self.chance, self.world.clocks.monotonic_s()
        does = chance.random()
        others = [n for n in self.bench.devices if n != name]
        if does < 0.08:
            return  # forgets it
        if does < 0.14 and others:
            name = chance.choice(others)  # takes the wrong one
        elif does < 0.2:
            self._pull(now_s + chance.uniform(0.5, 8.0))
            return
        elif does < 0.26:
            self._swap(name, now_s + chance.uniform(0.5, 8.0))
            return
        off_s = now_s + chance.uniform(0.2, 10.0)
        self._restart(name, off_s, off_s + chance.choice((0.4, 3.0, 10.0)))

    def _restart(self, name: str, off_s: float, on_s: float) -> None:
        made, clocks = self.bench.devices[name], self.world.clocks

        def off() -> None:
            if made.powered and made.up_s <= off_s:  # else it is away already, or still starting
                self.off_s[name] = off_s
            made.power(off_s, on=False)

        def on() -> None:
            if not made.powered:
                made.power(on_s, on=True)
                self.restarts[name] = self.off_s[name]

        clocks.call_at(off_s, off)
        clocks.call_at(on_s, on)

    def _pull(self, at_s: float) -> None:
        """The laptop's cable instead of the supply."""
        clocks = self.world.clocks
        clocks.call_at(at_s, lambda: setattr(self.plugged, "carrier", False))
        clocks.call_at(at_s + 5.0, lambda: setattr(self.plugged, "carrier", True))

    def _swap(self, name: str, at_s: float) -> None:
        """Takes it away and plugs another one in, which was set alike."""
        made = self.bench.devices[name]
        other = clone(made, self.chance, 60)
        other.powered = False

        def away() -> None:
            self.plugged.devices.remove(made)

        def there() -> None:
            self.plugged.devices.append(other)
            other.power(at_s + 4.0, on=True)

        self.world.clocks.call_at(at_s, away)
        self.world.clocks.call_at(at_s + 4.0, there)


def judge(bench: Bench, person: Person, before: dict[str, DeviceSettings], result: Result) -> None:
    """Nothing is called saved that was not; what was saved and came back is not called lost."""
    found = {(f.check, f.subject.name): f for f in result.findings}
    for name, made in bench.devices.items():
        saved = found.get(("settings.saved", name))
        if saved is None:
            continue
        kept = name in person.restarts and made.saved == before[name]
        words = f"{name}: {saved.verdict}: {saved.reason}; {person.restarts}, {made.saved}"
        if saved.verdict == "pass":
            assert kept, words
        if kept and saved.verdict == "fail":
            assert made.up_s > person.restarts[name] + WAIT_S - 3.0, words
