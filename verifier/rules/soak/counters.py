"""What two samples of a counter prove: how much it grew, or that nothing can be said.

A counter starts again at 0 after its largest value, and also when the agent starts again. The two
look alike, so a growth counts only where the agent did not start again, the counter's own record of
discontinuity is unchanged, and so little time passed that it can have wrapped once at most
(RFC 2863 3.1.6 and ifCounterDiscontinuityTime; RFC 2578 7.1.6, 7.1.8, 7.1.10).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from verifier.model.mib import TIME_TICKS_WRAP
from verifier.model.samples import Sample

_TICKS_PER_S: Final = 100
_WRAP_32: Final = 1 << 32
_FRAME_BITS: Final = 672
"""The shortest Ethernet frame on the wire: 64 octets, 8 of preamble, 12 of gap (IEEE 802.3)."""
_SLACK_S: Final = 5.0
_SLACK_PART: Final = 0.02
"""How far uptime and our clock may be apart between two samples: the answer's delay and rounding,
and a device's clock that runs wrong by so much."""

OCTETS: Final = ("ifInOctets", "ifOutOctets")
PACKETS: Final = ("ifInUcastPkts", "ifOutUcastPkts")
ERRORS: Final = ("ifInErrors", "ifOutErrors")
DISCARDS: Final = ("ifInDiscards", "ifOutDiscards")
WIDE: Final = {
    "ifInOctets": "ifHCInOctets",
    "ifOutOctets": "ifHCOutOctets",
    "ifInUcastPkts": "ifHCInUcastPkts",
    "ifOutUcastPkts": "ifHCOutUcastPkts",
}
"""The 64-bit counter of the same (RFC 2863 3.1.6); errors and discards have none."""
COLUMNS: Final = (*OCTETS, *PACKETS, *ERRORS, *DISCARDS)
DISCONTINUITY: Final = "ifCounterDiscontinuityTime"


def wrap_s(speed_bps: float, *, octets: bool) -> float:
    """After how long a 32-bit counter can have gone round, in seconds, at full speed."""
    return _WRAP_32 / _most_per_s(speed_bps, octets=octets)


def _most_per_s(speed_bps: float, *, octets: bool) -> float:
    return speed_bps / (8 if octets else _FRAME_BITS)


def grown_32(
    before: int, after: int, interval_s: float, speed_bps: float | None, *, octets: bool
) -> int | None:
    """How much a Counter32 grew, or None where that is not provable.

    At most one wrap is taken, and only where the time and the port's speed prove that there was no
    other; a growth that the speed does not allow is a reset. Without a speed a fall proves nothing.
    """
    grown = (after - before) % _WRAP_32
    if speed_bps is None or speed_bps <= 0:
        return grown if after >= before else None
    if interval_s >= wrap_s(speed_bps, octets=octets):
        return None
    possible = _most_per_s(speed_bps, octets=octets) * interval_s
    return grown if grown <= possible or after >= before else None


def grown_64(before: int, after: int) -> int | None:
    """How much a Counter64 grew; None where it fell: in no time of ours does it wrap."""
    return after - before if after >= before else None


def restarted(before_ticks: int, after_ticks: int, elapsed_s: float) -> bool:
    """Whether the agent started again between two samples of sysUpTime.

    Its wrap after 497 days (RFC 2578 7.1.8) is none: it goes on from there as time does.
    """
    went_s = ((after_ticks - before_ticks) % TIME_TICKS_WRAP) / _TICKS_PER_S
    return abs(went_s - elapsed_s) > max(_SLACK_S, _SLACK_PART * elapsed_s)


class Counter:
    """One counter of one port over many samples.

    Attributes:
        grown: how much it grew in all.
        invalid: why it cannot be said, or empty.
        seen: samples that had it.
    """

    def __init__(self, column: str, speed_bps: float | None) -> None:
        self.column = column
        self.speed_bps = speed_bps
        self.grown = 0
        self.invalid = ""
        self.seen = 0
        self._last: tuple[float, int, bool] | None = None

    def take(self, at_s: float, value: int, *, wide: bool) -> None:
        """Takes the next sample; `wide`: it is of the 64-bit counter.

        After one of the 32-bit counter, the low 32 bits of the wide one are compared: they are the
        same counter (RFC 2863 3.1.6).
        """
        self.seen += 1
        if self._last is not None and not self.invalid:
            before_s, before, was_wide = self._last
            grown = (
                grown_64(before, value)
                if wide and was_wide
                else grown_32(before % _WRAP_32, value % _WRAP_32, at_s - before_s,
                              self.speed_bps, octets=self.column in OCTETS)
            )  # fmt: skip
            if grown is None:
                self.invalid = self._why(before, value, at_s - before_s)
            else:
                self.grown += grown
        self._last = at_s, value, wide

    def break_off(self, why: str) -> None:
        """From here on nothing can be said of it."""
        self.invalid = self.invalid or why

    def _why(self, before: int, value: int, interval_s: float) -> str:
        if value < before:
            return f"{self.column} fell from {before} to {value}, and no single wrap explains it"
        return (
            f"{self.column} was not read for {interval_s:.0f} s, in which it can have wrapped "
            "more than once"
        )


class DeviceTally:
    """What the samples of one device by SNMP amount to, one row after the other.

    Attributes:
        restarts: when the agent was found to have started again, seconds after the begin.
        agent_only: the operating system under it ran on (hrSystemUptime) at every restart.
        counters: by port and column.
        levels: receive levels by name of the reading.
        seconds: counters of errored seconds and their like, by name of the reading.
        rows, answered: samples taken, and those that were answered.
    """

    def __init__(self) -> None:
        self.restarts: list[float] = []
        self.agent_only = False
        self.counters: dict[tuple[str, str], Counter] = {}
        self.levels: dict[str, LevelTally] = {}
        self.seconds: dict[str, SecondsTally] = {}
        self.rows = 0
        self.answered = 0
        self.uptime_ticks: int | None = None
        self._last: dict[str, tuple[float, int]] = {}

    def take(self, at_s: float, row: Mapping[str, Sample], speeds: Mapping[str, float]) -> None:
        """Takes a sample: values by series name; None where the device gave none."""
        self.rows += 1
        if all(value is None for value in row.values()):
            return
        self.answered += 1
        self._restart(at_s, row)
        for name, value in row.items():
            column, _, port = name.partition(" ")
            if column.startswith("rx_level_dbm"):
                self.levels.setdefault(name, LevelTally()).take(at_s, value)
            elif column in SECONDS:
                self.seconds.setdefault(name, SecondsTally()).take(value)
            elif column == DISCONTINUITY:
                self._discontinuity(at_s, port, value)
            elif isinstance(row.get(f"{WIDE.get(column)} {port}"), int):
                continue  # the first sample asks for both; the wide one counts
            elif column in COLUMNS or column in _NARROW:
                self._count(at_s, column, port, value, speeds.get(port))

    def _count(self, at_s: float, name: str, port: str, value: Sample, mbps: float | None) -> None:
        if not isinstance(value, int):
            return
        column = _NARROW.get(name, name)
        counter = self.counters.get((port, column))
        if counter is None:
            speed_bps = None if mbps is None else mbps * 1e6
            counter = self.counters[port, column] = Counter(column, speed_bps)
        counter.take(at_s, value, wide=name in _NARROW)

    def _restart(self, at_s: float, row: Mapping[str, Sample]) -> None:
        ticks, boots, host = (self._step(at_s, row, n) for n in UPTIMES)
        if isinstance(now := row.get(UPTIMES[0]), int):
            self.uptime_ticks = now
        again = ticks is not None and restarted(ticks[1], ticks[2], ticks[0])
        more_boots = 0 if boots is None else boots[2] - boots[1]
        if not again and more_boots <= 0:
            return
        first = not self.restarts
        self.restarts += [at_s] * max(1, more_boots)
        ran_on = host is not None and not restarted(host[1], host[2], host[0])
        self.agent_only = ran_on and (first or self.agent_only)
        for counter in self.counters.values():
            counter.break_off("the device's agent started again in between")

    def _step(
        self, at_s: float, row: Mapping[str, Sample], name: str
    ) -> tuple[float, int, int] | None:
        """Seconds since the last sample that had it, its value then and now."""
        value = row.get(name)
        if not isinstance(value, int) or isinstance(value, bool):
            return None
        before = self._last.get(name)
        self._last[name] = at_s, value
        return None if before is None else (at_s - before[0], before[1], value)

    def _discontinuity(self, at_s: float, port: str, value: Sample) -> None:
        step = self._step(at_s, {port: value}, port)
        if step is not None and step[1] != step[2]:
            for (of, _), counter in self.counters.items():
                if of == port:
                    counter.break_off(f"the device reports a discontinuity ({DISCONTINUITY})")


UPTIMES: Final = ("sysUpTime", "snmpEngineBoots", "hrSystemUptime")
SECONDS: Final = ("errored_s", "severely_errored_s", "unavailable_s")
_NARROW: Final = {wide: narrow for narrow, wide in WIDE.items()}
NO_SIGNAL: Final = False
"""A receive level where the device says that it receives nothing."""


class LevelTally:
    """A receive level over many samples, in dBm."""

    def __init__(self) -> None:
        self.lowest: float | None = None
        self.highest: float | None = None
        self.lowest_at_s = 0.0
        self.count = 0
        self.no_signal = 0

    def take(self, at_s: float, value: Sample) -> None:
        """Takes a sample; None: not read. What is no number says nothing."""
        if value is None or isinstance(value, str):
            return
        self.count += 1
        if value is NO_SIGNAL:
            self.no_signal += 1
            return
        if self.lowest is None or value < self.lowest:
            self.lowest, self.lowest_at_s = value, at_s
        self.highest = value if self.highest is None else max(self.highest, value)


class SecondsTally:
    """A counter of bad seconds over many samples; `fell`: it was set back meanwhile."""

    def __init__(self) -> None:
        self.grown = 0.0
        self.fell = False
        self.count = 0
        self._last: float | None = None

    def take(self, value: Sample) -> None:
        """Takes a sample; None: not read."""
        if value is None or isinstance(value, str | bool):
            return
        self.count += 1
        if self._last is not None:
            self.fell |= value < self._last
            self.grown += max(0.0, value - self._last)
        self._last = value
