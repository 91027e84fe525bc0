"""This machine and its network as a session sees them: all probes, put together.

What a session asks for is declared in `session/world.py`; this is the real one of it.
"""

from __future__ import annotations

import asyncio
import datetime as dt
import random
import select
import socket
import sys
import threading
import time
from collections.abc import (
    Callable,
    Collection,
    Coroutine,
    Iterable,
    Iterator,
    Mapping,
    Sequence,
)
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from functools import partial
from typing import Any, Protocol, TypeVar

from verifier.errors import CannotMeasureError
from verifier.model.address import Address, Interface, Mac
from verifier.model.observations import PathMtu
from verifier.probes import tcp
from verifier.probes.cable import arp
from verifier.probes.cable.listen import WireSet, open_wires
from verifier.probes.echo import mtu
from verifier.probes.echo.burst import Echoer
from verifier.probes.echo.exchange import EchoBurst, EchoTarget
from verifier.probes.echo.open import NotPermittedError, open_socket
from verifier.probes.echo.system_ping import PingEchoer
from verifier.probes.echo.watch import EchoSink, EchoWatch, Watched, elapsed
from verifier.probes.laptop import look as this_machine
from verifier.probes.pace import Pace, Slots
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.fast import fastest

_Value = TypeVar("_Value")
_Say = Callable[[str], None]


class _Readable(Protocol):
    def fileno(self) -> int: ...


_Waker = TypeVar("_Waker", bound=_Readable)


class SystemClocks:
    """This machine's clocks."""

    now = staticmethod(partial(dt.datetime.now, dt.UTC))
    monotonic_s = staticmethod(time.monotonic)
    elapsed_s = staticmethod(elapsed)

    @staticmethod
    async def sleep(seconds: float) -> None:
        """Waits in the event loop."""
        await asyncio.sleep(max(0.0, seconds))

    @staticmethod
    def pause(seconds: float | None, *wake: _Waker) -> Sequence[_Waker]:
        """Waits for so long, or until one of `wake` is readable; returns those."""
        return select.select(wake, [], [], None if seconds is None else max(0.0, seconds))[0]


class RealLaptop:
    """This laptop, as `probes.laptop` sees it."""

    platform: str = sys.platform

    @property
    def own_name(self) -> str:
        """What it is called itself."""
        return socket.gethostname()

    @property
    def can_be_set(self) -> bool:
        """Whether this user may set its addresses with this program."""
        return self.platform == "linux" and this_machine.may_set_addresses()

    look = staticmethod(this_machine.look)
    routes = staticmethod(this_machine.routes)
    preferred = staticmethod(this_machine.preferred)
    interface_names = staticmethod(this_machine.interface_names)
    neighbours = staticmethod(this_machine.neighbours)
    versions = staticmethod(this_machine.versions)

    def added(
        self, interface: str, addresses: Sequence[Interface], say: _Say
    ) -> AbstractContextManager[None]:
        """See `probes.laptop.set_addresses`; Linux only."""
        from verifier.probes.laptop import set_addresses  # noqa: PLC0415 - needs fcntl

        return set_addresses.added(interface, addresses, say)

    def take_back_leftovers(self, say: _Say) -> None:
        """See `probes.laptop.set_addresses`; Linux only."""
        if self.platform == "linux":
            from verifier.probes.laptop import set_addresses  # noqa: PLC0415 - needs fcntl

            set_addresses.take_back_leftovers(say)


class RealCable:
    """The cable, by packet sockets (Linux)."""

    @staticmethod
    def wires(interfaces: Iterable[str], *, everything: bool, of: Collection[Mac]) -> WireSet:
        """Opens interfaces."""
        return open_wires(interfaces, everything=everything, of=of)

    @staticmethod
    async def arp_responders(  # noqa: PLR0913, PLR0917
        interface: str,
        source: Address,
        addresses: Sequence[Address],
        unplanned: Sequence[Address],
        pace: Slots,
        stop: threading.Event,
    ) -> Mapping[Address, tuple[Mac, ...]]:
        """See `probes.cable.arp.arp_responders`; nobody where this is not Linux."""
        if sys.platform != "linux":
            return {}
        return await _to_the_end(
            lambda stopped: arp.arp_responders(
                interface, source, addresses, unplanned, pace, stopped
            ),
            stop,
        )


class _StopOrCancelled(threading.Event):
    """Set where `stop` is, or by itself."""

    def __init__(self, stop: threading.Event | None) -> None:
        super().__init__()
        self._stop = stop

    def is_set(self) -> bool:
        return super().is_set() or (self._stop is not None and self._stop.is_set())


async def _to_the_end(
    work: Callable[[threading.Event], _Value], stop: threading.Event | None
) -> _Value:
    """Carries out `work` in a thread; who cancels waits until the thread has ended."""
    stopped = _StopOrCancelled(stop)
    thread = asyncio.ensure_future(asyncio.to_thread(work, stopped))
    try:
        return await asyncio.shield(thread)
    except asyncio.CancelledError:
        stopped.set()
        await asyncio.wait([thread])
        raise


class _Sender:
    """An `Echoer` that sends from a thread: kernel timestamps keep round trips right.

    Where this user may not send echoes, the system's ping does.
    """

    def __init__(self, echoer: Echoer, ping: PingEchoer) -> None:
        self._echoer = echoer
        self._ping = ping

    @property
    def kernel_drops(self) -> int:
        return self._echoer.kernel_drops

    async def run(  # noqa: PLR0913
        self,
        targets: Sequence[EchoTarget],
        *,
        count: int,
        interval_s: float,
        timeout_s: float,
        on_done: Callable[[int, EchoBurst], None] | None = None,
        stop: threading.Event | None = None,
    ) -> list[EchoBurst]:
        loop = asyncio.get_running_loop()

        def done(index: int, series: EchoBurst) -> None:
            loop.call_soon_threadsafe(on_done, index, series)  # type: ignore[arg-type]

        told = None if on_done is None else done
        try:
            for version in {t.address.version for t in targets}:
                self._echoer.open(version)
        except NotPermittedError as fault:
            why = str(fault)
            # In a loop of its own: starting a process keeps a loop from what else it waits for.
            return await _to_the_end(
                lambda stopped: asyncio.run(
                    self._ping.run(
                        targets, count=count, interval_s=interval_s, timeout_s=timeout_s,
                        why=why, on_done=told, stop=stopped,
                    )
                ),
                stop,
            )  # fmt: skip
        return await _to_the_end(
            lambda stopped: self._echoer.run(
                targets, count=count, interval_s=interval_s, timeout_s=timeout_s,
                on_done=told, stop=stopped,
            ),
            stop,
        )  # fmt: skip


class RealEchoes:
    """Echoes, by this machine's ICMP sockets."""

    @staticmethod
    @contextmanager
    def sender(
        *, pace: Slots, on_link_pace: Slots, loopback_pace: Slots | None = None
    ) -> Iterator[_Sender]:
        """Who sends series of echoes."""
        with Echoer(pace=pace, on_link_pace=on_link_pace, loopback_pace=loopback_pace) as echoer:
            ping = PingEchoer(pace=pace, on_link_pace=on_link_pace, loopback_pace=loopback_pace)
            yield _Sender(echoer, ping)

    @staticmethod
    async def path_mtus(  # noqa: PLR0913
        targets: Sequence[EchoTarget],
        planned: int,
        *,
        timeout_s: float,
        pace: Slots,
        on_link_pace: Slots,
        loopback_pace: Slots,
        stop: threading.Event,
    ) -> list[PathMtu]:
        """See `probes.echo.mtu.path_mtus`."""

        def work(stopped: threading.Event) -> list[PathMtu]:
            with Echoer(
                pace=pace, on_link_pace=on_link_pace, loopback_pace=loopback_pace, whole=True
            ) as echoer:
                return mtu.path_mtus(echoer, targets, planned, timeout_s=timeout_s, stop=stopped)

        return await _to_the_end(work, stop)

    @staticmethod
    async def watch(  # noqa: PLR0913
        watched: Sequence[Watched],
        sink: EchoSink,
        *,
        step_s: float,
        timeout_s: float,
        long_s: float,
        stop: threading.Event,
        pace: Slots | None = None,
    ) -> None:
        """See `probes.echo.watch.EchoWatch`; `sink` is called from its thread."""

        def work(stopped: threading.Event) -> None:
            with EchoWatch(watched, step_s=step_s, timeout_s=timeout_s, pace=pace) as watch:
                watch.run(sink, long_s, stopped)

        await _to_the_end(work, stop)

    @staticmethod
    def missing(version: int) -> str:
        """Why no echo socket opens; empty where one does."""
        try:
            open_socket(version, "auto").close()
        except CannotMeasureError as fault:
            return str(fault)
        return ""


@dataclass(frozen=True)
class ThisMachine:
    """The real world."""

    clocks: SystemClocks = field(default_factory=SystemClocks)
    laptop: RealLaptop = field(default_factory=RealLaptop)
    cable: RealCable = field(default_factory=RealCable)
    echoes: RealEchoes = field(default_factory=RealEchoes)
    chance: random.Random = field(default_factory=random.SystemRandom)

    @staticmethod
    def pace(per_s: float | None, *, shared: bool = False) -> Pace:
        """See `probes.pace.Pace`."""
        return Pace(per_s, shared=shared)

    @staticmethod
    def snmp(pace: Slots | None = None, *, values_only: bool = False) -> SnmpClient:
        """See `probes.snmp`; the faster library tells values only."""
        return fastest(pace) if values_only else SnmpClient(pace)

    @staticmethod
    async def tcp(address: Address, port: int, *, timeout_s: float, pace: Slots) -> tcp.TcpAnswer:
        """See `probes.tcp`."""
        return await tcp.connect(address, port, timeout_s=timeout_s, pace=pace)

    @staticmethod
    def run(work: Coroutine[Any, Any, _Value]) -> _Value:
        """An event loop of its own."""
        return asyncio.run(work)

    @staticmethod
    async def in_thread(work: Callable[[], _Value]) -> _Value:
        """A thread of the event loop's pool."""
        return await asyncio.to_thread(work)
