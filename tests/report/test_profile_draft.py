"""A draft is valid TOML whatever a device says, and reads as the profile it means."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any, cast

import pytest

from verifier.files.read_profile import read_profile
from verifier.report.profile_draft import listing, toml
from verifier.rules.profile_draft import FieldCandidates, figure, find

OID = "1.3.6.1.4.1.32473.1.1"
NASTY = [
    'quoted "text"', "back\\slash", "two\nlines", "tab\there", "\x7f\x1b[31mred", "\u202eturned",
    "snow \N{SNOWMAN} and \N{PILE OF POO}", "# no comment", "'''", "x" * 5000,
]  # fmt: skip


def found(shown: dict[str, str], **figures: str) -> tuple[FieldCandidates, ...]:
    return find([figure(cast(Any, f), text) for f, text in figures.items()], shown)


@pytest.mark.parametrize("said", NASTY, ids=range(len(NASTY)))
def test_whatever_a_unit_says(tmp_path: Path, said: str) -> None:
    """Descriptions and texts of a device steer neither the terminal nor the file."""
    fits = found({f"{OID}.1.0": said, f"{OID}.2.0": f"{said}7"}, serial=said, software="7")
    (tmp_path / "own.toml").write_text(toml("own", {"sysDescr": said}, fits), encoding="utf-8")
    profile = read_profile(tmp_path / "own.toml")
    assert [r.oid for r in profile.reading] == [f"{OID}.1.0", f"{OID}.2.0"]
    assert "\x1b" not in listing(fits)
    assert "\u202e" not in listing(fits)


def test_the_keys_of_a_reading(tmp_path: Path) -> None:
    """Scale, device, values and type as found; what the device is, from its system group."""
    shown = {f"{OID}.1.0": "13143000000", f"{OID}.2.0": "456", f"{OID}.3.0": "8", f"{OID}.4": "2"}
    fits = found(shown, tx_mhz="13143", rx_level_dbm="-45.6", tx_modulation="64QAM", atpc="off")
    text = toml("own", {"sysObjectID": "1.3.6.1.4.1.32473.1"}, fits)
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    profile = read_profile(tmp_path / "own.toml")
    assert (profile.id, profile.kind, profile.object_id) == ("own", "radio", "1.3.6.1.4.1.32473.1")
    assert [(r.field, r.scale, r.unit, dict(r.values)) for r in profile.reading] == [
        ("tx_mhz", 1e-06, "MHz", {}),
        ("rx_level_dbm", -0.1, "dBm", {}),
        ("tx_modulation", 1.0, None, {8: "64qam"}),
        ("atpc", 1.0, None, {1: "true", 2: "false"}),
    ]
    assert text.count("# a guess: ") == 3
    assert text.count("# a row of a table") == 1


def test_a_draft_of_nothing_is_a_profile_without_readings() -> None:
    """What no object fits is named in a comment."""
    text = toml("own", {}, found({}, tx_mhz="13143"))
    assert "reading" not in tomllib.loads(text)
    assert "# seen: tx_mhz = 13143; no object fits" in text
