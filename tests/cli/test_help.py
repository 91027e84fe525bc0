"""Help: by the job, on one screen, all of it on request; one text for an option of several commands."""

from __future__ import annotations

import re
import subprocess
import sys
from collections import defaultdict
from collections.abc import Iterator

import click
import pytest
from click.testing import CliRunner

from verifier.cli import COMMANDS, commands
from verifier.cli.help import GROUPS, SCREEN, SECTIONS, SELDOM, SUBCOMMANDS, WIDTH, command_of
from verifier.cli.options import HISTORY_FORMATS, RESULT_FORMATS
from verifier.report import history, result

OTHERWISE = {"--bell", "--from", "--wait"}
"""Options of one name for other things: when it rings, what is read from, what is waited for."""


def each() -> Iterator[tuple[str, click.Command]]:
    for name in COMMANDS:
        command = command_of(name)
        if isinstance(command, click.Group):
            yield from ((f"{name} {inner}", one) for inner, one in command.commands.items())
        else:
            yield name, command


def said(*words: str) -> str:
    done = CliRunner().invoke(commands, words, prog_name="plan-verifier", terminal_width=WIDTH)
    assert done.exit_code == 0, done.output
    return done.output


@pytest.mark.parametrize("name", [name for name, _ in each()])
def test_help_of_a_command_fits_a_screen(name: str) -> None:
    """40 lines of 100 columns: what it does, two examples, its options in groups."""
    lines = said(*name.split(), "--help").splitlines()
    assert len(lines) <= SCREEN
    assert max(map(len, lines)) <= WIDTH
    assert lines[0].startswith(f"Usage: plan-verifier {name}")
    at = lines.index("Examples:")
    assert [x.startswith(f"  plan-verifier {name}") for x in lines[at + 1 : at + 3]] == [True, True]


@pytest.mark.parametrize(
    ("name", "command"), list(each()), ids=lambda v: v if isinstance(v, str) else ""
)
def test_all_options_stand_in_the_whole_help(name: str, command: click.Command) -> None:
    """And what the short one leaves out is counted."""
    whole, short = said(*name.split(), "--help-all"), said(*name.split(), "--help")
    options = [p.opts[0] for p in command.params if isinstance(p, click.Option)]
    shown = [o for o in options if re.search(rf"^  {re.escape(o)}\b", short, re.MULTILINE)]
    for option in options:
        assert re.search(rf"^  {re.escape(option)}\b", whole, re.MULTILINE), option
    hidden = len(options) - len(shown)
    assert (f"--help-all shows {hidden} more options" in short) == bool(hidden)


def test_seldom_options_and_groups_name_options_there_are() -> None:
    known = {p.opts[0] for _, c in each() for p in c.params}
    later = {"--insecure-webhook", "--pass-environment"}
    assert set(SELDOM.split()) - known <= later
    assert {o for names in GROUPS.values() for o in names.split()} <= known


def test_commands_stand_in_sections_by_the_job() -> None:
    shown = said("--help")
    assert [n for names in SECTIONS.values() for n in names] == list(COMMANDS)
    places = [shown.index(f"{section}:") for section in SECTIONS]
    assert places == sorted(places)
    assert list(SECTIONS) == ["Plan", "Bench and site", "Prove", "Watch", "Set up"]
    assert len(shown.splitlines()) <= SCREEN


def test_one_text_for_an_option_of_several_commands() -> None:
    """But for what stands in brackets behind it: a default may differ."""
    texts: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    for name, command in each():
        for option in command.params:
            if isinstance(option, click.Option):
                words = re.sub(r"\s*\[default:.*\]$", "", option.help or "")
                texts[option.opts[0]][words].append(name)
    several = {o: dict(t) for o, t in texts.items() if len(t) > 1}
    assert set(several) == OTHERWISE, several


def test_every_option_has_a_help_text() -> None:
    assert [f"{n} {p.opts[0]}" for n, c in each() for p in c.params
            if isinstance(p, click.Option) and not p.help] == []  # fmt: skip


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("verfy", "verify"), ("sweap", "sweep"), ("chekc", "check"), ("fnd", "find")],
)
def test_a_mistyped_command_is_suggested(typed: str, meant: str) -> None:
    done = CliRunner().invoke(commands, [typed])
    assert done.exit_code == 2
    assert f"There is no command {typed!r}. Did you mean {meant}" in done.output


def test_what_is_like_no_command_has_no_suggestion() -> None:
    done = CliRunner().invoke(commands, ["qqqqqq"])
    assert done.exit_code == 2
    assert "Did you mean" not in done.output


def test_formats_are_those_of_the_reports() -> None:
    """They are written out for help, which waits for no report."""
    assert tuple(result.FORMATS) == RESULT_FORMATS
    assert tuple(history.FORMATS) == HISTORY_FORMATS


def test_subcommands_have_their_examples() -> None:
    assert set(SUBCOMMANDS) == {n for n, _ in each() if " " in n}


SLOW = re.compile(
    r"^(pydantic|netaddr|pysnmp|yaml|openpyxl|jinja2|sqlalchemy|asyncio|psutil|cryptography"
    r"|verifier\.(files|model|rules|session|probes|report|simulator|store)\.)"
)


@pytest.mark.parametrize("name", ["verify", "sweep", "readdress", "align", "demo"])
def test_help_reads_nothing_of_the_work(name: str) -> None:
    """No library and no room of the work is imported for it: that keeps it quick."""
    code = (
        "import sys, verifier.cli as c\n"
        "try: c.commands([sys.argv[1], '--help'], prog_name='plan-verifier')\n"
        "except SystemExit: pass\n"
        "print('\\n'.join(sys.modules), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, name], capture_output=True, text=True, check=True, timeout=60
    )
    assert [m for m in done.stderr.split() if SLOW.match(m)] == []
