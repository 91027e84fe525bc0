"""net-snmp's own clients read the simulator without complaint."""

from __future__ import annotations

import dataclasses
import itertools
import os
import re
import subprocess

import pytest

from tests.simulator.conftest import ENTRIES
from verifier.files.read_profile import load_profiles
from verifier.model.address import Interface
from verifier.model.credentials import Auth, Priv, Secret, SnmpEntry
from verifier.model.plan import Plan
from verifier.simulator.faults import PlantedFault
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.running import running

pytestmark = pytest.mark.snmpd

SYS_NAME, SYS_UP_TIME = ".1.3.6.1.2.1.1.5.0", ".1.3.6.1.2.1.1.3.0"
IF_X_TABLE = ".1.3.6.1.2.1.31.1.1.1"
RADIO, SWITCH = "127.80.0.11", "127.80.0.13"
COMMUNITY = ("-c", "harbour")
AUTH: tuple[Auth, ...] = ("MD5", "SHA", "SHA-224", "SHA-256", "SHA-384", "SHA-512")
PRIV: dict[Priv, str] = {
    "DES": "DES", "AES-128": "AES", "AES-192": "AES-192", "AES-256": "AES-256",
    "AES-192-R": "AES-192-C", "AES-256-R": "AES-256-C",
}  # fmt: skip
"""Our name: net-snmp's; its `-C` is the Reeder extension."""
TABLE_MIB = """\
SIMULATOR-TEST-MIB DEFINITIONS ::= BEGIN
IMPORTS MODULE-IDENTITY, OBJECT-TYPE, Integer32, Gauge32, mib-2 FROM SNMPv2-SMI;
simulatorTestMIB MODULE-IDENTITY
    LAST-UPDATED "202611240000Z" ORGANIZATION "none" CONTACT-INFO "none" DESCRIPTION "part of ifTable"
    ::= { mib-2 2 }
portTable OBJECT-TYPE SYNTAX SEQUENCE OF PortEntry MAX-ACCESS not-accessible STATUS current
    DESCRIPTION "ports" ::= { simulatorTestMIB 2 }
portEntry OBJECT-TYPE SYNTAX PortEntry MAX-ACCESS not-accessible STATUS current
    DESCRIPTION "a port" INDEX { portIndex } ::= { portTable 1 }
PortEntry ::= SEQUENCE { portIndex Integer32, portDescr OCTET STRING, portType Integer32,
    portMtu Integer32, portSpeed Gauge32 }
portIndex OBJECT-TYPE SYNTAX Integer32 MAX-ACCESS read-only STATUS current
    DESCRIPTION "number" ::= { portEntry 1 }
portDescr OBJECT-TYPE SYNTAX OCTET STRING MAX-ACCESS read-only STATUS current
    DESCRIPTION "name" ::= { portEntry 2 }
portType OBJECT-TYPE SYNTAX Integer32 MAX-ACCESS read-only STATUS current
    DESCRIPTION "kind" ::= { portEntry 3 }
portMtu OBJECT-TYPE SYNTAX Integer32 MAX-ACCESS read-only STATUS current
    DESCRIPTION "octets" ::= { portEntry 4 }
portSpeed OBJECT-TYPE SYNTAX Gauge32 MAX-ACCESS read-only STATUS current
    DESCRIPTION "bit/s" ::= { portEntry 5 }
END
"""
SMI = """\
SNMPv2-SMI DEFINITIONS ::= BEGIN
org OBJECT IDENTIFIER ::= { iso 3 }
dod OBJECT IDENTIFIER ::= { org 6 }
internet OBJECT IDENTIFIER ::= { dod 1 }
mgmt OBJECT IDENTIFIER ::= { internet 2 }
mib-2 OBJECT IDENTIFIER ::= { mgmt 1 }
END
"""


def run(program: str, *arguments: str, mibs: str = "", folder: str = "") -> str:
    """What a client prints; it must end well and say nothing on stderr."""
    done = subprocess.run(
        [program, *arguments],
        env={"PATH": os.environ["PATH"], "MIBS": mibs, "MIBDIRS": folder},
        capture_output=True, text=True, check=False, timeout=30,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, ""), done
    return done.stdout


def v3(entry: SnmpEntry) -> list[str]:
    """net-snmp's options for an entry of v3."""
    words = ["-v3", "-u", entry.user or "", "-l", entry.level]
    if entry.auth_key is not None:
        words += ["-a", entry.auth, "-A", entry.auth_key.reveal()]
    if entry.priv_key is not None:
        words += ["-x", PRIV[entry.priv], "-X", entry.priv_key.reveal()]
    return words


def names(printed: str) -> list[tuple[int, ...]]:
    """Object identifiers of a walk printed with -On."""
    found = re.findall(r"^\.([\d.]+) = (?!No more)", printed, re.MULTILINE)
    return [tuple(map(int, name.split("."))) for name in found]


@pytest.mark.parametrize("version", ["-v1", "-v2c"])
@pytest.mark.usefixtures("network")
def test_snmpget(port, version):
    """Twice: the second reply is a kept one."""
    for _ in range(2):
        printed = run("snmpget", version, *COMMUNITY, f"{RADIO}:{port}", SYS_NAME, SYS_UP_TIME)
        assert 'STRING: "lighthouse-quarry"' in printed
        assert "30 days, 0:00:" in printed


@pytest.mark.parametrize("program", ["snmpwalk -v1", "snmpwalk -v2c", "snmpbulkwalk -v2c"])
@pytest.mark.usefixtures("network")
def test_a_walk_of_everything_ends_and_ascends(port, program):
    printed = run(*program.split(), *COMMUNITY, "-On", f"{RADIO}:{port}", ".1")
    found = names(printed)
    assert found == sorted(set(found))
    assert len(found) > 250
    assert ("Counter64" in printed) is ("-v1" not in program)


@pytest.mark.usefixtures("network")
def test_a_bulk_walk_and_a_plain_walk_find_the_same(port):
    walks = [
        run(p, "-v2c", *COMMUNITY, "-On", f"{RADIO}:{port}", IF_X_TABLE)
        for p in ("snmpwalk", "snmpbulkwalk")
    ]
    assert names(walks[0]) == names(walks[1])
    assert len(names(walks[0])) == 19 * 4


@pytest.mark.usefixtures("network")
def test_snmpbulkwalk_v3(port):
    printed = run("snmpbulkwalk", *v3(ENTRIES["field"]), "-On", f"{SWITCH}:{port}", ".1")
    assert len(names(printed)) > 150
    assert "lighthouse-switch" in printed


@pytest.mark.parametrize("repetitions", ["1", "7", "200"])
@pytest.mark.usefixtures("network")
def test_bulk_of_any_size(port, repetitions):
    """More than fits comes in parts; nothing is lost or doubled."""
    printed = run(
        "snmpbulkwalk", "-v2c", *COMMUNITY, f"-Cr{repetitions}", "-On", f"{RADIO}:{port}",
        ".1.3.6.1.2.1.2",
    )  # fmt: skip
    assert len(names(printed)) == 1 + 18 * 4


@pytest.mark.usefixtures("network")
def test_snmptable(port, tmp_path):
    """A table by its columns, with a MIB of our own that describes part of ifTable."""
    (tmp_path / "SNMPv2-SMI.txt").write_text(SMI)
    (tmp_path / "SIMULATOR-TEST-MIB.txt").write_text(TABLE_MIB)
    printed = run(
        "snmptable", "-v2c", *COMMUNITY, "-Cf", ";", f"{RADIO}:{port}",
        "SIMULATOR-TEST-MIB::portTable", mibs="SIMULATOR-TEST-MIB", folder=str(tmp_path),
    )  # fmt: skip
    rows = [line.split(";") for line in printed.splitlines() if ";" in line]
    assert rows == [
        ["portIndex", "portDescr", "portType", "portMtu", "portSpeed"],
        ["1", '"mgmt0"', "53", "1500", "1000000000"],
        ["2", '"eth1"', "6", "1500", "1000000000"],
        ["3", '"eth2"', "6", "1500", "4294967295"],
        ["4", '"eth3"', "6", "1500", "1000000000"],
    ]


ENTRIES_V3 = [
    SnmpEntry(name="n", version="3", user="ferry"),
    *(SnmpEntry(name=a, version="3", user="ferry", auth=a, auth_key=Secret("maplesyrup"))
      for a in AUTH),
    *(SnmpEntry(name=f"{a} {p}", version="3", user="ferry", auth=a, auth_key=Secret("maplesyrup"),
                priv=p, priv_key=Secret("newsyrup-newsyrup"))
      for a, p in itertools.product(AUTH, PRIV)),
]  # fmt: skip


def test_every_algorithm(plan, port):
    """No auth, six digests, and each with six ciphers: one user each, at one device each."""
    entries = {e.name: e for e in ENTRIES_V3}
    (device,) = [d for d in plan.devices if d.name == "lighthouse-switch"]
    built = _one_device_each(device, list(entries))
    with running(SimulatedNetwork(built, load_profiles({"switch"}), entries, port=port)):
        for one in built.devices:
            words = v3(entries[one.snmp])
            printed = run("snmpget", *words, f"{one.address.address}:{port}", SYS_NAME)
            assert f'"{one.name}"' in printed, one.snmp


def _one_device_each(device, names_):
    return Plan(
        devices=tuple(
            dataclasses.replace(
                device, name=f"device-{n}", address=Interface.parse(f"127.80.9.{n}/24"), snmp=name,
                other_addresses=(), ports=(),
            )
            for n, name in enumerate(names_, start=1)
        )
    )  # fmt: skip


def test_the_time_window_moves_with_a_restart(network, port):
    """Its snmpEngineBoots grows; a client that comes anew is in time again."""
    words = (*v3(ENTRIES["field"]), f"{SWITCH}:{port}", ".1.3.6.1.6.3.10.2.1.2.0", SYS_UP_TIME)
    assert "INTEGER: 3" in run("snmpget", *words)
    network.put(PlantedFault(kind="restarted", device="lighthouse-switch"))
    printed = run("snmpget", *words)
    assert "INTEGER: 4" in printed
    assert " 0:00:0" in printed
