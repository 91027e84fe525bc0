"""`powercycle`."""

from __future__ import annotations

import dataclasses
import shutil
from collections.abc import Mapping, Sequence
from typing import Any, Final

import click

from verifier.cli import evidence, options
from verifier.cli.verify import STAGES, documents
from verifier.errors import EXIT_INTERRUPTED, CannotMeasureError, UsageError
from verifier.files.profile.read import load_profiles
from verifier.files.read_plan import plan_sha256
from verifier.model.cautions import CLOSING, cautions
from verifier.model.laptop import Laptop
from verifier.model.plan import Device, Plan, Stage
from verifier.model.profile import Profile
from verifier.report.plain import paragraph
from verifier.report.result import FORMATS
from verifier.rules.cable import advice
from verifier.rules.outage import behind
from verifier.rules.powercycle import WAIT_BOOTS

_SAID: Final = {
    "reading": "reading {0} ({1})",
    "ask": "restart {0} now: switch its supply off, count to ten, switch it on; it has up to {1} s",
    "gone": "{0}: gone after {1} s",
    "ping": "{0}: answers echoes again after {1} s",
    "snmp": "{0}: answers SNMP again after {1} s",
    "restarted": "{0}: restarted, up for {1} s",
    "found": "{0}: answers at {1}",
    "late": "{0}: {1} in the time that was given",
}


@click.command()
@options.plan_argument
@click.argument("names", metavar="DEVICE...", nargs=-1, required=True)
@options.profiles_option
@options.credentials_option
@options.laptop_options
@click.option("--stage", type=click.Choice(STAGES), help="Default: the plan's, else handover.")
@click.option(
    "--accept-outage",
    is_flag=True,
    help="Devices or links are cut off while these are down: go on all the same.",
)
@click.option(
    "--wait",
    "wait_s",
    type=options.Duration(),
    help="How long each may take to go, and to come back.  [default: boot time x 4]",
)
@click.option("--format", "format_", type=click.Choice(list(FORMATS)), help="Of the report.")
@evidence.evidence_options
@options.output_options
def powercycle(**given: Any) -> int:
    """Proves that settings were saved: reads each DEVICE, waits for its restart, reads again.

    A person switches the supply; this program changes nothing. Both ends of a link in one go:
    name both. A device that never went away was not restarted, and that is said.
    """
    inputs = (given["plan"], given["credentials_file"], given["key_file"])
    with evidence.places(given, inputs) as places:
        plan, problems = options.load_plan(given["plan"], given["profile_folder"])
        devices = options.select(plan, given["names"], (), ())
        _, credentials = options.load_needs(
            devices, given["profile_folder"], given["credentials_file"], with_credentials=True
        )
        everyone = {d.profile for d in plan.devices}
        profiles = load_profiles(everyone, given["profile_folder"])
        stage: Stage = given["stage"] or plan.stage or "handover"
        laptop = options.assumed_laptop(given["laptop"], given["laptop_gateway"])
        _refuse_without_link(plan, profiles, devices, laptop)
        _say_outage(plan, [d.name for d in devices], stage, accepted=given["accept_outage"])
        key = evidence.signing_key(given["key_file"])
        from verifier.probes.world import ThisMachine  # noqa: PLC0415 - help needs no probes
        from verifier.session import Request  # noqa: PLC0415
        from verifier.session.powercycle.run import powercycle as carry_out  # noqa: PLC0415
        from verifier.session.powercycle.watch import Cycle  # noqa: PLC0415

        request = Request(
            command="verify",
            plan=plan,
            plan_sha256=plan_sha256(plan),
            problems=problems,
            stage=stage,
            devices=devices,
            names=tuple(given["names"]),
            profiles=profiles,
            credentials=credentials,
            laptop=laptop,
        )
        waits = {
            d.name: given["wait_s"] or WAIT_BOOTS * profiles[d.profile].boot_s for d in devices
        }
        outcome = carry_out(Cycle(request=request, wait_s=waits, tell=_tell), ThisMachine())
        result = dataclasses.replace(outcome.result, by=given["by"], place=given["place"])
        documents(result, request, None, given, places, key)
    if outcome.interrupted:
        click.echo("interrupted; what was read so far is in the report", err=True)
        return EXIT_INTERRUPTED
    return result.exit_code(strict=given["strict"])


def _refuse_without_link(
    plan: Plan, profiles: Mapping[str, Profile], devices: Sequence[Device], laptop: Laptop | None
) -> None:
    """Raises CannotMeasureError where this laptop has no link: nothing is to be switched."""
    from verifier.probes.world import ThisMachine  # noqa: PLC0415
    from verifier.session.laptop.fit import FitQuestion, without_link  # noqa: PLC0415

    asked = FitQuestion(plan=plan, profiles=profiles, devices=devices, laptop=laptop)
    if out := without_link(asked, ThisMachine().laptop):
        raise CannotMeasureError(f"{out}: {advice(out)}. Nothing is to be switched before")


def _tell(name: str, what: str, said: str) -> None:
    _say(_SAID[what].format(name, said))


def _say(text: str, indent: str = "") -> None:
    columns = min(100, shutil.get_terminal_size((100, 24)).columns)
    click.echo("\n".join(paragraph(text, indent, columns)), err=True)


def _say_outage(plan: Plan, names: list[str], stage: Stage, *, accepted: bool) -> None:
    """What is cut off meanwhile. Raises UsageError where something is and nobody accepted it."""
    cut = behind(plan, names, stage=stage)
    if not cut.anything:
        where = "on the bench no link is built, and " if stage == "bench" else ""
        _say(f"{where}nothing in the plan hangs behind: only the device itself will be away")
    else:
        told = []
        if cut.links:
            told.append(f"traffic drops on {', '.join(cut.links)}")
        if cut.devices:
            told.append(f"cut off behind: {', '.join(cut.devices)}")
        outage = "; ".join(told)
        if not accepted:
            raise UsageError(f"while they restart, {outage}: --accept-outage if that may be")
        _say(f"while they restart, {outage}")
    for caution in (*map(str, cautions("powercycle")), CLOSING):
        _say(caution, "  ")
