"""`check`, and what every command does with the faults of a plan."""

from __future__ import annotations

import json
from importlib import import_module
from pathlib import Path

import click
import pytest

from tests.cli.conftest import Run
from verifier.cli import COMMANDS
from verifier.cli.job_folder import PlanArgument
from verifier.rules.plan import READING, RULES

FAULTY = """\
network: {name: Bench, revision: "2", example: true}
devices:
  - name: quarry
    address: 127.81.0.12/8
    gateway: 128.0.0.1
    management_vlan: 5000
    snmp_community: hush-hush
  - {name: ferry, address: 127.81.0.13/8, ports: [{name: eth1, media: copper, cable_m: 120}]}
"""
WARNED = FAULTY.replace("    gateway: 128.0.0.1\n    management_vlan: 5000\n", "")


def commands_that_read_a_plan() -> list[tuple[str, ...]]:
    """Each, with the name of a device or link where it is about one."""
    commands: dict[str, click.Command] = {
        name: getattr(import_module(f"verifier.cli.{module}"), name)
        for name, (module, *_) in COMMANDS.items()
    }
    return [
        (name, "plan.yaml", *["ferry" for o in plan.objects if o.required])
        for name, command in commands.items()
        for plan in command.params
        if isinstance(plan, PlanArgument)
    ]


@pytest.mark.parametrize("words", commands_that_read_a_plan(), ids=lambda words: words[0])
def test_errors_are_refused_by_every_command(
    run: Run, tmp_path: Path, words: tuple[str, ...]
) -> None:
    """Exit code 4, every fault told, and no request was made of any device."""
    (tmp_path / "plan.yaml").write_text(FAULTY)
    done = run(*words)
    told = done.stdout + done.stderr
    assert done.returncode == 4, told
    for part in ("128.0.0.1", "5000", "looks like a secret", "120 m of copper"):
        assert part in told
    assert "hush-hush" not in told


def test_by_place_with_severity_rule_subject_and_place(run: Run, tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text(FAULTY)
    done = run("check", "plan.yaml")
    assert [line for line in done.stdout.splitlines() if not line.startswith("    ")] == [
        "ERROR  gateway-outside-subnet  quarry",
        "ERROR  vlan-out-of-range  quarry",
        "WARNING  secret-in-plan  quarry",
        "WARNING  copper-too-long  ferry eth1",
        "more: plan-verifier explain gateway-outside-subnet",
        "plan.yaml: 2 devices, 2 errors, 2 warnings",
    ]
    assert "    plan.yaml, line 5, field devices[0].gateway" in done.stdout.splitlines()


def test_warnings_go_on(run: Run, tmp_path: Path) -> None:
    """Exit code 0, with --strict 1."""
    (tmp_path / "plan.yaml").write_text(WARNED)
    assert run("check", "plan.yaml").returncode == 0
    assert run("check", "plan.yaml", "--strict").returncode == 1


def test_json_has_the_same_order(run: Run, tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text(FAULTY)
    document = json.loads(run("check", "plan.yaml", "--format", "json").stdout)
    assert [p["rule"] for p in document["problems"]] == [
        "gateway-outside-subnet", "vlan-out-of-range", "secret-in-plan", "copper-too-long",
    ]  # fmt: skip


def test_profile_in_a_folder_of_their_own(run: Run, tmp_path: Path) -> None:
    """The folder's profiles are known, and the rules use them."""
    (tmp_path / "plan.yaml").write_text(
        "devices: [{name: one, address: 198.18.20.5/24, profile: ours, part_number: X}]\n"
    )
    done = run("check", "plan.yaml")
    assert done.returncode == 4
    assert "profile-unknown" in done.stdout
    (tmp_path / "ours").mkdir()
    (tmp_path / "ours" / "ours.toml").write_text(
        'id = "ours"\n[[variant]]\npart = "Y"\ntx_min_mhz = 13000\ntx_max_mhz = 13100\n'
    )
    done = run("check", "plan.yaml", "--profiles", "ours")
    assert done.returncode == 0
    assert "part-unknown" in done.stdout


def test_the_table_of_rules(run: Run) -> None:
    """`--rules` needs no plan and tells every rule with severity, what it needs and finds."""
    done = run("check", "--rules")
    assert done.returncode == 0
    heading, *lines = done.stdout.splitlines()
    assert heading.split() == ["RULE", "SEVERITY", "NEEDS", "WHAT", "IT", "FINDS"]
    names = [line.split()[0] for line in lines]
    assert names == [*(r.name for r in READING), *(r.name for r in RULES)]
    assert {line.split()[1] for line in lines} == {"error", "warning"}
    assert done.stdout.isascii()


@pytest.mark.icmp
def test_with_warnings_the_devices_are_asked(run: Run, tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text(WARNED)
    done = run("reach", "plan.yaml", "--interval", "10ms")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "WARN  the plan itself: 2 warnings" in done.stdout


THEIRS = """\
Coastal ring;;;;;
Hop;Tx A (GHz);Tx B (GHz);IP A;IP B;Password
H01;13.1435;12.8775;198.18.0.11/24;198.18.0.12/24;hush-hush
"""
MAPPING = """\
format = "plan-verifier/mapping/1"
[[table]]
row = "link"
[table.columns]
"Hop" = "Links.name"
"Tx A (GHz)" = "Links.a.tx_mhz"
"Tx B (GHz)" = "unread"
"IP A" = "Devices.a.address"
"IP B" = "Devices.b.address"
[table.made]
"Devices.a.name" = "{Hop}-A"
"Devices.b.name" = "{Hop}-B"
"""


def test_a_sheet_is_drawn_with_what_became_of_each_cell(tmp_path: Path, run: Run) -> None:
    """The page has the counts and every text of the sheet but the secret."""
    (tmp_path / "theirs.csv").write_text(THEIRS)
    (tmp_path / "mapping.toml").write_text(MAPPING)
    done = run("check", "theirs.csv", "--mapping", "mapping.toml", "--out", "read.html")
    page = (tmp_path / "read.html").read_text("utf-8")
    assert "what became of each of its 13 filled cells, by mapping.toml" in page
    assert "12.8775" in page
    assert "Links.a.tx_mhz" in page
    assert "13143.5" in page
    assert "hush-hush" not in page + done.stdout + done.stderr


def test_a_page_needs_a_mapping(tmp_path: Path, run: Run) -> None:
    (tmp_path / "plan.yaml").write_text(FAULTY)
    done = run("check", "plan.yaml", "--out", "read.html")
    assert done.returncode == 2
    assert "where --mapping says how it is read" in done.stderr
