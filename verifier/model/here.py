"""The answer of `here`: what is on this cable, is it right, and the one thing to do next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from verifier.errors import EXIT_FAILED, EXIT_PASSED, EXIT_UNTESTED
from verifier.model.address import Interface, Mac
from verifier.model.plan import Stage

HereState = Literal[
    "planned", "present", "factory", "elsewhere", "no-address", "another", "stranger", "shared",
    "unidentified",
]  # fmt: skip
"""What stands at one place of the cable:

- `planned`: the device, at its planned address;
- `present`: the device, where it was before: not moved yet;
- `factory`: a device at its factory address: never set;
- `elsewhere`: the device, at another address;
- `no-address`: the device is heard on the cable and says no address;
- `another`: another device of the plan than the one planned, or asked for, there;
- `stranger`: a device that the plan does not know;
- `shared`: several devices at one address;
- `unidentified`: somebody, and who it is cannot be told.
"""
LookState = Literal["found", "nobody", "no-link"]
Verdict = Literal["pass", "fail", "not-tested"]
Transmitter = Literal["on", "off", "not-read"]
_EXIT = {"pass": EXIT_PASSED, "fail": EXIT_FAILED, "not-tested": EXIT_UNTESTED}


@dataclass(frozen=True, slots=True, kw_only=True)
class CableEnd:
    """The laptop's end of a cable.

    Attributes:
        planned_mbps: what the plan has for the port at the other end; None where it says nothing,
            or several speeds.
    """

    interface: str
    up: bool
    switched_on: bool
    speed_mbps: int | None = None
    duplex: Literal["full", "half"] | None = None
    planned_mbps: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HereItem:
    """One thing that is wrong, or could not be read: what, and what is planned and found."""

    what: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HereLevel:
    """A receive level of the link: at this device (`here`) or at its far end (`there`).

    Attributes:
        age_s: how old the reading is.
        problem: why there is no level; empty where there is one.
    """

    place: Literal["here", "there"]
    device: str
    level_dbm: float | None = None
    planned_dbm: float | None = None
    difference_db: float | None = None
    age_s: float | None = None
    problem: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HereDevice:
    """What stands at one place of the cable.

    Attributes:
        device: which device of the plan it is; empty where it is none, or that is not known.
        who: who it is in words: its name, else its hardware address.
        asked: the device that is planned, or was asked for, at this place.
        half: which half of its hop that one is, `high` or `low`; empty where it is none.
        address: where it is, with the mask it has, else the one it is taken to have.
        planned: where it should be; None of a device that the plan does not know.
        serial, mac: as they were read; None where they were not.
        radio: whether it is one, by the plan.
        transmitter: of a radio; None of other devices.
        reached: whether it answered an echo or SNMP.
        right: what is as planned, in the trade's words.
        wrong: what is not.
        cautions: what is odd and fails nothing.
        unread: what could not be read, and why.
        means: what it comes from; empty where nothing is known.
        do: the one thing to do next; empty where all is right.
        words: the verdict in words.
    """

    state: HereState
    verdict: Verdict
    device: str = ""
    who: str = ""
    asked: str = ""
    half: str = ""
    address: Interface | None = None
    planned: Interface | None = None
    interface: str | None = None
    serial: str | None = None
    mac: Mac | None = None
    radio: bool = False
    transmitter: Transmitter | None = None
    reached: bool = False
    levels: tuple[HereLevel, ...] = ()
    right: tuple[str, ...] = ()
    wrong: tuple[HereItem, ...] = ()
    cautions: tuple[HereItem, ...] = ()
    unread: tuple[HereItem, ...] = ()
    means: str = ""
    do: str = ""
    words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HereResult:
    """One look at the cable.

    Attributes:
        device: which was asked for; empty: none.
        state: `found` where somebody is there, `nobody`, `no-link`.
        sought_s: how long it was looked for.
        boots_s: how long the devices take to start, by their profiles.
        open: what only a person can see and nobody entered, with how many (`--leaving`).
        borrowed: addresses that the laptop had for this look.
        notes: what could not be asked, and why.
        watching: it looks again until it is right; `sought_s` is since somebody was missed.
    """

    plan: str
    stage: Stage
    leaving: bool = False
    device: str = ""
    started: str
    finished: str
    state: LookState
    verdict: Verdict
    words: str
    do: str = ""
    cables: tuple[CableEnd, ...] = ()
    devices: tuple[HereDevice, ...] = ()
    sought_s: float = 0.0
    boots_s: float = 0.0
    open: tuple[HereItem, ...] = ()
    borrowed: tuple[Interface, ...] = ()
    notes: tuple[str, ...] = ()
    watching: bool = False
    interrupted: bool = False

    def exit_code(self) -> int:
        """0 each device found is right; 1 something is wrong; 3 nobody, or nothing readable."""
        return _EXIT[self.verdict]
