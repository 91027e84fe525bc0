"""Kinds of things to be seen: the name that is published, who sees it, and the type of its value.

A kind is a constant. Who writes an observation and who reads it name the same constant, and it
carries the type of the value: no text stands between them.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Generic, Literal, TypeVar

from annotated_types import Ge, Interval, Predicate

T = TypeVar("T")

Probe = Literal["laptop", "icmp", "tcp", "snmp", "neighbour", "person"]
Scalar = str | bool | int | float
"""A single value of JSON."""
Count = Annotated[int, Ge(0)]
_LONGEST_S = 1e9
Seconds = Annotated[float, Interval(ge=-_LONGEST_S, le=_LONGEST_S)]
"""Thirty years: no measurement lasts longer."""
_YEARS = range(1970, 9000)


def _is_moment(text: str) -> bool:
    """Whether text is a time (RFC 3339) in which there can have been a measurement."""
    return dt.datetime.fromisoformat(text).year in _YEARS


Moment = Annotated[str, Predicate(_is_moment)]
"""A time as text, RFC 3339."""


@dataclass(frozen=True, slots=True, eq=False)
class Kind:
    """A kind of thing to be seen; two are the same where they are one object.

    Attributes:
        what: its name in a document (`what` of the contract).
        probe: who sees it.
        shape: the type of its value, from which its form in a document follows.
        unit: of its value, or of the numbers in it; None where it has none or each has its own.
    """

    what: str
    probe: Probe
    shape: object
    unit: str | None = None

    def __str__(self) -> str:
        return self.what


@dataclass(frozen=True, slots=True, eq=False)
class KindOf(Kind, Generic[T]):
    """A kind of thing whose value is a `T`."""


@dataclass(frozen=True, slots=True)
class Syntax:
    """What an object's value may be (its SYNTAX clause).

    Attributes:
        kind: a number of any of SMIv2's numeric types, octets, an IPv4 address, or an OID.
        least, most: of a number its range, of octets how many.
        words: how the MIB calls it.
    """

    kind: Literal["number", "octets", "address", "oid"]
    least: int
    most: int
    words: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ReadingKind(KindOf[Scalar]):
    """A reading of a profile; several of one `field` differ by their index, which is in `what`."""

    field: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MibObject(KindOf[T]):
    """An object of a standard MIB: a scalar, or a column of a table.

    Attributes:
        oid: of a scalar with its `.0`; of a column without the instance.
        syntax: what its value may be.
        names: of an enumeration its words by number; the value is the word, else the digits.
    """

    oid: str
    syntax: Syntax
    names: Mapping[int, str] | None = None
