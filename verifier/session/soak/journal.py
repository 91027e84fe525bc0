"""The journal of a soak: begun before it, closed after it, and read again as evidence."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from verifier import __version__
from verifier.errors import InputError, UsageError
from verifier.files.canonical import as_json, plan_json
from verifier.files.evidence import document as files
from verifier.files.evidence.observations import (
    observation_of,
    prove_blocks,
    prove_header,
    prove_observations,
    result_of,
)
from verifier.files.journals.soak import Chain, Journal, Kept, read_journal
from verifier.files.output import kept
from verifier.model.observations import JOURNAL, SOAK, Observation
from verifier.model.problem import Subject
from verifier.model.result import Result
from verifier.model.samples import Block, JournalChain, SoakCourse
from verifier.report.result.json import as_row, document
from verifier.rules.compare.scope import scope_of
from verifier.rules.observations import of_kind
from verifier.rules.soak.tally import soaked
from verifier.session.request import Request

_NO_RESULT: Final = {
    "findings": [],
    "causes": [],
    "not_in_stage": [],
    "not_asked": [],
    "accepted": [],
    "verdict": "",
    "summary": {},
}


def journal_as_evidence(path: Path) -> tuple[Result, files.Evidence, Chain]:
    """What a journal holds, as the evidence it would have become; without findings yet.

    The last is what it is known by.

    Raises InputError where it is none, or its first line is not whole.
    """
    held = read_journal(path)
    header, name = held.header, f"{path}: first line"
    prove_header(header, str(path))
    blocks = prove_blocks(held.blocks, str(path))
    parts = {**header["parts"], "samples": list(held.blocks)}
    observations = _observations(held, blocks, str(path))
    times = [header["started"], *(o.at for o in observations), *map(_end_of, blocks)]
    rows = [as_row(o) for o in observations]
    run = {**header, **_NO_RESULT, "finished": max(times), "observations": rows,
           "findings": _problems(header["problems"])}  # fmt: skip
    result = result_of({k: v for k, v in run.items() if k in _FIELDS}, name)
    return result, files.of_parts({**parts, "result": document(result)}), held.chain


def refuse_another_journal(path: Path, chain: Chain, result: Result, told_by: Path) -> None:
    """Raises InputError where a run's result tells that its journal was another than this.

    Nothing is said where the result is of a run with another journal, or with none.
    """
    name = path.name.removesuffix(".gz")
    for told in (o.value for o in of_kind(result.observations, JOURNAL)):
        if told is None or not (told.file == name or told.first == chain.first):
            continue
        if (told.lines, told.first, told.head) != (chain.lines, chain.first, chain.head):
            raise InputError(
                f"{path}: changed since it was written: {told_by} tells of {told.lines} "
                f"lines, the last one with the SHA-256 {told.head}; this has {chain.lines}, "
                f"with {chain.head}"
            )


def evidence_beside(path: Path) -> Path | None:
    """Evidence beside a journal whose name says that it is of the same run; None without it."""
    name = path.name.removesuffix(".gz").removesuffix(".journal")
    for candidate in (name, name.rpartition(".")[0]):
        if not candidate:
            continue
        place = path.with_name(candidate)
        if place.is_file() and kept(place) == "evidence":
            return place
    return None


def _end_of(block: Block) -> str:
    """When the last sample of a block was due: it may be a minute after its first one."""
    long_s = 0.0
    if block["kind"] == "echo":
        long_s = len(block["rtt_us"]) * block["step_s"]
    elif block["kind"] == "values":
        long_s = block["t_s"][-1] - block["t_s"][0]
    end = dt.datetime.fromisoformat(block["at"]) + dt.timedelta(seconds=long_s)
    return f"{end.astimezone(dt.UTC).replace(tzinfo=None).isoformat(timespec='milliseconds')}Z"


_FIELDS: Final = {f.name for f in dataclasses.fields(Result)}


def _observations(kept: Kept, blocks: Sequence[Block], where: str) -> list[Observation[object]]:
    """Numbered as they are at the end of a run: the laptop's first, then the devices'."""
    order = {name: n for n, name in enumerate(kept.header["devices"])}
    seen = [observation_of(row, where) for row in kept.seen]
    prove_observations(seen, where)
    seen.sort(key=lambda o: order.get(o.subject.name, -1))
    if not of_kind(seen, SOAK):
        seen.insert(0, _unfinished(kept.header, blocks))
    return [dataclasses.replace(o, id=n) for n, o in enumerate(seen, start=1)]


def _unfinished(header: Mapping[str, Any], blocks: Sequence[Block]) -> Observation[object]:
    """How a soak went that nobody could end in order."""
    echoes = [b for b in blocks if b["kind"] == "echo"]
    course = SoakCourse(
        asked_s=header["asked_s"],
        lasted_s=round(soaked(blocks).last_s, 3),
        state="unfinished",
        step_s=echoes[0]["step_s"] if echoes else None,
        bytes=tuple(sorted({b["bytes"] for b in echoes})),
    )
    at = max([header["started"], *(b["at"] for b in blocks)])
    return Observation(id=0, subject=Subject("laptop", "laptop"), kind=SOAK, seen=course, at=at)


def _problems(problems: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """The plan's warnings as the findings they become."""
    return [
        {
            "check": f"plan.{p['rule']}",
            "subject": p["subject"],
            "verdict": "fail" if p["severity"] == "error" else "warn",
            "reason": p["message"],
            "origin": p["origin"],
        }
        for p in problems
    ]


def length_s(typed_s: float | None, planned_s: float | None) -> float | None:
    """How long to soak; None: not at all. Raises UsageError where neither says how long.

    Args:
        typed_s: what a person asks for; 0: what the plan says; None: no soak.
        planned_s: what the plan says.
    """
    if typed_s is None:
        return None
    if typed_s:
        return typed_s
    if not planned_s:
        raise UsageError("the plan has no acceptance.soak_s: say how long, for instance --soak 15m")
    return planned_s


def begun(  # noqa: PLR0913
    request: Request,
    long_s: float,
    evidence: Path | None,
    now: dt.datetime,
    *,
    by: str | None,
    place: str | None,
) -> Journal:
    """The journal of a soak of `request`: beside the evidence, or else in the present folder.

    Args:
        request: what is measured.
        long_s: how long.
        evidence: the file of the evidence.
        now: the time of day.
        by: who tests.
        place: where.

    Raises:
        UsageError: nothing can be written there.
    """
    path = Path(f"soak-{now:%Y%m%dT%H%M%SZ}.journal")
    if evidence is not None:
        path = evidence.with_name(f"{evidence.name}.journal")
    return Journal(path, {**_header(request, long_s, now), "by": by, "place": place})


def closed(result: Result, journal: Journal | None) -> Result:
    """The result with what its journal is known by, which gets its last line here.

    So nobody can change the journal afterwards and have it fit the evidence.
    """
    if journal is None:
        return result
    journal.add({"kind": "end"})
    noted = Observation(
        id=max((o.id for o in result.observations), default=0) + 1,
        subject=Subject("laptop", "laptop"),
        kind=JOURNAL,
        at=result.finished,
        seen=JournalChain(file=journal.path.name, **dataclasses.asdict(journal.chain)),
        raw=journal.fault or None,
    )
    return dataclasses.replace(result, observations=(*result.observations, noted))


def _header(request: Request, long_s: float, now: dt.datetime) -> Mapping[str, Any]:
    """What a journal begins with: enough to judge it without anything else."""
    plan = request.plan
    return {
        "tool": {"version": __version__},
        "command": request.command,
        "stage": request.stage,
        "plan": {
            "name": plan.network.name,
            "revision": plan.network.revision,
            "sha256": request.plan_sha256,
            "file_sha256": plan.file_sha256,
        },
        "started": f"{now:%Y-%m-%dT%H:%M:%SZ}",
        "asked_s": long_s,
        "devices": [d.name for d in request.devices],
        "scope": dataclasses.asdict(scope_of(plan, request.names, request.devices)),
        "problems": [
            {**dataclasses.asdict(p), "origin": str(p.origin or "")} for p in request.problems
        ],
        "parts": {
            "plan": plan_json(plan),
            "profiles": {name: as_json(p) for name, p in request.profiles.items()},
        },
    }
