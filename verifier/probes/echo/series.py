"""Whom to send echoes to, what became of them, and why some had no reply."""

from __future__ import annotations

import errno
from dataclasses import dataclass
from typing import Final

from verifier.model.address import Address
from verifier.model.observations import Silence, SilenceReason
from verifier.probes.echo.packet import Quoted, words_of

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
class EchoBurst:
    """What became of the echoes to one target. Nothing was measured where `sent` is 0.

    Attributes:
        rtt_ms: one per echo that left and was judged, in order; None: no reply.
        silences: one per echo without reply, in order. It also holds those that did not leave
            this machine (no route, not permitted, sending failed); they are not in `rtt_ms`.
        duplicates: replies beyond the first of an echo.
        reordered: first replies that came after the reply to a later echo (RFC 4737 section 3).
        foreign_id: replies with our token and another identifier: rewritten on the way. They
            do not count as replies; a datagram socket does not hear them.
        by: the program of the system that measured, with its version; empty: this one.
    """

    target: EchoTarget
    rtt_ms: tuple[float | None, ...] = ()
    silences: tuple[Silence, ...] = ()
    duplicates: int = 0
    reordered: int = 0
    foreign_id: int = 0
    payload_bytes: int
    by: str = ""

    @property
    def sent(self) -> int:
        """Echoes that left this machine and were judged."""
        return len(self.rtt_ms)
