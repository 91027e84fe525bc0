"""Echoes through a router in namespaces: every way of not being answered, and what gets counted.

laptop 198.18.0.1 --- 198.18.0.254 router 198.18.1.254 --- 198.18.1.1 device
"""

from __future__ import annotations

import ctypes
import json
import re
import secrets
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Literal, TypeVar

import pytest

from tests.lab.runs import claimed
from tests.lab.shell import command, ip_batch
from tests.stopwatch import Stopwatch
from verifier.model.address import Address
from verifier.model.observations import Silence
from verifier.probes.echo.burst import Echoer
from verifier.probes.echo.exchange import EchoBurst, EchoTarget
from verifier.probes.echo.packet import checksum
from verifier.probes.pace import Pace
from verifier.rules.compare.echo import echo_stats

pytestmark = [pytest.mark.lab, pytest.mark.icmp]

T = TypeVar("T")
Kind = Literal["raw", "datagram"]
KINDS: tuple[Kind, ...] = ("raw", "datagram")
DEVICE = {4: "198.18.1.1", 6: "2001:db8:2::1"}
ROUTER = {4: "198.18.0.254", 6: "2001:db8:1::ff"}
CLONE_NEWNET = 0x40000000  # linux/sched.h
LIBC = ctypes.CDLL(None, use_errno=True)


class Net:
    """The namespaces, and doing things inside them."""

    def __init__(self, prefix: str) -> None:
        self.prefix = prefix

    def name(self, role: str) -> str:
        return f"{self.prefix}-{role}"

    def build(self) -> None:
        for role in ("laptop", "router", "device"):
            ip_batch(None, [f"netns add {self.name(role)}"])
            ip_batch(self.name(role), ["link set lo up"])
            self.run(role, "sysctl", "-qw", "net.ipv6.conf.default.accept_dad=0")
        self._cable("laptop", "eth0", "router", "eth0")
        self._cable("router", "eth1", "device", "eth0")
        self._address("laptop", "eth0", "198.18.0.1/24", "2001:db8:1::1/64")
        self._address("router", "eth0", "198.18.0.254/24", "2001:db8:1::ff/64")
        self._address("router", "eth1", "198.18.1.254/24", "2001:db8:2::ff/64")
        self._address("device", "eth0", "198.18.1.1/24", "2001:db8:2::1/64")
        for role, gateways in (
            ("laptop", ("198.18.0.254", "2001:db8:1::ff")),
            ("device", ("198.18.1.254", "2001:db8:2::ff")),
        ):
            for net in ("198.18.0.0/16", "2001:db8::/32"):
                gateway = gateways[":" in net]
                ip_batch(self.name(role), [f"route add {net} via {gateway}"])
        ip_batch(self.name("router"), ["route add 198.18.2.0/24 via 198.18.1.1"])
        self.run("laptop", "sysctl", "-qw", "net.ipv4.ping_group_range=0 2147483647")
        self.run(
            "router",
            "sysctl",
            "-qw",
            "net.ipv4.ip_forward=1",
            "net.ipv6.conf.all.forwarding=1",
            "net.ipv4.icmp_ratemask=0",
            "net.ipv6.icmp.ratelimit=0",
        )

    def _cable(self, near: str, near_port: str, far: str, far_port: str) -> None:
        line = f"link add {near_port} type veth peer name {far_port} netns {self.name(far)}"
        ip_batch(self.name(near), [line, f"link set {near_port} up"])
        ip_batch(self.name(far), [f"link set {far_port} up"])

    def _address(self, role: str, port: str, *addresses: str) -> None:
        lines = [f"addr add {a} dev {port}{' nodad' if ':' in a else ''}" for a in addresses]
        ip_batch(self.name(role), lines)

    def run(self, role: str, *argv: str) -> str:
        return command("ip", "netns", "exec", self.name(role), *argv)

    @contextmanager
    def rule(self, role: str, hook: str, rule: str, family: str = "inet") -> Iterator[None]:
        """A filter rule that is there for a while; it may use a counter named `hits`."""
        chain = f"chain c {{\ntype filter hook {hook} priority 0;\n{rule}\n}}"
        text = f"table {family} t {{\ncounter hits {{ }}\n{chain}\n}}"
        self.run(role, "nft", text)
        try:
            yield
        finally:
            self.run(role, "nft", "flush ruleset")

    @contextmanager
    def route(self, role: str, line: str) -> Iterator[None]:
        """A route that is there for a while."""
        ip_batch(self.name(role), [f"route add {line}"])
        try:
            yield
        finally:
            ip_batch(self.name(role), [f"route del {line}"])

    def inside(self, role: str, do: Callable[[], T]) -> T:
        """Runs `do` in a thread that has entered a namespace and ends with it."""

        def enter() -> None:
            with Path(f"/run/netns/{self.name(role)}").open("rb") as file:
                if LIBC.setns(file.fileno(), CLONE_NEWNET):
                    raise OSError(ctypes.get_errno(), "setns")

        with ThreadPoolExecutor(1, initializer=enter) as thread:
            return thread.submit(do).result(timeout=60)

    def echo(
        self,
        *addresses: str,
        kind: Kind = "raw",
        count: int = 3,
        interval_s: float = 0.02,
        timeout_s: float = 0.3,
        **options: Any,
    ) -> list[EchoBurst]:
        """What the engine measures from the laptop."""

        def measure() -> list[EchoBurst]:
            with Echoer(pace=Pace(None), on_link_pace=Pace(None), kind=kind) as echoer:
                return echoer.run(
                    [target(a, **options) for a in addresses],
                    count=count,
                    interval_s=interval_s,
                    timeout_s=timeout_s,
                )

        return self.inside("laptop", measure)


def target(address: str, **options: Any) -> EchoTarget:
    return EchoTarget(address=Address.parse(address), **options)


def reasons(series: EchoBurst) -> set[str]:
    return {s.reason for s in series.silences}


@pytest.fixture(scope="module")
def net() -> Iterator[Net]:
    prefix = f"pvi{secrets.token_hex(2)}"
    with claimed(prefix):
        built = Net(prefix)
        built.build()
        for kind in KINDS:  # neighbours are resolved before anything is rated
            built.echo(*DEVICE.values(), kind=kind, count=3, timeout_s=1)
        yield built


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("version", [4, 6])
def test_a_device_behind_a_router_answers(net: Net, kind: Kind, version: int) -> None:
    """Every echo is answered once, in order, in a plausible time."""
    (series,) = net.echo(DEVICE[version], kind=kind, count=10)
    assert series.sent == 10
    assert all(rtt is not None and 0 < rtt < 100 for rtt in series.rtt_ms)
    assert (series.silences, series.duplicates, series.reordered) == ((), 0, 0)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("version", "reject", "code", "text"),
    [
        (4, "icmp type net-unreachable", 0, "network unreachable"),
        (4, "icmp type host-unreachable", 1, "host unreachable"),
        (4, "icmp type port-unreachable", 3, "port unreachable"),
        (4, "icmp type admin-prohibited", 13, "communication administratively prohibited"),
        (6, "icmpv6 type no-route", 0, "no route to destination"),
        (6, "icmpv6 type admin-prohibited", 1, "communication administratively prohibited"),
        (6, "icmpv6 type addr-unreachable", 3, "address unreachable"),
    ],
)
def test_router_says_why(
    net: Net, kind: Kind, version: int, reject: str, code: int, text: str
) -> None:
    """The error's code, in words too, and who sent it are kept, on both kinds of socket."""
    family = {4: "ip", 6: "ip6"}[version]
    rule = f"{family} daddr {DEVICE[version]} reject with {reject}"
    with net.rule("router", "forward", rule):
        (series,) = net.echo(DEVICE[version], kind=kind)
    told = Silence(
        reason="unreachable",
        text=text,
        type={4: 3, 6: 1}[version],
        code=code,
        reporter=ROUTER[version],
    )
    assert series.rtt_ms == (None, None, None)
    assert series.silences == (told,) * 3


@pytest.mark.parametrize("kind", KINDS)
def test_hop_limit_ends_on_the_way(net: Net, kind: Kind) -> None:
    """Time exceeded (RFC 792 type 11 code 0) comes with the router that said so."""
    rule = f"ip daddr {DEVICE[4]} ip ttl set 1"
    with net.rule("laptop", "output", rule):
        (series,) = net.echo(DEVICE[4], kind=kind)
    assert {(s.type, s.code, s.reporter) for s in series.silences} == {(11, 0, ROUTER[4])}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("address", ["203.0.113.7", "2001:dba::7"])
def test_no_route_from_here(net: Net, kind: Kind, address: str) -> None:
    """Nothing left: no echo is counted as sent, and the reason is this machine's."""
    (series,) = net.echo(address, kind=kind)
    assert series.sent == 0
    assert {(s.reason, s.errno) for s in series.silences} == {("no-route", "ENETUNREACH")}
    assert len(series.silences) == 3


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("route", "reason", "name"),
    [
        ("unreachable 198.18.9.0/24", "no-route", "EHOSTUNREACH"),
        ("prohibit 198.18.9.0/24", "not-permitted", "EACCES"),
        ("blackhole 198.18.9.0/24", "sending-failed", "EINVAL"),
    ],
)
def test_routes_of_this_machine_that_refuse(
    net: Net, kind: Kind, route: str, reason: str, name: str
) -> None:
    """Each kind of refusing route has its own reason."""
    with net.route("laptop", route):
        (series,) = net.echo("198.18.9.7", kind=kind)
    assert series.sent == 0
    assert {(s.reason, s.errno) for s in series.silences} == {(reason, name)}


@pytest.mark.parametrize("kind", KINDS)
def test_own_firewall(net: Net, kind: Kind) -> None:
    """A firewall on this machine is "not permitted", not a silent device."""
    rule = "icmp type echo-request drop"
    with net.rule("laptop", "output", rule):
        (series,) = net.echo(DEVICE[4], kind=kind)
    assert series.sent == 0
    assert {(s.reason, s.errno) for s in series.silences} == {("not-permitted", "EPERM")}


def test_missing_interface_and_foreign_source(net: Net) -> None:
    """Neither can be used here: nothing leaves, so nothing is held against the device."""
    (missing,) = net.echo(DEVICE[4], interface="eth7")
    (foreign,) = net.echo(DEVICE[4], source=Address.parse("198.18.0.99"))
    assert (missing.sent, reasons(missing)) == (0, {"sending-failed"})
    assert (foreign.sent, len(foreign.silences)) == (0, 3)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("version", [4, 6])
def test_source_and_interface_are_used(net: Net, kind: Kind, version: int) -> None:
    """Echoes with a second address of this machine leave with it, on one and the same socket."""
    second = {4: "198.18.0.2", 6: "2001:db8:1::2"}[version]
    family, bits = {4: ("ip", 24), 6: ("ip6", 64)}[version]
    suffix = {4: "", 6: " nodad"}[version]
    rule = f"{family} saddr {second} {family} daddr {DEVICE[version]} counter name hits"
    ip_batch(net.name("laptop"), [f"addr replace {second}/{bits} dev eth0{suffix}"])
    with net.rule("router", "prerouting", rule):
        source = Address.parse(second)
        (series,) = net.echo(DEVICE[version], kind=kind, source=source, interface="eth0")
        assert None not in series.rtt_ms
        assert hits(net, "router") == 3


def hits(net: Net, role: str) -> int:
    said = net.run(role, "nft", "list", "counter", "inet", "t", "hits")
    found = re.search(r"packets (\d+)", said)
    assert found is not None
    return int(found[1])


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("version", [4, 6])
def test_random_loss_is_counted_exactly(net: Net, kind: Kind, version: int) -> None:
    """Losses are those the router's own counter says it dropped, not one more or less."""
    request = {4: "icmp type echo-request", 6: "icmpv6 type echo-request"}[version]
    rule = f"{request} numgen random mod 100 < 20 counter name hits drop"
    with net.rule("router", "forward", rule):
        (series,) = net.echo(DEVICE[version], kind=kind, count=400, interval_s=0.001)
        dropped = hits(net, "router")
    stats = echo_stats(series.rtt_ms)
    assert stats.sent - stats.received == dropped > 20
    assert reasons(series) == {"timed-out"}
    assert len(series.silences) == dropped


def test_agrees_with_ping(net: Net) -> None:
    """The ping of iputils on the same path has the same loss and nearly the same median."""
    rule = "icmp type echo-request numgen inc mod 4 0 drop"
    with net.rule("router", "forward", rule):
        argv = ("ping", "-c", "200", "-i", "0.005", "-W", "0.3", DEVICE[4])
        said = net.run("laptop", *argv)
        (series,) = net.echo(DEVICE[4], count=200, interval_s=0.005)
    loss = re.search(r"([\d.]+)% packet loss", said)
    times = sorted(float(t) for t in re.findall(r"time=([\d.]+) ms", said))
    assert loss is not None
    stats = echo_stats(series.rtt_ms)
    assert stats.loss_pct == float(loss[1]) == 25.0
    assert abs(stats.median_ms - times[len(times) // 2]) < 0.05


@pytest.mark.parametrize("kind", KINDS)
def test_duplicates_are_counted_apart(net: Net, kind: Kind) -> None:
    """Replies doubled on the way: nothing lost, nothing received twice, each DUP counted."""
    rule = "icmp type echo-reply dup to 198.18.1.254 device eth0"
    with net.rule("device", "output", rule, family="ip"):
        (series,) = net.echo(DEVICE[4], kind=kind, count=5)
    assert series.sent == 5
    assert None not in series.rtt_ms
    assert series.duplicates == 5


def test_reply_of_another_address_is_no_reply(net: Net) -> None:
    """Only the very address asked is alive, whoever else sends a fitting reply."""
    rule = "icmp type echo-reply ip saddr set 198.18.1.9"
    with net.rule("device", "postrouting", rule):
        (series,) = net.echo(DEVICE[4])
    assert series.rtt_ms == (None, None, None)
    assert reasons(series) == {"timed-out"}


def test_rewritten_identifier_is_noted(net: Net) -> None:
    """A reply with our token and another identifier is no reply, but it is not nothing."""
    rule = "icmp type echo-reply icmp id set 4711"
    with net.rule("device", "postrouting", rule):
        (series,) = net.echo(DEVICE[4])
    assert series.rtt_ms == (None, None, None)
    assert series.foreign_id == 3


@contextmanager
def answering_in_pairs(net: Net) -> Iterator[None]:
    """The device's own replies off; instead every second echo is answered before the first."""
    net.run("device", "sysctl", "-qw", "net.ipv4.icmp_echo_ignore_all=1")
    raw = net.inside("device", lambda: socket.socket(socket.AF_INET, socket.SOCK_RAW, 1))
    raw.settimeout(0.05)
    over = threading.Event()

    def answer() -> None:
        held: list[tuple[bytes, Any]] = []
        while not over.is_set():
            try:
                packet, source = raw.recvfrom(2048)
            except TimeoutError:
                continue
            if packet[20] == 8:
                reply = bytes([0, 0, 0, 0]) + packet[24:]
                held.append((reply[:2] + checksum(reply).to_bytes(2, "big") + reply[4:], source))
            if len(held) == 2:
                for reply, source in reversed(held):
                    raw.sendto(reply, source)
                held.clear()

    thread = threading.Thread(target=answer)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()
        raw.close()
        net.run("device", "sysctl", "-qw", "net.ipv4.icmp_echo_ignore_all=0")


def test_reordered_replies(net: Net) -> None:
    """Of ten echoes answered in swapped pairs five replies come late; none is lost."""
    with answering_in_pairs(net):
        (series,) = net.echo(DEVICE[4], count=10, interval_s=0.01)
    assert None not in series.rtt_ms
    assert series.reordered == 5


def test_reply_after_the_timeout_is_none(net: Net) -> None:
    """Held back longer than the timeout, the first of each pair counts as lost."""
    with answering_in_pairs(net):
        (series,) = net.echo(DEVICE[4], count=4, interval_s=0.15, timeout_s=0.1)
    assert [rtt is None for rtt in series.rtt_ms] == [True, False, True, False]
    assert reasons(series) == {"timed-out"}
    assert series.duplicates == 0


def plain_echo(ident: int, sequence: int) -> bytes:
    """An echo of some other program (RFC 792)."""
    head = b"\x08\0" + bytes(2) + ident.to_bytes(2, "big") + sequence.to_bytes(2, "big")
    return head[:2] + checksum(head).to_bytes(2, "big") + head[4:]


def test_late_reply_that_is_read_later_still(net: Net) -> None:
    """It came after the timeout, though this thread was away and had not yet judged it lost."""
    raw = net.inside("laptop", lambda: socket.socket(socket.AF_INET, socket.SOCK_RAW, 1))

    def stay_away(index: int, _series: EchoBurst) -> None:
        if index == 0:
            time.sleep(0.15)
            raw.sendto(plain_echo(77, 1), (DEVICE[4], 0))  # completes the pair
            time.sleep(0.1)

    def measure() -> list[EchoBurst]:
        with Echoer(pace=Pace(None), on_link_pace=Pace(None)) as echoer:
            return echoer.run(
                [target(ROUTER[4]), target(DEVICE[4])],
                count=1,
                interval_s=0,
                timeout_s=0.1,
                on_done=stay_away,
            )

    with raw, answering_in_pairs(net):
        near, late = net.inside("laptop", measure)
    assert None not in near.rtt_ms
    assert late.rtt_ms == (None,)
    assert reasons(late) == {"timed-out"}


def test_error_about_an_echo_of_another_program(net: Net) -> None:
    """Same destination, same sequence, another identifier: it is not about ours."""
    rule = "icmp id 77 reject with icmp type host-unreachable; icmp type echo-request drop"
    over = threading.Event()
    raw = net.inside("laptop", lambda: socket.socket(socket.AF_INET, socket.SOCK_RAW, 1))

    def disturb() -> None:
        while not over.wait(0.01):
            for sequence in range(3):
                raw.sendto(plain_echo(77, sequence), (DEVICE[4], 0))

    thread = threading.Thread(target=disturb)
    with raw, net.rule("router", "forward", rule):
        thread.start()
        try:
            (series,) = net.echo(DEVICE[4])
        finally:
            over.set()
            thread.join()
    assert series.rtt_ms == (None, None, None)
    assert reasons(series) == {"timed-out"}


def test_sequence_numbers_come_round_while_one_is_open(net: Net) -> None:
    """The first of 70,000 echoes is lost; its number is not given away before it is judged."""
    rule = "icmp type echo-request numgen inc mod 100000 0 drop"
    with net.rule("laptop", "input", rule):
        (series,) = net.echo("127.0.0.1", count=70_000, interval_s=0, timeout_s=3)
    assert (series.sent, len(series.silences)) == (70_000, 1)
    assert series.rtt_ms[0] is None


@pytest.mark.parametrize("kind", KINDS)
def test_errors_of_others_do_not_stop_the_living(net: Net, kind: Kind) -> None:
    """An error that came back for one target never makes an echo to another one fail."""
    dead = [f"198.18.2.{n}" for n in range(1, 101)]
    addresses = [a for pair in zip(dead, [DEVICE[4]] * 100, strict=True) for a in pair]
    rule = "ip daddr 198.18.2.0/24 reject with icmp type host-unreachable"
    with net.rule("router", "forward", rule):
        measured = net.echo(*addresses, kind=kind, count=2, interval_s=0)
    assert all(None not in s.rtt_ms and s.sent == 2 for s in measured[1::2])
    assert all(reasons(s) == {"unreachable"} and s.sent == 2 for s in measured[::2])


def test_many_silent_targets_end_together(net: Net) -> None:
    """Silence costs one timeout, not one timeout each."""
    rule = "drop"
    with net.rule("router", "forward", rule):
        stopwatch = Stopwatch()
        measured = net.echo(*[f"198.18.1.{n}" for n in range(1, 251)], count=1, timeout_s=0.5)
        took_s = stopwatch.alone_s
    assert all(s.rtt_ms == (None,) for s in measured)
    assert took_s < 1.0


def test_stop_returns_what_was_judged(net: Net) -> None:
    """After Ctrl-C: at once, without the echo still on its way."""
    rule = "drop"
    stop = threading.Event()

    def measure() -> list[EchoBurst]:
        with Echoer(pace=Pace(None), on_link_pace=Pace(None)) as echoer:
            return echoer.run(
                [target(DEVICE[4]), target("198.18.0.1")],
                count=1000,
                interval_s=0.1,
                timeout_s=10,
                stop=stop,
            )

    with net.rule("router", "forward", rule):
        timer = threading.Timer(0.35, stop.set)
        timer.start()
        stopwatch = Stopwatch()
        silent, alive = net.inside("laptop", measure)
        took_s = stopwatch.alone_s
    assert took_s < 0.6
    assert silent.sent == 0
    assert silent.silences == ()
    assert 0 < alive.sent <= 4
    assert None not in alive.rtt_ms


UNPRIVILEGED = (
    "setpriv",
    "--reuid=65534",
    "--regid=65534",
    "--clear-groups",
    "--inh-caps=-all",
    "--bounding-set=-all",
)
SCRIPT = """
import json, sys
from verifier.errors import CannotMeasureError
from verifier.model.address import Address
from verifier.probes.echo.burst import Echoer, EchoTarget
from verifier.probes.pace import Pace
targets = [EchoTarget(address=Address.parse(a)) for a in sys.argv[1:]]
try:
    with Echoer(pace=Pace(None), on_link_pace=Pace(None)) as echoer:
        measured = echoer.run(targets, count=2, interval_s=0.01, timeout_s=1)
        kinds = sorted({echoer.open(t.address.version) for t in targets})
        print(json.dumps({"kinds": kinds, "rtt_ms": [s.rtt_ms for s in measured]}))
except CannotMeasureError as fault:
    print(json.dumps({"fault": str(fault), "exit": fault.exit_code}))
"""


def measured_by(net: Net, role: str, *privileges: str) -> dict[str, Any]:
    """What a process with such privileges says."""
    argv = (*privileges, sys.executable, "-c", SCRIPT, *DEVICE.values())
    said: dict[str, Any] = json.loads(net.run(role, "env", f"PYTHONPATH={Path.cwd()}", *argv))
    return said


def test_nobody_is_told_what_is_missing(net: Net) -> None:
    """The setting with its value, the capability, and the command for each."""
    net.run("device", "sysctl", "-qw", "net.ipv4.ping_group_range=1 0")
    said = measured_by(net, "device", *UNPRIVILEGED)
    assert said["exit"] == 3
    for part in (
        "net.ipv4.ping_group_range is '1 0' and leaves out group 65534",
        'sudo sysctl -w net.ipv4.ping_group_range="65534 65534"',
        "CAP_NET_RAW is missing",
        "sudo setcap cap_net_raw+ep /",
        "run it as root",
    ):
        assert part in said["fault"]


def test_nobody_takes_datagram_sockets_where_allowed(net: Net) -> None:
    """With the group in the range both families are measured without any capability."""
    said = measured_by(net, "laptop", *UNPRIVILEGED)
    assert said["kinds"] == ["datagram"]
    assert len([t for s in said["rtt_ms"] for t in s if t is not None]) == 4


def test_the_one_capability_suffices(net: Net) -> None:
    """CAP_NET_RAW alone gives raw sockets; the buffer is then raised as far as allowed."""
    said = measured_by(net, "device", "setpriv", "--bounding-set=-all,+net_raw")
    assert said["kinds"] == ["raw"]
    assert len([t for s in said["rtt_ms"] for t in s if t is not None]) == 4
