"""What the journal of a guide keeps of the options, and what they come to with `--resume`."""

from __future__ import annotations

import dataclasses
import shlex
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

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
class GuideStart:
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


def guide_start(plan: PlanOptions, runbook: RunbookOptions, guide: GuideOptions) -> GuideStart:
    """What the options and the journal come to.

    Raises UsageError or InputError where the journal does not allow it.
    """
    if not guide.guide:
        return GuideStart(runbook=runbook)
    from verifier.files.journals.guide import default_path, read_story  # noqa: PLC0415

    path = guide.journal or default_path(plan.path)
    story = read_story(path)
    made = GuideStart(
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


def as_kept(runbook: RunbookOptions) -> dict[str, object]:
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
    before, now = story.asked, as_kept(runbook)
    usual: dict[str, object] = {**dict.fromkeys(_FLAGS, False), "laptop_addresses": "many"}
    usual |= {**{name: [] for name in _TEXTS}, "from": None}
    for name, value in usual.items():
        if now[name] not in (value, before.get(name)):
            option = _NAMES.get(name, name).replace("_", "-")
            raise UsageError(
                f"--resume goes on with the runbook that was begun: leave --{option} out"
            )
    return _read(before, path)


def _read(kept: Mapping[str, object], path: Path) -> RunbookOptions:
    """The options of a journal's start. Raises InputError where it is damaged."""
    gateway, old = _text(kept, "laptop_gateway", path), _text(kept, "from", path)
    try:
        own = LaptopOptions(
            laptop=tuple(
                LaptopAddress().convert(text, None, None) for text in _texts(kept, "laptop", path)
            ),
            laptop_gateway=HostAddress().convert(gateway, None, None) if gateway else None,
        )
    except click.BadParameter as fault:
        raise InputError(f"{path}: its start is damaged: {fault}") from fault
    return RunbookOptions(
        segment=bool(kept.get("segment")),
        remote=bool(kept.get("remote")),
        one_at_a_time=bool(kept.get("one_at_a_time")),
        laptop_addresses="one" if kept.get("laptop_addresses") == "one" else "many",
        changes=_texts(kept, "changes", path),
        renumbers=_texts(kept, "renumbers", path),
        done=_texts(kept, "done", path),
        laptop=own,
        old=Path(old) if old else None,
    )


def _text(kept: Mapping[str, object], name: str, path: Path) -> str | None:
    value = kept.get(name)
    if value is None or isinstance(value, str):
        return value
    raise InputError(f"{path}: its start is damaged: an option is no text")


def _texts(kept: Mapping[str, object], name: str, path: Path) -> tuple[str, ...]:
    value = kept.get(name) or []
    if not isinstance(value, list):
        raise InputError(f"{path}: its start is damaged: an option is no text")
    texts = [text for text in value if isinstance(text, str)]
    if len(texts) < len(value):
        raise InputError(f"{path}: its start is damaged: an option is no text")
    return tuple(texts)


def command_words(plan: Path, runbook: RunbookOptions) -> str:
    """The plan and the options that make the runbook, as they are typed."""
    words = [str(plan)]
    if runbook.old is not None:
        words += ["--from", str(runbook.old)]
    for option, values in (("--change", runbook.changes), ("--renumber", runbook.renumbers)):
        words += [w for value in values for w in (option, value)]
    return shlex.join(words)
