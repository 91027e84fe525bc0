"""All that was seen in one look at the cable, and how the next command is typed."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from verifier.model.laptop import Fit
from verifier.model.plan import Device, Plan, Stage
from verifier.model.profile import Profile
from verifier.model.result import Result
from verifier.model.search import HeardFrames
from verifier.rules.here.places import Occupied
from verifier.rules.search.candidates import key_of

ON_THE_WAY = frozenset({"direct", "shadowed", "routed"})
"""Relations of laptop and device in which packets come and go."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NextCommand:
    """How a command is typed again: with the plan and the files that were named this time.

    Attributes:
        plan: as it was named; empty where it is the one of the folder.
        inputs: options that name further files.
    """

    plan: str = ""
    inputs: tuple[str, ...] = ()

    def typed(self, name: str, *words: str) -> str:
        """The command line; options stand behind what they belong to."""
        objects = [w for w in words if not w.startswith("-")]
        options = [w for w in words if w.startswith("-")]
        plan = [self.plan] if self.plan else []
        return shlex.join(["plan-verifier", name, *plan, *objects, *self.inputs, *options])


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """All that was seen in one look.

    Attributes:
        asked: the device that was asked for; None: whatever is there.
        result: what `verify` says of the devices where they are; None: none was asked.
        read: names of the devices that it read.
        fits: how this laptop stands to who is at a place, by its key.
        heard: frames of the cable.
        age_s: how old each observation of `result` is, by its id.
        command: how the next command is typed.
    """

    plan: Plan
    profiles: Mapping[str, Profile]
    stage: Stage
    asked: Device | None = None
    occupied: tuple[Occupied, ...] = ()
    result: Result | None = None
    read: frozenset[str] = frozenset()
    fits: Mapping[tuple[int, int], Fit] = field(default_factory=dict)
    heard: Sequence[HeardFrames] = ()
    age_s: Mapping[int, float] = field(default_factory=dict)
    command: NextCommand = field(default_factory=NextCommand)
    leaving: bool = False

    @property
    def on_site(self) -> bool:
        """Whether the device stands where it belongs, with an antenna before it."""
        return self.stage != "bench"

    def fit(self, at: Occupied) -> Fit | None:
        """How this laptop stands to who is at a place."""
        return self.fits.get(key_of(at.at.address))

    def again(self, *words: str) -> str:
        """The command that looks once more."""
        named = () if self.asked is None else (self.asked.name,)
        return self.command.typed("here", *named, *words)
