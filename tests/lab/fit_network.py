"""A laptop, a device and a router on one wire, set anew for every case, and what the kernel does.

    laptop (eth0, eth1) --- wire (a bridge) --- device
                                 |
                              router: holds every gateway, has a route to both ends

Echoes are counted by the kernels of the namespaces themselves. Nothing outlives the context.
"""

from __future__ import annotations

import ipaddress
import json
import os
import secrets
import select
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Self, TypeVar

from tests.lab import fit_wire as wire
from tests.lab.fit_cases import Case, expected
from tests.lab.runs import claimed
from tests.lab.shell import ENVIRONMENT, command, ip_batch, succeeds

ROOT = Path(__file__).parent.parent.parent
WAIT_S, LONG_WAIT_S = 0.25, 3.0
"""How long an answer is waited for; it comes within a millisecond where the machine is idle, so that
more time is given only where one is expected."""
_PORTS = (("laptop", "eth0"), ("laptop", "eth1"), ("device", "eth0"), ("router", "eth0"))
_QUIET = {
    "ipv4": {"rp_filter": 0, "accept_redirects": 0, "send_redirects": 0},
    "ipv6": {"accept_dad": 0, "accept_ra": 0, "accept_redirects": 0, "autoconf": 0},
}
T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class Seen:
    """What came of one echo each way.

    Attributes:
        device_heard: the device's kernel counted the laptop's echo.
        laptop_answered: its reply came to the laptop.
        forwarded: packets that the router passed on.
        holders: hardware addresses that answer an ARP probe for the device or its gateway.
        route: what `ip route get` says at the laptop.
        beside: other interfaces of the laptop that have a route of their own for the device.
    """

    device_heard: bool
    laptop_heard: bool
    laptop_answered: bool
    device_answered: bool
    forwarded: int
    holders: int
    route: dict[str, Any]
    beside: tuple[str, ...]


class FitNetwork:
    """The wire with its three ends; a context manager."""

    def __enter__(self) -> Self:
        self._prefix = f"pf{secrets.token_hex(2)}"
        self._leftover: dict[str, list[str]] = {}
        with ExitStack() as built:
            built.enter_context(claimed(self._prefix))
            for name in ("laptop", "device", "router", "wire"):
                self._namespace(name)
            ip_batch(
                self.name("wire"), ["link add br0 type bridge mcast_snooping 0", "link set br0 up"]
            )
            for number, (end, port) in enumerate(_PORTS):
                self._cable(end, port, f"p{number}")
            self._inside = {
                name: built.enter_context(wire.inside(self.name(name)))
                for name in ("laptop", "device", "router", "wire")
            }
            self._sockets = {
                (end, version): built.enter_context(self.call(end, partial(wire.echoes, version)))
                for end in ("laptop", "device")
                for version in (4, 6)
            }
            self._arp = built.enter_context(self.call("wire", wire.arp_socket))
            worker = built.enter_context(
                subprocess.Popen(
                    ["ip", "netns", "exec", self.name("laptop"), sys.executable, "-m", "tests.lab.fit_worker"],
                    cwd=ROOT, env={**os.environ, **ENVIRONMENT}, text=True,
                    stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                )
            )  # fmt: skip
            built.callback(worker.kill)
            self._worker = worker
            self._built = built.pop_all()
        return self

    def __exit__(self, *_: object) -> None:
        self._built.close()

    def name(self, end: str) -> str:
        """Full name of a namespace."""
        return f"{self._prefix}-{end}"

    def call(self, end: str, function: Callable[[], T]) -> T:
        """Calls `function` in a thread that is in that namespace."""
        return self._inside[end].submit(function).result()

    def _namespace(self, end: str) -> None:
        command("ip", "netns", "add", self.name(end))
        settings = {
            f"/proc/sys/net/{family}/conf/{which}/{key}": value
            for family, keys in _QUIET.items()
            for key, value in keys.items()
            for which in ("all", "default")
            if not (family == "ipv6" and which == "all" and key in {"accept_ra", "autoconf"})
        }
        if end == "router":
            settings |= {
                "/proc/sys/net/ipv4/ip_forward": 1,
                "/proc/sys/net/ipv6/conf/all/forwarding": 1,
            }
        lines = "; ".join(f"[ ! -e {k} ] || echo {v} > {k}" for k, v in settings.items())
        command("ip", "netns", "exec", self.name(end), "sh", "-c", lines)
        ip_batch(self.name(end), ["link set lo up"])

    def _cable(self, end: str, port: str, plug: str) -> None:
        hub = self.name("wire")
        ip_batch(
            None,
            [f"link add {port} netns {self.name(end)} type veth peer name {plug} netns {hub}"],
        )
        ip_batch(hub, [f"link set {plug} master br0 up"])
        ip_batch(self.name(end), [f"link set {port} up"])

    def arrange(self, case: Case) -> None:
        """Sets all ends as the case says; a route that the kernel refuses is not there."""
        ends = {"laptop": ("eth0", "eth1"), "device": ("eth0",), "router": ("eth0",)}
        lines = {
            end: self._leftover.pop(end, [])
            + [
                line.format(port)
                for port in ports
                for line in ("addr flush dev {} scope global", "addr flush dev {} to 169.254.0.0/16", "neigh flush dev {} nud all")
            ]
            for end, ports in ends.items()
        }  # fmt: skip
        nodad = " nodad" if ":" in case.device else ""
        lines["laptop"] += [f"addr add {a} dev {name}{nodad}" for name, a in case.laptop]
        lines["device"].append(f"addr add {case.device} dev eth0{nodad}")
        near = [ipaddress.ip_interface(a).ip for a in (*(a for _, a in case.laptop), case.device)]
        held = {ipaddress.ip_address(g) for g in (case.via, case.gateway) if g is not None}
        if held:
            bits = near[0].max_prefixlen
            lines["router"] += [f"addr add {g}/{bits} dev eth0{nodad}" for g in held]
            for ip in set(near) - held:
                lines["router"].append(f"route add {ip}/{bits} dev eth0")
                self._keep_for_removal("router", f"route del {ip}/{bits} dev eth0", ip)
        for end, batch in lines.items():
            ip_batch(self.name(end), batch)
        for end, gateway in (("laptop", case.via), ("device", case.gateway)):
            route = ("default", "via", gateway or "")
            if gateway and succeeds("ip", "-n", self.name(end), "route", "add", *route):
                ip = ipaddress.ip_address(gateway)
                self._keep_for_removal(end, f"route del {' '.join(route)}", ip)

    def _keep_for_removal(
        self, end: str, line: str, ip: ipaddress.IPv4Address | ipaddress.IPv6Address
    ) -> None:
        """An IPv6 route outlives the addresses it was set with; an IPv4 route does not."""
        if ip.version == 6:
            self._leftover.setdefault(end, []).append(line)

    def seen(self, case: Case, *, hopeful: bool = False) -> Seen:
        """Sends an echo each way and looks at what the kernels counted."""
        hopeful = hopeful or expected(case) in {"direct", "shadowed", "routed", "routed?"}
        device = ipaddress.ip_interface(case.device)
        to, route = device.ip, self._route(str(device.ip))
        source = route.get("prefsrc") or _answering(case)
        before = {end: self.call(end, wire.counters) for end in ("laptop", "device", "router")}
        answered = self._exchange(source, str(to), LONG_WAIT_S if hopeful else WAIT_S)
        after = {end: self.call(end, wire.counters) for end in before}
        more = {end: [a - b for a, b in zip(after[end], before[end], strict=True)] for end in after}
        column = 0 if to.version == 4 else 1
        probed = [case.device.split("/")[0], case.gateway] if to.version == 4 else []
        return Seen(
            device_heard=more["device"][column] > 0,
            laptop_heard=more["laptop"][column] > 0,
            laptop_answered="laptop" in answered,
            device_answered="device" in answered,
            forwarded=more["router"][2 + column],
            holders=max((len(wire.holders(self._arp, a)) for a in probed if a), default=0),
            route=route,
            beside=self._beside(str(to)),
        )

    def _exchange(self, laptop: str, device: str, wait_s: float) -> set[str]:
        """One echo from each end to the other; the ends that an answer came to."""
        version = 6 if ":" in device else 4
        waiting = {}
        for end, to in (("laptop", device), ("device", laptop)):
            sock, number = self._sockets[end, version], secrets.randbelow(1 << 16)
            if wire.send_echo(sock, version, number, to):
                waiting[sock] = (end, number, to)
        answered = set()
        deadline_s = time.monotonic() + wait_s
        while waiting and (left_s := deadline_s - time.monotonic()) > 0:
            for sock in select.select(list(waiting), [], [], left_s)[0]:
                end, number, to = waiting[sock]
                if wire.is_answer(sock, version, number, to):
                    answered.add(end)
                    del waiting[sock]
        return answered

    def _route(self, to: str) -> dict[str, Any]:
        try:
            text = command("ip", "-j", "-n", self.name("laptop"), "route", "get", to)
        except Exception:  # noqa: BLE001 - no way there
            return {}
        return dict(json.loads(text)[0])

    def _beside(self, to: str) -> tuple[str, ...]:
        family = "-6" if ":" in to else "-4"
        text = command("ip", family, "-j", "-n", self.name("laptop"), "route", "show", "match", to)
        return tuple(r["dev"] for r in json.loads(text or "[]") if "gateway" not in r)

    def said(self, case: Case) -> tuple[dict[str, Any], dict[str, Any]]:
        """What the tool says at the laptop: of the machine, and of the same given by hand."""
        asked = {
            "laptop": case.laptop,
            "via": case.via,
            "device": case.device,
            "gateway": case.gateway,
        }
        assert self._worker.stdin is not None
        assert self._worker.stdout is not None
        self._worker.stdin.write(json.dumps(asked) + "\n")
        self._worker.stdin.flush()
        of_machine, given = json.loads(self._worker.stdout.readline())
        return of_machine, given


def _answering(case: Case) -> str:
    """The laptop's address that the device would talk to: one in its subnet, else the first."""
    subnet = ipaddress.ip_interface(case.device).network
    own = [ipaddress.ip_interface(a).ip for _, a in case.laptop]
    return str(next((ip for ip in own if ip in subnet), own[0]))


def judged(seen: Seen) -> str:
    """The relation that the kernels show; `routed?` where only some packets took the router."""
    if seen.holders > 1 or seen.route.get("type") == "local":
        return "clash"
    if seen.laptop_answered and seen.device_answered:
        if seen.forwarded:
            return "routed" if seen.forwarded == 4 else "routed?"
        return "shadowed" if set(seen.beside) - {seen.route["dev"]} else "direct"
    if seen.device_heard or seen.laptop_heard:
        return "one-way"
    return "off-subnet"
