"""Files that are written once: nothing takes their place, whatever happens at the same moment."""

from __future__ import annotations

import errno
import json
import os
import threading
from pathlib import Path
from typing import Any

import pytest

from verifier.files.journals.soak import Journal
from verifier.files.output import kept, put, put_beside, put_instead, unsigned

UNSIGNED = b'{"format":"plan-verifier/evidence/1","parts":{},"sha256":{},"signature":null}\n'
SIGNED = UNSIGNED.replace(b"null", b'{"algorithm":"Ed25519","public_key":"0","value":"0"}')


def no_links(source: Any, target: Any) -> None:
    """As on FAT."""
    raise OSError(errno.EPERM, "Operation not permitted", str(source), None, str(target))


@pytest.fixture(params=["links", "no links"])
def place(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A name in an empty folder, on a disk with and without hard links."""
    if request.param == "no links":
        monkeypatch.setattr("verifier.files.output.os.link", no_links)
    return tmp_path / "handover.json"


def alone(place: Path) -> bool:
    """Whether nothing was left beside it."""
    return [p.name for p in place.parent.iterdir()] == [place.name]


def test_a_new_file(place: Path) -> None:
    """Whole, with the permissions of any new file, and nothing beside it."""
    put(place, SIGNED)
    assert place.read_bytes() == SIGNED
    other = place.parent.parent / "other"
    other.touch()
    assert place.stat().st_mode == other.stat().st_mode
    assert alone(place)


def test_a_file_that_is_there(place: Path) -> None:
    """It stays as it is, even an empty one."""
    for data in (SIGNED, b""):
        place.write_bytes(data)
        with pytest.raises(FileExistsError):
            put(place, UNSIGNED)
        assert place.read_bytes() == data
        assert alone(place)


def test_the_next_free_name(place: Path) -> None:
    """What was measured is kept all the same."""
    place.write_bytes(SIGNED)
    assert put_beside(place, b"1").name == "handover.2.json"
    assert put_beside(place, b"2").name == "handover.3.json"
    assert place.read_bytes() == SIGNED


def test_only_one_of_many_gets_the_name(place: Path) -> None:
    """Twenty writers at once: one file, whole, and nineteen who hear of it."""
    ready = threading.Barrier(20)
    told: list[int] = []

    def write(number: int) -> None:
        ready.wait()
        try:
            put(place, b"%d" % number * 100_000)
        except FileExistsError:
            told.append(number)

    threads = [threading.Thread(target=write, args=(n,)) for n in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    (winner,) = set(range(20)) - set(told)
    assert place.read_bytes() == b"%d" % winner * 100_000
    assert alone(place)


def test_in_the_place_of_one_that_may_go(place: Path) -> None:
    """Also where it has gone meanwhile."""
    place.write_bytes(UNSIGNED)
    put_instead(place, SIGNED, unsigned)
    assert place.read_bytes() == SIGNED
    place.unlink()
    put_instead(place, UNSIGNED, unsigned)
    assert place.read_bytes() == UNSIGNED
    assert alone(place)


def test_one_that_was_signed_meanwhile(place: Path) -> None:
    """It is looked at when nobody else can reach it, and stays."""
    place.write_bytes(SIGNED)
    with pytest.raises(FileExistsError):
        put_instead(place, UNSIGNED, unsigned)
    assert place.read_bytes() == SIGNED
    assert alone(place)


@pytest.mark.parametrize("writer", [put, lambda p, d: put_instead(p, d, unsigned)])
def test_without_room(writer: Any, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The old file stands as it did, and no part of the new one."""
    if writer is not put:
        place.write_bytes(UNSIGNED)

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("verifier.files.output.os.fsync", full)
    with pytest.raises(OSError, match="No space"):
        writer(place, SIGNED)
    left = [p.read_bytes() for p in place.parent.iterdir()]
    assert left == ([] if writer is put else [UNSIGNED])


@pytest.mark.parametrize(
    ("data", "what"),
    [
        (UNSIGNED, "evidence"), (SIGNED, "evidence"), (b"", None), (b"PK\x03\x04", None),
        (json.dumps(json.loads(SIGNED), indent=1).encode(), "evidence"),
        (b"\xef\xbb\xbf" + SIGNED, "evidence"),
        (SIGNED.replace(b"evidence/1", b"evidence/7"), "evidence"),
        (b'{"format": "plan-verifier/result/1"}', None),
    ],
)  # fmt: skip
def test_what_is_kept(data: bytes, what: str | None, tmp_path: Path) -> None:
    """Evidence of every version and layout; no other document."""
    path = tmp_path / "x"
    path.write_bytes(data)
    assert kept(path) == what


def test_a_journal_is_kept(tmp_path: Path) -> None:
    """While it grows and when it is compressed."""
    with Journal(tmp_path / "run.journal", {"command": "verify"}) as journal:
        assert kept(journal.path) == "the journal of a soak"
    assert kept(journal.compress()) == "the journal of a soak"
