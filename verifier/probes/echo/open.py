"""Which kind of echo socket opens here, and what helps where none does."""

from __future__ import annotations

import errno
import os
import sys
from pathlib import Path
from typing import Literal

from verifier.errors import CannotMeasureError
from verifier.probes.echo.sockets import LINUX, EchoSocket, Kind


def open_socket(version: int, kind: Literal["auto", "raw", "datagram"]) -> EchoSocket:
    """Opens a socket; `auto` tries raw, then datagram.

    Raises CannotMeasureError, with what is missing and how to get it, where none opens.
    """
    kinds: tuple[Kind, ...] = ("raw", "datagram") if kind == "auto" else (kind,)
    failures: dict[Kind, OSError] = {}
    for each in kinds:
        try:
            return EchoSocket(version, each)
        except OSError as error:
            failures[each] = error
    raise CannotMeasureError(_why_not(version, failures)) from failures[kinds[-1]]


def _why_not(version: int, failures: dict[Kind, OSError]) -> str:
    name = f"IPv{version}"
    if all(e.errno == errno.EAFNOSUPPORT for e in failures.values()):
        return f"cannot send {name} echoes: this machine has no {name}"
    if any(e.errno in {errno.EMFILE, errno.ENFILE} for e in failures.values()):
        return f"cannot send {name} echoes: no file descriptor is free; raise the limit (ulimit -n)"
    if not any(e.errno in {errno.EPERM, errno.EACCES} for e in failures.values()):
        said = "; ".join(f"{k} socket: {e.strerror or e}" for k, e in failures.items())
        return f"cannot send {name} echoes: {said}"
    if not LINUX:
        return f"no permission to send {name} echoes: run it as administrator (sudo on macOS)"
    said = f"no permission to send {name} echoes"
    ways = []
    if "datagram" in failures:
        group, allowed = os.getegid(), _ping_group_range()
        said += f": net.ipv4.ping_group_range is {allowed!r} and leaves out group {group}"
        ways.append(f'sudo sysctl -w net.ipv4.ping_group_range="{group} {group}"')
    if "raw" in failures:
        said += f"{' and' if 'datagram' in failures else ':'} the capability CAP_NET_RAW is missing"
        ways.append(f"sudo setcap cap_net_raw+ep {Path(sys.executable).resolve()}")
    ways.append("run it as root")
    return f"{said}. One of these helps: {'; '.join(ways)}"


def _ping_group_range() -> str:
    try:
        return " ".join(Path("/proc/sys/net/ipv4/ping_group_range").read_text("ascii").split())
    except OSError:
        return "unknown"
