"""What a mapping says of the file itself: its encoding, and that only its values are seen."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from tests.files.sheets.test_other_files import binary_book
from verifier.errors import InputError
from verifier.files.propose_mapping import propose
from verifier.files.read_plan import read_foreign

TEXT = """\
Hop;Tx A (MHz);Tx B (MHz);Device A;Device B;IP A;IP B
Küste - Höhe;13143;12877;küste;höhe;198.18.0.1/24;198.18.0.2/24
Pier - Mill;13171;12905;pier;mill;198.18.0.3/24;198.18.0.4/24
"""


def proposed(theirs: Path) -> tuple[Path, str]:
    """The mapping that is proposed for a sheet."""
    out = theirs.with_suffix(".toml")
    propose(theirs, out)
    return out, out.read_text("utf-8")


def unsure(theirs: Path, mapping: Path) -> list[str]:
    """The keys that a person must settle."""
    problems = read_foreign(theirs, mapping)[1]
    found = [p.origin.field for p in problems if p.rule == "mapping-unsure" and p.origin]
    assert all(p.severity == "error" for p in problems if p.rule == "mapping-unsure")
    return found


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_of_a_sure_encoding_nothing_is_said(tmp_path: Path, encoding: str) -> None:
    (tmp_path / "a.csv").write_bytes(TEXT.encode(encoding))
    out, text = proposed(tmp_path / "a.csv")
    assert "encoding" not in text
    assert unsure(tmp_path / "a.csv", out) == []


def test_another_encoding_is_unsure_until_a_person_says_it(tmp_path: Path) -> None:
    """The proposal shows the lines as they read in the encoding that is likely."""
    (tmp_path / "a.csv").write_bytes(TEXT.encode("cp1252"))
    out, text = proposed(tmp_path / "a.csv")
    assert tomllib.loads(text)["encoding"] == "unsure"
    line = next(line for line in text.splitlines() if line.startswith("encoding"))
    assert "line 2 is 'Küste - Höhe;" in line
    assert unsure(tmp_path / "a.csv", out) == ["encoding"]
    out.write_text(text.replace('encoding = "unsure"', 'encoding = "windows-1252"'), "utf-8")
    assert unsure(tmp_path / "a.csv", out) == []
    assert read_foreign(tmp_path / "a.csv", out)[0].links[0].name == "Küste - Höhe"


def test_without_the_key_the_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(TEXT.encode("cp1252"))
    out, text = proposed(tmp_path / "a.csv")
    out.write_text(text.replace("encoding =", "# encoding ="), "utf-8")
    with pytest.raises(InputError, match="by a mapping that says its encoding"):
        read_foreign(tmp_path / "a.csv", out)


MAPPING = """\
format = "plan-verifier/mapping/1"
{}
[[table]]
row = "link"
[table.columns]
"Link" = "Links.name"
"""


def test_a_file_of_values_alone_is_refused_until_a_person_knows(tmp_path: Path) -> None:
    theirs = binary_book(tmp_path / "a.xlsb")
    out = tmp_path / "m.toml"
    out.write_text(MAPPING.format(""))
    with pytest.raises(InputError, match="Save it as"):
        read_foreign(theirs, out)
    out.write_text(MAPPING.format('values_only = "unsure"'))
    assert unsure(theirs, out) == ["values_only"]
    out.write_text(MAPPING.format("values_only = true"))
    assert unsure(theirs, out) == []
