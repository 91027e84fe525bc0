"""The echo engine on loopback addresses of this machine."""

from __future__ import annotations

import itertools
import socket
import statistics
import struct
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.stopwatch import Stopwatch
from verifier.errors import CannotMeasureError
from verifier.model.address import Address
from verifier.probes.echo import sockets
from verifier.probes.echo.burst import Echoer
from verifier.probes.echo.exchange import EchoBurst, EchoTarget
from verifier.probes.pace import CATCH_UP_S, Pace

pytestmark = pytest.mark.icmp

SMALL_BUFFER_BYTES = 4096


@pytest.fixture
def echoer() -> Iterator[Echoer]:
    with Echoer(pace=Pace(None), on_link_pace=Pace(None)) as opened:
        yield opened


def targets(count: int, *, new: bool = False) -> list[EchoTarget]:
    return [
        EchoTarget(address=Address.parse(f"127.9.{i // 250}.{i % 250 + 1}"), on_link_new=new)
        for i in range(count)
    ]


def received(measured: list[EchoBurst]) -> list[float]:
    return [rtt for series in measured for rtt in series.rtt_ms if rtt is not None]


def test_no_loss_and_no_delay_of_our_own(echoer: Echoer) -> None:
    """2,000 addresses, three echoes each, as fast as it goes: all come back at once."""
    measured = echoer.run(targets(2000), count=3, interval_s=0, timeout_s=1)
    assert [s.sent for s in measured] == [3] * 2000
    assert len(received(measured)) == 6000
    assert min(received(measured)) > 0
    assert statistics.median(received(measured)) < 0.05
    assert echoer.kernel_drops == 0
    assert sum(s.duplicates + s.reordered + s.foreign_id for s in measured) == 0


def test_both_families_in_one_run(echoer: Echoer) -> None:
    """Results keep the order of the targets."""
    addresses = ["127.0.0.1", "::1", "127.0.0.2"]
    asked = [EchoTarget(address=Address.parse(a)) for a in addresses]
    measured = echoer.run(asked, count=2, interval_s=0.01, timeout_s=1)
    assert [str(s.target.address) for s in measured] == addresses
    assert len(received(measured)) == 6


def test_same_address_twice(echoer: Echoer) -> None:
    """Each of both has its own replies; none is taken for a duplicate of the other."""
    twice = targets(1) * 2
    measured = echoer.run(twice, count=50, interval_s=0, timeout_s=1)
    assert [len(received([s])) for s in measured] == [50, 50]
    assert [s.duplicates for s in measured] == [0, 0]


def test_more_echoes_than_sequence_numbers(echoer: Echoer) -> None:
    """70,000 echoes to one address: 16 bits of sequence come round without a mistake."""
    (series,) = echoer.run(targets(1), count=70_000, interval_s=0, timeout_s=1)
    assert len(received([series])) == 70_000
    assert (series.duplicates, series.reordered) == (0, 0)


def test_two_engines_at_once_do_not_hear_each_other() -> None:
    """Every raw socket hears every reply; none is counted twice or for the other."""
    measured: dict[int, list[EchoBurst]] = {}

    def measure(number: int) -> None:
        with Echoer(pace=Pace(None), on_link_pace=Pace(None)) as echoer:
            asked = targets(200)
            measured[number] = echoer.run(asked, count=5, interval_s=0.001, timeout_s=2)

    threads = [threading.Thread(target=measure, args=(n,)) for n in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for series in itertools.chain(*measured.values()):
        assert len(received([series])) == 5
        assert (series.duplicates, series.foreign_id) == (0, 0)


@pytest.mark.parametrize("payload_bytes", [16, 17, 1472, 8972])
def test_payload_of_any_size(echoer: Echoer, payload_bytes: int) -> None:
    """From the token alone to what fills a jumbo frame (9,000 - 20 - 8)."""
    asked = targets(20)
    measured = echoer.run(asked, count=2, interval_s=0, timeout_s=1, payload_bytes=payload_bytes)
    assert len(received(measured)) == 40
    assert {s.payload_bytes for s in measured} == {payload_bytes}


def test_packet_too_large_for_the_interface(echoer: Echoer) -> None:
    """More than an IPv4 packet can hold is refused before anything is sent."""
    with pytest.raises(ValueError, match="of payload"):
        echoer.run(targets(1), count=1, interval_s=0, timeout_s=1, payload_bytes=65508)


def test_each_series_is_handed_over_once_complete(echoer: Echoer) -> None:
    """`on_done` gets every position once, with what `run` returns in the end."""
    done: dict[int, EchoBurst] = {}
    asked = targets(50)
    measured = echoer.run(asked, count=3, interval_s=0.01, timeout_s=1, on_done=done.__setitem__)
    assert [done[i] for i in range(50)] == measured


def test_stopped_before_it_began(echoer: Echoer) -> None:
    """Nothing sent is nothing measured: `sent` is 0."""
    stop = threading.Event()
    stop.set()
    measured = echoer.run(targets(3), count=3, interval_s=0, timeout_s=1, stop=stop)
    assert [(s.sent, s.silences) for s in measured] == [(0, ())] * 3


def test_ends_soon_after_the_last_reply(echoer: Echoer) -> None:
    """Nothing is waited for but duplicates, 20 ms; the best of three is taken."""
    took = []
    for _ in range(3):
        stopwatch = Stopwatch()
        echoer.run(targets(1), count=1, interval_s=0, timeout_s=1)
        took.append((stopwatch.s, stopwatch.alone_s))
    assert min(s for s, _ in took) >= 0.02
    assert min(alone_s for _, alone_s in took) < 0.035


def test_nobody_to_ask(echoer: Echoer) -> None:
    """No target, no result, no socket needed."""
    assert echoer.run([], count=3, interval_s=0, timeout_s=1) == []


def arrivals_at(address: str, run: threading.Thread, count: int) -> list[float]:
    """Kernel times at which echo requests to a loopback address arrived while a thread ran."""
    with socket.socket(socket.AF_INET, socket.SOCK_RAW, socket.IPPROTO_ICMP) as tap:
        tap.bind((address, 0))
        tap.setsockopt(socket.SOL_SOCKET, 35, 1)  # SO_TIMESTAMPNS
        tap.settimeout(2)
        run.start()
        times: list[float] = []
        while len(times) < count:
            packet, ancillary, _, _ = tap.recvmsg(2048, 64)
            if packet[20] == 8:
                seconds, nanoseconds = struct.unpack("@ll", ancillary[0][2])
                times.append(seconds + nanoseconds / 1e9)
        run.join()
    return times


@pytest.mark.raw
def test_interval_between_echoes_on_the_wire(echoer: Echoer) -> None:
    """Echoes to one target never leave closer together than asked."""
    asked = targets(1)
    run = threading.Thread(target=lambda: echoer.run(asked, count=8, interval_s=0.03, timeout_s=1))
    times = arrivals_at("127.9.0.1", run, 8)
    gaps = [b - a for a, b in itertools.pairwise(times)]
    assert min(gaps) >= 0.0299
    assert statistics.median(gaps) < 0.035


def test_pace_holds_for_all_targets_together() -> None:
    """2,000 echoes at 2,000 a second take a second: never less, and within 5 % unless disturbed."""
    took = []
    for _ in range(3):
        with Echoer(pace=Pace(1), on_link_pace=Pace(1), loopback_pace=Pace(2000)) as echoer:
            stopwatch = Stopwatch()
            measured = echoer.run(targets(1000), count=2, interval_s=0, timeout_s=1)
            took.append((stopwatch.s, stopwatch.alone_s))
        assert len(received(measured)) == 2000
    assert min(s for s, _ in took) >= 1 - CATCH_UP_S - 0.001
    assert min(alone_s for _, alone_s in took) <= 1.05


def test_first_echo_to_a_new_neighbour_has_a_pace_of_its_own() -> None:
    """20 first echoes at 100 a second; the second ones to them do not wait for it."""
    with Echoer(pace=Pace(None), on_link_pace=Pace(100)) as echoer:
        stopwatch = Stopwatch()
        measured = echoer.run(targets(20, new=True), count=2, interval_s=0, timeout_s=1)
        took_s, alone_s = stopwatch.s, stopwatch.alone_s
    assert len(received(measured)) == 40
    assert took_s >= 0.19 - CATCH_UP_S - 0.001
    assert alone_s < 0.3


def test_time_until_the_reader_comes_is_not_in_the_rtt(echoer: Echoer) -> None:
    """The thread is kept away for 50 ms at a time; the kernel's stamps are not impressed."""
    measured = echoer.run(
        targets(10),
        count=5,
        interval_s=0.005,
        timeout_s=1,
        on_done=lambda *_: time.sleep(0.05),
    )
    assert len(received(measured)) == 50
    assert max(received(measured)) < 20


def test_beside_a_busy_thread(echoer: Echoer) -> None:
    """A thread that only computes takes nothing away: no loss, and RTTs as without it."""
    over = threading.Event()

    def compute() -> None:
        while not over.is_set():
            sum(range(1000))

    busy = threading.Thread(target=compute)
    busy.start()
    try:
        measured = echoer.run(targets(20), count=5, interval_s=0.05, timeout_s=1)
    finally:
        over.set()
        busy.join()
    assert len(received(measured)) == 100
    assert statistics.median(received(measured)) < 0.5


@pytest.mark.parametrize("step_s", [-3600, 3600])
def test_step_of_the_wall_clock(
    echoer: Echoer, monkeypatch: pytest.MonkeyPatch, step_s: int
) -> None:
    """A stamp from before or after the echo is not used: the monotonic difference stands."""
    real = sockets._realtime_offset_ns
    monkeypatch.setattr(sockets, "_realtime_offset_ns", lambda: real() + step_s * 1_000_000_000)
    measured = echoer.run(targets(20), count=3, interval_s=0.001, timeout_s=1)
    assert len(received(measured)) == 60
    assert all(0 < rtt < 100 for rtt in received(measured))


@pytest.mark.raw
def test_system_without_linux_options(monkeypatch: pytest.MonkeyPatch) -> None:
    """No stamps, no filter, no error queue: a plain monotonic difference, and still no mistake."""
    monkeypatch.setattr(sockets, "LINUX", False)
    asked = [*targets(50), EchoTarget(address=Address.parse("::1"))]
    with Echoer(pace=Pace(None), on_link_pace=Pace(None), kind="raw") as echoer:
        measured = echoer.run(asked, count=3, interval_s=0.001, timeout_s=1)
    assert len(received(measured)) == 153
    assert all(0 < rtt < 100 for rtt in received(measured))


def test_dropped_by_this_machine_is_not_lost_on_the_way(echoer: Echoer) -> None:
    """With a receive buffer far too small the kernel drops replies: said, asked again, no loss."""
    echoer.open(4)
    opened = echoer.sockets.by_version[4]
    opened._socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, SMALL_BUFFER_BYTES)
    opened.capacity = lambda payload_bytes: 1000 + payload_bytes  # type: ignore[method-assign]
    measured = echoer.run(targets(200), count=2, interval_s=0, timeout_s=0.2)
    assert echoer.kernel_drops > 0
    assert len(received(measured)) == 400
    assert all(s.silences == () for s in measured)


def test_in_flight_fits_the_buffer(echoer: Echoer) -> None:
    """The same small buffer, and the number in flight taken from it: nothing is dropped.

    A raw socket also hears what others send on this machine, so a disturbed run is made again.
    """
    echoer.open(4)
    opened = echoer.sockets.by_version[4]
    opened._socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, SMALL_BUFFER_BYTES)
    dropped = []
    for _ in range(5):
        before = echoer.kernel_drops
        measured = echoer.run(targets(200), count=2, interval_s=0, timeout_s=0.5)
        assert len(received(measured)) == 400
        dropped.append(echoer.kernel_drops - before)
        if dropped[-1] == 0:
            break
    assert 0 in dropped


def test_sockets_are_closed() -> None:
    """No descriptor is left over after many engines."""
    before = len(list(Path("/proc/self/fd").iterdir()))
    for _ in range(20):
        with Echoer(pace=Pace(None), on_link_pace=Pace(None)) as echoer:
            echoer.run(targets(1), count=1, interval_s=0, timeout_s=1)
    assert len(list(Path("/proc/self/fd").iterdir())) == before


def test_kind_that_was_asked_for_and_is_not_allowed() -> None:
    """Only the datagram kind where the group is not in the range: refused with the remedy."""
    try:
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM, socket.IPPROTO_ICMP).close()
    except PermissionError:
        with (
            Echoer(pace=Pace(None), on_link_pace=Pace(None), kind="datagram") as echoer,
            pytest.raises(CannotMeasureError, match="ping_group_range") as caught,
        ):
            echoer.open(4)
        assert "CAP_NET_RAW" not in str(caught.value)
    else:
        with Echoer(pace=Pace(None), on_link_pace=Pace(None), kind="datagram") as echoer:
            assert echoer.open(4) == "datagram"
