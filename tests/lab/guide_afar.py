"""The guide from afar: devices behind a router, the far end first, the laptop where it is."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from tests.lab.agent import Agent, AgentSettings
from tests.lab.bench import FIELD
from tests.lab.segment import Segment
from tests.lab.test_readdress_lab import AFAR, case

PLAN = """\
network: {name: Harbour ring, example: true}
devices:
  - {name: a, address: 198.18.30.11/24, gateway: 198.18.30.1, present_address: 198.18.20.11/24, present_gateway: 198.18.20.1, profile: quick, snmp: field}
  - {name: b, address: 198.18.30.12/24, gateway: 198.18.30.1, present_address: 198.18.20.12/24, present_gateway: 198.18.20.1, profile: quick, snmp: field, uplink: [a]}
"""
MOVES = case(
    "198.18.20.11/24,198.18.20.1 > 198.18.30.11/24,198.18.30.1",
    "198.18.20.12/24,198.18.20.1 > 198.18.30.12/24,198.18.30.1 via a",
    **AFAR,  # type: ignore[arg-type]
)
OPTIONS = ("--remote", "--laptop", "203.0.113.9/24", "--laptop-gateway", "203.0.113.1")


class Afar(Segment):
    """The segment with agents, as the guide's tests want it."""

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self.folder = folder

    def inside(self, name: str, *argv: str) -> list[str]:
        return ["ip", "netns", "exec", self._ns(name), *argv]

    def agent(self, name: str, folder: Path) -> Agent:
        settings = AgentSettings(name=name, location="Lighthouse", access=FIELD)
        return Agent(self._ns(self.names[name]), settings, folder)


@contextmanager
def afar() -> Iterator[Afar]:
    """The segment with both devices where they are now, their agents, and the guide's files."""
    with ExitStack() as opened:
        folder = Path(opened.enter_context(tempfile.TemporaryDirectory()))
        (folder / "guide.yaml").write_text(PLAN)
        (folder / "profiles").mkdir()
        (folder / "profiles" / "quick.toml").write_text('id = "quick"\nboot_s = 3\n')
        secret = folder / "credentials.toml"
        secret.touch(0o600)
        secret.write_text('[snmp.field]\nversion = "2c"\ncommunity = "coastal-read"\n')
        built = opened.enter_context(Afar(folder))
        built.prepare(MOVES)
        for name in "ab":
            agent = built.agent(name, folder / f"agent-{name}")
            opened.callback(agent.stop)
            agent.wait_until_ready()
        yield built
