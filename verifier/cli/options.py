"""Options that several commands share, and the loading of what they name."""

from __future__ import annotations

import dataclasses
import datetime as dt
import difflib
import os
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

import click

from verifier.errors import InputError, UsageError
from verifier.files.credentials import Ask, entry_names, load_credentials, variable
from verifier.files.observed import read_observed
from verifier.files.profile.read import available, load_profiles
from verifier.files.read_plan import read_plan
from verifier.model.address import Address, Interface
from verifier.model.checks import unknown_check
from verifier.model.credentials import SnmpEntry
from verifier.model.laptop import UNNAMED, Laptop, LaptopInterface
from verifier.model.manual import Observed
from verifier.model.plan import Device, NotTestedOk, Plan
from verifier.model.problem import Problem
from verifier.model.profile import Profile
from verifier.report.plain import plain
from verifier.rules import plan as plan_rules

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]


_SECONDS = {"ms": 0.001, "s": 1.0, "m": 60.0, "h": 3600.0, "": 1.0}
_LONGEST_S = 1e7


class Duration(click.ParamType[float]):
    """A duration: `0.2`, `0.2s`, `200ms`, `15m`, `24h`; in seconds."""

    name = "duration"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """The duration in seconds; more than none."""
        if isinstance(value, (int, float)):
            return float(value)
        for device in _SECONDS:
            if value.endswith(device):
                number = value.removesuffix(device)
                break
        try:
            seconds = float(number) * _SECONDS[device]
        except ValueError:
            self.fail(f"{value!r} is not a duration: write 0.2s, 200ms, 15m or 24h", param, ctx)
        if not 0 < seconds < _LONGEST_S:
            self.fail(f"{value!r}: a duration above none is expected", param, ctx)
        return seconds


class LaptopAddress(click.ParamType[LaptopInterface]):
    """`ADDRESS/PREFIX[@INTERFACE[.VLAN]]`."""

    name = "address/prefix[@interface[.vlan]]"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> LaptopInterface:
        """An interface with that one address."""
        if isinstance(value, LaptopInterface):
            return value
        text, _, name = value.partition("@")
        _, dot, vlan = name.rpartition(".")
        try:
            address = Interface.parse(text)
        except ValueError as fault:
            self.fail(str(fault), param, ctx)
        return LaptopInterface(
            name=name or UNNAMED,
            addresses=(address,),
            vlan=int(vlan) if dot and vlan.isascii() and vlan.isdigit() else None,
        )


class HostAddress(click.ParamType[Address]):
    """One address."""

    name = "address"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> Address:
        """The address."""
        try:
            return value if isinstance(value, Address) else Address.parse(value)
        except ValueError as fault:
            self.fail(str(fault), param, ctx)


def together(*decorators: Decorator) -> Decorator:
    """Several click decorators as one."""

    def apply(function: Callable[..., Any]) -> Callable[..., Any]:
        for decorator in reversed(decorators):
            function = decorator(function)
        return function

    return apply


def _keep(ctx: click.Context, param: click.Parameter, value: Path | None) -> Path | None:
    """Keeps an option for whatever reads the plan."""
    ctx.meta[f"plan-verifier.{param.name}"] = value
    return value


plan_argument = together(
    click.argument("plan", type=click.Path(path_type=Path)),
    click.option(
        "--mapping",
        type=click.Path(path_type=Path),
        metavar="FILE",
        expose_value=False,
        callback=_keep,
        help="What the columns of PLAN mean (TOML), where it is somebody's own sheet.",
    ),
)
selection_options = together(
    click.option("--device", "devices", multiple=True, metavar="NAME", help="Only this device."),
    click.option(
        "--link", "links", multiple=True, metavar="NAME", help="Only devices of this link."
    ),
    click.option(
        "--site", "sites", multiple=True, metavar="NAME", help="Only devices of this site."
    ),
)
profiles_option = click.option(
    "--profiles",
    "profile_folder",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Look for device profiles here first.",
)
credentials_option = click.option(
    "--credentials",
    "credentials_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="SNMP credentials (TOML). Without it: PLAN_VERIFIER_<ENTRY>_COMMUNITY, _USER, _AUTH_KEY, "
    "_PRIV_KEY, or a question on the terminal.",
)


def _no_password(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """Refuses a password on the command line, where everybody on the machine sees it."""
    from urllib.parse import urlsplit  # noqa: PLC0415

    name = param.name or ""
    typed = ctx.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE
    if value is not None and typed and "://" in value and urlsplit(value).password is not None:
        raise click.BadParameter(
            "a password on the command line is seen by everybody on this machine: put it into "
            "~/.pgpass or PGPASSWORD, or the whole URL into PLAN_VERIFIER_STORE",
            ctx,
            param,
        )
    return value


store_option = click.option(
    "--store",
    metavar="URL",
    envvar="PLAN_VERIFIER_STORE",
    callback=_no_password,
    help="Where sweeps are kept: a file (SQLite), or postgresql://HOST/NAME.  "
    "[default: PLAN.sweeps.db beside the plan]",
)
observed_option = click.option(
    "--observed",
    "observed_file",
    type=click.Path(path_type=Path),
    metavar="FILE.csv",
    help="What only a person can see, on the sheet that cards --blank writes: judged as well.",
)
laptop_options = together(
    click.option(
        "--laptop",
        multiple=True,
        type=LaptopAddress(),
        help="Take this for the laptop's address instead of asking this machine.",
    ),
    click.option("--laptop-gateway", type=HostAddress(), help="The gateway that goes with it."),
)
output_options = together(
    click.option(
        "--out", type=click.Path(path_type=Path), metavar="FILE", help="Write the report here too."
    ),
    click.option("--quiet", is_flag=True, help="Print the verdict and what failed."),
    click.option("--verbose", is_flag=True, help="Print everything, faults with their place."),
    click.option("--strict", is_flag=True, help="Warnings end with exit code 1."),
)


def load_plan(path: Path, profile_folder: Path | None) -> tuple[Plan, tuple[Problem, ...]]:
    """The plan and its warnings. Raises InputError, with every problem, where it has errors."""
    plan, problems = all_problems(path, profile_folder)
    errors = sum(p.severity == "error" for p in problems)
    if errors:
        raise InputError(
            f"{path} has {errors} error{'s' if errors > 1 else ''}; nothing was sent", problems
        )
    return plan, problems


def all_problems(path: Path, profile_folder: Path | None) -> tuple[Plan, tuple[Problem, ...]]:
    """The plan as far as it can be read, and everything that is wrong with it, in order of place.

    Raises InputError where a profile that it names is faulty.
    """
    ctx = click.get_current_context(silent=True)
    plan, reading = read_plan(path, None if ctx is None else ctx.meta.get("plan-verifier.mapping"))
    unread = {p.subject.name for p in reading if p.severity == "error"}
    known = available(profile_folder)
    profiles = load_profiles({d.profile for d in plan.devices} & known.keys(), profile_folder)
    today = dt.datetime.now().astimezone().date()
    found = plan_rules.check(plan, unread, profiles, profile_ids=known, today=today)
    return plan, plan_rules.by_place((*reading, *found))


def load_observed(
    path: Path | None, plan: Plan, devices: Sequence[Device], *, quiet: bool
) -> Observed | None:
    """What a person entered.

    What was read otherwise than written, is not filled in, or is of none of these devices is told
    on stderr. Raises InputError, with every wrong row, where the sheet has errors.
    """
    if path is None:
        return None
    observed, notes = read_observed(path, plan)
    for note in () if quiet else notes:
        click.echo(f"{note.severity}: {plain(note.origin)}: {plain(note.message)}", err=True)
    asked = {d.name for d in devices}
    if (left := [e for e in observed.entries if e.device not in asked]) and not quiet:
        names = ", ".join(dict.fromkeys(e.device for e in left))
        rows = "1 row is" if len(left) == 1 else f"{len(left)} rows are"
        click.echo(
            f"warning: {plain(path)}: {rows} of devices that were not asked, and left out: {names}",
            err=True,
        )
    return observed


def select(
    plan: Plan, devices: Sequence[str], links: Sequence[str], sites: Sequence[str]
) -> tuple[Device, ...]:
    """The devices that any of the filters names, in plan order; all without a filter.

    Raises UsageError for a name that is not in the plan.
    """
    _known("device", devices, [d.name for d in plan.devices])
    _known("link", links, [link.name for link in plan.links])
    _known("site", sites, [s.name for s in plan.sites])
    if not (devices or links or sites):
        return plan.devices
    ends = [link.devices() for link in plan.links if link.name in links]
    wanted = {*devices, *(name for pair in ends for end in pair for name in end)}
    chosen = tuple(d for d in plan.devices if d.name in wanted or (d.site and d.site in sites))
    if not chosen:
        raise UsageError("the filters match no device of the plan")
    return chosen


def _known(kind: str, asked: Iterable[str], names: Sequence[str]) -> None:
    for name in asked:
        if name not in names:
            near = difflib.get_close_matches(name, names, n=1)
            hint = f"; did you mean {near[0]!r}?" if near else f"; it has {len(names)}"
            raise UsageError(f"no {kind} {name!r} in the plan{hint}")


def load_needs(
    devices: Sequence[Device],
    profile_folder: Path | None,
    credentials_file: Path | None,
    *,
    with_credentials: bool,
) -> tuple[dict[str, Profile], dict[str, SnmpEntry]]:
    """The profiles and credentials that these devices name."""
    profiles = load_profiles({d.profile for d in devices}, profile_folder)
    names = {d.snmp for d in devices if d.snmp is not None} if with_credentials else set()
    if not names:
        return profiles, {}
    return profiles, load_credentials(names, credentials_file, os.environ, asker())


def at_hand(names: Iterable[str], file: Path | None) -> set[str]:
    """Those of some credentials' entries that are in the file or the environment."""
    inside = set(entry_names(file)) if file is not None else set()
    keys = ("community", "user")
    return {n for n in names if n in inside or any(os.environ.get(variable(n, k)) for k in keys)}


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


def assumed_laptop(interfaces: Sequence[LaptopInterface], gateway: Address | None) -> Laptop | None:
    """The laptop that the options describe, or None where they do not."""
    if not interfaces:
        if gateway is not None:
            raise UsageError("--laptop-gateway needs --laptop")
        return None
    return Laptop(
        interfaces=tuple(interfaces), gateways=(gateway,) if gateway else (), assumed=True
    )


def _allowed(
    ctx: click.Context, param: click.Parameter, value: tuple[str, ...]
) -> tuple[NotTestedOk, ...]:
    """What may stay untested. Refuses what is no check, a pattern, and what has no reason."""
    found = []
    for text in value:
        check, _, reason = text.partition("=")
        allowed = NotTestedOk(check=check.strip(), reason=reason.strip())
        if (why := unknown_check(allowed.name)) is not None:
            raise click.BadParameter(why, ctx, param)
        if not allowed.reason:
            raise click.BadParameter(
                f"{text!r} has no reason: write {allowed.check}=REASON, it stands in the document",
                ctx,
                param,
            )
        if not allowed.reason.isprintable():
            raise click.BadParameter(f"the reason of {allowed.check} does not print", ctx, param)
        found.append(allowed)
    return tuple(found)


accept_option = click.option(
    "--accept-untested", multiple=True, metavar="CHECK[@DEVICE]=REASON", callback=_allowed,
    help="This check may stay untested, for all devices or one: the verdict is then conditional.",
)  # fmt: skip


def accepted_by(
    allowed: Sequence[NotTestedOk], plan: Plan, by: str | None = None
) -> tuple[NotTestedOk, ...]:
    """What a person accepts, under that person's name.

    Raises UsageError for a device that is not in the plan.
    """
    names = [d.name for d in plan.devices]
    _known("device", [a.device for a in allowed if a.device is not None], names)
    return tuple(dataclasses.replace(a, by=by) for a in allowed)
