"""The guide's journal: whole wherever it was cut off, and never another's file."""

from __future__ import annotations

import json
import multiprocessing
from multiprocessing.connection import Connection
from pathlib import Path

import pytest

from verifier.errors import InputError, UsageError
from verifier.files.journals.guide import FORMAT, GuideJournal, default_path, read_story

STEPS: list[dict[str, object]] = [
    {"n": n, "action": "set-laptop", "addresses": []} for n in (1, 2, 3)
]


def write(path: Path, *results: str) -> None:
    """A journal whose steps came to these results."""
    with GuideJournal(path) as journal:
        journal.add("start", format=FORMAT, asked={"done": []}, steps=STEPS)
        for n, result in enumerate(results, start=1):
            journal.add("step", n=n, action="set-laptop", result=result)


@pytest.mark.parametrize(
    ("plan", "name"),
    [("plan.yaml", "plan.readdress.jsonl"), ("coast", "coast.readdress.jsonl"), ("a.b.xlsx", "a.b.readdress.jsonl")],
)  # fmt: skip
def test_it_stands_beside_the_plan(tmp_path: Path, plan: str, name: str) -> None:
    assert default_path(tmp_path / plan) == tmp_path / name


def test_cut_anywhere_it_tells_what_was_whole(tmp_path: Path) -> None:
    """Whatever the byte at which a kill cut it, the lines before count and the next one is whole."""
    path = tmp_path / "j.jsonl"
    write(path, "done", "done", "told")
    whole = path.read_bytes()
    for size in range(len(whole) + 1):
        path.write_bytes(whole[:size])
        story = read_story(path)
        lines = whole[:size].count(b"\n")
        assert (story is None) == (lines == 0)
        if story is not None:
            assert len(story.done) == min(2, lines - 1)
            assert not story.finished
        with GuideJournal(path) as journal:
            journal.add("step", n=3, action="set-laptop", result="done")
        assert all(json.loads(line) for line in path.read_text().splitlines())


def test_reopened_steps_are_not_done(tmp_path: Path) -> None:
    path = tmp_path / "j.jsonl"
    write(path, "done", "done", "failed")
    with GuideJournal(path) as journal:
        journal.add("reopen", numbers=[2], device="quarry")
    story = read_story(path)
    assert story is not None
    assert story.done == {1}


def test_the_last_runbook_counts(tmp_path: Path) -> None:
    """One that came to its end makes room for the next; the file keeps both."""
    path = tmp_path / "j.jsonl"
    write(path, "done", "done", "done")
    with GuideJournal(path) as journal:
        journal.add("end", result="done")
    first = read_story(path)
    assert first is not None
    assert first.finished
    write(path, "done")
    second = read_story(path)
    assert second is not None
    assert not second.finished
    assert second.done == {1}


@pytest.mark.parametrize(
    "text",
    ["devices: []\n", "[1]\n", '{"record": "song"}\n', '{"record": "step", "n": "one", "result": "done"}\n',
     '{"record": "start", "format": "other/1", "asked": {}, "steps": []}\n', '{"record": "step", "n": 1, "result": "done"}\n', "\xff\n"],
)  # fmt: skip
def test_what_is_no_journal_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "j.jsonl"
    path.write_text(text, encoding="latin-1")
    with pytest.raises(InputError, match=r"j\.jsonl"):
        read_story(path)


def claim(path: Path, pipe: Connection) -> None:
    with GuideJournal(path):
        pipe.send("held")
        pipe.recv()


def test_two_guides_do_not_share_one(tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=claim, args=(tmp_path / "j", theirs))
    process.start()
    try:
        assert ours.poll(60)
        with pytest.raises(UsageError, match="another guide"):
            GuideJournal(tmp_path / "j")
    finally:
        ours.send("end")
        process.join(60)


def test_places_where_nothing_can_be_kept(tmp_path: Path) -> None:
    """A folder, a missing folder, a device: said at once."""
    for path in (tmp_path, tmp_path / "no" / "j", Path("/dev/full")):
        with pytest.raises(UsageError, match="cannot be written"):
            GuideJournal(path)
