"""`profiles`: what there is, and help in making one for a device that has none."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import click
from click import Argument, Option

from verifier.cli import complete
from verifier.cli.command import FILE, HostAddress, command
from verifier.cli.later import Later
from verifier.cli.one_device import AskOptions, asked_by, silent
from verifier.cli.options import ProfileFolder
from verifier.cli.profiles_draft import draft
from verifier.errors import EXIT_PASSED, EXIT_UNTESTED

if TYPE_CHECKING:
    from verifier.cli import output
    from verifier.files.disk import read_text
    from verifier.files.read_profile import available, load_profiles, read_profile
    from verifier.model.address import Address
    from verifier.model.profile import Profile
    from verifier.report.style import plain
    from verifier.session.ask.readings import DeviceAnswers, ReadingResult
else:
    output = Later("verifier.cli.output")
    read_text = Later("verifier.files.disk:read_text")
    available = Later("verifier.files.read_profile:available")
    load_profiles = Later("verifier.files.read_profile:load_profiles")
    read_profile = Later("verifier.files.read_profile:read_profile")
    plain = Later("verifier.report.style:plain")


@click.group()
def profiles() -> None:
    """Device profiles: those there are, and one for your own device."""


profiles.add_command(draft)

# -- list, show ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class ListOptions:
    """Where profiles are looked for."""

    profile_folder: ProfileFolder


@command(ListOptions, name="list", short_help="The profiles there are.", group=profiles)
def list_(options: ListOptions) -> int:
    """The profiles there are: those of --profiles DIR, then those that come with the program."""
    from tabulate import tabulate  # noqa: PLC0415

    files = available(options.profile_folder)
    known = load_profiles(files, options.profile_folder)
    rows = [
        (p.id, p.kind, len(p.reading), plain(p.title), plain(files[p.id])) for p in known.values()
    ]
    output.show(tabulate(rows, ("id", "kind", "readings", "title", "file"), disable_numparse=True))
    output.show("\n")
    return EXIT_PASSED


@dataclass(frozen=True, slots=True, kw_only=True)
class ShowOptions:
    """Which profile is shown."""

    name: Annotated[str, Argument(["name"], shell_complete=complete.profiles)]
    profile_folder: ProfileFolder


@command(ShowOptions, short_help="Prints a profile as it is written.", group=profiles)
def show(options: ShowOptions) -> int:
    """Prints the profile NAME as it is written (TOML), to read or to begin one's own with."""
    load_profiles({options.name}, options.profile_folder)
    file = available(options.profile_folder)[options.name]
    from verifier.files.toml import MAX_TOML_BYTES  # noqa: PLC0415 - help needs none

    output.show(read_text(file, MAX_TOML_BYTES))
    return EXIT_PASSED


# -- check -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfileCheckOptions:
    """Which profile is checked, and against which device."""

    file: Annotated[Path, Argument(["file"], type=FILE)]
    against: Annotated[
        Address | None,
        Option(
            ["--against"],
            type=HostAddress(),
            metavar="ADDRESS",
            help="Read this device by it: each reading live, raw and scaled.",
        ),
    ]
    ask: AskOptions


@command(
    ProfileCheckOptions,
    short_help="A profile's faults, and what it reads off a live device.",
    group=profiles,
)
def check(options: ProfileCheckOptions) -> int:
    """Every fault of the profile FILE; with --against, what it reads off a live device.

    Reads only. Ends with 3 where a reading has no value.
    """
    profile = read_profile(options.file)
    parts = {"reading": profile.reading, "mode": profile.mode, "variant": profile.variant}
    counts = ", ".join(f"{len(p)} {name}{'' if len(p) == 1 else 's'}" for name, p in parts.items())
    sound = f"profile {plain(profile.id)}, {counts}; no fault found in it"
    if options.against is None:
        output.show(f"{plain(options.file)}: {sound}\n")
        return EXIT_PASSED
    asked = asked_by(options.against, options.ask)
    from verifier.probes.world import ThisMachine  # noqa: PLC0415
    from verifier.session.ask import readings  # noqa: PLC0415

    heard = readings.read_device(asked, profile, ThisMachine(), deadline_s=options.ask.deadline_s)
    output.show(f"{plain(options.file)}: {sound}\n")
    return silent(asked, heard) or _live(options.against, profile, heard)


def _live(address: Address, profile: Profile, heard: DeviceAnswers) -> int:
    """Prints each reading; the exit code."""
    from tabulate import tabulate  # noqa: PLC0415

    name, object_id = heard.system.get("sysName", ""), heard.system.get("sysObjectID", "none")
    output.show(f"{address} says it is {plain(name)!r}, sysObjectID {plain(object_id)}\n")
    stranger = not profile.describes(object_id)
    if stranger:
        output.show(f"not a device of this profile: object_id is {profile.object_id}\n")
    rows = [(r.name, r.oid, plain(r.raw, longest=40), _value(r)) for r in heard.readings]
    if rows:
        table = tabulate(rows, ("reading", "oid", "raw", "value"), disable_numparse=True)
        output.show(f"\n{table}\n\n")
    gaps = [r for r in heard.readings if r.gap]
    count = len(heard.readings)
    output.show(f"{count - len(gaps)} of {count} readings have a value\n")
    for reading in gaps:
        output.show(f"no value: {reading.name} ({reading.oid}): {plain(reading.gap)}\n")
    return EXIT_UNTESTED if gaps or stranger else EXIT_PASSED


def _value(result: ReadingResult) -> str:
    if result.no_signal:
        return "no signal"
    if result.value is None:
        return "-"
    if isinstance(result.value, float):
        return f"{result.value:.10g}{f' {result.reading.unit}' if result.reading.unit else ''}"
    return plain(result.value, longest=40) or '""'
