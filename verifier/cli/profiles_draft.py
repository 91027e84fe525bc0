"""`profiles draft`."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import click
from click import Argument, IntRange, Option

from verifier.cli.command import FILE, HostAddress, command
from verifier.cli.later import Later
from verifier.cli.one_device import UNNAMED, AskOptions, asked_by, silent
from verifier.cli.options import OUT_HELP
from verifier.errors import EXIT_PASSED, EXIT_UNTESTED, UsageError

if TYPE_CHECKING:
    from verifier.cli import output
    from verifier.files.disk import write_new
    from verifier.files.output import opened
    from verifier.model.address import Address
    from verifier.report.style import plain
    from verifier.rules import profile_draft as rules
    from verifier.rules.profile_draft import Figure
else:
    output = Later("verifier.cli.output")
    write_new = Later("verifier.files.disk:write_new")
    opened = Later("verifier.files.output:opened")
    plain = Later("verifier.report.style:plain")
    rules = Later("verifier.rules.profile_draft")

_ROOT = "1.3.6.1.4.1"
_OID = re.compile(r"[0-9]+(\.[0-9]+)*")


class _FigureType(click.ParamType["Figure"]):
    """`FIELD=VALUE`."""

    name = "field=value"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> Figure:
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
    ctx: click.Context, param: click.Parameter, value: tuple[Figure, ...]
) -> tuple[Figure, ...]:
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
        tuple[Figure, ...],
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
            help=OUT_HELP,
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
