"""`profiles`: what there is, and help in making one for a device that has none."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import click
from click import Argument, IntRange, Option

from verifier.cli import output
from verifier.cli.command import FILE, HostAddress, command
from verifier.cli.inputs import UNNAMED, AskOptions, asked_by, silent
from verifier.cli.options import ProfileFolder
from verifier.errors import EXIT_PASSED, EXIT_UNTESTED, UsageError
from verifier.files.disk import read_text, write_new
from verifier.files.output import opened
from verifier.files.read_profile import available, load_profiles, read_profile
from verifier.files.toml import MAX_TOML_BYTES
from verifier.model.address import Address
from verifier.model.profile import Profile
from verifier.report.style import plain
from verifier.rules import profile_draft as rules

if TYPE_CHECKING:
    from verifier.session.ask.readings import DeviceAnswers, ReadingResult


_ROOT = "1.3.6.1.4.1"
_OID = re.compile(r"[0-9]+(\.[0-9]+)*")


class _FigureType(click.ParamType[rules.Figure]):
    """`FIELD=VALUE`."""

    name = "field=value"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> rules.Figure:
        """The figure; refuses a name that no reading has, and what its value cannot be."""
        if isinstance(value, rules.Figure):
            return value
        name, equals, text = str(value).partition("=")
        field = next((f for f in rules.FIELDS if f == name.strip()), None)
        if not equals:
            self.fail(f"{value!r}: write FIELD=VALUE", param, ctx)
        if field is None:
            near = difflib.get_close_matches(name.strip(), rules.FIELDS, n=1)
            hint = f"; did you mean {near[0]}?" if near else f": one of {', '.join(rules.FIELDS)}"
            self.fail(f"there is no reading {name.strip()!r}{hint}", param, ctx)
        try:
            return rules.figure(field, text)
        except ValueError as fault:
            self.fail(str(fault), param, ctx)


def _each_once(
    ctx: click.Context, param: click.Parameter, value: tuple[rules.Figure, ...]
) -> tuple[rules.Figure, ...]:
    """Refuses a field that is named twice."""
    fields = [figure.field for figure in value]
    for n, field in enumerate(fields):
        if field in fields[:n]:
            raise click.BadParameter(f"{field} is given twice", ctx, param)
    return value


class _BelowEnterprises(click.ParamType[str]):
    """An object identifier below the enterprises: a whole MIB is never walked."""

    name = "oid"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> str:
        """The identifier without a dot before it."""
        root = str(value).strip().removeprefix(".")
        if not _OID.fullmatch(root) or not f"{root}.".startswith(f"{_ROOT}."):
            self.fail(f"{value!r} is not {_ROOT} or below it", param, ctx)
        return root


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftOptions:
    """Which device is walked, what its page shows, and where the draft goes."""

    address: Annotated[Address, Argument(["address"], type=HostAddress())]
    figures: Annotated[
        tuple[rules.Figure, ...],
        Option(
            ["--seen"],
            multiple=True,
            required=True,
            metavar="FIELD=VALUE",
            type=_FigureType(),
            callback=_each_once,
            help="What the device's own page shows now: rx_level_dbm=-45.6, tx_mhz=13143; "
            "repeatable.",
        ),
    ]
    out: Annotated[
        Path | None,
        Option(
            ["--out"],
            type=FILE,
            metavar="FILE",
            help="Write the profile here; never over a file that is there.",
        ),
    ]
    root: Annotated[
        str,
        Option(
            ["--root"],
            default=_ROOT,
            show_default=True,
            type=_BelowEnterprises(),
            metavar="OID",
            help="Look below this object identifier only.",
        ),
    ]
    max_objects: Annotated[
        int,
        Option(
            ["--max-objects"],
            default=10_000,
            show_default=True,
            type=IntRange(1, 1_000_000),
            help="Stop after so many objects.",
        ),
    ]
    ask: AskOptions


@command(
    DraftOptions,
    short_help="A profile for your own device, from what its page shows.",
)
def draft(options: DraftOptions) -> int:
    """Which objects of the device at ADDRESS show these figures; writes a profile that reads them.

    Reads only: walks the maker's objects, lists those whose scaled value fits. Ends with 3 where
    a figure fits nothing.
    """
    address, out, ask = options.address, options.out, options.ask
    _refuse_old(out)
    asked = asked_by(address, ask)
    from verifier.probes.world import ThisMachine  # noqa: PLC0415
    from verifier.report import profile_draft as report  # noqa: PLC0415
    from verifier.session.ask import readings  # noqa: PLC0415

    heard = readings.walk_device(
        asked,
        options.root,
        ThisMachine(),
        max_objects=options.max_objects,
        deadline_s=ask.deadline_s,
    )
    if code := silent(asked, heard):
        return code
    whole = f"not all: {plain(heard.cut)}" if heard.cut else "all of them"
    name = plain(heard.system.get("sysName", ""))
    count = f"{len(heard.shown)} objects below {options.root} ({whole})"
    output.show(f"{address} says it is {name!r}: {count}\n\n")
    candidates = rules.find(options.figures, heard.shown)
    output.show(report.listing(candidates))
    if out is not None:
        text = report.toml(out.stem or UNNAMED, heard.system, candidates)
        write_new(out, text.encode())
        output.show(f"\n{plain(out)}: the draft. Read it, put right what is a guess, try it:\n")
        how = f" --credentials {plain(file)}" if (file := ask.credentials_file) else ""
        how += f" --entry {plain(ask.entry)}" if ask.entry else ""
        output.show(f"  plan-verifier profiles check {plain(out)} --against {address}{how}\n")
    return EXIT_PASSED if all(c.fits for c in candidates) else EXIT_UNTESTED


def _refuse_old(out: Path | None) -> None:
    """Raises UsageError where a new file cannot be made there, before anything is asked."""
    if out is None:
        return
    if out.exists() or out.is_symlink():
        raise UsageError(f"{out} is there already: nothing is overwritten, name a new file")
    with opened(out):
        pass


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

    name: Annotated[str, Argument(["name"])]
    profile_folder: ProfileFolder


@command(ShowOptions, short_help="Prints a profile as it is written.", group=profiles)
def show(options: ShowOptions) -> int:
    """Prints the profile NAME as it is written (TOML), to read or to begin one's own with."""
    load_profiles({options.name}, options.profile_folder)
    file = available(options.profile_folder)[options.name]
    output.show(read_text(file, MAX_TOML_BYTES))
    return EXIT_PASSED


# -- check -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckOptions:
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
    CheckOptions,
    short_help="A profile's faults, and what it reads off a live device.",
    group=profiles,
)
def check(options: CheckOptions) -> int:
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
