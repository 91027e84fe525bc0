"""`verify --observed`: what a person saw is judged, kept as evidence and shown as what it is."""

from __future__ import annotations

import datetime as dt
import hashlib
import html
import json
import re
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.ports import free_port
from verifier.errors import EXIT_FAILED, EXIT_INPUT, EXIT_PASSED, EXIT_UNTESTED, EXIT_USAGE
from verifier.files.credentials import load_credentials
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.simulator.running import running_process

PORT = free_port()
PLAN = """\
network: {name: Coast, revision: "2", example: true}
devices:
  - {name: lighthouse-quarry, label: LIGHTHOUSE > QUARRY, address: 127.83.0.11/16, snmp: bench}
  - {name: quarry-lighthouse, label: QUARRY > LIGHTHOUSE, address: 127.83.0.12/16, snmp: bench}
links:
  - name: Hop 1
    polarisation: V
    a: {device: lighthouse-quarry, azimuth_deg: 57.98}
    b: {device: quarry-lighthouse}
not_tested_ok:
  - {check: radio.tx-frequency, reason: no radio reading here}
  - {check: radio.rx-frequency, reason: no radio reading here}
  - {check: radio.polarisation, reason: no radio reading here}
"""
CREDENTIALS = f'[snmp.bench]\nversion = "2c"\ncommunity = "coastal-read"\nport = {PORT}\n'
UNITS = ("lighthouse-quarry", "quarry-lighthouse")
RUN = ("verify", "plan.yaml", "--credentials", "credentials.toml", "--echoes", "1")
HEAD = "device,check,value,unit,by,at,instrument,instrument_serial,calibration_due,photo,note"
NOW = dt.datetime.now(dt.UTC).replace(second=0, microsecond=0)
SEEN = NOW - dt.timedelta(hours=1)
DUE = NOW.date() + dt.timedelta(days=60)
ROWS = f"""\
lighthouse-quarry,manual.label,LIGHTHOUSE > QUARRY,,A. Example,{SEEN:%Y-%m-%dT%H:%MZ},,,,label.jpg,
lighthouse-quarry,manual.azimuth,58.5,deg,A. Example,{SEEN:%Y-%m-%dT%H:%MZ},bearing sight,B-7,{DUE},,gusty
lighthouse-quarry,manual.polarisation,V,V/H,A. Example,,,,,,
lighthouse-quarry,manual.weather,dry,,A. Example,,,,,,
quarry-lighthouse,manual.label,QUARRY > LIGHTHOUSE,,A. Example,,,,,,
quarry-lighthouse,manual.polarisation,H,V/H,A. Example,,,,,,
"""
PHOTO = b"a photo of a label"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "plan.yaml").write_text(PLAN)
    (tmp_path / "credentials.toml").write_text(CREDENTIALS)
    (tmp_path / "credentials.toml").chmod(0o600)
    (tmp_path / "label.jpg").write_bytes(PHOTO)
    (tmp_path / "seen.csv").write_text(f"{HEAD}\n{ROWS}")
    return tmp_path


@pytest.fixture
def simulated(folder: Path):
    """The devices of the plan, as planned."""
    plan, _ = read_plan(folder / "plan.yaml")
    credentials = load_credentials({"bench"}, folder / "credentials.toml", {})
    with running_process(plan, load_profiles({"mib2"}), credentials):
        yield


def manual(result: dict) -> dict[tuple[str, str], str]:  # type: ignore[type-arg]
    return {
        (f["check"].removeprefix("manual."), f["subject"]["name"]): f["verdict"]
        for f in result["findings"]
        if f["check"].startswith("manual.")
    }


@pytest.mark.usefixtures("simulated")
def test_from_the_sheet_to_the_documents(run: Run, folder) -> None:
    """Judged, in the evidence with the photo's hash, in text and page as entered; judged again."""
    seen = ("--observed", "seen.csv")
    done = run(*RUN, *seen, "--evidence", "kept.json", "--out", "page.html")
    assert done.returncode == EXIT_FAILED, done.stderr
    evidence = json.loads((folder / "kept.json").read_text("utf-8"))
    result = evidence["parts"]["result"]
    assert manual(result) == {
        ("label", "lighthouse-quarry"): "pass",
        ("azimuth", "Hop 1"): "pass",
        ("polarisation", "lighthouse-quarry"): "pass",
        ("weather", "lighthouse-quarry"): "pass",
        ("label", "quarry-lighthouse"): "pass",
        ("polarisation", "quarry-lighthouse"): "fail",
    }
    photo = hashlib.sha256(PHOTO).hexdigest()
    by = {(o["what"], o["subject"]["name"]): o for o in result["observations"]
          if o["probe"] == "person"}  # fmt: skip
    label = by["manual.label", "lighthouse-quarry"]
    assert label["at"] == f"{SEEN:%Y-%m-%dT%H:%M}:00.000Z"
    assert json.loads(label["raw"])["photo_sha256"] == photo
    assert by["observed", "laptop"]["value"]["rows"] == 6
    page = html.unescape((folder / "page.html").read_text("utf-8"))
    assert "entered by a person, not measured: " in done.stdout
    whole = run("report", "kept.json", "--verbose").stdout.replace("\n    ", " ")
    for text in (whole, re.sub("<[^>]*>", "", page)):
        assert re.search("(?i)entered, not measured", text)
        for words in (photo, "bearing sight", "B-7", str(DUE), "gusty", "A. Example"):
            assert words in text, words
    assert max(map(len, done.stdout.splitlines())) <= 100
    again = run("report", "kept.json", "--judge-again")
    assert (again.returncode, again.stdout.partition(":")[0]) == (EXIT_PASSED, "judged again")


@pytest.mark.icmp
@pytest.mark.usefixtures("simulated")
def test_what_is_left_open_is_not_tested(run: Run) -> None:
    """Without a sheet it is said how much was not asked; with an empty one it is not tested."""
    without = run(*RUN)
    assert without.returncode == EXIT_PASSED, without.stdout
    said = " ".join(without.stdout.split())
    assert "not asked: 5 planned values that only a person can see (label 2, polari" in said
    blank = run("cards", "plan.yaml", "--blank", "blank.csv")
    assert blank.returncode == EXIT_PASSED, blank.stderr
    with_it = run(*RUN, "--observed", "blank.csv", "--format", "json")
    assert with_it.returncode == EXIT_UNTESTED
    verdicts = manual(json.loads(with_it.stdout))
    assert set(verdicts.values()) == {"not-tested"}
    planned = {("label", UNITS[0]), ("label", UNITS[1]), ("polarisation", UNITS[0]),
               ("polarisation", UNITS[1]), ("azimuth", "Hop 1")}  # fmt: skip
    practice = {"default-password-changed", "supply-voltage", "earthing", "surge-arrester",
                "weatherproofing", "peak-on-main-lobe", "bolts-torqued", "weather"}  # fmt: skip
    assert set(verdicts) == planned | {(c, unit) for c in practice for unit in UNITS}
    assert "28 rows are not filled in: lighthouse-quarry: label," in with_it.stderr


@pytest.mark.usefixtures("simulated")
def test_a_sheet_that_was_filled_in_badly(run: Run, folder) -> None:
    """Each oddity stands in the finding; what is left out is said; judged again it is the same."""
    later = f"{NOW + dt.timedelta(days=3):%Y-%m-%dT%H:%M}"
    rows = (
        f"lighthouse-quarry,earthing,yes,,A. Example,{later}Z\n"
        "lighthouse-quarry,surge-arrester,yes,,A. Example,2020-01-01T10:00Z\n"
        "lighthouse-quarry,bolts-torqued,yes\n"
        "lighthouse-quarry,supply-voltage,n/a,,A. Example,,,,,,fed over its data cable\n"
        f"lighthouse-quarry,weather,dry,,A. Example,{SEEN:%Y-%m-%d %H:%M}\n"
        "lighthouse-quarry,weatherproofing,\n"
        "quarry-lighthouse,earthing,yes,,A. Example\n"
    )
    (folder / "plan.yaml").write_text(
        PLAN.replace("example: true", "example: true, date: 2026-01-02")
    )
    (folder / "seen.csv").write_text(f"{HEAD}\n{rows}")
    words = (*RUN, "--observed", "seen.csv", "--device", "lighthouse-quarry", "--format", "json")
    done = run(*words, "--evidence", "kept.json", env={"TZ": "UTC0"})
    found = {f["check"].removeprefix("manual."): f for f in json.loads(done.stdout)["findings"]}
    for check, verdict, said in (
        ("earthing", "warn", "after this run"),
        ("surge-arrester", "warn", "is before the date of the plan, 2026-01-02"),
        ("bolts-torqued", "warn", "nobody is named who saw it"),
        ("supply-voltage", "pass", "does not apply: fed over its data cable"),
        ("weather", "pass", "dry along the path"),
        ("weatherproofing", "not-tested", "nobody entered it"),
    ):
        assert (found[check]["verdict"], said in found[check]["reason"]) == (verdict, True), check
    assert "1 row is not filled in: lighthouse-quarry: weatherproofing" in done.stderr
    assert "taken as local time of this laptop, UTC+00:00" in done.stderr
    assert "1 row is of devices that were not asked, and left out: quarry-lighthouse" in done.stderr
    text = run("report", "kept.json", "--verbose").stdout
    assert "supply-voltage: n/a" in text
    assert "local time, UTC+00:00" in " ".join(text.split())
    assert run("report", "kept.json", "--judge-again").returncode == EXIT_PASSED


def test_wrong_rows_end_before_anything_is_sent(run: Run, folder) -> None:
    """Every one with row and column, exit code 4; no agent runs here that could answer."""
    rows = "nobody,manual.tilt,1\nlighthouse-quarry,manual.azimuth,north,deg\n"
    (folder / "seen.csv").write_text(f"{HEAD}\n{rows}")
    done = run(*RUN, "--observed", "seen.csv")
    assert (done.returncode, done.stdout) == (EXIT_INPUT, "")
    assert "seen.csv has 2 errors; nothing was sent" in done.stderr
    assert "row 2, column device: no device 'nobody' in the plan" in done.stderr
    assert "row 3, column value: 'north' is not a number" in done.stderr


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--observed", "none.csv"), EXIT_INPUT, "there is no such file"),
        (("--observed", "seen.csv", "--out", "seen.csv"), EXIT_USAGE, "read as an input"),
    ],
)
@pytest.mark.usefixtures("folder")
def test_bad_use(words, code, said, run: Run) -> None:
    """A sheet that is not there, or would be written over."""
    done = run(*RUN, *words)
    assert (done.returncode, said in done.stderr) == (code, True), done.stderr
