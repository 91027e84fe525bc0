"""The shell completes commands, options, and names of the plan in the folder."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.command import clean_environment
from verifier.model.checks import CHECK_NAMES

TWO = """\
network: {name: Bench, example: true}
sites: [{name: Mill Hill}]
devices:
  - {name: mill-quarry, site: Mill Hill, address: 127.81.0.21/8}
  - {name: quarry-mill, address: 127.81.0.22/8}
links:
  - {name: Hop 9, a: {device: mill-quarry}, b: {device: quarry-mill}}
"""


def completed(run: Run, *words: str) -> list[str]:
    """What is offered for the last of the words, as click tells bash."""
    line = " ".join(("plan-verifier", *words))
    done = run(env={
        "_PLAN_VERIFIER_COMPLETE": "bash_complete", "COMP_WORDS": line,
        "COMP_CWORD": str(len(words)),
    })  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return [x.partition(",")[2] for x in done.stdout.splitlines() if x.startswith("plain,")]


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (("ve",), ["verify"]),
        (("po",), ["powercycle"]),
        (("verify", "--ev"), ["--evidence"]),
        (("verify", "--device", "light"), ["lighthouse-quarry"]),
        (("verify", "--link", ""), ["Hop 1"]),
        (("find", "quarry"), ["quarry-lighthouse"]),
        (("align", ""), ["Hop 1"]),
        (("powercycle", "lighthouse-quarry", "qu"), ["quarry-lighthouse"]),
        (("verify", "--accept-untested", "radio.pol"),
         ["radio.polarisation-balance=", "radio.polarisation="]),
        (("verify", "--stage", "al"), ["alignment"]),
        (("explain", "radio.rx-level-s"), ["radio.rx-level-spread"]),
        (("profiles", "show", "mib"), ["mib2"]),
        (("profiles", "dr"), ["draft"]),
        (("schema", "resu"), ["result"]),
    ],
    ids=lambda v: " ".join(v) if isinstance(v, tuple) else "",
)  # fmt: skip
def test_completed_from_the_one_plan_of_the_folder(
    run: Run, plan: Path, words: tuple[str, ...], found: list[str]
) -> None:
    assert plan.exists()
    assert sorted(completed(run, *words)) == sorted(found)


def test_a_plan_that_is_named_counts(run: Run, plan: Path) -> None:
    (plan.parent / "other.yaml").write_text(TWO)
    assert completed(run, "verify", "--device", "") == []  # two plans: of which?
    assert completed(run, "verify", "other.yaml", "--device", "") == ["mill-quarry", "quarry-mill"]
    assert completed(run, "verify", "other.yaml", "--site", "M") == ["Mill Hill"]
    assert completed(run, "align", "other.yaml", "H") == ["Hop 9"]


def test_what_cannot_be_read_completes_nothing(run: Run, tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text("devices: [{name: x")
    assert completed(run, "verify", "--device", "") == []
    (tmp_path / "plan.yaml").unlink()
    assert completed(run, "verify", "--device", "") == []


def test_every_check_is_offered(run: Run) -> None:
    assert {c.rstrip("=") for c in completed(run, "verify", "--accept-untested", "")} == CHECK_NAMES


@pytest.mark.skipif(shutil.which("bash") is None, reason="bash missing")
def test_bash_reads_the_script() -> None:
    """What `~/.bashrc` evaluates defines the completion."""
    bash = shutil.which("bash")
    assert bash is not None
    script = subprocess.run(
        [sys.executable, "-m", "verifier"], capture_output=True, text=True, check=True, timeout=60,
        env={**clean_environment(), "_PLAN_VERIFIER_COMPLETE": "bash_source"},
    ).stdout  # fmt: skip
    done = subprocess.run(
        [bash, "-c", f"{script}\ncomplete -p plan-verifier"], capture_output=True, text=True,
        check=False, timeout=60,
    )  # fmt: skip
    assert "complete" in done.stdout, done.stderr
    assert len(CHECK_NAMES) > 50
