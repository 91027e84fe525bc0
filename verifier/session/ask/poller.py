"""Who asks the devices by SNMP: this process's own event loop."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import AsyncExitStack
from typing import Self

from verifier.session.ask import levels
from verifier.session.ask.job import Job
from verifier.session.ask.polls import EvidencePoll, HealthPoll
from verifier.session.ask.questions import Questions
from verifier.session.recorder import Recorder
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

    async def survey(self, name: str, record: Recorder) -> None:
        """See `Poller`."""
        job = self._jobs[name]
        asked = (self._client(job), job.target, job.device, job.profile, record)
        survey: Questions = (
            HealthPoll(*asked)
            if job.health
            else EvidencePoll(*asked, default_community=job.default_community, hosts=job.hosts)
        )
        await survey.run(job.deadline_s)

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
