"""`readdress --guide`: the runbook with the tool looking after every step."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from verifier.cli import guide, inputs
from verifier.cli.guide import GuideStart, interface_named
from verifier.cli.guide_screen import Screen
from verifier.cli.readdress_options import ReaddressOptions
from verifier.errors import CannotMeasureError, InputError, UsageError
from verifier.files.credentials import at_hand, load_credentials
from verifier.files.journals.guide import FORMAT, GuideJournal
from verifier.model.address import Interface
from verifier.model.credentials import SnmpEntry
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.model.runbook import Fingerprint
from verifier.model.search import Candidate
from verifier.probes.world import ThisMachine
from verifier.report import search as find_report
from verifier.report.runbook import guide as drawn
from verifier.report.runbook.text import RunbookPaper, document, heading, lines
from verifier.report.style import ReportStyle
from verifier.rules.fit.ways import advice
from verifier.session.guide.look import DeviceObserver, Guiding, moves
from verifier.session.guide.run import Guide
from verifier.session.guide.wait import Ending, Waiter
from verifier.session.laptop import LaptopAddresses, cables, held, link_lost
from verifier.session.search.request import PACKETS_PER_S, Search
from verifier.session.search.run import look_for
from verifier.session.signals import Signals
from verifier.session.world import LaptopAccess

if TYPE_CHECKING:
    from verifier.rules.readdress.world import Task

_KEYS = "Enter: done, go on. q and Enter, or Ctrl-C: stop; --resume goes on from there."


def run(
    options: ReaddressOptions, plan: Plan, task: Task, paper: RunbookPaper, start: GuideStart
) -> int:
    """Leads through the runbook of `paper`; the exit code."""
    journal_file = start.journal
    assert journal_file is not None
    _refuse_another(paper, start)
    if not paper.runbook.steps:
        for words in heading(paper):
            click.echo(words)
        return paper.runbook.exit_code()
    goal = replace(plan, devices=tuple(u.device for u in task.devices))
    profiles = inputs.profiles_of(goal.devices, options.plan)
    credentials, why = _credentials(goal.devices, profiles, options.guide.credentials_file)
    world = ThisMachine()
    with ExitStack() as until, Signals() as signals:
        interface = _interface(options, start, signals, world.laptop)
        paper = replace(paper, interface=paper.interface or interface)
        screen = _screen(options, paper, signals)
        world.laptop.take_back_leftovers(screen.say)
        journal = until.enter_context(GuideJournal(journal_file))
        _open(options, paper, screen, _notes(held(world.laptop), journal_file, why))
        hands = None
        if options.guide.set_laptop:
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
        guiding = _guiding(options, task, paper, eyes, screen, start)
        made = Guide(guiding, eyes, hands, screen, journal, Waiter(screen, signals, world.clocks))
        ending, code = made.run()
    _close(options, paper, screen, made, ending)
    return code


def _refuse_another(paper: RunbookPaper, start: GuideStart) -> None:
    """Raises InputError where the plan makes another runbook than the one that was begun."""
    steps = document(paper.runbook)["steps"]
    if start.story is not None and list(start.story.steps) != steps:
        raise InputError(
            f"{start.journal}: the plan makes another runbook now than the one that was begun: "
            "put the plan back as it was, or put the journal aside and begin anew"
        )


def _screen(options: ReaddressOptions, paper: RunbookPaper, signals: Signals) -> Screen:
    return Screen(
        {line.step.n: line for line in lines(paper)},
        signals,
        commands=not options.guide.set_laptop,
        quiet=options.output.quiet,
    )


def _guiding(  # noqa: PLR0913, PLR0917
    options: ReaddressOptions,
    task: Task,
    paper: RunbookPaper,
    eyes: DeviceObserver,
    screen: Screen,
    start: GuideStart,
) -> Guiding:
    """What the guide goes by, with what its journal begins with."""
    network = eyes.plan.network
    return Guiding(
        runbook=paper.runbook,
        moves=moves(paper.runbook, task.devices),
        boot_s={d.name: eyes.profiles[d.profile].boot_s for d in eyes.plan.devices},
        auto=options.guide.auto,
        wait_s=start.wait_s,
        start={
            "format": FORMAT,
            "plan": {"name": network.name, "revision": network.revision},
            "asked": guide.as_kept(options.runbook),
            "steps": document(paper.runbook)["steps"],
        },
        story=start.story,
        find=_finder(options.plan.path, eyes, paper, screen),
    )


# -- what is needed --------------------------------------------------------------------------------


def _credentials(
    devices: Sequence[Device], profiles: Mapping[str, Profile], file: Path | None
) -> tuple[dict[str, SnmpEntry], str]:
    """The entries the devices and their factories name; and why SNMP is not asked, if it is not.

    Raises InputError where a file was given that lacks an entry of a device.
    """
    needed = {d.snmp for d in devices if d.snmp is not None}
    wanted = {p.factory.snmp for p in profiles.values()} - needed - {None}
    useful = at_hand((n for n in wanted if n is not None), file)
    ask = inputs.asker()
    missing: set[str] = set()
    if file is None and ask is None:
        missing = needed - at_hand(needed, None)
        needed -= missing
    found = load_credentials(needed, file, None, ask) if needed else {}
    found |= load_credentials(useful, file) if useful else {}
    if not missing:
        return found, ""
    return found, f"no credentials for {', '.join(sorted(missing))}: SNMP is not asked with them"


def _interface(
    options: ReaddressOptions, start: GuideStart, signals: Signals, here: LaptopAccess
) -> str | None:
    """This laptop's interface towards the devices; None where it need not be known."""
    chosen = start.interface or interface_named(options.runbook.laptop)
    if chosen is not None or not options.guide.set_laptop:
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
    plan: Path, eyes: DeviceObserver, paper: RunbookPaper, screen: Screen
) -> Callable[[Device, Fingerprint | None], None]:
    """Looks for a device that does not answer, and says where it is."""
    all_moves = [s for s in paper.runbook.steps if s.action == "set-device"]

    def show(wanted: Sequence[Candidate]) -> None:
        screen.show(find_report.listing(wanted, PACKETS_PER_S, ReportStyle()))

    def find(device: Device, marks: Fingerprint | None) -> None:
        """As `plan-verifier find`, with what is known of the device by now."""
        command = f"plan-verifier find {shlex.quote(str(plan))} {shlex.quote(device.name)}"
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
    options: ReaddressOptions, paper: RunbookPaper, screen: Screen, notes: Sequence[str]
) -> None:
    """Says what is about to be done, and `notes`."""
    for words in heading(paper):
        screen.say(words)
    for blocked in paper.runbook.blocked:
        screen.say(f"blocked: {blocked.device}: {blocked.reason}")
    screen.show("\n".join(drawn.cautions(paper.runbook.setting)))
    for note in notes:
        screen.say(note)
    if not options.guide.auto:
        screen.say(_KEYS)


def _notes(own: Mapping[Interface, str], journal: Path, why: str) -> list[str]:
    """This laptop's addresses, where the journal is, and why SNMP is not asked."""
    here = ", ".join(f"{address} on {name}" for address, name in own.items())
    notes = [f"This laptop now: {here or 'no address'}.", f"Journal: {journal}"]
    return [*notes, f"note: {why}"] if why else notes


def _close(
    options: ReaddressOptions, paper: RunbookPaper, screen: Screen, made: Guide, ending: Ending
) -> None:
    total = len(paper.runbook.steps)
    screen.show(
        "\n" + "\n".join(drawn.ending(ending, len(made.done), total, made.not_tested)) + "\n"
    )
    plan = guide.command_words(options.plan.path, options.runbook)
    if ending != "done":
        screen.say(f"To go on: plan-verifier readdress {plan} --guide --resume")
    for note in made.eyes.notes:
        screen.say(f"note: {note}")
    if ending == "done" and (count := len(paper.runbook.follow_ups)):
        names = dict.fromkeys(m.device.name for m in made.guiding.moves.values())
        done = " ".join(f"--done {shlex.quote(n)}" for n in names)
        screen.say(f"{count} things follow from it: `plan-verifier readdress {plan}` lists them.")
        first = f"{shlex.quote(str(options.plan.path))} {shlex.quote(next(iter(names)))}"
        screen.say(f"To prove that they were saved: plan-verifier powercycle {first}")
        screen.say(f"To record it: plan-verifier readdress {plan} {done} --write-plan NEW_PLAN")
    if ending == "interrupted":
        click.echo("interrupted; the journal is kept", err=True)
