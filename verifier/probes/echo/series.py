"""The echoes to one target: whom to ask, what became of each, and why some had no reply."""

from __future__ import annotations

import errno
import os
import socket
from dataclasses import dataclass, field
from typing import Any, Final

from verifier.model.address import Address
from verifier.model.observations import Silence, SilenceReason
from verifier.probes.echo.packet import Quoted, words_of
from verifier.probes.echo.sockets import Ancillary, EchoSocket

_REASONS: Final[dict[int | None, SilenceReason]] = {
    errno.ENETUNREACH: "no-route",
    errno.EHOSTUNREACH: "no-route",
    errno.EPERM: "not-permitted",
    errno.EACCES: "not-permitted",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class EchoTarget:
    """Whom to ask, and from where.

    Attributes:
        source: source address of the echoes; the kernel's choice if None.
        interface: interface they leave by; the kernel's choice if None.
        on_link_new: the first echo makes the kernel resolve a new neighbour.
    """

    address: Address
    source: Address | None = None
    interface: str | None = None
    on_link_new: bool = False


def silence_of_error(error: Quoted, version: int, reporter: str) -> Silence:
    """An ICMP error came instead of the reply."""
    return Silence(
        reason="unreachable",
        text=words_of(version, error.type, error.code),
        type=error.type,
        code=error.code,
        reporter=reporter,
        mtu=error.mtu,
    )


def silence_of_refusal(error: OSError) -> Silence:
    """This machine refused to send."""
    return Silence(
        reason=_REASONS.get(error.errno, "sending-failed"),
        text=error.strerror or str(error),
        errno=errno.errorcode.get(error.errno or 0),
    )


TIMED_OUT: Final = Silence(reason="timed-out", text="no reply in time")


@dataclass(frozen=True, slots=True, kw_only=True)
class EchoSeries:
    """What became of the echoes to one target. Nothing was measured where `sent` is 0.

    Attributes:
        rtt_ms: one per echo that left and was judged, in order; None: no reply.
        silences: one per echo without reply, in order. It also holds those that did not leave
            this machine (no route, not permitted, sending failed); they are not in `rtt_ms`.
        duplicates: replies beyond the first of an echo.
        reordered: first replies that came after the reply to a later echo (RFC 4737 section 3).
        foreign_id: replies with our token and another identifier: rewritten on the way. They
            do not count as replies; a datagram socket does not hear them.
    """

    target: EchoTarget
    rtt_ms: tuple[float | None, ...] = ()
    silences: tuple[Silence, ...] = ()
    duplicates: int = 0
    reordered: int = 0
    foreign_id: int = 0
    payload_bytes: int

    @property
    def sent(self) -> int:
        """Echoes that left this machine and were judged."""
        return len(self.rtt_ms)


@dataclass(slots=True, eq=False)
class Series:
    """A series in the making.

    Attributes:
        host, to: the address as the kernel writes it, alone and as a socket address.
        open: echoes not yet judged.
        fault: errno that keeps every echo from leaving, or 0.
    """

    index: int
    target: EchoTarget
    socket: EchoSocket
    open: int
    host: str = ""
    to: tuple[Any, ...] = ()
    ancillary: Ancillary = field(default_factory=list)
    fault: int = 0
    latest: int = -1
    rtt_ms: dict[int, float | None] = field(default_factory=dict)
    silences: dict[int, Silence] = field(default_factory=dict)
    duplicates: int = 0
    reordered: int = 0
    foreign_id: int = 0

    def __post_init__(self) -> None:
        try:
            self._locate()
        except OSError as error:  # no interface of this name
            self.fault = error.errno or errno.ENODEV

    def _locate(self) -> None:
        target, address = self.target, self.target.address
        interface = socket.if_nametoindex(target.interface) if target.interface else 0
        if address.version == 4:  # noqa: PLR2004
            self.host = socket.inet_ntoa(_packed(address))
            self.to = (self.host, 0)
        else:
            self.host = socket.inet_ntop(socket.AF_INET6, _packed(address))
            scope = interface if address.is_link_local else 0
            if zone := address.zone:
                scope = int(zone) if zone.isdigit() else socket.if_nametoindex(zone)
            self.to = (self.host, 0, 0, scope)
        source = None if target.source is None else _packed(target.source)
        self.ancillary = self.socket.leave_from(source, interface)

    def send(self, packet: bytes) -> float:
        """Sends; returns the `time.monotonic()` just before. Raises OSError if it did not leave."""
        if self.fault:
            raise OSError(self.fault, os.strerror(self.fault))
        return self.socket.send(packet, self.to, self.ancillary)

    def answered(self, number: int, rtt_ms: float) -> None:
        """An echo has its reply."""
        self.open -= 1
        self.rtt_ms[number] = rtt_ms
        self.reordered += number < self.latest
        self.latest = max(number, self.latest)

    def lost(self, number: int, silence: Silence) -> None:
        """An echo left and has no reply."""
        self.rtt_ms[number] = None
        self.refused(number, silence)

    def refused(self, number: int, silence: Silence) -> None:
        """An echo did not leave this machine."""
        self.open -= 1
        self.silences[number] = silence

    def result(self, payload_bytes: int) -> EchoSeries:
        """What has been judged so far."""
        return EchoSeries(
            target=self.target,
            rtt_ms=tuple(self.rtt_ms[n] for n in sorted(self.rtt_ms)),
            silences=tuple(self.silences[n] for n in sorted(self.silences)),
            duplicates=self.duplicates,
            reordered=self.reordered,
            foreign_id=self.foreign_id,
            payload_bytes=payload_bytes,
        )


def _packed(address: Address) -> bytes:
    return address.value.to_bytes(address.bits // 8, "big")
