"""Commands of the lab, and waiting for what they bring about."""

from __future__ import annotations

import os
import subprocess
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from functools import partial

READY_S = 30.0
"""How long something is waited for; it comes in a fraction of a second where the machine is idle."""
ENVIRONMENT = {
    "PATH": f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin:/usr/bin:/bin",
    "MIBS": "",  # net-snmp: object identifiers stay numeric, and no MIB file is read
    "LC_ALL": "C.UTF-8",
}


class LabError(Exception):
    """The lab could not be built or changed."""


def command(*argv: str, stdin: str | None = None) -> str:
    """What a command printed; raises `LabError` with its complaint if it failed."""
    done = subprocess.run(
        argv, input=stdin, env=ENVIRONMENT, capture_output=True, text=True, timeout=60, check=False
    )
    if done.returncode:
        raise LabError(f"{' '.join(argv)}: exit {done.returncode}: {done.stderr}{done.stdout}")
    return done.stdout


def succeeds(*argv: str) -> bool:
    """Whether a command ends with 0."""
    with suppress(LabError):
        command(*argv)
        return True
    return False


def ip_batch(namespace: str | None, lines: Iterable[str]) -> None:
    """Runs lines of `ip` inside a namespace, in one process."""
    where = ("-n", namespace) if namespace else ()
    command("ip", *where, "-batch", "-", stdin="\n".join(lines) + "\n")


def add_namespace(name: str) -> None:
    """A namespace with its loopback up, whose IPv6 addresses hold at once.

    Without duplicate address detection (RFC 4862 5.4) no address is tentative for seconds, least
    of all those of the link, without which a router does not even ask for its neighbours.
    """
    ip_batch(None, [f"netns add {name}"])
    ip_batch(name, ["link set lo up"])
    off = "echo 0 > /proc/sys/net/ipv6/conf/default/accept_dad"
    command("ip", "netns", "exec", name, "sh", "-c", off)


def wait_for_addresses(*namespaces: str) -> None:
    """Returns when no IPv6 address of these namespaces is tentative."""

    def hold(name: str) -> bool:
        return not command("ip", "-n", name, "-6", "address", "show", "tentative")

    for name in namespaces:
        wait_for(partial(hold, name), f"addresses of {name} to hold")


def wait_for(happened: Callable[[], bool], what: str) -> None:
    """Returns as soon as something has happened; raises `LabError` after `READY_S`."""
    deadline_s = time.monotonic() + READY_S
    while not happened():
        if time.monotonic() > deadline_s:
            raise LabError(f"waited {READY_S} s in vain for {what}")
        time.sleep(0.02)
