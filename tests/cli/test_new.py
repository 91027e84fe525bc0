"""`new`: an empty plan and an example, in every form, and never over something that is there."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from tests.cli.conftest import Run
from verifier.files.read_plan import read_plan
from verifier.model.plan import Plan

FORMS = ("plan.xlsx", "plan.yaml", "plan")


@pytest.mark.parametrize("form", FORMS)
def test_an_empty_plan_is_empty_and_without_faults(run: Run, tmp_path: Path, form: str) -> None:
    done = run("new", form)
    assert (done.returncode, done.stderr) == (0, "")
    assert (
        done.stdout
        == f"{form}: an empty plan; fill it in. Its faults: plan-verifier check {form}\n"
    )
    assert read_plan(tmp_path / form) == (Plan(), ())


@pytest.mark.parametrize("form", FORMS)
def test_the_example_passes_check(run: Run, form: str) -> None:
    """Strictly: not even a warning."""
    assert run("new", form, "--example").returncode == 0
    done = run("check", form, "--strict")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == f"{form}: 10 devices, 0 errors, 0 warnings\n"


def test_the_example_is_one_plan_in_every_form(run: Run, tmp_path: Path) -> None:
    plans = []
    for form in FORMS:
        run("new", form, "--example")
        plans.append(read_plan(tmp_path / form)[0])
    assert plans[0] == plans[1] == plans[2]
    (plan, *_) = plans
    assert plan.network.example
    assert len(plan.sites) == 4
    assert sorted(len(link.carriers) for link in plan.links) == [1, 1, 2]


def test_every_line_of_the_empty_yaml_can_be_used(run: Run, tmp_path: Path) -> None:
    """Without the leading # and with something behind the colon, each line is a known field."""
    run("new", "plan.yaml")
    lines = []
    for line in (tmp_path / "plan.yaml").read_text().splitlines():
        bare = line.lstrip("#") if line[:3] not in ("# A", "# E", "# D") else ""
        field, _, hint = bare.partition(" #")
        if "Example: " in hint:
            field = f"{field.rstrip()} '{hint.partition('Example: ')[2].partition(' | ')[0]}'"
        lines.append(field)
    (tmp_path / "plan.yaml").write_text("\n".join(lines))
    plan, problems = read_plan(tmp_path / "plan.yaml")
    assert {p.rule for p in problems} <= {"modulation-twice", "missing-field"}
    assert plan.network.name == "Harbour ring"
    assert plan.management.hosts[0].name == "manager-1"
    assert plan.devices[0].ports[0].mtu == 1500
    assert plan.devices[0].services.open
    assert plan.maintenance


@pytest.mark.parametrize("form", FORMS)
def test_nothing_is_overwritten(run: Run, tmp_path: Path, form: str) -> None:
    assert run("new", form, "--example").returncode == 0
    before = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    done = run("new", form)
    assert done.returncode == 2
    assert "is there already: nothing is overwritten" in done.stderr
    assert {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()} == before


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("plan.csv",), "name the folder that holds the CSV files"),
        (("plan.docx",), "a plan is a .yaml or .xlsx file or a folder of .csv files"),
        (("no/such/plan.yaml",), "no/such/plan.yaml cannot be written"),
        (("plan.yaml", "--example", "--from", "theirs.xlsx"), "exclude each other"),
        ((), "Missing argument"),
    ],
)
def test_a_wrong_command_line_ends_with_2(run: Run, words: tuple[str, ...], said: str) -> None:
    done = run("new", *words)
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_a_mapping_is_proposed_for_their_sheet(run: Run, tmp_path: Path) -> None:
    """`--from` writes the mapping to FILE and says what a person should look at."""
    theirs = tmp_path / "radios.csv"
    theirs.write_text("Device,Management IP,GW\nquarry,198.18.20.11/24,198.18.20.1\n")
    done = run("new", "mapping.toml", "--from", "radios.csv")
    assert (done.returncode, done.stderr) == (0, "")
    assert "Management IP" in (tmp_path / "mapping.toml").read_text()
    assert done.stdout
    assert run("new", "mapping.toml", "--from", "radios.csv").returncode == 2
    assert run("new", "other.toml", "--from", "none.csv").returncode == 4


@pytest.mark.parametrize(("form", "where"), [("b.yaml", "b.yaml"), ("b", "b/Origins.txt")])
def test_a_plan_is_converted_with_the_origin_of_each_value(
    run: Run, tmp_path: Path, form: str, where: str
) -> None:
    assert run("new", "a.xlsx", "--example").returncode == 0
    done = run("new", form, "--from", "a.xlsx")
    assert (done.returncode, done.stderr) == (0, "")
    assert read_plan(tmp_path / form)[0] == read_plan(tmp_path / "a.xlsx")[0]
    assert "a.xlsx, sheet Devices, row 2, column Address" in (tmp_path / where).read_text()


def test_their_sheet_becomes_a_plan_and_what_is_not_read_is_told(run: Run, tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_text("Device,Management IP,Zorb\nquarry,198.18.20.11/24,42\n")
    assert run("new", "m.toml", "--from", "t.csv").returncode == 0
    done = run("new", "plan.xlsx", "--from", "t.csv", "--mapping", "m.toml")
    assert done.returncode == 0
    assert "1 figure, such as '42' in row 2" in done.stdout
    page = openpyxl.load_workbook(tmp_path / "plan.xlsx")["Devices"]
    notes = {c.value: c.comment.text for c in page[2] if c.comment is not None}
    assert notes["198.18.20.11/24"] == "t.csv, row 2, column Management IP"


@pytest.mark.parametrize("command", ["new", "check"])
def test_new_counts_the_errors_that_check_counts(run: Run, tmp_path: Path, command: str) -> None:
    """An unsure line is one of them; `new` ends with 0, `check` with 4."""
    (tmp_path / "t.csv").write_text(
        "Link,Device A,Device B,IP A,IP B,Distance (nm)\n"
        "H1,light,quarry,198.18.20.1/24,198.18.20.1/24,6.2\n"
    )
    done = run("new", "m.toml", "--from", "t.csv")
    assert "1 unsure line; read by it: 2 devices, 2 errors" in done.stdout
    if command == "check":
        done = run("check", "t.csv", "--mapping", "m.toml")
        assert "2 devices, 2 errors" in done.stdout
    assert done.returncode == (0 if command == "new" else 4)


def test_help_names_it(run: Run) -> None:
    every, one = run("--help"), run("new", "--help")
    assert (every.returncode, every.stderr, one.returncode, one.stderr) == (0, "", 0, "")
    assert "An empty plan to fill in" in every.stdout
    assert "--example" in one.stdout
