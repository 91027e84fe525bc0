"""Reading what the command line names: every fault of the input ends here, nothing is sent yet.

`AskOptions` are the options of commands that ask one device outside of a run.
"""

from __future__ import annotations

import datetime as dt
import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import click
from click import IntRange, Option

from verifier.cli.command import Duration
from verifier.cli.options import (
    CredentialsFile,
    LaptopOptions,
    PaceOptions,
    PlanOptions,
    SelectionOptions,
)
from verifier.errors import EXIT_PASSED, EXIT_UNTESTED, InputError, UsageError
from verifier.files.credentials import Ask, entry_names, load_credentials
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import available, load_profiles
from verifier.model.address import Address
from verifier.model.credentials import SnmpEntry
from verifier.model.laptop import Laptop
from verifier.model.manual import Observed
from verifier.model.plan import Device, NotTestedOk, Plan
from verifier.model.problem import Problem
from verifier.model.profile import Profile
from verifier.report.style import plain
from verifier.rules import plan as plan_rules
from verifier.rules.selection import accepted_by, selected

if TYPE_CHECKING:
    from verifier.session import Request
    from verifier.session.ask.readings import Asked, DeviceAnswers


def load_plan(options: PlanOptions) -> tuple[Plan, tuple[Problem, ...]]:
    """The plan and its warnings. Raises InputError, with every problem, where it has errors."""
    plan, problems = all_problems(options)
    errors = sum(p.severity == "error" for p in problems)
    if errors:
        raise InputError(
            f"{options.path} has {errors} error{'s' if errors > 1 else ''}; nothing was sent",
            problems,
        )
    return plan, problems


def all_problems(options: PlanOptions) -> tuple[Plan, tuple[Problem, ...]]:
    """The plan as far as it can be read, and everything that is wrong with it, in order of place.

    Raises InputError where a profile that it names is faulty.
    """
    folder = options.profile_folder
    plan, reading = read_plan(options.path, options.mapping)
    unread = {p.subject.name for p in reading if p.severity == "error"}
    known = available(folder)
    profiles = load_profiles({d.profile for d in plan.devices} & known.keys(), folder)
    today = dt.datetime.now().astimezone().date()
    problems = plan_rules.check(plan, unread, profiles, profile_ids=known, today=today)
    return plan, plan_rules.by_place((*reading, *problems))


def devices_of(plan: Plan, options: SelectionOptions) -> tuple[Device, ...]:
    """The devices that the options name. Raises UsageError for a name that is not in the plan."""
    return selected(plan, options.devices, options.links, options.sites)


def profiles_of(devices: Sequence[Device], options: PlanOptions) -> dict[str, Profile]:
    """The profiles that these devices name."""
    return load_profiles({d.profile for d in devices}, options.profile_folder)


def credentials_of(devices: Sequence[Device], file: Path | None) -> dict[str, SnmpEntry]:
    """The credentials that these devices name. Raises InputError where one is nowhere."""
    names = {d.snmp for d in devices if d.snmp is not None}
    return load_credentials(names, file, os.environ, asker()) if names else {}


def load_observed(
    path: Path | None, plan: Plan, devices: Sequence[Device], *, quiet: bool
) -> Observed | None:
    """What a person entered.

    What was read otherwise than written, is not filled in, or is of none of these devices is told
    on stderr. Raises InputError, with every wrong row, where the sheet has errors.
    """
    if path is None:
        return None
    from verifier.files.observed import read_observed  # noqa: PLC0415 - seldom needed

    observed, notes = read_observed(path, plan)
    for note in () if quiet else notes:
        click.echo(f"{note.severity}: {plain(note.origin or '')}: {plain(note.message)}", err=True)
    asked = {d.name for d in devices}
    if (left := [e for e in observed.entries if e.device not in asked]) and not quiet:
        names = ", ".join(dict.fromkeys(e.device for e in left))
        rows = "1 row is" if len(left) == 1 else f"{len(left)} rows are"
        click.echo(
            f"warning: {plain(path)}: {rows} of devices that were not asked, and left out: {names}",
            err=True,
        )
    return observed


def asker() -> Ask | None:
    """Asks a person, where there is one at a terminal; an empty answer is one."""
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        return None

    def ask(question: str, hidden: bool) -> str:  # noqa: FBT001
        answer: str = click.prompt(
            question, default="", show_default=False, hide_input=hidden, err=True
        )
        return answer

    return ask


def assumed_laptop(options: LaptopOptions) -> Laptop | None:
    """The laptop that the options describe, or None where they do not."""
    gateway = options.laptop_gateway
    if not options.laptop:
        if gateway is not None:
            raise UsageError("--laptop-gateway needs --laptop")
        return None
    return Laptop(interfaces=options.laptop, gateways=(gateway,) if gateway else (), assumed=True)


def request(  # noqa: PLR0913 - a run is asked for in so many parts
    command: Literal["verify", "reach", "sweep"],
    plan: Plan,
    devices: Sequence[Device],
    profiles: Mapping[str, Profile],
    *,
    laptop: LaptopOptions,
    pace: PaceOptions,
    echoes: int,
    accepted: Sequence[NotTestedOk],
    by: str | None = None,
) -> Request:
    """What a run is asked for, as far as every kind of run has it. Raises UsageError."""
    from verifier.files.canonical import plan_sha256  # noqa: PLC0415 - help and bad input need none
    from verifier.session import Probing, Request  # noqa: PLC0415

    return Request(
        command=command,
        plan=plan,
        plan_sha256=plan_sha256(plan),
        stage="service",
        devices=devices,
        profiles=profiles,
        credentials={},
        probing=Probing(
            echoes=echoes,
            interval_s=pace.interval_s,
            timeout_s=pace.timeout_s,
            max_packets_per_s=pace.max_packets_per_s,
        ),
        laptop=assumed_laptop(laptop),
        accept_untested=accepted_by(accepted, plan, by),
    )


def store_beside(plan: Path) -> Path:
    """The store of a plan where none is named."""
    return plan.with_name(f"{plan.stem}.sweeps.db")


UNNAMED = "device"
"""The entry that is looked for in the environment, or asked for, where there is no file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AskOptions:
    """How one device is asked by SNMP."""

    credentials_file: CredentialsFile
    entry: Annotated[
        str | None,
        Option(
            ["--entry"],
            metavar="NAME",
            help="Entry of the credentials.  [default: the only one of the file; no file: device]",
        ),
    ]
    port: Annotated[
        int | None,
        Option(["--port"], type=IntRange(1, 65535), help="UDP port.  [default: the entry's]"),
    ]
    timeout_s: Annotated[
        float,
        Option(
            ["--timeout"],
            default="2s",
            show_default=True,
            type=Duration(),
            help="Wait for an answer; a question is asked twice.",
        ),
    ]
    deadline_s: Annotated[
        float,
        Option(
            ["--deadline"],
            default="60s",
            show_default=True,
            type=Duration(),
            help="Stop reading the device after this time.",
        ),
    ]
    verbose: Annotated[
        bool,
        Option(["--verbose"], is_flag=True, help="Faults of this program with their place."),
    ]


def asked_by(address: Address, ask: AskOptions) -> Asked:
    """The device at `address` and how to ask it. Raises InputError, UsageError."""
    from verifier.session.ask.readings import Asked  # noqa: PLC0415

    entry = _entry(ask.credentials_file, ask.entry)
    return Asked(address=address, entry=entry, port=ask.port, timeout_s=ask.timeout_s)


def _entry(file: Path | None, name: str | None) -> SnmpEntry:
    """The entry of that name, else the only one of the file, else the one a person chooses."""
    ask = asker()
    if name is None and file is not None:
        names = entry_names(file)
        if not names:
            raise InputError(f"{file}: there is no entry: they are called [snmp.NAME]")
        name = names[0]
        if len(names) > 1:
            if ask is None:
                raise UsageError(f"{file} has {', '.join(names)}: name one with --entry")
            name = ask(f"Which entry of {file} ({', '.join(names)})", False).strip()  # noqa: FBT003
    chosen = name or UNNAMED
    return load_credentials({chosen}, file, None, ask)[chosen]


def silent(asked: Asked, heard: DeviceAnswers) -> int:
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
