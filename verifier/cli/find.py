"""`find`."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from verifier.cli import options, output
from verifier.errors import EXIT_INTERRUPTED
from verifier.files.credentials import load_credentials
from verifier.files.profile.read import load_profiles
from verifier.model.credentials import SnmpEntry
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.model.search import Candidate, SearchResult
from verifier.report.plain import plain
from verifier.report.result import ENDINGS
from verifier.report.style import ReportStyle

if TYPE_CHECKING:
    from verifier.session.search.run import Search


@click.command()
@options.plan_argument
@click.argument("device")
@click.option("--listen", is_flag=True, help="Listen on the cable too (Linux, as root).")
@click.option(
    "--wait",
    default="65s",
    show_default=True,
    type=options.Duration(),
    metavar="DURATION",
    help="How long --listen lasts where asking finds nothing; LLDP comes every 30 s.",
)
@click.option(
    "--interface",
    "interfaces",
    multiple=True,
    metavar="NAME",
    help="Ask and listen on this cable only.  [default: all that have a carrier]",
)
@click.option(
    "--max-packets-per-s",
    default=20.0,
    show_default=True,
    type=click.FloatRange(0.1, 500),
    help="Echoes, ARP probes and SNMP requests together.",
)
@click.option(
    "--timeout",
    default="1s",
    show_default=True,
    type=options.Duration(),
    metavar="DURATION",
    help="Wait for an echo; also between two ARP probes for one address.",
)
@options.profiles_option
@options.credentials_option
@click.option("--format", "format_", type=click.Choice(["text", "json"]), help="Of the report.")
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="FILE", help="Write the report here too."
)
@click.option("--quiet", is_flag=True, help="Print the verdict alone.")
@click.option("--verbose", is_flag=True, help="List every address, faults with their place.")
def find(**given: Any) -> int:
    """Looks for the device DEVICE of PLAN that does not answer where it should.

    Asks at its planned, present, factory and temporary addresses, then at near slips of the
    planned one; at most 64, shown first. Nothing is changed, neither device nor laptop.

    Exit codes: 0 it is at its planned address; 1 it is elsewhere, something is wrong there, or
    another device is at its address; 3 it was not found, or who is there could not be told.
    """
    with output.opened(given["out"], inputs=(given["plan"], given["credentials_file"])) as place:
        search = _search(given)
        from verifier.probes.world import ThisMachine  # noqa: PLC0415 - bad input needs no probes
        from verifier.session.search.run import look_for  # noqa: PLC0415

        found = look_for(search, ThisMachine())
        _draw(found, place, given)
    return EXIT_INTERRUPTED if found.interrupted else found.exit_code()


def _search(given: dict[str, Any]) -> Search:
    plan, _ = options.load_plan(given["plan"], given["profile_folder"])
    (device,) = options.select(plan, (given["device"],), (), ())
    profiles = load_profiles({d.profile for d in plan.devices}, given["profile_folder"])
    credentials = _credentials(plan, device, profiles[device.profile], given["credentials_file"])
    from verifier.session.search.run import Search  # noqa: PLC0415

    return Search(
        plan=plan,
        device=device,
        profiles=profiles,
        credentials=credentials,
        interfaces=given["interfaces"],
        listen_s=given["wait"] if given["listen"] else None,
        packets_per_s=given["max_packets_per_s"],
        timeout_s=given["timeout"],
        show=lambda candidates: _show(candidates, given),
        say=_unsaid if given["quiet"] else _say,
    )


def _credentials(
    plan: Plan, device: Device, profile: Profile, file: Path | None
) -> dict[str, SnmpEntry]:
    """The device's entry, which must be there; those of its factory and of others if any."""
    needed = {device.snmp} if device.snmp is not None else set()
    wanted = {profile.factory.snmp, *(d.snmp for d in plan.devices)}
    useful = options.at_hand({name for name in wanted if name is not None} - needed, file)
    found = load_credentials(needed, file, os.environ, options.asker()) if needed else {}
    return {**found, **(load_credentials(useful, file, os.environ) if useful else {})}


def _show(candidates: Sequence[Candidate], given: dict[str, Any]) -> None:
    from verifier.report.search import listing  # noqa: PLC0415

    if not given["quiet"]:
        click.echo(
            listing(candidates, given["max_packets_per_s"], _look(given)), err=True, nl=False
        )


def _look(given: dict[str, Any]) -> ReportStyle:
    columns = min(100, shutil.get_terminal_size((100, 24)).columns)
    return ReportStyle(width=columns, colour=sys.stdout.isatty(), verbose=given["verbose"])


def _draw(found: SearchResult, place: output.Output, given: dict[str, Any]) -> None:
    from verifier.report import search as drawn  # noqa: PLC0415

    formats = {"text": drawn.text, "json": drawn.json}
    path: Path | None = given["out"]
    ending = ENDINGS.get(path.suffix.lower(), "text") if path else "text"
    chosen = given["format_"] or (ending if ending in formats else "text")
    if path is not None:
        place.write(formats[chosen](found, ReportStyle(verbose=given["verbose"])))
        chosen = "text"
    draw = drawn.brief if given["quiet"] else formats[chosen]
    output.show(draw(found, _look(given)))


def _say(words: str) -> None:
    click.echo(f"plan-verifier: {plain(words)}", err=True)


def _unsaid(words: str) -> None:
    del words
