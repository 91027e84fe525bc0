"""Reach and speed of the echo engine on loopback, beside a bare socket in the same run.

    python tests/bench/icmp_bench.py [--targets 10000] [--echoes 3] [--pace 5000] [--kind raw]

Exit code 0 if every goal is met: no false loss, median within 50 us of the bare socket, 50,000
echoes a second without a pace, within 5 % of it with one, under 150 MB.
"""

from __future__ import annotations

import argparse
import resource
import socket
import statistics
import sys
import time
from dataclasses import dataclass

from tabulate import tabulate

from verifier.model.address import Address
from verifier.probes.echo.burst import Echoer
from verifier.probes.echo.exchange import EchoTarget
from verifier.probes.echo.packet import checksum
from verifier.probes.pace import Pace

REACH_PER_S = 50_000
MEDIAN_APART_US = 50
PACE_APART = 0.05
PEAK_MB = 150


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One row of the table."""

    name: str
    echoes: int
    lost: int
    took_s: float
    median_us: float
    kernel_drops: int = 0

    @property
    def per_s(self) -> float:
        return self.echoes / self.took_s


def addresses(count: int) -> list[str]:
    return [f"127.{1 + i // 62500}.{i // 250 % 250}.{i % 250 + 1}" for i in range(count)]


def bare_socket(hosts: list[str], kind: str) -> Run:
    """One blocking socket, one echo after the other: nothing but sendto and recv."""
    type_ = socket.SOCK_RAW if kind == "raw" else socket.SOCK_DGRAM
    packet = bytes([8, 0, 0, 0, 0x12, 0x34, 0, 1]) + bytes(56)
    packet = packet[:2] + checksum(packet).to_bytes(2, "big") + packet[4:]
    rtts_us = []
    with socket.socket(socket.AF_INET, type_, socket.IPPROTO_ICMP) as bare:
        bare.settimeout(1)
        reply_at = 20 if kind == "raw" else 0
        start_s = time.monotonic()
        for host in hosts:
            sent_s = time.monotonic()
            bare.sendto(packet, (host, 0))
            while bare.recv(2048)[reply_at] != 0:  # a raw socket hears the request as well
                pass
            rtts_us.append((time.monotonic() - sent_s) * 1e6)
        took_s = time.monotonic() - start_s
    return Run(
        name="bare socket, one by one",
        echoes=len(hosts),
        lost=0,
        took_s=took_s,
        median_us=statistics.median(rtts_us),
    )


def engine(hosts: list[str], echoes: int, pace_per_s: float | None, kind: str) -> Run:
    """The engine; the time includes everything `run` does."""
    targets = [EchoTarget(address=Address.parse(host)) for host in hosts]
    with Echoer(
        pace=Pace(None),
        on_link_pace=Pace(None),
        loopback_pace=Pace(pace_per_s),
        kind="raw" if kind == "raw" else "datagram",
    ) as echoer:
        start_s = time.monotonic()
        measured = echoer.run(targets, count=echoes, interval_s=0, timeout_s=1)
        took_s = time.monotonic() - start_s
        drops = echoer.kernel_drops
    rtts_us = [rtt * 1e3 for series in measured for rtt in series.rtt_ms if rtt is not None]
    return Run(
        name="engine, no pace" if pace_per_s is None else f"engine, {pace_per_s:g}/s",
        echoes=len(hosts) * echoes,
        lost=len(hosts) * echoes - len(rtts_us),
        took_s=took_s,
        median_us=statistics.median(rtts_us),
        kernel_drops=drops,
    )


def main() -> int:
    parser = argparse.ArgumentParser(description="Echo engine on loopback, beside a bare socket")
    parser.add_argument("--targets", type=int, default=10_000)
    parser.add_argument("--echoes", type=int, default=3)
    parser.add_argument("--pace", type=float, default=5000.0)
    parser.add_argument("--kind", choices=["raw", "datagram"], default="raw")
    options = parser.parse_args()
    hosts = addresses(options.targets)
    bare = bare_socket(hosts, options.kind)
    free = engine(hosts, options.echoes, None, options.kind)
    paced = engine(hosts, options.echoes, options.pace, options.kind)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    rows = [
        (
            r.name,
            r.echoes,
            r.lost,
            r.kernel_drops,
            r.per_s,
            r.median_us,
            r.median_us - bare.median_us,
        )
        for r in (bare, free, paced)
    ]
    headers = ("", "echoes", "lost", "drops", "per s", "median us", "apart us")
    print(tabulate(rows, headers, floatfmt=(".0f",) * 5 + (".1f", ".1f")))
    pace_ratio = paced.per_s / options.pace
    goals = {
        "no false loss": free.lost == paced.lost == 0,
        f"medians within {MEDIAN_APART_US} us": all(
            abs(r.median_us - bare.median_us) <= MEDIAN_APART_US for r in (free, paced)
        ),
        f"{REACH_PER_S} a second without a pace": free.per_s >= REACH_PER_S,
        f"within {PACE_APART:.0%} of the pace (ratio {pace_ratio:.4f})": abs(pace_ratio - 1)
        <= PACE_APART,
        f"peak {peak_mb:.0f} MB under {PEAK_MB}": peak_mb < PEAK_MB,
    }
    print(f"\nengine without a pace / bare socket: {free.per_s / bare.per_s:.2f}")
    for goal, met in goals.items():
        print(f"{'met   ' if met else 'MISSED'}  {goal}")
    return 0 if all(goals.values()) else 1


if __name__ == "__main__":
    sys.exit(main())
