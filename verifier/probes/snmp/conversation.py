"""One question to one agent, from the first request to its answer or the end of waiting."""

from __future__ import annotations

import asyncio
import errno
import time
from dataclasses import dataclass, field
from typing import cast

from verifier.model.mib import USM_STATS
from verifier.model.observations import Outcome
from verifier.probes.pace import Slots
from verifier.probes.snmp.engine import Engine, Report, RequestPdu, Response
from verifier.probes.snmp.transport import Endpoint, SocketAddress, Transport, Unreachable, endpoint
from verifier.probes.snmp.values import SnmpReply, dotted, error_name
from verifier.probes.snmp.wire import V3, Header, read_header

RESYNCHRONISE = {"unknown-engine-id", "not-in-time-window"}
"""Reports that teach us the peer's engine id and time: the question goes out again (RFC 3414 4)."""
REPORTS_PER_QUESTION = 3
"""Discovery, time synchronisation, and one to spare."""
DECODES_PER_QUESTION = 12
"""Datagrams with the right id that are decoded; more are not looked at."""
_OTHERS = 4
"""Addresses that answered instead of the one asked, of which note is taken."""

_UNKNOWN_ENGINE_ID = next(oid for oid, name in USM_STATS.items() if name == "unknown-engine-id")
_OUTCOME_OF_REPORT = cast("dict[str, Outcome]", USM_STATS)
_SAID: dict[int, str] = {
    errno.ECONNREFUSED: "port unreachable",
    errno.EHOSTUNREACH: "host unreachable",
    errno.ENETUNREACH: "network unreachable",
    errno.EACCES: "not permitted",
}
_REPORTED: dict[Outcome, str] = {
    "unsupported-level": "the agent does not serve this user at this security level",
    "not-in-time-window": "the agent rejects its own boot count and clock",
    "unknown-user": "the agent does not know this user",
    "unknown-engine-id": "the agent rejects the engine id it gave itself",
    "wrong-digest": "the agent finds the authentication wrong: other key or other algorithm",
    "decryption-error": "the agent cannot decrypt: other privacy key or other algorithm",
}

_SILENT_AFTER_REPORT = (
    "the agent gave its engine id and then no answer: so it is with another privacy key"
)

Event = Response | Report | Unreachable


class SendQueue:
    """The way out, shared by all conversations: one request leaves in each turn of the loop.

    Between two requests the socket is read, so that a burst of questions does not make a burst
    of answers that overflows the receive buffer.
    """

    def __init__(self, pace: Slots | None) -> None:
        self._pace = pace
        self._turn = asyncio.Lock()

    async def wait(self) -> None:
        """Waits until a request may leave."""
        await self.slot()
        async with self._turn:
            await asyncio.sleep(0)

    async def slot(self) -> None:
        """Waits for the pace alone: for a socket that nobody else uses."""
        if self._pace is not None:
            delay_s = self._pace.slot() - time.monotonic()
            if delay_s > 0:
                await asyncio.sleep(delay_s)


@dataclass(eq=False, slots=True)
class Conversation:
    """Asks one question; a late answer to an earlier request of it counts as well."""

    engine: Engine
    transport: Transport
    line: SendQueue
    peer: SocketAddress
    question: RequestPdu
    timeout_s: float
    retries: int
    _event: asyncio.Future[Event] | None = None
    _sent: dict[int, tuple[float, bytes]] = field(default_factory=dict)
    _handles: list[int] = field(default_factory=list)
    _datagram: bytes = b""
    _header: Header | None = None
    _decoded: Response | Report | None = None
    _others: dict[Endpoint, None] = field(default_factory=dict)
    _took_s: float = 0.0
    _waited_s: float = 0.0
    _unusable: int = 0
    _decodes: int = DECODES_PER_QUESTION
    _error: Unreachable | None = None

    async def ask(self) -> SnmpReply:
        """What became of the question, after at most timeout_s * (retries + 1) of waiting."""
        reports = attempts = 0
        try:
            while attempts <= self.retries and self._left_s > 0:
                event = await self._exchange()
                if isinstance(event, Unreachable) and event.errno == errno.ECONNREFUSED:
                    event = await self._once_more()
                    if isinstance(event, Unreachable):
                        return self._ended("port-unreachable", self._said_by(event))
                if isinstance(event, Response):
                    return self._answered(event)
                if isinstance(event, Report):
                    outcome = _OUTCOME_OF_REPORT.get(event.oid)
                    reports += 1
                    if outcome not in RESYNCHRONISE or reports > self._reports_taken(outcome):
                        return self._reported(event, outcome)
                else:
                    attempts += 1
            return self._unanswered()
        except OSError as failed:
            lost = failed.errno in {errno.ENETUNREACH, errno.EHOSTUNREACH}
            return self._ended(
                "no-route" if lost else "local-error",
                f"this machine cannot send there: {failed.strerror}",
            )
        finally:
            self._release()

    # --- the transport's side

    def arrived(self, datagram: bytes, header: Header) -> None:
        """Takes a datagram of our peer that carries the id of one of our requests."""
        if self._event is None or self._event.done() or self._decodes == 0:
            return
        self._decodes -= 1
        sent_s, engine_id = self._sent[header.id]
        self._decoded = None
        self.engine.decode(datagram, self.peer)
        if self._decoded is None and engine_id and header.engine_id not in {b"", engine_id}:
            # a report of an engine that it was not talking to is more than pysnmp reads
            self._decoded = Report(_UNKNOWN_ENGINE_ID)
        if self._decoded is None:
            self._unusable += 1
            return
        self._header = header
        self._took_s = time.monotonic() - sent_s
        self._event.set_result(self._decoded)

    def answered_elsewhere(self, sender: Endpoint) -> None:
        """Takes note of an answer that came from another address or port than was asked."""
        if len(self._others) < _OTHERS:
            self._others[sender] = None

    def babbled(self) -> None:
        """Takes note of a datagram that is no answer of SNMP."""
        self._unusable += 1

    def unreachable(self, error: Unreachable) -> None:
        """Takes an error about a datagram to our peer."""
        self._error = error
        if self._event is not None and not self._event.done():
            self._event.set_result(error)

    # --- sending and waiting

    @property
    def _left_s(self) -> float:
        return self.timeout_s * (self.retries + 1) - self._waited_s

    def _reports_taken(self, outcome: Outcome | None) -> int:
        """How many such reports are worth another request.

        An engine id that was sent and is refused stays refused: pysnmp keeps it for the peer.
        """
        refused = outcome == "unknown-engine-id" and any(sent[1] for sent in self._sent.values())
        return 0 if refused else REPORTS_PER_QUESTION

    async def _exchange(self) -> Event | None:
        """Sends the question; what comes for it within the time of one request, or None."""
        await self.line.wait()
        self._event = asyncio.get_running_loop().create_future()
        self._encode()
        self.transport.send(self._datagram, self.peer)
        started_s = time.monotonic()
        try:
            async with asyncio.timeout(min(self.timeout_s, self._left_s)):
                return await self._event
        except TimeoutError:
            return None
        finally:
            self._waited_s += time.monotonic() - started_s

    async def _once_more(self) -> Event | None:
        """Repeats the last request on a connected socket: an error that was stale is not repeated.

        ICMP errors may be late or belong to another process's datagram; a connected socket hears
        only of its own.
        """
        if self._left_s <= 0:
            return None
        await self.line.wait()
        self._event = asyncio.get_running_loop().create_future()
        started_s = time.monotonic()
        wait_s = min(self.timeout_s, self._left_s)
        refused = await self.transport.refused(self._datagram, self.peer, wait_s)
        self._waited_s += time.monotonic() - started_s
        if refused:
            return self._error
        return self._event.result() if self._event.done() else None

    def _encode(self) -> None:
        """Makes the request anew: each has its own id."""
        handle, self._datagram = self.engine.encode(self.question, self.peer, self._take)
        self._handles.append(handle)
        header = read_header(self._datagram)
        assert header is not None
        self._sent[header.id] = (time.monotonic(), header.engine_id)
        self.transport.expect(header.id, self)

    def _take(self, decoded: Response | Report) -> None:
        self._decoded = decoded

    def _release(self) -> None:
        for message_id in self._sent:
            self.transport.forget(message_id)
        for handle in self._handles:
            self.engine.forget(handle)

    # --- what became of it

    def _ended(
        self,
        outcome: Outcome,
        detail: str,
        response: Response | None = None,
        took_s: float | None = None,
    ) -> SnmpReply:
        header = self._header if self._header and self._header.version == V3 else None
        return SnmpReply(
            outcome=outcome,
            bindings=response.bindings if response else (),
            error_status=response.error_status if response else 0,
            error_index=response.error_index if response else 0,
            responder=endpoint(self.peer).host if self._header else None,
            elsewhere=tuple(self._others) if outcome == "silent" else (),
            took_ms=1000 * (self._waited_s if took_s is None else took_s),
            engine_id=header.engine_id if header else None,
            engine_boots=header.boots if header else None,
            engine_time=header.time if header else None,
            detail=detail,
        )

    def _answered(self, response: Response) -> SnmpReply:
        if response.error_status:
            words = _error_words(self.question, response)
            return self._ended("error-status", words, response, self._took_s)
        return self._ended("answered", "", response, self._took_s)

    def _reported(self, report: Report, outcome: Outcome | None) -> SnmpReply:
        if outcome is None:
            words = f"the agent reports {report.oid}"
            return self._ended("error-status", words, took_s=self._took_s)
        return self._ended(outcome, _REPORTED[outcome], took_s=self._took_s)

    def _unanswered(self) -> SnmpReply:
        if self._unusable:
            return self._ended(
                "undecodable", f"{self._unusable} datagrams came that are no answer to the question"
            )
        if self.engine.may_lack_privacy(self.peer):
            return self._ended("silent", _SILENT_AFTER_REPORT)
        if self._error is None:
            return self._ended("silent", "")
        if self._error.errno == errno.ECONNREFUSED:
            return self._ended("silent", self._said_by(self._error) + ", but not when asked again")
        return self._ended("host-unreachable", self._said_by(self._error))

    def _said_by(self, error: Unreachable) -> str:
        return f"{error.reporter or 'this machine'} says: {_SAID[error.errno]}"


def _error_words(question: RequestPdu, response: Response) -> str:
    """The error of a response: its name, and the object it points at."""
    name = error_name(response.error_status)
    if 0 < response.error_index <= len(question.oids):
        return f"{name} at {dotted(question.oids[response.error_index - 1])}"
    return name
