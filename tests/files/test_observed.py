"""The sheet of what a person saw: read strictly, every wrong row at once; written empty."""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import io
import json
import time
from pathlib import Path

import pytest

import verifier.files
from tests.as_seen import observation, value_of
from verifier.errors import InputError
from verifier.files.observed import blank_sheet, read_observed
from verifier.files.read_plan import read_plan
from verifier.model.manual import ENTRY, ITEMS, Entered, Observed
from verifier.model.problem import Subject

EXAMPLE = Path(verifier.files.__file__).parent / "example.yaml"
HEAD = ",".join(ENTRY)
UNIT = "lighthouse-quarry"


@pytest.fixture(scope="module")
def plan():
    return read_plan(EXAMPLE)[0]


@pytest.fixture
def read(tmp_path, plan):
    """Reads a sheet of this text; returns the entries and the warnings."""

    def call(text: str, name: str = "seen.csv") -> tuple[Observed, list[str]]:
        path = tmp_path / name
        path.write_text(text, "utf-8")
        observed, problems = read_observed(path, plan)
        return observed, [str(p) for p in problems]

    return call


def row(check: str, value: str, **more: str) -> str:
    cells = {"device": UNIT, "check": check, "value": value, **more}
    stream = io.StringIO()
    csv.writer(stream, lineterminator="").writerow([cells.get(c, "") for c in ENTRY])
    return f"{HEAD}\n{stream.getvalue()}\n"


@pytest.mark.parametrize(
    ("check", "value", "unit", "expected"),
    [
        ("manual.azimuth", "57.9", "deg", 57.9),
        ("azimuth", "57.9", "", 57.9),
        ("Manual.Azimuth", "57°54'", "", 57.9),
        ("manual.alignment-voltage", "1090", "mV", 1.09),
        ("manual.alignment-voltage", "1.09 V", "", 1.09),
        ("manual.alignment-voltage", "1090 mV", "mV", 1.09),
        ("manual.alignment-voltage", "1,09", "V", 1.09),
        ("manual.supply-voltage", "\N{MINUS SIGN}53.5", "V", -53.5),
        ("manual.antenna-height", "2400", "cm", 24.0),
        ("manual.tilt", "-0.3", "deg", -0.3),
        ("manual.earthing", "YES", "yes/no", True),
        ("manual.earthing", "no", "", False),
        ("manual.polarisation", "horizontal", "V/H", "H"),
        ("manual.polarisation", "v + h", "", "V+H"),
        ("manual.label", "LIGHTHOUSE > QUARRY", "", "LIGHTHOUSE > QUARRY"),
        ("manual.weather", "light rain, 8 degC", "", "light rain, 8 degC"),
    ],
)
def test_a_value_is_read(check, value, unit, expected, read) -> None:
    """Figures come in the check's own unit, flags and polarisations as such, texts as they are."""
    (entry,) = read(row(check, value, unit=unit))[0].entries
    assert entry.value == pytest.approx(expected)
    assert (entry.device, type(entry.value)) == (UNIT, type(expected))


@pytest.mark.parametrize(
    ("check", "value", "more", "column", "words"),
    [
        ("manual.azimuth", "north", {}, "value", "'north' is not a number"),
        ("manual.supply-voltage", "1,090", {}, "value", "with a comma between thousands"),
        ("manual.azimuth", "400", {}, "value", "beyond 360 deg"),
        ("manual.azimuth", "58", {"unit": "m"}, "unit", "is in m, but deg is wanted"),
        ("manual.azimuth", "58", {"unit": "points"}, "unit", "no unit that is known"),
        ("manual.antenna-height", "80", {"unit": "'"}, "unit", "no unit that is known"),
        ("manual.alignment-voltage", "1090 mV", {"unit": "V"}, "value", "another unit"),
        ("manual.earthing", "yes", {"unit": "V"}, "unit", "has no unit"),
        ("manual.earthing", "maybe", {}, "value", "write yes or no"),
        ("manual.polarisation", "left", {}, "value", "none of V, H, V+H"),
        ("manual.label", "ok", {}, "value", "as you see it"),
        ("manual.azimut", "58", {}, "check", "did you mean manual.azimuth?"),
        ("radio.rx-level", "-45", {}, "check", "a person enters manual.* only"),
        ("", "58", {}, "check", "there is no check"),
        ("manual.tilt", "1", {"at": "2026-13-25T10:00"}, "at", "no moment of local time"),
        ("manual.tilt", "n/a", {}, "note", "n/a needs its reason here"),
        ("manual.earthing", "N.A.", {}, "note", "n/a needs its reason here"),
        ("manual.tilt", "1", {"photo": "/etc/hostname"}, "photo", "outside the folder"),
        ("manual.tilt", "1", {"photo": "../other.jpg"}, "photo", "outside the folder"),
        ("manual.tilt", "1", {"at": "yesterday"}, "at", "not a date with a time"),
        ("manual.tilt", "1", {"calibration_due": "2026-02-30"}, "calibration_due", "no day"),
        ("manual.tilt", "1", {"photo": "none.jpg"}, "photo", "there is no such file"),
        ("manual.tilt", "1", {"by": "A\x1b[2J"}, "by", "does not print"),
        ("manual.tilt", "", {"photo": "a.jpg"}, "value", "photo without a value"),
        ("manual.tilt", "", {"note": "not seen"}, "value", "note without a value"),
        ("manual.tilt", "1", {"device": "nobody"}, "device", "no device 'nobody' in the plan"),
        ("manual.tilt", "1", {"device": "lighthouse-quary"}, "device", "mean lighthouse-quarry?"),
        ("manual.tilt", "1", {"device": "harbour-switch"}, "check", "end of a link"),
    ],
)
def test_a_wrong_row_is_told_with_row_and_column(check, value, more, column, words, read) -> None:
    """One error, at its place."""
    with pytest.raises(InputError) as caught:
        read(row(check, value, **more))
    (problem,) = [p for p in caught.value.problems if p.severity == "error"]
    assert str(problem.origin) == f"seen.csv, row 2, column {column}"
    assert words in problem.message


def test_all_wrong_rows_are_told_at_once(read) -> None:
    """Several rows, several columns of one row; the sheet is refused as a whole."""
    text = f"{HEAD}\nx,manual.tilt,1\n{UNIT},manual.tilt,1,V,,today\n{UNIT},manual.tilt,2\n"
    with pytest.raises(InputError, match=r"seen\.csv has 3 errors; nothing was sent") as caught:
        read(text)
    assert [str(p.origin) for p in caught.value.problems] == [
        "seen.csv, row 2, column device",
        "seen.csv, row 3, column unit",
        "seen.csv, row 3, column at",
    ]


def test_what_stands_for_the_password_is_not_shown(read) -> None:
    """Somebody who writes the new password into the sheet does not find it in a message."""
    with pytest.raises(InputError) as caught:
        read(row("manual.default-password-changed", "Sesame-4711"))
    assert "4711" not in str(caught.value) + "".join(p.message for p in caught.value.problems)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("device,value\nx,1\n", "no column check"),
        (f"{HEAD},value\n", "there twice"),
        (f'{HEAD}\n"{UNIT},manual.tilt\n', "not CSV"),
        (f"{HEAD}\n{UNIT},manual.tilt,1,,,,,,,,,more\n", "more cells than there are headings"),
    ],
)
def test_a_sheet_that_is_none(text, words, read) -> None:
    """Headings are needed; what is no CSV is said so."""
    with pytest.raises(InputError) as caught:
        read(text)
    assert words in str(caught.value) + "".join(p.message for p in caught.value.problems)


def test_headings_in_other_writings(read) -> None:
    """Case, spaces and order do not matter, nor does the separator; an unknown one is a warning."""
    observed, notes = read(
        f"Check;Device;Value;Instrument Serial;Colour\nmanual.tilt;{UNIT};1,5;S 7;red\n"
    )
    (entry,) = observed.entries
    assert entry.value == 1.5
    assert json.loads(entry.raw)["instrument_serial"] == "S 7"
    assert any("unknown field 'Colour'" in n for n in notes)
    assert any("'1,5' is read as 1.5" in n for n in notes)


def test_everything_about_a_row_is_kept(tmp_path, read) -> None:
    """By whom, when, with what, its calibration, the photo with its SHA-256, where it stands."""
    (tmp_path / "p.jpg").write_bytes(b"a photo")
    observed, _ = read(
        row("manual.tilt", "0.3", unit="deg", by="A. Example", at="2026-11-25T11:00+01:00",
            instrument="inclinometer", instrument_serial="7", calibration_due="2027-01-31",
            photo="p.jpg", note="gusty")
    )  # fmt: skip
    (entry,) = observed.entries
    assert entry.at is not None
    assert entry.at.isoformat() == "2026-11-25T10:00:00+00:00"
    assert json.loads(entry.raw) == {
        "value": "0.3", "unit": "deg", "by": "A. Example", "at": "2026-11-25T11:00+01:00",
        "instrument": "inclinometer", "instrument_serial": "7", "calibration_due": "2027-01-31",
        "photo": "p.jpg", "photo_sha256": hashlib.sha256(b"a photo").hexdigest(), "note": "gusty",
        "row": "seen.csv, row 2",
    }  # fmt: skip
    assert observed.sha256 == hashlib.sha256((tmp_path / "seen.csv").read_bytes()).hexdigest()


@pytest.fixture
def zone(monkeypatch: pytest.MonkeyPatch):
    """Sets this machine's zone, as the C library reads it."""

    def become(name: str) -> None:
        monkeypatch.setenv("TZ", name)
        time.tzset()

    yield become
    monkeypatch.undo()
    time.tzset()


@pytest.mark.parametrize(
    ("name", "written", "moment", "taken"),
    [
        ("CET-1CEST,M3.5.0,M10.5.0/3", "2026-11-25T10:00", "2026-11-25T09:00", "UTC+01:00"),
        ("CET-1CEST,M3.5.0,M10.5.0/3", "2026-07-25 10:00", "2026-07-25T08:00", "UTC+02:00"),
        ("EST5", "2026-11-25  22:30:15", "2026-11-26T03:30:15", "UTC-05:00"),
        ("UTC0", "2026-11-25T10:00", "2026-11-25T10:00", "UTC+00:00"),
    ],
)
def test_a_time_without_a_zone_is_local(name, written, moment, taken, zone, read) -> None:
    """POSIX zones; what was written stays, the zone that was taken is kept and told."""
    zone(name)
    observed, notes = read(row("manual.tilt", "0.3", at=written))
    (entry,) = observed.entries
    assert entry.at == dt.datetime.fromisoformat(f"{moment}+00:00")
    assert (json.loads(entry.raw)["at"], json.loads(entry.raw)["zone"]) == (written, taken)
    (note,) = notes
    assert note.startswith("seen.csv, row 2, column at: time without a zone in row 2: taken as")
    assert note.endswith(f"local time of this laptop, {taken}")


@pytest.mark.parametrize("written", ["2026-10-25T02:30", "2026-03-29T02:30"])
def test_a_time_at_which_clocks_were_changed(written, zone, read) -> None:
    """It was twice that night, or not at all: its zone must be written."""
    zone("CET-1CEST,M3.5.0,M10.5.0/3")
    with pytest.raises(InputError) as caught:
        read(row("manual.tilt", "0.3", at=written))
    assert "clocks were changed then" in str(caught.value.problems[0].message)
    assert read(row("manual.tilt", "0.3", at=f"{written}+02:00"))[0].entries


@pytest.mark.parametrize("value", ["n/a", "N/A", "n.a.", "NA", "not applicable"])
@pytest.mark.parametrize("check", ["tilt", "earthing", "label", "polarisation", "weather"])
def test_not_applicable(value, check, read) -> None:
    """An answer of every kind of item, with its reason."""
    (entry,) = read(row(f"manual.{check}", value, note="indoors"))[0].entries
    assert entry.value is None
    assert json.loads(entry.raw)["value"] == "n/a"
    seen = observation(id=1, subject=Subject("device", UNIT), probe="person", what=entry.check,
                       at="", raw=entry.raw)  # fmt: skip
    assert seen.value is not None
    assert (seen.value.inapplicable, seen.value.words(seen.unit)) == ("indoors", "n/a")


def test_rows_left_blank_are_listed(read) -> None:
    """By device; a row that stands twice and is filled in once is none."""
    text = (
        f"{HEAD}\n{UNIT},manual.tilt,,deg,A. Example\n{UNIT},manual.earthing,,\n"
        f"{UNIT},manual.tilt,0.3\nharbour-switch,manual.label,\n"
    )
    observed, _ = read(text)
    assert observed.blank == ((UNIT, "manual.earthing"), ("harbour-switch", "manual.label"))


@pytest.mark.parametrize("way", ["file", "folder"])
def test_a_photo_that_a_link_leads_to(way, tmp_path_factory, tmp_path, read) -> None:
    """Where a link leads is where the photo is: outside it is refused and not read."""
    outside = tmp_path_factory.mktemp("outside")
    (outside / "p.jpg").write_bytes(b"a secret")
    inside = tmp_path / "photos"
    inside.mkdir()
    (inside / "p.jpg").write_bytes(b"a photo")
    (tmp_path / "near").symlink_to(inside, target_is_directory=True)
    assert read(row("manual.tilt", "1", photo="near/p.jpg"))[0].entries
    if way == "file":
        (tmp_path / "far.jpg").symlink_to(outside / "p.jpg")
    else:
        (tmp_path / "far").symlink_to(outside, target_is_directory=True)
    with pytest.raises(InputError) as caught:
        read(row("manual.tilt", "1", photo="far.jpg" if way == "file" else "far/p.jpg"))
    (problem,) = caught.value.problems
    assert "leads outside the folder of the sheet" in problem.message


def test_the_blank_sheet_reads_back(tmp_path, plan) -> None:
    """Nothing is entered in it; filled in, every row is read."""
    path = tmp_path / "blank.csv"
    path.write_bytes(blank_sheet((UNIT, item) for item in ITEMS))
    observed, (problem,) = read_observed(path, plan)
    assert observed.entries == ()
    assert observed.blank == tuple((UNIT, item.check) for item in ITEMS)
    assert (problem.severity, str(problem.origin)) == ("warning", "blank.csv")
    assert problem.message.startswith(f"14 rows are not filled in: {UNIT}: label, default-pass")
    fill = {"flag": "yes", "number": "1", "polarisation": "V", "text": "dry"}
    rows = list(csv.DictReader(io.StringIO(path.read_text("utf-8-sig"))))
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, ENTRY)
        writer.writeheader()
        for item, cells in zip(ITEMS, rows, strict=True):
            writer.writerow({**cells, "value": fill[item.kind]})
    assert [e.check for e in read_observed(path, plan)[0].entries] == [i.check for i in ITEMS]


def test_a_row_kept_elsewhere_is_no_row_of_ours() -> None:
    """Whatever stands in `raw` of an old document, reading it back does not fail."""
    for raw in (None, "", "no JSON", "[1]", '{"by": null}'):
        seen = observation(id=1, subject=Subject("device", UNIT), probe="person",
                           what="manual.tilt", at="", raw=raw)  # fmt: skip
        assert seen.value == Entered(value=value_of(seen))
