"""`sweep`."""

from __future__ import annotations

import dataclasses
import json
import os
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import click
from click import FloatRange, IntRange, Option

from verifier.cli.command import FILE, Duration, command
from verifier.cli.later import Later
from verifier.cli.options import (
    ECHOES_HELP,
    AcceptedUntested,
    CredentialsFile,
    LaptopOptions,
    OutputOptions,
    PaceOptions,
    PlanOptions,
    SelectionOptions,
    StoreUrl,
    Strict,
    TextOrJson,
)
from verifier.errors import EXIT_INTERRUPTED, EXIT_PASSED, UsageError

if TYPE_CHECKING:
    from verifier.cli import inputs, output
    from verifier.files.disk import clear
    from verifier.files.output import opened
    from verifier.model.health import SweepReport
    from verifier.session import Request
    from verifier.session.sweep.loop import Settings
    from verifier.store.store import Store
else:
    inputs = Later("verifier.cli.inputs")
    output = Later("verifier.cli.output")
    clear = Later("verifier.files.disk:clear")
    opened = Later("verifier.files.output:opened")

_FORMATS = ("text", "json")
_DAY_S = 86_400.0
_NOT_STORED = (
    "interrupted; nothing of this sweep is stored: devices that were not asked yet would count as "
    "not tested"
)
_TOKEN = "PLAN_VERIFIER_WEBHOOK_TOKEN"  # noqa: S105 - the name of a variable


@dataclass(frozen=True, slots=True, kw_only=True)
class TellOptions:
    """How changes are told, and where else the newest state is written."""

    lines: Annotated[
        Path | None,
        Option(
            ["--lines"],
            type=FILE,
            metavar="FILE",
            help="Append each message as a line of JSON.",
        ),
    ]
    on_change: Annotated[
        str | None,
        Option(
            ["--on-change"],
            metavar="COMMAND",
            help="Run this for each message, as JSON on its standard input; no shell. Exit 0: "
            "told.",
        ),
    ]
    syslog: Annotated[
        str | None,
        Option(["--syslog"], metavar="URL", help="Send each message by udp://HOST or tcp://HOST."),
    ]
    webhook: Annotated[
        str | None,
        Option(
            ["--webhook"],
            metavar="URL",
            help=f"POST each message as JSON; {_TOKEN} is sent as bearer token.",
        ),
    ]
    tell_limit_s: Annotated[
        float,
        Option(
            ["--tell-limit"],
            default="30s",
            show_default=True,
            type=Duration(),
            help="Telling one message is given up after this, and tried again later.",
        ),
    ]
    metrics: Annotated[
        Path | None,
        Option(
            ["--metrics"],
            type=FILE,
            metavar="FILE",
            help="Write the newest figures here as OpenMetrics text.",
        ),
    ]
    page: Annotated[
        Path | None,
        Option(
            ["--page"],
            type=FILE,
            metavar="DIR",
            help="Write the status page DIR/index.html with each sweep: changes, roots, "
            "everything.",
        ),
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepOptions:
    """What counts as a change, and how long what was seen is kept."""

    confirm: Annotated[
        int,
        Option(
            ["--confirm"],
            default=2,
            show_default=True,
            type=IntRange(1, 100),
            help="A change counts when it was seen in so many sweeps.",
        ),
    ]
    keep_days: Annotated[
        float,
        Option(
            ["--keep-days"],
            default=14.0,
            show_default=True,
            type=FloatRange(0.05),
            help="Keep what each sweep saw for so long.",
        ),
    ]
    keep_hourly_days: Annotated[
        float,
        Option(
            ["--keep-hourly-days"],
            default=400.0,
            show_default=True,
            type=FloatRange(0.05),
            help="Keep the hourly figures for so long; changes are kept for ever.",
        ),
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepOptions:
    """Which devices are asked, how often and how fast, and who is told."""

    plan: PlanOptions
    selection: SelectionOptions
    credentials_file: CredentialsFile
    laptop: LaptopOptions
    every_s: Annotated[
        float | None,
        Option(
            ["--every"],
            type=Duration(),
            metavar="DURATION",
            help="Sweep now and after each DURATION (5m; 5: seconds) until SIGTERM or Ctrl-C; on "
            "SIGHUP read PLAN again.",
        ),
    ]
    store: StoreUrl
    echoes: Annotated[
        int,
        Option(
            ["--echoes"],
            default=3,
            show_default=True,
            type=IntRange(1, 1000),
            help=ECHOES_HELP,
        ),
    ]
    pace: PaceOptions
    device_deadline_s: Annotated[
        float,
        Option(
            ["--device-deadline"],
            default="15s",
            show_default=True,
            type=Duration(),
            help="Reading one device by SNMP is given up after this.",
        ),
    ]
    ask_all: Annotated[
        bool,
        Option(["--ask-all"], is_flag=True, help="Ask by SNMP also devices that answer no echo."),
    ]
    accept_untested: AcceptedUntested
    keep: KeepOptions
    tell: TellOptions
    format_: TextOrJson
    output: OutputOptions
    strict: Strict


@command(SweepOptions)
def sweep(options: SweepOptions) -> int:
    """Ask every device of PLAN how it is, keep it in the store, tell what changed.

    Without --every once; then the exit code says how the devices were seen: 1 some impaired or
    silent, 3 some untested, 0 all sound.
    """
    request = _request(options)
    path, telling = options.output.out, options.tell
    if options.every_s is not None and path is not None:
        raise UsageError("--out takes the report of one sweep: leave --every out")
    chosen = output.chosen(_FORMATS, options.format_, path, "; see also --page")
    read = (options.plan.path, options.credentials_file)
    from verifier.probes.world import ThisMachine  # noqa: PLC0415 - bad input needs no probes
    from verifier.report.sweep import text  # noqa: PLC0415
    from verifier.session.signals import Signals  # noqa: PLC0415
    from verifier.session.sweep.loop import SweepLoop  # noqa: PLC0415 - bad input needs no probes
    from verifier.store.store import opened as opened_store  # noqa: PLC0415

    with ExitStack() as stack:
        out = stack.enter_context(opened(path, inputs=read))
        stack.enter_context(opened(telling.metrics, inputs=read))
        page = _page(telling.page)
        stack.enter_context(opened(page, inputs=read))
        url = options.store or str(inputs.store_beside(options.plan.path))
        store = stack.enter_context(opened_store(url))
        stack.enter_context(store.locked())
        if page is not None:
            clear(page)  # what a killed sweep left half written
        signals = stack.enter_context(Signals(hangup="reload"))
        loop = SweepLoop(store, _settings(store, options, page), output.say, ThisMachine())
        if options.every_s is not None:
            show = _SweepPrinter(options)
            loop.every(options.every_s, request, lambda: _request(options), show, signals)
            return EXIT_PASSED
        done = loop.once(request, signals)
    if done is None:
        click.echo(_NOT_STORED, err=True)
        return EXIT_INTERRUPTED
    formats = {"text": text.text, "json": text.json}
    output.draw(done, formats, text.brief, chosen, options.output, out)
    return done.exit_code()


def _request(options: SweepOptions) -> Request:
    """What the options ask for; read again on SIGHUP."""
    plan, _ = inputs.load_plan(options.plan)
    devices = inputs.devices_of(plan, options.selection)
    request = inputs.request(
        "sweep",
        plan,
        devices,
        inputs.profiles_of(devices, options.plan),
        laptop=options.laptop,
        pace=options.pace,
        echoes=options.echoes,
        accepted=options.accept_untested,
    )
    return dataclasses.replace(
        request,
        credentials=inputs.credentials_of(devices, options.credentials_file),
        probing=dataclasses.replace(request.probing, device_deadline_s=options.device_deadline_s),
        ask_all=options.ask_all,
    )


def _page(folder: Path | None) -> Path | None:
    """The file of the status page; its folder is made. Raises UsageError where it cannot be."""
    if folder is None:
        return None
    from verifier.session.sweep import status_page  # noqa: PLC0415

    try:
        return status_page.prepare(folder)
    except OSError as fault:
        raise UsageError(f"{folder} cannot be written: {fault.strerror}") from fault


def _settings(store: Store, options: SweepOptions, page: Path | None) -> Settings:
    from verifier.probes.world import ThisMachine  # noqa: PLC0415
    from verifier.session.sweep import deliver  # noqa: PLC0415
    from verifier.session.sweep.loop import Settings  # noqa: PLC0415
    from verifier.store.retention import Retention  # noqa: PLC0415

    tell, keep = options.tell, options.keep
    marks, limit_s = deliver.marks_of(store), tell.tell_limit_s
    deliveries: list[deliver.Delivery] = []
    if tell.lines is not None:
        deliveries.append(deliver.lines(tell.lines))
    if tell.on_change is not None:
        deliveries.append(deliver.command(tell.on_change, marks, limit_s))
    if tell.syslog is not None:
        deliveries.append(
            deliver.to_syslog(tell.syslog, marks, limit_s, ThisMachine().laptop.own_name)
        )
    if tell.webhook is not None:
        deliveries.append(deliver.webhook(tell.webhook, os.environ.get(_TOKEN), marks, limit_s))
    return Settings(
        confirm=keep.confirm,
        keep=Retention(raw_s=keep.keep_days * _DAY_S, hourly_s=keep.keep_hourly_days * _DAY_S),
        deliveries=deliveries,
        metrics=tell.metrics,
        page=page,
    )


class _SweepPrinter:
    """Prints each sweep of a series as it is stored."""

    def __init__(self, options: SweepOptions) -> None:
        self._quiet = options.output.quiet
        self._json = options.format_ == "json"

    def __call__(self, done: SweepReport) -> None:
        from verifier.report.sweep import text  # noqa: PLC0415

        if not self._quiet:
            document = json.dumps(text.document(done), ensure_ascii=False) + "\n"
            output.show(document if self._json else text.line(done))
