"""The system's own ping: its output read as it prints it, and asked where this user may not send."""

from __future__ import annotations

import asyncio
import json
import subprocess
import sys

import pytest

from verifier.errors import CannotMeasureError
from verifier.model.address import Address
from verifier.probes.echo.exchange import EchoTarget
from verifier.probes.echo.system_ping import MOST, PingEchoer, parsed
from verifier.probes.pace import Pace

TARGET = EchoTarget(address=Address.parse("198.18.20.12"))
HEAD = "PING 198.18.20.12 (198.18.20.12) 56(84) bytes of data.\n"
REPLIES = (
    HEAD
    + """\
64 bytes from 198.18.20.12: icmp_seq=1 ttl=64 time=0.045 ms
64 bytes from 198.18.20.12: icmp_seq=1 ttl=64 time=0.051 ms (DUP!)
64 bytes from 198.18.20.12: icmp_seq=3 ttl=64 time=2.5 ms
64 bytes from 198.18.20.12: icmp_seq=2 ttl=64 time=250 ms

--- 198.18.20.12 ping statistics ---
4 packets transmitted, 3 received, +1 duplicates, 25% packet loss, time 612ms
rtt min/avg/max/mdev = 0.045/84.182/250.000/117.263 ms
"""
)
UNREACHABLE = (
    HEAD
    + """\
From 198.18.20.250 icmp_seq=1 Destination Host Unreachable
From 198.18.20.250 icmp_seq=2 Destination Host Unreachable

--- 198.18.20.12 ping statistics ---
2 packets transmitted, 0 received, +2 errors, 100% packet loss, time 1012ms
pipe 2
"""
)
IPV6 = """\
PING 2001:db8:20::12(2001:db8:20::12) 56 data bytes
64 bytes from 2001:db8:20::12: icmp_seq=1 ttl=64 time=0.061 ms
From 2001:db8:20::1: icmp_seq=2 Destination unreachable: Address unreachable

--- 2001:db8:20::12 ping statistics ---
2 packets transmitted, 1 received, +1 errors, 50% packet loss, time 1001ms
rtt min/avg/max/mdev = 0.061/0.061/0.061/0.000 ms
"""
NO_WAY = "ping: connect: Network is unreachable\n"


def test_replies_losses_doubles_and_order() -> None:
    """Each round trip in the order sent; what came too late is no reply."""
    burst = parsed(REPLIES).burst(TARGET, 4, 1.0, "iputils 1")
    assert burst.rtt_ms == (0.045, 250.0, 2.5, None)
    assert (burst.sent, burst.duplicates, burst.reordered, burst.by) == (4, 1, 1, "iputils 1")
    assert [s.reason for s in burst.silences] == ["timed-out"]
    assert parsed(REPLIES).burst(TARGET, 4, 0.1, "").rtt_ms == (0.045, None, 2.5, None)


def test_errors_name_who_told_them() -> None:
    burst = parsed(UNREACHABLE).burst(TARGET, 2, 1.0, "")
    assert burst.rtt_ms == (None, None)
    assert {(s.reason, s.text, s.reporter) for s in burst.silences} == {
        ("unreachable", "host unreachable", "198.18.20.250")
    }
    six = parsed(IPV6).burst(TARGET, 2, 1.0, "")
    assert six.rtt_ms == (0.061, None)
    assert (six.silences[0].text, six.silences[0].reporter) == (
        "unreachable: address unreachable", "2001:db8:20::1",
    )  # fmt: skip


def test_nothing_was_sent_where_this_machine_has_no_way() -> None:
    burst = parsed(NO_WAY).burst(TARGET, 3, 1.0, "")
    assert burst.sent == 0
    assert [s.reason for s in burst.silences] == ["no-route"] * 3


def test_for_so_many_devices_only() -> None:
    """Beyond, echoes stay untested, with what this user lacks."""
    echoer = PingEchoer(pace=Pace(None), on_link_pace=Pace(None), loopback_pace=None)
    many = [TARGET] * (MOST + 1)
    with pytest.raises(
        CannotMeasureError, match="no permission; the system's ping is asked for 64"
    ):
        asyncio.run(echoer.run(many, count=1, interval_s=0.2, timeout_s=0.2, why="no permission"))


PROGRAM = """
import asyncio, dataclasses, json
from verifier.model.address import Address
from verifier.probes.echo.exchange import EchoTarget
from verifier.probes.world import ThisMachine

async def main():
    world = ThisMachine()
    pace = world.pace(None)
    with world.echoes.sender(pace=pace, on_link_pace=pace, loopback_pace=pace) as sender:
        targets = [EchoTarget(address=Address.parse(a)) for a in ("127.0.0.9", "198.18.0.1")]
        return await sender.run(targets, count=2, interval_s=0.2, timeout_s=0.5)

print(json.dumps([dict(rtt=b.rtt_ms, by=b.by, why=[s.reason for s in b.silences])
                  for b in asyncio.run(main())]))
"""
WITHOUT = ["setpriv", "--securebits=+noroot,+noroot_locked", "--inh-caps=-all"]
"""Without any capability, as an ordinary user; what a program's file grants it is granted."""


def in_namespace(*more: str) -> subprocess.CompletedProcess[str]:
    """The program in a network namespace of its own, where no group may open echo sockets."""
    words = " ".join([*WITHOUT, *more, sys.executable, "-c", '"$PROGRAM"'])
    return subprocess.run(
        ["unshare", "--net", "sh", "-c", f"ip link set lo up; {words}"],
        capture_output=True, text=True, check=False, env={"PROGRAM": PROGRAM, "PATH": "/usr/sbin:/usr/bin:/sbin:/bin"},
        timeout=30,
    )  # fmt: skip


@pytest.mark.lab
def test_where_this_user_may_not_send() -> None:
    """The real ping measures: a reply with its round-trip times, and no way for the other."""
    done = in_namespace()
    assert done.returncode == 0, done.stderr
    here, away = json.loads(done.stdout)
    assert len(here["rtt"]) == 2
    assert all(0 < rtt < 100 for rtt in here["rtt"])
    assert here["by"].startswith("iputils ")
    assert (away["rtt"], away["why"]) == ([], ["no-route", "no-route"])


@pytest.mark.lab
def test_where_ping_may_not_either() -> None:
    """Both are said: what this program lacks, and that the system's ping does not help."""
    done = in_namespace("--bounding-set=-net_raw")
    assert done.returncode != 0
    assert "no permission to send IPv4 echoes" in done.stderr
    assert "ping" in done.stderr.rsplit("CannotMeasureError", 1)[1]
