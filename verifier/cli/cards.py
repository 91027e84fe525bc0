"""`cards`."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from verifier.cli import options, output
from verifier.errors import EXIT_PASSED, UsageError
from verifier.files.profile.read import load_profiles

if TYPE_CHECKING:
    from verifier.model.plan import Device, Plan
    from verifier.rules.cards import Card

_ENDINGS = {".html": "html", ".htm": "html"}


@click.command()
@options.plan_argument
@options.selection_options
@click.option("--labels", is_flag=True, help="A sheet of labels instead of the cards.")
@click.option("--qr", is_flag=True, help="With a code of name and address on each (html).")
@click.option(
    "--blank",
    type=click.Path(path_type=Path),
    metavar="FILE.csv",
    help="Write the sheet to fill in for verify --observed; no cards unless --out or --format.",
)
@click.option("--format", "format_", type=click.Choice(["text", "html"]), help="Of the cards.")
@options.profiles_option
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="FILE", help="Write the cards here too."
)
@click.option("--quiet", is_flag=True, help="Print nothing but faults.")
@click.option("--verbose", is_flag=True, help="Show faults of the program with their place.")
def cards(**given: Any) -> int:
    """Field cards to print for the devices of PLAN: addresses, settings, pointing, levels, boxes.

    All of it comes from the plan: nothing is sent, and there is no secret on a card.
    """
    path: Path | None = given["out"]
    chosen = given["format_"] or (_ENDINGS.get(path.suffix.lower(), "text") if path else "text")
    if given["qr"] and chosen != "html":
        raise UsageError("--qr needs a page: --out FILE.html or --format html")
    with output.opened(path, inputs=(given["plan"],)) as place:
        plan, _ = options.load_plan(given["plan"], given["profile_folder"])
        devices = options.select(plan, given["devices"], given["links"], given["sites"])
        if given["blank"] is not None:
            _blank(plan, devices, given["blank"], quiet=given["quiet"])
            if path is None and given["format_"] is None:
                return EXIT_PASSED
        if not devices:
            raise UsageError("the plan has no devices: there is nothing to make a card for")
        profiles = load_profiles({d.profile for d in plan.devices}, given["profile_folder"])
        from verifier.rules.cards import cards as made_of  # noqa: PLC0415

        made = made_of(plan, profiles, devices)
        drawn = _drawn(made, chosen, given)
        place.write(drawn)
        if path is None and not given["quiet"]:
            output.show(drawn)
    return EXIT_PASSED


def _drawn(made: Sequence[Card], chosen: str, given: dict[str, Any]) -> str:
    from verifier.report import cards as drawn  # noqa: PLC0415

    if chosen == "html":
        page = drawn.labels_page if given["labels"] else drawn.cards_page
        return page(made, qr=given["qr"])
    columns = min(100, shutil.get_terminal_size((100, 24)).columns) if given["out"] is None else 100
    text = drawn.labels_text if given["labels"] else drawn.cards_text
    return text(made, columns)


def _blank(plan: Plan, devices: Sequence[Device], path: Path, *, quiet: bool) -> None:
    """Writes the empty sheet; one that is there may be filled in and is never written over."""
    from verifier.files.observed import blank_sheet  # noqa: PLC0415
    from verifier.rules.cards import items  # noqa: PLC0415

    rows = [(device.name, item) for device in devices for item in items(plan, device)]
    try:
        with path.open("xb") as stream:
            stream.write(blank_sheet(rows))
    except FileExistsError:
        raise UsageError(
            f"{path} is there already: nothing is overwritten, name a new file"
        ) from None
    except OSError as fault:
        raise UsageError(f"{path} cannot be written: {fault.strerror}") from fault
    if not quiet:
        output.show(f"{path}: {len(rows)} rows to fill in for {len(devices)} devices\n")
