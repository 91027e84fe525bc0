"""Runs the tool inside the lab, as a person would, and reads the document it writes."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.lab.network import Network
from tests.stopwatch import Stopwatch

HERE = Path(__file__).parent
Key = tuple[str, str]
"""A check and its subject in words."""


@dataclass(frozen=True, kw_only=True)
class Verified:
    """One run of `verify`.

    Attributes:
        code: exit code.
        document: the JSON on standard output.
        said: standard error.
        took_s: from start to exit, where nobody waited for a processor.
    """

    code: int
    document: dict[str, Any]
    said: str
    took_s: float

    @property
    def verdicts(self) -> dict[Key, str]:
        """The verdict of each finding; fails if two findings are of one check and subject."""
        findings = self.document["findings"]
        verdicts = {(f["check"], subject(f)): f["verdict"] for f in findings}
        assert len(verdicts) == len(findings), "two findings with one check and subject"
        return verdicts

    @property
    def not_passed(self) -> dict[Key, str]:
        """The verdict of each finding that is no `pass`."""
        return {key: verdict for key, verdict in self.verdicts.items() if verdict != "pass"}

    def of_device(self, device: str) -> set[Key]:
        """Checks of a device and its ports."""
        return {key for key in self.verdicts if key[1].split(" ")[0] == device}

    def finding(self, check: str, of: str) -> dict[str, Any]:
        """The finding of one check and subject."""
        found = [f for f in self.document["findings"] if (f["check"], subject(f)) == (check, of)]
        (one,) = found
        return dict(one)

    def observations(self, device: str, probe: str) -> Iterator[dict[str, Any]]:
        """What a probe saw of a device, in order."""
        for observation in self.document["observations"]:
            if observation["subject"]["name"] == device and observation["probe"] == probe:
                yield observation


def subject(finding: dict[str, Any]) -> str:
    """A finding's subject in words: `quarry-harbour eth2`, `Hop 1`."""
    of = finding["subject"]
    named = [(key, of[key]) for key in ("carrier", "end") if of.get(key) is not None]
    words = [of["name"], of.get("port"), *(f"{key} {value}" for key, value in named)]
    return " ".join(str(w) for w in words if w is not None)


class Tool:
    """`python -m verifier verify` for a network, run in one of its namespaces.

    Args:
        directory: gets a copy of the credentials that nobody else may read.
    """

    def __init__(self, network: Network, directory: Path) -> None:
        self._network = network
        self._directory = directory
        self._credentials = directory / "credentials.toml"
        shutil.copyfile(HERE / "credentials.toml", self._credentials)
        self._credentials.chmod(0o600)

    def verify(
        self, *options: str, plan: Path = HERE / "plan.yaml", source: str = "laptop"
    ) -> Verified:
        """Runs it to its end, 120 s at most."""
        files = ("--credentials", str(self._credentials), "--profiles", str(HERE / "profiles"))
        argv = (sys.executable, "-m", "verifier", "verify", str(plan), *files, "--format", "json")
        stopwatch = Stopwatch()
        done = subprocess.run(
            self._network.inside(source, *argv, *options),
            cwd=self._directory,
            env={**os.environ, "PYTHONWARNINGS": "error"},
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        took_s = stopwatch.alone_s
        try:
            document = json.loads(done.stdout)
        except ValueError:
            raise AssertionError(
                f"no JSON; exit {done.returncode}\n{done.stdout}\n{done.stderr}"
            ) from None
        return Verified(code=done.returncode, document=document, said=done.stderr, took_s=took_s)
