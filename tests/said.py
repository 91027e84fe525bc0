"""What the rules say in the situations of a test file, word for word: `said/FILE.txt` beside it.

A table of situations asserts which checks fail. The words and figures that a person then reads (planned,
found, reason, advice, place, and a cause with what is for and against it) stand in these files, each
once. A test that hears another one fails: where it is meant, `PLAN_VERIFIER_SAID=write .venv/bin/pytest
FOLDER` writes the files anew, and their diff is to be read. A file of tests asks for it by
`pytestmark = pytest.mark.usefixtures("words")`.
"""

from __future__ import annotations

import os
from collections.abc import Generator, Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from verifier.model.result import Cause, Finding
from verifier.rules import diagnose
from verifier.rules.compare import judge
from verifier.rules.compare.judge import Judgement
from verifier.rules.diagnose.kinds import TRY_FIRST

WRITE = os.environ.get("PLAN_VERIFIER_SAID") == "write"
_heard: list[str] = []
_written: dict[Path, set[str]] = {}


def hear(line: str) -> None:
    """Something else that a test holds word for word."""
    _heard.append(_line(line))


def compare(*args: Any, **more: Any) -> Judgement:
    """The rules' own, overheard."""
    judgement = judge.compare(*args, **more)
    _heard.extend(line for f in judgement.findings for line in sentences(f))
    _heard.extend(f"not asked {n.what}: {n.reason} ({n.count})" for n in judgement.not_asked)
    return judgement


def explain(*args: Any, **more: Any) -> tuple[tuple[Finding, ...], tuple[Cause, ...]]:
    """The rules' own, overheard."""
    findings, causes = diagnose.explain(*args, **more)
    by_id = {f.id: f for f in findings}
    _heard.extend(line for c in causes for line in of_cause(by_id, c))
    return findings, causes


def sentences(finding: Finding) -> list[str]:
    """A finding: what is said, what to do, where it is planned; each a line of its own."""
    unit = f" {finding.unit}" if finding.unit else ""
    words = [
        f"{finding.check} {finding.verdict}",
        *([f"planned {finding.expected}{unit}"] if finding.expected is not None else []),
        *([f"found {finding.observed}{unit}"] if finding.observed is not None else []),
        finding.reason,
    ]
    return [
        _line(" | ".join(words)),
        *([_line(f"{finding.check} do: {finding.advice}")] if finding.advice else []),
        *([f"{finding.check} at {finding.origin}"] if finding.origin else []),
    ]


def of_cause(findings: Mapping[str, Finding], cause: Cause) -> list[str]:
    """A cause: what is said, what speaks for and against it, and advice of its own."""

    def named(ids: Iterable[str]) -> str:
        return ", ".join(f"{findings[i].check} {findings[i].subject}" for i in ids)

    head = f"{cause.kind} {cause.certainty} {cause.subject}"
    return [
        _line(f"{head} | {cause.text}"),
        f"{head} for {named(cause.for_)} against {named(cause.against)}",
        *([f"{head} do: {cause.try_first}"] if cause.try_first != TRY_FIRST[cause.kind] else []),
    ]


def _line(text: str) -> str:
    return text.encode("unicode_escape").decode()


def held(request: pytest.FixtureRequest) -> Generator[None, None, None]:
    """Around a test: each sentence that it heard stands in the file. Examples by chance are left out."""
    _heard.clear()
    yield
    if hasattr(request.function, "is_hypothesis_test") or not _heard:
        return
    file = request.path.parent / "said" / f"{request.path.stem}.txt"
    if WRITE:
        _written.setdefault(file, set()).update(_heard)
        file.parent.mkdir(exist_ok=True)
        file.write_text("".join(f"{s}\n" for s in sorted(_written[file])), encoding="utf-8")
        return
    new = [s for s in dict.fromkeys(_heard) if s not in known(file)]
    assert not new, "said, and not in " + str(file) + ":\n" + "\n".join(new)


@cache
def known(file: Path) -> frozenset[str]:
    """The sentences of a file."""
    return frozenset(file.read_text(encoding="utf-8").splitlines())
