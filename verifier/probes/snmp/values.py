"""What is asked of an agent and what comes back: frozen values, in words of our own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from verifier.errors import CannotMeasureError
from verifier.model.address import Address
from verifier.model.credentials import SnmpEntry
from verifier.model.mib import ERROR_STATUS
from verifier.model.observations import Outcome
from verifier.probes.snmp.transport import Endpoint

Type = Literal[
    "Integer32", "OctetString", "ObjectIdentifier", "IpAddress", "Counter32", "Gauge32",
    "TimeTicks", "Opaque", "Counter64", "Null", "noSuchObject", "noSuchInstance", "endOfMibView",
    "Unknown",
]  # fmt: skip
"""Types of SMIv2 (RFC 2578 section 7.1) and the exceptions of RFC 3416 section 3; `Unknown` is what
has another tag."""

EXCEPTIONS: tuple[Type, ...] = ("noSuchObject", "noSuchInstance", "endOfMibView")
MISSING: tuple[Type, ...] = (*EXCEPTIONS, "Null")


@dataclass(frozen=True, slots=True, kw_only=True)
class SnmpTarget:
    """An agent and how to ask it.

    Attributes:
        port: UDP port; None: the entry's.
        timeout_s: wait after each request.
        retries: how often a request is sent again where nothing came.
        source: local address to send from; None: the kernel's choice.
    """

    address: Address
    entry: SnmpEntry
    port: int | None = None
    timeout_s: float = 2.0
    retries: int = 1
    source: Address | None = None

    @property
    def udp_port(self) -> int:
        """The port that is asked."""
        return self.entry.port if self.port is None else self.port


@dataclass(frozen=True, slots=True)
class VarBind:
    """One object as the agent gave it.

    Attributes:
        value: octets as bytes, numbers as int, IpAddress and ObjectIdentifier as dotted text;
            None where the agent has none, or it is unreadable.
        octets: of an unreadable value, as they came: tag, length and content.
        unreadable: why what came is no value of its type, or of its object's; empty if it is one.
    """

    oid: str
    type: Type
    value: int | bytes | str | None = None
    octets: bytes = b""
    unreadable: str = ""

    @property
    def missing(self) -> bool:
        """Whether there is no value; an empty string is a value."""
        return self.type in MISSING or bool(self.unreadable)

    @property
    def text(self) -> str:
        """The value for a person: UTF-8, else Latin-1, else hexadecimal octets `02:00:5e`."""
        if not isinstance(self.value, bytes):
            return "" if self.value is None else str(self.value)
        octets = self.value.rstrip(b"\0")
        for encoding in ("utf-8", "latin-1"):
            try:
                text = octets.decode(encoding)
            except UnicodeDecodeError:
                continue
            if all(c.isprintable() or c in "\r\n\t" for c in text):
                return text
        return self.value.hex(":")

    @property
    def raw(self) -> str:
        """Type and value without loss, in ASCII, for evidence."""
        if self.unreadable:
            return f"{self.type} 0x{self.octets.hex()}: {self.unreadable}"
        if not isinstance(self.value, bytes):
            return self.type if self.value is None else f"{self.type} {self.value}"
        if all(0x20 <= octet <= 0x7E for octet in self.value):  # noqa: PLR2004
            return f'{self.type} "{self.value.decode("ascii")}"'
        return f"{self.type} 0x{self.value.hex()}"


@dataclass(frozen=True, slots=True, kw_only=True)
class SnmpReply:
    """What became of one question.

    Attributes:
        bindings: in the order of the question; those that came, where the outcome is another.
        error_status, error_index: of the agent's response (RFC 3416 section 3).
        responder: the asked address, where an answer or report came; None where none did.
        elsewhere: who answered with the right id instead, where the asked address stayed silent;
            nothing of what came from there is taken.
        took_ms: from the request that was answered to its answer; from the first request to the
            end of waiting, where none was.
        engine_id, engine_boots, engine_time: of SNMPv3, from the last message taken (RFC 3414 2.2).
        detail: what happened, for a person; empty where there is nothing to say.
    """

    outcome: Outcome
    bindings: tuple[VarBind, ...] = ()
    error_status: int = 0
    error_index: int = 0
    responder: str | None = None
    elsewhere: tuple[Endpoint, ...] = ()
    took_ms: float = 0.0
    engine_id: bytes | None = None
    engine_boots: int | None = None
    engine_time: int | None = None
    detail: str = ""

    def binding(self, oid: str) -> VarBind | None:
        """The binding of that name; None where the agent did not return it."""
        return next((b for b in self.bindings if b.oid == oid), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnTable:
    """Columns of a table.

    Attributes:
        outcome: `answered`, or why the walk ended early.
        rows: by instance (what follows the column, such as `3` or `1.4.198.18.20.11`), by column.
            An empty table is `answered` without rows.
        complete: whether every column was read to its end.
        failed: columns that the agent answers with an error only, with that error; the others were
            read all the same.
        detail: what ended the walk; an agent's fault names the OID.
    """

    outcome: Outcome
    rows: Mapping[str, Mapping[str, VarBind]] = field(default_factory=dict)
    complete: bool = False
    failed: Mapping[str, str] = field(default_factory=dict)
    responder: str | None = None
    requests: int = 0
    took_ms: float = 0.0
    detail: str = ""


def oid_tuple(text: str) -> tuple[int, ...]:
    """Reads a numeric object identifier.

    Raises CannotMeasureError where it is none (X.660: first arc 0 to 2, the second below 40).
    """
    arcs = text.removeprefix(".").split(".")
    if all(arc.isascii() and arc.isdigit() for arc in arcs):
        numbers = tuple(map(int, arcs))
        if len(numbers) > 1 and numbers[0] <= 2 and (numbers[0] == 2 or numbers[1] < 40):  # noqa: PLR2004
            return numbers
    raise CannotMeasureError(
        f"{text!r} is not a numeric object identifier such as 1.3.6.1.2.1.1.5.0"
    )


def dotted(oid: tuple[int, ...]) -> str:
    """An object identifier as text."""
    return ".".join(map(str, oid))


def error_name(status: int) -> str:
    """The name of an error-status (RFC 3416 section 3), or its number where it has none."""
    return ERROR_STATUS[status] if 0 <= status < len(ERROR_STATUS) else f"error-status {status}"
