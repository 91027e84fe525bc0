"""A bench for looking for devices: a laptop, two devices with net-snmp's agent, one cable.

    laptop eth0 --- br0 --- device eth0
                     |
                   other eth0

Each is a namespace. The bridge lets LLDP pass, which a real one keeps (IEEE 802.1D 7.12.6): it
stands for a plain cable. Needs root.
"""

from __future__ import annotations

import json
import secrets
import subprocess
import sys
import tempfile
from collections.abc import Iterable
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Self

from tests.lab.agent import Agent, AgentSettings
from tests.lab.runs import claimed
from tests.lab.shell import add_namespace, command, ip_batch, succeeds, wait_for

DEVICE_MAC, OTHER, LAPTOP = "02:00:5e:10:00:01", "02:00:5e:10:00:02", "02:00:5e:10:00:fa"
NAMES = {DEVICE_MAC: "lighthouse-quarry", OTHER: "quarry-lighthouse"}
FIELD = {"version": "2c", "community": "coastal-read"}
FACTORY = {"version": "2c", "community": "as-delivered"}
CREDENTIALS = """\
[snmp.field]
version = "2c"
community = "coastal-read"
[snmp.factory]
version = "2c"
community = "as-delivered"
"""
PROFILE = """\
id = "bench-radio"
boot_s = 45
object_id = "1.3.6.1.4.1.32473.1"
[factory]
address = "192.0.2.20/24"
snmp = "factory"
"""
PLAN = """\
network: {name: Harbour ring, revision: "3", example: true}
management: {laptop: 198.18.20.250/24}
devices:
  - {name: lighthouse-quarry, address: 198.18.20.11/24, profile: bench-radio, snmp: field, MAC}
  - {name: quarry-lighthouse, address: 198.18.20.12/24, profile: bench-radio, snmp: field}
"""
FORWARD_LLDP = 1 << 14
HEAR = """
import socket, time
s = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(3))
s.bind(("eth0", 3))
print("ready", flush=True)
while True:
    frame = s.recv(2048)
    print(time.monotonic(), frame.hex(), flush=True)
"""
SEND = """
import socket, sys, time
s = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
s.bind(("eth0", 0))
frames = [bytes.fromhex(f) for f in sys.argv[1:]]
while True:
    for frame in frames:
        s.send(frame)
    time.sleep(0.2)
"""


@dataclass(frozen=True, kw_only=True)
class Looked:
    """One run of `find`: exit code, document, and what was said before and meanwhile."""

    code: int
    document: dict[str, Any]
    said: str

    def place(self, address: str) -> dict[str, Any]:
        """What came of asking at one address."""
        places = self.document["places"]
        (one,) = (p for p in places if p["candidate"]["address"].split("/")[0] == address)
        return dict(one)


class Bench:
    """The running bench; a context manager. `prepare` sets everything anew."""

    def __init__(self) -> None:
        self._prefix = f"pv{secrets.token_hex(2)}"
        self._agents: dict[str, Agent] = {}
        self._built = ExitStack()

    def __enter__(self) -> Self:
        with ExitStack() as built:
            built.enter_context(claimed(self._prefix))
            self._folder = Path(built.enter_context(tempfile.TemporaryDirectory()))
            built.callback(self._stop)
            self._build()
            self._built = built.pop_all()
        return self

    def __exit__(self, *_: object) -> None:
        self._built.close()

    def _ns(self, name: str) -> str:
        return f"{self._prefix}-{name}"

    def inside(self, name: str, *argv: str) -> list[str]:
        """The command line that runs `argv` in a namespace."""
        return ["ip", "netns", "exec", self._ns(name), *argv]

    def _build(self) -> None:
        macs = {"laptop": LAPTOP, "device": DEVICE_MAC, "other": OTHER}
        for name in ("wire", *macs):
            add_namespace(self._ns(name))
        bridge = f"link add br0 type bridge mcast_snooping 0 group_fwd_mask {FORWARD_LLDP}"
        ip_batch(self._ns("wire"), [bridge, "link set br0 up"])
        for name, mac in macs.items():
            lines = [f"link add eth0 type veth peer name {name} netns {self._ns('wire')}"]
            lines += [f"link set eth0 address {mac}"]
            ip_batch(self._ns(name), lines)
            # A kernel that asks for routers would be heard at moments of its own choice.
            self._kernel(name, "ipv6/conf/eth0/router_solicitations", "0")
            ip_batch(self._ns(name), ["link set eth0 up"])
            ip_batch(self._ns("wire"), [f"link set {name} master br0 up"])
            wait_for(partial(self._forwards, name), f"port {name} to forward")
        (self._folder / "profiles").mkdir()
        (self._folder / "profiles" / "bench-radio.toml").write_text(PROFILE, encoding="utf-8")
        secret = self._folder / "credentials.toml"
        secret.touch(0o600)
        secret.write_text(CREDENTIALS, encoding="utf-8")

    def _kernel(self, name: str, key: str, value: str) -> None:
        command(*self.inside(name, "sh", "-c", f"echo {value} > /proc/sys/net/{key}"))

    def _forwards(self, port: str) -> bool:
        shown = command("bridge", "-n", self._ns("wire"), "link", "show", "dev", port)
        return "state forwarding" in shown

    def _stop(self) -> None:
        while self._agents:
            self._agents.popitem()[1].stop()

    # -- setting ----------------------------------------------------------------------------------

    def prepare(
        self,
        device: Iterable[str] = (),
        other: Iterable[str] = (),
        laptop: Iterable[str] = ("198.18.20.250/24",),
        *,
        mac_planned: bool = True,
    ) -> None:
        """Addresses of all three, and whether the plan has the device's hardware address."""
        for name, addresses in (("device", device), ("other", other), ("laptop", laptop)):
            lines = ["address flush dev eth0 scope global", "neighbour flush all"]
            lines += [f"address add {a} dev eth0{' nodad' * (':' in a)}" for a in addresses]
            ip_batch(self._ns(name), lines)
        self.plan(f"mac: {DEVICE_MAC}" if mac_planned else "label: none")

    def plan(self, of_device: str) -> None:
        """Writes the plan; `of_device` is put into the device's entry."""
        text = PLAN.replace("MAC", of_device)
        (self._folder / "plan.yaml").write_text(text, encoding="utf-8")

    def has_agent(self, name: str) -> bool:
        """Whether `device` or `other` answers by SNMP."""
        return name in self._agents

    def agent(self, name: str, called: str | None, access: dict[str, str] = FIELD) -> None:
        """Has `device` or `other` answer by SNMP under a name; None: it does not."""
        if name in self._agents:
            self._agents.pop(name).stop()
        if called is not None:
            settings = AgentSettings(name=called, location="Lighthouse", access=access)
            folder = self._folder / secrets.token_hex(4)
            self._agents[name] = Agent(self._ns(name), settings, folder)
            self._agents[name].wait_until_ready()

    def sending(self, name: str, *frames: bytes) -> subprocess.Popen[bytes]:
        """Has these frames sent five times a second, until it is terminated."""
        return subprocess.Popen(
            self.inside(name, sys.executable, "-c", SEND, *(f.hex() for f in frames))
        )

    def hearing(self, name: str) -> subprocess.Popen[str]:
        """Prints every frame that comes to a port, with its time, until it is terminated."""
        process = subprocess.Popen(
            self.inside(name, sys.executable, "-c", HEAR), stdout=subprocess.PIPE, text=True
        )
        assert process.stdout is not None
        process.stdout.readline()
        return process

    def ip(self, name: str, *lines: str) -> None:
        """Runs lines of `ip` in a namespace."""
        ip_batch(self._ns(name), lines)

    def addresses(self, name: str) -> str:
        """What addresses a namespace has, in the words of `ip`."""
        return command("ip", "-n", self._ns(name), "-brief", "address")

    def answers(self, address: str) -> bool:
        """Whether an address answers the laptop's echo."""
        return succeeds(*self.inside("laptop", "ping", "-n", "-c", "1", "-W", "1", address))

    # -- looking ----------------------------------------------------------------------------------

    def argv(self, *options: str, device: str = "lighthouse-quarry") -> list[str]:
        """The command line of `find` at the laptop, quick enough for a test."""
        quick = ("--max-packets-per-s", "400", "--timeout", "0.1s")
        files = ("--credentials", "credentials.toml", "--profiles", "profiles")
        tool = (sys.executable, "-m", "verifier", "find", "plan.yaml", device)
        return self.inside("laptop", *tool, *files, *quick, *options)

    @property
    def folder(self) -> Path:
        """Where plan, profiles and credentials are."""
        return self._folder

    def run(self, *words: str, before: Iterable[str] = ()) -> subprocess.CompletedProcess[str]:
        """Runs the command at the laptop to its end, 60 s at most; `before`: what starts it."""
        tool = (*before, sys.executable, "-m", "verifier", *words)
        done = subprocess.run(
            self.inside("laptop", *tool),
            cwd=self._folder,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        for secret in (FIELD["community"], FACTORY["community"]):
            assert secret not in done.stdout + done.stderr
        return done

    def find(self, *options: str, device: str = "lighthouse-quarry") -> Looked:
        """Runs `find` to its end, 60 s at most."""
        done = subprocess.run(
            self.argv("--format", "json", *options, device=device),
            cwd=self._folder,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        for secret in (FIELD["community"], FACTORY["community"]):
            assert secret not in done.stdout + done.stderr
        assert done.stdout.startswith("{"), f"exit {done.returncode}: {done.stdout}{done.stderr}"
        return Looked(code=done.returncode, document=json.loads(done.stdout), said=done.stderr)
