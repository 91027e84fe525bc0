"""Causes from end to end: faults in the simulated network, what `verify` concludes and prints."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

import verifier
from tests.cli.conftest import Run
from verifier.files.credentials import load_credentials
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.simulator.coast import free_port, write_files
from verifier.simulator.faults import PlantedFault
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.running import running

pytestmark = pytest.mark.icmp
Causes = set[tuple[str, str, str]]


@dataclass(frozen=True)
class Coast:
    """The network of the demo, running."""

    folder: Path
    network: SimulatedNetwork


@pytest.fixture
def coast(tmp_path: Path) -> Iterator[Coast]:
    write_files(tmp_path, free_port())
    plan, _ = read_plan(tmp_path / "plan.yaml")
    profiles = load_profiles({d.profile for d in plan.devices}, tmp_path / "profiles")
    entries = {d.snmp for d in plan.devices if d.snmp is not None}
    network = SimulatedNetwork(
        plan, profiles, load_credentials(entries, tmp_path / "credentials.toml", {})
    )
    with running(network, services=True):
        yield Coast(tmp_path, network)


def verified(run: Run, coast: Coast, *faults: PlantedFault) -> tuple[Causes, list[str], str]:
    """Causes, failures and warnings without one, and the text; the exit code is that of a fault."""
    for fault in faults:
        coast.network.put(fault)
    done = run("verify", "plan.yaml", "--profiles", "profiles", "--credentials",
               "credentials.toml", "--echoes", "1", "--out", "result.json")  # fmt: skip
    assert done.returncode == 1, done.stdout + done.stderr
    document = json.loads((coast.folder / "result.json").read_text("utf-8"))
    causes = {(c["kind"], c["certainty"], c["subject"]["name"]) for c in document["causes"]}
    loose = [
        f["check"] for f in document["findings"]
        if f["verdict"] in {"fail", "warn"} and not f["caused_by"]
    ]  # fmt: skip
    return causes, loose, done.stdout


def test_a_side_lobe_alignment_settings_and_a_muted_transmitter(run: Run, coast: Coast) -> None:
    """Three hops with a fault each: every failure has its cause, and a page shows the first."""
    causes, loose, shown = verified(
        run, coast,
        PlantedFault(kind="level-low-both", link="Hop 1", value=20),
        PlantedFault(kind="alignment-left", device="quarry-harbour"),
        PlantedFault(kind="unsaved", device="harbour-quarry"),
        PlantedFault(kind="muted", device="harbour-ferry"),
    )  # fmt: skip
    assert causes == {
        ("side-lobe", "likely", "Hop 1"),
        ("path-loss", "possible", "Hop 1"),
        ("feeder-loss", "possible", "Hop 1"),
        ("losses-apart", "possible", "Hop 1"),
        ("left-in-alignment", "likely", "Hop 2"),
        ("key-differs", "possible", "Hop 2"),  # which nobody can read
        ("settings-unsaved", "certain", "harbour-quarry"),
        ("muted", "certain", "Hop 3"),
    }
    assert loose == []
    first = shown.index("FAIL  Hop 1: POSSIBLE")
    page = (Path(verifier.__file__).parent / "explain/causes-levels.md").read_text("utf-8")
    assert shown[first : shown.index("\nFAIL", first)] in page, shown


def test_low_power_one_direction_and_swapped_ends(run: Run, coast: Coast) -> None:
    """What can be told apart is; the two ends of a weak direction cannot, so both are named."""
    causes, loose, _ = verified(
        run, coast,
        PlantedFault(kind="power-low", device="lighthouse-quarry"),
        PlantedFault(kind="level-low", device="harbour-quarry"),
        PlantedFault(kind="swapped-ends", link="Hop 3"),
        PlantedFault(kind="wrong-name", device="harbour-switch"),
    )  # fmt: skip
    assert causes == {
        ("power-low", "certain", "Hop 1"),
        ("far-transmitter", "possible", "Hop 2"),
        ("near-receiver", "possible", "Hop 2"),
        ("ends-swapped", "certain", "Hop 3"),
        ("name-wrong", "certain", "harbour-switch"),
    }
    assert loose == []
