"""A segment to perform runbooks on: a bridge, a laptop, devices, and a router with the gateways.

    devices --- br0 --- laptop eth0
               |
            router --- laptop eth1 (only for runbooks from afar)

Each is a namespace. A device that is not attached has its port of the bridge down.
"""

from __future__ import annotations

import ipaddress
import secrets
import sys
from collections.abc import Iterable
from contextlib import ExitStack
from functools import partial
from typing import Any, Self

from tests.lab.runs import claimed
from tests.lab.shell import (
    add_namespace,
    command,
    ip_batch,
    succeeds,
    wait_for,
    wait_for_addresses,
)

DEVICES = 6
ANSWER_S = 5.0
"""How long an answer is waited for that must come; it ends the waiting."""
OFFICE = ("203.0.113.1/24", "2001:db8:ffff::1/64")
ARP_PROBE = """
import socket, struct, sys, time
target = socket.inet_aton(sys.argv[1])
s = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(0x0806))
s.bind(("eth0", 0x0806))
mac = s.getsockname()[4]
head = b"\\xff" * 6 + mac + struct.pack("!H", 0x0806) + struct.pack("!HHBBH", 1, 0x0800, 6, 4, 1)
s.send(head + mac + bytes(4) + bytes(6) + target)
end = time.monotonic() + float(sys.argv[2])
while (left := end - time.monotonic()) > 0:
    s.settimeout(left)
    try:
        frame = s.recv(100)
    except TimeoutError:
        break
    if frame[20:22] == b"\\x00\\x02" and frame[28:32] == target:
        sys.exit(0)
sys.exit(1)
"""
"""Ends with 0 if anybody has the address: RFC 5227 2.1.1, an ARP request from 0.0.0.0."""


class Segment:
    """The namespaces; a context manager. Everything is set anew by `prepare`.

    Attributes:
        silence_s: how long nobody has to answer where silence is right.
    """

    def __init__(self, silence_s: float = 0.1) -> None:
        self.silence_s = silence_s
        self._prefix = f"pv{secrets.token_hex(2)}"
        self._built = ExitStack()

    def __enter__(self) -> Self:
        with ExitStack() as built:
            built.enter_context(claimed(self._prefix))
            names = ["wire", "laptop", "router", *(f"u{n}" for n in range(DEVICES))]
            for name in names:
                add_namespace(self._ns(name))
            ip_batch(
                self._ns("wire"), ["link add br0 type bridge mcast_snooping 0", "link set br0 up"]
            )
            for name in names[1:]:
                self._plug(name)
                self._set(name, "net/ipv4/conf/eth0/arp_notify", "1")
                self._set(name, "net/ipv6/conf/eth0/ndisc_notify", "1")
            far = f"eth1 type veth peer name eth1 netns {self._ns('router')}"
            ip_batch(self._ns("laptop"), [f"link add {far}"])
            ip_batch(
                self._ns("router"),
                [
                    "link set eth1 up",
                    *(
                        f"address add {a} dev eth1 nodad"
                        if ":" in a
                        else f"address add {a} dev eth1"
                        for a in OFFICE
                    ),
                ],
            )
            self._set("router", "net/ipv4/ip_forward", "1")
            self._set("router", "net/ipv6/conf/all/forwarding", "1")
            self._built = built.pop_all()
        return self

    def __exit__(self, *_: object) -> None:
        self._built.close()

    def _ns(self, name: str) -> str:
        return f"{self._prefix}-{name}"

    def _plug(self, name: str) -> None:
        ip_batch(
            self._ns(name),
            [
                f"link add eth0 type veth peer name {name} netns {self._ns('wire')}",
                "link set eth0 up",
            ],
        )
        ip_batch(self._ns("wire"), [f"link set {name} master br0 up"])

    def _set(self, name: str, key: str, value: str) -> None:
        where = ("ip", "netns", "exec", self._ns(name))
        command(*where, "sh", "-c", f"echo {value} > /proc/sys/{key}")

    # -- setting -----------------------------------------------------------------------------------

    def prepare(self, case: dict[str, Any]) -> None:
        """Everything as it is before the first step of a runbook."""
        self.case = case
        self.names = {name: f"u{n}" for n, name in enumerate(case["devices"])}
        self.remote = case["setting"] == "remote"
        apart = case["setting"] == "one-at-a-time"
        for n in range(DEVICES):
            self.address(f"u{n}", (), None)
        for name, device in case["devices"].items():
            self.address(self.names[name], [device["present"]], device["present_gateway"])
        self.gateways()
        self.attach(() if apart else self.names)
        ip_batch(self._ns("laptop"), [f"link set eth1 {'up' if self.remote else 'down'}"])
        self.laptop(case["laptop"])
        wait_for_addresses(*map(self._ns, ("laptop", "router", *self.names.values())))

    def gateways(self) -> None:
        """Gives the router the addresses that the case says are always there."""
        devices = [
            ipaddress.ip_interface(u[k])
            for u in self.case["devices"].values()
            for k in ("present", "planned")
        ]
        held = []
        for text in self.case["held"]:
            ip = ipaddress.ip_address(text)
            lengths = [u.network.prefixlen for u in devices if ip in u.network]
            if lengths:
                held.append(f"{ip}/{min(lengths)}")
        self.address("router", held, None)

    def address(self, name: str, addresses: Iterable[str], gateway: str | None) -> None:
        """Replaces the addresses of a port on the segment."""
        for family in ("-4", "-6"):
            command("ip", "-n", self._ns(name), family, "route", "flush", "default")
        lines = ["address flush dev eth0 scope global"]
        lines += [f"address add {a} dev eth0{' nodad' if ':' in a else ''}" for a in addresses]
        if gateway is not None:
            lines.append(f"route add default via {gateway}")
        ip_batch(self._ns(name), lines)
        self.forget()

    def laptop(self, addresses: Iterable[str]) -> None:
        """Replaces the laptop's addresses."""
        port = "eth1" if self.remote else "eth0"
        lines = [f"address flush dev {p} scope global" for p in ("eth0", "eth1")]
        lines += [f"address add {a} dev {port}{' nodad' if ':' in a else ''}" for a in addresses]
        if self.remote:
            lines.append(f"route replace default via {self.case['laptop_gateway']}")
        ip_batch(self._ns("laptop"), lines)
        self.forget()

    def forget(self) -> None:
        """Empties the neighbour tables of those who are asked through."""
        for name in ("laptop", "router"):
            ip_batch(self._ns(name), ["neighbour flush all"])

    def attach(self, names: Iterable[str]) -> None:
        """Attaches these devices and no other."""
        wanted = {self.names[n] for n in names}
        lines = [f"link set u{n} {'up' if f'u{n}' in wanted else 'down'}" for n in range(DEVICES)]
        ip_batch(self._ns("wire"), lines)
        for port in wanted:
            forwards = partial(self._forwards, port)
            wait_for(forwards, f"port {port} to forward")
        self.forget()

    def _forwards(self, port: str) -> bool:
        return "state forwarding" in command(
            "bridge", "-n", self._ns("wire"), "link", "show", "dev", port
        )

    # -- asking ------------------------------------------------------------------------------------

    def answers(self, address: str, wait_s: float = ANSWER_S) -> bool:
        """Whether anybody answers the laptop's echo within that time."""
        ping = (
            "ip",
            "netns",
            "exec",
            self._ns("laptop"),
            "ping",
            "-n",
            "-c",
            "1",
            "-W",
            f"{wait_s}",
        )
        return succeeds(*ping, address)

    def is_there(self, address: str) -> bool:
        """Whether anybody on the segment has an IPv4 address, asked by an ARP probe."""
        run = ("ip", "netns", "exec", self._ns("laptop"), sys.executable, "-c", ARP_PROBE)
        return succeeds(*run, address, f"{self.silence_s}")

    def has_route(self, address: str) -> bool:
        """Whether the laptop's kernel knows where to send a packet to an address."""
        return succeeds("ip", "-n", self._ns("laptop"), "route", "get", address)

    def somebody(self, address: str) -> bool:
        """Whether an address is in use, asked as a person would: by echo, else by ARP probe."""
        if self.has_route(address):
            return self.answers(address, self.silence_s)
        return ":" not in address and not self.remote and self.is_there(address)
