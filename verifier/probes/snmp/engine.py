"""pysnmp's engine for one credential set: it makes and reads messages and keeps the v3 state.

It is used by the primitives of RFC 3412 section 4.1 (sendPdu, processResponsePdu) and without its
own input and output: what it wants to send is caught, and what has come is handed to it. So time,
sockets and retries are ours, and no table of targets grows inside it.

There is one engine for each credential set. That of v3 is renewed after 200 agents, because its
tables grow. An agent whose engine id or clock stays in doubt gets an engine of its own. The package
cryptography is what pysnmp's privacy protocols need.
"""

from __future__ import annotations

import contextlib
import functools
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

from pyasn1.type import namedtype, univ
from pysnmp.carrier.base import AbstractTransportDispatcher
from pysnmp.entity import config
from pysnmp.entity.engine import SnmpEngine
from pysnmp.proto import api, rfc1902, rfc1905
from pysnmp.proto.mpmod import rfc3412

from verifier.errors import CannotMeasureError
from verifier.model.credentials import SnmpEntry
from verifier.probes.snmp import values
from verifier.probes.snmp.transport import SocketAddress
from verifier.probes.snmp.values import VarBind
from verifier.probes.snmp.wire import IDS, V1, V2C, read_response

Kind = Literal["get", "next", "bulk"]
Oids = tuple[tuple[int, ...], ...]

AUTH = {
    "MD5": config.USM_AUTH_HMAC96_MD5,
    "SHA": config.USM_AUTH_HMAC96_SHA,
    "SHA-224": config.USM_AUTH_HMAC128_SHA224,
    "SHA-256": config.USM_AUTH_HMAC192_SHA256,
    "SHA-384": config.USM_AUTH_HMAC256_SHA384,
    "SHA-512": config.USM_AUTH_HMAC384_SHA512,
}
PRIV = {
    "DES": config.USM_PRIV_CBC56_DES,
    "AES-128": config.USM_PRIV_CFB128_AES,
    "AES-192": config.USM_PRIV_CFB192_AES_BLUMENTHAL,
    "AES-256": config.USM_PRIV_CFB256_AES_BLUMENTHAL,
    "AES-192-R": config.USM_PRIV_CFB192_AES,
    "AES-256-R": config.USM_PRIV_CFB256_AES,
}
_LEVEL = {"noAuthNoPriv": 1, "authNoPriv": 2, "authPriv": 3}
_MODELS = {"1": (0, 1, 0), "2c": (1, 2, 1), "3": (3, 3, 1)}
"""Message processing model, security model (RFC 3411 section 5), version of the PDU."""
_EXPECT_ANSWER = True
_NEVER = 1 << 40
"""Expiry of a request inside pysnmp, in its ticks: waiting is ours."""


@dataclass(frozen=True, slots=True)
class RequestPdu:
    """One PDU. `repetitions` is max-repetitions of a bulk request (RFC 3416 section 4.2.3)."""

    kind: Kind
    oids: Oids
    repetitions: int = 0


@dataclass(frozen=True, slots=True)
class Response:
    """A response of the agent, decoded."""

    error_status: int
    error_index: int
    bindings: tuple[VarBind, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """A report of the agent (RFC 3412 section 7.1.3); `oid` names the counter that went up."""

    oid: str


class _Outlet(AbstractTransportDispatcher):  # type: ignore[misc]
    """Takes what the engine sends; it goes nowhere by itself."""

    def __init__(self) -> None:
        super().__init__()
        self.message = b""

    def send_message(self, message: bytes, *_: object) -> None:
        self.message = bytes(message)


class Engine:
    """Makes requests and reads answers with one credential set.

    `peers` is for whoever counts the agents that were given to it.

    Raises CannotMeasureError where the library refuses the credentials.
    """

    def __init__(self, entry: SnmpEntry) -> None:
        self.peers: set[SocketAddress] = set()
        self._answered: set[SocketAddress] = set()
        self._drawn: list[int] = []
        self._open: dict[int, list[int]] = {}
        self._plain: dict[int, Callable[[Response | Report], None]] = {}
        self._community = entry.community.reveal().encode() if entry.community else b""
        self._version = entry.version
        self._api = api.PROTOCOL_MODULES[0 if entry.version == "1" else 1]
        self._level = _LEVEL[entry.level] if entry.version == "3" else 1
        self._name = rfc1902.OctetString(
            (entry.user or "").encode() if entry.version == "3" else b"v"
        )
        self._outlet = _Outlet()
        try:
            self._engine = SnmpEngine()
            give_ids(self._engine, self._draw)
            keep_octets(self._engine)
            self._engine.register_transport_dispatcher(self._outlet)
            _register(self._engine, entry)
        except OSError as fault:
            text = f"SNMP cannot be asked: {fault.strerror or type(fault).__name__}"
            raise CannotMeasureError(text) from None
        except Exception as refused:  # noqa: BLE001  whatever the library raises; its text may hold a key
            kind = type(refused).__name__
            raise CannotMeasureError(
                f"SNMP entry {entry.name}: the credentials cannot be used ({kind}); check that the"
                " community or user is given and that keys have at least 8 characters"
            ) from None

    def encode(
        self, question: RequestPdu, peer: SocketAddress, came: Callable[[Response | Report], None]
    ) -> tuple[int, bytes]:
        """Makes a request; returns its handle and its octets. `came` is called by `decode`.

        With v3 and a peer that is not yet known this is the request that discovers it
        (RFC 3414 section 4). Raises CannotMeasureError where the library cannot make it.
        """
        self._outlet.handle_timer_tick(time.monotonic())
        pdu = _pdu(self._api, question)
        self._drawn = []
        request_id = self._draw()
        self._api.apiPDU.set_request_id(pdu, request_id)

        def process(*arguments: Any) -> None:
            pdu, status = arguments[8], arguments[9]
            if status:
                came(Report(str(status.get("oid", ""))))
            elif int(pdu.getComponentByPosition(0)) == request_id:
                self._answered.add(peer)
                came(_response(pdu))

        model, security, pdu_version = _MODELS[self._version]
        try:
            handle = self._engine.message_dispatcher.send_pdu(
                self._engine, _domain(peer), peer, model, security, self._name, self._level,
                None, rfc1902.OctetString(b""), pdu_version, pdu, _EXPECT_ANSWER, _NEVER, process,
                None,
            )  # fmt: skip
        except Exception as fault:  # noqa: BLE001  as above
            IDS.close(self._drawn)
            kind = type(fault).__name__
            raise CannotMeasureError(f"the SNMP library cannot make the request ({kind})") from None
        self._open[int(handle)] = self._drawn
        if self._version != "3":  # the id that is sent is the last one drawn
            self._plain[self._drawn[-1]] = came
        return int(handle), self._outlet.message

    def _draw(self) -> int:
        drawn = IDS.draw()
        self._drawn.append(drawn)
        return drawn

    def decode(self, datagram: bytes, peer: SocketAddress) -> None:
        """Hands over what came for a request to `peer`; what cannot be used has no effect."""
        if self._version != "3":
            self._decode_plain(datagram)
            return
        with contextlib.suppress(Exception):  # garbage makes the library raise anything
            self._engine.message_dispatcher.receive_message(
                self._engine, _domain(peer), peer, datagram
            )

    def may_lack_privacy(self, peer: SocketAddress) -> bool:
        """Whether the peer has named itself but never answered what was encrypted.

        net-snmp's agent drops what it cannot decrypt without the report of RFC 3414 3.2 (8).
        """
        model = self._engine.message_processing_subsystems[3]
        known = model.get_peer_engine_info(_domain(peer), peer)[0] is not None
        return self._level == _LEVEL["authPriv"] and known and peer not in self._answered

    def forget(self, handle: int) -> None:
        """Ends a request, answered or not; its ids may be drawn again."""
        ids = self._open.pop(handle, [])
        IDS.close(ids)
        for one in ids:
            self._plain.pop(one, None)
        model = _MODELS[self._version][0]
        with contextlib.suppress(Exception):  # it is forgotten already
            self._engine.message_dispatcher.release_state_information(self._engine, handle, model)

    def _decode_plain(self, datagram: bytes) -> None:
        """A response of v1 or v2c: of our version and community, to a request that is open."""
        response = read_response(datagram)
        version = V1 if self._version == "1" else V2C
        if response is None or (response.version, response.community) != (version, self._community):
            return
        if (came := self._plain.get(response.id)) is not None:
            bindings = tuple(values.binding(name, value) for name, value in response.bindings)
            came(Response(response.error_status, response.error_index, bindings))


def _response(pdu: Any) -> Response:
    listed = pdu.getComponentByPosition(3)
    return Response(
        error_status=int(pdu.getComponentByPosition(1)),
        error_index=int(pdu.getComponentByPosition(2)),
        bindings=tuple(values.binding(tuple(one[0]), bytes(one[1])) for one in listed),
    )


def _register(engine: Any, entry: SnmpEntry) -> None:
    """Gives the engine its one community or user; done once in its life."""
    if entry.version != "3":
        if entry.community is None:
            raise ValueError
        config.add_v1_system(engine, "v", entry.community.reveal().encode())
        return
    if not entry.user:
        raise ValueError
    auth: tuple[Any, bytes | None] = (config.USM_AUTH_NONE, None)
    priv: tuple[Any, bytes | None] = (config.USM_PRIV_NONE, None)
    if entry.auth_key is not None:
        auth = (AUTH[entry.auth], entry.auth_key.reveal().encode())
        if entry.priv_key is not None:
            priv = (PRIV[entry.priv], entry.priv_key.reveal().encode())
    config.add_v3_user(engine, entry.user.encode(), *auth, *priv)


def _domain(peer: SocketAddress) -> tuple[int, ...]:
    """The transport domain of RFC 3417 or RFC 3419 for an address as sockets have it."""
    chosen = config.SNMP_UDP6_DOMAIN if ":" in peer[0] else config.SNMP_UDP_DOMAIN
    return tuple(chosen)


@functools.lru_cache(maxsize=1024)
def _pdu(protocol: Any, question: RequestPdu) -> Any:
    """The PDU of a question; the same questions are asked of many devices."""
    if question.kind == "get":
        pdu = protocol.GetRequestPDU()
    elif question.kind == "next":
        pdu = protocol.GetNextRequestPDU()
    else:
        pdu = protocol.GetBulkRequestPDU()
    parts = protocol.apiBulkPDU if question.kind == "bulk" else protocol.apiPDU
    parts.set_defaults(pdu)
    if question.kind == "bulk":
        parts.set_non_repeaters(pdu, 0)
        parts.set_max_repetitions(pdu, question.repetitions)
    parts.set_varbinds(pdu, _null_bindings(protocol, question.oids))
    return pdu


def _null_bindings(protocol: Any, oids: Oids) -> list[tuple[Any, Any]]:
    return [(protocol.ObjectIdentifier(oid), protocol.null) for oid in oids]


# --- what pysnmp does otherwise here: values stay octets, ids are ours ---------------------------
#
# pysnmp refuses a whole message where one value is outside its type. Of a Response of v3 it is
# given a form in which each value is whatever follows the name; `smi` reads that.


class _VarBind(univ.Sequence):  # type: ignore[misc]
    componentType = namedtype.NamedTypes(  # noqa: N815 - pyasn1's name
        namedtype.NamedType("name", rfc1902.ObjectName()),
        namedtype.NamedType("value", univ.Any()),
    )


class _VarBindList(univ.SequenceOf):  # type: ignore[misc]
    componentType = _VarBind()  # noqa: N815


class _Response(univ.Sequence):  # type: ignore[misc]
    tagSet = rfc1905.ResponsePDU.tagSet  # noqa: N815
    componentType = namedtype.NamedTypes(  # noqa: N815
        namedtype.NamedType("request-id", univ.Integer()),
        namedtype.NamedType("error-status", univ.Integer()),
        namedtype.NamedType("error-index", univ.Integer()),
        namedtype.NamedType("variable-bindings", _VarBindList()),
    )


def _with(sequence: Any, name: str, kind: Any) -> Any:
    """The component types of a sequence or choice with one of them replaced."""
    return namedtype.NamedTypes(
        *(
            namedtype.NamedType(own, kind if own == name else type_)
            for own, type_ in sequence.componentType.items()
        )
    )


class _Pdus(univ.Choice):  # type: ignore[misc]
    componentType = _with(rfc1905.PDUs, "response", _Response())  # noqa: N815


class _ScopedPdu(univ.Sequence):  # type: ignore[misc]
    componentType = _with(rfc3412.ScopedPDU, "data", _Pdus())  # noqa: N815


class _ScopedPduData(univ.Choice):  # type: ignore[misc]
    componentType = _with(rfc3412.ScopedPduData, "plaintext", _ScopedPdu())  # noqa: N815


class _Message(univ.Sequence):  # type: ignore[misc]
    componentType = _with(rfc3412.SNMPv3Message, "msgData", _ScopedPduData())  # noqa: N815


def keep_octets(engine: Any) -> None:
    """Makes a pysnmp engine leave the values of SNMPv3 responses as they came."""
    model = engine.message_processing_subsystems[3]
    model._snmpMsgSpec = _Message()  # noqa: SLF001 - there is no public way


def give_ids(engine: Any, draw: Callable[[], int]) -> None:
    """Makes a pysnmp engine take its message ids from `draw`."""
    for model in engine.message_processing_subsystems.values():
        model._cache.new_message_id = draw  # noqa: SLF001 - there is no public way
