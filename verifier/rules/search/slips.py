"""Near slips of an address: what a hand makes of it that types one key wrong."""

from __future__ import annotations

from collections.abc import Iterator

import netaddr

from verifier.model.address import Address

_OCTET_MAX, _GROUP_MAX = 0xFF, 0xFFFF
_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")


def slips(address: Address) -> Iterator[tuple[Address, str]]:
    """Each address that is one slip away, once, with the slip in words; the last octet first.

    A digit doubled, dropped or two of them transposed; an octet one too high or too low; two
    neighbouring octets exchanged. For IPv6 the same with its groups as they are written. Which
    slips are made: common practice.
    """
    parts = _parts(address)
    met = {address.value}
    for position in range(len(parts) - 1, -1, -1):
        for value, what in _of_part(parts[position], _base(address)):
            if 0 <= value <= _largest(address):
                changed = [*parts[:position], _written(value, address), *parts[position + 1 :]]
                words = f"{_called(position, address)} {parts[position]} as {changed[position]}"
                yield from _new(_joined(changed, address), f"{words}: {what}", met)
    for position in range(len(parts) - 2, -1, -1):
        changed = list(parts)
        changed[position], changed[position + 1] = parts[position + 1], parts[position]
        words = f"{_called(position, address)} and next {_device(address)} exchanged"
        yield from _new(_joined(changed, address), words, met)


def _new(found: Address, words: str, met: set[int]) -> Iterator[tuple[Address, str]]:
    if found.value not in met:
        met.add(found.value)
        yield found, words


def _of_part(text: str, base: int) -> Iterator[tuple[int, str]]:
    """Slips of one octet or group, as numbers."""
    for i in range(len(text)):
        yield int(text[: i + 1] + text[i:], base), "digit doubled"
    for i in range(len(text) if len(text) > 1 else 0):
        yield int(text[:i] + text[i + 1 :], base), "digit dropped"
    for i in range(len(text) - 1):
        swapped = text[:i] + text[i + 1] + text[i] + text[i + 2 :]
        yield int(swapped, base), "digits transposed"
    value = int(text, base)
    yield value + 1, "one too high"
    yield value - 1, "one too low"


def _parts(address: Address) -> list[str]:
    bits, count = (8, 4) if address.is_v4 else (16, 8)
    largest = _largest(address)
    numbers = [address.value >> bits * (count - 1 - i) & largest for i in range(count)]
    return [_written(n, address) for n in numbers]


def _joined(parts: list[str], like: Address) -> Address:
    bits = 8 if like.is_v4 else 16
    value = 0
    for part in parts:
        value = value << bits | int(part, _base(like))
    return Address(netaddr.IPAddress(value, 4 if like.is_v4 else 6), like.zone)


def _written(value: int, like: Address) -> str:
    return str(value) if like.is_v4 else f"{value:x}"


def _base(address: Address) -> int:
    return 10 if address.is_v4 else 16


def _largest(address: Address) -> int:
    return _OCTET_MAX if address.is_v4 else _GROUP_MAX


def _device(address: Address) -> str:
    return "octet" if address.is_v4 else "group"


def _called(position: int, address: Address) -> str:
    return f"{_ORDINALS[position]} {_device(address)}"
