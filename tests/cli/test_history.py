"""`record` as a person runs it, on a store that the store's own code wrote."""

from __future__ import annotations

import json
import time
from pathlib import Path

import jsonschema
import pytest

from tests.cli.conftest import Run
from tests.store import examples
from verifier.files.schema import schema
from verifier.model.health import ReceivedLevel
from verifier.store.store import opened

PLAN = """\
network: {name: Harbour ring, revision: "3", example: true}
devices:
  - {name: lighthouse-quarry, site: Lighthouse, address: 127.84.0.11/8}
  - {name: quarry-lighthouse, site: Quarry, address: 127.84.0.12/8}
sites: [{name: Lighthouse}, {name: Quarry}]
links:
  - {name: Hop 1, a: {device: lighthouse-quarry, rx_level_dbm: -45}, b: {device: quarry-lighthouse}}
"""


def handover(level_dbm: float) -> dict[str, object]:
    finding = {
        "id": "f1", "check": "radio.rx-level", "verdict": "pass", "expected": -45.0,
        "observed": level_dbm, "unit": "dBm", "origin": "", "reason": "as planned", "advice": "",
        "subject": {"kind": "link", "name": "Hop 1", "port": None, "carrier": 1, "end": "a"},
        "caused_by": [], "evidence": [],
    }  # fmt: skip
    return {
        "format": "plan-verifier/result/1", "tool": {"version": "0.1.0"}, "command": "verify",
        "stage": "handover", "started": "2026-10-01T10:00:00Z", "finished": "2026-10-01T10:01:00Z",
        "plan": {"name": "Harbour ring", "revision": "3", "sha256": "0", "file_sha256": ""},
        "verdict": "pass", "summary": {"pass": 1, "fail": 0, "warn": 0, "not-tested": 0},
        "not_in_stage": [], "not_asked": [], "by": None, "place": None, "findings": [finding],
        "scope": {"whole": True, "devices": [2, 2], "links": [1, 1], "names": []}, "causes": [],
        "observations": [],
    }  # fmt: skip


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    """A day of sweeps: the far end, which has no SNMP, was gone for one hour of it."""
    (tmp_path / "plan.yaml").write_text(PLAN)
    now_s = time.time()
    with opened(str(tmp_path / "plan.sweeps.db")) as store:
        for n in range(96):
            gone = 40 <= n < 44
            store.save(
                examples.sweep(
                    examples.reading(examples.RADIO, rtt_ms=1.5),
                    examples.reading(
                        examples.FAR, "silent" if gone else "untested", answered=not gone
                    ),
                    examples.reading(examples.HOP, levels=(ReceivedLevel(1, "a", -49.0),)),
                    at_s=now_s - 900.0 * (96 - n),
                )
            )
    return tmp_path


def test_the_whole_way(desk: Path, run: Run) -> None:
    """Text on the terminal, a document that fits its schema, availability by the answers."""
    (desk / "handover.json").write_text(json.dumps(handover(-45.0)))
    done = run("history", "plan.yaml", "--baseline", "handover.json", "--out", "r.json")
    assert (done.returncode, done.stderr) == (0, "")
    assert "BEYOND ITS LIMIT" in done.stdout
    document = json.loads((desk / "r.json").read_text())
    jsonschema.Draft202012Validator(schema("history")).validate(document)
    subjects = {u["subject"]["name"]: u for u in document["subjects"]}
    far = subjects["quarry-lighthouse"]
    assert far["availability"]["available_pct"] == pytest.approx(100 * 92 / 96, abs=0.01)
    assert far["availability"]["untested_s"] == pytest.approx(0.0, abs=60.0)
    assert far["state_s"]["untested"] == pytest.approx(92 * 900.0, abs=60.0)
    assert far["outages"] == 1
    (outage,) = document["outages"]
    assert outage["length_s"] == pytest.approx(3600.0)
    deviation = next(d for d in document["level_deviations"] if d["end"] == "a")
    assert deviation["deviation_db"] == pytest.approx(-4.0)


def test_a_device_and_the_other_formats(desk: Path, run: Run) -> None:
    """Only what is asked for; the ending of the file names the format."""
    words = ("history", "plan.yaml", "--device", "lighthouse-quarry", "--since", "12h", "--quiet")
    for name in ("r.csv", "r.html"):
        done = run(*words, "--out", name)
        assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
        assert "quarry-lighthouse" not in (desk / name).read_text()
        assert "lighthouse-quarry" in (desk / name).read_text()


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--store", "none.db"), 2, "none.db: there is no store"),
        (("--device", "lighthouse"), 2, "no device 'lighthouse'"),
        (("--since", "yesterday"), 2, "write 36h or 7d (ago), or 2026-11-24"),
        (("--since", "2026-13-01"), 2, "write 36h or 7d (ago), or 2026-11-24"),
        (("--since", "2999-01-01"), 2, "has not been yet"),
        (("--baseline", "plan.yaml"), 4, "plan.yaml: it is not JSON"),
        (("--baseline", "empty.json"), 4, "holds no receive level"),
        (("--out", "r.xlsx"), 2, "this is written as text or json or csv or html"),
        (("--out", "plan.yaml"), 2, "is read as an input"),
        (("--store", "no.db"), 2, "cannot be used"),
    ],
)
def test_what_cannot_be_done(desk: Path, run: Run, words, code, said) -> None:
    """One line says what and where; no store is made by asking for one."""
    (desk / "empty.json").write_text(json.dumps({**handover(-45.0), "findings": []}))
    (desk / "no.db").write_text("this is no database, only text that somebody left here" * 40)
    done = run("history", "plan.yaml", *words)
    assert done.returncode == code, done.stderr
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert not (desk / "none.db").exists()


def test_a_store_without_these_devices_ends_with_3(desk: Path, run: Run) -> None:
    """Nothing is known: that is no pass."""
    with opened(str(desk / "new.db")):
        pass
    done = run("history", "plan.yaml", "--store", "new.db")
    assert done.returncode == 3
    assert "Available - of the tested time" in done.stdout
