"""The journal: cut off anywhere, damaged, compressed, and without room on the disk."""

from __future__ import annotations

import gzip
import json
import os
import random
from pathlib import Path
from typing import Any

import pytest
import rfc8785

from verifier.errors import InputError, UsageError
from verifier.files.journal import Journal, is_journal, read_journal

HEADER = {"command": "verify", "asked_s": 60.0, "started": "2026-11-24T10:00:00Z"}


def block(number: int) -> dict[str, Any]:
    return {"kind": "echo", "start_s": number, "rtt_us": [1, None, -1] * 20, "at": "x"}


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    return Journal(tmp_path / "run.journal", HEADER)


def test_what_is_written_is_read(journal: Journal) -> None:
    """Header, observations, blocks in order, and whether it was closed."""
    journal.add({"kind": "seen", "observations": [{"what": "echo"}]}, block(1))
    journal.add(block(2))
    kept = read_journal(journal.path)
    assert kept.header["command"] == "verify"
    assert kept.seen == ({"what": "echo"},)
    assert kept.blocks == (block(1), block(2))
    assert kept.end is None
    journal.add({"kind": "end"})
    assert read_journal(journal.path).end is not None
    assert list(journal.samples()) == [block(1), block(2)]


def test_lines_are_canonical(journal: Journal) -> None:
    """RFC 8785, so that evidence takes them as they stand."""
    journal.add(block(1))
    for line in journal.path.read_bytes().splitlines():
        assert rfc8785.dumps(json.loads(line)) == line


def test_cut_off_at_every_byte(journal: Journal, tmp_path: Path) -> None:
    """Whatever is cut from its end, the whole lines before are read; the header must be whole."""
    journal.add(block(1), block(2))
    data = journal.path.read_bytes()
    first = data.index(b"\n") + 1
    cut = tmp_path / "cut.journal"
    dice = random.Random(9)
    for length in [first, len(data) - 1, *(dice.randrange(first, len(data)) for _ in range(60))]:
        cut.write_bytes(data[:length])
        assert len(read_journal(cut).blocks) == data[first:length].count(b"\n")
        assert is_journal(cut)
    cut.write_bytes(data[: first - 1])
    with pytest.raises(InputError, match="no journal"):
        read_journal(cut)


@pytest.mark.parametrize(
    ("line", "words"),
    [(b'{"kind":"echo"', "line 2 is damaged"), (b"\x00\x00", "line 2 is damaged"),
     (b"[]", "line 2 is no line"), (b'{"kind":"strange"}', "line 2 is no line")],
)  # fmt: skip
def test_damage_within_is_named(journal: Journal, line: bytes, words: str) -> None:
    """A torn line that others follow was not cut by a kill: the file was changed."""
    lines = journal.path.read_bytes() + line + b"\n" + rfc8785.dumps(block(1)) + b"\n"
    journal.path.write_bytes(lines)
    with pytest.raises(InputError, match=words):
        read_journal(journal.path)


def test_compressed_on_closing(journal: Journal) -> None:
    """Gzip (RFC 1952), the same lines; the plain file is gone."""
    journal.add(*(block(n) for n in range(500)))
    with journal:
        plain = journal.path.read_bytes()
    stands = journal.compress()
    assert stands.name == "run.journal.gz"
    assert not journal.path.exists()
    assert gzip.decompress(stands.read_bytes()) == plain
    assert stands.stat().st_size < len(plain) / 10
    assert len(read_journal(stands).blocks) == 500
    assert is_journal(stands)


def test_cut_compressed_file_is_damaged(journal: Journal) -> None:
    """It is written whole under another name first, so half of one was cut by somebody else."""
    with journal:
        journal.add(*(block(n) for n in range(50)))
    stands = journal.compress()
    stands.write_bytes(stands.read_bytes()[:-30])
    with pytest.raises(InputError, match="damaged"):
        read_journal(stands)


def test_a_journal_that_is_there_is_left_alone(journal: Journal, tmp_path: Path) -> None:
    """Of a run that was cut off: the next one takes another name, also beside a compressed one."""
    second = Journal(tmp_path / "run.journal", HEADER)
    assert second.path.name == "run.2.journal"
    with second:
        pass
    second.compress()
    assert Journal(tmp_path / "run.journal", HEADER).path.name == "run.3.journal"
    assert read_journal(journal.path).header["command"] == "verify"


def test_no_place_to_write(tmp_path: Path) -> None:
    """A folder that is not there, said at once."""
    with pytest.raises(UsageError, match="cannot be written: No such file"):
        Journal(tmp_path / "nowhere" / "run.journal", HEADER)


def test_full_disk_then_room_again(journal: Journal, monkeypatch: pytest.MonkeyPatch) -> None:
    """A line that went in half is taken back; what waits goes in when there is room, in order."""
    real = os.write
    room = {"bytes": 100}

    def little(fd: int, data: Any) -> int:
        if not room["bytes"]:
            raise OSError(28, "No space left on device")
        size = real(fd, data[: room["bytes"]])
        room["bytes"] -= size
        return size

    monkeypatch.setattr("verifier.files.journal.os.write", little)
    journal.add(block(1))
    assert journal.fault == "No space left on device"
    journal.add(block(2))
    assert read_journal(journal.path).blocks == ()
    assert list(journal.samples()) == [block(1), block(2)]
    room["bytes"] = 10**9
    journal.add(block(3))
    assert not journal.fault
    assert read_journal(journal.path).blocks == (block(1), block(2), block(3))


def test_a_text_file_is_no_journal(tmp_path: Path) -> None:
    """Nor is a result, which begins with a brace too."""
    path = tmp_path / "run.json"
    path.write_text('{\n "format": "plan-verifier/result/1"}')
    assert not is_journal(path)
    assert not is_journal(tmp_path / "nothing")


def test_counts_beyond_what_json_holds_exactly(journal: Journal) -> None:
    """A Counter64 stands as its digits, and the line is taken (RFC 8785 section 3.2.2.3)."""
    journal.add({"kind": "values", "series": {"ifHCInOctets eth1": [2**64 - 1, 7]}})
    (read,) = read_journal(journal.path).blocks
    assert read["series"] == {"ifHCInOctets eth1": [str(2**64 - 1), 7]}
