"""`readdress --guide`: the runbook with the tool looking after every step."""

from __future__ import annotations

import os
import shlex
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from verifier.cli import guide, options
from verifier.cli.guide_screen import Screen
from verifier.errors import CannotMeasureError, InputError, UsageError
from verifier.files.credentials import load_credentials
from verifier.files.journals.guide import FORMAT, GuideJournal, Story
from verifier.files.profile.read import load_profiles
from verifier.model.address import Interface
from verifier.model.credentials import SnmpEntry
from verifier.model.guide import Fingerprint
from verifier.model.laptop import UNNAMED
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.model.search import Candidate
from verifier.probes.world import ThisMachine
from verifier.report import search as find_report
from verifier.report.runbook import guide as drawn
from verifier.report.runbook.json import document
from verifier.report.runbook.text import RunbookPaper, heading, lines
from verifier.report.style import ReportStyle
from verifier.rules.cable import advice
from verifier.session.guide.look import DeviceObserver
from verifier.session.guide.run import Guide
from verifier.session.guide.steps import Guiding, moves
from verifier.session.guide.wait import Ending, Waiter
from verifier.session.laptop.hold import LaptopAddresses, cables, held, link_lost
from verifier.session.search.run import PACKETS_PER_S, Search, look_for
from verifier.session.signals import Signals
from verifier.session.world import LaptopAccess

if TYPE_CHECKING:
    from verifier.rules.readdress.world import Task

_KEYS = "Enter: done, go on. q and Enter, or Ctrl-C: stop; --resume goes on from there."


def run(
    given: dict[str, Any], plan: Plan, task: Task, sheet: RunbookPaper, story: Story | None
) -> int:
    """Leads through the runbook of `sheet`; the exit code."""
    steps = document(sheet.runbook)["steps"]
    if story is not None and list(story.steps) != steps:
        raise InputError(
            f"{given['journal']}: the plan makes another runbook now than the one that was begun: "
            "put the plan back as it was, or put the journal aside and begin anew"
        )
    if not steps:
        for words in heading(sheet):
            click.echo(words)
        return sheet.runbook.exit_code()
    goal = replace(plan, devices=tuple(u.device for u in task.devices))
    profiles = load_profiles({d.profile for d in goal.devices}, given["profile_folder"])
    credentials, why = _credentials(goal.devices, profiles, given["credentials_file"])
    world = ThisMachine()
    with ExitStack() as until, Signals() as signals:
        interface = _interface(given, signals, world.laptop)
        sheet = replace(sheet, interface=sheet.interface or interface)
        shown = {line.step.n: line for line in lines(sheet)}
        screen = Screen(shown, signals, commands=not given["set_laptop"], quiet=given["quiet"])
        world.laptop.take_back_leftovers(screen.say)
        journal = until.enter_context(GuideJournal(given["journal"]))
        _open(given, sheet, screen, why, held(world.laptop))
        hands = None
        if given["set_laptop"]:
            assert interface is not None
            hands = until.enter_context(LaptopAddresses(interface, screen.say, world.laptop))
        eyes = DeviceObserver(
            plan=goal,
            profiles=profiles,
            credentials=credentials,
            world=world,
            remote=task.setting == "remote",
            interface=interface,
        )
        guiding = replace(_guiding(given, task, sheet, eyes, screen), story=story)
        made = Guide(guiding, eyes, hands, screen, journal, Waiter(screen, signals, world.clocks))
        ending, code = made.run()
    _close(given, sheet, screen, made, ending)
    return code


def _guiding(
    given: Mapping[str, Any], task: Task, sheet: RunbookPaper, eyes: DeviceObserver, screen: Screen
) -> Guiding:
    """What the guide goes by, with what its journal begins with."""
    network = eyes.plan.network
    return Guiding(
        runbook=sheet.runbook,
        moves=moves(sheet.runbook, task.devices),
        boot_s={d.name: eyes.profiles[d.profile].boot_s for d in eyes.plan.devices},
        auto=given["auto"],
        wait_s=given["wait"],
        start={
            "format": FORMAT,
            "plan": {"name": network.name, "revision": network.revision},
            "asked": guide.asked(given),
            "steps": document(sheet.runbook)["steps"],
        },
        find=_finder(given, eyes, sheet, screen),
    )


# -- what is needed --------------------------------------------------------------------------------


def _credentials(
    devices: Sequence[Device], profiles: Mapping[str, Profile], file: Any
) -> tuple[dict[str, SnmpEntry], str]:
    """The entries the devices and their factories name; and why SNMP is not asked, if it is not.

    Raises InputError where a file was given that lacks an entry of a device.
    """
    needed = {d.snmp for d in devices if d.snmp is not None}
    wanted = {p.factory.snmp for p in profiles.values()} - needed - {None}
    useful = options.at_hand((n for n in wanted if n is not None), file)
    ask = options.asker()
    if file is None and ask is None:
        missing = needed - options.at_hand(needed, None)
        needed -= missing
    else:
        missing = set()
    found = load_credentials(needed, file, os.environ, ask) if needed else {}
    found |= load_credentials(useful, file, os.environ) if useful else {}
    if not missing:
        return found, ""
    return found, f"no credentials for {', '.join(sorted(missing))}: SNMP is not asked with them"


def _interface(given: Mapping[str, Any], signals: Signals, here: LaptopAccess) -> str | None:
    """This laptop's interface towards the devices; None where it need not be known."""
    named = [i.name for i in given["laptop"] if i.name != UNNAMED]
    chosen: str | None = given.get("interface") or next(iter(named), None)
    if chosen is not None or not given["set_laptop"]:
        return chosen
    there = cables(here)
    if len(there) == 1:
        return there[0]
    if not there and (out := link_lost(None, here)) is not None:
        raise CannotMeasureError(f"{out}: {advice(out)}")
    listed = ", ".join(there) or "none with a cable"
    if there and sys.stdin.isatty() and sys.stdout.isatty():
        click.echo(f"Which interface is at the devices: {listed}? ", nl=False)
        answer = signals.read_line(sys.stdin)
        if answer in there:
            return answer
    raise UsageError(
        f"which interface is at the devices? Name it: --laptop ADDRESS/PREFIX@INTERFACE ({listed})"
    )


def _finder(
    given: Mapping[str, Any], eyes: DeviceObserver, sheet: RunbookPaper, screen: Screen
) -> Callable[[Device, Fingerprint | None], None]:
    """Looks for a device that does not answer, and says where it is."""
    all_moves = [s for s in sheet.runbook.steps if s.action == "set-device"]

    def show(wanted: Sequence[Candidate]) -> None:
        screen.show(find_report.listing(wanted, PACKETS_PER_S, ReportStyle()))

    def find(device: Device, marks: Fingerprint | None) -> None:
        """As `plan-verifier find`, with what is known of the device by now."""
        command = f"plan-verifier find {shlex.quote(str(given['plan']))} {shlex.quote(device.name)}"
        screen.say(f"looking for {device.name} ({command}, with --listen it hears the cable too)")
        mine = [s for s in all_moves if s.device == device.name]
        search = Search(
            plan=eyes.plan,
            device=device,
            profiles=eyes.profiles,
            credentials=eyes.credentials,
            temporary=tuple(at for s in mine for at in (s.from_, s.to)),
            macs=frozenset(m for m in (marks and marks.mac,) if m),
            engine_ids=frozenset(e for e in (marks and marks.engine_id,) if e),
            interfaces=() if eyes.interface is None else (eyes.interface,),
            show=show,
            say=screen.say,
        )
        found = look_for(search, eyes.world)
        screen.show(find_report.text(found, ReportStyle(colour=screen.terminal)))
        if found.interrupted:
            screen.signals.note()

    return find


# -- what is said ----------------------------------------------------------------------------------


def _open(
    given: Mapping[str, Any],
    sheet: RunbookPaper,
    screen: Screen,
    why: str,
    own: Mapping[Interface, str],
) -> None:
    for words in heading(sheet):
        screen.say(words)
    for blocked in sheet.runbook.blocked:
        screen.say(f"blocked: {blocked.device}: {blocked.reason}")
    screen.show("\n".join(drawn.cautions(sheet.runbook.setting)))
    here = ", ".join(f"{text} on {name}" for text, name in own.items())
    screen.say(f"This laptop now: {here or 'no address'}.")
    screen.say(f"Journal: {given['journal']}")
    if why:
        screen.say(f"note: {why}")
    if not given["auto"]:
        screen.say(_KEYS)


def _close(
    given: Mapping[str, Any], sheet: RunbookPaper, screen: Screen, made: Guide, ending: Ending
) -> None:
    total = len(sheet.runbook.steps)
    screen.show(
        "\n" + "\n".join(drawn.ending(ending, len(made.done), total, made.not_tested)) + "\n"
    )
    plan = guide.named(given)
    if ending != "done":
        screen.say(f"To go on: plan-verifier readdress {plan} --guide --resume")
    for note in made.eyes.notes:
        screen.say(f"note: {note}")
    if ending == "done" and (count := len(sheet.runbook.follow_ups)):
        names = dict.fromkeys(m.device.name for m in made.guiding.moves.values())
        done = " ".join(f"--done {shlex.quote(n)}" for n in names)
        screen.say(f"{count} things follow from it: `plan-verifier readdress {plan}` lists them.")
        first = f"{shlex.quote(str(given['plan']))} {shlex.quote(next(iter(names)))}"
        screen.say(f"To prove that they were saved: plan-verifier powercycle {first}")
        screen.say(f"To record it: plan-verifier readdress {plan} {done} --write-plan NEW_PLAN")
    if ending == "interrupted":
        click.echo("interrupted; the journal is kept", err=True)
