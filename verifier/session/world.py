"""What a session gets from outside: this laptop, its cable, echoes, TCP, SNMP, clocks, chance.

The real one is `verifier.probes.world.ThisMachine`; the simulator has another one in memory, in
simulated time. No module of `session/` reads a clock, sleeps, opens a socket or draws lots by
itself: it asks its `World`.
"""

from __future__ import annotations

import datetime as dt
import random
import threading
from collections.abc import Callable, Collection, Coroutine, Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from typing import Any, Protocol, Self, TypeVar

from verifier.model.address import Address, Interface, Mac
from verifier.model.laptop import Laptop, Route
from verifier.model.observations import PathMtu
from verifier.probes.cable.frames import Frame
from verifier.probes.echo.exchange import EchoBurst, EchoTarget
from verifier.probes.echo.watch import EchoSink, Watched
from verifier.probes.pace import Slots
from verifier.probes.snmp.values import ColumnTable, SnmpReply, SnmpTarget
from verifier.probes.snmp.walk import REPETITIONS
from verifier.probes.tcp import TcpAnswer

_Value = TypeVar("_Value")
Say = Callable[[str], None]
"""Tells a person something."""


class Readable(Protocol):
    """Something that becomes readable."""

    def fileno(self) -> int:
        """Its descriptor."""


class Clocks(Protocol):
    """The time of day, the clocks that nobody sets, and waiting."""

    def now(self) -> dt.datetime:
        """The time of day, in UTC. Intervals are never taken from it."""

    def monotonic_s(self) -> float:
        """Seconds on a clock that nobody sets."""

    def elapsed_s(self) -> float:
        """The same on a clock that goes on while the machine sleeps, where it has one."""

    async def sleep(self, seconds: float) -> None:
        """Waits in the event loop; not at all where `seconds` is not positive."""

    def pause(self, seconds: float | None, *wake: Readable) -> Sequence[Readable]:
        """Waits outside of an event loop, until one of `wake` is readable; returns those.

        `seconds`: at most so long; None: without an end.
        """


class LaptopAccess(Protocol):
    """This laptop: what it is, and setting its addresses."""

    @property
    def platform(self) -> str:
        """Its operating system as Python calls it: `linux`, `darwin`, `win32`."""

    @property
    def own_name(self) -> str:
        """What it is called itself."""

    @property
    def can_be_set(self) -> bool:
        """Whether this user may set its addresses with this program."""

    def look(self) -> Laptop:
        """All interfaces with their addresses and link state."""

    def routes(self, addresses: Iterable[Address]) -> dict[Address, Route | None]:
        """The kernel's choice for each address; None where it has no way.

        Raises CannotMeasureError if the kernel cannot be asked.
        """

    def preferred(self, addresses: Iterable[Address]) -> dict[Address, tuple[str, int]]:
        """The interface the kernel would use for each, and the matching prefix's length."""

    def interface_names(self) -> frozenset[str]:
        """Names of its interfaces."""

    def neighbours(self) -> dict[Address, Mac]:
        """Hardware addresses that its kernel has learnt."""

    def added(
        self, interface: str, addresses: Sequence[Interface], say: Say
    ) -> AbstractContextManager[None]:
        """Has `addresses` on `interface` while the context lasts.

        Raises CannotMeasureError: no permission, an address is another's, ...
        """

    def take_back_leftovers(self, say: Say) -> None:
        """Takes back what a run that was killed has set; says so."""

    def versions(self) -> dict[str, str]:
        """Versions of this program, of Python, of the operating system and of the libraries."""


class Wire(Protocol):
    """An interface that is open for frames."""

    @property
    def interface(self) -> str:
        """Its name."""

    @property
    def mac(self) -> Mac:
        """Its hardware address."""

    def ask(self, address: Address, source: Address | None = None) -> None:
        """Asks once who holds an address: by ARP probe, IPv6 from `source` by solicitation.

        Raises OSError: its queue is full, or it went down.
        """

    def hear(self, take: Callable[[Frame], None]) -> None:
        """Has every frame of others taken, in the running event loop, until it is closed."""


class Wires(Protocol):
    """Open interfaces by name, and why others could not be opened."""

    @property
    def opened(self) -> Mapping[str, Wire]:
        """Those that are open."""

    @property
    def refused(self) -> Sequence[str]:
        """Why others are not, once each."""


class CableAccess(Protocol):
    """The cable: asking by ARP and neighbour discovery, and listening."""

    def wires(
        self, interfaces: Iterable[str], *, everything: bool, of: Collection[Mac]
    ) -> AbstractContextManager[Wires]:
        """Opens interfaces; `everything`: hears what is sent to others, of `of` every frame."""

    async def arp_responders(  # noqa: PLR0913, PLR0917
        self,
        interface: str,
        source: Address,
        addresses: Sequence[Address],
        unplanned: Sequence[Address],
        pace: Slots,
        stop: threading.Event,
    ) -> Mapping[Address, tuple[Mac, ...]]:
        """Everybody who answers by ARP for each address. Raises OSError: no permission, ..."""


class EchoSender(Protocol):
    """Sends series of echoes."""

    @property
    def kernel_drops(self) -> int:
        """Replies that this machine dropped; their echoes were sent again."""

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
        """Sends `count` echoes to each target; one series for each, in order.

        `on_done` is called in the event loop with a target's position and its complete series.
        Once `stop` is set, what has been judged so far comes back.
        Raises CannotMeasureError where a socket is missing.
        """


class EchoAccess(Protocol):
    """Echoes (ICMP)."""

    def sender(
        self, *, pace: Slots, on_link_pace: Slots, loopback_pace: Slots | None = None
    ) -> AbstractContextManager[EchoSender]:
        """Who sends series of echoes; see `probes.echo.burst.Echoer`."""

    async def path_mtus(  # noqa: PLR0913
        self,
        targets: Sequence[EchoTarget],
        planned: int,
        *,
        timeout_s: float,
        pace: Slots,
        on_link_pace: Slots,
        loopback_pace: Slots,
        stop: threading.Event,
    ) -> list[PathMtu]:
        """What reaches each target whole. Raises CannotMeasureError where a socket is missing."""

    async def watch(  # noqa: PLR0913
        self,
        watched: Sequence[Watched],
        sink: EchoSink,
        *,
        step_s: float,
        timeout_s: float,
        long_s: float,
        stop: threading.Event,
        pace: Slots | None = None,
    ) -> None:
        """Echoes on a grid for `long_s` seconds, or until `stop` is set.

        `sink` may be called from another thread.
        Raises CannotMeasureError where a socket is missing.
        """

    def missing(self, version: int) -> str:
        """Why echoes of this address family (4, 6) cannot be sent; empty where they can."""


class SnmpManager(Protocol):
    """Asks agents; an async context manager. See `probes.snmp.SnmpClient`."""

    async def __aenter__(self) -> Self:
        """Ready to ask."""

    async def __aexit__(self, *exc: object) -> None:
        """Closes its sockets."""

    async def get(
        self, target: SnmpTarget, oids: Sequence[str], deadline_s: float | None = None
    ) -> SnmpReply:
        """Reads objects."""

    async def get_next(
        self, target: SnmpTarget, oids: Sequence[str], deadline_s: float | None = None
    ) -> SnmpReply:
        """Reads the objects that follow."""

    async def walk(
        self,
        target: SnmpTarget,
        columns: Sequence[str],
        *,
        max_rows: int = 1000,
        deadline_s: float = 30.0,
        repetitions: int = REPETITIONS,
    ) -> ColumnTable:
        """Reads columns of a table together."""


class World(Protocol):
    """All of it."""

    @property
    def clocks(self) -> Clocks:
        """The clocks, and waiting."""

    @property
    def laptop(self) -> LaptopAccess:
        """This laptop."""

    @property
    def cable(self) -> CableAccess:
        """Its cable."""

    @property
    def echoes(self) -> EchoAccess:
        """Echoes."""

    @property
    def chance(self) -> random.Random:
        """Draws lots."""

    def pace(self, per_s: float | None, *, shared: bool = False) -> Slots:
        """Sending slots, so many a second; `shared` with processes that are forked later."""

    def snmp(self, pace: Slots | None = None, *, values_only: bool = False) -> SnmpManager:
        """Who asks agents; `values_only`: it need not tell types, and may be quicker."""

    async def tcp(self, address: Address, port: int, *, timeout_s: float, pace: Slots) -> TcpAnswer:
        """Opens and closes one connection."""

    def run(self, work: Coroutine[Any, Any, _Value]) -> _Value:
        """Carries out `work` in an event loop of its own, to its end."""

    async def in_thread(self, work: Callable[[], _Value]) -> _Value:
        """Carries out something that may take long beside the event loop."""
