"""Reading what the command line names: every fault of the input ends here, nothing is sent yet."""

from __future__ import annotations

import datetime as dt
import os
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from verifier.cli.options import LaptopOptions, PaceOptions, PlanOptions, SelectionOptions
from verifier.errors import InputError, UsageError
from verifier.files.credentials import Ask, load_credentials
from verifier.files.read_plan import read_foreign, read_plan
from verifier.files.read_profile import available, load_profiles
from verifier.model.credentials import SnmpEntry
from verifier.model.laptop import Laptop
from verifier.model.ledger import Ledger
from verifier.model.manual import Observed
from verifier.model.plan import Device, NotTestedOk, Plan
from verifier.model.problem import Problem
from verifier.model.profile import Profile
from verifier.report.style import plain
from verifier.rules import plan as plan_rules
from verifier.rules.plan.gathered import gathered
from verifier.rules.selection import accepted_by, selected

if TYPE_CHECKING:
    from verifier.session import Request


def load_plan(options: PlanOptions) -> tuple[Plan, tuple[Problem, ...]]:
    """The plan and its warnings. Raises InputError, with every problem, where it has errors."""
    plan, problems = all_problems(options)
    if any(p.severity == "error" for p in problems):
        told = gathered(problems)
        errors = sum(p.severity == "error" for p in told)
        raise InputError(
            f"{options.path} has {errors} error{'s' if errors > 1 else ''}; nothing was sent", told
        )
    return plan, problems


def all_problems(options: PlanOptions) -> tuple[Plan, tuple[Problem, ...]]:
    """The plan as far as it can be read, and everything that is wrong with it, in order of place.

    Raises InputError where a profile that it names is faulty.
    """
    return all_read(options)[:2]


def all_read(options: PlanOptions) -> tuple[Plan, tuple[Problem, ...], Ledger]:
    """As `all_problems`; and what became of each cell of a sheet that is read by a mapping."""
    folder, ledger = options.profile_folder, Ledger()
    if options.mapping is None:
        plan, reading = read_plan(options.path)
    else:
        plan, reading, ledger = read_foreign(options.path, options.mapping)
    unread = {p.subject.name for p in reading if p.severity == "error"}
    known = available(folder)
    profiles = load_profiles({d.profile for d in plan.devices} & known.keys(), folder)
    today = dt.datetime.now().astimezone().date()
    problems = plan_rules.check(plan, unread, profiles, profile_ids=known, today=today)
    return plan, plan_rules.by_place((*reading, *problems)), ledger


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
