"""A store in SQLite and one in a real PostgreSQL server, which the tests start themselves."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from tests.conftest import postgresql_programs


class PostgreSql:
    """A server of its own in a temporary folder; root runs it as the user postgres."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._bin = postgresql_programs()
        with socket.socket() as trial:
            trial.bind(("127.0.0.1", 0))
            self.port = trial.getsockname()[1]
        self._made = 0

    def _run(self, program: str, *words: str) -> None:
        argv = [str(self._bin / program), *words]
        if os.geteuid() == 0:
            argv = ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups", *argv]
        done = subprocess.run(
            argv, cwd=self._folder, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT, text=True, check=False, timeout=60,
        )  # fmt: skip
        assert done.returncode == 0, done.stdout

    def create(self) -> None:
        data = str(self._folder / "data")
        self._run("initdb", "-D", data, "-U", "desk", "--auth=trust", "-N", "-E", "UTF8")

    def start(self) -> None:
        options = f"-p {self.port} -h 127.0.0.1 -k {self._folder} -F"
        log = str(self._folder / "log")
        self._run(
            "pg_ctl", "-D", str(self._folder / "data"), "-w", "-l", log, "-o", options, "start"
        )

    def stop(self, mode: str = "immediate") -> None:
        with suppress(AssertionError):
            self._run("pg_ctl", "-D", str(self._folder / "data"), "-w", "-m", mode, "stop")

    def restart(self) -> None:
        """As after a crash: every connection is cut."""
        self.stop()
        self.start()

    def database(self) -> str:
        """The URL of a new, empty database."""
        self._made += 1
        name = f"desk{self._made}"
        server = f"postgresql://desk@127.0.0.1:{self.port}"
        self._run("psql", "-q", "-c", f"CREATE DATABASE {name}", f"{server}/postgres")
        return f"{server}/{name}"


@contextmanager
def running_postgresql() -> Iterator[PostgreSql]:
    # Not in pytest's own folder: that one is closed to other users, and the server is one.
    folder = Path(tempfile.mkdtemp(prefix="pv-postgresql-"))
    try:
        if os.geteuid() == 0:
            shutil.chown(folder, "postgres", "postgres")
        server = PostgreSql(folder)
        server.create()
        server.start()
        try:
            yield server
        finally:
            server.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def postgresql() -> Iterator[PostgreSql]:
    with running_postgresql() as server:
        yield server


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """A store that is not there yet, in either database."""
    if request.param == "sqlite":
        return str(tmp_path / "harbour.sweeps.db")
    server: PostgreSql = request.getfixturevalue("postgresql")
    return server.database()
