"""`readdress` as a person calls it."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from tests.cli.conftest import Run
from verifier.files.read_plan import read_plan
from verifier.files.schema import schema

PLAN = """\
network: {name: Coastal chain, revision: "7", example: true}
devices:
  - {name: lighthouse, address: 198.18.20.12/24, gateway: 198.18.20.1, present_address: 198.18.20.11/24}
  - {name: quarry, address: 198.18.20.11/24, gateway: 198.18.20.1, present_address: 198.18.20.12/24}
  - {name: "<b>ferry</b>", address: 198.18.30.9/25, gateway: 198.18.30.1, present_address: 192.0.2.20/24}
"""
PLACE = "198.18.20.0/24=198.18.40.0/24"


@pytest.fixture
def coastal(tmp_path: Path) -> Path:
    path = tmp_path / "plan.yaml"
    path.write_text(PLAN, encoding="utf-8")
    return path


def test_text_has_boxes_and_the_commands_of_the_system(run: Run, coastal: Path) -> None:
    done = run("readdress", str(coastal), "--os", "windows", "--laptop-addresses", "one")
    assert done.returncode == 0, done.stderr
    assert done.stdout.isascii()
    for words in (
        "[ ]   1  LAPTOP",
        "netsh interface ipv4 add address",
        "ping -n 3",
        "time being",
        "proved",
    ):
        assert words in done.stdout
    assert all(len(line) <= 100 for line in done.stdout.splitlines() if "netsh" not in line)


@pytest.mark.parametrize(("system", "words"), [("linux", "ip address add"), ("macos", "alias")])
def test_commands_of_other_systems(run: Run, coastal: Path, system: str, words: str) -> None:
    done = run("readdress", str(coastal), "--os", system)
    assert (done.returncode, done.stderr) == (0, "")
    assert words in done.stdout


def test_json_is_what_the_schema_says(run: Run, coastal: Path) -> None:
    done = run("readdress", str(coastal), "--format", "json")
    document = json.loads(done.stdout)
    jsonschema.Draft202012Validator(schema("runbook")).validate(document)
    assert (document["format"], document["device_changes"]) == ("plan-verifier/runbook/1", 4)
    assert run("readdress", str(coastal), "--format", "json").stdout == done.stdout


def test_page_fetches_nothing_and_escapes_names(run: Run, coastal: Path, tmp_path: Path) -> None:
    done = run("readdress", str(coastal), "--out", "runbook.html", "--quiet")
    page = (tmp_path / "runbook.html").read_text(encoding="utf-8")
    assert (done.returncode, done.stdout) == (0, "")
    assert "<b>ferry" not in page
    assert "&lt;b&gt;ferry" in page
    assert "<svg" in page
    assert not any(word in page for word in ("http://", "https://", "<script", "src=", "@import"))


def test_nothing_to_do_is_said(run: Run, coastal: Path) -> None:
    names = ("--done", "lighthouse", "--done", "quarry", "--done", "<b>ferry</b>")
    done = run("readdress", str(coastal), *names)
    assert done.returncode == 0
    assert "Nothing to do" in done.stdout


def test_blocked_ends_with_one(run: Run, coastal: Path) -> None:
    done = run("readdress", str(coastal), "--change", "quarry=198.18.50.4/24")
    assert done.returncode == 1
    assert "Blocked" in done.stdout
    assert "198.18.50.4/24,GATEWAY" in done.stdout


def test_from_an_old_plan(run: Run, coastal: Path, tmp_path: Path) -> None:
    old = tmp_path / "old.yaml"
    old.write_text(
        PLAN.replace("198.18.20.12/24, gateway", "198.18.20.99/24, gateway"), encoding="utf-8"
    )
    document = json.loads(
        run("readdress", str(coastal), "--from", str(old), "--format", "json").stdout
    )
    changes = [s for s in document["steps"] if s["action"] == "set-device"]
    assert [(s["device"], s["from"]) for s in changes] == [("lighthouse", "198.18.20.99/24")]


def test_written_plan_records_what_is_done(run: Run, coastal: Path, tmp_path: Path) -> None:
    done = run(
        "readdress",
        str(coastal),
        "--renumber",
        PLACE,
        "--done",
        "quarry",
        "--write-plan",
        "new.yaml",
    )
    assert done.returncode == 0, done.stderr
    plan, problems = read_plan(tmp_path / "new.yaml")
    assert not problems
    where = {d.name: (str(d.address), str(d.present_address)) for d in plan.devices}
    assert where["quarry"] == ("198.18.40.11/24", "198.18.40.11/24")
    assert where["lighthouse"] == ("198.18.40.12/24", "198.18.20.12/24")


def test_afar_names_what_hangs_behind(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text(
        PLAN.replace("gateway: 198.18.30.1,", "gateway: 198.18.30.1, uplink: [quarry],"),
        encoding="utf-8",
    )
    done = run(
        "readdress", str(path), "--remote", "--laptop", "203.0.113.9/24",
        "--laptop-gateway", "203.0.113.1", "--change", "quarry=198.18.20.13/24",
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    told = " ".join(done.stdout.split())
    assert "behind it hang devices <b>ferry</b>; their traffic may drop" in told


WRONG = [
    (("--auto",), 2, "--auto goes with --guide"),
    (("--resume",), 2, "--resume goes with --guide"),
    (("--set-laptop",), 2, "--set-laptop goes with --guide"),
    (("--journal", "j"), 2, "--journal goes with --guide"),
    (("--wait", "3s"), 2, "--wait goes with --guide"),
    (("--credentials", "c.toml"), 2, "--credentials goes with --guide"),
    (("--guide", "--resume"), 2, "there is no journal"),
    (("--guide", "--format", "json"), 2, "--guide speaks text"),
    (("--guide", "--write-plan", "x.yaml"), 2, "after the guide has ended"),
    (("--guide", "--set-laptop", "--remote"), 2, "the laptop stays where it is"),
    (("--guide", "--credentials", "nowhere.toml"), 4, "nowhere.toml"),
    (("--guide", "--journal", "plan.yaml"), 4, "no line of a guide's journal"),
    (("--guide", "--journal", "no/such/j"), 2, "cannot be written"),
    (("--guide", "--wait", "soon"), 2, "is not a duration"),
    (("--done", "quary"), 2, "did you mean 'quarry'"),
    (("--change", "quary=198.18.20.5/24"), 2, "did you mean 'quarry'"),
    (("--change", "quarry"), 2, "NAME=ADDRESS/PREFIX"),
    (("--change", "quarry=198.18.20.5"), 2, "no prefix length"),
    (("--change", "quarry=198.18.20.12/24"), 2, "both be at 198.18.20.12"),
    (("--renumber", "198.18.20.0/24"), 2, "OLD=NEW"),
    (("--renumber", "198.18.20.0/24=198.18.40.0/30"), 2, "too small"),
    (("--segment", "--remote"), 2, "one setting"),
    (("--remote",), 2, "--laptop"),
    (("--laptop-gateway", "198.18.20.1"), 2, "--laptop"),
    (("--from", "nowhere.yaml"), 4, "nowhere.yaml"),
    (("--out", "no/such/folder/x.html"), 2, "cannot be written"),
]


@pytest.mark.parametrize(("words", "code", "told"), WRONG, ids=[" ".join(w[0]) for w in WRONG])
def test_bad_input(run: Run, coastal: Path, words: tuple[str, ...], code: int, told: str) -> None:
    """One clear message and the right exit code; nothing is printed as if it were right."""
    done = run("readdress", str(coastal), *words)
    assert done.returncode == code, done.stdout + done.stderr
    assert told in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_old_plan_of_another_network(run: Run, coastal: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.yaml"
    other.write_text(
        "network: {name: Ferry line, example: true}\ndevices: [{name: x, address: 198.18.9.9/24}]\n",
        encoding="utf-8",
    )
    done = run("readdress", str(coastal), "--from", str(other))
    assert done.returncode == 4
    assert "another network" in done.stderr


def journal(place: Path, **asked: object) -> None:
    """A journal that was begun with these options."""
    start = {"record": "start", "format": "plan-verifier/guide-journal/1", "steps": [{"n": 1}]}
    asked = {"changes": [], "renumbers": [], "done": [], "laptop": [], **asked}
    (place / "plan.readdress.jsonl").write_text(json.dumps({**start, "asked": asked}) + "\n")


@pytest.mark.parametrize(
    ("asked", "words", "code", "told"),
    [
        ({}, (), 2, "go on with --resume"),
        ({}, ("--resume", "--one-at-a-time"), 2, "leave --one-at-a-time out"),
        ({}, ("--resume", "--change", "quarry=198.18.20.5/24"), 2, "leave --change out"),
        ({}, ("--resume",), 4, "another runbook now"),
        ({"laptop": ["nowhere"]}, ("--resume",), 4, "its start is damaged"),
        ({"from": "gone.yaml"}, ("--resume",), 4, "gone.yaml"),
    ],
)
def test_journals_that_do_not_fit(
    run: Run, coastal: Path, asked: dict[str, object], words: tuple[str, ...], code: int, told: str
) -> None:
    """Said in one message, before anything is sent; the journal stays as it is."""
    journal(coastal.parent, **asked)
    before = (coastal.parent / "plan.readdress.jsonl").read_bytes()
    done = run("readdress", str(coastal), "--guide", *words)
    assert done.returncode == code, done.stdout + done.stderr
    assert told in done.stderr
    assert "Traceback" not in done.stderr
    assert (coastal.parent / "plan.readdress.jsonl").read_bytes() == before


def test_guide_with_nothing_to_do(run: Run, coastal: Path) -> None:
    names = ("--done", "lighthouse", "--done", "quarry", "--done", "<b>ferry</b>")
    done = run("readdress", str(coastal), "--guide", *names)
    assert (done.returncode, "Nothing to do" in done.stdout) == (0, True)
    assert not (coastal.parent / "plan.readdress.jsonl").exists()
