"""`profiles` against simulated devices and a real agent: from what a page shows to a profile."""

from __future__ import annotations

import re
import shlex
import socket
import subprocess
import tomllib
from collections.abc import Iterator
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Run
from tests.lab.agent import listens
from verifier.files.credentials import load_credentials
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.simulator.faults import PlantedFault
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.running import running

UNIT, SWITCH = "127.80.20.11", "127.80.20.21"
WHO = ("--credentials", "credentials.toml", "--entry", "field")
PAGE = (Path(__file__).parent.parent.parent / "verifier/explain/profiles.md").read_text("utf-8")
CREDENTIALS = """\
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
SEEN = {
    "rx_level_dbm": "-45.6", "tx_modulation": "256qam", "rx_modulation": "256qam",
    "tx_mhz": "13143", "rx_mhz": "12877", "bandwidth_mhz": "28", "tx_power_dbm": "18",
    "tx_power_set_dbm": "18", "tx_enabled": "on", "atpc": "off", "snr_db": "42.0", "xpi_db": "30.0",
    "locked": "true", "far_end_name": "quarry-lighthouse", "configured_capacity_mbps": "190",
    "current_capacity_mbps": "190", "key_capacity_mbps": "190", "software": "4.2.1",
    "serial": "000111", "part_number": "CR-13-H", "polarisation": "V", "test_mode": "0",
    "errored_s": "0",
}  # fmt: skip
"""What the page of the device at `UNIT` would show, by the plan it was simulated from."""
SHARED = {"polarisation", "test_mode", "errored_s", "tx_enabled", "locked", "atpc"}
"""Figures whose raw value many objects have: listed among those that fit, not always first."""


@pytest.fixture(scope="module")
def coast(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[SimulatedNetwork, str, Path]]:
    """The simulated coastal network, running; its credentials; the folder of its profiles."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as trial:
        trial.bind(("", 0))
        text = CREDENTIALS.format(port=trial.getsockname()[1])
    path = tmp_path_factory.mktemp("coast") / "credentials.toml"
    path.write_text(text)
    path.chmod(0o600)
    with as_file(files("verifier.simulator") / "coastal") as folder:
        plan, _ = read_plan(folder / "plan.yaml")
        profiles = load_profiles({d.profile for d in plan.devices}, folder / "profiles")
        network = SimulatedNetwork(plan, profiles, load_credentials({"field", "bench"}, path, {}))
        with running(network):
            yield network, text, folder / "profiles"


@pytest.fixture
def here(coast, tmp_path: Path) -> Path:
    """A folder with the credentials, where the command runs."""
    path: Path = tmp_path / "credentials.toml"
    path.write_text(coast[1])
    path.chmod(0o600)
    return tmp_path


def seen(**figures: str) -> list[str]:
    return [word for name, text in figures.items() for word in ("--seen", f"{name}={text}")]


def listed(screen: str) -> dict[str, list[str]]:
    """The OIDs under each figure of a listing."""
    found: dict[str, list[str]] = {}
    for line in screen.splitlines():
        if figure := re.match(r"(\w+) = ", line):
            found[figure[1]] = []
        elif oid := re.match(r"    (1\.3\.[0-9.]+) ", line):
            found[list(found)[-1]].append(oid[1])
    return found


def test_a_draft_leads_to_the_objects_that_the_profile_uses(run: Run, here: Path, coast) -> None:
    """Each figure of the page: the right object is listed first, or among the few that fit."""
    done = run("profiles", "draft", UNIT, *WHO, *seen(**SEEN), "--out", "own.toml")
    assert (done.returncode, done.stderr) == (0, "")
    profile = load_profiles({"coastal-radio"}, coast[2])["coastal-radio"]
    right: dict[str, str] = {r.field: r.oid for r in profile.reading}
    found = listed(done.stdout)
    assert list(found) == list(SEEN)
    for field, oids in found.items():
        assert right[field] in oids, field
        assert field in SHARED or len(oids) <= 3 or oids[0] == right[field] or (
            right[field] in oids[:2]), (field, oids)  # fmt: skip
    drafted = {r["field"]: r for r in tomllib.loads((here / "own.toml").read_text())["reading"]}
    for field in set(SEEN) - SHARED:
        assert drafted[field]["oid"] == right[field], field
        scale = next(r.scale for r in profile.reading if r.field == field)
        assert drafted[field].get("scale", 1.0) == scale, field
    assert run("profiles", "check", "own.toml").returncode == 0
    live = run("profiles", "check", "own.toml", "--against", UNIT, *WHO)
    assert (live.returncode, live.stderr) == (0, "")
    assert re.search(r"^rx_level_dbm +\S+ +Integer32 -456 +-45\.6 dBm$", live.stdout, re.MULTILINE)


def test_its_page_walks_through_it(run: Run, here: Path) -> None:
    """The page's commands give the page's output, and its reading is in the draft."""
    for block in re.findall(r"^```text\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL):
        parts = re.fullmatch(r"\$ ((?:[^\n]*\\\n)*[^\n]*\n)(.*)", block, re.DOTALL)
        assert parts is not None
        command, shown = parts.groups()
        words = shlex.split(command.replace("\\\n", " "))
        done = run(*words[1:])
        assert (done.returncode, done.stderr) == (0, "")
        assert done.stdout == shown
    (reading,) = re.findall(r"^```toml\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)
    assert reading in (here / "own-radio.toml").read_text()


def test_what_is_uncertain_is_a_comment(run: Run, here: Path) -> None:
    """Others that fit, guesses, figures without an object, and many alike: read nothing of these."""
    words = seen(tx_power_dbm="18", polarisation="V", rx_level_dbm="-45", xpi_db="77.7")
    done = run("profiles", "draft", UNIT, *WHO, *words, "--out", "own.toml")
    assert done.returncode == 3
    text = (here / "own.toml").read_text()
    assert [r["field"] for r in tomllib.loads(text)["reading"]] == ["tx_power_dbm", "rx_level_dbm"]
    assert "# or is it this one?\n#   1.3.6.1.4.1.32473.1.1.8.0  raw 180" in text
    assert "# a guess: the scale: it gives -45.6, not -45" in text
    assert "# seen: xpi_db = 77.7; no object fits" in text
    assert re.search(r"# seen: polarisation = V; \d+ objects fit alike: choose", text)
    assert "# values = { " in text
    commented = re.sub(r"(?m)^# (?=\[\[reading|\w+ = )", "", text)
    (here / "all.toml").write_text(commented)
    assert run("profiles", "check", "all.toml").returncode == 0


@pytest.mark.usefixtures("here")
def test_readings_live_raw_and_scaled(run: Run, coast) -> None:
    """A working profile has a value for each reading; "no signal" is one."""
    network, _, folder = coast
    fault = PlantedFault(kind="muted", device="quarry-lighthouse")
    network.put(fault)
    try:
        radio = str(folder / "coastal-radio.toml")
        done = run("profiles", "check", radio, "--against", UNIT, *WHO)
    finally:
        network.take_off(fault)
    assert (done.returncode, done.stderr) == (0, "")
    assert "says it is 'lighthouse-quarry', sysObjectID 1.3.6.1.4.1.32473.1\n" in done.stdout
    assert re.search(r"(?m)^rx_level_dbm +\S+\.1\.0 +Integer32 -990 +no signal$", done.stdout)
    assert re.search(r"(?m)^tx_mhz +\S+\.4\.0 +Integer32 13143000 +13143 MHz$", done.stdout)
    assert re.search(r"(?m)^tx_enabled +\S+\.10\.0 +Integer32 1 +true$", done.stdout)
    assert "33 of 33 readings have a value\n" in done.stdout


def test_readings_without_a_value(run: Run, here: Path) -> None:
    """Missing, no number, a number without a meaning, no such row: each with its reason; exit 3."""
    root = "1.3.6.1.4.1.32473.1.1"
    rows = [
        ("tx_mhz", f"{root}.99.0", "integer", "", "the device has no such object (noSuchObject)"),
        ("rx_mhz", f"{root}.16.0", "integer", "", "it is not a number"),
        ("tx_modulation", f"{root}.2.0", "enumeration", 'values = {1 = "4qam"}',
         "the profile's values do not say what it means"),
        ("snr_db", f"{root}.12", "integer", 'index = "radio:2"',
         "radio:2: the column has no such row, 1 were found"),
        ("xpi_db", "1.3.6.1.2.1.2.2.1.10", "integer", 'index = "port:eth7"',
         "no interface is called 'eth7'"),
    ]  # fmt: skip
    parts = [f'[[reading]]\nfield = "{f}"\noid = "{o}"\ntype = "{t}"\n{more}\n'
             for f, o, t, more, _ in rows]  # fmt: skip
    (here / "own.toml").write_text(
        'id = "own"\nobject_id = "1.3.6.1.4.1.32473.9"\n' + "".join(parts)
    )
    done = run("profiles", "check", "own.toml", "--against", UNIT, *WHO)
    assert done.returncode == 3
    assert "not a device of this profile: object_id is 1.3.6.1.4.1.32473.9\n" in done.stdout
    assert "0 of 5 readings have a value\n" in done.stdout
    for field, oid, _, _, reason in rows:
        assert f"no value: {field} ({oid}): {reason}\n" in done.stdout


def test_every_fault_of_a_profile(run: Run, tmp_path: Path) -> None:
    """All at once, each with its line; nothing is asked."""
    (tmp_path / "own.toml").write_text(
        'id = "own"\n[[reading]]\nfield = "rx_levl_dbm"\noid = "1.3.6.1.x"\ntype = "integer"\n'
        "scale = 0\n"
    )
    done = run("profiles", "check", "own.toml", "--against", "127.80.20.11")
    assert (done.returncode, done.stdout) == (4, "")
    for words in ("line 3", "did you mean rx_level_dbm?", "line 4", "numeric object identifier",
                  "line 6", "0 would turn every value into 0"):  # fmt: skip
        assert words in done.stderr
    assert len(done.stderr.splitlines()) == 3


def test_list_and_show(run: Run, tmp_path: Path) -> None:
    """One's own profiles with the shipped ones; `show` prints a file that can be read again."""
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "x.toml").write_text('id = "own"\ntitle = "Harbour crane"\n')
    done = run("profiles", "list", "--profiles", "mine")
    assert done.returncode == 0
    assert {"own", "mib2", "hop-radio", "switch", "router"} <= {
        line.split()[0] for line in done.stdout.splitlines()
    }
    assert "Harbour crane" in done.stdout
    shown = run("profiles", "show", "hop-radio")
    assert shown.returncode == 0
    (tmp_path / "copy.toml").write_text(shown.stdout)
    assert run("profiles", "check", "copy.toml").returncode == 0
    assert tomllib.loads(run("profiles", "show", "own", "--profiles", "mine").stdout)["id"] == "own"


DRAFT = ("profiles", "draft", UNIT)
FIGURE = ("--seen", "tx_mhz=13143")
BAD: list[tuple[tuple[str, ...], int, str]] = [
    ((*DRAFT, *WHO), 2, "Missing option '--seen'"),
    ((*DRAFT, *WHO, "--seen", "rx_levl_dbm=-45.6"), 2, "did you mean rx_level_dbm?"),
    ((*DRAFT, *WHO, "--seen", "gnats=3"), 2, "there is no reading 'gnats': one of tx_mhz, "),
    ((*DRAFT, *WHO, "--seen", "rx_level_dbm=strong"), 2, "'strong' is not a number of dBm"),
    ((*DRAFT, *WHO, "--seen", "tx_mhz"), 2, "'tx_mhz': write FIELD=VALUE"),
    ((*DRAFT, *WHO, *FIGURE, *FIGURE), 2, "tx_mhz is given twice"),
    ((*DRAFT, *WHO, *FIGURE, "--out", "credentials.toml"), 2, "is there already"),
    ((*DRAFT, *WHO, *FIGURE, "--out", "nowhere/own.toml"), 2, "cannot be written"),
    ((*DRAFT, *WHO, *FIGURE, "--root", "1.3.6.1.2.1"), 2, "is not 1.3.6.1.4.1 or below it"),
    ((*DRAFT, *WHO, *FIGURE, "--root", "1.3.6.1.4.11"), 2, "is not 1.3.6.1.4.1 or below it"),
    ((*DRAFT, *WHO, *FIGURE, "--port", "0"), 2, "--port"),
    (("profiles", "draft", "127.80.20.300", *WHO, *FIGURE), 2, "is not an IPv4 or IPv6 address"),
    ((*DRAFT, *WHO[:2], *FIGURE), 2, "has field, bench: name one with --entry"),
    ((*DRAFT, *WHO[:3], "feild", *FIGURE), 4, "did you mean field?"),
    ((*DRAFT, *FIGURE), 4, "PLAN_VERIFIER_DEVICE_COMMUNITY"),
    ((*DRAFT, "--credentials", "none.toml", *FIGURE), 4, "there is no such file"),
    ((*DRAFT, "--credentials", "empty.toml", *FIGURE), 4, "there is no entry"),
    ((*DRAFT, *WHO[:3], "bench", *FIGURE, "--timeout", "50ms"), 3, "did not answer entry 'bench'"),
    ((*DRAFT, *WHO, *FIGURE, "--port", "9", "--timeout", "50ms"), 3, "port unreachable"),
    (("profiles", "check", "none.toml"), 4, "there is no such file"),
    (("profiles", "check", "empty.toml"), 4, "id is missing"),
    (("profiles", "show", "hop-radoi"), 4, "did you mean hop-radio?"),
    (("profiles", "list", "--profiles", "none"), 4, "is not a folder of profiles"),
]


@pytest.mark.parametrize(("words", "code", "says"), BAD, ids=lambda x: str(x)[-40:])
def test_bad_input(run: Run, here: Path, words: Any, code: int, says: str) -> None:
    """One clear message, the contract's exit code, no file left behind, no secret shown."""
    (here / "empty.toml").write_text("")
    before = {p: p.read_text() for p in here.iterdir()}
    done = run(*words)
    assert (done.returncode, done.stdout) == (code, ""), done.stderr
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert "tide-table" not in done.stderr
    assert {p: p.read_text() for p in here.iterdir()} == before


def test_the_only_entry_and_the_environment(run: Run, here: Path, coast) -> None:
    """One entry needs no name; without a file the entry is `device`. No object shows what was seen: 3."""
    only = here / "only.toml"
    only.write_text(coast[1][coast[1].index("[snmp.bench]") :])
    only.chmod(0o600)
    words = ("profiles", "draft", SWITCH, "--seen", "software=3.0")
    done = run(*words, "--credentials", "only.toml")
    assert (done.returncode, "harbour-switch" in done.stdout) == (3, True), done.stderr
    port = tomllib.loads(coast[1])["snmp"]["bench"]["port"]
    env = {"PLAN_VERIFIER_DEVICE_COMMUNITY": "coastal-read"}
    done = run(*words, "--port", str(port), env=env)
    assert (done.returncode, "harbour-switch" in done.stdout) == (3, True), done.stderr


@pytest.mark.usefixtures("here")
def test_the_walk_is_capped_and_says_so(run: Run) -> None:
    done = run(*DRAFT, *WHO, *FIGURE, "--max-objects", "3")
    assert done.returncode == 3
    assert "3 objects below 1.3.6.1.4.1 (not all: capped: stopped after 3 rows)" in done.stdout
    assert "nothing fits" in done.stdout


OVERRIDES = {
    "1.3.6.1.4.1.32473.5.1.0": ("integer", "-456"),
    "1.3.6.1.4.1.32473.5.2.1.7.3": ("unsigned", "13143000"),
    "1.3.6.1.4.1.32473.5.3.0": ("octet_str", '"21.5"'),
    "1.3.6.1.4.1.32473.5.4.0": ("octet_str", '"HX-2231"'),
}
"""An invented maker's objects, among the many that net-snmp's agent has of its own."""


@pytest.fixture
def agent(tmp_path: Path) -> Iterator[int]:
    """net-snmp's agent with these objects, on 127.0.0.1; its UDP port."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as trial:
        trial.bind(("127.0.0.1", 0))
        port: int = trial.getsockname()[1]
    lines = ["rocommunity coastal-read 127.0.0.1", f"agentAddress udp:127.0.0.1:{port}"]
    lines += [f"override {oid} {kind} {text}" for oid, (kind, text) in OVERRIDES.items()]
    config = tmp_path / "snmpd.conf"
    config.write_text("\n".join(lines) + "\n")
    process = subprocess.Popen(
        ["snmpd", "-f", "-Lf", str(tmp_path / "log"), "-C", "-c", str(config), "-I", "-smux",
         "-p", str(tmp_path / "pid")],
        env={"PATH": "/usr/sbin:/usr/bin:/sbin:/bin", "SNMP_PERSISTENT_DIR": str(tmp_path)},
    )  # fmt: skip
    try:
        assert listens(process, "127.0.0.1", port), (tmp_path / "log").read_text()
        yield port
    finally:
        process.terminate()
        process.wait(10)


@pytest.mark.snmpd
def test_a_real_agent(run: Run, tmp_path: Path, agent: int) -> None:
    """Scalars, a row of a table and a decimal as text are found among a real agent's objects."""
    env = {"PLAN_VERIFIER_DEVICE_COMMUNITY": "coastal-read"}
    figures = seen(rx_level_dbm="-45.6", tx_mhz="13143", snr_db="21.5", serial="HX-2231")
    words = ("127.0.0.1", "--port", str(agent))
    done = run("profiles", "draft", *words, *figures, "--out", "own.toml", env=env)
    assert (done.returncode, done.stderr) == (0, "")
    found = listed(done.stdout)
    assert [oids[0] for oids in found.values()] == list(OVERRIDES)
    text = (tmp_path / "own.toml").read_text()
    assert "# a row of a table: its column as oid and index" in text
    live = run("profiles", "check", "own.toml", "--against", *words, env=env)
    assert live.returncode == 0, live.stdout + live.stderr
    for value in ("-45.6 dBm", "13143 MHz", "21.5 dB", "HX-2231"):
        assert re.search(rf"(?m) {re.escape(value)}$", live.stdout)
