"""Who asks the devices by SNMP: this process's event loop, or forked processes where they are many.

Coding ASN.1 keeps one core busy with some 1,300 answers a second, so further cores are worth their
processes. They are forked before anything else runs: keys and plan go over without being sent, only
names of devices and what was seen cross the pipes.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import signal
import sys
import traceback
from collections.abc import Iterator, Mapping, Sequence
from contextlib import AsyncExitStack, contextmanager, suppress
from multiprocessing.connection import Connection
from typing import Self

from verifier.errors import VerifierError
from verifier.model.observations import ANSWER, Unreadable
from verifier.model.problem import Subject
from verifier.session.ask import levels
from verifier.session.ask.job import Job, Poller
from verifier.session.ask.polls import EvidencePoll, HealthPoll
from verifier.session.ask.questions import Questions
from verifier.session.recorder import Packed, Recorder, packed, unpacked
from verifier.session.request import Paces
from verifier.session.world import SnmpManager, World


class LoopPoller:
    """Asks in the running event loop.

    Args:
        jobs: by the device's name.
        paces: shared with the other probes.
        world: what is asked.
    """

    def __init__(self, jobs: Mapping[str, Job], paces: Paces, world: World) -> None:
        self._jobs = jobs
        # Evidence shows types, which the faster client does not tell: it serves health alone.
        health = any(job.health for job in jobs.values())
        self._clocks = world.clocks
        self._network = world.snmp(paces.network, values_only=health)
        self._loopback = world.snmp(paces.loopback, values_only=health)
        self._open = AsyncExitStack()

    async def __aenter__(self) -> Self:
        await self._open.enter_async_context(self._network)
        await self._open.enter_async_context(self._loopback)
        return self

    async def __aexit__(self, *exc: object) -> None:
        await self._open.aclose()

    async def poll(self, name: str, record: Recorder) -> None:
        """See `Poller`."""
        job = self._jobs[name]
        asked = (self._client(job), job.target, job.device, job.profile, record)
        poll: Questions = (
            HealthPoll(*asked)
            if job.health
            else EvidencePoll(*asked, default_community=job.default_community, hosts=job.hosts)
        )
        await poll.run(job.deadline_s)

    async def sample(self, name: str, record: Recorder) -> None:
        """See `Poller`."""
        await self._sample(name, record, levels.SAMPLED, levels.TIMES)

    async def look(self, name: str, record: Recorder) -> None:
        """Reads once what a modulation depends on, see `sampling`."""
        await self._sample(name, record, levels.WATCHED, 1)

    async def _sample(
        self, name: str, record: Recorder, fields: frozenset[str], times: int
    ) -> None:
        job = self._jobs[name]
        named = levels.sampled(job.profile, fields)
        await levels.sample(self._client(job), self._clocks, job.target, named, record, times)

    def _client(self, job: Job) -> SnmpManager:
        return self._loopback if job.target.address.is_loopback else self._network


MANY = 150
"""Devices from which processes pay for their start; measured, see tests/bench/README.md."""
MOST = 8
_TOGETHER_S = 0.01
"""Orders and answers of so long go through a pipe together: each message wakes a process."""
_END_S = 3.0
"""How long processes may take to hand over what they saw, and to end."""


def worker_count(devices: int) -> int:
    """How many processes are worth it for so many devices; 0: none."""
    cores = os.cpu_count() or 1
    if sys.platform != "linux" or devices < MANY or cores < 2:  # noqa: PLR2004
        return 0
    return min(cores, MOST)


@contextmanager
def running_poller(
    jobs: Mapping[str, Job], paces: Paces, world: World, workers: int
) -> Iterator[Poller]:
    """Who asks: so many processes, or the event loop itself for 0; entered before it runs."""
    if workers:
        with _forked(jobs, paces, world, workers) as forked:
            yield forked
    else:
        yield LoopPoller(jobs, paces, world)


@contextmanager
def _forked(
    jobs: Mapping[str, Job], paces: Paces, world: World, count: int
) -> Iterator[InProcesses]:
    context = multiprocessing.get_context("fork")
    ours: list[Connection] = []
    processes = []
    for _ in range(count):
        mine, theirs = context.Pipe()
        ours.append(mine)
        process = context.Process(
            target=_work, args=(theirs, list(ours), jobs, paces, world), daemon=True
        )
        process.start()
        theirs.close()
        processes.append(process)
    try:
        yield InProcesses(ours)
    finally:
        for connection in ours:
            connection.close()
        for process in processes:
            process.join(_END_S)
            process.kill()
            process.join()


class _Post:
    """What goes through a pipe; what is put in within a moment goes together."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._waiting: list[object] = []

    def put(self, message: object) -> None:
        """Sends a message soon."""
        if not self._waiting:
            asyncio.get_running_loop().call_later(_TOGETHER_S, self.send)
        self._waiting.append(message)

    def send(self) -> None:
        """Sends what waits, now."""
        messages, self._waiting = self._waiting, []
        if messages:
            with suppress(OSError):  # the other end is gone: nobody is left to tell
                self._connection.send(messages)


class InProcesses:
    """Hands devices out to processes and takes in what they saw; used within one event loop."""

    def __init__(self, connections: Sequence[Connection]) -> None:
        self._connections = list(connections)
        self._posts = {connection: _Post(connection) for connection in connections}
        self._listening: set[Connection] = set()
        self._asked: dict[Connection, dict[str, tuple[Recorder, asyncio.Future[None]]]] = {}
        self._ended = asyncio.Event()
        self._next = 0

    async def __aenter__(self) -> Self:
        loop = asyncio.get_running_loop()
        for connection in self._connections:
            loop.add_reader(connection.fileno(), self._arrived, connection)
            self._listening.add(connection)
            self._asked[connection] = {}
        return self

    async def __aexit__(self, *exc: object) -> None:
        """Tells the processes to end and takes in what they had seen by then."""
        for connection in tuple(self._listening):
            with suppress(OSError):
                connection.send(None)
        with suppress(TimeoutError):
            async with asyncio.timeout(_END_S):
                await self._ended.wait()
        for connection in tuple(self._listening):
            self._close(connection)

    async def poll(self, name: str, record: Recorder) -> None:
        """See `Poller`; a device whose process dies is not tested, and that is written down."""
        await self._ask("poll", name, record)

    async def sample(self, name: str, record: Recorder) -> None:
        """See `Poller`."""
        await self._ask("sample", name, record)

    async def _ask(self, what: str, name: str, record: Recorder) -> None:
        connection = self._connections[self._next % len(self._connections)]
        self._next += 1
        if connection not in self._listening:
            _note_death(record)
            return
        finished = asyncio.get_running_loop().create_future()
        self._asked[connection][name] = record, finished
        self._posts[connection].put((what, name))
        await finished

    def _arrived(self, connection: Connection) -> None:
        try:
            answers = connection.recv()
        except (EOFError, OSError):
            self._close(connection)
            return
        for name, seen, failure in answers:
            self._answered(*self._asked[connection].pop(name), seen, failure)

    @staticmethod
    def _answered(
        record: Recorder, finished: asyncio.Future[None], seen: list[Packed], failure: str
    ) -> None:
        record.seen.extend(unpacked(seen))
        if finished.done():
            return
        if failure:
            finished.set_exception(VerifierError(failure))
        else:
            finished.set_result(None)

    def _close(self, connection: Connection) -> None:
        asyncio.get_running_loop().remove_reader(connection.fileno())
        self._listening.discard(connection)
        for record, finished in self._asked.pop(connection).values():
            if not finished.done():
                _note_death(record)
                finished.set_result(None)
        if not self._listening:
            self._ended.set()


def _note_death(record: Recorder) -> None:
    record.note(ANSWER, Unreadable("the process that asked it by SNMP ended too early"))


def _work(
    connection: Connection,
    others: Sequence[Connection],
    jobs: Mapping[str, Job],
    paces: Paces,
    world: World,
) -> None:
    """A process's life: asks the devices it is told, ends when the pipe does."""
    for number in (signal.SIGINT, signal.SIGTERM):  # they may go to the whole group: parent decides
        signal.signal(number, signal.SIG_IGN)
    for other in others:
        other.close()
    world.run(_answer(connection, jobs, paces, world))


async def _answer(
    connection: Connection, jobs: Mapping[str, Job], paces: Paces, world: World
) -> None:
    loop = asyncio.get_running_loop()
    told_to_end = asyncio.Event()
    tasks: set[asyncio.Task[None]] = set()
    answers = _Post(connection)

    async def ask(what: str, name: str) -> None:
        record = Recorder(Subject("device", name), world.clocks.now)
        failure = ""
        try:
            await (asking.sample if what == "sample" else asking.poll)(name, record)
        except Exception:  # noqa: BLE001 - handed over; the parent raises it
            failure = traceback.format_exc()
        finally:
            answers.put((name, packed(record.seen), failure))

    def arrived() -> None:
        try:
            orders = connection.recv()
        except (EOFError, OSError):
            orders = None
        if orders is None:
            loop.remove_reader(connection.fileno())
            told_to_end.set()
            return
        for order in orders:
            task = loop.create_task(ask(*order))
            tasks.add(task)
            task.add_done_callback(tasks.discard)

    async with LoopPoller(jobs, paces, world) as asking:
        loop.add_reader(connection.fileno(), arrived)
        await told_to_end.wait()
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        answers.send()
    connection.close()
