"""`sweep`."""

from __future__ import annotations

import json
import os
import shutil
import sys
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from verifier.cli import options, output
from verifier.errors import (
    EXIT_FAILED,
    EXIT_INTERRUPTED,
    EXIT_PASSED,
    EXIT_UNTESTED,
    UsageError,
)
from verifier.files.disk_write import clear
from verifier.files.read_plan import plan_sha256
from verifier.report.plain import plain
from verifier.report.result import format_of
from verifier.report.style import ReportStyle

if TYPE_CHECKING:
    from verifier.model.health import SweepReport
    from verifier.session import Request
    from verifier.session.sweep.loop import Settings
    from verifier.store.store import Store

_FORMATS = ("text", "json")
_DAY_S = 86_400.0
_TOKEN = "PLAN_VERIFIER_WEBHOOK_TOKEN"  # noqa: S105 - the name of a variable


@click.command()
@options.plan_argument
@options.selection_options
@options.profiles_option
@options.credentials_option
@options.laptop_options
@click.option(
    "--every",
    type=options.Duration(),
    metavar="DURATION",
    help="Sweep now and after each DURATION (5m; 5: seconds) until SIGTERM or Ctrl-C; on SIGHUP"
    " read PLAN again.",
)
@options.store_option
@click.option(
    "--echoes",
    default=3,
    show_default=True,
    type=click.IntRange(1, 1000),
    help="Counted echoes to each device; who loses one is asked again, slowly.",
)
@click.option(
    "--interval",
    default="0.2s",
    show_default=True,
    type=options.Duration(),
    help="Time between two echoes to one device.",
)
@click.option(
    "--timeout",
    default="1s",
    show_default=True,
    type=options.Duration(),
    help="Wait for an echo or a TCP connection.",
)
@click.option(
    "--device-deadline",
    default="15s",
    show_default=True,
    type=options.Duration(),
    help="Reading one device by SNMP is given up after this.",
)
@click.option(
    "--max-packets-per-s",
    type=click.IntRange(1),
    help="Limit for echoes, TCP and SNMP together.  [default: 500, none on loopback]",
)
@click.option("--ask-all", is_flag=True, help="Ask by SNMP also devices that answer no echo.")
@options.accept_option
@click.option(
    "--confirm",
    default=2,
    show_default=True,
    type=click.IntRange(1, 100),
    help="A change counts when it was seen in so many sweeps.",
)
@click.option(
    "--keep-days",
    default=14.0,
    show_default=True,
    type=click.FloatRange(0.05),
    help="Keep what each sweep saw for so long.",
)
@click.option(
    "--keep-hourly-days",
    default=400.0,
    show_default=True,
    type=click.FloatRange(0.05),
    help="Keep the hourly figures for so long; changes are kept for ever.",
)
@click.option(
    "--lines",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Append each message as a line of JSON.",
)
@click.option(
    "--on-change",
    metavar="COMMAND",
    help="Run this for each message, as JSON on its standard input; no shell. Exit 0: told.",
)
@click.option("--syslog", metavar="URL", help="Send each message by udp://HOST or tcp://HOST.")
@click.option(
    "--webhook", metavar="URL", help=f"POST each message as JSON; {_TOKEN} is sent as bearer token."
)
@click.option(
    "--tell-limit",
    default="30s",
    show_default=True,
    type=options.Duration(),
    help="Telling one message is given up after this, and tried again later.",
)
@click.option(
    "--metrics",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write the newest figures here as OpenMetrics text.",
)
@click.option(
    "--page",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Write the status page DIR/index.html with each sweep: changes, roots, everything.",
)
@click.option("--format", "format_", type=click.Choice(_FORMATS), help="Of the report.")
@options.output_options
def sweep(**given: Any) -> int:
    """Ask every device of PLAN how it is, keep it in the store, tell what changed.

    Without --every once; then the exit code says how the devices were seen: 1 some impaired or
    silent, 3 some untested, 0 all sound.
    """  # fmt: skip
    request = _request(given)
    every_s, path = given["every"], given["out"]
    if every_s is not None and path is not None:
        raise UsageError("--out takes the report of one sweep: leave --every out")
    if given["format_"] is None and format_of(None, path) not in _FORMATS:
        raise UsageError(f"{path}: a sweep is written as {' or '.join(_FORMATS)}; see also --page")
    inputs = (given["plan"], given["credentials_file"])
    from verifier.probes.world import ThisMachine  # noqa: PLC0415 - bad input needs no probes
    from verifier.session.signals import Signals  # noqa: PLC0415
    from verifier.session.sweep.loop import SweepLoop  # noqa: PLC0415 - bad input needs no probes
    from verifier.store.store import opened  # noqa: PLC0415

    with ExitStack() as stack:
        out = stack.enter_context(output.opened(path, inputs=inputs))
        stack.enter_context(output.opened(given["metrics"], inputs=inputs))
        page = _page(given["page"])
        stack.enter_context(output.opened(page, inputs=inputs))
        store = stack.enter_context(opened(given["store"] or str(beside(given["plan"]))))
        stack.enter_context(store.locked())
        if page is not None:
            clear(page)  # what a killed sweep left half written
        signals = stack.enter_context(Signals(hangup="reload"))
        desk = SweepLoop(store, _settings(store, given, page), _say, ThisMachine())
        if every_s is not None:
            desk.every(every_s, request, lambda: _request(given), _SweepPrinter(given), signals)
            return EXIT_PASSED
        done = desk.once(request, signals)
    if done is None:
        click.echo("interrupted; the sweep is not stored", err=True)
        return EXIT_INTERRUPTED
    _report(done, given, out)
    return _exit_code(done)


def _request(given: dict[str, Any]) -> Request:
    """What the options ask for; read again on SIGHUP."""
    plan, _ = options.load_plan(given["plan"], given["profile_folder"])
    devices = options.select(plan, given["devices"], given["links"], given["sites"])
    profiles, credentials = options.load_needs(
        devices, given["profile_folder"], given["credentials_file"], with_credentials=True
    )
    from verifier.session import Probing, Request  # noqa: PLC0415

    return Request(
        command="sweep",
        plan=plan,
        plan_sha256=plan_sha256(plan),
        stage="service",
        devices=devices,
        profiles=profiles,
        credentials=credentials,
        probing=Probing(
            echoes=given["echoes"],
            interval_s=given["interval"],
            timeout_s=given["timeout"],
            max_packets_per_s=given["max_packets_per_s"],
            device_deadline_s=given["device_deadline"],
        ),
        laptop=options.assumed_laptop(given["laptop"], given["laptop_gateway"]),
        accept_untested=options.accepted_by(given["accept_untested"], plan),
        ask_all=given["ask_all"],
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


def _settings(store: Store, given: dict[str, Any], page: Path | None) -> Settings:
    from verifier.session.sweep import deliver  # noqa: PLC0415
    from verifier.session.sweep.loop import Settings  # noqa: PLC0415
    from verifier.store.retention import Retention  # noqa: PLC0415

    marks, limit_s = deliver.marks_of(store), given["tell_limit"]
    deliveries: list[deliver.Delivery] = []
    if given["lines"] is not None:
        deliveries.append(deliver.lines(given["lines"]))
    if given["on_change"] is not None:
        deliveries.append(deliver.command(given["on_change"], marks, limit_s))
    if given["syslog"] is not None:
        deliveries.append(deliver.to_syslog(given["syslog"], marks, limit_s))
    if given["webhook"] is not None:
        deliveries.append(deliver.webhook(given["webhook"], os.environ.get(_TOKEN), marks, limit_s))
    return Settings(
        confirm=given["confirm"],
        keep=Retention(
            raw_s=given["keep_days"] * _DAY_S, hourly_s=given["keep_hourly_days"] * _DAY_S
        ),
        deliveries=deliveries,
        metrics=given["metrics"],
        page=page,
    )


def beside(plan: Path) -> Path:
    """The store of a plan where none is named."""
    return plan.with_name(f"{plan.stem}.sweeps.db")


def _say(text: str) -> None:
    click.echo(f"plan-verifier: {plain(text)}", err=True)


class _SweepPrinter:
    """Prints each sweep of a series as it is stored."""

    def __init__(self, given: dict[str, Any]) -> None:
        self._quiet = given["quiet"]
        self._json = given["format_"] == "json"

    def __call__(self, done: SweepReport) -> None:
        from verifier.report.sweep import text as report  # noqa: PLC0415

        if not self._quiet:
            document = json.dumps(report.document(done), ensure_ascii=False) + "\n"
            output.show(document if self._json else report.line(done))


def _report(done: SweepReport, given: dict[str, Any], out: output.Output) -> None:
    from verifier.report.sweep import text as report  # noqa: PLC0415

    path: Path | None = given["out"]
    render = {"text": report.text, "json": report.json}
    chosen = format_of(given["format_"], path)
    if path is not None:
        out.write(render[chosen](done, ReportStyle(verbose=given["verbose"])))
        chosen = "text"
    columns = min(100, shutil.get_terminal_size((100, 24)).columns)
    look = ReportStyle(width=columns, colour=sys.stdout.isatty(), verbose=given["verbose"])
    draw = report.brief if given["quiet"] else render[chosen]
    output.show(draw(done, look))


def _exit_code(done: SweepReport) -> int:
    states = {r.state for r in done.sweep.readings}
    if states & {"impaired", "silent"}:
        return EXIT_FAILED
    return EXIT_UNTESTED if "untested" in states else EXIT_PASSED
