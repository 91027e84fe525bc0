"""How long something takes where nobody else wants the processors: for limits of time in tests.

Other work of the machine only ever adds to a time. What it added is told by the kernel, so that a
limit is as strict as ever on an idle machine and no test fails because another process is busy.
"""

from __future__ import annotations

import os
import time
from contextlib import suppress
from pathlib import Path


class Stopwatch:
    """Runs from the moment it is made."""

    def __init__(self) -> None:
        self._began_s, self._waited_s = time.monotonic(), waited_s()

    @property
    def s(self) -> float:
        """Seconds since then by the clock."""
        return time.monotonic() - self._began_s

    @property
    def alone_s(self) -> float:
        """Those in which no process of this machine had to wait for a processor."""
        return self.less_waiting(self.s)

    def less_waiting(self, took_s: float) -> float:
        """What is left of some time that lay since then, without all waiting since then."""
        return max(0.0, took_s - (waited_s() - self._waited_s))


def patience() -> float:
    """By how much a timeout is longer here and now: 1, or 5 where the processors were much wanted.

    An agent in the test's own process answers at once only where that process gets a processor.
    """
    with suppress(OSError):
        some = Path("/proc/pressure/cpu").read_text("ascii").splitlines()[0]
        return 5.0 if float(some.split("avg10=")[1].split()[0]) > 20 else 1.0
    return 5.0 if os.getloadavg()[0] > (os.cpu_count() or 1) else 1.0


def waited_s() -> float:
    """Seconds in which somebody waited for a processor, counted from some moment on.

    The total of `some` in /proc/pressure/cpu (Linux, Documentation/accounting/psi.rst); where a
    kernel has none, what this process itself waited (Documentation/scheduler/sched-stats.rst).
    """
    with suppress(OSError):
        some = Path("/proc/pressure/cpu").read_text("ascii").splitlines()[0]
        return int(some.rpartition("total=")[2]) / 1e6
    with suppress(OSError):
        return int(Path("/proc/self/schedstat").read_text("ascii").split()[1]) / 1e9
    return 0.0
