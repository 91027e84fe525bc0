"""net-snmp's agent: its settings, and one running process of it."""

from __future__ import annotations

import secrets
import subprocess
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import psutil

from tests.lab.shell import ENVIRONMENT, LabError, command, wait_for

OBJECT_ID = "1.3.6.1.4.1.32473.1.20"
SYS_NAME = "1.3.6.1.2.1.1.5.0"


def own_engine_id() -> str:
    """An engine id that no other agent has, in hexadecimal: RFC 3411, SnmpEngineID, format 5.

    The one that net-snmp makes hangs on the moment of its start, and many start at once here.
    """
    return f"80007ed905{secrets.token_hex(12)}"


@dataclass(frozen=True, kw_only=True)
class AgentSettings:
    """What an agent says of its device, and to whom it answers.

    Attributes:
        access: an entry of the credentials file.
        engine_id: in hexadecimal; empty: each agent that is started gets one of its own.
    """

    name: str
    location: str
    access: Mapping[str, str]
    engine_id: str = ""

    def lines(self) -> str:
        """The agent's configuration (snmpd.conf(5))."""
        access = self.access
        if access["version"] == "3":
            opened = (
                f'createUser {access["user"]} SHA-256 "{access["auth_key"]}"'
                f' AES "{access["priv_key"]}"\nrouser {access["user"]} authpriv\n'
            )
        else:
            opened = f"rocommunity {access['community']}\nrocommunity6 {access['community']}\n"
        return (
            f"exactEngineID 0x{self.engine_id or own_engine_id()}\nagentAddress udp:161,udp6:161\nsysName {self.name}\nsysLocation {self.location}\n"
            f"sysContact desk\nsysObjectID {OBJECT_ID}\n{opened}"
        )

    def client_options(self) -> list[str]:
        """The options with which net-snmp's own programs ask this agent (snmpcmd(1))."""
        access = self.access
        if access["version"] != "3":
            return ["-v", "2c", "-c", access["community"]]
        return [
            *("-v", "3", "-l", "authPriv", "-u", access["user"]),
            *("-a", "SHA-256", "-A", access["auth_key"], "-x", "AES", "-X", access["priv_key"]),
        ]


def listens(process: subprocess.Popen[bytes], address: str, port: int) -> bool:
    """Returns when this process, and no other, has the port; false where it ended without it.

    Another run of the tests may have taken a port that was free a moment ago.
    """
    until = time.monotonic() + 60
    while process.poll() is None:
        with suppress(psutil.Error):
            held = psutil.Process(process.pid).net_connections("udp")
            if (address, port) in {tuple(c.laddr) for c in held}:
                return True
        assert time.monotonic() < until, "snmpd does not start"
        time.sleep(0.02)
    return False


class Agent:
    """A running agent. Its directory keeps nothing of an earlier one: boots and engine are new."""

    def __init__(self, namespace: str, settings: AgentSettings, directory: Path) -> None:
        self._settings = settings
        self._enter = ("ip", "netns", "exec", namespace)
        self._log = directory / "log"
        directory.mkdir()
        conf = directory / "snmpd.conf"
        conf.write_text(settings.lines(), encoding="utf-8")
        self._process = subprocess.Popen(
            [*self._enter, "snmpd", "-f", "-C", "-c", str(conf), "-Lf", str(self._log)],
            env={**ENVIRONMENT, "SNMP_PERSISTENT_DIR": str(directory / "persistent")},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    def wait_until_ready(self) -> None:
        """Returns when it answers its own name; raises `LabError` with its log if it never does."""
        try:
            wait_for(self._answers, f"the agent of {self._settings.name}")
        except LabError as error:
            log = self._log.read_text(errors="replace") if self._log.exists() else "no log"
            raise LabError(f"{error}: {log[-500:]}") from None

    def _answers(self) -> bool:
        asked = ("-t", "0.2", "-r", "0", "-Oqv", "127.0.0.1", SYS_NAME)
        with suppress(LabError):
            got = command(*self._enter, "snmpget", *self._settings.client_options(), *asked)
            return got.strip().strip('"') == self._settings.name
        return False

    def stop(self) -> None:
        """Ends it and waits for its end."""
        self._process.terminate()
        try:
            self._process.wait(3)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
