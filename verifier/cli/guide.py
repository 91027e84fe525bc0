"""The options of `readdress --guide`, and what its journal keeps of them for `--resume`."""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from verifier.cli import options
from verifier.errors import InputError, UsageError
from verifier.model.laptop import UNNAMED

if TYPE_CHECKING:
    from verifier.files.journals.guide import Story

_ONLY_WITH_GUIDE = ("auto", "resume", "set_laptop", "journal", "wait", "credentials_file")
_ASKED = ("segment", "remote", "one_at_a_time", "laptop_addresses", "changes", "renumbers", "done")
"""Options that make the runbook, besides the laptop's and `--from`."""
_WAIT_S = 900.0

guide_options = options.together(
    click.option(
        "--guide", is_flag=True, help="Go through the runbook step by step, looking after each."
    ),
    click.option(
        "--auto", is_flag=True, help="With --guide: see when a step is done instead of asking."
    ),
    click.option(
        "--resume", is_flag=True, help="With --guide: go on where the journal says it stopped."
    ),
    click.option(
        "--set-laptop",
        is_flag=True,
        help="With --guide: set this laptop's addresses (Linux, as root); taken back at the end.",
    ),
    click.option(
        "--journal",
        type=click.Path(path_type=Path),
        metavar="FILE",
        help="Of --guide.  [default: beside PLAN, its name with .readdress.jsonl]",
    ),
    click.option(
        "--wait",
        type=options.Duration(),
        metavar="DURATION",
        help="How long a person may take for a step with --auto.  [default: 15m]",
    ),
    options.credentials_option,
)


def prepared(given: dict[str, Any]) -> tuple[dict[str, Any], Story | None]:
    """The options the runbook is made with, and the journal's story where it is resumed.

    Raises UsageError or InputError where guide options stand alone, contradict, or the journal
    does not allow it.
    """
    if not given["guide"]:
        alone = [n for n in _ONLY_WITH_GUIDE if given[n] not in {None, False}]
        if alone:
            named = alone[0].replace("_", "-").removesuffix("-file")
            raise UsageError(f"--{named} goes with --guide")
        return given, None
    _fitting(given)
    from verifier.files.journals.guide import default_path, read_story  # noqa: PLC0415

    path = given["journal"] or default_path(given["plan"])
    given = {**given, "journal": path, "wait": given["wait"] or _WAIT_S}
    story = read_story(path)
    open_ = story is not None and not story.finished
    if given["resume"]:
        if story is None:
            raise UsageError(f"--resume: there is no journal {path}; start with --guide alone")
        if not open_:
            raise UsageError(f"--resume: the guide of {path} came to its end: nothing is left")
        return _as_before(given, story), story
    if story is not None and open_:
        done = f"{len(story.done)} of {len(story.steps)} steps done"
        raise UsageError(
            f"{path}: a guide was begun and not ended ({done}): go on with --resume, or name "
            "another file with --journal, or put this one aside"
        )
    return given, None


def _fitting(given: Mapping[str, Any]) -> None:
    if given["format_"] is not None and given["out"] is None:
        raise UsageError("--guide speaks text; --format is for the runbook in --out")
    if given["write_plan"] is not None:
        raise UsageError("--write-plan after the guide has ended: it is to record what is done")
    if given["set_laptop"] and given["remote"]:
        raise UsageError("--set-laptop: with --remote the laptop stays where it is")


# -- what the journal keeps of the options -------------------------------------------------------


def asked(given: Mapping[str, Any]) -> dict[str, Any]:
    """The options that make the runbook, as the journal keeps them."""
    kept: dict[str, Any] = {n: _plainly(given[n]) for n in _ASKED}
    kept["laptop"] = [f"{i.addresses[0]}@{i.name}" for i in given["laptop"]]
    gateway, old = given["laptop_gateway"], given["old"]
    kept["laptop_gateway"] = None if gateway is None else str(gateway)
    kept["from"] = None if old is None else str(old.absolute())
    return kept


def _plainly(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


def _as_before(given: dict[str, Any], story: Story) -> dict[str, Any]:
    """The options with which the runbook was made; `--laptop` may name an interface anew."""
    before, now = dict(story.asked), asked(given)
    usual: dict[str, Any] = {**dict.fromkeys(_ASKED, False), "laptop_addresses": "many"}
    usual |= {"changes": [], "renumbers": [], "done": [], "from": None}
    for name, value in usual.items():
        if now[name] not in (value, before.get(name)):
            option = {"changes": "change", "renumbers": "renumber"}.get(name, name)
            raise UsageError(
                f"--resume goes on with the runbook that was begun: leave --{option} out".replace(
                    "_", "-"
                )
            )
    again = {n: tuple(v) if isinstance(v := before.get(n), list) else v for n in _ASKED}
    laptop, gateway, old = (before.get(n) for n in ("laptop", "laptop_gateway", "from"))
    interfaces = [i for i in given["laptop"] if i.name != UNNAMED]
    texts = [laptop or [], [t for t in (gateway, old) if t is not None]]
    if not all(isinstance(t, list) and all(isinstance(x, str) for x in t) for t in texts):
        raise InputError(f"{given['journal']}: its start is damaged: an option is no text")
    try:
        made = {
            "laptop": tuple(options.LaptopAddress().convert(t, None, None) for t in laptop or ()),
            "laptop_gateway": options.HostAddress().convert(gateway, None, None)
            if gateway
            else None,
            "old": Path(old) if old else None,
        }
    except click.BadParameter as fault:
        raise InputError(f"{given['journal']}: its start is damaged: {fault}") from fault
    return {**given, **again, **made, "interface": interfaces[0].name if interfaces else None}


def named(given: Mapping[str, Any]) -> str:
    """The plan and the options that make the runbook, as they are typed."""
    words = [str(given["plan"])]
    if given["old"] is not None:
        words += ["--from", str(given["old"])]
    for option, values in (("--change", given["changes"]), ("--renumber", given["renumbers"])):
        words += [w for value in values for w in (option, value)]
    return shlex.join(words)
