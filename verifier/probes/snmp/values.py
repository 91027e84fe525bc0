"""What is asked of an agent and what comes back: octets typed, or kept as octets with the reason.

Types and their ranges: RFC 2578 section 7.1; exceptions: RFC 3416 section 3; octets: ITU-T X.690
section 8 as RFC 3417 section 8 narrows it. Objects that the program knows have a range of their own
besides (`mib.SYNTAX`); a number may come as any numeric type, for agents mix these up.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from verifier.errors import CannotMeasureError
from verifier.model import mib
from verifier.model.address import Address
from verifier.model.credentials import SnmpEntry
from verifier.model.kind import Syntax
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


_Value = int | bytes | str | None
_MOST_ARCS = 128
"""Sub-identifiers of an OBJECT IDENTIFIER (RFC 2578 section 7.1.3)."""
_ADDRESS_OCTETS = 4
_SYNTAX = {tuple(map(int, oid.split("."))): syntax for oid, syntax in mib.SYNTAX.items()}
_LENGTHS = sorted({len(oid) for oid in _SYNTAX}, reverse=True)


class UnfitError(ValueError):
    """Octets that are no value; the message says why."""


def binding(oid: tuple[int, ...], encoded: bytes) -> VarBind:
    """An object of an answer.

    Args:
        oid: its name.
        encoded: the value with its tag and length, whatever it is.
    """
    kind: Type = "Unknown"
    try:
        tag, content = _parts(encoded)
        kind, read = _TYPES.get(tag, ("Unknown", _unknown(tag)))
        return fitting(oid, VarBind(dotted(oid), kind, read(content)))
    except UnfitError as why:
        return VarBind(dotted(oid), kind, octets=encoded, unreadable=str(why))


def fitting(oid: tuple[int, ...], value: VarBind) -> VarBind:
    """The same. Raises UnfitError where an object that is known cannot have such a value."""
    syntax = _syntax(oid)
    if syntax is None or value.type in MISSING:
        return value
    if value.type not in _KINDS[syntax.kind]:
        raise UnfitError(f"{value.type} where {syntax.words} belongs")
    size = value.value if isinstance(value.value, int) else None
    if isinstance(value.value, bytes):
        size = len(value.value)
    if size is not None and not syntax.least <= size <= syntax.most:
        what = f"{size} octets are" if isinstance(value.value, bytes) else f"{size} is"
        raise UnfitError(f"{what} outside {syntax.words}")
    return value


def _syntax(oid: tuple[int, ...]) -> Syntax | None:
    for length in _LENGTHS:
        if (syntax := _SYNTAX.get(oid[:length])) is not None:
            return syntax
    return None


def _parts(encoded: bytes) -> tuple[int, bytes]:
    """Tag and content of octets that are one value and nothing else."""
    if len(encoded) < 2:  # noqa: PLR2004
        raise UnfitError("no tag and length")
    length, at = encoded[1], 2
    if length > 0x80:  # noqa: PLR2004
        at += length & 0x7F
        length = int.from_bytes(encoded[2:at], "big")
    elif length == 0x80:  # noqa: PLR2004
        raise UnfitError("of indefinite length")
    if length != len(encoded) - at:
        raise UnfitError("cut off")
    return encoded[0], encoded[at:]


def _number(name: str, least: int, most: int) -> Callable[[bytes], int]:
    def read(content: bytes) -> int:
        if not content:
            raise UnfitError(f"{name} without octets")
        number = int.from_bytes(content, "big", signed=True)
        if not least <= number <= most:
            shown = str(number) if len(content) <= 16 else f"a number of {len(content)} octets"  # noqa: PLR2004
            raise UnfitError(f"{shown} is outside {name}, {least} to {most}")
        return number

    return read


def _address(content: bytes) -> str:
    if len(content) != _ADDRESS_OCTETS:
        raise UnfitError(f"IpAddress of {len(content)} octets")
    return ".".join(map(str, content))


def _object_identifier(content: bytes) -> str:
    """RFC 2578 section 7.1.3, X.690 section 8.19."""
    if not content or content[-1] & 0x80:
        raise UnfitError("OBJECT IDENTIFIER without an end")
    arcs, arc, begins = [], 0, True
    for octet in content:
        if begins and octet == 0x80:  # noqa: PLR2004
            raise UnfitError("OBJECT IDENTIFIER with a padded sub-identifier")
        arc = arc << 7 | octet & 0x7F
        begins = not octet & 0x80
        if arc > 2**32 - 1:
            raise UnfitError("OBJECT IDENTIFIER with a sub-identifier above 4294967295")
        if begins:
            arcs.append(arc)
            arc = 0
    first = min(arcs[0] // 40, 2)
    arcs[:1] = [first, arcs[0] - 40 * first]
    if len(arcs) > _MOST_ARCS:
        raise UnfitError(f"OBJECT IDENTIFIER of {len(arcs)} sub-identifiers")
    return dotted(tuple(arcs))


def _octets(content: bytes) -> bytes:
    return content


def _nothing(content: bytes) -> None:
    del content


def _unknown(tag: int) -> Callable[[bytes], _Value]:
    def read(content: bytes) -> _Value:
        raise UnfitError(f"tag 0x{tag:02x} with {len(content)} octets is no type of SMIv2")

    return read


_SIGNED = (-(2**31), 2**31 - 1)
_UNSIGNED = (0, 2**32 - 1)
_TYPES: Mapping[int, tuple[Type, Callable[[bytes], _Value]]] = {
    0x02: ("Integer32", _number("Integer32", *_SIGNED)),
    0x04: ("OctetString", _octets),
    0x05: ("Null", _nothing),
    0x06: ("ObjectIdentifier", _object_identifier),
    0x40: ("IpAddress", _address),
    0x41: ("Counter32", _number("Counter32", *_UNSIGNED)),
    0x42: ("Gauge32", _number("Gauge32", *_UNSIGNED)),
    0x43: ("TimeTicks", _number("TimeTicks", *_UNSIGNED)),
    0x44: ("Opaque", _octets),
    0x46: ("Counter64", _number("Counter64", 0, 2**64 - 1)),
    0x80: ("noSuchObject", _nothing),
    0x81: ("noSuchInstance", _nothing),
    0x82: ("endOfMibView", _nothing),
}
"""By tag, of RFC 2578 (definitions of the application-wide types) and RFC 3416 section 3."""
_KINDS: Mapping[str, frozenset[Type]] = {
    "number": frozenset({"Integer32", "Counter32", "Gauge32", "TimeTicks", "Counter64"}),
    "octets": frozenset({"OctetString"}),
    "address": frozenset({"IpAddress"}),
    "oid": frozenset({"ObjectIdentifier"}),
}
