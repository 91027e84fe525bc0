"""The answer of `find`: where a device was looked for, what was seen, where it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from verifier.errors import EXIT_FAILED, EXIT_PASSED, EXIT_UNTESTED
from verifier.model.address import Address, Interface, Mac
from verifier.model.laptop import Fit
from verifier.model.mib import Routes

CandidateKind = Literal["planned", "present", "factory", "temporary", "slip", "heard"]
What = Literal[
    "arp-request", "arp-reply", "arp-probe", "arp-announcement", "lldp", "nd-solicitation",
    "nd-advertisement", "nd-probe", "nd-router", "packet",
]  # fmt: skip
"""What a frame was. A probe asks for an address that its sender does not hold yet."""
Identity = Literal["device", "likely", "another", "unknown"]
State = Literal[
    "as-planned", "wrong-mask", "shared", "mute", "elsewhere", "no-address", "stranger",
    "unidentified", "not-found",
]  # fmt: skip
"""Where the device is:

- `as-planned`: at its planned address;
- `wrong-mask`: there, with another mask;
- `shared`: there, and somebody else too;
- `mute`: there by its hardware address, but no answer comes back;
- `elsewhere`: at another address;
- `no-address`: on this cable, its address was not seen;
- `stranger`: not found, and another device is at its address;
- `unidentified`: not found, and who is at its address is not known;
- `not-found`: not found, and nobody is at its address.
"""
_EXIT = {"pass": EXIT_PASSED, "fail": EXIT_FAILED, "not-tested": EXIT_UNTESTED}


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """An address where the device may be.

    Attributes:
        address: with the prefix of the plan's subnet it lies in, else the planned one's.
        why: what makes it one, in words.
        owner: who else has it by the plan; empty if nobody.
    """

    address: Interface
    kind: CandidateKind
    why: str
    owner: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardFrames:
    """Frames of one kind that say the same.

    Attributes:
        mac: who sent them: the sender's hardware address in the packet, else the frame's.
        address: what the sender holds, or (a probe) wants; None where it says none.
        name, port: of LLDP: the system's name, the port it was sent from.
        vlan: of its IEEE 802.1Q tag; None without one.
        first, last: UTC times, RFC 3339.
    """

    interface: str
    mac: Mac
    what: What
    address: Address | None
    name: str
    port: str
    vlan: int | None
    first: str
    last: str
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What came of asking at one address.

    Attributes:
        asked: how: `arp`, `nd`, `echo`, `snmp`.
        not_asked: why it was not asked, or not by echo; empty if it was.
        interface: the laptop's, by which the answer came, or by which it was asked.
        macs: who answered for the address on the cable; several: several devices.
        echo: whether an echo was answered; None if none was sent.
        snmp: what became of asking by SNMP (`answered`, `silent`, ...); None if it was not.
        credentials: the entry that was answered.
        engine_id: hexadecimal.
        port_mac: of the port that holds the address, by SNMP (ifPhysAddress).
        held: the address with the mask the device says it has.
        odd_mask: what it has instead of a mask; empty where it has one, or does not tell.
        routes: its default route; None where that was not asked.
        up_since: when the device was started, by its own uptime.
        since: when it was first seen at this address in this run.
    """

    asked: tuple[str, ...] = ()
    not_asked: str = ""
    interface: str | None = None
    macs: tuple[Mac, ...] = ()
    echo: bool | None = None
    snmp: str | None = None
    credentials: str | None = None
    name: str | None = None
    object_id: str | None = None
    serial: str | None = None
    engine_id: str | None = None
    port_mac: Mac | None = None
    held: Interface | None = None
    odd_mask: str = ""
    routes: Routes | None = None
    up_since: str | None = None
    since: str | None = None

    @property
    def somebody(self) -> bool:
        """Whether anybody is there."""
        ours = {None, "silent", "no-route", "local-error", "host-unreachable"}
        return bool(self.echo or self.macs or self.snmp not in ours)


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchedPlace:
    """One candidate after it was asked.

    Attributes:
        identity: `device`: the one looked for; `likely`: a device of its kind without a name
            yet; `another`; `unknown`: nobody, or not known who.
        who: another's name or hardware address.
        by: what it is known by, in words.
    """

    candidate: Candidate
    answer: Answer
    identity: Identity = "unknown"
    who: str = ""
    by: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """Where the device is, and what is said of it.

    Attributes:
        verdict: `pass` at its planned address with nothing wrong, `fail` elsewhere or with
            something wrong there, `not-tested` where it was not found or not identified.
        address: where it is, with the mask it has, else the one it is taken to have.
        since: when it was first seen there in this run.
        vlan: whose tag its frames carry; None without one.
        by: what it is known by, in words.
    """

    state: State
    verdict: Literal["pass", "fail", "not-tested"]
    address: Interface | None = None
    interface: str | None = None
    mac: Mac | None = None
    since: str | None = None
    vlan: int | None = None
    by: tuple[str, ...] = ()
    explanation: str
    advice: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchResult(Where):
    """What a search came to.

    Attributes:
        planned: where it should be.
        interrupted: whether a person cut it short.
        up_since: when its agent started.
        fit: how this laptop stands to it there, and which address reaches it.
        listened_on: this laptop's interfaces on which it was listened for.
    """

    plan: str
    device: str
    planned: Interface
    started: str
    finished: str
    interrupted: bool = False
    up_since: str | None = None
    fit: Fit | None = None
    listened_on: tuple[str, ...] = ()
    places: tuple[SearchedPlace, ...] = ()
    heard: tuple[HeardFrames, ...] = ()

    def exit_code(self) -> int:
        """0 at its planned address, 1 elsewhere or with something wrong there, 3 not found."""
        return _EXIT[self.verdict]


@dataclass(frozen=True, slots=True, kw_only=True)
class AddressElsewhere:
    """What was seen of a silent device at another address that it may have.

    Attributes:
        what: which address that is.
        asked: how: `arp`, `nd`, `echo`, `snmp`; none where nothing reaches it from this laptop.
        seen: the device; one of its family without a name; another one; somebody; nobody.
        who: who another one is.
    """

    address: Address
    what: Literal["present", "factory"]
    asked: tuple[str, ...] = ()
    seen: Literal["device", "likely", "another", "unknown", "nobody"] = "nobody"
    who: str = ""
