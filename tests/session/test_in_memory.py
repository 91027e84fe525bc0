"""Sessions in a world in memory: hours of simulated time in milliseconds, without root."""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.stories.bench import BOOT_S, ENTRIES, FACTORY, PROFILE, PROFILES
from verifier.errors import CannotMeasureError, UsageError
from verifier.files.canonical import plan_sha256
from verifier.files.evidence.document import to_bytes
from verifier.model.address import Address, Interface, Mac
from verifier.model.laptop import FitReport
from verifier.model.observations import SOAK
from verifier.model.plan import Acceptance, Carrier, Device, End, Link, Network, Plan
from verifier.model.profile import ProfileReading
from verifier.rules.alignment import AlignedCarrier, EndView
from verifier.rules.health.states import readings
from verifier.rules.observations import Observations
from verifier.session import Probing, Request, run
from verifier.session.align import AlignQuestion, Peaks, align
from verifier.session.ask.readings import DeviceQuestion, read_device, walk_device
from verifier.session.history import history_of
from verifier.session.laptop import FitQuestion, LaptopAddresses, answer, to_set, with_addresses
from verifier.session.powercycle.run import powercycle
from verifier.session.request import Cycle, SoakRequest
from verifier.session.run import sealed
from verifier.session.signals import Signals
from verifier.session.soak.journal import begun, closed
from verifier.session.stored import judged, read, refuse_another_run
from verifier.session.sweep.loop import Settings, SweepLoop
from verifier.session.sweep.process import Measured
from verifier.session.world import World
from verifier.simulator.memory import DeviceSettings, MemoryCable, MemoryDevice, MemoryWorld
from verifier.store.store import opened

LAPTOP = Interface.parse("198.18.20.200/24")
NAMES = ("quarry", "mill")


def device(n: int) -> Device:
    return Device(
        name=NAMES[n], address=Interface.parse(f"198.18.20.{11 + n}/24"), profile=PROFILE.id,
        snmp="field",
    )  # fmt: skip


PLAN = Plan(network=Network(name="Bench"), devices=(device(0), device(1)))


def made(planned: Device, mac: int) -> MemoryDevice:
    return MemoryDevice(
        hardware=dataclasses.replace(planned, serial=f"S-{mac}"),
        profile=PROFILE,
        factory=DeviceSettings(address=FACTORY),
        entries=tuple(ENTRIES.values()),
        mac=Mac(f"02:00:5e:00:53:{mac:02x}"),
        boot_s=BOOT_S,
        settings=DeviceSettings(address=planned.address, name=planned.name),
    )


@pytest.fixture
def cable() -> MemoryCable:
    return MemoryCable(made(d, 16 + n) for n, d in enumerate(PLAN.devices))


@pytest.fixture
def world(cable: MemoryCable) -> Iterator[MemoryWorld]:
    with MemoryWorld(cable, [LAPTOP]) as in_memory:
        yield in_memory


def request(**more: object) -> Request:
    values = {
        "command": "verify", "plan": PLAN, "plan_sha256": "", "stage": "bench",
        "devices": PLAN.devices, "profiles": PROFILES, "credentials": ENTRIES,
        "probing": Probing(echoes=2),
    }  # fmt: skip
    return Request(**{**values, **more})  # type: ignore[arg-type]


def test_a_soak_of_an_hour(world: MemoryWorld, cable: MemoryCable, tmp_path: Path) -> None:
    """A minute without the cable costs as many echoes as a minute has, and no more."""
    plan = dataclasses.replace(PLAN, acceptance=Acceptance(echo_per_s=1.0, mtu_bytes=1500))
    began_s, pulled_s = time.monotonic(), world.clocks.monotonic_s() + 1000.0
    world.clocks.call_at(pulled_s, lambda: setattr(cable, "carrier", False))
    world.clocks.call_at(pulled_s + 60.0, lambda: setattr(cable, "carrier", True))
    asked = request(plan=plan, plan_sha256=plan_sha256(plan))
    evidence = tmp_path / "run.json"
    kept = begun(asked, 3600.0, evidence, world.clocks.now(), by="A. Example", place=None)
    with kept as journal:
        soak = SoakRequest(asked_s=3600.0, journal=journal)
        result = closed(run(dataclasses.replace(asked, soak=soak), world).result, journal)
        blocks = [b for b in journal.samples() if b["kind"] == "echo"]
        evidence.write_bytes(to_bytes(sealed(result, plan, PROFILES, None, journal.sample_lines())))
    stored = read(evidence)
    assert judged(stored).findings == result.findings
    refuse_another_run(read(kept.path), stored)
    lost = sum(rtt is None for b in blocks for rtt in b["rtt_us"])
    sent = sum(rtt != -1 for b in blocks for rtt in b["rtt_us"])
    assert sent == 2 * 2 * 3600
    assert abs(lost - 2 * 2 * 60) <= 8
    (course,) = Observations(result.observations).values(SOAK)
    assert course.state == "complete"
    assert time.monotonic() - began_s < 600.0, "it waited in real time"


def test_the_history_of_a_store(world: MemoryWorld, cable: MemoryCable, tmp_path: Path) -> None:
    """What a real store holds of sweeps in memory: an hour, a device off for a third of it."""
    url, start_s = str(tmp_path / "sweeps.db"), world.clocks.now().timestamp()
    asked = request(command="sweep", stage="service")

    def measure(request: Request, world: World, signals: Signals) -> Measured:
        del signals
        result = run(request, world).result
        found = result.findings, result.causes, result.observations
        return Measured(readings(PLAN, PLAN.devices, *found), 1.0)

    with opened(url) as store, store.locked():
        desk = SweepLoop(store, Settings(), lambda _: None, world, measure)
        for n in range(12):
            cable.devices[0].powered = not 4 <= n < 8
            desk.once(asked, Signals())
            world.clocks.pause(300.0 * (n + 1) - world.clocks.monotonic_s())
    end_s = world.clocks.now().timestamp()
    found = history_of(PLAN, PLAN.devices, url, (start_s, end_s), None)
    (outage,) = found.outages
    assert [found.sweeps, outage.subject.name, round(outage.length_s)] == [12, "quarry", 1200]
    figures = {s.subject.name: s.availability.available_pct for s in found.subjects}
    assert figures["mill"] == 100.0
    assert figures["quarry"] == pytest.approx(100 * 2 / 3, abs=0.01)


def test_levels_are_followed_each_second(world: MemoryWorld) -> None:
    """Both ends are shown at each tick; what has no level says why."""
    level = ProfileReading(field="rx_level_dbm", oid="1.3.6.1.4.1.32473.7.9.0", type="integer")
    link = Link(name="Hop 1", carriers=(Carrier(a=End(device="quarry"), b=End(device="mill")),))
    carrier = AlignedCarrier(
        link=link, carrier=link.carriers[0], stage="alignment",
        profiles={"a": PROFILE, "b": PROFILE},
    )  # fmt: skip
    questions = {
        end: AlignQuestion(
            address=planned.address.address, entry=ENTRIES["field"], level=("level", level),
            power=None,
        )
        for end, planned in zip(("a", "b"), PLAN.devices, strict=True)
    }  # fmt: skip
    shown: list[tuple[tuple[EndView, EndView], float]] = []
    world.run(
        align(world, Peaks(carrier), questions, lambda *tick: shown.append(tick), lasts_s=5.0)  # type: ignore[arg-type]
    )
    assert [round(at_s) for _, at_s in shown] == [1, 2, 3, 4, 5]
    assert {view.problem for ends, _ in shown for view in ends} == {
        "the device has no such object (noSuchInstance)"
    }


def test_one_device_is_read_and_walked(world: MemoryWorld) -> None:
    """Its readings by the profile, its objects below a root, and silence where nobody is."""
    asked = DeviceQuestion(address=PLAN.devices[0].address.address, entry=ENTRIES["field"])
    read = read_device(asked, PROFILE, world, deadline_s=5.0)
    assert [got.value for got in read.readings] == ["S-16"]
    assert read.system["sysName"] == "quarry"
    walked = walk_device(asked, "1.3.6.1.2.1.1", world, max_objects=5, deadline_s=5.0)
    assert walked.shown["1.3.6.1.2.1.1.5.0"] == "quarry"
    assert len(walked.shown) == 5
    assert walked.cut.startswith("capped")
    nobody = dataclasses.replace(asked, address=Address.parse("198.18.20.99"))
    assert read_device(nobody, PROFILE, world, deadline_s=5.0).silence == "silent: no answer"


def fit(world: MemoryWorld) -> FitReport:
    question = FitQuestion(plan=PLAN, profiles=PROFILES, devices=PLAN.devices[:1])
    return answer(question, world.laptop)


def test_an_address_is_set_and_taken_back(world: MemoryWorld) -> None:
    """For as long as it is needed; what the laptop held itself stays."""
    own = Interface.parse("203.0.113.5/24")
    world.laptop.addresses = [own]
    report = fit(world)
    addresses = to_set(report)
    assert [report.devices[0].verdict, len(addresses)] == ["fail", 1]
    said: list[str] = []
    with with_addresses(report, addresses, said.append, world.laptop):
        assert fit(world).devices[0].verdict == "pass"
        assert world.laptop.addresses == [own, *addresses]
    assert world.laptop.addresses == [own]
    assert len(said) == 2


def test_what_a_killed_program_has_set_is_taken_back(world: MemoryWorld) -> None:
    """By the next one; and no address is set that somebody on the cable holds."""
    more = Interface.parse("192.0.2.7/24")
    with LaptopAddresses("eth0", lambda _: None, world.laptop) as hands:
        hands.hold([LAPTOP, more])
        world.laptop.killed = True
    assert world.laptop.addresses == [LAPTOP, more]
    world.laptop.killed = False
    world.laptop.take_back_leftovers(lambda _: None)
    assert world.laptop.addresses == [LAPTOP]
    with (
        pytest.raises(CannotMeasureError, match="02:00:5e:00:53:10 on the cable holds"),
        LaptopAddresses("eth0", lambda _: None, world.laptop) as hands,
    ):
        hands.hold([PLAN.devices[0].address])
    assert world.laptop.addresses == [LAPTOP]


def test_another_system_sets_no_address(world: MemoryWorld) -> None:
    """It is said which commands do."""
    world.laptop.platform = "darwin"
    with pytest.raises(UsageError, match="works on Linux only"):
        LaptopAddresses("eth0", lambda _: None, world.laptop)


def test_a_device_exchanged_at_a_restart_is_not_called_saved(
    world: MemoryWorld, cable: MemoryCable
) -> None:
    """Another one with all its settings answers now: of the first one nothing is known."""
    mine = cable.devices[0]
    copy = made(PLAN.devices[0], 64)
    copy.hardware = mine.hardware
    copy.powered = False
    devices = PLAN.devices[:1]

    def told(name: str, what: str, words: str) -> None:
        del name, words
        if what == "ask":
            at_s = world.clocks.monotonic_s() + 2.0
            world.clocks.call_at(at_s, lambda: exchange(at_s))

    def exchange(at_s: float) -> None:
        cable.devices[0] = copy
        copy.power(at_s, on=True)

    cycle = Cycle(request=request(devices=devices), wait_s={"quarry": 20.0}, tell=told)
    result = powercycle(cycle, world).result
    (saved,) = [f for f in result.findings if f.check == "settings.saved"]
    assert saved.verdict == "not-tested"
    assert saved.reason == (
        "another device answers now: hardware address 02:00:5e:00:53:40, before the restart "
        "02:00:5e:00:53:10"
    )


def test_time_goes_on_after_a_year(world: MemoryWorld) -> None:
    """Where a second is worth but some hundred million steps of the clock, it still ends."""
    world.clocks.pause(366 * 86_400.0)
    for _ in range(100):
        world.clocks.pause(0.1)
    assert world.clocks.monotonic_s() == pytest.approx(366 * 86_400.0 + 10.0)
    with pytest.raises(RuntimeError, match="never happens"):
        world.clocks.pause(None)
