"""What follows from the table of faults: which findings hang on a cause, and whether it is certain.

A hypothesis is one fault at one place, or two. It covers findings if each can have had one of its
faults as a part. A cause is entailed if every hypothesis that covers what the cause makes has the
cause in it. Only what was found wrong is counted, for what was not tested says nothing; that this
laptop has no link was seen.

So certain is worked out and never written. A device that nobody identified is never certainly
misconfigured, for another may stand in its place. That no row of the table claims too little is
tested by planting every two faults, with what was planted as the truth.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from verifier.model.result import Cause, Finding
from verifier.rules.diagnose.case import WRONG, FindingIndex
from verifier.rules.diagnose.faults import BY_CHECK, FAULTS
from verifier.rules.diagnose.places import Place
from verifier.rules.diagnose.relations import GROUPS, Fault, Sign, unlinked


class Suspicion(NamedTuple):
    """A fault at a place."""

    kind: str
    place: Place

    @property
    def fault(self) -> Fault:
        """Its row of the table."""
        return FAULTS[self.kind]


class Reasoning:
    """Conclusions from one run's findings by the table."""

    def __init__(self, case: FindingIndex) -> None:
        self._case = case
        self._by_id = {f.id: f for f in case.findings}
        self._refuted: dict[Suspicion, bool] = {}
        self._right: dict[str, frozenset[Place]] = {}

    def concluded(self, cause: Cause) -> Cause | None:
        """The cause with what its fault alone makes, and certain if it is entailed.

        What is merely possible stays so: something speaks against it, or was not looked at.
        None where it makes nothing of what it was thought to explain.
        """
        found = [self._by_id[i] for i in cause.for_]
        place = self._place(cause, found)
        if place is None:
            return None
        guess = Suspicion(cause.kind, place)
        kept = [f for f in found if f.verdict == "pass" or self.makes(guess, f)]
        made = [f for f in kept if f.verdict != "pass"]
        if not made or self._too_few(guess):
            return None
        sure = cause.certainty == "likely" and not guess.fault.likely
        certain = sure and self.entailed(guess, made)
        return dataclasses.replace(
            cause,
            for_=tuple(f.id for f in kept),
            certainty="certain" if certain else cause.certainty,
        )

    def _place(self, cause: Cause, found: Sequence[Finding]) -> Place | None:
        """Where a cause says that its fault is; None where what it rests on does not tell."""
        fault, subject = FAULTS[cause.kind], cause.subject
        if fault.of in {"two", "value", "subnet"}:
            signs = ((s, f) for f in found for s in fault.by_check.get(f.check, ()))
            places = (p for s, f in signs for p in s.places(fault.of, self._case, f))
            return next(places, None)
        if fault.of == "all" or subject.kind == "network":
            return ()
        if fault.of == "end":
            return (subject.name, subject.carrier, subject.end)
        if fault.of == "hop":
            return next(hop.place() for hop in self._case.hops_of(subject))
        return (subject.name, subject.port) if fault.of == "port" else (subject.name,)

    def covers(self, guess: Suspicion, finding: Finding) -> bool:
        """Whether the fault can have had a part in a finding."""
        signs = guess.fault.by_check.get(finding.check, ())
        return any(s.found(self._case, finding) and self._at(guess, s, finding) for s in signs)

    def makes(self, guess: Suspicion, finding: Finding) -> bool:
        """Whether the fault alone makes a finding."""
        signs = guess.fault.by_check.get(finding.check, ())
        return any(s.made_alone(self._case, finding) and self._at(guess, s, finding) for s in signs)

    def entailed(self, guess: Suspicion, made: Sequence[Finding]) -> bool:
        """Whether no other fault, and no two, can have made these findings."""
        told = [f for f in made if f.verdict in WRONG or unlinked(self._case, f)]
        if not told:
            return False
        for one in self._rivals(guess, told[0]):
            rest = [f for f in told if not self.covers(one, f)]
            if not rest:
                return False
            for two in self._rivals(guess, rest[0]):
                if all(self.covers(two, f) for f in rest):
                    return False
        return True

    def _rivals(self, guess: Suspicion, finding: Finding) -> Iterator[Suspicion]:
        """Every other fault that can have had a part in a finding, and is not spoken free."""
        seen = {guess}
        for fault in BY_CHECK.get(finding.check, ()):
            if fault.same and fault.same == guess.fault.same:
                continue
            for sign in fault.by_check[finding.check]:
                if not sign.found(self._case, finding):
                    continue
                for place in sign.places(fault.of, self._case, finding):
                    rival = Suspicion(fault.kind, place)
                    if rival not in seen:
                        seen.add(rival)
                        if not self.refuted(rival):
                            yield rival

    def refuted(self, guess: Suspicion) -> bool:
        """Whether something passes that the fault always makes wrong, or too little is wrong."""
        if guess not in self._refuted:
            self._refuted[guess] = self._spoken_free(guess) or self._too_few(guess)
        return self._refuted[guess]

    def _spoken_free(self, guess: Suspicion) -> bool:
        if guess.kind not in self._right:
            fault = guess.fault
            self._right[guess.kind] = frozenset(
                place
                for sign in fault.signs
                if sign.must
                for name in sign.names()
                for finding in self._case.passing.get(name, ())
                for place in sign.places(fault.of, self._case, finding)
            )
        return guess.place in self._right[guess.kind]

    def _too_few(self, guess: Suspicion) -> bool:
        """Whether fewer groups of settings are wrong than the fault takes."""
        if guess.fault.settings == 1:
            return False
        device = self._case.by_device.get(str(guess.place[0]))
        found = (*device.found, *device.of_ends) if device is not None else ()
        made = {GROUPS.get(f.check, f.check) for f in found if self.makes(guess, f)}
        return len(made) < guess.fault.settings

    def _at(self, guess: Suspicion, sign: Sign, finding: Finding) -> bool:
        """Whether a finding is where the sign has it, seen from the guess."""
        of, case = guess.fault.of, self._case
        if not guess.place:
            return True
        if sign.at == "behind":
            return any(
                name in case.behind(str(guess.place[0])) for name in case.of_devices(finding)
            )
        return guess.place in sign.places(of, case, finding)
