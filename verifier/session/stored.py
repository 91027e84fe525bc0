"""What a stored file holds (a result, evidence, the journal of a soak), proved and judged again."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from verifier.errors import InputError
from verifier.files.evidence import document as files
from verifier.files.evidence.observations import prove_blocks, prove_observations, result_of
from verifier.files.journals.soak import Chain, is_journal
from verifier.model.plan import Plan
from verifier.model.result import Result
from verifier.report.style import plain
from verifier.rules.judge_again import judged_again
from verifier.session.soak.journal import (
    evidence_beside,
    journal_as_evidence,
    refuse_another_journal,
)

_RESULT = "plan-verifier/result/1"
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Stored:
    """What a file holds: a result, and the evidence of it where that is what was kept."""

    path: Path
    result: Result
    evidence: files.Evidence | None
    chain: Chain | None = None
    """Of a journal: what it is known by."""

    def whole(self, what: str) -> files.Evidence:
        """The evidence. Raises InputError where the file is a result alone."""
        if self.evidence is None:
            raise InputError(
                f"{self.path}: is a result without plan and profiles: {what} needs the file that "
                "verify --evidence wrote"
            )
        return self.evidence

    def plan(self) -> Plan | None:
        """The plan in the evidence; None where there is no evidence. Raises InputError."""
        return None if self.evidence is None else _plan(self.evidence, self.path)


def _unsaid(words: str) -> None:
    del words


def result_in(path: Path) -> Result:
    """The result in a file of any kind. Raises InputError, also for a forged signature."""
    return proved(path).result


def proved(path: Path, say: Say = _unsaid) -> Stored:
    """What a file holds. Raises InputError, also for a signature that does not fit.

    `say` is called with what could not be compared, though it is no reason to withhold the file.
    """
    stored = read(path, say)
    signed = stored.evidence is not None and stored.evidence.signature is not None
    if signed and (why := files.doubt(stored.whole("its signature"))) is not None:
        raise InputError(f"{path}: {why}")
    return stored


def read(path: Path, say: Say = _unsaid) -> Stored:
    """What a file holds, whatever its signature. Raises InputError."""
    if is_journal(path):
        return _journal(path, say)
    document = files.read_document(path)
    kind = document["format"]
    if kind == _RESULT:
        return Stored(path, result_of(document, str(path)), None)
    if kind == files.FORMAT:
        evidence = files.parse(document, path)
        part = evidence.parts["result"]
        if part.get("format") != _RESULT:
            raise InputError(f"{path}: its part result is no {_RESULT}")
        prove_blocks(evidence.parts["samples"], f"{path}: part samples")
        return Stored(path, result_of(part, f"{path}: part result"), evidence)
    family = kind.rpartition("/")[0]
    if family in (_RESULT.rpartition("/")[0], files.FORMAT.rpartition("/")[0]):
        raise InputError(
            f"{path}: is {plain(kind)}, of a newer plan-verifier than this one: use that one"
        )
    raise InputError(f"{path}: is {plain(kind)}; {_RESULT} or {files.FORMAT} can be drawn")


def judged(stored: Stored) -> Result:
    """The result by today's rules. Raises InputError where the file does not hold all it takes."""
    evidence = stored.whole("--judge-again")
    prove_observations(stored.result.observations, f"{stored.path}: part result")
    plan = _plan(evidence, stored.path)
    profiles = files.profiles_of(evidence, stored.path)
    samples = evidence.parts["samples"]
    return judged_again(stored.result, plan, profiles, samples, str(stored.path))


def refuse_another_run(one: Stored, other: Stored) -> None:
    """Raises InputError where one is the journal of the other's run, and was changed since."""
    for journal, result in ((one, other), (other, one)):
        if journal.chain is not None:
            refuse_another_journal(journal.path, journal.chain, result.result, result.path)


def _journal(path: Path, say: Say) -> Stored:
    """What a journal holds, judged. Raises InputError where the evidence beside it tells another.

    Evidence that cannot be read is said, and is no reason to withhold the journal.
    """
    result, evidence, chain = journal_as_evidence(path)
    if (beside := evidence_beside(path)) is not None:
        try:
            told = proved(beside, say).result
        except InputError as fault:
            say(f"{plain(path)} was not compared with its evidence: {fault}")
        else:
            refuse_another_journal(path, chain, told, beside)
    unjudged = Stored(path, result, evidence, chain)
    return dataclasses.replace(unjudged, result=judged(unjudged))


def _plan(evidence: files.Evidence, path: Path) -> Plan:
    plan = files.plan_of(evidence, path)
    names = {d.name for d in plan.devices}
    ends = {n for link in plan.links for side in link.devices() for n in side}
    if missing := ends - names:
        raise InputError(f"{path}: part plan: a link names {min(missing)}, which is no device")
    return plan
