"""The options of `readdress`: what makes the runbook, what leads through it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from click import Choice, Option

from verifier.cli import complete
from verifier.cli.command import FILE, Duration
from verifier.cli.job_folder import typed
from verifier.cli.options import (
    HOW_WRITTEN,
    SET_LAPTOP_HELP,
    CredentialsFile,
    LaptopOptions,
    OperatingSystem,
    PaperOptions,
    PlanOptions,
)
from verifier.errors import UsageError

if TYPE_CHECKING:
    from verifier.model.runbook import Setting

FORMATS = ("text", "json", "html")


@dataclass(frozen=True, slots=True, kw_only=True)
class RunbookOptions:
    """What makes the runbook: the same options make the same runbook, so the journal keeps them."""

    segment: Annotated[
        bool,
        Option(["--segment"], is_flag=True, help="All devices are on one segment.  [default]"),
    ]
    remote: Annotated[
        bool,
        Option(
            ["--remote"],
            is_flag=True,
            help="The laptop stays; devices are reached by gateways.",
        ),
    ]
    one_at_a_time: Annotated[
        bool,
        Option(
            ["--one-at-a-time"],
            is_flag=True,
            help="On the bench: devices are attached in turn.",
        ),
    ]
    laptop_addresses: Annotated[
        Literal["one", "many"],
        Option(
            ["--laptop-addresses"],
            type=Choice(("one", "many")),
            default="many",
            show_default=True,
            help="How many addresses the laptop may hold at a time.",
        ),
    ]
    laptop: LaptopOptions
    old: Annotated[
        Path | None,
        Option(
            ["--from"],
            type=FILE,
            metavar="OLD_PLAN",
            help="The devices are where this plan says.",
        ),
    ]
    changes: Annotated[
        tuple[str, ...],
        Option(
            ["--change"],
            multiple=True,
            metavar="NAME=ADDRESS/PREFIX[,GATEWAY]",
            help="A new address for one device; it is at the plan's address now.",
        ),
    ]
    renumbers: Annotated[
        tuple[str, ...],
        Option(
            ["--renumber"],
            multiple=True,
            metavar="OLD=NEW",
            help="All devices of one subnet go to another.",
        ),
    ]
    done: Annotated[
        tuple[str, ...],
        Option(
            ["--done"],
            multiple=True,
            metavar="NAME",
            help="This device is finished already.",
            shell_complete=complete.devices,
        ),
    ]

    @property
    def settings(self) -> tuple[Setting, ...]:
        """The settings that were asked for."""
        asked: dict[Setting, bool] = {
            "segment": self.segment,
            "remote": self.remote,
            "one-at-a-time": self.one_at_a_time,
        }
        return tuple(name for name, wanted in asked.items() if wanted)


@dataclass(frozen=True, slots=True, kw_only=True)
class GuideOptions:
    """Whether and how the tool leads through the runbook."""

    guide: Annotated[
        bool,
        Option(
            ["--guide"],
            is_flag=True,
            help="Go through the runbook step by step, looking after each.",
        ),
    ]
    auto: Annotated[
        bool,
        Option(
            ["--auto"],
            is_flag=True,
            help="With --guide: see when a step is done instead of asking.",
        ),
    ]
    resume: Annotated[
        bool,
        Option(
            ["--resume"],
            is_flag=True,
            help="With --guide: go on where the journal says it stopped.",
        ),
    ]
    set_laptop: Annotated[
        bool,
        Option(
            ["--set-laptop"],
            is_flag=True,
            help=SET_LAPTOP_HELP,
        ),
    ]
    journal: Annotated[
        Path | None,
        Option(
            ["--journal"],
            type=FILE,
            metavar="FILE",
            help="Of --guide.  [default: beside PLAN, its name with .readdress.jsonl]",
        ),
    ]
    wait_s: Annotated[
        float | None,
        Option(
            ["--wait"],
            type=Duration(),
            metavar="DURATION",
            help="How long a person may take for a step with --auto.  [default: 15m]",
        ),
    ]
    credentials_file: CredentialsFile

    def refuse_alone(self) -> None:
        """Raises UsageError where one of them stands without --guide."""
        alone = {
            "auto": self.auto,
            "resume": self.resume,
            "set-laptop": self.set_laptop,
            "journal": self.journal is not None,
            "wait": self.wait_s is not None,
            "credentials": typed(self.credentials_file),
        }
        for name, stands in alone.items():
            if stands and not self.guide:
                raise UsageError(f"--{name} goes with --guide")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReaddressOptions:
    """Which runbook is made, what it is written as, and whether the tool leads through it."""

    plan: PlanOptions
    runbook: RunbookOptions
    write_plan: Annotated[
        Path | None,
        Option(
            ["--write-plan"],
            type=FILE,
            metavar="FILE",
            help="Write a plan that records where the devices are and are to be.",
        ),
    ]
    system: OperatingSystem
    format_: Annotated[
        Literal["text", "json", "html"] | None,
        Option(["--format"], type=Choice(FORMATS), help=HOW_WRITTEN),
    ]
    guide: GuideOptions
    output: PaperOptions

    def refuse_with_guide(self) -> None:
        """Raises UsageError for what does not go with --guide."""
        self.guide.refuse_alone()
        if not self.guide.guide:
            return
        if self.format_ is not None and self.output.out is None:
            raise UsageError("--guide speaks text; --format is for the runbook in --out")
        if self.write_plan is not None:
            raise UsageError("--write-plan after the guide has ended: it is to record what is done")
        if self.guide.set_laptop and self.runbook.remote:
            raise UsageError("--set-laptop: with --remote the laptop stays where it is")
