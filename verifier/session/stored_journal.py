"""A journal read again: what it holds, as the evidence it would have become."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from verifier.errors import InputError
from verifier.files.evidence import document as files
from verifier.files.evidence.shapes import prove_journal
from verifier.files.evidence.written_once import kept
from verifier.files.journals.soak import Chain, Kept, read_journal
from verifier.model.observation import JOURNAL
from verifier.model.result import Result
from verifier.report.result.json import document, result_of
from verifier.rules.compare.soak.context import SOAK
from verifier.rules.soak.tally import soaked

_NO_RESULT: Final = {
    "findings": [],
    "causes": [],
    "not_in_stage": [],
    "not_asked": [],
    "accepted": [],
    "verdict": "",
    "summary": {},
}


def stored(path: Path) -> tuple[Result, files.Evidence, Chain]:
    """What a journal holds, as the evidence it would have become; without findings yet.

    The last is what it is known by.

    Raises InputError where it is none, or its first line is not whole.
    """
    held = read_journal(path)
    header, name = held.header, f"{path}: first line"
    prove_journal(header, held.seen, held.blocks, str(path))
    parts = {**header["parts"], "samples": list(held.blocks)}
    observations = _observations(held)
    times = [
        header["started"],
        *(o["at"] for o in observations),
        *(_end_of(b) for b in held.blocks),
    ]
    run = {**header, **_NO_RESULT, "finished": max(times), "observations": observations,
           "findings": _problems(header["problems"])}  # fmt: skip
    result = result_of({k: v for k, v in run.items() if k in _FIELDS}, name)
    return result, files.of_parts({**parts, "result": document(result)}), held.chain


def refuse_another(path: Path, chain: Chain, result: Result, told_by: Path) -> None:
    """Raises InputError where a run's result tells that its journal was another than this.

    Nothing is said where the result is of a run with another journal, or with none.
    """
    name = path.name.removesuffix(".gz")
    for told in (o.value for o in result.observations if o.what == JOURNAL):
        if not isinstance(told, dict) or not (
            told.get("file") == name or told.get("first") == chain.first
        ):
            continue
        if any(told.get(key) != value for key, value in dataclasses.asdict(chain).items()):
            raise InputError(
                f"{path}: changed since it was written: {told_by} tells of {told.get('lines')} "
                f"lines, the last one with the SHA-256 {told.get('head')}; this has {chain.lines}, "
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


def _end_of(block: Mapping[str, Any]) -> str:
    """When the last sample of a block was due: it may be a minute after its first one."""
    long_s = 0.0
    if block["kind"] == "echo":
        long_s = len(block["rtt_us"]) * block["step_s"]
    elif block["kind"] == "values":
        long_s = block["t_s"][-1] - block["t_s"][0]
    end = dt.datetime.fromisoformat(block["at"]) + dt.timedelta(seconds=long_s)
    return f"{end.astimezone(dt.UTC).replace(tzinfo=None).isoformat(timespec='milliseconds')}Z"


_FIELDS: Final = {f.name for f in dataclasses.fields(Result)}


def _observations(kept: Kept) -> list[dict[str, Any]]:
    """Numbered as they are at the end of a run: the laptop's first, then the devices'."""
    order = {name: n for n, name in enumerate(kept.header["devices"])}
    seen = sorted(kept.seen, key=lambda o: order.get(o["subject"]["name"], -1))
    if not any(o["what"] == SOAK for o in seen):
        seen.insert(0, _unfinished(kept))
    return [{**o, "id": n} for n, o in enumerate(seen, start=1)]


def _unfinished(kept: Kept) -> dict[str, Any]:
    """What the laptop's observation `soak` says of one that nobody could end in order."""
    echoes = [b for b in kept.blocks if b["kind"] == "echo"]
    value = {
        "asked_s": kept.header["asked_s"],
        "lasted_s": round(soaked(kept.blocks).last_s, 3),
        "state": "unfinished",
        "step_s": echoes[0]["step_s"] if echoes else None,
        "bytes": sorted({b["bytes"] for b in echoes}),
    }
    at = max([kept.header["started"], *(b["at"] for b in kept.blocks)])
    return {
        "id": 0,
        "subject": {"kind": "laptop", "name": "laptop"},
        "probe": "laptop",
        "what": SOAK,
        "at": at,
        "value": value,
    }


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
