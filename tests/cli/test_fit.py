"""`fit` as a person runs it; what it sets, it sets only in a namespace of the test's own."""

from __future__ import annotations

import json
import os
import secrets
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from tests.cli.conftest import Run
from tests.command import clean_environment
from tests.lab.runs import claimed
from tests.lab.shell import command, ip_batch, wait_for
from verifier.files.schema import schema

PLAN = """\
network: {name: Harbour ring, example: true}
management: {laptop: 198.18.20.250/24}
devices:
  - {name: lighthouse, address: 198.18.20.11/24, gateway: 198.18.20.1, present_address: 192.0.2.21/24}
  - {name: quarry, address: 198.18.20.12/24}
"""
SHAPE = [
    "device", "address", "verdict", "relation", "interface", "laptop_address", "suggested",
    "commands", "notes", "explanation",
]  # fmt: skip
SUGGESTED = "198.18.20.250/24"
HERE = "198.18.99.9/24@eth0"


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    path = tmp_path / "plan.yaml"
    path.write_text(PLAN)
    return path


def devices(done: subprocess.CompletedProcess[str]) -> list[dict[str, Any]]:
    document = json.loads(done.stdout)
    jsonschema.validate(document, schema("fit"))
    return list(document["devices"])


def test_document_has_the_contracts_shape(run: Run, plan: Path) -> None:
    """Every field, in its order, and it holds under the published schema."""
    done = run("fit", str(plan), "--laptop", HERE, "--os", "linux", "--format", "json")
    rows = devices(done)
    assert [list(row) for row in rows] == [SHAPE, SHAPE]
    assert rows[0] == {
        "device": "lighthouse",
        "address": "198.18.20.11/24",
        "verdict": "fail",
        "relation": "one-way",
        "interface": "eth0",
        "laptop_address": "198.18.99.9/24",
        "suggested": SUGGESTED,
        "commands": [f"ip address add {SUGGESTED} dev eth0"],
        "notes": [f"to take it back: ip address del {SUGGESTED} dev eth0"],
        "explanation": rows[0]["explanation"],
    }
    assert rows[1]["relation"] == "off-subnet"
    assert rows[1]["suggested"] == SUGGESTED


@pytest.mark.parametrize(
    ("options", "code"),
    [
        (["--laptop", "198.18.20.7/24@eth0"], 0),
        (["--laptop", "198.18.20.7/24"], 0),
        (["--laptop", HERE], 1),
        (["--laptop", "198.18.99.9/24", "--laptop-gateway", "198.18.99.1", "--device", "lighthouse"], 0),
        (["--laptop", "198.18.20.7/23", "--device", "quarry", "--strict"], 0),
        (["--laptop", "198.18.20.7/24@eth0", "--laptop", "198.18.20.8/24@eth1"], 0),
        (["--laptop", "198.18.20.7/24@eth0", "--laptop", "198.18.20.8/24@eth1", "--strict"], 1),
        (["--laptop", HERE, "--device", "nobody"], 2),
        (["--laptop", "198.18.20.7"], 2),
        (["--laptop-gateway", "198.18.20.1"], 2),
        (["--laptop", HERE, "--os", "amiga"], 2),
        (["--laptop", HERE, "--os", "macos", "--set-laptop"], 2),
    ],
)  # fmt: skip
def test_exit_code(run: Run, plan: Path, options: list[str], code: int) -> None:
    """0: every relation holds; 1: one failed, or warns with --strict; 2: the command line."""
    assert run("fit", str(plan), *options).returncode == code


def test_faulty_plan_ends_with_4(run: Run, tmp_path: Path) -> None:
    """Nothing is looked at where the plan cannot be meant."""
    path = tmp_path / "bad.yaml"
    path.write_text("devices: [{name: a, address: 198.18.20.255/24}]")
    assert run("fit", str(path), "--laptop", HERE).returncode == 4


def test_present_addresses(run: Run, plan: Path) -> None:
    """--present asks where the devices are now; a device without a present address is at its planned."""
    done = run("fit", str(plan), "--present", "--laptop", "192.0.2.9/24", "--format", "json")
    rows = {row["device"]: row for row in devices(done)}
    assert (rows["lighthouse"]["address"], rows["lighthouse"]["relation"]) == (
        "192.0.2.21/24",
        "direct",
    )
    assert (rows["quarry"]["address"], rows["quarry"]["relation"]) == (
        "198.18.20.12/24",
        "off-subnet",
    )


def test_text_stays_within_100_columns(run: Run, plan: Path) -> None:
    """What is wrong, what to set, and how to take it back."""
    done = run("fit", str(plan), "--laptop", HERE, "--os", "windows")
    lines = done.stdout.splitlines()
    assert max(len(line) for line in lines if "netsh" not in line) <= 100
    assert "FAIL: 0 pass, 2 fail, 0 warn" in lines
    assert any("netsh interface ipv4 add address" in line for line in lines)
    assert "to take it back:" in done.stdout
    assert done.stdout.isascii()


def test_out_and_quiet(run: Run, plan: Path, tmp_path: Path) -> None:
    """The document by the file's ending; on the terminal the verdict and what does not fit."""
    done = run("fit", str(plan), "--laptop", HERE, "--out", "fit.json", "--quiet")
    assert done.stdout.startswith("FAIL: 0 pass, 2 fail, 0 warn\nFAIL  one-way")
    assert done.stderr == ""
    jsonschema.validate(json.loads((tmp_path / "fit.json").read_text()), schema("fit"))


@dataclass
class Laptop:
    """A namespace with `eth0`, its cable plugged in, and a folder for the tool's state."""

    name: str
    state: Path
    plan: Path

    def start(self, *words: str, before: tuple[str, ...] = ()) -> subprocess.Popen[str]:
        argv = [
            "ip",
            "netns",
            "exec",
            self.name,
            *before,
            sys.executable,
            "-m",
            "verifier",
            "fit",
            str(self.plan),
        ]
        return subprocess.Popen(
            [*argv, *words], text=True, cwd=self.plan.parent,
            env={**clean_environment(), "XDG_STATE_HOME": str(self.state)},
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip

    def run(self, *words: str, before: tuple[str, ...] = ()) -> tuple[int | None, str, str]:
        """Exit code, standard output and standard error; its input is at its end."""
        process = self.start(*words, before=before)
        out, err = process.communicate(timeout=30)
        return process.returncode, out, err

    @contextmanager
    def holding(self, *words: str) -> Iterator[subprocess.Popen[str]]:
        """A run that has set the address and waits."""
        with self.start("--laptop", HERE, "--set-laptop", *words) as process:
            try:
                wait_for(lambda: SUGGESTED in self.addresses(), "the address")
                wait_for(lambda: '"created": null' not in self.record(), "the record")
                yield process
            finally:
                process.kill()

    def addresses(self) -> str:
        return command("ip", "-n", self.name, "-o", "-4", "addr", "show")

    def files(self) -> list[Path]:
        folder = self.state / "plan-verifier"
        return sorted(folder.iterdir()) if folder.exists() else []

    def record(self) -> str:
        return "".join(f.read_text() for f in self.files() if f.suffix == ".json")

    def ip(self, *lines: str) -> None:
        ip_batch(self.name, lines)


@pytest.fixture
def laptop(tmp_path: Path, plan: Path) -> Iterator[Laptop]:
    prefix = f"ps{secrets.token_hex(2)}"
    with claimed(prefix):
        name = f"{prefix}-laptop"
        command("ip", "netns", "add", name)
        command("ip", "netns", "add", f"{prefix}-far")
        lines = ["link set lo up", f"link add eth0 type veth peer name far netns {prefix}-far"]
        ip_batch(name, [*lines, "link set eth0 up", "addr add 198.18.99.9/24 dev eth0"])
        ip_batch(f"{prefix}-far", ["link set far up"])
        yield Laptop(name, tmp_path / "state", plan)


TUNNEL = """
import fcntl, struct, sys
file = open("/dev/net/tun", "r+b", buffering=0)
fcntl.ioctl(file, 0x400454CA, struct.pack("16sH22x", b"tun0", 1))  # TUNSETIFF, IFF_TUN
print("up", flush=True)
sys.stdin.read()
"""
"""A tunnel that has a carrier until its input ends."""
SET = ("--laptop", HERE, "--set-laptop")


@pytest.mark.lab
def test_set_laptop_in_a_pipe(laptop: Laptop) -> None:
    """It says so first, adds, asks the kernel again, and takes it back at the end of its input."""
    code, out, err = laptop.run(*SET, "--format", "json")
    rows = json.loads(out)["devices"]
    assert [(r["relation"], r["laptop_address"]) for r in rows] == [("direct", SUGGESTED)] * 2
    assert code == 0
    said = err.splitlines()
    assert f"adding {SUGGESTED} to eth0" in said[0]
    assert f"{SUGGESTED} on eth0 is taken back" in said[-1]
    assert SUGGESTED not in laptop.addresses()
    assert laptop.files() == []


@pytest.mark.lab
def test_only_interface_with_a_cable_needs_no_name(laptop: Laptop) -> None:
    """Without --laptop; with a second cable it asks for the name and changes nothing."""
    code, _, err = laptop.run("--set-laptop")
    assert code == 0
    assert f"{SUGGESTED} on eth0 is taken back" in err
    laptop.ip("link add eth1 type veth peer name eth2", "link set eth1 up", "link set eth2 up")
    before = laptop.addresses()
    code, _, err = laptop.run("--set-laptop")
    assert code == 1
    assert "--laptop ADDRESS/PREFIX@INTERFACE" in err
    assert "eth0, eth1, eth2" in err
    assert laptop.addresses() == before


@pytest.mark.lab
def test_undo_is_recorded_while_it_is_set(laptop: Laptop) -> None:
    """Only the owner may read it; Enter ends it, and the file is gone with the address."""
    with laptop.holding() as process:
        (record,) = laptop.files()
        assert record.stat().st_mode & 0o777 == 0o600
        assert SUGGESTED in record.read_text()
        process.communicate("\n", timeout=60)
    assert process.returncode == 0
    assert SUGGESTED not in laptop.addresses()
    assert laptop.files() == []


@pytest.mark.lab
@pytest.mark.parametrize(
    ("number", "code"), [(signal.SIGINT, 0), (signal.SIGTERM, 130), (signal.SIGHUP, 130)]
)
def test_taken_back_on_any_signal(laptop: Laptop, number: int, code: int) -> None:
    """Ctrl-C is the usual end; being told to end is an interruption. The address goes either way."""
    with laptop.holding() as process:
        process.send_signal(number)
        _, err = process.communicate(timeout=60)
    assert process.returncode == code
    assert "is taken back" in err
    assert SUGGESTED not in laptop.addresses()
    assert laptop.files() == []


@pytest.mark.lab
def test_taken_back_at_the_next_start_after_a_kill(laptop: Laptop) -> None:
    """Nothing can be done when killed; any next `fit` does it, and says so."""
    with laptop.holding() as process:
        os.kill(process.pid, signal.SIGKILL)
        process.wait(10)
    assert SUGGESTED in laptop.addresses()
    code, out, err = laptop.run("--format", "json")
    assert f"{SUGGESTED} on eth0 is taken back" in err
    assert SUGGESTED not in laptop.addresses()
    assert laptop.files() == []
    assert (code, json.loads(out)["devices"][1]["relation"]) == (1, "off-subnet")


@pytest.mark.lab
def test_second_run_leaves_the_first_alone(laptop: Laptop) -> None:
    """It finds nothing to add; where it would add, it says who does, and changes nothing."""
    with laptop.holding() as process:
        code, _, err = laptop.run("--set-laptop")
        assert (code, "nothing to add" in err) == (0, True)
        code, _, err = laptop.run(
            "--laptop", HERE, "--set-laptop", "--present", "--device", "lighthouse"
        )
        assert (code, "another run of plan-verifier" in err) == (1, True)
        assert SUGGESTED in laptop.addresses()
        assert "192.0.2" not in laptop.addresses()
        process.communicate("\n", timeout=60)
    assert laptop.run(*SET)[0] == 0
    assert SUGGESTED not in laptop.addresses()


@pytest.mark.lab
@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"format": "plan-verifier/laptop-undo/1"}', "\x00\xff"]
)
def test_damaged_record_touches_nothing(laptop: Laptop, text: str) -> None:
    """It is put aside and said; addresses stay as they are, and the run goes on."""
    with laptop.holding() as process:
        (record,) = laptop.files()
        os.kill(process.pid, signal.SIGKILL)
        process.wait(10)
    record.write_bytes(text.encode("latin-1"))
    code, _, err = laptop.run("--quiet")
    assert (code, "is damaged" in err) == (0, True)
    assert SUGGESTED in laptop.addresses()
    assert laptop.files() == [record.with_suffix(".damaged")]


CHANGES = {
    "gone": ([f"addr del {SUGGESTED} dev eth0"], "is not there any more"),
    "set anew": ([f"addr del {SUGGESTED} dev eth0", f"addr add {SUGGESTED} dev eth0"], "set it anew"),
    "other mask": ([f"addr del {SUGGESTED} dev eth0", "addr add 198.18.20.250/25 dev eth0"], "set it anew"),
    "one beside it": (["addr add 198.18.20.77/24 dev eth0"], "198.18.20.77, a secondary address"),
    "interface gone": (["link del eth0"], "is not there any more"),
}  # fmt: skip


@pytest.mark.lab
@pytest.mark.parametrize("killed", [False, True], ids=["at the end", "after a kill"])
@pytest.mark.parametrize("change", CHANGES)
def test_what_another_tool_changed_is_left_alone(
    laptop: Laptop, change: str, *, killed: bool
) -> None:
    """It says so and touches nothing; the record is gone all the same."""
    lines, said = CHANGES[change]
    with laptop.holding() as process:
        time.sleep(0.05)  # the kernel's stamp of an address counts hundredths of a second
        laptop.ip(*lines)
        after = laptop.addresses()
        if killed:
            os.kill(process.pid, signal.SIGKILL)
            process.wait(10)
            _, _, err = laptop.run()
        else:
            _, err = process.communicate("\n", timeout=60)
    assert said in err
    assert laptop.addresses() == after
    assert laptop.files() == []


@pytest.mark.lab
@pytest.mark.parametrize(
    ("device", "suggested"),
    [
        ("198.18.20.11/24", SUGGESTED),
        ("2001:db8:20::11/64", "2001:db8:20:0:ffff:ffff:ffff:ffff/64"),
    ],
)
def test_address_that_another_host_holds_is_not_set(
    laptop: Laptop, device: str, suggested: str
) -> None:
    """The plan cannot know everybody: the cable is asked first (RFC 5227, RFC 4862 5.4)."""
    laptop.plan.write_text(
        PLAN.split("devices:", maxsplit=1)[0] + f"devices: [{{name: device, address: {device}}}]"
    )
    far = laptop.name.replace("laptop", "far")
    ip_batch(far, [f"addr add {suggested} dev far{' nodad' if ':' in suggested else ''}"])
    code, _, err = laptop.run(*SET)
    assert (code, "which the plan takes for free" in err) == (1, True)
    assert suggested not in command("ip", "-n", laptop.name, "addr")
    assert laptop.files() == []


@pytest.mark.lab
def test_without_permission(laptop: Laptop) -> None:
    """An ordinary user is told so; nothing is set and no record is left."""
    laptop.state.mkdir()
    laptop.state.chmod(0o777)
    laptop.plan.parent.chmod(0o755)
    for folder in laptop.plan.parents:
        if not folder.stat().st_mode & 0o005:
            folder.chmod(folder.stat().st_mode | 0o005)
    before = laptop.addresses()
    nobody = ("setpriv", "--reuid", "65534", "--regid", "65534", "--clear-groups")
    code, out, err = laptop.run(*SET, "--format", "json", before=nobody)
    assert code == 1
    assert "no permission: run it as root" in err
    assert json.loads(out)["devices"][1]["relation"] == "off-subnet"
    assert laptop.addresses() == before
    assert laptop.files() == []


@pytest.mark.lab
def test_record_that_cannot_be_written_keeps_it_from_acting(laptop: Laptop) -> None:
    """No way back, no step forward."""
    laptop.state.write_text("a file where a folder should be")
    code, _, err = laptop.run(*SET)
    assert (code, "the way back cannot be recorded" in err) == (1, True)
    assert SUGGESTED not in laptop.addresses()


@pytest.mark.lab
def test_interface_that_is_not_there(laptop: Laptop) -> None:
    """Named by hand, or gone between look and act: said in one line, nothing recorded."""
    code, _, err = laptop.run("--laptop", "198.18.99.9/24@eth7", "--set-laptop")
    assert (code, "eth7" in err) == (1, True)
    assert laptop.files() == []


@pytest.mark.lab
def test_laptop_without_interfaces(laptop: Laptop) -> None:
    """Only a loopback interface that is down: off-subnet, and a placeholder in the commands."""
    laptop.ip("link del eth0", "link set lo down")
    code, out, _ = laptop.run("--format", "json")
    rows = json.loads(out)["devices"]
    assert (code, {r["relation"] for r in rows}) == (1, {"off-subnet"})
    assert rows[0]["commands"] == [f"ip address add {SUGGESTED} dev INTERFACE"]


@pytest.mark.lab
def test_cable_without_an_address_is_shown(laptop: Laptop) -> None:
    """The first thing one overlooks on a bench."""
    laptop.ip("addr flush dev eth0")
    code, out, _ = laptop.run()
    assert code == 1
    assert "eth0: cable up, no address" in out
    assert "eth0: cable in, no address" in out


@pytest.mark.lab
def test_unplugged_cable_fits_nothing(laptop: Laptop) -> None:
    """The kernel keeps the route of an interface without a carrier; a technician looks at the plug."""
    laptop.ip("addr add 198.18.20.7/24 dev eth0")
    ip_batch(laptop.name.replace("laptop", "far"), ["link set far down"])
    flags = ("ip", "netns", "exec", laptop.name, "ip", "link", "show", "eth0")
    # The kernel tells about a lost carrier up to a second later (net/core/link_watch.c).
    wait_for(lambda: "LOWER_UP" not in command(*flags) and "state UP" not in command(*flags), "it")
    code, out, _ = laptop.run("--format", "json")
    rows = json.loads(out)["devices"]
    assert (code, {r["verdict"] for r in rows}) == (1, {"fail"})
    assert {r["explanation"] for r in rows} == {"the cable is out: no link on eth0"}
    assert not [r for r in rows if r["notes"] or r["commands"] or r["suggested"]]


@pytest.mark.lab
def test_vpn_that_swallows_the_subnet_is_named(laptop: Laptop) -> None:
    """eth0 has the subnet, a tunnel has the more specific route."""
    argv = ["ip", "netns", "exec", laptop.name, sys.executable, "-c", TUNNEL]
    with subprocess.Popen(argv, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as tunnel:
        assert tunnel.stdout is not None
        tunnel.stdout.readline()
        laptop.ip(
            "addr flush dev eth0",
            "addr add 198.18.20.7/24 dev eth0",
            "link set tun0 up",
            "addr add 203.0.113.77/32 dev tun0",
            "route add 198.18.20.0/25 dev tun0",
        )
        code, out, _ = laptop.run("--format", "json")
        tunnel.communicate()
    lighthouse, quarry = json.loads(out)["devices"]
    assert (code, lighthouse["verdict"], quarry["verdict"]) == (1, "warn", "fail")
    for row in (lighthouse, quarry):
        assert row["interface"] == "tun0"
        assert any("tun0 (a tunnel, VPN): end the VPN" in note for note in row["notes"])
