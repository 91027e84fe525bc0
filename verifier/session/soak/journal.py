"""The journal of a soak around its run: begun before it, known by its last line after it."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from verifier import __version__
from verifier.errors import UsageError
from verifier.files.canonical import as_json, plan_json
from verifier.files.journals.soak import Journal
from verifier.model.observations import JOURNAL, JournalChain, Observation
from verifier.model.result import Result
from verifier.model.subject import Subject
from verifier.rules.compare.scope import scope_of
from verifier.session.request import Request


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
