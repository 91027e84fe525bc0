"""The journal: cut off anywhere, damaged, compressed, and without room on the disk."""

from __future__ import annotations

import gzip
import hashlib
import json
import os
import random
from pathlib import Path
from typing import Any

import pytest
import rfc8785

from verifier.errors import InputError, UsageError
from verifier.files.journals.soak import Journal, is_journal, read_journal

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


def chained(journal: Journal) -> list[bytes]:
    """The lines of a journal that was closed."""
    journal.add({"kind": "seen", "observations": [{"what": "echo"}]}, *map(block, range(5)))
    journal.add({"kind": "end"})
    return journal.path.read_bytes().splitlines()


def test_each_line_names_the_one_before(journal: Journal) -> None:
    """The SHA-256 of its bytes without the end; the first and the last are what it is known by."""
    lines = chained(journal)
    hashes = [hashlib.sha256(line).hexdigest() for line in lines]
    assert "previous" not in json.loads(lines[0])
    assert [json.loads(line)["previous"] for line in lines[1:]] == hashes[:-1]
    for chain in (journal.chain, read_journal(journal.path).chain):
        assert (chain.lines, chain.first, chain.head) == (len(lines), hashes[0], hashes[-1])


def test_samples_go_on_without_their_links(journal: Journal) -> None:
    """Evidence gets the blocks as they were measured, in canonical form."""
    odd = {**block(7), "at": 'x,"previous":"' + "0" * 64 + '"'}
    journal.add(block(1), odd, {"kind": "end"})
    assert list(journal.sample_lines()) == [rfc8785.dumps(block(1)), rfc8785.dumps(odd)]
    assert list(journal.samples()) == [block(1), odd]
    assert read_journal(journal.path).blocks == (block(1), odd)


def test_every_changed_line_is_found(journal: Journal, tmp_path: Path) -> None:
    """A byte of any line but the last, a line taken out, doubled, moved, put in, or without link."""
    lines = chained(journal)
    path = tmp_path / "changed.journal"
    free = rfc8785.dumps(block(9))
    changes = [
        *([*lines[:n], lines[n].replace(b"1", b"2", 1), *lines[n + 1 :]] for n in range(2, 7)),
        [lines[0].replace(b"verify", b"reach"), *lines[1:]],
        *([*lines[:n], *lines[n + 1 :]] for n in range(1, 7)),
        *([*lines[: n + 1], *lines[n:]] for n in range(1, 7)),
        [*lines[:3], lines[4], lines[3], *lines[5:]],
        [*lines[:3], free, *lines[3:]],
        [*lines, free],
    ]
    for changed in changes:
        assert changed != lines
        path.write_bytes(b"".join(line + b"\n" for line in changed))
        with pytest.raises(InputError, match=r"changed since it was written: line \d+ does not"):
            read_journal(path)


def test_compressed_on_closing(journal: Journal) -> None:
    """Gzip (RFC 1952), the same lines; the plain file is gone."""
    journal.add(*(block(n) for n in range(500)))
    with journal:
        plain = journal.path.read_bytes()
    stands = journal.compress()
    assert stands.name == "run.journal.gz"
    assert not journal.path.exists()
    assert gzip.decompress(stands.read_bytes()) == plain
    links = 500 * 32  # a hash is as long as its bytes, however it is packed
    assert stands.stat().st_size - links < len(plain) / 10
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

    monkeypatch.setattr("verifier.files.journals.soak.os.write", little)
    journal.add(block(1))
    assert journal.fault == "No space left on device"
    journal.add(block(2))
    assert read_journal(journal.path).blocks == ()
    assert list(journal.samples()) == [block(1), block(2)]
    assert journal.chain == read_journal(journal.path).chain
    room["bytes"] = 10**9
    journal.add(block(3))
    assert journal.chain == read_journal(journal.path).chain
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
