"""One sweep's measurement, in a process of its own.

Whatever grows in a library while it measures ends with that process, and the one that keeps the
store stays small, whatever the network sends. The process inherits no descriptor of the store, so
neither a lock nor a connection outlives the one that holds it.

What grows are pysnmp's tables. Such a process can also be ended at any moment, and the kernel kills
it with its parent.
"""

from __future__ import annotations

import ctypes
import dataclasses
import gc
import os
import pickle
import signal
import traceback
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass

from verifier.errors import CannotMeasureError, UsageError, VerifierError
from verifier.model.health import HealthReading
from verifier.rules.health.states import readings
from verifier.session.run import Request, run
from verifier.session.signals import Signals
from verifier.session.world import Clocks, World

_PR_SET_PDEATHSIG = 1
"""prctl(2): the kernel sends this signal when the parent dies."""
LONGEST_S = 3600.0
"""A sweep that takes longer than this is ended."""
_END_S = 3.0
_READ_OCTETS = 1 << 20


@dataclass(frozen=True, slots=True)
class Measured:
    """What a sweep saw, in the order of the plan, and our own faults meanwhile.

    Attributes:
        took_s: by the monotonic clock.
    """

    readings: tuple[HealthReading, ...]
    took_s: float
    faults: tuple[str, ...] = ()


class Measuring:
    """A measurement under way; `fileno` becomes readable as it proceeds to its end."""

    def __init__(self, request: Request, world: World) -> None:
        if not hasattr(os, "fork"):
            raise UsageError("sweep needs a Unix: each sweep is a process of its own")
        self._clocks: Clocks = world.clocks
        self._began_s = self._clocks.monotonic_s()
        self._read, write = os.pipe()
        self._arrived = bytearray()
        self._pid = os.fork()
        if self._pid == 0:
            _live(request, world, write)
        os.close(write)

    def fileno(self) -> int:
        """For `select`."""
        return self._read

    def proceed(self) -> bool:
        """Takes in what has arrived; returns whether the measurement is over."""
        data = os.read(self._read, _READ_OCTETS)
        self._arrived += data
        return not data

    def result(self) -> Measured:
        """What was measured. Raises CannotMeasureError, or VerifierError for a fault of our own."""
        took_s = self._clocks.monotonic_s() - self._began_s
        self.end()
        if not self._arrived:
            raise VerifierError(
                "the process that measured ended too early; the sweep is not stored"
            )
        kind, value = pickle.loads(self._arrived)  # noqa: S301 - from our own process
        if kind == "cannot":
            raise CannotMeasureError(value)
        if kind == "fault":
            raise VerifierError(f"a fault of this program ended the sweep: {value}")
        found, faults = value
        return Measured(found, took_s, faults)

    def end(self) -> None:
        """Ends the measurement, if it is not over, and takes its process away."""
        if self._pid:
            with suppress(ProcessLookupError):
                os.kill(self._pid, signal.SIGKILL)
            os.waitpid(self._pid, 0)
            os.close(self._read)
            self._pid = 0


def measured_apart(request: Request, world: World, signals: Signals) -> Measured | None:
    """One sweep's measurement in a process of its own; None where a person ended it.

    Raises as `Measuring.result`, and VerifierError where it takes more than an hour.
    """
    measuring, clocks = Measuring(request, world), world.clocks
    until_s = clocks.monotonic_s() + LONGEST_S
    try:
        while not signals.stop:
            left_s = until_s - clocks.monotonic_s()
            if left_s <= 0:
                raise VerifierError(f"the sweep was ended after {LONGEST_S:g} s; it is not stored")
            if signals.wait(clocks, left_s, measuring) and measuring.proceed():
                return measuring.result()
        return None
    finally:
        measuring.end()


def _live(request: Request, world: World, write: int) -> None:
    """The whole life of the process: measure, hand over, end."""
    code = 1
    try:
        _alone(write)
        gc.freeze()  # what the parent made is not looked through, and so not copied
        with os.fdopen(write, "wb") as pipe:
            pickle.dump(_measured(request, world), pipe)
        code = 0
    finally:
        os._exit(code)


def _alone(write: int) -> None:
    """Lets go of whatever belongs to the parent, and dies with it."""
    with suppress(AttributeError, OSError):
        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.SIG_DFL)
    signal.signal(signal.SIGHUP, signal.SIG_IGN)
    os.closerange(3, write)
    os.closerange(write + 1, os.sysconf("SC_OPEN_MAX"))


def _measured(request: Request, world: World) -> tuple[str, object]:
    shuffled = world.chance.sample(request.devices, len(request.devices))
    try:
        outcome = run(dataclasses.replace(request, devices=shuffled), world)
        if outcome.interrupted:
            return "cannot", "interrupted; the sweep is not stored"
        result = outcome.result
        found = readings(
            request.plan, request.devices, result.findings, result.causes, result.observations
        )
        return "measured", (found, _faults(outcome.faults))
    except CannotMeasureError as fault:
        return "cannot", str(fault)
    except Exception as fault:  # noqa: BLE001 - told by the parent
        return "fault", _faults([fault])[0]


def _faults(faults: Sequence[BaseException]) -> tuple[str, ...]:
    """Each with its place; its message is left out, as it may hold what a device sent."""
    return tuple(
        f"{type(fault).__name__} in {place.filename.rpartition('/')[2]}:{place.lineno}"
        for fault in faults
        for place in traceback.extract_tb(fault.__traceback__)[-1:]
    )
