"""`find --listen` on a busy cable: processor time with and without traffic of others; as root.

python tests/bench/find_bench.py [SECONDS]
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.lab.bench import OTHER, Bench

FLOOD = """
import signal, socket, sys, time
s = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
s.bind(("eth0", 0))
frame = bytes.fromhex("02005e1000aa" + sys.argv[1].replace(":", "") + "0800") + bytes.fromhex(
    "45000404000000004011000000000000c6121463c6121464") + bytes(1000)
sent, began = 0, time.monotonic()
def end(*_):
    print(round(sent / (time.monotonic() - began)), flush=True)
    sys.exit()
signal.signal(signal.SIGTERM, end)
print("ready", flush=True)
while True:
    for _ in range(20):
        s.send(frame)
    sent += 20
    time.sleep(0.0005)
"""
"""Frames of 1,038 octets to a station that the bridge does not know, so that every port has them."""


@contextmanager
def flooded(bench: Bench) -> Iterator[subprocess.Popen[str]]:
    """Others talk to each other while it lasts."""
    argv = bench.inside("other", sys.executable, "-c", FLOOD, OTHER)
    flood = subprocess.Popen(argv, stdout=subprocess.PIPE, text=True)
    try:
        yield flood
    finally:
        flood.send_signal(signal.SIGTERM)
        flood.wait()


def processor_s(bench: Bench, wait_s: str) -> float:
    """Of one `find` that finds nothing."""
    argv = bench.argv("--listen", "--wait", f"{wait_s}s", "--quiet")
    process = subprocess.Popen(argv, cwd=bench.folder)
    _, _, used = os.wait4(process.pid, 0)
    process.returncode = 0
    return used.ru_utime + used.ru_stime


def main() -> None:
    """Prints the figures."""
    wait_s = sys.argv[1] if len(sys.argv) > 1 else "20"
    with Bench() as bench:
        bench.prepare()
        quiet_s = processor_s(bench, wait_s)
        with flooded(bench) as flood:
            busy_s = processor_s(bench, wait_s)
        rate = re.findall(r"\d+", flood.communicate()[0])[0]
    print(
        f"listening {wait_s} s: quiet {quiet_s:.2f} s of processor, with {rate} frames/s of others {busy_s:.2f} s"
    )


if __name__ == "__main__":
    main()
