"""Options of commands that ask one device outside of a run, and what they need before they ask."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import click
from click import IntRange, Option

from verifier.cli.command import Duration
from verifier.cli.later import Later
from verifier.cli.options import TIMEOUT_HELP, VERBOSE_HELP, CredentialsFile
from verifier.errors import EXIT_PASSED, EXIT_UNTESTED, InputError, UsageError

if TYPE_CHECKING:
    from verifier.cli import inputs
    from verifier.files.credentials import entry_names, load_credentials
    from verifier.model.address import Address
    from verifier.model.credentials import SnmpEntry
    from verifier.report.style import plain
    from verifier.session.ask.readings import DeviceAnswers, DeviceQuestion
else:
    inputs = Later("verifier.cli.inputs")
    entry_names = Later("verifier.files.credentials:entry_names")
    load_credentials = Later("verifier.files.credentials:load_credentials")
    plain = Later("verifier.report.style:plain")

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
            help=TIMEOUT_HELP,
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
        Option(["--verbose"], is_flag=True, help=VERBOSE_HELP),
    ]


def asked_by(address: Address, ask: AskOptions) -> DeviceQuestion:
    """The device at `address` and how to ask it. Raises InputError, UsageError."""
    from verifier.session.ask.readings import DeviceQuestion  # noqa: PLC0415

    entry = _entry(ask.credentials_file, ask.entry)
    return DeviceQuestion(address=address, entry=entry, port=ask.port, timeout_s=ask.timeout_s)


def _entry(file: Path | None, name: str | None) -> SnmpEntry:
    """The entry of that name, else the only one of the file, else the one a person chooses."""
    ask = inputs.asker()
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


def silent(asked: DeviceQuestion, heard: DeviceAnswers) -> int:
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
