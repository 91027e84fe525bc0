"""`verify --soak` as a person runs it, against simulated devices: to its end, and cut off in every way."""

from __future__ import annotations

import datetime as dt
import gzip
import hashlib
import json
import random
import re
import shlex
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import rfc8785

from tests.as_seen import value_of
from tests.command import clean_environment, command
from tests.ports import free_port
from verifier.files.credentials import load_credentials
from verifier.files.evidence.document import of_parts, to_bytes
from verifier.files.journals.soak import read_journal
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.files.schema import schema
from verifier.rules.soak.tally import soaked
from verifier.session.stored import read
from verifier.simulator.faults import PlantedFault
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.running import running

pytestmark = pytest.mark.icmp

PORT = free_port()
DEVICES = ("lighthouse-quarry", "quarry-lighthouse")
PLAN = f"""\
network: {{name: Hop, revision: "1", example: true}}
management:
  hosts: [{{name: desk, address: 127.86.0.99}}, {{name: ferry-host, address: 127.86.0.98}}]
devices:
  - {{name: {DEVICES[0]}, profile: hop-radio, address: 127.86.0.11/24, snmp: bench, tx_band: high,
     ports: [{{name: eth1, speed_mbps: 1000}}], services: {{closed: [443/tcp]}}}}
  - {{name: {DEVICES[1]}, profile: hop-radio, address: 127.86.0.12/24, snmp: bench, tx_band: low,
     ports: [{{name: eth1, speed_mbps: 1000}}], services: {{closed: [443/tcp]}}}}
links:
  - name: Hop 1
    bandwidth_mhz: 28
    modulation_max: 256qam
    a: {{device: {DEVICES[0]}, tx_mhz: 13143.0, tx_power_dbm: 18, antenna_dbi: 36.1, rx_level_dbm: -45.6}}
    b: {{device: {DEVICES[1]}, tx_mhz: 12877.0, tx_power_dbm: 18, antenna_dbi: 36.1, rx_level_dbm: -45.6}}
acceptance: {{echo_per_s: 20, max_loss_pct: 0.1, max_rtt_p95_ms: 500, max_port_errors: 0,
  mtu_bytes: 1500, traffic_pairs: [desk>ferry-host, desk>nobody]}}
"""
SOAK_CHECKS = {
    "echo.loss", "echo.round-trip", "echo.jitter", "echo.gap", "echo.duplicate", "echo.reordered",
    "echo.mtu", "state.restarts", "state.clock",
}  # fmt: skip


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, SimulatedNetwork]]:
    """A folder with plan and credentials, and the devices of it, served from a thread."""
    folder = tmp_path_factory.mktemp("soak")
    (folder / "plan.yaml").write_text(PLAN)
    secret = folder / "credentials.toml"
    secret.write_text(f'[snmp.bench]\nversion = "2c"\ncommunity = "coastal-read"\nport = {PORT}\n')
    secret.chmod(0o600)
    plan, _ = read_plan(folder / "plan.yaml")
    built = SimulatedNetwork(
        plan, load_profiles({"hop-radio"}), load_credentials({"bench"}, secret, {})
    )
    with running(built):
        yield folder, built


class Tool:
    """One run of `verify --soak` in a folder of its own."""

    def __init__(self, folder: Path, place: Path, soak: str, *more: str) -> None:
        place.mkdir(exist_ok=True)
        self.place, self.evidence = place, place / "ev.json"
        files = (str(folder / "plan.yaml"), "--credentials", str(folder / "credentials.toml"))
        self.argv = [sys.executable, "-m", "verifier", "verify", *files, "--echoes", "1",
                     "--evidence", str(self.evidence), f"--soak={soak}", *more]  # fmt: skip
        self.process: subprocess.Popen[str] | None = None

    @property
    def journal(self) -> Path:
        return self.place / "ev.json.journal"

    def start(self, argv: list[str] | None = None) -> subprocess.Popen[str]:
        self.process = subprocess.Popen(
            argv or self.argv, cwd=self.place, env=clean_environment(), stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        return self.process

    def wait_for_blocks(self, kind: bytes = b'"kind":"echo"', timeout_s: float = 30.0) -> None:
        """Returns when the journal has a block of samples."""
        end_s = time.monotonic() + timeout_s
        while time.monotonic() < end_s:
            if self.journal.exists() and kind in self.journal.read_bytes():
                return
            time.sleep(0.02)
        raise AssertionError("no block came")

    def finish(self, timeout_s: float = 60.0) -> tuple[int, str, str]:
        assert self.process is not None
        out, err = self.process.communicate(timeout=timeout_s)
        return self.process.returncode, out, err

    def findings(self) -> dict[tuple[str, str], dict[str, Any]]:
        return by_key(json.loads(self.evidence.read_text())["parts"]["result"]["findings"])


def by_key(findings: list[dict[str, Any]]) -> dict[tuple[str, str], dict[str, Any]]:
    """Findings by check and the subject's words."""

    def said(s: dict[str, Any]) -> str:
        parts = [s["name"], s.get("port"), s.get("end")]
        return " ".join(str(p) for p in parts if p)

    mine = [f for f in findings if not f["check"].startswith("tcp.")]  # one for each service
    found = {(f["check"], said(f["subject"])): f for f in mine}
    assert len(found) == len(mine)
    return found


def test_a_whole_soak(network: tuple[Path, SimulatedNetwork], tmp_path: Path) -> None:
    """Every check of a soak is there and passes; evidence, journal and picture agree with it."""
    folder, _ = network
    tool = Tool(folder, tmp_path / "run", "4s", "--out", str(tmp_path / "page.html"))
    tool.start()
    code, out, err = tool.finish()
    found = tool.findings()
    assert code == 3, out + err  # of two traffic pairs one has no address
    bad = {k: f["reason"] for k, f in found.items() if f["verdict"] not in {"pass", "warn"}}
    assert set(bad) == {("traffic.loss", "desk>nobody"), ("traffic.round-trip", "desk>nobody")}
    for device, end in zip(DEVICES, "ab", strict=True):
        assert {c for c, s in found if s == device} >= SOAK_CHECKS
        assert found["port.errors", f"{device} eth1"]["observed"] == 0
        for check in ("rx-level-spread", "errored-seconds", "severely-errored-seconds",
                      "unavailable-seconds"):  # fmt: skip
            assert found[f"radio.{check}", f"Hop 1 {end}"]["observed"] == 0.0
        assert found["echo.loss", device]["reason"].startswith("management path: 0 of 160 echoes")
    assert found["traffic.loss", "desk>ferry-host"]["verdict"] == "pass"
    assert "short soak of 4 s (24 h is common practice)" in out
    assert f"every sample is in {tool.journal}.gz" in err
    _same_everywhere(tool, tmp_path / "page.html")


def _same_everywhere(tool: Tool, page: Path) -> None:
    document = json.loads(tool.evidence.read_text())
    jsonschema.validate(document, schema("evidence"))
    parts = document["parts"]
    packed = tool.journal.with_name("ev.json.journal.gz")
    assert not tool.journal.exists()
    kept = read_journal(packed)
    assert list(kept.blocks) == parts["samples"]
    assert kept.end is not None
    _counted_by_64_bits(kept.blocks, parts["result"]["findings"])
    assert len(gzip.decompress(packed.read_bytes()).splitlines()) > len(kept.blocks)
    for path in (tool.evidence, packed):
        done = report_on(path, "--judge-again")
        assert done.returncode == 0, done.stdout + done.stderr
    _damaged_samples(document, tool.place)
    drawn = page.read_text()
    assert "short soak of 4 s" in drawn
    assert drawn.count('class="trend"') == 4  # two devices, two hosts
    assert len(re.findall(r'class="middle[^"]*" d="M[\d. L-]+"', drawn)) == 2 * 3 + 2 * 2


def _counted_by_64_bits(blocks: Sequence[dict[str, Any]], findings: list[dict[str, Any]]) -> None:
    """Octets are the growth of the 64-bit counter, and its 32-bit twin is asked for once only."""
    mine = [b["series"] for b in blocks if b["kind"] == "values"
            and b["subject"]["name"] == DEVICES[0]]  # fmt: skip
    wide = [v for series in mine for v in series["ifHCInOctets eth1"]]
    narrow = [v for series in mine for v in series.get("ifInOctets eth1", ()) if v is not None]
    (reason,) = (f["reason"] for f in findings if f["check"] == "port.errors"
                 and f["subject"]["name"] == DEVICES[0])  # fmt: skip
    assert f"octets in {wide[-1] - wide[0]}, out " in reason
    assert len(narrow) == 1


def _damaged_samples(document: dict[str, Any], place: Path) -> None:
    """A block that is none, under a hash that is right: one message, exit code 4."""
    path = place / "damaged.json"
    echo = next(b for b in document["parts"]["samples"] if b["kind"] == "echo")
    for block in ({"kind": "echo"}, {**echo, "rtt_us": ["soon"]}, 7):
        parts = {**document["parts"], "samples": [block]}
        path.write_bytes(to_bytes(of_parts(parts)))
        done = report_on(path, "--format", "html")
        assert done.returncode == 4, done.stderr
        assert "part samples: block 1 has not the form of one" in done.stderr


def report_on(*words: str | Path) -> subprocess.CompletedProcess[str]:
    return command(Path.cwd(), "report", *map(str, words))


def forged(lines: list[bytes]) -> bytes:
    """A journal in which a lost echo is a heard one, with a chain that fits again."""
    made: list[bytes] = []
    for line in map(json.loads, lines):
        if line["kind"] == "echo":
            line["rtt_us"][0] = 77
        if made:
            line["previous"] = hashlib.sha256(made[-1]).hexdigest()
        made.append(rfc8785.dumps(line))
    return b"".join(line + b"\n" for line in made)


def test_the_journal_is_that_of_the_evidence(
    network: tuple[Path, SimulatedNetwork], tmp_path: Path
) -> None:
    """Its chain is proved alone; one that was forged as a whole does not fit the evidence."""
    folder, _ = network
    tool = Tool(folder, tmp_path / "run", "2s")
    tool.start()
    tool.finish()
    packed = tool.journal.with_name("ev.json.journal.gz")
    lines = gzip.decompress(packed.read_bytes()).splitlines()
    document = json.loads(tool.evidence.read_text())
    observations = document["parts"]["result"]["observations"]
    (told,) = (o["value"] for o in observations if o["what"] == "journal")
    assert told == {
        "file": "ev.json.journal", "lines": len(lines),
        "first": hashlib.sha256(lines[0]).hexdigest(),
        "head": hashlib.sha256(lines[-1]).hexdigest(),
    }  # fmt: skip
    assert report_on(packed).returncode == 0
    assert report_on(tool.evidence, "--compare", packed).returncode == 0

    other = tmp_path / "other" / "copy.journal"
    other.parent.mkdir()
    one = next(n for n, line in enumerate(lines) if b'"kind":"echo"' in line)
    changed = [*lines[:one], lines[one].replace(b"null", b"1234").replace(b"[", b"[1,", 1),
               *lines[one + 1 :]]  # fmt: skip
    other.write_bytes(b"".join(line + b"\n" for line in changed))
    done = report_on(other)
    assert (done.returncode, done.stdout) == (4, "")
    assert f"line {one + 2} does not follow" in done.stderr

    tool.journal.write_bytes(forged(lines))
    other.write_bytes(tool.journal.read_bytes())
    for words in ((tool.journal,), (tool.evidence, "--compare", other),
                  (other, "--compare", tool.evidence)):  # fmt: skip
        done = report_on(*words)
        assert (done.returncode, done.stdout) == (4, "")
        assert "changed since it was written" in done.stderr
    tool.journal.write_bytes(b"".join(line + b"\n" for line in lines[:-1]))
    assert report_on(tool.journal).returncode == 4  # cut off, but the evidence tells of its end
    tool.evidence.write_bytes(tool.evidence.read_bytes()[:-30])
    done = report_on(tool.journal)
    assert (done.returncode, "was not compared with its evidence" in done.stderr) == (0, True)


def test_interrupted(network: tuple[Path, SimulatedNetwork], tmp_path: Path) -> None:
    """Everything is kept, nothing passes that was not measured to the end, exit code 130."""
    folder, _ = network
    tool = Tool(folder, tmp_path / "run", "15s")
    process = tool.start()
    tool.wait_for_blocks()
    process.send_signal(signal.SIGINT)
    code, out, err = tool.finish()
    assert code == 130, out + err
    found = tool.findings()
    assert found["laptop.soak", "laptop"]["verdict"] == "not-tested"
    loss = found["echo.loss", DEVICES[0]]
    assert loss["verdict"] == "not-tested"
    assert "a person ended it; until then: 0 of" in loss["reason"]
    assert "short soak of 15 s (24 h is common practice), interrupted" in out.replace("\n    ", " ")


def test_stopped_for_a_while(network: tuple[Path, SimulatedNetwork], tmp_path: Path) -> None:
    """As a laptop that sleeps: the gap is named, not counted, and measured longer at the end."""
    folder, _ = network
    tool = Tool(folder, tmp_path / "run", "4s")
    process = tool.start()
    tool.wait_for_blocks()
    process.send_signal(signal.SIGSTOP)
    time.sleep(2.5)
    process.send_signal(signal.SIGCONT)
    code, out, err = tool.finish()
    found = tool.findings()
    assert code == 3, out + err
    local = found["laptop.soak", "laptop"]
    assert local["verdict"] == "warn"
    slept = re.search(
        r"this program was stopped, or this laptop slept for ([\d.]+) s", local["reason"]
    )
    assert slept is not None, local["reason"]
    assert 2.0 <= float(slept[1]) < 2.5 + 2.5  # and until it came round again
    for device in DEVICES:
        assert found["echo.loss", device]["verdict"] == "pass"
        assert "not counted, see laptop.soak" in found["echo.loss", device]["reason"]
        assert found["port.errors", f"{device} eth1"]["verdict"] == "pass"
        assert found["state.restarts", device]["verdict"] == "pass"
    samples = json.loads(tool.evidence.read_text())["parts"]["samples"]
    for figures in soaked(samples).echoes:
        assert figures.lost == 0
        assert figures.sent == pytest.approx(80, abs=6)


def test_one_device_restarts_and_the_other_counts_errors(
    network: tuple[Path, SimulatedNetwork], tmp_path: Path
) -> None:
    """Each fails for its own reason: a restart that leaves counters in doubt, counters that run."""
    folder, built = network
    running_errors = PlantedFault(kind="counters-running", device=DEVICES[1])
    restart = PlantedFault(kind="restarted", device=DEVICES[0])
    built.put(running_errors)
    tool = Tool(folder, tmp_path / "run", "4s")
    tool.start()
    tool.wait_for_blocks(b'"kind":"values"')
    built.put(restart)
    code, out, err = tool.finish()
    built.take_off(restart)
    built.take_off(running_errors)
    found = tool.findings()
    assert code == 1, out + err
    assert found["state.restarts", DEVICES[0]]["verdict"] == "fail"
    assert found["state.restarts", DEVICES[0]]["observed"] == 1
    port = found["port.errors", f"{DEVICES[0]} eth1"]
    assert port["verdict"] == "not-tested"
    assert "started again" in port["reason"]
    assert found["state.restarts", DEVICES[1]]["verdict"] == "pass"
    port = found["port.errors", f"{DEVICES[1]} eth1"]
    assert port["verdict"] == "fail"
    assert 2 * 7 * 2 < port["observed"] < 2 * 7 * 12  # in and out, 7 a second each
    assert found["radio.errored-seconds", "Hop 1 b"]["verdict"] == "warn"
    assert found["radio.severely-errored-seconds", "Hop 1 b"]["observed"] > 0
    assert found["radio.unavailable-seconds", "Hop 1 b"]["verdict"] == "pass"


def killed(folder: Path, place: Path, moments_s: list[float]) -> list[Tool]:
    """Runs as many soaks at once and kills each so long after its journal is there.

    Every other one is killed so long after its first samples.
    """
    tools = [Tool(folder, place / f"run{n}", "30s") for n in range(len(moments_s))]
    began = {}
    for tool in tools:
        tool.start()
    left = dict(enumerate(tools))
    while left:
        for n, tool in list(left.items()):
            assert tool.process is not None
            sign = b'"kind":"echo"' if n % 2 else b'"kind":"header"'
            if n not in began and tool.journal.exists() and sign in tool.journal.read_bytes():
                began[n] = time.monotonic()
            if n in began and time.monotonic() - began[n] >= moments_s[n]:
                tool.process.kill()
                tool.finish()
                del left[n]
        time.sleep(0.03)
    return tools


def proved(tool: Tool) -> int:
    """What a killed run left is readable, unfinished, and without a hole; returns its echoes."""
    stored = read(tool.journal)
    (local,) = (f for f in stored.result.findings if f.check == "laptop.soak")
    assert local.verdict == "not-tested"
    assert "ended from outside" in local.reason
    assert stored.result.verdict == "incomplete"
    soak = next(value_of(o) for o in stored.result.observations if o.what == "soak")
    assert soak["state"] == "unfinished"
    began, ended = map(dt.datetime.fromisoformat, (stored.result.started, stored.result.finished))
    assert (ended - began).total_seconds() >= soak["lasted_s"]
    blocks: Any = read_journal(tool.journal).blocks
    places: dict[tuple[str, int], float] = {}
    for block in (b for b in blocks if b["kind"] == "echo"):
        key = block["subject"]["name"], block["bytes"]
        assert block["start_s"] == pytest.approx(places.get(key, 0.0))
        places[key] = block["start_s"] + len(block["rtt_us"]) * block["step_s"]
        assert None not in block["rtt_us"]
    assert not tool.evidence.exists()
    return sum(f.sent for f in soaked(blocks).echoes)


def test_killed_at_ten_moments(network: tuple[Path, SimulatedNetwork], tmp_path: Path) -> None:
    """`kill -9`: the journal is readable, and says that it was not finished."""
    folder, _ = network
    dice = random.Random(11)
    tools = killed(folder, tmp_path, [dice.uniform(0, 4) for _ in range(10)])
    echoes = [proved(tool) for tool in tools]
    assert max(echoes) > 0
    done = report_on(tools[0].journal)
    assert done.returncode == 0, done.stderr
    assert any("unfinished" in line for line in done.stdout.splitlines()[:4])


@pytest.mark.lab
def test_full_disk(network: tuple[Path, SimulatedNetwork], tmp_path: Path) -> None:
    """It measures on and reports; what was written by then is readable; exit code 2 says where."""
    folder, _ = network
    disk = tmp_path / "disk"
    disk.mkdir()
    tool = Tool(folder, disk, "5s")
    command = shlex.join(tool.argv)
    kept = tmp_path / "kept.journal"
    script = (
        f"mount -t tmpfs -o size=1m none {disk} || exit 9; cd {disk}; "
        f'(while ! grep -qs \'"kind":"echo"\' {tool.journal}; do sleep 0.05; done;'
        f" cat /dev/zero > filler 2>/dev/null) & {command};"
        f" code=$?; cp {tool.journal} {kept}; exit $code"
    )
    tool.start(["unshare", "--mount", "sh", "-c", script])
    code, out, err = tool.finish()
    assert code == 2, out + err
    assert "ev.json cannot be written: No space left on device" in err
    assert "is not whole: No space left on device" in err
    assert "short soak of 5 s" in out
    assert "checks" in out.splitlines()[0]
    stored = read(kept)
    assert (
        next(f for f in stored.result.findings if f.check == "laptop.soak").verdict == "not-tested"
    )


@pytest.mark.parametrize(
    ("words", "said"),
    [(("--soak",), "the plan has no acceptance.soak_s"), (("--soak", "soon"), "is not a duration"),
     (("--soak=0s",), "a duration above none"), (("--soak=nan",), "a duration above none")],
)  # fmt: skip
def test_no_length_of_time(
    network: tuple[Path, SimulatedNetwork], tmp_path: Path, words: tuple[str, ...], said: str
) -> None:
    """Exit code 2 and one message, before anything is sent or written."""
    folder, _ = network
    done = command(tmp_path, "verify", str(folder / "plan.yaml"), "--credentials",
                   str(folder / "credentials.toml"), *words)  # fmt: skip
    assert done.returncode == 2
    assert said in done.stderr.replace("\n", " ")
    assert not list(tmp_path.iterdir())


def test_reach_does_not_soak(network: tuple[Path, SimulatedNetwork]) -> None:
    """No other command has the option."""
    done = command(Path.cwd(), "reach", str(network[0] / "plan.yaml"), "--soak=1s")
    assert done.returncode == 2
    assert "No such option" in done.stderr
