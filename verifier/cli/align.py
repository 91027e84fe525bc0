"""`align`."""

from __future__ import annotations

import asyncio
import shutil
import sys
import threading
from collections.abc import Coroutine, Mapping
from contextlib import suppress
from typing import TYPE_CHECKING, Any

import click

from verifier.cli import options
from verifier.errors import (
    EXIT_INTERRUPTED,
    EXIT_PASSED,
    EXIT_UNTESTED,
    CannotMeasureError,
    UsageError,
)
from verifier.model.cautions import CLOSING, cautions
from verifier.model.plan import Carrier, EndName, Link, Plan
from verifier.report.plain import plain, wrapped
from verifier.rules.alignment import AlignedCarrier, EndView
from verifier.rules.cable import advice
from verifier.rules.compare.radio.read import find

if TYPE_CHECKING:
    from verifier.session.align import AlignQuestion
    from verifier.session.world import World

_STAGES = ("bench", "alignment", "handover", "service")


@click.command()
@options.plan_argument
@click.argument("link")
@options.profiles_option
@options.credentials_option
@click.option("--carrier", type=click.IntRange(1), help="Of a link with several; the first if not.")
@click.option(
    "--stage",
    type=click.Choice(_STAGES),
    default="alignment",
    show_default=True,
    help="What the expected level is: while aligning it follows the far end's power.",
)
@click.option("--for", "lasts_s", type=options.Duration(), help="End after this time.")
@click.option("--bell", is_flag=True, help="Ring the terminal's bell on a new best.")
@click.option(
    "--format", "format_", type=click.Choice(["text", "json"]), default="text",
    show_default=True, help="A line a second either way where it is no terminal.",
)  # fmt: skip
def align(**given: Any) -> int:
    """Both ends' receive level of LINK, once a second, while the antennas are aligned.

    Shows the difference to the expected level, the highest so far, and the voltage to expect at
    the alignment port. Reads only. Ctrl-C ends it.
    """
    plan, _ = options.load_plan(given["plan"], given["profile_folder"])
    link, carrier = _chosen(plan, given["link"], given["carrier"])
    devices = {d.name: d for d in plan.devices}
    end_devices = [devices[end.device] for _, end in carrier.ends()]
    profiles, credentials = options.load_needs(
        end_devices, given["profile_folder"], given["credentials_file"], with_credentials=True
    )
    from verifier.session.align import AlignQuestion  # noqa: PLC0415 - bad input needs no probes

    questions: dict[EndName, AlignQuestion] = {}
    unread: dict[EndName, str] = {}
    for (name, end), end_device in zip(carrier.ends(), end_devices, strict=True):
        profile = profiles[end_device.profile]
        radio = end.radio if end.radio is not None else carrier.carrier
        sole = sum(
            end_device.name in {c.a.device, c.b.device} for k in plan.links for c in k.carriers
        )
        level, power = (
            find(profile, field, radio, sole=sole == 1)
            for field in ("rx_level_dbm", "tx_power_dbm")
        )
        if end_device.snmp is None:
            unread[name] = "the plan names no credentials entry in `snmp`"
        elif level is None:
            unread[name] = f"profile {profile.id!r} has no reading rx_level_dbm for radio {radio}"
        else:
            questions[name] = AlignQuestion(
                address=end_device.address.address,
                entry=credentials[end_device.snmp],
                level=level,
                power=power,
            )
    if not questions:
        why = "; ".join(dict.fromkeys(unread.values()))
        raise UsageError(f"no level can be read of {link.name!r}: {why}")
    hop = AlignedCarrier(
        link=link,
        carrier=carrier,
        stage=given["stage"],
        profiles={
            n: profiles[u.profile] for (n, _), u in zip(carrier.ends(), end_devices, strict=True)
        },
    )
    from verifier.probes.world import ThisMachine  # noqa: PLC0415
    from verifier.session.laptop import fit  # noqa: PLC0415

    asked = [u for (n, _), u in zip(carrier.ends(), end_devices, strict=True) if n in questions]
    world = ThisMachine()
    asked_about = fit.FitQuestion(plan=plan, profiles=profiles, devices=asked)
    if out := fit.without_link(asked_about, world.laptop):
        raise CannotMeasureError(f"{out}: {advice(out)}")
    _say(_opening(link, carrier, unread), given["format_"])
    return _run(hop, questions, world, given)


def _chosen(plan: Plan, name: str, carrier: int | None) -> tuple[Link, Carrier]:
    links = {link.name: link for link in plan.links}
    if name not in links:
        options.select(plan, (), (name,), ())  # raises, with the nearest name
    link = links[name]
    numbers = [c.carrier for c in link.carriers]
    if carrier is not None and carrier not in numbers:
        raise UsageError(f"link {name!r} has carrier {', '.join(map(str, numbers))}, not {carrier}")
    return link, next(c for c in link.carriers if carrier in (None, c.carrier))


def _opening(link: Link, carrier: Carrier, unread: Mapping[EndName, str]) -> list[str]:
    from verifier.report.align import QUICKER  # noqa: PLC0415

    several = f", carrier {carrier.carrier}" if len(link.carriers) > 1 else ""
    who = f"a is {plain(carrier.a.device)}, b is {plain(carrier.b.device)}"
    lines = [f"{plain(link.name)}{several}: levels of both ends, once a second; {who}.", QUICKER]
    lines += [f"End {name} is not read: {plain(why)}." for name, why in unread.items()]
    return [*lines, *map(str, cautions("align")), CLOSING]


def _say(lines: list[str], chosen: str) -> None:
    """For a person; beside JSON it goes where faults go."""
    text = [part for line in lines for part in wrapped(line, "", hang="")]
    click.echo("\n".join(text), err=chosen == "json")


class _Screen:
    """Shows a picture over the last one on a terminal, else a line each."""

    def __init__(self, chosen: str, *, bell: bool) -> None:
        self._json = chosen == "json"
        self._terminal = sys.stdout.isatty() and not self._json
        self._bell = bell
        self._drawn = 0
        self.last: tuple[EndView, EndView] | None = None
        self.read = False

    def show(self, ends: tuple[EndView, EndView], elapsed_s: float) -> None:
        """Both ends at one moment."""
        from verifier.report import align as look  # noqa: PLC0415

        self.last = ends
        self.read |= any(end.age_s is not None for end in ends)
        if self._bell and any(end.best for end in ends):
            sys.stderr.write("\a")
            sys.stderr.flush()
        if self._json:
            print(look.document(ends, elapsed_s), flush=True)  # noqa: T201
            return
        columns = shutil.get_terminal_size((100, 24)).columns
        if not self._terminal or columns < look.NARROWEST:
            print(look.line(ends, elapsed_s), flush=True)  # noqa: T201
            return
        lines = look.large(ends, elapsed_s, min(columns - 1, 100))
        up = f"\x1b[{self._drawn}A" if self._drawn else ""
        sys.stdout.write(up + "".join(f"\r{line}\n" for line in lines))
        sys.stdout.flush()
        self._drawn = len(lines)


def _run(
    hop: AlignedCarrier,
    questions: Mapping[EndName, AlignQuestion],
    world: World,
    given: dict[str, Any],
) -> int:
    from verifier.report.align import summary  # noqa: PLC0415
    from verifier.session.align import Peaks  # noqa: PLC0415
    from verifier.session.align import align as follow  # noqa: PLC0415

    screen = _Screen(given["format_"], bell=given["bell"])
    course = follow(world, Peaks(hop), questions, screen.show, lasts_s=given["lasts_s"])
    ended = world.run(_ended_by_a_signal(course))
    if screen.last is not None:
        _say(summary(screen.last).splitlines(), given["format_"])
    if ended:
        return EXIT_INTERRUPTED
    return EXIT_PASSED if screen.read else EXIT_UNTESTED


async def _ended_by_a_signal(course: Coroutine[Any, Any, None]) -> bool:
    """Whether SIGINT or SIGTERM ended it before its time."""
    from verifier.session.signals import cancelled_by_signals  # noqa: PLC0415

    stop = threading.Event()
    task = asyncio.ensure_future(course)
    with cancelled_by_signals(task, stop), suppress(asyncio.CancelledError):
        await task
    return stop.is_set()
