"""A file is replaced whole or not at all."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from verifier.files.disk import clear, replace, scrap


@pytest.mark.parametrize(
    ("before", "given", "umask", "after"),
    [
        (None, None, 0o022, 0o644),
        (None, None, 0o077, 0o600),
        (0o640, None, 0o022, 0o640),
        (None, 0o644, 0o077, 0o644),
        (0o600, 0o644, 0o077, 0o644),
    ],
)
def test_permissions(
    tmp_path: Path, before: int | None, given: int | None, umask: int, after: int
) -> None:
    """Those asked for, else those of the file that was there, else those of any new file."""
    path = tmp_path / "figures.prom"
    if before is not None:
        path.touch()
        path.chmod(before)
    mask = os.umask(umask)
    try:
        replace(path, b"new", given)
    finally:
        os.umask(mask)
    assert path.read_bytes() == b"new"
    assert stat.S_IMODE(path.stat().st_mode) == after


def test_who_has_the_old_one_open_reads_it_to_its_end(tmp_path: Path) -> None:
    """The new one is another file: it is not written over the old one."""
    path = tmp_path / "figures.prom"
    path.write_bytes(b"old figures")
    with path.open("rb") as reader:
        assert reader.read(3) == b"old"
        replace(path, b"new")
        assert reader.read() == b" figures"


def test_what_cannot_be_replaced_leaves_nothing_behind(tmp_path: Path) -> None:
    """A folder stands in its place: OSError, and no scrap beside it."""
    folder = tmp_path / "figures.prom"
    folder.mkdir()
    with pytest.raises(OSError, match="directory"):
        replace(folder, b"new")
    assert list(tmp_path.iterdir()) == [folder]


def test_a_scrap_is_new_empty_and_beside_it(tmp_path: Path) -> None:
    """In the same folder, hence on the same disk; the longest name a file may have is none too long."""
    path = tmp_path / ("x" * 255)
    made = scrap(path)
    assert (made.parent, made.read_bytes(), path.exists()) == (tmp_path, b"", False)


def test_what_killed_writers_left_is_cleared(tmp_path: Path) -> None:
    """Of that file alone; a link that has such a name stays, whatever it leads to."""
    page, other = tmp_path / "index.html", tmp_path / "m.txt"
    page.write_text("whole")
    left, kept = scrap(page), scrap(other)
    link = tmp_path / f"{left.name}-link"
    link.symlink_to(other)
    clear(page)
    assert {p.name for p in tmp_path.iterdir()} == {"index.html", kept.name, link.name}
    assert page.read_text() == "whole"


def test_a_name_as_long_as_names_may_be(tmp_path: Path) -> None:
    """255 octets: the file beside it has a name of its own that is not too long."""
    path = tmp_path / ("n" * 251 + ".txt")
    replace(path, b"whole")
    assert path.read_bytes() == b"whole"
