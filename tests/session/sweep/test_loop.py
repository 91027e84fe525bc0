"""The desk's own clockwork: a wall clock that steps, sweeps that fail, settings that change."""

from __future__ import annotations

import datetime as dt
import itertools
import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import select

from tests.session.sweep.test_delivery import Receiver, receiver
from tests.store import examples
from verifier.errors import StoreError
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.model.address import Interface
from verifier.model.health import State, StateChange, SweepReport
from verifier.model.plan import Device, Plan
from verifier.model.problem import Subject
from verifier.model.status import MOST_CHANGES, Status
from verifier.probes.world import SystemClocks, ThisMachine
from verifier.session import Probing, Request
from verifier.session.signals import Signals
from verifier.session.sweep import deliver, status_page
from verifier.session.sweep.loop import Settings, SweepLoop
from verifier.session.sweep.process import Measured, measured_apart
from verifier.session.world import World
from verifier.store import schema
from verifier.store.store import Store, opened

__all__ = ["receiver"]
pytestmark = pytest.mark.icmp
PLAN = """\
network: {name: Clockwork, example: true}
devices: [{name: lighthouse-quarry, address: 127.84.0.11/8}]
not_tested_ok: [{check: identity.name, reason: it has no agent}]
"""


@pytest.fixture
def request_(tmp_path: Path) -> Request:
    path = tmp_path / "plan.yaml"
    path.write_text(PLAN)
    plan, _ = read_plan(path)
    return Request(
        command="sweep", plan=plan, plan_sha256="0", stage="service", devices=plan.devices,
        profiles=load_profiles({"mib2"}), probing=Probing(echoes=1, timeout_s=0.5), ask_all=False,
    )  # fmt: skip


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with opened(str(tmp_path / "s.db")) as kept, kept.locked():
        yield kept


class Stepping(SystemClocks):
    """This machine's clocks, the time of day put on by what `offset_s` gives."""

    def __init__(self, offset_s: Callable[[], float]) -> None:
        self._offset_s = offset_s

    def now(self) -> dt.datetime:
        """The time of day."""
        return dt.datetime.now(dt.UTC) + dt.timedelta(seconds=self._offset_s())


def test_a_clock_that_steps_is_said_and_stored(store: Store, request_: Request) -> None:
    """On by ten years, then back: each sweep is stored, in order of its number; nothing is lost."""
    said: list[str] = []
    offset_s = [0.0]
    world = ThisMachine(clocks=Stepping(lambda: offset_s[0]))
    desk = SweepLoop(store, Settings(), said.append, world)
    with Signals() as signals:
        for offset_s[0] in (0.0, 3650 * 86_400.0, 0.0, -7200.0, -7200.0):
            assert desk.once(request_, signals) is not None
    steps = [
        r["clock_step_s"] for r in store.rows(select(schema.sweep).order_by(schema.sweep.c.id))
    ]
    assert steps[0] is None
    assert steps[1:] == pytest.approx([3650 * 86_400.0, -3650 * 86_400.0, -7200.0, 0.0], abs=1.0)
    assert [line.split(" by ")[0].rsplit(" ", 1)[1] for line in said] == ["on", "back", "back"]


def test_a_series_keeps_its_grid_while_the_clock_steps(store: Store, request_: Request) -> None:
    """The wall clock goes back an hour with each sweep; the sweeps go on, one an interval."""
    calls = itertools.count(1)
    world = ThisMachine(clocks=Stepping(lambda: -3600.0 * next(calls)))
    began_s = time.monotonic()
    with Signals() as signals:
        shown: list[SweepReport] = []

        def show(done: SweepReport) -> None:
            shown.append(done)
            signals.stop = len(shown) == 4

        SweepLoop(store, Settings(), lambda _: None, world).every(
            0.7, request_, lambda: request_, show, signals
        )
    assert len(shown) == 4
    assert time.monotonic() - began_s >= 3 * 0.7


def test_a_sweep_that_cannot_be_stored_is_said_and_the_next_one_tried(
    store: Store, request_: Request, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The fault is one line; what was remembered before still holds."""
    said: list[str] = []
    save, calls = store.save, [0]

    def failing(*given: object, **named: object) -> int:
        calls[0] += 1
        if calls[0] == 2:
            raise StoreError("the store s.db cannot be used: disk full")
        return save(*given, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(store, "save", failing)
    with Signals() as signals:
        shown: list[SweepReport] = []

        def show(done: SweepReport) -> None:
            shown.append(done)
            signals.stop = len(shown) == 2

        desk = SweepLoop(store, Settings(), said.append, ThisMachine())
        desk.every(0.1, request_, lambda: request_, show, signals)
    assert calls[0] == 3
    assert "disk full" in "".join(said)
    assert len(store.rows(select(schema.sweep))) == 2


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        (StoreError("the store s.db cannot be used: gone"), "was not written: the store s.db"),
        (RuntimeError("a slip"), "a fault of this program, the status page was not drawn"),
    ],
)
def test_a_fault_in_drawing_ends_no_sweep(
    fault: Exception, said: str, store: Store, request_: Request, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """It is one line each time; the sweeps are stored and shown."""
    lines: list[str] = []

    def failing(*_: object, **__: object) -> None:
        raise fault

    monkeypatch.setattr(status_page, "page", failing)
    desk = SweepLoop(store, Settings(page=tmp_path / "index.html"), lines.append, ThisMachine())
    with Signals() as signals:
        for _ in range(2):
            assert desk.once(request_, signals) is not None
    assert [said in line for line in lines] == [True, True]
    assert len(store.rows(select(schema.sweep))) == 2
    assert list(tmp_path.glob("index.html")) == []


def test_telling_slowly_leaves_no_sweep_out(
    store: Store, request_: Request, receiver: Receiver, tmp_path: Path
) -> None:
    """Twenty messages wait, each takes half a second: sweeps keep to their grid, telling goes on."""
    receiver.delay_s = 0.5
    webhook = deliver.webhook(receiver.url, None, tmp_path / "m", 5.0)
    notices = [examples.notice(f"n-{n}") for n in range(20)]
    store.save(examples.sweep(), notices=notices, deliveries=["webhook"])
    with Signals() as signals:
        shown: list[SweepReport] = []

        def show(done: SweepReport) -> None:
            shown.append(done)
            signals.stop = len(shown) == 3

        store.not_delivered("webhook", store.waiting("webhook")[0].id, "", time.time() + 1.0)
        SweepLoop(store, Settings(deliveries=[webhook]), lambda _: None, ThisMachine()).every(
            2.0, request_, lambda: request_, show, signals
        )
    assert [done.sweep.skipped for done in shown] == [0, 0, 0]
    told = [json.loads(body)["id"] for _, body in receiver.got]
    assert told == [f"n-{n}" for n in range(len(told))]
    assert 2 <= len(told) < 20


@pytest.mark.parametrize(
    ("every_s", "took_s", "valid_s"), [(300.0, 2.0, 900.0), (60.0, 400.0, 1200.0)]
)
def test_how_long_a_sweep_of_a_series_speaks(
    every_s: float, took_s: float, valid_s: float, store: Store, request_: Request
) -> None:
    """For three intervals; one that takes longer than its interval for three times its own length."""
    with Signals() as signals:

        def show(done: SweepReport) -> None:
            assert done.sweep.valid_s == pytest.approx(valid_s)
            signals.stop = True

        SweepLoop(
            store, Settings(), lambda _: None, ThisMachine(), lambda *_: Measured((), took_s)
        ).every(every_s, request_, lambda: request_, show, signals)
    assert [r["valid_s"] for r in store.rows(select(schema.sweep))] == [pytest.approx(valid_s)]


def test_many_changes_of_one_sweep_leave_room_for_earlier_ones(
    store: Store, tmp_path: Path
) -> None:
    """However many changed now, the page shows as many earlier changes as it may."""
    subjects = [Subject("device", f"device-{n}") for n in range(MOST_CHANGES + 30)]
    plan = Plan(devices=tuple(
        Device(name=u.name, address=Interface.parse(f"198.18.{n // 200}.{n % 200 + 1}/16"))
        for n, u in enumerate(subjects)
    ))  # fmt: skip

    def sweep_of(state: State, before: State, at_s: float) -> SweepReport:
        readings = [examples.reading(u, state=state) for u in subjects]
        changes = tuple(
            StateChange(subject=u, before=before, after=state, at_s=at_s, confirmed_s=at_s, root=u)
            for u in subjects
        )
        memories = [examples.memory(subject=u, state=state, root=u) for u in subjects]
        made = examples.sweep(*readings, at_s=at_s)
        number = store.save(made, memories, changes)
        return SweepReport(number, made, {m.subject: m for m in memories}, changes, ())

    sweep_of("silent", "sound", examples.START_S)
    done = sweep_of("sound", "silent", examples.START_S + 300.0)
    seen: list[Status] = []
    path = tmp_path / "index.html"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(status_page, "page", lambda status: seen.append(status) or "")
        status_page.write(path, store, plan, done, every_s=300.0, confirm=2)
    assert sum(1 + len(group.rest) for group in seen[0].earlier) == MOST_CHANGES


def test_a_series_goes_on_after_a_fault_of_ours(store: Store, request_: Request) -> None:
    """Whatever a sweep raises is said with its place, without its message; the next one is stored."""
    said: list[str] = []
    calls: list[int] = []

    def measured(request: Request, world: World, signals: Signals) -> Measured | None:
        calls.append(1)
        if len(calls) == 1:
            raise OverflowError("what a device sent")
        return measured_apart(request, world, signals)

    with Signals() as signals:

        def show(done: SweepReport) -> None:
            assert done.number == 1
            signals.stop = True

        SweepLoop(store, Settings(), said.append, ThisMachine(), measured).every(
            0.2, request_, lambda: request_, show, signals
        )
    (line,) = [words for words in said if "a fault of this program" in words]
    assert "OverflowError in test_loop.py" in line
    assert "what a device sent" not in line
