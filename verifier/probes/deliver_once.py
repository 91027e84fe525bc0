"""Tells one message, once; a program of its own that needs nothing but the standard library.

It gets what to do as JSON on its standard input, and it outlives whoever started it. A mark, made
before anything is sent and held locked meanwhile, says how far it came: a second one for the same
message waits for the first and then finds it done. So a message is told once even where the sweep
dies between telling and writing down that it was told. Ends with 0 if the message is told; else
prints why not, and takes the mark away.

It runs in a process session of its own, so that it goes on when the sweep's process group ends.
"""

from __future__ import annotations

import fcntl
import http.client
import json
import os
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from typing import Any, Final

PROGRAM: Final = __file__
"""What Python is to run."""
_DONE = b"told"


def main() -> int:
    """Reads the order, carries it out unless that is done already."""
    order = json.load(sys.stdin)
    mark = _locked(order["mark"])
    if os.pread(mark, len(_DONE), 0) == _DONE:
        return 0
    try:
        _KINDS[order["kind"]](order)
    except Exception as fault:  # noqa: BLE001 - whatever it is, the message is not told
        os.unlink(order["mark"])  # noqa: PTH108 - no pathlib: it starts faster
        sys.stdout.write(_words(fault))
        return 1
    os.pwrite(mark, _DONE, 0)
    return 0


def _locked(path: str) -> int:
    """The mark, held; where another one took it away meanwhile, a new one."""
    while True:
        mark = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        fcntl.flock(mark, fcntl.LOCK_EX)
        if os.fstat(mark).st_nlink:
            return mark
        os.close(mark)


def _command(order: dict[str, Any]) -> None:
    try:
        done = subprocess.run(  # noqa: S603 - the operator's own command, without a shell
            order["argv"],
            input=order["data"].encode(),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            timeout=order["limit_s"],
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise OSError(f"the command took longer than {order['limit_s']:g} s") from None
    if done.returncode:
        said = done.stderr.decode(errors="replace").strip().splitlines()
        raise OSError(
            f"the command ended with {done.returncode}" + (f": {said[-1]}" if said else "")
        )


def _udp(order: dict[str, Any]) -> None:
    places = socket.getaddrinfo(order["host"], order["port"], type=socket.SOCK_DGRAM)
    family, kind, protocol, _, address = places[0]
    with socket.socket(family, kind, protocol) as sending:
        sending.sendto(order["data"].encode(), address)


def _tcp(order: dict[str, Any]) -> None:
    """Octet counting: RFC 6587 section 3.4.1."""
    data = order["data"].encode()
    place = order["host"], order["port"]
    with socket.create_connection(place, timeout=order["limit_s"]) as sending:
        sending.sendall(b"%d %s" % (len(data), data))
        sending.shutdown(socket.SHUT_WR)


class _Straight(urllib.request.HTTPRedirectHandler):
    """A redirected POST would become a GET: refused instead."""

    def redirect_request(self, *_args: object, **_named: object) -> None:
        return None


def _post(order: dict[str, Any]) -> None:
    request = urllib.request.Request(  # noqa: S310 - http and https only, seen to by the caller
        order["url"], data=order["data"].encode(), headers=order["headers"], method="POST"
    )
    opener = urllib.request.build_opener(_Straight)
    with opener.open(request, timeout=order["limit_s"]) as answer:
        answer.read(1)


_KINDS = {"command": _command, "udp": _udp, "tcp": _tcp, "post": _post}


def _words(fault: Exception) -> str:
    if isinstance(fault, urllib.error.HTTPError):
        return f"the server answered {fault.code}"
    if isinstance(fault, urllib.error.URLError):
        return _words(fault.reason) if isinstance(fault.reason, Exception) else str(fault.reason)
    if isinstance(fault, http.client.HTTPException):
        return "the server's answer is not HTTP"
    if isinstance(fault, OSError) and fault.strerror:
        return fault.strerror
    return str(fault) or type(fault).__name__


if __name__ == "__main__":
    sys.exit(main())
