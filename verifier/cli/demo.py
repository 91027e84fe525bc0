"""`demo`: a simulated network on the loopback range, the real commands, and what they find."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import as_file, files
from pathlib import Path

import click

from verifier.cli import output
from verifier.errors import EXIT_FAILED, EXIT_PASSED, CannotMeasureError, UsageError
from verifier.files.credentials import load_credentials
from verifier.files.evidence.result import result_of
from verifier.files.profile.read import load_profiles
from verifier.files.read_plan import read_plan
from verifier.model.result import Result
from verifier.model.subject import Subject
from verifier.report.plain import wrapped
from verifier.report.sentences import WORDS, sentence
from verifier.simulator.faults import PlantedFault
from verifier.simulator.running import Remote, running_process

FAULTS = (
    (
        PlantedFault(kind="swapped-ends", link="Hop 2"),
        "the two devices of Hop 2 were put up at each other's place",
    ),
    (
        PlantedFault(kind="wrong-mask", device="lighthouse-quarry", value=16),
        "lighthouse-quarry has the mask 255.255.0.0 instead of 255.255.255.0",
    ),
    (
        PlantedFault(kind="port-slow", device="harbour-switch", port="port2", value=100),
        "port2 of harbour-switch was negotiated down to 100 Mbit/s",
    ),
    (
        PlantedFault(kind="no-answer", device="ferry-harbour"),
        "the SNMP agent of ferry-harbour does not answer",
    ),
)
PLANTED = {
    ("identity.name", "quarry-harbour"),
    ("identity.name", "harbour-quarry"),
    ("identity.serial", "quarry-harbour"),
    ("identity.serial", "harbour-quarry"),
    ("identity.part", "quarry-harbour"),
    ("identity.part", "harbour-quarry"),
    ("neighbour.mac", "quarry-harbour"),
    ("neighbour.mac", "harbour-quarry"),
    ("link.ends-swapped", "Hop 2"),
    ("link.far-end", "Hop 2"),
    ("radio.tx-frequency", "Hop 2"),
    ("radio.rx-frequency", "Hop 2"),
    ("address.mask", "lighthouse-quarry"),
    ("port.speed", "harbour-switch"),
    ("snmp.answer", "ferry-harbour"),
}
"""What must fail with these faults: exactly this."""
COMMAND = "plan-verifier verify plan.yaml --profiles profiles --credentials credentials.toml"
_RESULT = "run.json"
_WIDTH = 90
_WEB = '"8443/tcp"'
"""The service that the radio's profile has open; another program may be using this port."""
_CREDENTIALS = """\
# Invented, for the simulated network only. Nobody else may read this file.
[snmp.field]
version = "3"
user = "verifier"
auth = "SHA-256"
auth_key = "tide-table-auth"
priv = "AES-128"
priv_key = "tide-table-priv"
port = {port}
[snmp.bench]
version = "2c"
community = "coastal-read"
port = {port}
"""


@click.command()
@click.option(
    "--keep",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Leave plan and credentials in this new folder and the network running until Ctrl-C.",
)
@click.option("--verbose", is_flag=True, help="Faults of this program with their place.")
def demo(*, keep: Path | None, verbose: bool) -> int:
    """A simulated network on this machine's loopback range: the real job without hardware.

    Real SNMP and ICMP, nothing leaves this machine. Ends with 0 when the faults that were planted
    are the faults that were found. Linux only.
    """
    del verbose
    if sys.platform != "linux":
        raise UsageError("the simulated network needs Linux: a reply leaves from the address asked")
    with _folder(keep) as folder:
        port = _free_port()
        _write(folder, port)
        with _network(folder) as network:
            if keep is not None:
                return _keep(folder)
            return _show(folder, network)


def _show(folder: Path, network: Remote) -> int:
    planned, _ = read_plan(folder / "plan.yaml")
    size = f"{len(planned.devices)} simulated devices, {len(planned.links)} hops"
    _say(f"{size}, set up from their plan. Nothing leaves this machine.")
    right = _run(folder)
    _say(f"{WORDS[right.verdict]}: {sentence(right)}. Now {len(FAULTS)} things go wrong:")
    for fault, words in FAULTS:
        network.put(fault)
        output.show(f"  - {words}\n")
    output.show("\n")
    wrong = _run(folder)
    failed = [f for f in wrong.findings if f.verdict == "fail"]
    found = {(f.check, f.subject.name) for f in failed}
    missed, strange = PLANTED - found, found - PLANTED
    bad = [f for f in right.findings if f.verdict in {"fail", "warn"}]
    echoes = [f for f in right.findings if f.check.startswith("echo.")]
    if echoes and all(f.verdict == "not-tested" for f in echoes):
        _say(f"Echoes were not tested here: {echoes[0].reason}")
    if missed or strange or bad:
        click.echo(f"Not as planted: missed {sorted(missed)}, besides {sorted(strange)}, "
                   f"wrong at first {[f.check for f in bad]}.", err=True)  # fmt: skip
        return EXIT_FAILED
    hidden = len(_untested(wrong) - _untested(right))
    _say(
        f"The {len(FAULTS)} faults were found: {len(failed)} checks failed, those that they must "
        f"make fail and no other. {hidden or 'No'} more checks could not be tested because of them."
    )
    output.show(
        "A device that is dead to echoes cannot be shown here: the kernel answers for the whole\n"
        "loopback range. What to try next:\n\n"
        "  plan-verifier demo --keep coast   keeps plan, credentials and network; then,\n"
        "                                    in another terminal, in the folder coast:\n"
        f"  {COMMAND}\n"
        "  plan-verifier reach plan.yaml --profiles profiles --link 'Hop 1'\n"
        "  plan-verifier check plan.yaml     after changing an address in plan.yaml\n"
    )
    return EXIT_PASSED


def _keep(folder: Path) -> int:
    output.show(
        f"The simulated network runs. Plan, profiles and credentials: {folder}\n"
        f"In another terminal:\n\n  cd {folder}\n  {COMMAND}\n\nCtrl-C ends it.\n"
    )
    signals = {signal.SIGINT, signal.SIGTERM}
    signal.pthread_sigmask(signal.SIG_BLOCK, signals)
    signal.sigwait(signals)
    output.show("\nended; the files stay\n")
    return EXIT_PASSED


def _untested(result: Result) -> set[tuple[str, Subject]]:
    return {(f.check, f.subject) for f in result.findings if f.verdict == "not-tested"}


def _say(words: str) -> None:
    output.show("\n".join(wrapped(f"== {words}", "", _WIDTH, hang="   ")) + "\n\n")


def _run(folder: Path) -> Result:
    """Runs the very command a person would type; returns the result that it wrote."""
    words = f"{COMMAND} --out {_RESULT}"
    output.show(f"$ {words}\n")
    command = [sys.executable, "-m", "verifier", *words.split()[1:]]
    # In a group of its own: Ctrl-C is for this process, which then ends that one.
    subprocess.run(command, cwd=folder, check=False, process_group=0)  # noqa: S603 - our own words
    output.show("\n")
    written = folder / _RESULT
    if not written.exists():
        raise CannotMeasureError("verify gave no result, see above")
    result = result_of(json.loads(written.read_text("utf-8")), _RESULT)
    written.unlink()
    return result


@contextmanager
def _folder(keep: Path | None) -> Iterator[Path]:
    """A folder that goes away at the end, or a new one that stays."""
    if keep is None:
        with tempfile.TemporaryDirectory(prefix="plan-verifier-") as name:
            yield Path(name)
        return
    try:
        keep.mkdir(parents=True, exist_ok=True)
        if any(keep.iterdir()):
            raise UsageError(f"{keep} is not empty: name a new folder, nothing is overwritten")
    except OSError as fault:
        raise UsageError(f"{keep} cannot be made: {fault.strerror}") from fault
    yield keep


def _write(folder: Path, port: int) -> None:
    """Plan, profiles and credentials; the last readable by this user alone.

    The devices' SNMP agents and web pages are all at one port, which nobody else uses.
    """
    with as_file(files("verifier.simulator") / "coastal") as source:
        shutil.copy(source / "plan.yaml", folder)
        shutil.copytree(source / "profiles", folder / "profiles")
    radio = folder / "profiles" / "coastal-radio.toml"
    radio.write_text(radio.read_text("utf-8").replace(_WEB, f'"{port}/tcp"'), "utf-8")
    credentials = folder / "credentials.toml"
    descriptor = os.open(credentials, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as handle:
        handle.write(_CREDENTIALS.format(port=port))


def _free_port() -> int:
    """A port that is free for UDP and for TCP."""
    with socket.socket() as tcp, socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as udp:
        tcp.bind(("", 0))
        udp.bind(("", tcp.getsockname()[1]))
        port: int = tcp.getsockname()[1]
        return port


@contextmanager
def _network(folder: Path) -> Iterator[Remote]:
    plan, _ = read_plan(folder / "plan.yaml")
    profiles = load_profiles({d.profile for d in plan.devices}, folder / "profiles")
    names = {d.snmp for d in plan.devices if d.snmp is not None}
    credentials = load_credentials(names, folder / "credentials.toml", {})
    with running_process(plan, profiles, credentials, services=True) as network:
        yield network
