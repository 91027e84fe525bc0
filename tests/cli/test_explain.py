"""`explain`: everything has its page, every command in a page is one, names that are near are told."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

import verifier
from tests.cli.conftest import Run
from tests.command import command
from verifier.cli import COMMANDS
from verifier.cli.handbook import Handbook
from verifier.cli.help import SECTIONS, SUBCOMMANDS, command_of
from verifier.model.health import STATES
from verifier.model.laptop import Relation
from verifier.report.explain import facts

BOOK = Handbook.load()
TOPICS = BOOK.topics.by_name
PAGES = {
    p.stem: p.read_text("utf-8") for p in (Path(verifier.__file__).parent / "explain").glob("*.md")
}
README = (Path(__file__).parents[2] / "README.md").read_text("utf-8")


def blocks(text: str, language: str) -> list[str]:
    found = re.findall(r"^```(\w*)\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
    return [block for kind, block in found if kind == language]


# -- everything has its page -----------------------------------------------------------------------


@pytest.mark.parametrize("kind", list(facts.names()))
def test_all_of_a_kind_have_their_page_and_no_other(kind: str) -> None:
    """Checks, rules, causes, stages and exit codes of the program, no more and no less."""
    assert {t.name for t in TOPICS.values() if t.kind == kind} == facts.names()[kind]


def test_states_and_commands_have_their_page() -> None:
    assert {t.name for t in TOPICS.values() if t.kind == "state"} == set(STATES)
    assert {t.name for t in TOPICS.values() if t.kind == "command"} == set(COMMANDS)
    assert set(Relation.__args__) <= set(TOPICS)  # type: ignore[attr-defined]


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_option_stands_on_the_page_of_its_command(name: str) -> None:
    shown = BOOK.text(TOPICS[name], 100)
    for option in options_of(command_of(name)):
        assert re.search(rf"^{re.escape(option)}\b", shown, re.MULTILINE), option


def options_of(shown: click.Command) -> Iterator[str]:
    inner = shown.commands.values() if isinstance(shown, click.Group) else [shown]
    for one in inner:
        yield from (p.opts[0] for p in one.params if isinstance(p, click.Option))


def test_every_topic_says_something_in_columns() -> None:
    """None is empty, none is wider than a screen but for commands to type."""
    for topic in TOPICS.values():
        assert topic.about, topic.name
        shown = BOOK.text(topic, 100).splitlines()
        assert len(shown) > 2, topic.name
        wide = [x for x in shown if len(x) > 100 and not x.startswith("    ")]
        assert wide == [], topic.name


# -- commands in pages -----------------------------------------------------------------------------


def typed(text: str) -> list[str]:
    lines = [line.strip() for block in blocks(text, "") for line in block.splitlines()]
    return [line for line in lines if line.startswith("plan-verifier ")]


def every_command() -> list[str]:
    found = [line for text in (README, *PAGES.values()) for line in typed(text)]
    return sorted({line for line in found if line != "plan-verifier demo"})


def test_commands_of_pages_run(tmp_path: Path) -> None:
    """Each is understood as far as its missing files; `demo` has a test of its own.

    Each has an empty folder: no command finds a plan that another one wrote, and asks its devices.
    """
    lines = every_command()
    assert len(lines) > 30
    for n, line in enumerate(lines):
        (folder := tmp_path / str(n)).mkdir()
        done = command(folder, *shlex.split(line)[1:])
        assert done.returncode in {0, 4}, f"{line}: {done.stderr}"


def examples() -> Iterator[str]:
    for name, entry in COMMANDS.items():
        assert len(entry.examples) == 2, name
        yield from entry.examples
    for pair in SUBCOMMANDS.values():
        yield from pair


def in_words() -> Iterator[str]:
    """Commands within sentences of pages and README."""
    for text in (README, *PAGES.values()):
        bare = re.sub(r"^```.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL)
        for span in re.findall(r"`plan-verifier ([^`]+)`", bare):
            yield " ".join(span.split())


@pytest.mark.parametrize("line", sorted({*examples(), *in_words()}))
def test_examples_and_commands_in_sentences_exist(line: str) -> None:
    """Parsed as the command line would be; nothing is run. A topic that is named is one."""
    name, *words = shlex.split(line)
    if name.isupper():
        return  # TOPIC, COMMAND
    chosen = command_of(name)
    if isinstance(chosen, click.Group):
        chosen = chosen.commands[words.pop(0)]
    if any(word.isupper() and not word.startswith("-") for word in words):
        return  # a pattern such as `report FILE`
    if name == "explain" and words and not words[0].startswith("-"):
        assert BOOK.find(" ".join(words)).name
    if words or name in {"explain", "schema", "demo"}:
        chosen.make_context(name, list(words), resilient_parsing=name in {"check", "profiles"})


def test_names_of_checks_in_pages_exist() -> None:
    layers = {name.partition(".")[0] for name in facts.names()["check"]} - {"plan"}
    known = facts.names()["check"]
    for page, text in PAGES.items():
        for span in re.findall(r"`([a-z]+\.[a-z-]+)`", text):
            if span.partition(".")[0] in layers:
                assert span in known, f"{page}: {span}"


def test_what_a_failing_finding_offers_is_a_topic() -> None:
    """`more: plan-verifier explain CHECK`, and RULE of a plan."""
    for name in facts.names()["rule"]:
        assert BOOK.find(f"plan.{name}").name == name


# -- the command -----------------------------------------------------------------------------------


def test_topic_list_fits_two_screens_and_names_every_page(run: Run) -> None:
    shown = run("explain").stdout
    assert len(shown.splitlines()) <= 60
    assert max(map(len, shown.splitlines())) <= 100
    for name, section in ((n, s) for s, names in SECTIONS.items() for n in names):
        assert name in shown
        assert section in shown
    general = [t.name for t in TOPICS.values() if t.kind == "topic" and "-" not in t.name]
    assert [n for n in general if not re.search(rf"^{n}\b", shown, re.MULTILINE)] == []


def test_unknown_topic_names_the_nearest(run: Run) -> None:
    done = run("explain", "radio.rx-levl")
    assert done.returncode == 2
    assert "radio.rx-level" in done.stderr
    assert done.stdout == ""
    none = run("explain", "--no-such-option")
    assert none.returncode == 2
    assert "no command has an option" in none.stderr


def test_a_check_prints_exactly_its_part(run: Run) -> None:
    shown = run("explain", "radio.rx-level").stdout
    assert shown.startswith("radio.rx-level\n")
    assert "radio.path-loss next" in shown
    assert "radio.reciprocity\n" not in shown


def test_option_and_exit_code(run: Run) -> None:
    option, code = run("explain", "--soak"), run("explain", "exit", "3")
    assert (option.returncode, code.returncode) == (0, 0)
    assert "- plan-verifier verify: " in option.stdout
    assert "could not be tested" in code.stdout


def test_page_by_its_ending(run: Run, tmp_path: Path) -> None:
    assert run("explain", "address.mask", "--out", "mask.html").stdout == ""
    drawn = (tmp_path / "mask.html").read_text("utf-8")
    assert drawn.startswith("<!doctype html>")
    assert "1.3.6.1.2.1.4.20.1.3" in drawn


@pytest.mark.man
def test_manual_page_has_no_warning(run: Run, tmp_path: Path) -> None:
    """By `man --warnings`, which tells whatever groff finds odd."""
    (tmp_path / "plan-verifier.1").write_text(run("explain", "--format", "man").stdout, "utf-8")
    man = shutil.which("man")
    assert man is not None
    done = subprocess.run(
        [man, "--warnings", "-l", "-Tutf8", "plan-verifier.1"], cwd=tmp_path,
        env={"LC_ALL": "C.UTF-8", "MANWIDTH": "100", "PATH": "/usr/bin:/bin", "MANPAGER": "cat"},
        capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert done.stderr == ""
    plain = re.sub(r".\x08", "", done.stdout)
    assert "EXIT STATUS" in plain
    for name in COMMANDS:
        assert f"PLAN-VERIFIER {name.upper()}" in plain


@pytest.mark.man
def test_man_would_warn_of_what_is_wrong(tmp_path: Path) -> None:
    (tmp_path / "x.1").write_text(".TH X 1\n.SH NAME\nx \\- y\n.XY no such request\n")
    done = subprocess.run(
        ["/usr/bin/man", "--warnings", "-l", "-Tutf8", "x.1"], cwd=tmp_path,
        env={"LC_ALL": "C.UTF-8", "PATH": "/usr/bin:/bin", "MANPAGER": "cat"},
        capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert (done.returncode, "XY" in done.stderr) == (0, True)
