"""The door for values: octets become a value that fits its type, or stay octets with the reason.

Types and their ranges: RFC 2578 section 7.1; exceptions: RFC 3416 section 3; octets: ITU-T X.690
section 8 as RFC 3417 section 8 narrows it. Objects that the program knows have a range of their own
besides (`mib.SYNTAX`); a number may come as any numeric type, for agents mix these up.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from verifier.model import mib
from verifier.model.kind import Syntax
from verifier.probes.snmp.values import MISSING, Type, VarBind, dotted

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
