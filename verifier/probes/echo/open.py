"""Echo sockets as they can be had here, one an address family, and what helps where none can."""

from __future__ import annotations

import errno
import os
import selectors
import sys
import time
from pathlib import Path
from typing import Final, Literal, Self

from verifier.errors import CannotMeasureError
from verifier.probes.echo.sockets import LINUX, EchoSocket, Kind

_REFUSED: Final = frozenset({errno.EPERM, errno.EACCES})
_SHORTEST_SELECT_S: Final = 0.001
"""epoll counts milliseconds; less than that is slept: the kernel stamps what arrives meanwhile."""


class NotPermittedError(CannotMeasureError):
    """This user may not send echoes; the system's ping may."""


class EchoSockets:
    """The sockets of one measurement; a context manager.

    Args:
        kind: socket to use; `auto` takes a raw one, else a datagram one.
        whole: echoes leave undivided or not at all, with the don't-fragment bit (RFC 791).

    Attributes:
        by_version: those that are open, by address family (4, 6).
    """

    def __init__(
        self, kind: Literal["auto", "raw", "datagram"] = "auto", *, whole: bool = False
    ) -> None:
        self.by_version: dict[int, EchoSocket] = {}
        self._kind = kind
        self._whole = whole
        self._selector = selectors.DefaultSelector()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    def close(self) -> None:
        """Closes the sockets."""
        self._selector.close()
        while self.by_version:
            self.by_version.popitem()[1].close()

    def open(self, version: int) -> EchoSocket:
        """The socket of an address family, opened unless it is open.

        Raises CannotMeasureError, with cause and remedy, where none can be had.
        """
        if version not in self.by_version:
            self.by_version[version] = opened = open_socket(version, self._kind)
            if self._whole:
                _set_whole(opened)
            self._selector.register(opened, selectors.EVENT_READ)
        return self.by_version[version]

    def wait(self, pause_s: float) -> None:
        """Waits until something arrives, at most `pause_s`."""
        if pause_s >= _SHORTEST_SELECT_S:
            self._selector.select(pause_s)
        elif pause_s > 0:
            time.sleep(pause_s)


def _set_whole(opened: EchoSocket) -> None:
    try:
        opened.dont_fragment()
    except OSError as error:
        raise CannotMeasureError(
            f"this system cannot keep echoes from being divided: {error.strerror}"
        ) from error


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
    refused = any(e.errno in _REFUSED for e in failures.values())
    kind_of_fault = NotPermittedError if refused else CannotMeasureError
    raise kind_of_fault(_why_not(version, failures)) from failures[kinds[-1]]


def _why_not(version: int, failures: dict[Kind, OSError]) -> str:
    name = f"IPv{version}"
    if all(e.errno == errno.EAFNOSUPPORT for e in failures.values()):
        return f"cannot send {name} echoes: this machine has no {name}"
    if any(e.errno in {errno.EMFILE, errno.ENFILE} for e in failures.values()):
        return f"cannot send {name} echoes: no file descriptor is free; raise the limit (ulimit -n)"
    if not any(e.errno in _REFUSED for e in failures.values()):
        text = "; ".join(f"{k} socket: {e.strerror or e}" for k, e in failures.items())
        return f"cannot send {name} echoes: {text}"
    if not LINUX:
        return f"no permission to send {name} echoes: run it as administrator (sudo on macOS)"
    text = f"no permission to send {name} echoes"
    ways = []
    if "datagram" in failures:
        group, allowed = os.getegid(), _ping_group_range()
        text += f": net.ipv4.ping_group_range is {allowed!r} and leaves out group {group}"
        ways.append(f'sudo sysctl -w net.ipv4.ping_group_range="{group} {group}"')
    if "raw" in failures:
        text += f"{' and' if 'datagram' in failures else ':'} the capability CAP_NET_RAW is missing"
        ways.append(f"sudo setcap cap_net_raw+ep {Path(sys.executable).resolve()}")
    ways.append("run it as root")
    return f"{text}. One of these helps: {'; '.join(ways)}"


def _ping_group_range() -> str:
    try:
        return " ".join(Path("/proc/sys/net/ipv4/ping_group_range").read_text("ascii").split())
    except OSError:
        return "unknown"
