"""One TCP service: open, closed, filtered, unreachable."""

from __future__ import annotations

import asyncio
import errno
import os
import resource
import socket
import time

import pytest

from tests.stopwatch import Stopwatch
from verifier.model.address import Address
from verifier.probes.pace import Pace
from verifier.probes.tcp import TcpAnswer, _translate, connect

HERE = Address.parse("127.82.0.9")


def ask(port: int, *, address: Address = HERE, timeout_s: float = 1.0) -> TcpAnswer:
    return asyncio.run(connect(address, port, timeout_s=timeout_s, pace=Pace(None)))


def test_open() -> None:
    with socket.create_server((str(HERE), 0)) as server:
        assert ask(server.getsockname()[1]).state == "open"


def test_closed() -> None:
    with socket.create_server((str(HERE), 0)) as server:
        port = server.getsockname()[1]
    answer = ask(port)
    assert (answer.state, answer.detail) == ("closed", "connection refused")


def test_silence_is_filtered_and_ends_in_time() -> None:
    """A listener whose queue is full does not answer: what a filter that drops looks like."""
    with socket.socket() as server:
        server.bind((str(HERE), 0))
        server.listen(0)
        port = server.getsockname()[1]
        waiting = [socket.socket() for _ in range(4)]
        for client in waiting:
            client.settimeout(0)
            client.connect_ex((str(HERE), port))
        stopwatch = Stopwatch()
        answer = ask(port, timeout_s=0.3)
        took_s = stopwatch.alone_s
        for client in waiting:
            client.close()
    assert answer.state == "filtered"
    assert took_s < 1.0


def test_ipv6() -> None:
    with socket.create_server(("::1", 0), family=socket.AF_INET6) as server:
        assert ask(server.getsockname()[1], address=Address.parse("::1")).state == "open"


def test_pace_is_kept() -> None:
    """Twenty-one connections at 50 a second take 0.4 s, less 20 ms that may be caught up."""

    async def many() -> float:
        pace = Pace(50)
        started = time.monotonic()
        await asyncio.gather(*(connect(HERE, 9, timeout_s=1, pace=pace) for _ in range(21)))
        return time.monotonic() - started

    assert asyncio.run(many()) >= 0.38


def test_what_this_machine_cannot_do_is_no_state_of_the_service() -> None:
    """Without a descriptor left nothing was asked: neither closed nor filtered."""
    before = resource.getrlimit(resource.RLIMIT_NOFILE)

    async def without_descriptors() -> TcpAnswer:
        free = os.dup(0)
        os.close(free)
        resource.setrlimit(resource.RLIMIT_NOFILE, (free, before[1]))
        return await connect(HERE, 9, timeout_s=1.0, pace=Pace(None))

    try:
        answer = asyncio.run(without_descriptors())
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, before)
    assert answer.state == "not-sent"
    assert "this machine" in answer.detail


@pytest.mark.parametrize(
    ("number", "state"),
    [
        (errno.EHOSTUNREACH, "unreachable"), (errno.ENETUNREACH, "unreachable"),
        (errno.ECONNREFUSED, "closed"), (errno.ECONNRESET, "filtered"),
        (errno.EACCES, "filtered"), (errno.EMFILE, "not-sent"), (errno.EADDRNOTAVAIL, "not-sent"),
    ],
)  # fmt: skip
def test_what_an_error_of_the_kernel_means(number: int, state: str) -> None:
    """By connect(2), ip(7) and icmp(7)."""
    assert _translate(OSError(number, os.strerror(number)))[0] == state
