"""`cards`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from click import Choice, Option

from verifier.cli.command import FILE, command
from verifier.cli.later import Later
from verifier.cli.options import HOW_WRITTEN, PaperOptions, PlanOptions, SelectionOptions
from verifier.errors import EXIT_PASSED, UsageError

if TYPE_CHECKING:
    from verifier.cli import inputs, output
    from verifier.files.output import opened
    from verifier.model.plan import Device, Plan
    from verifier.rules.cards import Card
else:
    inputs = Later("verifier.cli.inputs")
    output = Later("verifier.cli.output")
    opened = Later("verifier.files.output:opened")


@dataclass(frozen=True, slots=True, kw_only=True)
class CardsOptions:
    """What is printed for which devices."""

    plan: PlanOptions
    selection: SelectionOptions
    labels: Annotated[
        bool, Option(["--labels"], is_flag=True, help="A sheet of labels instead of the cards.")
    ]
    qr: Annotated[
        bool,
        Option(["--qr"], is_flag=True, help="With a code of name and address on each (html)."),
    ]
    blank: Annotated[
        Path | None,
        Option(
            ["--blank"],
            type=FILE,
            metavar="FILE.csv",
            help="Write the sheet to fill in for verify --observed; no cards unless --out or "
            "--format.",
        ),
    ]
    format_: Annotated[
        Literal["text", "html"] | None,
        Option(["--format"], type=Choice(("text", "html")), help=HOW_WRITTEN),
    ]
    output: PaperOptions


@command(CardsOptions)
def cards(options: CardsOptions) -> int:
    """Field cards to print for the devices of PLAN: addresses, settings, pointing, levels, boxes.

    All of it comes from the plan: nothing is sent, and there is no secret on a card.
    """
    out = options.output.out
    chosen = output.chosen(("text", "html"), options.format_, out)
    if options.qr and chosen != "html":
        raise UsageError("--qr needs a page: --out FILE.html or --format html")
    with opened(out, inputs=(options.plan.path,)) as place:
        plan, _ = inputs.load_plan(options.plan)
        devices = inputs.devices_of(plan, options.selection)
        if options.blank is not None:
            _blank(plan, devices, options.blank, quiet=options.output.quiet)
            if out is None and options.format_ is None:
                return EXIT_PASSED
        if not devices:
            raise UsageError("the plan has no devices: there is nothing to make a card for")
        profiles = inputs.profiles_of(plan.devices, options.plan)
        from verifier.rules.cards import cards as made_of  # noqa: PLC0415

        drawn = _drawn(made_of(plan, profiles, devices), chosen, options)
        place.write(drawn)
        if out is None and not options.output.quiet:
            output.show(drawn)
    return EXIT_PASSED


def _drawn(made: Sequence[Card], chosen: str, options: CardsOptions) -> str:
    from verifier.report import cards as drawn  # noqa: PLC0415

    if chosen == "html":
        page = drawn.labels_page if options.labels else drawn.cards_page
        return page(made, qr=options.qr)
    columns = output.columns() if options.output.out is None else output.WIDEST
    text = drawn.labels_text if options.labels else drawn.cards_text
    return text(made, columns)


def _blank(plan: Plan, devices: Sequence[Device], path: Path, *, quiet: bool) -> None:
    """Writes the empty sheet; one that is there may be filled in and is never written over."""
    from verifier.files.disk import write_new  # noqa: PLC0415
    from verifier.files.observed import blank_sheet  # noqa: PLC0415
    from verifier.rules.cards import items  # noqa: PLC0415

    rows = [(device.name, item) for device in devices for item in items(plan, device)]
    write_new(path, blank_sheet(rows))
    if not quiet:
        output.show(f"{path}: {len(rows)} rows to fill in for {len(devices)} devices\n")
