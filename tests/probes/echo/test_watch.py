"""Long series of echoes on the loopback range, with the clocks and interfaces in the test's hand."""

from __future__ import annotations

import threading
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest

from tests.stopwatch import Stopwatch
from verifier.model.address import Address
from verifier.probes.echo import sockets
from verifier.probes.echo.exchange import EchoTarget
from verifier.probes.echo.watch import EchoWatch, Watched
from verifier.probes.laptop.look import LinkState, link_state

pytestmark = pytest.mark.icmp
STEP_S = 0.05


@dataclass
class Seen:
    """A sink that keeps everything; `at` is called at each tick with the time."""

    at: Callable[[float], None] = lambda now_s: None
    rtt_us: dict[int, dict[int, int]] = field(default_factory=lambda: defaultdict(dict))
    silent: dict[int, dict[int, tuple[str, str]]] = field(default_factory=lambda: defaultdict(dict))
    extra: list[tuple[int, str]] = field(default_factory=list)
    gaps: list[tuple[float, float, str | None]] = field(default_factory=list)

    def heard(self, index: int, slot: int, rtt_us: int) -> None:
        self.rtt_us[index][slot] = rtt_us

    def unheard(self, index: int, slot: int, what: Any, why: str) -> None:
        self.silent[index][slot] = what, why

    def again(self, index: int, what: Any) -> None:
        self.extra.append((index, what))

    def gap(self, start_s: float, end_s: float, interface: str | None) -> None:
        self.gaps.append((start_s, end_s, interface))

    def tick(self, now_s: float) -> None:
        self.at(now_s)


def targets(*sizes: int, interface: str | None = None) -> list[Watched]:
    return [
        Watched(
            target=EchoTarget(address=Address.parse(f"127.84.0.{n}")),
            packet_bytes=size + 28,
            interface=interface,
        )
        for n, size in enumerate(sizes, start=1)
    ]


def watch(seen: Seen, long_s: float, *sizes: int, **more: Any) -> None:
    """Runs it."""
    interface = more.pop("interface", None)
    with EchoWatch(
        targets(*sizes, interface=interface), step_s=STEP_S, timeout_s=0.3, **more
    ) as watching:
        watching.run(seen, long_s, threading.Event())


def test_every_place_of_the_grid_has_its_echo() -> None:
    """Two sizes, a second: twenty places each, all answered, none twice, none overtaken."""
    seen = Seen()
    stopwatch = Stopwatch()
    watch(seen, 1.0, 56, 1472)
    assert stopwatch.s >= 1.0
    assert stopwatch.alone_s < 3.0
    for row in (0, 1):
        assert sorted(seen.rtt_us[row]) == list(range(20))
        assert all(0 <= us < 500_000 for us in seen.rtt_us[row].values())
    assert (seen.extra, seen.gaps, dict(seen.silent)) == ([], [], {})


def test_a_stop_is_a_gap_and_no_burst_follows() -> None:
    """The clock jumps by an hour, as after sleep: places in it are passed over, the time is added."""
    ahead = [0.0]

    def sleep(now_s: float) -> None:
        if now_s >= 0.5 and not ahead[0]:
            ahead[0] = 3600.0

    seen = Seen(at=sleep)
    watch(seen, 1.0, 56, clock=lambda: time.monotonic() + ahead[0])
    ((start_s, end_s, interface),) = seen.gaps
    assert interface is None
    assert end_s - start_s == pytest.approx(3600.0, abs=0.5)
    slots = sorted(seen.rtt_us[0])
    later = [s for s in slots if s * STEP_S > 3000]
    assert len(slots) == pytest.approx(20, abs=2)
    assert later == list(range(later[0], later[0] + len(later)))
    assert not any(what == "lost" for what, _ in seen.silent[0].values())


@pytest.mark.parametrize("hours", [-1, 1])
def test_a_time_of_day_that_is_set_spoils_no_round_trip(
    monkeypatch: pytest.MonkeyPatch, hours: int
) -> None:
    """The kernel stamps arrivals with the time of day; set an hour off, they are not believed."""
    right = sockets._realtime_offset_ns
    off = {"ns": 0}
    monkeypatch.setattr(sockets, "_realtime_offset_ns", lambda: right() + off["ns"])

    def step(now_s: float) -> None:
        if now_s > 0.4:
            off["ns"] = hours * 3_600_000_000_000

    seen = Seen(at=step)
    watch(seen, 1.0, 56)
    assert len(seen.rtt_us[0]) == 20
    assert max(seen.rtt_us[0].values()) < 500_000
    assert not seen.silent


def link(seen: Seen, plugged: Callable[[float], LinkState]) -> Callable[[str], LinkState]:
    """An interface whose state is given by the time of the run."""
    now = [0.0]
    seen.at = lambda now_s: now.__setitem__(0, now_s)
    return lambda name: plugged(now[0])


def test_nothing_is_sent_through_an_interface_that_is_down() -> None:
    """Its time is a gap with its name; nothing is lost in it."""
    seen = Seen()
    look = link(seen, lambda at: LinkState(up=not 0.5 < at < 1.2, changes=(at > 0.5) + (at > 1.2)))
    watch(seen, 2.0, 56, interface="eth0", look=look)
    ((start_s, end_s, interface),) = seen.gaps
    assert interface == "eth0"
    assert start_s <= 0.55
    assert 1.15 <= end_s <= 1.2 + 0.5
    slots = sorted(seen.rtt_us[0])
    assert not [s for s in slots if 0.8 < s * STEP_S < 1.2]
    assert not seen.silent


def test_an_interface_that_stays_down_is_told_at_the_end() -> None:
    """The gap lasts to the end."""
    seen = Seen()
    look = link(seen, lambda at: LinkState(up=at < 0.5, changes=int(at >= 0.5)))
    watch(seen, 1.0, 56, interface="eth0", look=look)
    ((_, end_s, interface),) = seen.gaps
    assert interface == "eth0"
    assert end_s == pytest.approx(1.0, abs=0.2)


def test_a_short_flap_between_two_looks_is_seen() -> None:
    """Down and up again within a quarter of a second: the kernel counts changes of the carrier."""
    seen = Seen()
    look = link(seen, lambda at: LinkState(up=True, changes=2 * (at > 0.5)))
    watch(seen, 1.0, 56, interface="eth0", look=look)
    assert [g[2] for g in seen.gaps] == ["eth0"]


def test_state_of_the_loopback_interface() -> None:
    """Up, by the kernel's own files; one that is not there is down."""
    assert link_state("lo").up
    assert not link_state("no-such-port").up


def test_a_busy_machine_loses_no_place() -> None:
    """A loop that comes round late, at the very end too, still sends what was due by then."""

    def late(now_s: float) -> None:
        if now_s > 0.8:
            time.sleep(0.3)

    seen = Seen(at=late)
    watch(seen, 1.0, 56)
    assert sorted(seen.rtt_us[0]) == list(range(20))
    assert not seen.gaps
