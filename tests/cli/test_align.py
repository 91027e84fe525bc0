"""`peak` against simulated radios: at a terminal, in a pipe, as JSON; ends that go silent."""

from __future__ import annotations

import json
import os
import pty
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.command import clean_environment
from tests.ports import free_port
from tests.stopwatch import patience
from verifier.files.credentials import load_credentials
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.model.plan import Carrier, End, EndName, Link
from verifier.rules.alignment import AlignedCarrier, LatestReading, end_view
from verifier.simulator.faults import PlantedFault
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.running import running

PORT = free_port()
PLAN = """\
network: {name: Harbour, example: true}
sites: [{name: Lighthouse}, {name: Quarry}]
devices:
  - {name: lighthouse-quarry, site: Lighthouse, profile: hop-radio, address: 127.86.0.11/24, snmp: bench}
  - {name: quarry-lighthouse, site: Quarry, profile: hop-radio, address: 127.86.0.12/24, snmp: bench}
  - {name: harbour, site: Quarry, address: 127.86.0.13/24, snmp: bench}
  - {name: ferry, site: Lighthouse, address: 127.86.0.14/24}
links:
  - name: Hop 1
    bandwidth_mhz: 28
    modulation: 64qam
    path_km: 11.42
    a: {device: lighthouse-quarry, tx_mhz: 13143, tx_power_dbm: 18, antenna_dbi: 36.1, rx_level_dbm: -45.6}
    b: {device: quarry-lighthouse, tx_mhz: 12877, tx_power_dbm: 18, antenna_dbi: 36.1, rx_level_dbm: -45.8}
  - {name: Cable, a: {device: harbour}, b: {device: ferry}}
"""
CREDENTIALS = f'[snmp.bench]\nversion = "2c"\ncommunity = "coastal-read"\nport = {PORT}\n'
FADE = PlantedFault(kind="level-low", device="lighthouse-quarry", value=20)
SILENT = PlantedFault(kind="no-answer", device="quarry-lighthouse")


@pytest.fixture
def network(tmp_path: Path) -> Iterator[SimulatedNetwork]:
    (tmp_path / "plan.yaml").write_text(PLAN)
    (tmp_path / "credentials.toml").write_text(CREDENTIALS)
    (tmp_path / "credentials.toml").chmod(0o600)
    plan, _ = read_plan(tmp_path / "plan.yaml")
    credentials = load_credentials({"bench"}, tmp_path / "credentials.toml", {})
    made = SimulatedNetwork(plan, load_profiles({"hop-radio", "mib2"}), credentials)
    with running(made):
        yield made


WORDS = ("align", "plan.yaml", "Hop 1", "--credentials", "credentials.toml")


def start(folder: Path, *words: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "verifier", *words], cwd=folder, env=clean_environment(),
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def test_a_line_a_second_while_the_antenna_is_turned(
    network: SimulatedNetwork, tmp_path: Path
) -> None:
    """Both levels, what is missing, the highest so far, the voltage; a level that rises is new."""
    network.put(FADE)
    process = start(tmp_path, *WORDS, "--for", "6s", "--bell")
    assert process.stdout is not None
    lines: list[str] = []  # words and cautions, then two of levels
    while sum(line[:3] == "00:" for line in lines) < 2 and (line := process.stdout.readline()):
        lines.append(line)
    network.take_off(FADE)
    out, err = process.communicate(timeout=60)
    shown = [line for line in "".join((*lines, out)).splitlines() if line[:3] == "00:"]
    assert process.returncode == 0, err
    assert 5 <= len(shown) <= 6
    assert "a -65.6 dBm -20.0 dB (best -65.6)" in shown[1]
    assert "aim 1.09 V" in shown[1]
    assert any("-45.6 dBm +0.0 dB (new best)" in line for line in shown)
    assert "b -45.8 dBm +0.0 dB" in shown[-1]
    assert max(map(len, shown)) <= 100
    assert "\a" in err
    assert "end a (lighthouse-quarry): highest -45.6 dBm, +0.0 dB to expected" in out
    assert "alignment port follows the antenna at once" in "".join(lines)
    assert "lock it out before anyone goes in front of the antenna" in "".join(lines)


def test_an_end_that_goes_silent_is_stale_and_the_other_goes_on(
    network: SimulatedNetwork, tmp_path: Path
) -> None:
    """Its last level is not shown as if it were of now."""
    process = start(tmp_path, *WORDS, "--for", f"{3 + 4 * patience()}s", "--format", "json")
    assert process.stdout is not None
    while (first := json.loads(process.stdout.readline()))["b"]["level_dbm"] is None:
        pass
    assert first["b"]["level_dbm"] == pytest.approx(-45.8)
    network.put(SILENT)
    out, err = process.communicate(timeout=60)
    last = json.loads(out.splitlines()[-1])
    assert (last["a"]["stale"], last["b"]["stale"]) == (False, True), err
    assert last["b"]["age_s"] > 3
    assert last["a"]["expected_dbm"] == pytest.approx(-45.6)
    assert last["b"]["age_s"] == round(last["b"]["age_s"], 3)
    network.take_off(SILENT)


def test_what_is_not_received_or_not_known_is_said(
    network: SimulatedNetwork, tmp_path: Path
) -> None:
    """An end that hears nothing was read; where the far power is not known, so is the aim."""
    muted = PlantedFault(kind="muted", device="quarry-lighthouse")
    network.put(muted)
    first = start(tmp_path, *WORDS, "--for", "3s")
    out, err = first.communicate(timeout=60)
    assert first.returncode == 0, err
    assert "end a (lighthouse-quarry): nothing received" in out, err
    network.take_off(muted)
    network.put(SILENT)
    out, err = start(tmp_path, *WORDS, "--for", "3s").communicate(timeout=60)
    assert "a -45.6 dBm, aim not known (best -45.6)" in out, err
    assert "highest -45.6 dBm; expected: the far end's actual power is not known" in out


def test_a_reason_that_both_ends_share_is_told_once(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text(PLAN.replace("profile: hop-radio", "profile: mib2"))
    (tmp_path / "credentials.toml").write_text(CREDENTIALS)
    (tmp_path / "credentials.toml").chmod(0o600)
    process = start(tmp_path, *WORDS)
    _, err = process.communicate(timeout=60)
    assert (process.returncode, err.count("has no reading rx_level_dbm")) == (2, 1), err


@pytest.mark.parametrize(("age_s", "stale"), [(2.9, False), (3.0, False), (3.1, True)])
def test_stale_is_older_than_3_s(age_s: float, stale: bool) -> None:  # noqa: FBT001
    end = End(device="a", rx_level_dbm=-45.6)
    carrier = Carrier(a=end, b=End(device="b", tx_power_dbm=18.0))
    profile = load_profiles({"hop-radio"})["hop-radio"]
    hop = AlignedCarrier(link=Link(name="Hop 1", carriers=(carrier,)), carrier=carrier, stage="alignment",
              profiles={"a": profile, "b": profile})  # fmt: skip
    latest: dict[EndName, LatestReading] = {"a": LatestReading(at_s=100.0, level_dbm=-45.6)}
    view = end_view(hop, "a", latest, {}, 100.0 + age_s, best=False)
    assert view.stale is stale


def test_nothing_read_ends_with_3_and_ctrl_c_with_130(
    network: SimulatedNetwork, tmp_path: Path
) -> None:
    """A person's end is told from one without a reading."""
    for device in ("lighthouse-quarry", "quarry-lighthouse"):
        network.put(PlantedFault(kind="no-answer", device=device))
    done = start(tmp_path, *WORDS, "--for", "2s")
    out, _ = done.communicate(timeout=60)
    assert done.returncode == 3
    assert "not read (silent)" in out
    assert "end a (lighthouse-quarry): never read" in out
    process = start(tmp_path, *WORDS)
    assert process.stdout is not None
    while process.stdout.readline()[:3] != "00:":
        pass
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert (process.returncode, err) == (130, "")
    assert "never read" in out


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("Hop 2",), 2, "no link 'Hop 2' in the plan; did you mean 'Hop 1'?"),
        (("Hop 1", "--carrier", "2"), 2, "link 'Hop 1' has carrier 1, not 2"),
        (("Cable",), 2, "profile 'mib2' has no reading rx_level_dbm"),
    ],
)
def test_what_cannot_be_peaked(
    words: tuple[str, ...], code: int, said: str, network: SimulatedNetwork, tmp_path: Path
) -> None:
    """Told before anything is sent."""
    done = start(tmp_path, "align", "plan.yaml", *words, "--credentials", "credentials.toml")
    out, err = done.communicate(timeout=60)
    assert (done.returncode, out) == (code, "")
    assert said in err
    assert network


def test_at_a_terminal_the_figures_are_large_and_stay_in_place(
    network: SimulatedNetwork, tmp_path: Path
) -> None:
    """Each picture is drawn over the last: as many lines up as were drawn; 100 columns at most."""
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "verifier", *WORDS, "--for", "3s"],
        cwd=tmp_path, env={**clean_environment(), "COLUMNS": "100", "LINES": "30"},
        stdin=theirs, stdout=theirs, stderr=theirs,
    )  # fmt: skip
    os.close(theirs)
    heard = bytearray()

    def listen() -> None:
        while True:
            try:
                data = os.read(ours, 4096)
            except OSError:
                return
            if not data:
                return
            heard.extend(data)

    thread = threading.Thread(target=listen)
    thread.start()
    assert process.wait(20) == 0
    time.sleep(0.2)
    os.close(ours)
    thread.join(5)
    text = heard.decode().replace("\r\n", "\n")
    pictures = text.split("\x1b[11A")
    assert len(pictures) == 3
    rows = pictures[1].split("\n")[:11]
    assert [len(row.strip("\r")) for row in rows] == [99] * 11
    assert rows[0].startswith("\rend a  lighthouse-quarry")
    assert "#   #" in rows[2]
    assert "expected -45.6 dBm: +0.0 dB" in rows[8]
    assert network
