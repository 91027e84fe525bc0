"""Tells what the store's outbox holds: to a file, a command, syslog, a web server.

The outbox says what is still to be told; a message leaves it when it was. A file of JSON lines
shows by itself whether a message is in it; whatever else tells does so through `deliver_once`,
which keeps a mark of its own. So each message is told once, also where this process dies in
between.

No transaction spans a store and a mail gateway, so the outbox is written with the sweep. Telling
stops where a sweep is due and goes on after it: a slow receiver delays messages, not sweeps.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shlex
import shutil
import stat
import subprocess
import sys
import urllib.parse
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from verifier.errors import StoreError, UsageError
from verifier.model.health import STATES
from verifier.probes.deliver_once import PROGRAM
from verifier.report.sweep import text
from verifier.store.store import Store, UndeliveredMessage

FIRST_PAUSE_S = 10.0
LONGEST_PAUSE_S = 3600.0
"""After a failure it is tried again: after the first pause, then twice as long, up to this."""
LIMIT_S = 30.0
"""How long telling one message may take; the default."""
_GRACE_S = 5.0
_MARK = b'{"format": "plan-verifier/change/'
_TAIL_OCTETS = 1 << 20


class DeliveryError(Exception):
    """A message was not told; `str()` says why."""


class Delivery(Protocol):
    """Somebody to be told."""

    @property
    def name(self) -> str:
        """Stands in the outbox."""

    def deliver(self, message: UndeliveredMessage) -> None:
        """Tells a message, unless that was done. Raises DeliveryError where it cannot be."""

    def forget(self, message: UndeliveredMessage) -> None:
        """The outbox knows that it was told."""


class LineFile:
    """Appends each message as one line of JSON to a file."""

    name = "lines"

    def __init__(self, path: Path) -> None:
        self._path = path

    def deliver(self, message: UndeliveredMessage) -> None:
        """See `Delivery`. A line that is there already, or only its beginning, is seen to."""
        line = (json.dumps(message.body, ensure_ascii=False) + "\n").encode()
        try:
            flags = os.O_RDWR if self._path.is_file() or not self._path.exists() else os.O_WRONLY
            file = os.open(self._path, flags | os.O_APPEND | os.O_CREAT | os.O_CLOEXEC, 0o644)
            try:
                if flags == os.O_WRONLY or not _has(file, str(message.body["id"])):
                    _append(file, line)
            finally:
                os.close(file)
        except OSError as fault:
            raise DeliveryError(f"{self._path}: {fault.strerror}") from None

    def forget(self, message: UndeliveredMessage) -> None:
        """Nothing is kept beside the file."""


def _has(file: int, id_: str) -> bool:
    """Whether the end of a file has a message; the beginning of one that is torn is cut off."""
    size = os.fstat(file).st_size
    tail = os.pread(file, _TAIL_OCTETS, max(0, size - _TAIL_OCTETS))
    whole = tail.rfind(b"\n") + 1
    torn = tail[whole:]
    if torn and _MARK.startswith(torn[: len(_MARK)]):
        os.ftruncate(file, size - len(torn))
    return f'"{id_}"'.encode() in tail[:whole]


def _append(file: int, line: bytes) -> None:
    size = os.fstat(file).st_size
    if os.write(file, line) != len(line):
        os.ftruncate(file, size)
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    if stat.S_ISREG(os.fstat(file).st_mode):
        os.fsync(file)


@dataclass(frozen=True, slots=True)
class Outside:
    """Tells by `deliver_once`.

    Attributes:
        order: makes the order of a message.
        folder: of the marks.
    """

    name: str
    order: Callable[[dict[str, Any]], dict[str, Any]]
    folder: Path
    limit_s: float = LIMIT_S

    def deliver(self, message: UndeliveredMessage) -> None:
        """See `Delivery`."""
        order = {**self.order(message.body), "mark": str(self._mark(message.id))}
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            said = self._run(json.dumps({"limit_s": self.limit_s, **order}))
        except OSError as fault:
            raise DeliveryError(f"{self.folder}: {fault.strerror}") from None
        if said is not None:
            raise DeliveryError(said or "it ended too early")

    def _run(self, order: str) -> str | None:
        """What it said where it failed; it lives on where this process dies."""
        program = [sys.executable, "-I", "-S", PROGRAM]
        with subprocess.Popen(  # noqa: S603 - our own program
            program,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            start_new_session=True,
        ) as child:
            try:
                said, _ = child.communicate(order, timeout=self.limit_s + _GRACE_S)
            except subprocess.TimeoutExpired:
                child.kill()
                return f"it took longer than {self.limit_s:g} s"
        return None if child.returncode == 0 else said

    def forget(self, message: UndeliveredMessage) -> None:
        """Takes the mark away."""
        self._mark(message.id).unlink(missing_ok=True)

    def _mark(self, number: int) -> Path:
        return self.folder / f"{self.name}-{number}"


def lines(path: Path) -> LineFile:
    """Appends to a file. Raises UsageError where it cannot be one that is written to."""
    if path.is_dir():
        raise UsageError(f"--lines: {path} is a folder; name a file")
    if not os.access(path if path.exists() else path.parent, os.W_OK):
        raise UsageError(f"--lines: {path} cannot be written")
    return LineFile(path)


def command(words: str, folder: Path, limit_s: float) -> Outside:
    """Runs a command with the message as JSON on its standard input; no shell is in between."""
    try:
        argv = shlex.split(words)
    except ValueError as fault:
        raise UsageError(f"--on-change: {fault}") from None
    if not argv:
        raise UsageError("--on-change: name a command")
    if shutil.which(argv[0]) is None:
        raise UsageError(f"--on-change: there is no command {argv[0]!r} that can be run")

    def order(body: dict[str, Any]) -> dict[str, Any]:
        return {"kind": "command", "argv": argv, "data": _json(body)}

    return Outside("command", order, folder, limit_s)


def webhook(url: str, token: str | None, folder: Path, limit_s: float) -> Outside:
    """Posts the message as JSON; any answer 2xx means that it is told."""
    parts = urllib.parse.urlsplit(url)
    if parts.scheme not in {"http", "https"} or not parts.hostname:
        raise UsageError("--webhook: write http://HOST/… or https://HOST/…")
    if parts.password is not None:
        raise UsageError(
            "--webhook: a password on the command line is seen by everybody on this machine; put a "
            "token into PLAN_VERIFIER_WEBHOOK_TOKEN"
        )

    def order(body: dict[str, Any]) -> dict[str, Any]:
        headers = {
            "Content-Type": "application/json",
            "User-Agent": "plan-verifier",
            "Idempotency-Key": f'"{body["id"]}"',
        }
        if token:
            headers["Authorization"] = f"Bearer {token}"
        return {"kind": "post", "url": url, "headers": headers, "data": _json(body)}

    return Outside("webhook", order, folder, limit_s)


_PORTS = {"udp": 514, "tcp": 601}
"""RFC 5426 section 3.3; RFC 3195 section 9.2, in use for plain TCP."""


def to_syslog(url: str, folder: Path, limit_s: float, own_name: str) -> Outside:
    """Sends the message in words, by `udp://HOST[:PORT]` or `tcp://HOST[:PORT]`.

    `own_name`: this machine's.
    """
    parts = urllib.parse.urlsplit(url)
    try:
        port = parts.port or _PORTS[parts.scheme]
    except (KeyError, ValueError):
        port = 0
    if not parts.hostname or not port:
        raise UsageError("--syslog: write udp://HOST[:PORT] or tcp://HOST[:PORT]")

    def order(body: dict[str, Any]) -> dict[str, Any]:
        data = as_syslog(body, own_name, os.getpid())
        return {"kind": parts.scheme, "host": parts.hostname, "port": port, "data": data}

    return Outside("syslog", order, folder, limit_s)


def as_syslog(body: Mapping[str, Any], host: str, process: int) -> str:
    """A message's document as an RFC 5424 message; the worst of its changes sets the severity."""
    import datetime as dt  # noqa: PLC0415

    worst = min((c["after"] for c in body["changes"]), key=STATES.index)
    first = body["changes"][0]
    about = {
        "id": body["id"],
        "network": body["network"],
        "root": f"{body['root']['kind']} {body['root']['name']}",
        "subject": f"{first['subject']['kind']} {first['subject']['name']}",
        "state": first["after"],
        "before": first["before"] or "",
        "changes": str(len(body["changes"])),
    }
    return text.message(
        severity=text.SEVERITY[worst],
        at=dt.datetime.fromisoformat(body["at"]),
        host=host,
        app="plan-verifier",
        process=str(process),
        kind="change",
        data={f"change@{text.ENTERPRISE}": about},
        text=body["text"],
    )


def _json(body: Mapping[str, Any]) -> str:
    return json.dumps(body, ensure_ascii=False) + "\n"


def marks_of(store: Store) -> Path:
    """The folder of marks: beside a SQLite store, else in this user's folder for such things."""
    if store.path is not None:
        return Path(f"{store.path}.telling")
    base = os.environ.get("STATE_DIRECTORY") or os.environ.get("XDG_STATE_HOME")
    folder = Path(base.split(":")[0]) if base else Path.home() / ".local" / "state"
    return folder / "plan-verifier" / hashlib.sha256(store.name.encode()).hexdigest()[:16]


def deliver_all(
    store: Store,
    deliveries: Sequence[Delivery],
    say: Callable[[str], None],
    stopped: Callable[[], bool],
    now_s: Callable[[], float],
) -> float | None:
    """Tells what is due, oldest first; what fails holds back what comes after it.

    `now_s` gives the time of day in seconds since 1970. Returns in how many seconds something is to
    be tried again; None: nothing waits.
    """
    waits = [_deliver_by(store, d, say, stopped, now_s) for d in deliveries]
    return min((wait for wait in waits if wait is not None), default=None)


def _deliver_by(
    store: Store,
    delivery: Delivery,
    say: Callable[[str], None],
    stopped: Callable[[], bool],
    now_s: Callable[[], float],
) -> float | None:
    for message in store.waiting(delivery.name):
        if stopped():
            return FIRST_PAUSE_S
        wait_s = message.next_s - now_s()
        if 0 < wait_s <= LONGEST_PAUSE_S:  # longer: the clock was set back
            return wait_s
        try:
            delivery.deliver(message)
        except DeliveryError as fault:
            pause_s = min(LONGEST_PAUSE_S, FIRST_PAUSE_S * 2.0**message.attempts)
            say(
                f"not told by {delivery.name}: {fault}; the message waits in the store and is "
                f"tried again after {pause_s:g} s"
            )
            store.not_delivered(delivery.name, message.id, str(fault), now_s() + pause_s)
            return pause_s
        try:
            store.delivered(delivery.name, message.id, now_s())
        except StoreError as fault:
            say(str(fault))
            return FIRST_PAUSE_S
        delivery.forget(message)
    return None
