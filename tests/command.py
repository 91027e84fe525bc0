"""Runs `plan-verifier` as a person does: a process of its own, with pipes, signals and an exit code.

What takes the time of a short command is not the command but the start of Python and the reading of
its modules. So a process that has read them waits here, and each command is a copy of it (`fork`):
its own process, with the folder, environment and files that it is given. Nothing that a command does
can be seen in the next one. `tests/cli/test_startup.py` and the lab start the real program.
"""

from __future__ import annotations

import array
import atexit
import contextlib
import gc
import importlib
import json
import os
import pkgutil
import select
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping
from functools import cache
from pathlib import Path

import verifier
from verifier.cli import main

LATE = ("gufo.snmp", "jinja2", "openpyxl", "sqlalchemy.dialects.sqlite", "weasyprint")
"""Libraries that commands read only when they need them."""
_LENGTH = 8
_FILES = 3


def clean_environment() -> dict[str, str]:
    """The environment without settings of the tool's own."""
    return {k: v for k, v in os.environ.items() if not k.startswith("PLAN_VERIFIER_")}


def command(
    folder: Path,
    *words: str,
    env: Mapping[str, str] | None = None,
    timeout_s: float = 60,
) -> subprocess.CompletedProcess[str]:
    """`plan-verifier` with these words in a folder, to its end; what it printed is text.

    `env` is added to the clean environment; where it says how Python or its texts are to be, Python
    is started for it.

    Raises:
        subprocess.TimeoutExpired: it was ended after so many seconds.
    """
    if any(k.startswith(("PYTHON", "LC_", "LANG")) for k in env or {}):
        return subprocess.run(
            [sys.executable, "-m", "verifier", *words], cwd=folder, timeout=timeout_s,
            env={**clean_environment(), **(env or {})}, stdin=subprocess.DEVNULL,
            capture_output=True, text=True, check=False,
        )  # fmt: skip
    with (
        tempfile.TemporaryFile() as out,
        tempfile.TemporaryFile() as err,
        Path(os.devnull).open("rb") as nothing,
        socket.socket(socket.AF_UNIX) as line,
    ):
        line.settimeout(timeout_s)
        line.connect(_waiting())
        wish = json.dumps([str(folder), list(words), {**clean_environment(), **(env or {})}])
        files = array.array("i", [nothing.fileno(), out.fileno(), err.fileno()])
        rights = [(socket.SOL_SOCKET, socket.SCM_RIGHTS, files)]
        line.sendmsg([len(wish.encode()).to_bytes(_LENGTH, "big")], rights)
        line.sendall(wish.encode())
        pid = int.from_bytes(_exactly(line, _LENGTH), "big")
        try:
            code = int.from_bytes(_exactly(line, _LENGTH), "big", signed=True)
        except TimeoutError:
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
            raise subprocess.TimeoutExpired(list(words), timeout_s) from None
        out.seek(0)
        err.seek(0)
        printed = out.read().decode(), err.read().decode()
    return subprocess.CompletedProcess(list(words), code, *printed)


def _exactly(line: socket.socket, size: int) -> bytes:
    data = b""
    while len(data) < size:
        if not (more := line.recv(size - len(data))):
            raise ConnectionError("the process that starts commands has gone")
        data += more
    return data


@cache
def _waiting() -> str:
    """Where the process that has read the modules listens; it ends with this one."""
    folder = tempfile.mkdtemp(prefix="pv-")
    path = f"{folder}/commands"
    server = subprocess.Popen(
        [sys.executable, __file__, path], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        env=clean_environment(),
    )  # fmt: skip
    assert server.stdout is not None
    assert server.stdout.read(1) == b"."
    atexit.register(_end, server, Path(path))
    return path


def _end(server: subprocess.Popen[bytes], path: Path) -> None:
    server.kill()
    server.wait()
    path.unlink()
    path.parent.rmdir()


def _serve(path: str) -> None:
    """Reads the modules, then copies itself for each command, until its own input ends."""
    for found in pkgutil.walk_packages(verifier.__path__, "verifier."):
        if not found.name.endswith("__main__"):
            importlib.import_module(found.name)
    for name in LATE:
        with contextlib.suppress(ModuleNotFoundError):  # an extra that is not installed
            importlib.import_module(name)
    gc.collect()
    gc.freeze()
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    with socket.socket(socket.AF_UNIX) as door:
        door.bind(path)
        door.listen(64)
        os.write(1, b".")
        while 0 not in select.select([0, door.fileno()], [], [])[0]:
            line, _ = door.accept()
            if os.fork() == 0:
                signal.signal(signal.SIGCHLD, signal.SIG_DFL)
                door.close()
                _one(line)
                os._exit(0)
            line.close()


def _one(line: socket.socket) -> None:
    """Starts one command and waits for it; the line is told its process id, then its exit code."""
    head, rights, *_ = line.recvmsg(_LENGTH, socket.CMSG_SPACE(_FILES * array.array("i").itemsize))
    files = array.array("i")
    for _, _, data in rights:
        files.frombytes(data)
    folder, words, env = json.loads(_exactly(line, int.from_bytes(head, "big")))
    if (pid := os.fork()) == 0:
        line.close()
        for number, file in enumerate(files):
            os.dup2(file, number)
            os.close(file)
        os.chdir(folder)
        os.environ.clear()
        os.environ.update(env)
        time.tzset()
        sys.argv = ["plan-verifier", *words]
        main()  # ends with SystemExit, and so this process with its code
    line.sendall(pid.to_bytes(_LENGTH, "big"))
    _, status = os.waitpid(pid, 0)
    line.sendall(os.waitstatus_to_exitcode(status).to_bytes(_LENGTH, "big", signed=True))


if __name__ == "__main__":
    _serve(sys.argv[1])
