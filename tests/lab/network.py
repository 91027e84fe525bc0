"""A network of namespaces built as a plan says, with net-snmp's agent in every device.

    laptop --- br0 Lighthouse === br0 Quarry === br0 Harbour --- router --- br0 Ferry
                                                                   |
                                                                manager

Each site is a namespace with a bridge. Each device is a namespace with `eth1` on its site's bridge
and a second port `eth2` whose far end is in the site's namespace too. Names have a random prefix.
Needs root, `ip`, `ping`, `snmpd` and `snmpget`. Nothing outlives the context.
"""

from __future__ import annotations

import ipaddress
import itertools
import secrets
import tempfile
import tomllib
from collections.abc import Iterable
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Self

import yaml

from tests.lab.agent import Agent, AgentSettings
from tests.lab.runs import claimed
from tests.lab.shell import (
    add_namespace,
    command,
    ip_batch,
    succeeds,
    wait_for,
    wait_for_addresses,
)

LAPTOP = ("198.18.20.250/24", "2001:db8:20::250/64")
LAPTOP_SITE = "Lighthouse"
HOPS = (("Lighthouse", "Quarry"), ("Quarry", "Harbour"))
ROUTER_PORTS = {
    "Harbour": ("198.18.20.1/24", "2001:db8:20::1/64"),
    "Ferry": ("198.18.30.1/24",),
}
MANAGER, MANAGER_GATEWAY = "203.0.113.10/24", "203.0.113.1/24"


@dataclass(frozen=True, kw_only=True)
class Unit:
    """One device of the plan; `agent` is what its agent says and accepts now."""

    name: str
    site: str
    address: ipaddress.IPv4Interface | ipaddress.IPv6Interface
    gateway: str
    mac: str
    agent: AgentSettings

    @property
    def snmp_peer(self) -> str:
        """The agent's address in net-snmp's notation (snmpcmd(1), AGENT SPECIFICATION)."""
        ip = self.address.ip
        return f"udp6:[{ip}]:161" if ip.version == 6 else f"udp:{ip}:161"


def units_of(plan: dict[str, Any], credentials: dict[str, Any]) -> dict[str, Unit]:
    """The devices of a plan (as read from YAML) by name, in the plan's order."""
    return {
        d["name"]: Unit(
            name=d["name"],
            site=d["site"],
            address=ipaddress.ip_interface(d["address"]),
            gateway=d["gateway"],
            mac=d["mac"],
            agent=AgentSettings(
                name=d["name"], location=d["site"], access=credentials["snmp"][d["snmp"]]
            ),
        )
        for d in plan["devices"]
    }


class Network:
    """The running network, right in everything; a context manager.

    Attributes:
        devices: devices of the plan by name.
    """

    def __init__(self, plan: Path, credentials: Path) -> None:
        self.devices = units_of(
            yaml.safe_load(plan.read_text(encoding="utf-8")),
            tomllib.loads(credentials.read_text(encoding="utf-8")),
        )
        self._prefix = f"pv{secrets.token_hex(2)}"
        self._directories = (Path(str(number)) for number in itertools.count())
        self._agents: dict[str, Agent] = {}
        self._built = ExitStack()

    def __enter__(self) -> Self:
        with ExitStack() as built:
            built.enter_context(claimed(self._prefix))
            self._scratch = Path(built.enter_context(tempfile.TemporaryDirectory()))
            built.callback(self.stop_agents, *self.devices)
            self._build()
            self._built = built.pop_all()
        return self

    def __exit__(self, *_: object) -> None:
        self._built.close()

    def namespace(self, name: str) -> str:
        """Full name of the namespace of a device, a site, `laptop`, `manager` or `router`."""
        return f"{self._prefix}-{name.lower()}"

    def inside(self, name: str, *argv: str) -> list[str]:
        """The command line that runs `argv` inside a namespace."""
        return ["ip", "netns", "exec", self.namespace(name), *argv]

    def snmp(self, program: str, device: str, *oids: str, source: str = "laptop") -> dict[str, str]:
        """What net-snmp's own program reads, by numeric identifier.

        Values are plain: enumerations and TimeTicks as numbers, text without its quotes.
        """
        peer = self.devices[device]
        options = [*peer.agent.client_options(), "-Onqet", peer.snmp_peer]
        printed = command(*self.inside(source, program, *options, *oids))
        pairs = (line.split(" ", 1) for line in printed.splitlines() if line.startswith(".1."))
        return {oid[1:]: value.strip().strip('"').strip() for oid, value in pairs}

    # -- building ------------------------------------------------------------------------------

    def _build(self) -> None:
        sites = sorted({u.site for u in self.devices.values()} | set(ROUTER_PORTS))
        for name in (*sites, "laptop", "manager", "router", *self.devices):
            add_namespace(self.namespace(name))
        for site in sites:
            bridge = ["link add br0 type bridge mcast_snooping 0", "link set br0 up"]
            ip_batch(self.namespace(site), bridge)
        for near, far in HOPS:
            self._cable(near, f"to-{far.lower()}", far, f"to-{near.lower()}")
            self._bridge(near, f"to-{far.lower()}")
            self._bridge(far, f"to-{near.lower()}")
        self._plug("laptop", "eth0", LAPTOP_SITE, LAPTOP, gateways=ROUTER_PORTS["Harbour"])
        self._build_router()
        for device in self.devices.values():
            self._build_device(device)
        self.start_agents(*self.devices)
        self._settle()

    def _build_router(self) -> None:
        for number, (site, addresses) in enumerate(ROUTER_PORTS.items(), start=1):
            self._plug("router", f"eth{number}", site, addresses)
        self._cable("router", "eth0", "manager", "eth0")
        self._configure("router", "eth0", (MANAGER_GATEWAY,))
        self._configure("manager", "eth0", (MANAGER,), gateways=(MANAGER_GATEWAY,))
        self.set_kernel("router", "net/ipv4/ip_forward", "1")
        self.set_kernel("router", "net/ipv6/conf/all/forwarding", "1")

    def _build_device(self, device: Unit) -> None:
        address, gateways = (str(device.address),), (device.gateway,)
        self._plug(device.name, "eth1", device.site, address, gateways=gateways, mac=device.mac)
        self._cable(device.name, "eth2", device.site, self.far_end(device.name, "eth2"))
        self._configure(device.name, "eth2", ())
        self._configure(device.site, self.far_end(device.name, "eth2"), ())

    def _plug(
        self,
        name: str,
        port: str,
        site: str,
        addresses: Iterable[str],
        *,
        gateways: Iterable[str] = (),
        mac: str = "",
    ) -> None:
        """Connects a port to the bridge of a site and sets it up."""
        self._cable(name, port, site, self.far_end(name, port))
        self._configure(name, port, addresses, gateways=gateways, mac=mac)
        self._bridge(site, self.far_end(name, port))

    def _cable(self, near: str, near_port: str, far: str, far_port: str) -> None:
        ends = f"{near_port} type veth peer name {far_port} netns {self.namespace(far)}"
        ip_batch(self.namespace(near), [f"link add {ends}"])

    def _bridge(self, site: str, port: str) -> None:
        ip_batch(self.namespace(site), [f"link set {port} master br0 up"])

    def _configure(
        self,
        name: str,
        port: str,
        addresses: Iterable[str],
        *,
        gateways: Iterable[str] = (),
        mac: str = "",
    ) -> None:
        lines = [f"link set {port} address {mac}"] if mac else []
        lines += [f"address add {a} dev {port}{nodad(a)}" for a in addresses]
        lines += [f"link set {port} up"]
        lines += [f"route add default via {g.split('/')[0]}" for g in gateways]
        ip_batch(self.namespace(name), lines)

    def far_end(self, name: str, port: str) -> str:
        """Name of the port of a site that leads to a port: at most 15 characters (IFNAMSIZ)."""
        who = f"u{list(self.devices).index(name)}" if name in self.devices else name
        return f"{who}-{port}"

    def set_kernel(self, name: str, key: str, value: str) -> None:
        """Sets a kernel parameter inside a namespace."""
        command(*self.inside(name, "sh", "-c", f"echo {value} > /proc/sys/{key}"))

    def start_agents(self, *names: str) -> None:
        """Starts agents side by side; returns when each answers."""
        for name in names:
            directory = self._scratch / next(self._directories)
            self._agents[name] = Agent(self.namespace(name), self.devices[name].agent, directory)
        for name in names:
            self._agents[name].wait_until_ready()

    def stop_agents(self, *names: str) -> None:
        """Ends agents, those that run."""
        for name in names:
            if name in self._agents:
                self._agents.pop(name).stop()

    def _settle(self) -> None:
        """Waits until every device answers, then empties neighbour tables.

        A port that has just come up forwards nothing until the kernel's link watch has seen it.
        """
        wait_for_addresses(*map(self.namespace, ("laptop", "router", *self.devices)))
        for device in self.devices.values():
            target = str(device.address.ip)
            for source in ("laptop", "manager") if device.address.version == 4 else ("laptop",):
                echo = self.inside(source, "ping", "-n", "-c", "1", "-W", "0.2", target)
                wait_for(partial(succeeds, *echo), f"{target} to answer {source}")
        for name in ("laptop", "router", *self.devices):
            command("ip", "-n", self.namespace(name), "neighbour", "flush", "all")


def nodad(address: str) -> str:
    """An IPv6 address of the lab is used at once, without asking whether another has it."""
    return " nodad" if ":" in address else ""
