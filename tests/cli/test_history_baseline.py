"""`record --baseline` with the sealed evidence of a real handover run and a level that fell since."""

from __future__ import annotations

import csv
import io
import json
import shutil
import signal
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from tests.cli.sweeping import Desk, coastal, line_of
from tests.cli.test_report import call, key
from verifier.files.schema import schema
from verifier.simulator.faults import PlantedFault

pytestmark = pytest.mark.icmp
LOW = PlantedFault(kind="level-low", device="lighthouse-quarry", value=6.0)
SWEEPS, HOUR_S = 12, 3600.0
HERE = ("--profiles", "profiles", "--credentials", "credentials.toml")


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Handover evidence, with and without a signature; then sweeps with 6 dB less at one end."""
    folder: Path = tmp_path_factory.mktemp("coast")
    key(folder, "ours")
    with coastal(folder) as at:
        run = call(folder, "verify", "plan.yaml", "--stage", "handover", *HERE, "--echoes", "1",
                   "--quiet", "--sign", "ours.pem", "--evidence", "signed.json")  # fmt: skip
        assert run.returncode == 0, run.stdout + run.stderr
        at.network.put(LOW)
        series = at.start("--every", "0.1s", "--link", "Hop 1", "--profiles", "profiles")
        stored = 0
        while stored < SWEEPS and (line := line_of(series)):
            stored += " sweep " in line
        series.send_signal(signal.SIGTERM)
        out, err = series.communicate(timeout=30)
        assert stored == SWEEPS, out + err
        _into_the_past(at)
        at.sweep("--link", "Hop 1", "--profiles", "profiles")
        yield folder


def _into_the_past(at: Desk) -> None:
    """Four sweeps in each of the hours before this one: nobody waits for hours here."""
    hour_s = time.time() // HOUR_S * HOUR_S
    with closing(sqlite3.connect(at.store)) as store, store:
        numbers = [n for (n,) in store.execute("SELECT id FROM sweep ORDER BY id DESC")]
        for back, number in enumerate(numbers):
            hours, quarter = 1 + back // 4, 3 - back % 4
            at_s = hour_s - hours * HOUR_S + 900.0 * quarter + 1.0
            store.execute("UPDATE sweep SET started_s = ? WHERE id = ?", (at_s, number))


@pytest.fixture
def place(kept: Path, tmp_path: Path) -> Path:
    """A folder with copies, to be spoilt."""
    shutil.copytree(kept, tmp_path / "coast")
    evidence = json.loads((kept / "signed.json").read_text())
    evidence["signature"] = None
    (tmp_path / "coast" / "unsigned.json").write_text(json.dumps(evidence))
    return tmp_path / "coast"


def record(place: Path, baseline: str, *words: str, code: int = 0) -> Any:
    done = call(
        place, "history", "plan.yaml", "--profiles", "profiles", "--baseline", baseline, *words
    )
    assert done.returncode == code, done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    return done


def then_dbm(place: Path, end: str) -> float:
    """What the handover observed, read from its file apart from the code under test."""
    findings = json.loads((place / "signed.json").read_text())["parts"]["result"]["findings"]
    (level,) = [f["observed"] for f in findings if f["check"] == "radio.rx-level"
                and (f["subject"]["name"], f["subject"]["end"]) == ("Hop 1", end)]  # fmt: skip
    return float(level)


@pytest.mark.parametrize("baseline", ["signed.json", "unsigned.json"])
def test_the_deviation_is_the_one_that_was_made(place: Path, baseline: str) -> None:
    """6 dB less at end a: -6.0 dB, beyond its limit; end b stayed."""
    record(place, baseline, "--out", "r.json", "--quiet")
    document = json.loads((place / "r.json").read_text())
    jsonschema.Draft202012Validator(schema("history")).validate(document)
    ends = {(d["link"], d["end"]): d for d in document["level_deviations"]}
    low, stayed = ends["Hop 1", "a"], ends["Hop 1", "b"]
    assert low["then_dbm"] == then_dbm(place, "a")
    assert low["now_dbm"] == pytest.approx(then_dbm(place, "a") - 6.0, abs=0.11)
    assert low["deviation_db"] == pytest.approx(-6.0, abs=0.11)
    assert (low["beyond"], low["dry_hours"]) == (True, 3)
    assert stayed["deviation_db"] == pytest.approx(0.0, abs=0.11)
    assert stayed["beyond"] is False
    assert {d["reason"] for (link, _), d in ends.items() if link != "Hop 1"} == {
        "no level was read in this period"
    }
    assert len(ends) == 6, "the plan has no level of the other hops, the devices showed theirs"
    assert all(d["then_dbm"] is not None for d in ends.values())
    assert document["handover_remarks"] == []


def test_every_format_shows_it(place: Path) -> None:
    """Text, CSV and page: the figure, the limit and the words."""
    now = then_dbm(place, "a") - 6.0
    text = record(place, "signed.json").stdout
    (line,) = [line for line in text.splitlines() if line.startswith("Hop 1 end a")]
    assert line.split()[4:8] == [f"{then_dbm(place, 'a'):.1f}", f"{now:.1f}", "-6.0", "3.0"]
    assert "BEYOND ITS LIMIT, 3 dry" in line
    assert max(map(len, text.splitlines())) <= 100
    rows = list(csv.DictReader(io.StringIO(record(place, "signed.json", "--format", "csv").stdout)))
    (row,) = [r for r in rows if (r["row"], r["name"], r["end"]) == ("deviation", "Hop 1", "a")]
    assert float(row["deviation_db"]) == pytest.approx(-6.0, abs=0.11)
    page = record(place, "signed.json", "--format", "html").stdout
    assert '<td class="n beyond">-6.0 dB</td>' in page


def changed(document: dict[str, Any], part: str) -> dict[str, Any]:
    """One figure of a part another."""
    if part == "signature":
        document["signature"]["value"] = "A" * 86 + "=="
    elif part == "result":
        for finding in document["parts"]["result"]["findings"]:
            if finding["check"] == "radio.rx-level":
                finding["observed"] -= 6.0
    else:
        document["parts"]["plan"]["network"]["revision"] = "9"
    return document


@pytest.mark.parametrize("part", ["result", "plan", "signature"])
def test_tampered_evidence_is_refused(place: Path, part: str) -> None:
    """Exit 4, one line that names the part."""
    document = json.loads((place / "signed.json").read_text())
    (place / "forged.json").write_text(json.dumps(changed(document, part)))
    done = record(place, "forged.json", code=4)
    assert part in done.stderr
    assert done.stdout == ""


def _other_names(document: dict[str, Any]) -> None:
    document["plan"]["name"] = "Moor ring"
    for finding in document["findings"]:
        if finding["subject"]["kind"] == "link":
            finding["subject"]["name"] = f"Moor {finding['subject']['name']}"


def _soak(state: str) -> Any:
    """With a soak that came to this."""

    def change(document: dict[str, Any]) -> None:
        value = {"asked_s": 60.0, "lasted_s": 30.0, "state": state, "step_s": 1.0, "bytes": [64]}
        noted = {**document["observations"][0], "what": "soak", "value": value}
        document["observations"].append({**noted, "id": 100_000})

    return change


@pytest.mark.parametrize(
    ("change", "code", "said"),
    [
        (lambda d: d.update(stage="bench"), 4, "was made at stage bench"),
        (_other_names, 4, "is of Moor ring, and none of its links is in this plan"),
        (lambda d: d["plan"].update(name="Moor ring"), 0, "it is of another plan: Moor ring"),
        (lambda d: d["findings"][0].update(verdict="not-tested"), 0, "its verdict is incomplete"),
        (_soak("interrupted"), 0, "its soak was not finished"),
        (_soak("unfinished"), 0, "its soak was not finished"),
    ],
)
def test_what_is_no_finished_handover_of_this_plan_is_said(
    place: Path, change: Any, code: int, said: str
) -> None:
    """What cannot be compared is refused; what can be is shown with a remark."""
    result = json.loads((place / "signed.json").read_text())["parts"]["result"]
    change(result)
    (place / "result.json").write_text(json.dumps(result))
    done = record(place, "result.json", "--format", "json", code=code)
    assert said in done.stdout + done.stderr


def test_links_that_are_gone_and_ends_without_a_level(place: Path) -> None:
    """A link that left the plan, one that was not swept, an end that had no level then: each is said."""
    result = json.loads((place / "signed.json").read_text())["parts"]["result"]
    levels = [
        f for f in result["findings"]
        if f["check"] == "radio.rx-level" and f["subject"]["name"] == "Hop 1"
    ]  # fmt: skip
    others = [f for f in result["findings"] if f["check"] != "radio.rx-level"]
    result["observations"] = [
        o for o in result["observations"] if not o["what"].startswith("rx_level_dbm")
    ]
    (at_a,) = [f for f in levels if f["subject"]["end"] == "a"]
    made = [{**at_a, "id": f"more-{n}", "subject": {**at_a["subject"], "name": n}}
            for n in ("Hop 2", "Hop 9")]  # fmt: skip
    (place / "result.json").write_text(json.dumps({**result, "findings": [*others, at_a, *made]}))
    whole = record(place, "result.json", "--format", "json").stdout
    ends = {(d["link"], d["end"]): d for d in json.loads(whole)["level_deviations"]}
    assert {key: d["reason"] for key, d in ends.items()} == {
        ("Hop 1", "a"): "",
        ("Hop 1", "b"): "the handover has no level of this end",
        ("Hop 2", "a"): "no level was read in this period",
        ("Hop 9", "a"): "the plan has no such end any more",
    }
    assert ends["Hop 9", "a"]["then_dbm"] == then_dbm(place, "a")
    assert ends["Hop 1", "b"]["now_dbm"] == pytest.approx(then_dbm(place, "b"), abs=0.11)
    one = record(place, "result.json", "--link", "Hop 1", "--format", "json").stdout
    assert {d["link"] for d in json.loads(one)["level_deviations"]} == {"Hop 1"}
