"""The operations desk: sweeps on a grid of time, into the store, and what is to be told of them."""

from __future__ import annotations

import dataclasses
import math
import traceback
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from verifier import __version__
from verifier.errors import VerifierError
from verifier.files.disk import replace
from verifier.model.health import Sweep, SweepReport
from verifier.model.problem import Subject
from verifier.report.sweep.openmetrics import openmetrics
from verifier.rules.health.follow import CONFIRM, errors_added, follow, lasting
from verifier.rules.health.notices import notify
from verifier.session.request import Request
from verifier.session.signals import Signals
from verifier.session.sweep.deliver import Delivery, deliver_all
from verifier.session.sweep.process import Measured, measured_apart
from verifier.session.world import World
from verifier.store.retention import Retention
from verifier.store.store import Store

ALONE_VALID_S = 3600.0
"""For how long a sweep speaks that is not one of a series: an hour."""
VALID_INTERVALS = 3
"""One of a series speaks for so many of its intervals, if no other follows; one that takes longer
than its interval, for so many times its own length."""
_METRICS_MODE = 0o644
"""Whoever collects the metrics runs as somebody else."""
_ERRORS_SAID = 3
"""Of a plan that is refused while the old one goes on."""
_STEP_S = 1.0
"""A difference of the clocks from which the wall clock counts as stepped: slewing stays below."""

Say = Callable[[str], None]
Measure = Callable[[Request, World, Signals], Measured | None]
"""One sweep's measurement; None where a person ended it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """How sweeps are made.

    Attributes:
        metrics: a file of OpenMetrics text that each sweep writes anew.
        page: the file of the status page, written anew as well.
    """

    confirm: int = CONFIRM
    keep: Retention = field(default_factory=Retention)
    deliveries: Sequence[Delivery] = ()
    metrics: Path | None = None
    page: Path | None = None


class SweepLoop:
    """Carries sweeps out and keeps what they saw.

    Args:
        store: open and locked.
        settings: how.
        say: takes one line for a person: what went wrong and was got over.
        world: what is measured.
        measure: carries out one sweep's measurement.
    """

    def __init__(
        self,
        store: Store,
        settings: Settings,
        say: Say,
        world: World,
        measure: Measure = measured_apart,
    ) -> None:
        self._store = store
        self._world = world
        self._clocks = world.clocks
        self._measure = measure
        self._settings = settings
        self._say = say
        self._looked_s: tuple[float, float] | None = None
        self._sweeps = 0
        self._skipped = 0
        self._every_s: float | None = None

    def once(self, request: Request, signals: Signals) -> SweepReport | None:
        """One sweep; None where a person ended it. What waits from before is told first."""
        self.deliver(signals)
        done = self._sweep(request, signals, ALONE_VALID_S, 0)
        self.deliver(signals)
        return done

    def every(
        self,
        every_s: float,
        request: Request,
        reload: Callable[[], Request],
        show: Callable[[SweepReport], None],
        signals: Signals,
    ) -> None:
        """Sweeps at the start and after every `every_s` seconds, until a person ends it.

        The grid is that of the monotonic clock. A sweep that is due while another one runs is left
        out and said; none is made up for. Faults are said, and the next sweep is tried.
        """
        self._every_s = every_s
        began_s, number, skipped = self._clocks.monotonic_s(), 0, 0
        while not signals.stop:
            try:
                if number == 0:
                    self.deliver(signals)
                done = self._sweep(request, signals, VALID_INTERVALS * every_s, skipped)
                if done is not None:
                    skipped = 0
                    show(done)
            except VerifierError as fault:
                self._say(str(fault))
            except Exception as fault:  # noqa: BLE001 - a series goes on whatever one device says
                self._say(_our_fault("the sweep is not stored", fault))
            due = math.floor((self._clocks.monotonic_s() - began_s) / every_s) + 1
            if left_out := due - number - 1:
                self._skipped += left_out
                skipped += left_out
                self._say(
                    f"{left_out} sweep{'s' * (left_out > 1)} left out: the last took too long"
                )
            number = due
            request = self._until(began_s + number * every_s, request, reload, signals)

    def _until(
        self, due_s: float, request: Request, reload: Callable[[], Request], signals: Signals
    ) -> Request:
        """Waits for the next sweep; tells what is to be told, reads the plan again when asked."""
        while not signals.stop:
            again_s = self.deliver(signals, due_s)
            if signals.reload:
                signals.reload = False
                try:
                    request = reload()
                    self._say("the plan was read again")
                except VerifierError as fault:
                    self._say(f"the old plan is kept: {_in_words(fault)}")
            wait_s = due_s - self._clocks.monotonic_s()
            if wait_s <= 0:
                break
            wait_s = wait_s if again_s is None else min(wait_s, max(again_s, 0.1))
            signals.wait(self._clocks, wait_s)
        return request

    def deliver(self, signals: Signals, until_s: float = math.inf) -> float | None:
        """Tells what is due; in how many seconds something is to be tried again.

        What is not told by `until_s` of the monotonic clock waits: measuring waits for nobody.
        """

        def stopped() -> bool:
            return signals.stop or self._clocks.monotonic_s() >= until_s

        try:
            return deliver_all(
                self._store, self._settings.deliveries, self._say, stopped, self._now_s
            )
        except VerifierError as fault:
            self._say(str(fault))
        except Exception as fault:  # noqa: BLE001 - as above
            self._say(_our_fault("messages wait", fault))
        return None

    def _sweep(
        self, request: Request, signals: Signals, valid_s: float, skipped: int
    ) -> SweepReport | None:
        started_s, step_s = self._now_s(), self._clock_step_s()
        measured = self._measure(request, self._world, signals)
        if measured is None:
            return None
        for fault in measured.faults:
            self._say(f"a fault of this program, one device was not read to its end: {fault}")
        sweep = Sweep(
            key=uuid.UUID(int=self._world.chance.getrandbits(128), version=4).hex,
            started_s=started_s,
            took_s=measured.took_s,
            valid_s=max(valid_s, VALID_INTERVALS * measured.took_s),
            readings=measured.readings,
            added=errors_added(self._store.counters(), measured.readings),
            skipped=skipped,
            plan_name=request.plan.network.name,
            plan_revision=request.plan.network.revision,
            plan_sha256=request.plan_sha256,
            tool_version=__version__,
            clock_step_s=step_s,
        )
        done = self._keep(request, sweep)
        self._sweeps += 1
        self._write_metrics(done)
        self._write_page(request, done)
        return done

    def _keep(self, request: Request, sweep: Sweep) -> SweepReport:
        settings = self._settings
        before = self._store.memories()
        as_they_count = lasting(before, sweep.readings, sweep.started_s)
        sweep = dataclasses.replace(sweep, readings=as_they_count)
        followed = follow(before, sweep.readings, sweep.started_s, confirm=settings.confirm)
        made = notify(request.plan, followed.memories, followed.changes, sweep.started_s, sweep.key)
        number = self._store.save(
            sweep,
            [m for m in made.memories if before.get(m.subject) != m],
            made.changes,
            made.notices,
            deliveries=[d.name for d in settings.deliveries],
            keep=settings.keep,
            refused=self._say_refused,
        )
        memories = {m.subject: m for m in made.memories}
        return SweepReport(number, sweep, memories, made.changes, made.notices, settings.confirm)

    def _say_refused(self, subject: Subject, why: str) -> None:
        self._say(
            f"a fault of this program: what {subject.kind} {subject.name} showed could not "
            f"be stored "
            f"({why}); it is stored as not tested"
        )

    def _now_s(self) -> float:
        """The time of day, in seconds since 1970."""
        return self._clocks.now().timestamp()

    def _clock_step_s(self) -> float | None:
        """By how much the wall clock was put on or back since the last sweep of this process."""
        now = self._now_s(), self._clocks.monotonic_s()
        before, self._looked_s = self._looked_s, now
        if before is None:
            return None
        step_s = (now[0] - before[0]) - (now[1] - before[1])
        if abs(step_s) < _STEP_S:
            return 0.0
        self._say(f"the clock of this machine was put {'on' if step_s > 0 else 'back'} by "
                  f"{abs(step_s):.1f} s")  # fmt: skip
        return step_s

    def _write_metrics(self, done: SweepReport) -> None:
        path = self._settings.metrics
        if path is None:
            return
        text = openmetrics(done.sweep, done.memories, sweeps=self._sweeps, skipped=self._skipped)
        try:
            replace(path, text.encode(), mode=_METRICS_MODE)
        except OSError as fault:
            self._say(f"{path} cannot be written: {fault.strerror}")

    def _write_page(self, request: Request, done: SweepReport) -> None:
        """Whatever goes wrong with the page is said; the sweep is stored, the next one comes."""
        path = self._settings.page
        if path is None:
            return
        from verifier.session.sweep import status_page  # noqa: PLC0415 - the page's libraries are large

        confirm, every_s = self._settings.confirm, self._every_s
        try:
            status_page.write(
                path, self._store, request.plan, done, every_s=every_s, confirm=confirm
            )
        except OSError as fault:
            self._say(f"{path} cannot be written: {fault.strerror}")
        except VerifierError as fault:
            self._say(f"the status page was not written: {fault}")
        except Exception as fault:  # noqa: BLE001 - a page must not end the sweeping
            kind = type(fault).__name__
            self._say(f"a fault of this program, the status page was not drawn: {kind}: {fault}")


def _our_fault(what: str, fault: Exception) -> str:
    """A fault of our own with its place, without its message: that may hold what a device sent."""
    place = traceback.extract_tb(fault.__traceback__)[-1]
    where = f"{place.filename.rpartition('/')[2]}:{place.lineno}"
    return f"a fault of this program, {what}: {type(fault).__name__} in {where}"


def _in_words(fault: VerifierError) -> str:
    """A fault in one line; of a faulty plan its first errors, each with its place."""
    problems = [p for p in getattr(fault, "problems", ()) if p.severity == "error"]
    if not problems:
        return str(fault)
    said = [str(p) for p in problems[:_ERRORS_SAID]]
    if more := len(problems) - len(said):
        said.append(f"and {more} more, see `check`")
    return "; ".join(said)
