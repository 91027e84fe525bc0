"""`demo`: a simulated network on the loopback range, the real commands, and what they find."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import click
from click import Option

from verifier.cli.command import FILE, command
from verifier.cli.later import Later
from verifier.cli.options import VERBOSE_HELP
from verifier.errors import EXIT_FAILED, EXIT_PASSED, CannotMeasureError, UsageError

if TYPE_CHECKING:
    from verifier.cli import output
    from verifier.files.credentials import load_credentials
    from verifier.files.evidence.observations import result_of
    from verifier.files.read_plan import read_plan
    from verifier.files.read_profile import load_profiles
    from verifier.model.result import Result
    from verifier.report.sentences import WORDS, sentence
    from verifier.report.style import wrapped
    from verifier.simulator.coast import FAULTS, free_port, hidden, surprises, write_files
    from verifier.simulator.running import Remote, running_process
else:
    output = Later("verifier.cli.output")
    load_credentials = Later("verifier.files.credentials:load_credentials")
    result_of = Later("verifier.files.evidence.observations:result_of")
    load_profiles = Later("verifier.files.read_profile:load_profiles")
    read_plan = Later("verifier.files.read_plan:read_plan")
    wrapped = Later("verifier.report.style:wrapped")
    WORDS = Later("verifier.report.sentences:WORDS")
    sentence = Later("verifier.report.sentences:sentence")
    FAULTS = Later("verifier.simulator.coast:FAULTS")
    free_port = Later("verifier.simulator.coast:free_port")
    hidden = Later("verifier.simulator.coast:hidden")
    surprises = Later("verifier.simulator.coast:surprises")
    write_files = Later("verifier.simulator.coast:write_files")
    running_process = Later("verifier.simulator.running:running_process")

COMMAND = "plan-verifier verify plan.yaml --profiles profiles --credentials credentials.toml"
_RESULT = "run.json"
_WIDTH = 90
_NEXT = (
    "A device that is dead to echoes cannot be shown here: the kernel answers for the whole\n"
    "loopback range. What to try next:\n\n"
    "  plan-verifier demo --keep coast   keeps plan, credentials and network; then,\n"
    "                                    in another terminal, in the folder coast:\n"
    f"  {COMMAND}\n"
    "  plan-verifier reach plan.yaml --profiles profiles --link 'Hop 1'\n"
    "  plan-verifier check plan.yaml     after changing an address in plan.yaml\n"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoOptions:
    """Whether the network stays."""

    keep: Annotated[
        Path | None,
        Option(
            ["--keep"],
            type=FILE,
            metavar="DIR",
            help="Leave plan and credentials in this new folder and the network running until "
            "Ctrl-C.",
        ),
    ]
    verbose: Annotated[
        bool,
        Option(["--verbose"], is_flag=True, help=VERBOSE_HELP),
    ]


@command(DemoOptions)
def demo(options: DemoOptions) -> int:
    """A simulated network on this machine's loopback range: the real job without hardware.

    Real SNMP and ICMP, nothing leaves this machine. Ends with 0 when the faults that were planted
    are the faults that were found. Linux only.
    """
    if sys.platform != "linux":
        raise UsageError("the simulated network needs Linux: a reply leaves from the address asked")
    with _folder(options.keep) as folder:
        write_files(folder, free_port())
        with network_of(folder) as network:
            return _show(folder, network) if options.keep is None else _keep(folder)


def _show(folder: Path, network: Remote) -> int:
    planned, _ = read_plan(folder / "plan.yaml")
    size = f"{len(planned.devices)} simulated devices, {len(planned.links)} hops"
    _say(f"{size}, set up from their plan. Nothing leaves this machine.")
    right = _run(folder)
    _say(f"{WORDS[right.verdict]}: {sentence(right)}. Now {len(FAULTS)} things go wrong:")
    for fault, words in FAULTS:
        network.put(fault)
        output.show(f"  - {words}\n")
    output.show("\n")
    wrong = _run(folder)
    echoes = [f for f in right.findings if f.check.startswith("echo.")]
    if echoes and all(f.verdict == "not-tested" for f in echoes):
        _say(f"Echoes were not tested here: {echoes[0].reason}")
    if strange := surprises(right, wrong):
        click.echo(
            f"Not as planted: missed {sorted(strange.missed)}, besides {sorted(strange.besides)}, "
            f"wrong at first {list(strange.at_first)}.",
            err=True,
        )
        return EXIT_FAILED
    failed = sum(f.verdict == "fail" for f in wrong.findings)
    _say(
        f"The {len(FAULTS)} faults were found: {failed} checks failed, those that they must make "
        f"fail and no other. {hidden(right, wrong) or 'No'} more checks could not be tested "
        "because of them."
    )
    output.show(_NEXT)
    return EXIT_PASSED


def _keep(folder: Path) -> int:
    output.show(
        f"The simulated network runs. Plan, profiles and credentials: {folder}\n"
        f"In another terminal:\n\n  cd {folder}\n  {COMMAND}\n\nCtrl-C ends it.\n"
    )
    signals = {signal.SIGINT, signal.SIGTERM}
    signal.pthread_sigmask(signal.SIG_BLOCK, signals)
    signal.sigwait(signals)
    output.show("\nended; the files stay\n")
    return EXIT_PASSED


def _say(words: str) -> None:
    output.show("\n".join(wrapped(f"== {words}", "", _WIDTH, hang="   ")) + "\n\n")


def _run(folder: Path) -> Result:
    """Runs the very command a person would type; returns the result that it wrote."""
    words = f"{COMMAND} --out {_RESULT}"
    output.show(f"$ {words}\n")
    command = [sys.executable, "-m", "verifier", *words.split()[1:]]
    # In a group of its own: Ctrl-C is for this process, which then ends that one.
    subprocess.run(command, cwd=folder, check=False, process_group=0)  # noqa: S603 - our own words
    output.show("\n")
    written = folder / _RESULT
    if not written.exists():
        raise CannotMeasureError("verify gave no result, see above")
    result = result_of(json.loads(written.read_text("utf-8")), _RESULT)
    written.unlink()
    return result


@contextmanager
def _folder(keep: Path | None) -> Iterator[Path]:
    """A folder that goes away at the end, or a new one that stays."""
    if keep is None:
        with tempfile.TemporaryDirectory(prefix="plan-verifier-") as name:
            yield Path(name)
        return
    try:
        keep.mkdir(parents=True, exist_ok=True)
        if any(keep.iterdir()):
            raise UsageError(f"{keep} is not empty: name a new folder, nothing is overwritten")
    except OSError as fault:
        raise UsageError(f"{keep} cannot be made: {fault.strerror}") from fault
    yield keep


@contextmanager
def network_of(folder: Path) -> Iterator[Remote]:
    """The devices of a folder's plan, answering in a process of their own."""
    plan, _ = read_plan(folder / "plan.yaml")
    profiles = load_profiles({d.profile for d in plan.devices}, folder / "profiles")
    names = {d.snmp for d in plan.devices if d.snmp is not None}
    credentials = load_credentials(names, folder / "credentials.toml", {})
    with running_process(plan, profiles, credentials, services=True) as network:
        yield network
