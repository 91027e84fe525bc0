"""The lab: the right network, and one method for each thing that can be wrong with it."""

from __future__ import annotations

import json
import subprocess
import sys
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from tests.lab.agent import AgentSettings
from tests.lab.network import Network, nodad
from tests.lab.shell import LabError, command, ip_batch, wait_for

SLOW_ECHO = Path(__file__).with_name("slow_echo.py")


class Lab(Network):
    """A network that can be broken; `restore()` mends all that was broken since the last time.

    An agent caches tables of its kernel for some seconds, so each change of them restarts it.
    """

    def __init__(self, plan: Path, credentials: Path) -> None:
        super().__init__(plan, credentials)
        self._broken = ExitStack()

    def restore(self) -> None:
        """Mends what was broken, last first; returns when every device answers again."""
        self._broken.close()
        self._settle()

    # -- the agent -----------------------------------------------------------------------------

    def set_name(self, device: str, name: str) -> None:
        """The device reports another sysName."""
        self._change_agent(device, replace(self.devices[device].agent, name=name))

    def swap_names(self, one: str, other: str) -> None:
        """Two devices were put up at each other's place: each reports the other's name."""
        self.set_name(one, other)
        self.set_name(other, one)

    def set_location(self, device: str, location: str) -> None:
        """The device reports another sysLocation."""
        self._change_agent(device, replace(self.devices[device].agent, location=location))

    def set_access(self, device: str, **access: str) -> None:
        """The device's own `community`, `user`, `auth_key` or `priv_key` becomes another."""
        agent = self.devices[device].agent
        self._change_agent(device, replace(agent, access={**agent.access, **access}))

    def set_engine_id(self, device: str, engine_id: str) -> None:
        """The device's agent has this SNMP engine id, in hexadecimal."""
        self._change_agent(device, replace(self.devices[device].agent, engine_id=engine_id))

    def stop_agent(self, device: str) -> None:
        """The device answers echoes, but nothing listens on port 161."""
        self._broken.callback(self.start_agents, device)
        self.stop_agents(device)

    def _change_agent(self, name: str, agent: AgentSettings) -> None:
        def use(settings: AgentSettings) -> None:
            self.devices[name] = replace(self.devices[name], agent=settings)
            self._restart_agent(name)

        self._broken.callback(use, self.devices[name].agent)
        use(agent)

    def _restart_agent(self, name: str) -> None:
        self.stop_agents(name)
        self.start_agents(name)

    # -- addresses and ports -------------------------------------------------------------------

    def set_prefix(self, device: str, length: int) -> None:
        """The device's own mask becomes another."""
        right = self.devices[device]
        wrong = f"{right.address.ip}/{length}"

        def change(old: str, new: str) -> None:
            lines = [
                f"address delete {old} dev eth1",
                f"address add {new} dev eth1{nodad(new)}",
                f"route replace default via {right.gateway}",
            ]
            ip_batch(self.namespace(device), lines)
            self._restart_agent(device)

        self._broken.callback(change, wrong, str(right.address))
        change(str(right.address), wrong)

    def set_gateway(self, device: str, gateway: str) -> None:
        """The device's default route leads to another next hop."""

        def change(next_hop: str) -> None:
            ip_batch(self.namespace(device), [f"route replace default via {next_hop}"])
            self._restart_agent(device)

        self._broken.callback(change, self.devices[device].gateway)
        change(gateway)

    def set_routes(self, device: str, *lines: str) -> None:
        """The device's kernel has these routes, after `ip route`, in place of its default route."""
        family = "-6" if self.devices[device].address.version == 6 else "-4"
        inside = ["ip", family, "-n", self.namespace(device), "route"]

        def mend() -> None:
            for line in lines:
                command(*inside, "delete", *line.split())
            command(*inside, "add", "default", "via", self.devices[device].gateway)
            self._restart_agent(device)

        command(*inside, "delete", "default")
        for line in lines:
            command(*inside, "add", *line.split())
        self._broken.callback(mend)
        self._restart_agent(device)

    def hold(self, device: str, address: str) -> None:
        """The device holds a further address, and answers for it."""

        def change(what: str) -> None:
            ip_batch(self.namespace(device), [f"address {what} {address} dev eth1"])

        self._broken.callback(change, "delete")
        change("add")

    def answer_for_all(self, name: str, port: str) -> None:
        """Proxy ARP for whatever is behind the port itself (RFC 3069, a private VLAN).

        It answers after 0.2 s at most instead of the kernel's 0.8 s, which a busy machine makes
        longer than anybody waits.
        """
        keys = {f"net/ipv4/conf/{port}/proxy_arp_pvlan": ("1", "0"),
                f"net/ipv4/neigh/{port}/proxy_delay": ("20", "80")}  # fmt: skip
        for key, (changed, before) in keys.items():
            self._broken.callback(self.set_kernel, name, key, before)
            self.set_kernel(name, key, changed)

    def unplug_second_port(self, device: str) -> None:
        """`eth2` loses its far end: up for its administrator, but without a carrier."""
        self._unplug(device, "eth2")

    def kill(self, device: str) -> None:
        """The device is off the network: the port that leads to it is down."""
        self._unplug(device, "eth1")

    def _unplug(self, device: str, port: str) -> None:
        site, far_end = self.namespace(self.devices[device].site), self.far_end(device, port)
        shown = ("ip", "-n", self.namespace(device), "link", "show", port)

        def change(state: str) -> None:
            ip_batch(site, [f"link set {far_end} {state}"])
            up = state == "up"
            wait_for(lambda: (" state UP " in command(*shown)) == up, f"{device} {port} {state}")
            self._restart_agent(device)

        self._broken.callback(change, "up")
        change("down")

    # -- echoes --------------------------------------------------------------------------------

    def lose_echoes(self, device: str, percent: int) -> None:
        """The device ignores this share of echo requests, at random; `echo_counters` counts them."""
        rules = "".join(
            f"{request} counter name seen\n"
            f"{request} numgen random mod 100 < {percent} counter name dropped drop\n"
            for request in ("icmp type echo-request", "icmpv6 type echo-request")
        )
        chain = f"chain incoming {{\ntype filter hook input priority 0;\n{rules}}}\n"
        table = f"table inet lab {{\ncounter seen {{ }}\ncounter dropped {{ }}\n{chain}}}\n"
        command(*self.inside(device, "nft", "-f", "-"), stdin=table)
        self._broken.callback(
            command, *self.inside(device, "nft", "delete", "table", "inet", "lab")
        )

    def ignore_echoes(self, device: str) -> None:
        """The device answers no IPv4 echo request, and everything else."""
        self._broken.callback(self.set_kernel, device, "net/ipv4/icmp_echo_ignore_all", "0")
        self.set_kernel(device, "net/ipv4/icmp_echo_ignore_all", "1")

    def echo_counters(self, device: str) -> tuple[int, int]:
        """Echo requests that reached the device since `lose_echoes`, and those it ignored."""
        listed = json.loads(command(*self.inside(device, "nft", "-j", "list", "counters")))
        counters = [entry["counter"] for entry in listed["nftables"] if "counter" in entry]
        packets = {counter["name"]: counter["packets"] for counter in counters}
        return packets["seen"], packets["dropped"]

    def slow_echoes(self, device: str, delay_ms: float) -> None:
        """The device answers each IPv4 echo request after `delay_ms`, by a process of its own."""
        script = (sys.executable, str(SLOW_ECHO), str(delay_ms))
        answerer = subprocess.Popen(self.inside(device, *script), stdout=subprocess.PIPE)
        self._broken.callback(end, answerer)
        self.set_kernel(device, "net/ipv4/icmp_echo_ignore_all", "1")
        self._broken.callback(self.set_kernel, device, "net/ipv4/icmp_echo_ignore_all", "0")
        if answerer.stdout is None or answerer.stdout.readline() != b"ready\n":
            raise LabError(f"{SLOW_ECHO.name} did not start")


def end(process: subprocess.Popen[bytes]) -> None:
    """Ends a process of ours and closes its pipe."""
    process.kill()
    process.communicate()
