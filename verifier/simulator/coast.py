"""The coast that `demo` shows: its files in a folder, what goes wrong, what that must show."""

from __future__ import annotations

import os
import shutil
import socket
from dataclasses import dataclass
from importlib.resources import as_file, files
from pathlib import Path

from verifier.model.result import Result
from verifier.simulator.faults import PlantedFault

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
PLANTED = frozenset(
    {
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
)
"""What must fail with these faults: exactly this."""
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


@dataclass(frozen=True, slots=True)
class Surprises:
    """How what was found differs from what was planted: checks and subjects.

    Attributes:
        missed: what must have failed and did not.
        besides: what failed and must not have.
        at_first: checks that failed or warned before anything was planted.
    """

    missed: frozenset[tuple[str, str]]
    besides: frozenset[tuple[str, str]]
    at_first: tuple[str, ...]

    def __bool__(self) -> bool:
        return bool(self.missed or self.besides or self.at_first)


def surprises(right: Result, wrong: Result) -> Surprises:
    """How two results, before and after the faults were planted, differ from what they must be."""
    failed = frozenset((f.check, f.subject.name) for f in wrong.findings if f.verdict == "fail")
    return Surprises(
        missed=PLANTED - failed,
        besides=failed - PLANTED,
        at_first=tuple(f.check for f in right.findings if f.verdict in {"fail", "warn"}),
    )


def hidden(right: Result, wrong: Result) -> int:
    """How many checks could be tested before the faults were planted, and not after."""
    return len(_untested(wrong) - _untested(right))


def _untested(result: Result) -> set[tuple[str, str]]:
    return {(f.check, str(f.subject)) for f in result.findings if f.verdict == "not-tested"}


def write_files(folder: Path, port: int) -> None:
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


def free_port() -> int:
    """A port that is free for UDP and for TCP."""
    with socket.socket() as tcp, socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as udp:
        tcp.bind(("", 0))
        udp.bind(("", tcp.getsockname()[1]))
        port: int = tcp.getsockname()[1]
        return port
