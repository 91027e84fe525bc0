"""Agents to ask: net-snmp's snmpd, and hand-made ones that do not keep to the rules."""

from __future__ import annotations

import asyncio
import contextlib
import os
import subprocess
from collections.abc import AsyncIterator, Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from pyasn1.codec.ber import decoder, encoder
from pysnmp.proto.api import v2c

from tests.lab.agent import listens
from tests.ports import free_port


@dataclass(frozen=True)
class Running:
    """An snmpd that runs, and net-snmp's clients to ask it with."""

    address: str
    port: int
    process: subprocess.Popen[bytes]

    def client(self, program: str, *arguments: str) -> list[str]:
        """Lines that `snmpget` or the like prints, OIDs and values as numbers, octets in hex."""
        done = subprocess.run(
            [program, "-On", "-Oe", "-Ot", "-Ox", *arguments],
            env={"PATH": os.environ["PATH"], "MIBS": ""},
            capture_output=True,
            text=True,
            check=True,
            timeout=60,
        )
        lines: list[str] = []
        for line in done.stdout.splitlines():
            if line.startswith("."):
                lines.append(line.rstrip())
            else:  # octets go on
                lines[-1] += " " + line.rstrip()
        return lines


Start = Callable[..., Running]


@contextlib.contextmanager
def _agents(folder: Path) -> Iterator[Start]:
    running: list[subprocess.Popen[bytes]] = []

    def start(
        config: str, address: str = "127.0.0.1", *, engine_id: str = "", boots: int = 0
    ) -> Running:
        """Starts an agent, perhaps one with an engine id that has booted so often."""
        if engine_id:
            past = f"exactEngineID 0x{engine_id}\noldEngineID 0x{engine_id}\nengineBoots {boots}\n"
            config = past + config
        for _ in range(10):
            port = free_port(address)
            own = folder / f"agent-{address}-{port}"
            own.mkdir()
            (own / "config").write_text(config)
            process = subprocess.Popen(
                ["snmpd", "-f", "-C", "-c", str(own / "config"), "-Lf", str(own / "log"),
                 f"udp:{address}:{port}"],
                env={**os.environ, "SNMP_PERSISTENT_DIR": str(own), "MIBS": ""},
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )  # fmt: skip
            running.append(process)
            if listens(process, address, port):
                return Running(address, port, process)
        raise AssertionError((own / "log").read_text())

    try:
        yield start
    finally:
        for process in running:
            process.terminate()
        for process in running:
            process.wait(timeout=60)


@pytest.fixture(scope="module")
def snmpd(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Start]:
    """Starts snmpd as often as wanted; they end with the module."""
    with _agents(tmp_path_factory.mktemp("snmpd")) as start:
        yield start


@dataclass(frozen=True)
class Asked:
    """A v2c request as a hand-made agent gets it."""

    message: Any
    pdu: Any
    kind: str
    oids: list[tuple[int, ...]]
    repetitions: int

    def reply(self, *bindings: tuple[Any, Any], status: int = 0, index: int = 0) -> bytes:
        """The octets of a response; a value is given as text, octets, number or pysnmp's."""
        pdu = v2c.ResponsePDU()
        v2c.apiPDU.set_defaults(pdu)
        v2c.apiPDU.set_request_id(pdu, v2c.apiPDU.get_request_id(self.pdu))
        v2c.apiPDU.set_error_status(pdu, status)
        v2c.apiPDU.set_varbinds(pdu, [(v2c.ObjectIdentifier(o), _value(v)) for o, v in bindings])
        if index:
            v2c.apiPDU.set_error_index(pdu, index)
        v2c.apiMessage.set_pdu(self.message, pdu)
        return bytes(encoder.encode(self.message))


def _value(value: Any) -> Any:
    if isinstance(value, int):
        return v2c.Integer32(value)
    return v2c.OctetString(value) if isinstance(value, str | bytes) else value


def read_request(datagram: bytes) -> Asked:
    message, _ = decoder.decode(datagram, asn1Spec=v2c.Message())
    pdu = v2c.apiMessage.get_pdu(message)
    kinds = {
        v2c.GetRequestPDU.tagSet: "get",
        v2c.GetNextRequestPDU.tagSet: "next",
        v2c.GetBulkRequestPDU.tagSet: "bulk",
    }
    kind = kinds[pdu.tagSet]
    oids = [tuple(name) for name, _ in v2c.apiPDU.get_varbinds(pdu)]
    repetitions = int(v2c.apiBulkPDU.get_max_repetitions(pdu)) if kind == "bulk" else 1
    return Asked(message, pdu, kind, oids, repetitions)


class _Protocol(asyncio.DatagramProtocol):
    def __init__(self, answer: Callable[[bytes], Iterable[bytes]], sender: Any) -> None:
        self._answer = answer
        self._sender = sender

    def connection_made(self, transport: Any) -> None:
        self._sender = self._sender or transport

    def datagram_received(self, data: bytes, addr: Any) -> None:
        for datagram in self._answer(data):
            self._sender.sendto(datagram, addr)


@pytest.fixture
def handmade() -> Any:
    """Starts an agent inside the test's loop: `answer(Asked)` gives the datagrams to send.

    With `raw=True` it gets the octets. With `answers_from` another address answers.
    """

    @contextlib.asynccontextmanager
    async def start(
        answer: Callable[[Any], Iterable[bytes]],
        address: str = "127.0.0.1",
        *,
        raw: bool = False,
        answers_from: str | None = None,
    ) -> AsyncIterator[tuple[str, int]]:
        loop = asyncio.get_running_loop()
        heard = answer if raw else lambda datagram: answer(read_request(datagram))
        other = None
        if answers_from:
            other, _ = await loop.create_datagram_endpoint(
                asyncio.DatagramProtocol, local_addr=(answers_from, 0)
            )
        transport, _ = await loop.create_datagram_endpoint(
            lambda: _Protocol(heard, other), local_addr=(address, 0)
        )
        try:
            yield transport.get_extra_info("sockname")
        finally:
            transport.close()
            if other:
                other.close()
            await asyncio.sleep(0)

    return start
