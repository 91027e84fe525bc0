"""Telling: to real receivers, once, also where things break in between."""

from __future__ import annotations

import http.server
import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.report.sweep.test_syslog import SYSLOG_MSG
from tests.stopwatch import Stopwatch
from tests.store import examples
from verifier.errors import UsageError
from verifier.session.sweep import deliver
from verifier.store.store import Store, opened


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with opened(str(tmp_path / "harbour.sweeps.db")) as kept:
        yield kept


def put(store: Store, delivery: str, count: int = 1, first: int = 1) -> None:
    notices = [examples.notice(f"n-{n}") for n in range(first, first + count)]
    store.save(examples.sweep(), notices=notices, deliveries=[delivery])


def attempt(
    store: Store, delivery: deliver.Delivery, said: list[str] | None = None
) -> float | None:
    return deliver.deliver_all(
        store, [delivery], (said if said is not None else []).append, lambda: False, time.time
    )


def documents(path: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


class Receiver:
    """A real HTTP server on the loopback range that answers as it is told to."""

    def __init__(self) -> None:
        self.status = 200
        self.got: list[tuple[dict[str, str], bytes]] = []
        self.delay_s = 0.0
        receiver = self

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                time.sleep(receiver.delay_s)
                receiver.got.append((dict(self.headers), body))
                self.send_response(receiver.status)
                if receiver.status == 302:
                    self.send_header("Location", "/elsewhere")
                self.end_headers()

            def log_message(self, *words: object) -> None:
                pass

        self.server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.server.server_port}/desk"


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    made = Receiver()
    thread = threading.Thread(target=made.server.serve_forever, daemon=True)
    thread.start()
    yield made
    made.server.shutdown()
    made.server.server_close()
    thread.join()


def test_lines_are_appended_once(store: Store, tmp_path: Path) -> None:
    """A message that is in the file already, its telling not noted, is not written again."""
    path = tmp_path / "changes.jsonl"
    path.write_text('{"id": "somebody else\'s"}\n')
    put(store, "lines", 2)
    lines = deliver.LineFile(path)
    lines.deliver(store.waiting("lines")[0])
    assert attempt(store, deliver.LineFile(path)) is None
    assert [d["id"] for d in documents(path)] == ["somebody else's", "n-1", "n-2"]
    assert store.waiting("lines") == []


def test_a_torn_line_is_mended(store: Store, tmp_path: Path) -> None:
    """The beginning of a line that a crash left is taken away; another's line is left alone."""
    path = tmp_path / "changes.jsonl"
    path.write_text('{"format": "plan-verifier/change/1", "id": "n-')
    put(store, "lines")
    attempt(store, deliver.LineFile(path))
    assert [d["id"] for d in documents(path)] == ["n-1"]


def test_a_full_disk_tears_no_line(store: Store) -> None:
    """What cannot be written is said, and tried again later."""
    said: list[str] = []
    put(store, "lines")
    assert attempt(store, deliver.LineFile(Path("/dev/full")), said) == deliver.FIRST_PAUSE_S
    assert "No space left" in said[0]
    assert len(store.waiting("lines")) == 1


def test_a_command_gets_the_message(store: Store, tmp_path: Path) -> None:
    """As JSON on its standard input; its words are its own, no shell reads them."""
    out = tmp_path / "it's $HOME; out"
    put(store, "command", 2)
    delivery = deliver.command(f"tee -a '{tmp_path}/it'\"'\"'s $HOME; out'", tmp_path / "m", 10.0)
    assert attempt(store, delivery) is None
    assert [d["id"] for d in documents(out)] == ["n-1", "n-2"]
    assert documents(out)[0]["changes"][0]["after"] == "silent"
    assert list((tmp_path / "m").iterdir()) == []


def test_a_command_that_fails_is_tried_again(store: Store, tmp_path: Path) -> None:
    """Not at once: after 10 s, then 20 s; what comes after it waits for it."""
    said: list[str] = []
    put(store, "command", 2)
    delivery = deliver.command("sh -c 'echo broken >&2; exit 3'", tmp_path / "m", 10.0)
    assert attempt(store, delivery, said) == 10.0
    assert "ended with 3: broken" in said[0]
    wait_s = attempt(store, delivery, said)
    assert wait_s is not None
    assert 8.0 < wait_s <= 10.0
    assert len(said) == 1
    first, second = store.waiting("command")
    assert (first.attempts, second.attempts) == (1, 0)
    store.not_delivered("command", first.id, "", 0.0)
    assert attempt(store, delivery, said) == 40.0


def test_a_command_has_a_time_limit(store: Store, tmp_path: Path) -> None:
    said: list[str] = []
    put(store, "command")
    stopwatch = Stopwatch()
    attempt(store, deliver.command("sleep 60", tmp_path / "m", 0.3), said)
    assert stopwatch.alone_s < 10
    assert "longer than 0.3 s" in said[0]


def test_a_command_that_is_no_longer_there_is_said(store: Store, tmp_path: Path) -> None:
    said: list[str] = []
    put(store, "command")
    program = tmp_path / "page-somebody"
    program.write_text("#!/bin/sh\n")
    program.chmod(0o755)
    delivery = deliver.command(str(program), tmp_path / "m", 5.0)
    program.unlink()
    attempt(store, delivery, said)
    assert "No such file" in said[0]


def test_a_death_between_telling_and_noting_tells_once(store: Store, tmp_path: Path) -> None:
    """The message was told; the store does not know. The mark does."""
    out = tmp_path / "out"
    put(store, "command")
    delivery = deliver.command(f"tee -a {out}", tmp_path / "m", 10.0)
    delivery.deliver(store.waiting("command")[0])  # and here the process dies
    assert attempt(store, deliver.command(f"tee -a {out}", tmp_path / "m", 10.0)) is None
    assert len(documents(out)) == 1
    assert list((tmp_path / "m").iterdir()) == []


def test_telling_outlives_the_one_who_started_it(tmp_path: Path) -> None:
    """Killed while the command runs: it runs to its end, and a second one waits and tells nothing."""
    out, folder = tmp_path / "out", tmp_path / "m"
    code = (
        "import sys; from pathlib import Path; from verifier.session.sweep import deliver\n"
        "from verifier.store.store import UndeliveredMessage\n"
        "words = f\"sh -c 'sleep 1; cat >> {sys.argv[1]}'\"\n"
        "delivery = deliver.command(words, Path(sys.argv[2]), 20.0)\n"
        "print('go', flush=True)\n"
        "delivery.deliver(UndeliveredMessage(1, {'id': 'n-1'}, 0, 0.0))\n"
    )
    argv = [sys.executable, "-c", code, str(out), str(folder)]
    first = subprocess.Popen(argv, stdout=subprocess.PIPE, text=True, start_new_session=True)
    assert first.stdout is not None
    assert first.stdout.readline() == "go\n"
    until_s = time.monotonic() + 60
    while not (folder / "command-1").exists() and time.monotonic() < until_s:
        time.sleep(0.01)
    os.killpg(first.pid, signal.SIGKILL)  # the whole group: telling is in one of its own
    first.communicate()
    assert not out.exists()
    subprocess.run(argv, check=True, stdout=subprocess.DEVNULL, timeout=30)
    assert documents(out) == [{"id": "n-1"}]


def test_a_webhook_gets_the_message(store: Store, tmp_path: Path, receiver: Receiver) -> None:
    """POST, JSON, a key that shows repetitions, the token from the environment."""
    put(store, "webhook")
    delivery = deliver.webhook(receiver.url, "tide-table", tmp_path / "m", 5.0)
    assert attempt(store, delivery) is None
    ((headers, body),) = receiver.got
    assert json.loads(body)["id"] == "n-1"
    assert headers["Content-Type"] == "application/json"
    assert headers["Idempotency-Key"] == '"n-1"'
    assert headers["Authorization"] == "Bearer tide-table"


@pytest.mark.parametrize("status", [302, 404, 500, 503])
def test_a_webhook_that_refuses_is_tried_again(
    store: Store, tmp_path: Path, receiver: Receiver, status: int
) -> None:
    """Any answer but 2xx; a redirect is not followed. When it works, each message comes once."""
    said: list[str] = []
    put(store, "webhook", 2)
    delivery = deliver.webhook(receiver.url, None, tmp_path / "m", 5.0)
    receiver.status = status
    assert attempt(store, delivery, said) == 10.0
    assert f"the server answered {status}" in said[0]
    assert len(receiver.got) == 1
    receiver.status = 204
    store.not_delivered("webhook", store.waiting("webhook")[0].id, "", 0.0)
    assert attempt(store, delivery) is None
    assert [json.loads(body)["id"] for _, body in receiver.got] == ["n-1", "n-1", "n-2"]


@pytest.mark.parametrize(
    ("url", "words"),
    [
        ("http://127.0.0.1:9/x", "refused"),
        ("http://no-such-host.invalid/x", "not known|resolution|No address"),
    ],
)
def test_a_webhook_out_of_reach_is_said(store: Store, tmp_path: Path, url: str, words: str) -> None:
    """Nobody there; no such name, or no DNS at all."""
    said: list[str] = []
    put(store, "webhook")
    assert attempt(store, deliver.webhook(url, "tide-table", tmp_path / "m", 5.0), said) == 10.0
    assert re.search(words, said[0])
    assert "tide-table" not in said[0]


@pytest.mark.parametrize("scheme", ["udp", "tcp"])
def test_a_syslog_host_without_a_name_is_said(store: Store, tmp_path: Path, scheme: str) -> None:
    """No such name, or no DNS at all: the message waits, and is told when there is one."""
    said: list[str] = []
    put(store, "syslog")
    nobody = deliver.to_syslog(f"{scheme}://no-such-host.invalid", tmp_path / "m", 5.0, "desk")
    assert attempt(store, nobody, said) == 10.0
    assert re.search("not known|resolution|No address|longer than", said[0])
    assert len(store.waiting("syslog")) == 1


def test_a_slow_webhook_is_given_up(store: Store, tmp_path: Path, receiver: Receiver) -> None:
    said: list[str] = []
    put(store, "webhook")
    receiver.delay_s = 2.0
    stopwatch = Stopwatch()
    attempt(store, deliver.webhook(receiver.url, None, tmp_path / "m", 0.3), said)
    assert stopwatch.alone_s < 8
    assert "timed out" in said[0]


@contextmanager
def listening(kind: socket.SocketKind) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_INET, kind) as heard:
        heard.bind(("127.0.0.1", 0))
        heard.settimeout(10)
        yield heard


def test_syslog_by_udp(store: Store, tmp_path: Path) -> None:
    """One datagram a message, after the grammar of RFC 5424; silent is an error (local0.error)."""
    put(store, "syslog")
    with listening(socket.SOCK_DGRAM) as heard:
        url = f"udp://127.0.0.1:{heard.getsockname()[1]}"
        assert attempt(store, deliver.to_syslog(url, tmp_path / "m", 5.0, "desk")) is None
        match = SYSLOG_MSG.fullmatch(heard.recv(65535).decode())
    assert match is not None
    assert (match["pri"], match["app"], match["kind"]) == ("131", "plan-verifier", "change")
    assert match["at"] == "2026-11-24T06:05:00Z"
    assert 'state="silent"' in match["data"]
    assert match["text"] == "\ufefflighthouse-quarry is silent (was sound): Größe"


def test_syslog_by_tcp(store: Store, tmp_path: Path) -> None:
    """Each message after its length in octets: RFC 6587 section 3.4.1."""
    put(store, "syslog", 2)
    got = []
    with listening(socket.SOCK_STREAM) as heard:
        heard.listen()

        def take() -> None:
            for _ in range(2):
                connection, _ = heard.accept()
                with connection:
                    got.append(connection.makefile("rb").read())

        taking = threading.Thread(target=take)
        taking.start()
        url = f"tcp://127.0.0.1:{heard.getsockname()[1]}"
        assert attempt(store, deliver.to_syslog(url, tmp_path / "m", 5.0, "desk")) is None
        taking.join(10)
    for data in got:
        length, _, rest = data.partition(b" ")
        assert int(length) == len(rest)
        assert SYSLOG_MSG.fullmatch(rest.decode()) is not None
    assert len(got) == 2


def test_a_clock_set_back_holds_nothing_back(store: Store, tmp_path: Path) -> None:
    """A next try that lies further ahead than any pause is due now."""
    put(store, "lines")
    store.not_delivered(
        "lines", store.waiting("lines")[0].id, "refused", time.time() + 86_400 * 365
    )
    assert attempt(store, deliver.LineFile(tmp_path / "changes.jsonl")) is None
    assert store.waiting("lines") == []


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda m: deliver.command("", m, 1.0), "name a command"),
        (lambda m: deliver.command("'", m, 1.0), "--on-change"),
        (lambda m: deliver.webhook("ftp://127.0.0.1/x", None, m, 1.0), "--webhook"),
        (lambda m: deliver.webhook("http://", None, m, 1.0), "--webhook"),
        (lambda m: deliver.webhook("http://desk:pw@127.0.0.1/", None, m, 1.0), "seen by everybody"),
        (lambda m: deliver.to_syslog("127.0.0.1", m, 1.0, "desk"), "--syslog"),
        (lambda m: deliver.to_syslog("udp://127.0.0.1:x", m, 1.0, "desk"), "--syslog"),
        (lambda m: deliver.to_syslog("tls://127.0.0.1", m, 1.0, "desk"), "--syslog"),
    ],
)
def test_receivers_that_cannot_be_meant(tmp_path: Path, make: Any, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        make(tmp_path)
