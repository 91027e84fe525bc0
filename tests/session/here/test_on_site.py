"""`here` at devices of one hop with radio readings: the simulator's agents, real SNMP and echoes."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.ports import free_port
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.here import HereResult
from verifier.model.plan import Stage
from verifier.probes.world import ThisMachine
from verifier.report import here as drawn
from verifier.report.style import ReportStyle
from verifier.session.here.request import HereRequest
from verifier.session.here.run import Hold, here
from verifier.simulator.faults import PlantedFault
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.running import running

pytestmark = pytest.mark.icmp
PLAN = """\
network: {name: Harbour ring, example: true}
sites: [{name: Lighthouse}, {name: Quarry}]
devices:
  - {name: lighthouse-quarry, site: Lighthouse, address: 127.93.20.11/24, gateway: 127.93.20.1,
     profile: hop-radio, services: {closed: [443/tcp]}, serial: "000123", tx_band: high, snmp: bench}
  - {name: quarry-lighthouse, site: Quarry, address: 127.93.20.12/24, gateway: 127.93.20.1,
     profile: hop-radio, services: {closed: [443/tcp]}, serial: "000124", tx_band: low, snmp: bench}
links:
  - name: Hop 1
    bandwidth_mhz: 28
    path_km: 11.42
    polarisation: V
    modulation: 64qam
    capacity_mbps: 140
    a: {device: lighthouse-quarry, tx_mhz: 13143, tx_power_dbm: 18, max_eirp_dbm: 62.1,
        antenna_dbi: 36.1, rx_level_dbm: -45.6, atpc: false}
    b: {device: quarry-lighthouse, tx_mhz: 12877, tx_power_dbm: 18, max_eirp_dbm: 62.1,
        antenna_dbi: 36.1, rx_level_dbm: -45.8, atpc: false}
"""
QUARRY = "quarry-lighthouse"


@contextmanager
def requested(folder: Path, *faults: PlantedFault) -> Iterator[HereRequest]:
    """The hop with its faults, running; what is asked of it at the Quarry."""
    path = folder / "plan.yaml"
    path.write_text(PLAN, encoding="utf-8")
    plan, _ = read_plan(path)
    entry = SnmpEntry(name="bench", version="2c", community=Secret("coastal"), port=free_port())
    profiles = load_profiles({"hop-radio"})
    network = SimulatedNetwork(plan, profiles, {"bench": entry}, faults=faults)
    with running(network):
        yield HereRequest(
            plan=plan,
            plan_sha256="0" * 64,
            device=plan.devices[1],
            stage="handover",
            profiles=profiles,
            credentials={"bench": entry},
        )


def looked(request: HereRequest, stage: Stage = "handover", **more: object) -> HereResult:
    world = ThisMachine()
    request = dataclasses.replace(request, stage=stage, **more)  # type: ignore[arg-type]
    result = here(request, world, Hold(request=request, world=world))
    lines = drawn.text(result, ReportStyle()).splitlines()
    assert len(lines) <= drawn.LINES
    return result


def text(result: HereResult) -> str:
    return drawn.text(result, ReportStyle())


def test_right_and_on_the_air(tmp_path: Path) -> None:
    """The first line says in capitals that it transmits; at the bench that it may not."""
    with requested(tmp_path) as request:
        site, bench = looked(request), looked(request, "bench")
    shown = text(site)
    first = shown.splitlines()[0]
    assert first.startswith("SITE  quarry-lighthouse")
    assert first.endswith("TRANSMITTING: stay out of the beam")
    assert "  here   -45.8 dBm  planned -45.8  +0.0 dB" in shown
    assert "power both 18.0 dBm, ATPC off, frequency" in " ".join(shown.split())
    assert site.exit_code() == 0
    assert text(bench).startswith("BENCH  quarry-lighthouse")
    assert "TRANSMITTER ON" in text(bench).splitlines()[0]
    assert bench.exit_code() == 1
    assert "transmitter" in {i.what for i in bench.devices[0].wrong}


def test_low_both_ways(tmp_path: Path) -> None:
    """Both levels in sight, what it means, and the command that helps."""
    with requested(tmp_path, PlantedFault(kind="level-low-both", link="Hop 1")) as request:
        result = looked(request)
    shown = text(result)
    assert "-12.0 dB" in shown
    assert "  do     plan-verifier align 'Hop 1'" in shown
    assert shown.splitlines()[-1] == "FAIL  level low both ways"


def test_muted_and_left_behind(tmp_path: Path) -> None:
    """Before a site is left: no mute, alignment settings back, saved; what is open is said."""
    faults = (PlantedFault(kind="alignment-left", device=QUARRY),
              PlantedFault(kind="unsaved", device=QUARRY))  # fmt: skip
    with requested(tmp_path, *faults) as request:
        result = looked(request, leaving=True)
        wrong = {i.what for i in result.devices[0].wrong}
    assert {"saved", "power"} <= wrong
    assert result.open
    assert "open" in text(result)
    with requested(tmp_path, PlantedFault(kind="muted", device=QUARRY)) as request:
        result = looked(request, leaving=True)
    assert result.devices[0].transmitter == "off"
    assert "transmitter" in {i.what for i in result.devices[0].wrong}
