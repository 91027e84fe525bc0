"""Radio checks against net-snmp's agent, made to show an invented radio's objects."""

from __future__ import annotations

import contextlib
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.lab.agent import listens
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.profile import ProfileReading
from verifier.probes.world import ThisMachine
from verifier.report.result import FORMATS
from verifier.report.result.pictures import pictures
from verifier.report.style import Annex, ReportStyle
from verifier.session import Probing, Request, run

pytestmark = [pytest.mark.snmpd, pytest.mark.icmp]
PLAN = """\
network: {name: Coast, example: true}
devices:
  - {name: sound-a, address: 127.93.0.11/24, profile: hop-radio, snmp: bench, services: {closed: [443/tcp]}}
  - {name: sound-b, address: 127.93.0.12/24, profile: hop-radio, snmp: bench, services: {closed: [443/tcp]}}
  - {name: wrong-a, address: 127.93.0.13/24, profile: hop-radio, snmp: bench, services: {closed: [443/tcp]}}
  - {name: wrong-b, address: 127.93.0.14/24, profile: hop-radio, snmp: bench, services: {closed: [443/tcp]}}
links:
  - {name: Sound, bandwidth_mhz: 28, modulation: 256qam, capacity_mbps: 190, polarisation: V, fade_margin_db: 20,
     a: {device: sound-a, tx_mhz: 13143, tx_power_dbm: 18, max_eirp_dbm: 62.1, antenna_dbi: 36.1, rx_level_dbm: -45.6, atpc: false},
     b: {device: sound-b, tx_mhz: 12877, tx_power_dbm: 18, max_eirp_dbm: 62.1, antenna_dbi: 36.1, rx_level_dbm: -45.8, atpc: false}}
  - {name: Wrong, bandwidth_mhz: 28, modulation: 256qam, capacity_mbps: 190, polarisation: V, fade_margin_db: 20,
     a: {device: wrong-a, tx_mhz: 13143, tx_power_dbm: 18, max_eirp_dbm: 62.1, antenna_dbi: 36.1, rx_level_dbm: -45.6, atpc: false},
     b: {device: wrong-b, tx_mhz: 12877, tx_power_dbm: 18, max_eirp_dbm: 62.1, antenna_dbi: 36.1, rx_level_dbm: -45.8, atpc: false}}
"""
RAW_A: dict[str, int | str] = {
    "rx_level_dbm": -456, "tx_modulation": 8, "rx_modulation": 8, "tx_mhz": 13_143_000,
    "rx_mhz": 12_877_000, "bandwidth_mhz": 28_000, "tx_power_dbm": 180, "tx_power_set_dbm": 180,
    "unsaved_settings": 0, "tx_enabled": 1, "atpc": 2, "snr_db": 380, "locked": 1,
    "far_end_name": '"{far}"', "configured_capacity_mbps": 190, "current_capacity_mbps": 190,
    "key_capacity_mbps": 190, "test_mode": 0, "alarm": 0, "polarisation": 1,
    "software": '"4.2.1"',
}  # fmt: skip
"""What the agents give, by the profile's own scales and enumerations, worked by hand."""
RAW_B = {**RAW_A, "rx_level_dbm": -458, "tx_mhz": 12_877_000, "rx_mhz": 13_143_000}
WRONG_A: dict[str, int | str] = {
    "rx_level_dbm": -990,
    "locked": 2,
    "unsaved_settings": 1,
    "polarisation": 7,
}
WRONG_B: dict[str, int | str] = {
    "tx_enabled": 2,
    "tx_modulation": 3,
    "tx_power_dbm": '"full"',
    "alarm": 3,
    "current_capacity_mbps": 140,
}
PROFILE = load_profiles({"hop-radio"})["hop-radio"]


def overrides(raw: dict[str, int | str], far: str) -> Iterator[str]:
    readings: dict[str, ProfileReading] = {str(r.field): r for r in PROFILE.reading}
    for field, value in raw.items():
        kind = "octet_str" if isinstance(value, str) else "integer"
        yield f"override {readings[field].oid} {kind} {str(value).format(far=far)}"


@pytest.fixture
def port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as trial:
        trial.bind(("127.93.0.11", 0))
        found: int = trial.getsockname()[1]
        return found


@pytest.fixture
def agents(tmp_path: Path, port: int) -> Iterator[None]:
    """Four agents: two of a sound hop, two of one with faults."""
    devices = {
        "sound-a": (11, RAW_A, "sound-b"), "sound-b": (12, RAW_B, "sound-a"),
        "wrong-a": (13, {**RAW_A, **WRONG_A}, ""),
        "wrong-b": (14, {**RAW_B, **WRONG_B}, "wrong-a"),
    }  # fmt: skip
    started = []
    with contextlib.ExitStack() as stack:
        for name, (octet, raw, far) in devices.items():
            folder = tmp_path / name
            folder.mkdir()
            lines = [
                "rocommunity coastal-read 127.0.0.0/8",
                f"agentAddress udp:127.93.0.{octet}:{port}",
                f"sysName {name}",
                *overrides(raw, far),
            ]
            (folder / "snmpd.conf").write_text("\n".join(lines) + "\n")
            process = subprocess.Popen(
                ["snmpd", "-f", "-Lf", str(folder / "log"), "-C", "-c", str(folder / "snmpd.conf"),
                 "-I", "-smux", "-p", str(folder / "pid")],
                env={"PATH": "/usr/sbin:/usr/bin:/sbin:/bin", "SNMP_PERSISTENT_DIR": str(folder)},
            )  # fmt: skip
            stack.callback(process.wait, 10)
            stack.callback(process.terminate)
            started.append((process, f"127.93.0.{octet}"))
        assert all(listens(process, address, port) for process, address in started)
        yield


@pytest.mark.usefixtures("agents")
def test_a_sound_hop_passes_and_each_fault_is_told(tmp_path: Path, port: int) -> None:
    """The sound hop passes whole; of the other one exactly what was made wrong does not."""
    (tmp_path / "plan.yaml").write_text(PLAN)
    plan, problems = read_plan(tmp_path / "plan.yaml")
    assert not [p for p in problems if p.severity == "error"]
    entry = SnmpEntry(name="bench", version="2c", community=Secret("coastal-read"), port=port)
    result = run(
        Request(
            command="verify", plan=plan, plan_sha256="", stage="handover", devices=plan.devices,
            profiles={"hop-radio": PROFILE}, credentials={"bench": entry},
            probing=Probing(echoes=1, interval_s=0.01, snmp_timeout_s=3.0),
        ),
        ThisMachine(),
    ).result  # fmt: skip
    of_radio = [
        f
        for f in result.findings
        if f.check.startswith(("radio.", "link.", "settings.", "state.al"))
    ]
    sound = {f.check for f in of_radio if f.subject.name == "Sound"}
    assert {"radio.path-loss", "radio.reciprocity", "radio.rx-level", "radio.eirp"} <= sound
    reasons = [f"{f.subject} {f.check} {f.verdict}: {f.reason}" for f in of_radio]
    found = {
        (f.check, f.subject.end or f.subject.name, f.verdict)
        for f in of_radio
        if f.verdict != "pass"
    }
    assert found == {
        ("radio.rx-level", "a", "fail"), ("radio.lock", "a", "fail"),
        ("radio.polarisation", "a", "not-tested"), ("radio.path-loss", "a", "not-tested"),
        ("radio.fade-margin", "a", "not-tested"), ("link.far-end", "a", "not-tested"),
        ("settings.saved", "wrong-a", "fail"), ("radio.transmitter", "b", "fail"),
        ("radio.modulation", "b", "fail"), ("radio.capacity", "b", "warn"),
        ("radio.reciprocity", "Wrong", "not-tested"), ("state.alarm", "wrong-b", "fail"),
    }, "\n".join(reasons)  # fmt: skip
    sound_, wrong = pictures(plan, result)
    assert [(w.sent, w.level) for w in sound_.directions] == [
        ("13143 MHz at 18.0 dBm", "received -45.8 dBm, planned -45.8 dBm (+0.0 dB)"),
        ("12877 MHz at 18.0 dBm", "received -45.6 dBm, planned -45.6 dBm (+0.0 dB)"),
    ]
    assert sound_.off == ()
    assert wrong.directions[1].sent == "12877 MHz, transmitter off"
    assert wrong.directions[1].level == "nothing received, planned -45.6 dBm"
    assert wrong.directions[0].level.startswith("received -45.8 dBm")
    drawn = FORMATS["text"](result, ReportStyle(annex=Annex(plan=plan)))
    assert "12877 MHz, transmitter off" in drawn
    assert "13143 MHz at 18.0 dBm -" in drawn
