"""Which row of a device's interface table is a planned port, and what it says of its speed."""

from __future__ import annotations

from collections.abc import Mapping

from verifier.model import mib

BITS_PER_MBIT = 1_000_000
NAME_COLUMNS = ("ifName", "ifDescr", "ifAlias")
"""Where a port's name is looked for, in this order. ifIndex may change at a restart (RFC 2863
3.1.5); names are what people plan with."""


def match(names: Mapping[str, Mapping[str, str]], port: str) -> tuple[str, ...]:
    """Indices of the rows called `port`: by ifName, else ifDescr, else ifAlias; exact.

    Args:
        names: for each of `NAME_COLUMNS`, text by ifIndex.
        port: the planned name.
    """
    for column in NAME_COLUMNS:
        found = tuple(i for i, text in names.get(column, {}).items() if text == port)
        if found:
            return found
    return ()


def speed_mbps(speed: object, high_speed: object) -> float | None:
    """Speed of a port in Mbit/s; None where neither object tells it, or the two are at odds.

    RFC 2863: at its largest value ifSpeed tells nothing and ifHighSpeed must be used. Where an
    agent lets ifSpeed go round at 2^32 instead, ifHighSpeed tells too. Either is 0 if not known.
    """
    slow = speed if isinstance(speed, int) and speed > 0 else None
    high = high_speed if isinstance(high_speed, int) and high_speed > 0 else None
    if slow is None or slow >= mib.IF_SPEED_MAX:
        return None if high is None else float(high)
    if high is None or abs(slow - high * BITS_PER_MBIT) < BITS_PER_MBIT:
        return slow / BITS_PER_MBIT
    return float(high) if is_modulo(slow, high) else None


def is_modulo(speed: int, high_speed: int) -> bool:
    """Whether ifSpeed is what ifHighSpeed says, modulo 2^32 bit/s; that one is a rounded figure."""
    apart = (high_speed * BITS_PER_MBIT - speed) % (mib.IF_SPEED_MAX + 1)
    return min(apart, mib.IF_SPEED_MAX + 1 - apart) < BITS_PER_MBIT
