"""Blocks of samples of a soak, as the journal and the evidence hold them: one line of JSON each.

Times are seconds since the soak began, on a clock that nobody sets and that goes on while the
laptop sleeps; `at` is the time of day of the first place, RFC 3339.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from annotated_types import Gt, Interval, Len
from typing_extensions import TypedDict

from verifier.model.kind import Count, Moment, Scalar, Seconds


class BlockSubject(TypedDict):
    """What a block is about: a device of the plan, or a host of a traffic pair."""

    kind: Literal["device", "host"]
    name: str


class EchoBlock(TypedDict):
    """The echoes of one size to one target.

    Attributes:
        path: what they judge.
        bytes: size of the IP packet.
        rtt_us: one place for each `step_s` from `start_s` on: microseconds; None for an echo
            without reply; -1 for what is not counted (not sent, or this laptop could not have
            heard the reply).
        silence: number of echoes without reply, by the reason in words.
    """

    kind: Literal["echo"]
    at: Moment
    subject: BlockSubject
    path: Literal["management", "traffic"]
    bytes: Count
    start_s: Seconds
    step_s: Annotated[float, Gt(0)]
    rtt_us: list[Annotated[int, Interval(ge=-1, lt=2**31 - 1)] | None]
    silence: dict[str, Count]
    duplicates: Count
    reordered: Count


Sample = Scalar | None
"""One value of a series: None: no answer; False: the device says that it receives nothing; digits
as text: a count above 2^53-1, which JSON does not hold exactly."""


class ValuesBlock(TypedDict):
    """Readings of one device by SNMP at `t_s`.

    Attributes:
        series: by name one value for each of `t_s`, or one that stands for all.
        speeds: Mbit/s by port.
    """

    kind: Literal["values"]
    at: Moment
    subject: BlockSubject
    t_s: Annotated[list[Seconds], Len(1)]
    series: dict[str, Annotated[list[Sample], Len(1)]]
    speeds: dict[str, float]


class GapBlock(TypedDict):
    """That this laptop measured nothing from `start_s` to `end_s`, of `targets`, and why."""

    kind: Literal["gap"]
    at: Moment
    start_s: Seconds
    end_s: Seconds
    why: Literal["stopped", "interface"]
    text: str
    targets: list[str]


class ClockBlock(TypedDict):
    """That the time of day was set at `at_s`, by `stepped_s`."""

    kind: Literal["clock"]
    at: Moment
    at_s: Seconds
    stepped_s: Seconds


Block = EchoBlock | ValuesBlock | GapBlock | ClockBlock

SoakState = Literal["complete", "interrupted", "not-measured", "unfinished"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SoakCourse:
    """How a soak went.

    Attributes:
        asked_s, lasted_s: seconds that were asked for, and that were measured.
        step_s: seconds from one echo to the next; None where none was sent.
        bytes: sizes of the echoes, of the whole IP packet.
    """

    asked_s: Seconds
    lasted_s: Seconds
    state: SoakState
    step_s: float | None
    bytes: tuple[Count, ...]

    @property
    def complete(self) -> bool:
        """Whether it went on to its end."""
        return self.state == "complete"


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalChain:
    """What the journal of a soak is known by: number of lines, SHA-256 of the first and last."""

    file: str
    lines: int
    first: str
    head: str
