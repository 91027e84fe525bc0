"""What was seen: one frozen type for each thing, and the kind under which it is published.

A finding rests on observations and on nothing else. A session writes them, a rule reads them by
their kind, which carries the type; `schema observation` and the reader of evidence follow from the
same types.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from typing import Generic, Literal, TypeVar, get_args

from verifier.model import mib
from verifier.model.address import Address, Mac
from verifier.model.kind import Count, Kind, KindOf, Probe, ReadingKind, Scalar, Seconds
from verifier.model.laptop import Laptop, Route
from verifier.model.manual import BY_CHECK, Entered
from verifier.model.mib import ConnectedRoute, DefaultRoute, HostRoute
from verifier.model.plan import NotTestedOk
from verifier.model.problem import Subject
from verifier.model.profile import ReadingField
from verifier.model.samples import JournalChain, SoakCourse
from verifier.model.search import AddressElsewhere

T_co = TypeVar("T_co", covariant=True)
Json = Scalar | None | list["Json"] | dict[str, "Json"]
"""A value of a document."""

NO_ROWS = "no rows"
"""`raw` of the columns of a table that was read and is empty."""
BEFORE = "before "
"""Stands before the name of what was seen before a restart."""


@dataclass(frozen=True, slots=True)
class Unreadable:
    """That there is no value: nothing came, or what came does not fit its type.

    Attributes:
        reason: why, in words.
        octets: what came, undecoded; empty where nothing came.
    """

    reason: str
    octets: bytes = b""


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation(Generic[T_co]):
    """One thing seen.

    Attributes:
        kind: what it is.
        seen: the value, or why there is none.
        oid: full object identifier, with the instance, where SNMP was asked.
        raw: what came, as text, before it was decoded; or why nothing came.
        unit: of the value.
        at: UTC time, RFC 3339.
        took_ms: time from question to answer.
        before: seen before a restart that is judged.
    """

    id: int
    subject: Subject
    kind: Kind
    seen: T_co | Unreadable
    at: str
    oid: str | None = None
    raw: str | None = None
    unit: str | None = None
    took_ms: float | None = None
    before: bool = False

    @property
    def value(self) -> T_co | None:
        """The value; None where there is none."""
        return None if isinstance(self.seen, Unreadable) else self.seen

    @property
    def what(self) -> str:
        """Its name in a document."""
        return f"{BEFORE}{self.kind.what}" if self.before else self.kind.what


# -- the laptop ---------------------------------------------------------------------------------


INTERFACES: KindOf[Laptop] = KindOf("interfaces", "laptop", Laptop)
VERSIONS: KindOf[Mapping[str, str | None]] = KindOf("versions", "laptop", dict[str, str | None])
"""Versions of Python and of libraries, by name; None where one is not installed."""
ROUTE: KindOf[Route | None] = KindOf("route", "laptop", Route | None)
"""The kernel's choice for the device's address; None: it has none."""
SOAK: KindOf[SoakCourse] = KindOf("soak", "laptop", SoakCourse)
JOURNAL: KindOf[JournalChain] = KindOf("journal", "laptop", JournalChain)

# -- echoes and TCP -----------------------------------------------------------------------------

SilenceReason = Literal["timed-out", "unreachable", "no-route", "not-permitted", "sending-failed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Silence:
    """Why one echo has no reply.

    Attributes:
        text: the reason in words: `host unreachable`.
        type, code: of the ICMP error that came instead.
        reporter: address that sent this error; may be this machine's own.
        errno: name of the error with which this machine refused to send.
        mtu: largest packet that the reporter could pass on, where that is the reason.
    """

    reason: SilenceReason
    text: str
    type: int | None = None
    code: int | None = None
    reporter: str | None = None
    errno: str | None = None
    mtu: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WarmUp:
    """What became of the first echo, which is not counted: it resolves the neighbour."""

    replied: bool
    silence: tuple[Silence, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class EchoSeries:
    """Counted echoes to a device.

    Attributes:
        rtt_ms: round-trip time of each echo, in the order sent; None without a reply.
        duplicates: replies beyond the first to the same echo.
        reordered: replies to an echo older than one that was answered before.
        foreign_id: echoes whose reply came back with another identifier and was not counted.
        payload_bytes: size of the payload of each.
        silence: why echoes had no reply, each reason once.
        by: the program of the system that measured, with its version; empty: this one.
    """

    sent: Count
    received: Count
    rtt_ms: tuple[float | None, ...]
    duplicates: Count = 0
    reordered: Count = 0
    foreign_id: Count = 0
    payload_bytes: Count = 56
    silence: tuple[Silence, ...] = ()
    by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PathMtu:
    """The largest echo that reaches a device whole; sizes are of the IP packet, in bytes.

    Attributes:
        passed: whether an echo of the planned size was answered.
        largest: the largest that was answered; None: none was.
        next_hop_mtu, reporter: the size that a router on the way passes on, and which (RFC 1191).
        refused: this laptop's own interface does not take the planned size.
    """

    planned: Count
    passed: bool = False
    largest: int | None = None
    next_hop_mtu: int | None = None
    reporter: str | None = None
    refused: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RestartTimes:
    """How a restart went; times are seconds since the person was asked.

    Attributes:
        gone_s: when it was missed first; None: it never was.
        ping_s, snmp_s: how long after that it answered again; None: it did not.
        restarted: its uptime began anew; None: it does not tell.
        ping_held: it answered echoes throughout: only its agent went.
        waited_s: how long was waited at most.
        found_at, found_as: another address at which it answers now, and what that is.
    """

    gone_s: Seconds | None = None
    ping_s: Seconds | None = None
    snmp_s: Seconds | None = None
    restarted: bool | None = None
    ping_held: bool = False
    waited_s: Seconds = 0.0
    found_at: str | None = None
    found_as: str | None = None


WARM_UP: KindOf[WarmUp] = KindOf("warm-up", "icmp", WarmUp)
ECHO: KindOf[EchoSeries] = KindOf("echo", "icmp", EchoSeries, "ms")
ECHO_FIRST: KindOf[EchoSeries] = KindOf("echo-first", "icmp", EchoSeries, "ms")
"""Echoes of a sweep that were asked again, slowly; they do not count."""
KERNEL_DROPS: KindOf[int] = KindOf("kernel-drops", "icmp", int)
"""Replies that the kernel of this laptop dropped."""
MTU: KindOf[PathMtu] = KindOf("mtu", "icmp", PathMtu, "byte")
RESTART: KindOf[RestartTimes] = KindOf("restart", "icmp", RestartTimes)
TcpState = Literal["open", "closed", "filtered", "unreachable", "not-sent"]
"""What became of a TCP connection."""


@functools.cache
def tcp(port: int) -> KindOf[TcpState]:
    """The kind of a try to connect to a TCP port; `raw` tells more."""
    return KindOf(f"tcp/{port}", "tcp", TcpState)


# -- the cable ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class UnplannedAnswer:
    """That somebody answers for an address that nobody in the plan holds."""

    address: Address
    macs: tuple[Mac, ...]


NEIGHBOUR: KindOf[Mac] = KindOf("neighbour", "neighbour", Mac)
"""The hardware address of an on-link device in the laptop's neighbour table."""
ARP_RESPONDERS: KindOf[tuple[Mac, ...]] = KindOf("holders", "neighbour", tuple[Mac, ...])
"""Who answered an ARP request for the device's address (RFC 826)."""
UNPLANNED_ANSWER: KindOf[UnplannedAnswer] = KindOf("unplanned-answer", "neighbour", UnplannedAnswer)
OTHER_ADDRESS: KindOf[AddressElsewhere] = KindOf("other-address", "neighbour", AddressElsewhere)

# -- SNMP ---------------------------------------------------------------------------------------

Outcome = Literal[
    "answered", "silent", "port-unreachable", "host-unreachable", "no-route", "local-error",
    "unsupported-level", "not-in-time-window", "unknown-user", "unknown-engine-id", "wrong-digest",
    "decryption-error", "undecodable", "error-status", "loop", "capped",
]  # fmt: skip
"""What became of a question. `no-route`, `local-error` are this machine's, never the device's."""


ANSWER: KindOf[Outcome] = KindOf("answer", "snmp", Outcome)
"""What became of the first question; `raw` tells more."""
ANSWER_FIRST: KindOf[Outcome] = KindOf("answer-first", "snmp", Outcome)
"""The silence of a device that a sweep asked once more; it does not count."""
DEFAULT_COMMUNITY: KindOf[Outcome] = KindOf("default-community", "snmp", Outcome)
"""What became of asking once with the community `public`."""
ANSWER_AFTER: KindOf[Outcome] = KindOf("answer-after", "snmp", Outcome)
"""What became of asking with the planned credentials after that."""
ENGINE_ID: KindOf[str] = KindOf("engine-id", "snmp", str)
"""snmpEngineID in hexadecimal digits (RFC 3411 section 5)."""
RESPONDER: KindOf[Address] = KindOf("responder", "snmp", Address)
"""Who answered with the right id in the place of the asked address; nothing of it was taken."""
DEADLINE: KindOf[Scalar] = KindOf("deadline", "snmp", Scalar)
"""That a device was not read to the end; has no value, `raw` says why."""
DEFAULT_ROUTE: KindOf[DefaultRoute] = KindOf("default-route", "snmp", DefaultRoute)
CONNECTED_ROUTE: KindOf[ConnectedRoute] = KindOf("connected-route", "snmp", ConnectedRoute)
HOST_ROUTE: KindOf[HostRoute] = KindOf("host-route", "snmp", HostRoute)


@functools.cache
def reading(name: str) -> ReadingKind:
    """The kind of a reading of a profile, by a name of `Profile.named_readings`."""
    return ReadingKind(name, "snmp", Scalar, field=name.partition(" ")[0])


# -- persons ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class FilledSheet:
    """A sheet that a person filled in.

    Attributes:
        file, sha256: its name and hash.
        rows: number of rows that are filled in.
        blank: device and check of each row that is not.
    """

    file: str
    sha256: str
    rows: Count
    blank: tuple[tuple[str, str], ...] = ()


SHEET: KindOf[FilledSheet] = KindOf("observed", "person", FilledSheet)
ACCEPTED: KindOf[tuple[NotTestedOk, ...]] = KindOf(
    "accept-untested", "person", tuple[NotTestedOk, ...]
)
"""Checks that a person allowed to stay untested."""
ENTRIES: Mapping[str, KindOf[Entered]] = {
    check: KindOf(check, "person", Entered) for check in BY_CHECK
}
"""What a person entered, by check."""
ALIGNMENT_VOLTAGE = ENTRIES["manual.alignment-voltage"]
WEATHER = ENTRIES["manual.weather"]

# -- all of them ----------------------------------------------------------------------------------

_KINDS: Mapping[str, Kind] = {
    k.what: k
    for k in (
        INTERFACES, VERSIONS, ROUTE, SOAK, JOURNAL, WARM_UP, ECHO, ECHO_FIRST, KERNEL_DROPS, MTU,
        RESTART, NEIGHBOUR, ARP_RESPONDERS, UNPLANNED_ANSWER, ANSWER, ANSWER_FIRST,
        DEFAULT_COMMUNITY, ANSWER_AFTER, ENGINE_ID, RESPONDER, DEADLINE, DEFAULT_ROUTE,
        CONNECTED_ROUTE, HOST_ROUTE, OTHER_ADDRESS, SHEET, ACCEPTED, *ENTRIES.values(),
        *mib.OBJECTS.values(),
    )
}  # fmt: skip
KINDS: tuple[Kind, ...] = (*_KINDS.values(), *map(reading, get_args(ReadingField)))
"""Every kind but `tcp/PORT` and those of further readings of one field."""


@functools.cache
def kind_named(what: str, probe: Probe) -> Kind:
    """The kind of that name in a document; one of its own, with any value, for another name."""
    if (known := _KINDS.get(what)) is not None:
        return known
    port = what.removeprefix("tcp/")
    if probe == "tcp" and port.isdecimal() and port.isascii():
        return tcp(int(port))
    if what.partition(" ")[0] in get_args(ReadingField):
        return reading(what)
    return Kind(what, probe, object)


def as_json(value: object) -> Json:
    """A value as a document has it: a dataclass as an object, an address as text."""
    if isinstance(value, Entered):
        value = value.value
    elif isinstance(value, Unreadable):
        value = None
    if value is None or isinstance(value, str | bool | int | float):
        return value
    if isinstance(value, Mapping):
        return {str(key): as_json(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [as_json(part) for part in value]
    if not is_dataclass(value) or type(value).__str__ is not object.__str__:
        return str(value)
    return {f.name: as_json(getattr(value, f.name)) for f in fields(value)}
