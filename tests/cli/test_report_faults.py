"""Whose fault it is: exit 4 comes from the reader of the file, exit 5 from whatever a rule raises."""

from __future__ import annotations

import copy
import json
import random
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.cli.test_report import kept, reseal
from verifier import cli
from verifier.errors import EXIT_FAILED, EXIT_INPUT, EXIT_OURS, EXIT_PASSED
from verifier.rules import judge_again

__all__ = ["kept"]
pytestmark = pytest.mark.icmp
JUNK: tuple[Any, ...] = (
    None, True, -1, 2**52, 1.5, "", "x", "\u0000", [], [None], ["x"], {}, {"a": [1]}, [[1], {"b": 2}],
)  # fmt: skip


def code(monkeypatch: pytest.MonkeyPatch, *words: str) -> int:
    monkeypatch.setattr(sys, "argv", ["plan-verifier", *words])
    return cli._run()


@pytest.mark.parametrize("kind", [KeyError, TypeError, ValueError, AttributeError, OverflowError])
def test_what_a_rule_raises_is_our_fault(
    kept: Path, kind: type[Exception], monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    """The file is whole: the fault is ours, in one line."""

    def broken(*_: object, **__: object) -> None:
        raise kind("of our own making")

    monkeypatch.setattr(judge_again, "compare", broken)
    assert code(monkeypatch, "report", str(kept / "good.json"), "--judge-again") == EXIT_OURS
    (line,) = capsys.readouterr().err.splitlines()
    assert "a fault of this program" in line


def test_a_rule_of_a_soak_that_raises_is_our_fault(
    kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Drawing evidence calls no rule under a handler."""

    def broken(*_: object) -> None:
        raise KeyError("kind")

    monkeypatch.setattr("verifier.rules.soak.tally.soaked", broken)
    assert code(monkeypatch, "report", str(kept / "good.json"), "--quiet") == EXIT_PASSED


def values(evidence: dict[str, Any]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = evidence["parts"]["result"]["observations"]
    return found


def test_each_kind_of_value_is_proved_by_the_reader(
    kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    """A value of another shape: exit 4, with the observation's name, before any rule sees it."""
    evidence = json.loads((kept / "good.json").read_text("utf-8"))
    whats = {o["what"] for o in values(evidence)}
    assert {"interfaces", "route", "echo", "warm-up", "answer", "sysName", "sysUpTime"} <= whats
    for what in sorted(whats):
        changed = copy.deepcopy(evidence)
        next(o for o in values(changed) if o["what"] == what)["value"] = {"a": [1]}
        reseal(changed, tmp_path / "odd.json")
        assert (
            code(monkeypatch, "report", str(tmp_path / "odd.json"), "--judge-again") == EXIT_INPUT
        )
        said = capsys.readouterr().err
        assert f"({what})" in said
        assert "part result" in said


def places(value: Any) -> list[tuple[Any, Any]]:
    """Every place in a document: its container, and the key there."""
    inner = value.items() if isinstance(value, dict) else enumerate(value)
    found = [(value, key) for key, _ in inner]
    for _, one in value.items() if isinstance(value, dict) else enumerate(value):
        if isinstance(one, dict | list):
            found += places(one)
    return found


def test_no_change_of_a_file_is_a_fault_of_ours(
    kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    """200 well-hashed files with junk in one observation each: judged, or refused with the place."""
    chance = random.Random(4)
    evidence = json.loads((kept / "bad.json").read_text("utf-8"))
    codes = set()
    for _ in range(200):
        changed = copy.deepcopy(evidence)
        container, key = chance.choice(places(values(changed)))
        container[key] = chance.choice(JUNK)
        reseal(changed, tmp_path / "odd.json")
        found = code(
            monkeypatch, "report", str(tmp_path / "odd.json"), "--judge-again", "--verbose"
        )
        assert found != EXIT_OURS, (key, container[key], capsys.readouterr().err[-2000:])
        codes.add(found)
    assert codes == {EXIT_PASSED, EXIT_FAILED, EXIT_INPUT}
