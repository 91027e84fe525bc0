"""One TCP service: does a connection open."""

from __future__ import annotations

import asyncio
import errno
import time
from dataclasses import dataclass

from verifier.model.address import Address
from verifier.model.observations import TcpState
from verifier.probes.pace import Slots

_UNREACHABLE = {errno.ENETUNREACH, errno.EHOSTUNREACH, errno.ENETDOWN, errno.EHOSTDOWN}
_FROM_THE_NETWORK = {
    errno.ETIMEDOUT, errno.ECONNRESET, errno.ECONNABORTED, errno.EACCES, errno.EPROTO,
    errno.ENOPROTOOPT,
}  # fmt: skip
"""What the other end or an ICMP error brings about (icmp(7), RFC 4443 3.1: EACCES by a filter)."""


@dataclass(frozen=True, slots=True)
class TcpAnswer:
    """What a connection attempt met.

    Attributes:
        state: `open` (handshake done), `closed` (reset, RFC 9293 3.10.7.1), `filtered` (silence or
            refused by something in between), `unreachable` (no way to the host), `not-sent` (this
            machine's fault: no descriptor left, not permitted, no such source address).
        detail: in words.
        took_ms: time to the answer, or to giving up.
    """

    state: TcpState
    detail: str
    took_ms: float


async def connect(
    address: Address, port: int, *, timeout_s: float, pace: Slots, source: Address | None = None
) -> TcpAnswer:
    """Opens and closes one connection to `address`; at most `timeout_s` seconds long."""
    await asyncio.sleep(max(0.0, pace.slot() - time.monotonic()))
    started = time.perf_counter()
    try:
        async with asyncio.timeout(timeout_s):
            _, writer = await asyncio.open_connection(
                str(address), port, local_addr=(str(source), 0) if source else None
            )
    except TimeoutError:
        return TcpAnswer("filtered", f"no answer within {timeout_s:g} s", _ms_since(started))
    except OSError as fault:
        state, detail = _translate(fault)
        return TcpAnswer(state, detail, _ms_since(started))
    answer = TcpAnswer("open", "connection opened", _ms_since(started))
    writer.transport.abort()
    return answer


def _translate(fault: OSError) -> tuple[TcpState, str]:
    if fault.errno == errno.ECONNREFUSED:
        return "closed", "connection refused"
    if fault.errno in _UNREACHABLE:
        return "unreachable", (fault.strerror or str(fault)).lower()
    if fault.errno in _FROM_THE_NETWORK:
        return "filtered", (fault.strerror or str(fault)).lower()
    return "not-sent", f"this machine could not ask: {fault.strerror or fault}"


def _ms_since(started: float) -> float:
    return (time.perf_counter() - started) * 1000.0
