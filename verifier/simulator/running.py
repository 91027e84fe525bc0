"""Runs a network beside the program: in a thread, or in a process of its own."""

from __future__ import annotations

import dataclasses
import multiprocessing
import signal
import sys
import threading
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from multiprocessing.connection import Connection
from typing import Any

from verifier.errors import UsageError
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.plan import Plan
from verifier.model.profile import Profile
from verifier.simulator.faults import PlantedFault
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.server import Server

_SECRETS = ("community", "auth_key", "priv_key")
_ANSWER_S = 60.0
"""How long the other process may take to build a network, and to end."""


@contextmanager
def running(network: SimulatedNetwork, *, services: bool = False) -> Iterator[Server]:
    """Serves a network from a thread while the `with` block runs.

    Raises UsageError where a UDP port cannot be listened on.
    """
    server = Server(network, services=services)
    thread = threading.Thread(target=server.run, name="simulator", daemon=True)
    thread.start()
    try:
        yield server
    finally:
        server.stop()
        thread.join()


class Remote:
    """A network that runs in another process.

    Attributes:
        not_listening: TCP services that could not be opened, in words.
    """

    def __init__(self, connection: Connection, not_listening: list[str]) -> None:
        self._connection = connection
        self.not_listening = not_listening

    def put(self, fault: PlantedFault) -> None:
        """As `SimulatedNetwork.put`; it is on when this returns."""
        self._ask(("put", fault))

    def take_off(self, fault: PlantedFault) -> None:
        """As `SimulatedNetwork.take_off`; it is off when this returns."""
        self._ask(("take_off", fault))

    def _ask(self, order: tuple[str, PlantedFault]) -> None:
        self._connection.send(order)
        _answer(self._connection)


@contextmanager
def running_process(  # noqa: PLR0913
    plan: Plan,
    profiles: Mapping[str, Profile],
    credentials: Mapping[str, SnmpEntry],
    *,
    port: int | None = None,
    faults: Iterable[PlantedFault] = (),
    services: bool = False,
) -> Iterator[Remote]:
    """Serves a network from another process while the block runs; arguments as `SimulatedNetwork`.

    Secrets go to it through a pipe. It ends with this process, whatever becomes of it.
    Raises UsageError as `SimulatedNetwork` and `Server` do.
    """
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_serve, args=(theirs,), name="simulator", daemon=True)
    with _interrupts_held():
        process.start()
    theirs.close()
    try:
        spelled = {name: _spelled(entry) for name, entry in credentials.items()}
        arguments = {"port": port, "faults": tuple(faults)}
        ours.send((plan, dict(profiles), spelled, arguments, services))
        yield Remote(ours, _answer(ours))
    finally:
        ours.close()
        process.join(_ANSWER_S)
        if process.is_alive():
            process.kill()
            process.join()


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """Ctrl-C goes to every process at the terminal; one started here is deaf to it from birth."""
    if sys.platform == "win32":
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _answer(connection: Connection) -> Any:
    """What the other process answers; its UsageError is raised here."""
    if not connection.poll(_ANSWER_S):
        raise UsageError("the simulated network does not start")
    try:
        answer = connection.recv()
    except EOFError:
        raise UsageError("the simulated network ended unexpectedly") from None
    if isinstance(answer, UsageError):
        raise answer
    return answer


def _serve(connection: Connection) -> None:
    """The other process: builds the network, serves it, takes orders until the pipe ends."""
    plan, profiles, spelled, arguments, services = connection.recv()
    credentials = {name: _entry(values) for name, values in spelled.items()}
    try:
        network = SimulatedNetwork(plan, profiles, credentials, **arguments)
        server = Server(network, services=services)
    except UsageError as error:
        connection.send(error)
        return
    orders = threading.Thread(target=_obey, args=(connection, network, server), daemon=True)
    connection.send(server.not_listening)
    orders.start()
    server.run()


def _obey(connection: Connection, network: SimulatedNetwork, server: Server) -> None:
    with suppress(EOFError, OSError):
        while True:
            what, fault = connection.recv()
            try:
                (network.put if what == "put" else network.take_off)(fault)
                connection.send(None)
            except UsageError as error:
                connection.send(error)
    server.stop()


def _spelled(entry: SnmpEntry) -> dict[str, Any]:
    """An entry with its secrets in the open: for the pipe only."""
    values = {f.name: getattr(entry, f.name) for f in dataclasses.fields(entry)}
    return {k: v.reveal() if isinstance(v, Secret) else v for k, v in values.items()}


def _entry(values: dict[str, Any]) -> SnmpEntry:
    secrets = {k: Secret(values[k]) for k in _SECRETS if values[k] is not None}
    return SnmpEntry(**(values | secrets))
