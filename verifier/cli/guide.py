"""What the journal of a guide keeps of the options, and what they come to with `--resume`."""

from __future__ import annotations

import dataclasses
import shlex
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from verifier.cli.command import HostAddress, LaptopAddress
from verifier.cli.options import LaptopOptions, PlanOptions
from verifier.cli.readdress_options import GuideOptions, RunbookOptions
from verifier.errors import InputError, UsageError
from verifier.model.laptop import UNNAMED

if TYPE_CHECKING:
    from verifier.files.journals.guide import Story

_WAIT_S = 900.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Resumed:
    """With what a runbook is made and led through.

    Attributes:
        runbook: the options, those of the journal where it is resumed.
        journal: of the guide; None without one.
        story: what the journal tells, where it is resumed.
        interface: the laptop's, as `--laptop` names it now.
        wait_s: how long a person may take for a step.
    """

    runbook: RunbookOptions
    journal: Path | None = None
    story: Story | None = None
    interface: str | None = None
    wait_s: float = _WAIT_S


def resumed(plan: PlanOptions, runbook: RunbookOptions, guide: GuideOptions) -> Resumed:
    """What the options and the journal come to.

    Raises UsageError or InputError where the journal does not allow it.
    """
    if not guide.guide:
        return Resumed(runbook=runbook)
    from verifier.files.journals.guide import default_path, read_story  # noqa: PLC0415

    path = guide.journal or default_path(plan.path)
    story = read_story(path)
    made = Resumed(
        runbook=runbook,
        journal=path,
        interface=interface_named(runbook.laptop),
        wait_s=guide.wait_s or _WAIT_S,
    )
    if guide.resume:
        if story is None:
            raise UsageError(f"--resume: there is no journal {path}; start with --guide alone")
        if story.finished:
            raise UsageError(f"--resume: the guide of {path} came to its end: nothing is left")
        begun = _as_begun(runbook, story, path)
        return dataclasses.replace(made, runbook=begun, story=story)
    if story is not None and not story.finished:
        done = f"{len(story.done)} of {len(story.steps)} steps done"
        raise UsageError(
            f"{path}: a guide was begun and not ended ({done}): go on with --resume, or name "
            "another file with --journal, or put this one aside"
        )
    return made


def interface_named(laptop: LaptopOptions) -> str | None:
    """The first interface that --laptop names."""
    return next((i.name for i in laptop.laptop if i.name != UNNAMED), None)


# -- what the journal keeps of the options -------------------------------------------------------

_FLAGS = ("segment", "remote", "one_at_a_time")
_TEXTS = ("changes", "renumbers", "done")
_NAMES = {"changes": "change", "renumbers": "renumber"}


def asked(runbook: RunbookOptions) -> dict[str, Any]:
    """The options that make the runbook, as the journal keeps them."""
    gateway, old = runbook.laptop.laptop_gateway, runbook.old
    return {
        **{name: getattr(runbook, name) for name in _FLAGS},
        "laptop_addresses": runbook.laptop_addresses,
        **{name: list(getattr(runbook, name)) for name in _TEXTS},
        "laptop": [f"{i.addresses[0]}@{i.name}" for i in runbook.laptop.laptop],
        "laptop_gateway": None if gateway is None else str(gateway),
        "from": None if old is None else str(old.absolute()),
    }


def _as_begun(runbook: RunbookOptions, story: Story, path: Path) -> RunbookOptions:
    """The options with which the runbook was made. Raises UsageError where others are typed now."""
    before, now = story.asked, asked(runbook)
    usual: dict[str, object] = {**dict.fromkeys(_FLAGS, False), "laptop_addresses": "many"}
    usual |= {**{name: [] for name in _TEXTS}, "from": None}
    for name, value in usual.items():
        if now[name] not in (value, before.get(name)):
            option = _NAMES.get(name, name).replace("_", "-")
            raise UsageError(
                f"--resume goes on with the runbook that was begun: leave --{option} out"
            )
    return _read(before, path)


def _read(kept: Mapping[str, Any], path: Path) -> RunbookOptions:
    """The options of a journal's start. Raises InputError where it is damaged."""
    laptop, gateway, old = (kept.get(name) for name in ("laptop", "laptop_gateway", "from"))
    texts = [laptop or [], [t for t in (gateway, old) if t is not None]]
    if not all(isinstance(t, list) and all(isinstance(x, str) for x in t) for t in texts):
        raise InputError(f"{path}: its start is damaged: an option is no text")
    try:
        own = LaptopOptions(
            laptop=tuple(LaptopAddress().convert(t, None, None) for t in laptop or ()),
            laptop_gateway=HostAddress().convert(gateway, None, None) if gateway else None,
        )
    except click.BadParameter as fault:
        raise InputError(f"{path}: its start is damaged: {fault}") from fault
    return RunbookOptions(
        segment=bool(kept.get("segment")),
        remote=bool(kept.get("remote")),
        one_at_a_time=bool(kept.get("one_at_a_time")),
        laptop_addresses="one" if kept.get("laptop_addresses") == "one" else "many",
        changes=_texts(kept, "changes"),
        renumbers=_texts(kept, "renumbers"),
        done=_texts(kept, "done"),
        laptop=own,
        old=Path(old) if old else None,
    )


def _texts(kept: Mapping[str, Any], name: str) -> tuple[str, ...]:
    return tuple(map(str, kept.get(name) or ()))


def typed(plan: Path, runbook: RunbookOptions) -> str:
    """The plan and the options that make the runbook, as they are typed."""
    words = [str(plan)]
    if runbook.old is not None:
        words += ["--from", str(runbook.old)]
    for option, values in (("--change", runbook.changes), ("--renumber", runbook.renumbers)):
        words += [w for value in values for w in (option, value)]
    return shlex.join(words)
