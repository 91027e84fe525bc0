"""The options that several commands share: each group is a dataclass, see `command`."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import click
from click import Choice, IntRange, Option

from verifier.cli import complete
from verifier.cli.command import FILE, Duration, HostAddress, LaptopAddress, UntestedCheck
from verifier.cli.job_folder import PlanArgument

if TYPE_CHECKING:
    from verifier.model.address import Address
    from verifier.model.laptop import LaptopInterface, System
    from verifier.model.plan import NotTestedOk, Stage

STAGES = ("bench", "alignment", "handover", "service")
SYSTEMS = ("linux", "macos", "windows")
RESULT_FORMATS = ("text", "json", "csv", "html", "xlsx", "junit")
"""Of `report.result`."""
HISTORY_FORMATS = ("text", "json", "csv", "html")
"""Of `report.history`."""

# One help text for an option that several commands have.
MAPPING_HELP = "What the columns mean (TOML), where the sheet is not a plan of ours."
HOW_WRITTEN = "How it is written; else the ending of --out says."
OUT_HELP = "Write it to this file; its ending says how."
QUIET_HELP = "Show the verdict and what failed."
VERBOSE_HELP = "Show everything; a fault of this program with its place."
STAGE_HELP = "Stage of the work: it says what is right."
ECHOES_HELP = "Counted echoes to each device."
TIMEOUT_HELP = "Wait so long for an answer."
PACKETS_HELP = "Most packets a second of all kinds together."
INTERFACE_HELP = "Ask and listen on this cable only.  [default: every one with a link]"
OBSERVED_HELP = "The sheet of what only a person can see (cards --blank), filled in."
SET_LAPTOP_HELP = "Set this laptop's addresses (Linux, root); taken back at the end."


ProfileFolder = Annotated[
    Path | None,
    Option(["--profiles"], type=FILE, metavar="DIR", help="Look for device profiles here first."),
]
OwnFaults = Annotated[
    bool,
    Option(["--verbose"], is_flag=True, help=VERBOSE_HELP),
]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanOptions:
    """Which plan, how its sheet is read, and where its profiles are."""

    path: Annotated[Path, PlanArgument(["plan"], nargs=-1)]
    mapping: Annotated[
        Path | None,
        Option(
            ["--mapping"],
            type=FILE,
            metavar="FILE",
            help=MAPPING_HELP,
        ),
    ]
    profile_folder: ProfileFolder


@dataclass(frozen=True, slots=True, kw_only=True)
class SelectionOptions:
    """Which devices of the plan: those that any of these names, all where none is named."""

    devices: Annotated[
        tuple[str, ...],
        Option(
            ["--device"],
            multiple=True,
            metavar="NAME",
            help="Only this device.",
            shell_complete=complete.devices,
        ),
    ]
    links: Annotated[
        tuple[str, ...],
        Option(
            ["--link"],
            multiple=True,
            metavar="NAME",
            help="Only devices of this link.",
            shell_complete=complete.links,
        ),
    ]
    sites: Annotated[
        tuple[str, ...],
        Option(
            ["--site"],
            multiple=True,
            metavar="NAME",
            help="Only devices of this site.",
            shell_complete=complete.sites,
        ),
    ]

    @property
    def names(self) -> tuple[str, ...]:
        """All that were named."""
        return (*self.devices, *self.links, *self.sites)


@dataclass(frozen=True, slots=True, kw_only=True)
class LaptopOptions:
    """What to take for the laptop, instead of asking this machine."""

    laptop: Annotated[
        tuple[LaptopInterface, ...],
        Option(
            ["--laptop"],
            multiple=True,
            type=LaptopAddress(),
            help="Take this for the laptop's address instead of asking this machine.",
        ),
    ]
    laptop_gateway: Annotated[
        Address | None,
        Option(["--laptop-gateway"], type=HostAddress(), help="The gateway that goes with it."),
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class PaceOptions:
    """How fast devices are probed."""

    interval_s: Annotated[
        float,
        Option(
            ["--interval"],
            default="0.2s",
            show_default=True,
            type=Duration(),
            help="Time between two echoes to one device.",
        ),
    ]
    timeout_s: Annotated[
        float,
        Option(
            ["--timeout"],
            default="1s",
            show_default=True,
            type=Duration(),
            help=TIMEOUT_HELP,
        ),
    ]
    max_packets_per_s: Annotated[
        int | None,
        Option(
            ["--max-packets-per-s"],
            type=IntRange(1),
            help=f"{PACKETS_HELP}  [default: 500, none on loopback]",
        ),
    ]


SigningKey = Annotated[
    Path | None,
    Option(
        ["--sign"],
        type=FILE,
        metavar="KEY",
        help="Sign the evidence with this Ed25519 key (PEM or OpenSSH).",
    ),
]


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceOptions:
    """What is kept of a run so that it can be judged again, and who made it."""

    evidence_file: Annotated[
        Path | None,
        Option(
            ["--evidence"],
            type=FILE,
            metavar="FILE",
            help="Keep all that the verdict rests on, to judge it again later.",
        ),
    ]
    key_file: SigningKey
    replace_kept: Annotated[
        bool,
        Option(
            ["--replace"],
            is_flag=True,
            help="The evidence may take the place of evidence that is not signed.",
        ),
    ]
    by: Annotated[
        str | None,
        Option(["--by"], metavar="NAME", help="Who tests; stands in the documents."),
    ]
    place: Annotated[
        str | None,
        Option(["--place"], metavar="TEXT", help="Where; stands in the documents."),
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputOptions:
    """Where the report goes, and how much is printed."""

    out: Annotated[
        Path | None,
        Option(
            ["--out"],
            type=FILE,
            metavar="FILE",
            help=OUT_HELP,
        ),
    ]
    quiet: Annotated[bool, Option(["--quiet"], is_flag=True, help=QUIET_HELP)]
    verbose: Annotated[
        bool,
        Option(
            ["--verbose"],
            is_flag=True,
            help=VERBOSE_HELP,
        ),
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperOptions:
    """Where a paper to work by goes: cards, a runbook."""

    out: Annotated[
        Path | None,
        Option(
            ["--out"],
            type=FILE,
            metavar="FILE",
            help=OUT_HELP,
        ),
    ]
    quiet: Annotated[bool, Option(["--quiet"], is_flag=True, help=QUIET_HELP)]
    verbose: OwnFaults


# -- single options --------------------------------------------------------------------------------


def _no_password(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """Refuses a password on the command line, where everybody on the machine sees it."""
    from urllib.parse import urlsplit  # noqa: PLC0415 - help needs none

    typed = ctx.get_parameter_source(param.name or "") is click.core.ParameterSource.COMMANDLINE
    if value is not None and typed and "://" in value and urlsplit(value).password is not None:
        raise click.BadParameter(
            "a password on the command line is seen by everybody on this machine: put it into "
            "~/.pgpass or PGPASSWORD, or the whole URL into PLAN_VERIFIER_STORE",
            ctx,
            param,
        )
    return value


CredentialsFile = Annotated[
    Path | None,
    Option(
        ["--credentials"],
        type=FILE,
        metavar="FILE",
        help="SNMP credentials (TOML); else environment variables, else a question.",
    ),
]
StoreUrl = Annotated[
    str | None,
    Option(
        ["--store"],
        metavar="URL",
        envvar="PLAN_VERIFIER_STORE",
        callback=_no_password,
        help="Where sweeps are kept: a file (SQLite), or postgresql://HOST/NAME.  "
        "[default: PLAN.sweeps.db beside the plan]",
    ),
]
AcceptedUntested = Annotated[
    "tuple[NotTestedOk, ...]",
    Option(
        ["--accept-untested"],
        shell_complete=complete.checks,
        multiple=True,
        metavar="CHECK[@DEVICE]=REASON",
        type=UntestedCheck(),
        help="This check may stay untested, for all devices or one: the verdict is then "
        "conditional.",
    ),
]
StageOption = Annotated[
    "Stage | None",
    Option(
        ["--stage"],
        type=Choice(STAGES),
        help=f"{STAGE_HELP}  [default: the plan's]",
    ),
]
OperatingSystem = Annotated[
    "System | None",
    Option(
        ["--os"],
        type=Choice(SYSTEMS),
        help="Whose commands to print.  [default: this machine's]",
    ),
]
ObservedFile = Annotated[
    Path | None,
    Option(["--observed"], type=FILE, metavar="FILE.csv", help=OBSERVED_HELP),
]
SetLaptop = Annotated[
    bool,
    Option(["--set-laptop"], is_flag=True, help=SET_LAPTOP_HELP),
]
TextOrJson = Annotated[
    Literal["text", "json"] | None,
    Option(["--format"], type=Choice(("text", "json")), help=HOW_WRITTEN),
]
ResultFormat = Annotated[
    str | None, Option(["--format"], type=Choice(RESULT_FORMATS), help=HOW_WRITTEN)
]
EchoCount = Annotated[
    int,
    Option(
        ["--echoes"],
        default=5,
        show_default=True,
        type=IntRange(1, 1000),
        help=ECHOES_HELP,
    ),
]
Strict = Annotated[bool, Option(["--strict"], is_flag=True, help="Warnings end with exit code 1.")]
