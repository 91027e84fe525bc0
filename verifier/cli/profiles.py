"""`profiles`: what there is, and help in making one for a device that has none."""

from __future__ import annotations

import difflib
import os
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from verifier.cli import options, output
from verifier.errors import EXIT_PASSED, EXIT_UNTESTED, InputError, UsageError
from verifier.files.credentials import entry_names, load_credentials
from verifier.files.disk import read_text
from verifier.files.profile.read import available, load_profiles, read_profile
from verifier.files.toml import MAX_TOML_BYTES
from verifier.model.address import Address
from verifier.model.credentials import SnmpEntry
from verifier.model.profile import Profile
from verifier.report.plain import plain
from verifier.rules.profile import draft as rules

if TYPE_CHECKING:
    from verifier.session.ask.one_device import Asked, DeviceAnswers
    from verifier.session.ask.readings import ReadingResult

_UNNAMED = "device"
"""The entry that is looked for in the environment, or asked for, where there is no file."""
_ROOT = "1.3.6.1.4.1"
_OID = re.compile(r"[0-9]+(\.[0-9]+)*")

_asking = options.together(
    options.credentials_option,
    click.option(
        "--entry", metavar="NAME",
        help="Entry of the credentials.  [default: the only one of the file; no file: device]",
    ),
    click.option("--port", type=click.IntRange(1, 65535), help="UDP port.  [default: the entry's]"),
    click.option(
        "--timeout", default="2s", show_default=True, type=options.Duration(),
        help="Wait for an answer; a question is asked twice.",
    ),
    click.option(
        "--deadline", default="60s", show_default=True, type=options.Duration(),
        help="Stop reading the device after this time.",
    ),
    click.option("--verbose", is_flag=True, help="Faults of this program with their place."),
)  # fmt: skip


@click.group()
def profiles() -> None:
    """Device profiles: those there are, and one for your own device."""


@profiles.command("list", short_help="The profiles there are.")
@options.profiles_option
def list_(*, profile_folder: Path | None) -> int:
    """The profiles there are: those of --profiles DIR, then those that come with the program."""
    from tabulate import tabulate  # noqa: PLC0415

    files = available(profile_folder)
    known = load_profiles(files, profile_folder)
    rows = [
        (p.id, p.kind, len(p.reading), plain(p.title), plain(files[p.id])) for p in known.values()
    ]
    output.show(tabulate(rows, ("id", "kind", "readings", "title", "file"), disable_numparse=True))
    output.show("\n")
    return EXIT_PASSED


@profiles.command(short_help="Prints a profile as it is written.")
@click.argument("name")
@options.profiles_option
def show(*, name: str, profile_folder: Path | None) -> int:
    """Prints the profile NAME as it is written (TOML), to read or to begin one's own with."""
    load_profiles({name}, profile_folder)
    output.show(read_text(available(profile_folder)[name], MAX_TOML_BYTES))
    return EXIT_PASSED


@profiles.command(short_help="A profile's faults, and what it reads off a live device.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--against", type=options.HostAddress(), metavar="ADDRESS",
    help="Read this device by it: each reading live, raw and scaled.",
)  # fmt: skip
@_asking
def check(*, file: Path, against: Address | None, **given: Any) -> int:
    """Every fault of the profile FILE; with --against, what it reads off a live device.

    Reads only. Ends with 3 where a reading has no value.
    """
    profile = read_profile(file)
    parts = {"reading": profile.reading, "mode": profile.mode, "variant": profile.variant}
    counts = ", ".join(f"{len(p)} {name}{'' if len(p) == 1 else 's'}" for name, p in parts.items())
    if against is None:
        output.show(f"{plain(file)}: profile {plain(profile.id)}, {counts}; no fault found in it\n")
        return EXIT_PASSED
    asked = _asked(against, given)
    from verifier.probes.world import ThisMachine  # noqa: PLC0415
    from verifier.session.ask import one_device  # noqa: PLC0415

    heard = one_device.read(asked, profile, ThisMachine(), deadline_s=given["deadline"])
    output.show(f"{plain(file)}: profile {plain(profile.id)}, {counts}; no fault found in it\n")
    return _silent(asked, heard) or _live(against, profile, heard)


def _live(address: Address, profile: Profile, heard: DeviceAnswers) -> int:
    """Prints each reading; the exit code."""
    from tabulate import tabulate  # noqa: PLC0415

    name, object_id = heard.system.get("sysName", ""), heard.system.get("sysObjectID", "none")
    output.show(f"{address} says it is {plain(name)!r}, sysObjectID {plain(object_id)}\n")
    wanted = profile.object_id
    stranger = wanted is not None and not f"{object_id}.".startswith(f"{wanted}.")
    if stranger:
        output.show(f"not a device of this profile: object_id is {wanted}\n")
    rows = [(g.name, g.oid, plain(g.raw, longest=40), _value(g)) for g in heard.got]
    if rows:
        table = tabulate(rows, ("reading", "oid", "raw", "value"), disable_numparse=True)
        output.show(f"\n{table}\n\n")
    gaps = [g for g in heard.got if g.gap]
    output.show(f"{len(heard.got) - len(gaps)} of {len(heard.got)} readings have a value\n")
    for got in gaps:
        output.show(f"no value: {got.name} ({got.oid}): {plain(got.gap)}\n")
    return EXIT_UNTESTED if gaps or stranger else EXIT_PASSED


def _value(got: ReadingResult) -> str:
    if got.no_signal:
        return "no signal"
    if got.value is None:
        return "-"
    if isinstance(got.value, float):
        return f"{got.value:.10g}{f' {got.reading.unit}' if got.reading.unit else ''}"
    return plain(got.value, longest=40) or '""'


def _figures(
    ctx: click.Context, param: click.Parameter, value: tuple[str, ...]
) -> tuple[rules.Figure, ...]:
    """Reads each FIELD=VALUE; refuses a name that no reading has, and what its value cannot be."""
    found: dict[str, rules.Figure] = {}
    for words in value:
        name, equals, text = words.partition("=")
        name = name.strip()
        if not equals:
            raise click.BadParameter(f"{words!r}: write FIELD=VALUE", ctx, param)
        if name not in rules.FIELDS:
            near = difflib.get_close_matches(name, rules.FIELDS, n=1)
            hint = f"; did you mean {near[0]}?" if near else f": one of {', '.join(rules.FIELDS)}"
            raise click.BadParameter(f"there is no reading {name!r}{hint}", ctx, param)
        if name in found:
            raise click.BadParameter(f"{name} is given twice", ctx, param)
        try:
            found[name] = rules.figure(name, text)
        except ValueError as fault:
            raise click.BadParameter(str(fault), ctx, param) from None
    return tuple(found.values())


def _root(ctx: click.Context, param: click.Parameter, value: str) -> str:
    """Refuses what is not below the enterprises: a whole MIB is never walked."""
    root = value.strip().removeprefix(".")
    if not _OID.fullmatch(root) or not f"{root}.".startswith(f"{_ROOT}."):
        raise click.BadParameter(f"{value!r} is not {_ROOT} or below it", ctx, param)
    return root


@profiles.command(short_help="A profile for your own device, from what its page shows.")
@click.argument("address", type=options.HostAddress())
@click.option(
    "--seen",
    "figures",
    multiple=True,
    required=True,
    metavar="FIELD=VALUE",
    callback=_figures,
    help="What the device's own page shows now: rx_level_dbm=-45.6, tx_mhz=13143; repeatable.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write the profile here; never over a file that is there.",
)
@click.option(
    "--root",
    default=_ROOT,
    show_default=True,
    callback=_root,
    metavar="OID",
    help="Look below this object identifier only.",
)
@click.option(
    "--max-objects",
    default=10_000,
    show_default=True,
    type=click.IntRange(1, 1_000_000),
    help="Stop after so many objects.",
)
@_asking
def draft(
    *,
    address: Address,
    figures: tuple[rules.Figure, ...],
    out: Path | None,
    root: str,
    max_objects: int,
    **given: Any,
) -> int:  # fmt: skip
    """Which objects of the device at ADDRESS show these figures; writes a profile that reads them.

    Reads only: walks the maker's objects, lists those whose scaled value fits. Ends with 3 where
    a figure fits nothing.
    """
    _refuse_old(out)
    asked = _asked(address, given)
    from verifier.probes.world import ThisMachine  # noqa: PLC0415
    from verifier.report import profile_draft as report  # noqa: PLC0415
    from verifier.session.ask import one_device  # noqa: PLC0415

    heard = one_device.walk(
        asked, root, ThisMachine(), max_objects=max_objects, deadline_s=given["deadline"]
    )
    if code := _silent(asked, heard):
        return code
    whole = f"not all: {plain(heard.cut)}" if heard.cut else "all of them"
    name = plain(heard.system.get("sysName", ""))
    output.show(
        f"{address} says it is {name!r}: {len(heard.shown)} objects below {root} ({whole})\n\n"
    )
    found = rules.find(figures, heard.shown)
    output.show(report.listing(found))
    if out is not None:
        _write(out, report.toml(out.stem or _UNNAMED, heard.system, found))
        output.show(f"\n{plain(out)}: the draft. Read it, put right what is a guess, try it:\n")
        how = f" --credentials {plain(file)}" if (file := given["credentials_file"]) else ""
        how += f" --entry {plain(given['entry'])}" if given["entry"] else ""
        output.show(f"  plan-verifier profiles check {plain(out)} --against {address}{how}\n")
    return EXIT_PASSED if all(f.fits for f in found) else EXIT_UNTESTED


def _asked(address: Address, given: dict[str, Any]) -> Asked:
    from verifier.session.ask.one_device import Asked  # noqa: PLC0415

    entry = _entry(given["credentials_file"], given["entry"])
    return Asked(address=address, entry=entry, port=given["port"], timeout_s=given["timeout"])


def _entry(file: Path | None, name: str | None) -> SnmpEntry:
    """The entry of that name, else the only one of the file, else the one a person chooses."""
    ask = options.asker()
    if name is None and file is not None:
        names = entry_names(file)
        if not names:
            raise InputError(f"{file}: there is no entry: they are called [snmp.NAME]")
        name = names[0]
        if len(names) > 1:
            if ask is None:
                raise UsageError(f"{file} has {', '.join(names)}: name one with --entry")
            name = ask(f"Which entry of {file} ({', '.join(names)})", False).strip()  # noqa: FBT003
    chosen = name or _UNNAMED
    return load_credentials({chosen}, file, os.environ, ask)[chosen]


def _silent(asked: Asked, heard: DeviceAnswers) -> int:
    """Says why the device did not answer, where it did not; the exit code, or 0."""
    if not heard.silence:
        return EXIT_PASSED
    where = f"{asked.address}, UDP port {asked.target.udp_port}"
    click.echo(
        f"plan-verifier: {where} did not answer entry {plain(asked.entry.name)!r}: "
        f"{plain(heard.silence)}; check credentials, port and the device's list of allowed hosts",
        err=True,
    )
    return EXIT_UNTESTED


def _refuse_old(out: Path | None) -> None:
    """Raises UsageError where a new file cannot be made there, before anything is asked."""
    if out is None:
        return
    if out.exists() or out.is_symlink():
        raise UsageError(f"{out} is there already: nothing is overwritten, name a new file")
    with output.opened(out):
        pass


def _write(out: Path, text: str) -> None:
    try:
        with out.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as fault:
        raise UsageError(f"{out} cannot be written: {fault.strerror}") from fault
