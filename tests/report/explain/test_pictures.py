"""README: its pictures are what the program draws today, its block what it prints, its tables the code's."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from tests.command import command
from tests.report.explain import pictures
from verifier.report.explain.facts import EXIT_CODES
from verifier.simulator.faults import PlantedFault

ROOT = Path(__file__).parents[3]
README = (ROOT / "README.md").read_text("utf-8")
SHOWN = re.findall(r"!\[[^\]]*\]\((verifier/explain/pictures/([\w-]+)\.svg)\)", README)
VARYING = (r"\(\d+\.\d s, [^)]+\)", "(TIME)")
"""Durations and times of day."""


def kept(name: str) -> str:
    return (pictures.FOLDER / f"{name}.svg").read_text("utf-8")


def test_runbook_and_card_are_drawn_like_that(tmp_path: Path) -> None:
    """Anew: `python -m tests.report.explain.pictures`."""
    for name, drawing in pictures.offline(tmp_path).items():
        assert drawing == kept(name)


@pytest.mark.icmp
def test_hop_and_status_are_drawn_like_that(tmp_path: Path) -> None:
    """Of the simulated network with two faults."""
    for name, drawing in pictures.of_network(tmp_path).items():
        assert drawing == kept(name)


def test_each_picture_is_shown_and_is_one_file() -> None:
    """Every one stands in README; none fetches anything or runs a script."""
    assert {name for _, name in SHOWN} == {p.stem for p in pictures.FOLDER.iterdir()}
    for path, name in SHOWN:
        root = ET.parse(ROOT / path).getroot()
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        assert float(root.attrib["width"]) > 100
        text = kept(name).replace('xmlns="http://www.w3.org/2000/svg"', "")
        assert not re.search(r"https?:|<script|@import|url\((?!#)", text)


@pytest.mark.icmp
def test_block_of_one_wrong_device_is_what_is_printed(tmp_path: Path) -> None:
    """The first lines, times apart."""
    (block,) = re.findall(r"^```text\n(\$ .*?)^```$", README, re.MULTILINE | re.DOTALL)
    typed, *lines = block.splitlines()
    assert len(lines) <= 10
    with pictures.coast(tmp_path) as network:
        network.put(PlantedFault(kind="swapped-ends", link="Hop 1"))
        done = command(tmp_path, *typed.split()[2:])
    steady = [re.sub(*VARYING, line) for line in done.stdout.splitlines()]
    assert steady[: len(lines)] == [re.sub(*VARYING, line) for line in lines]


def test_exit_codes_are_those_of_the_program() -> None:
    rows = re.findall(r"^\| (\d+) \| (.*) \|$", README, re.MULTILINE)
    assert {int(code): words.replace("`", "") for code, words in rows} == EXIT_CODES


def test_it_is_a_landing_page() -> None:
    """At most 250 lines; the first paragraph is the job, and two commands are what a machine needs."""
    lines = README.splitlines()
    assert len(lines) <= 250
    assert lines[2].startswith("A field engineer builds point-to-point microwave links.")
    assert len([x for x in lines if x.startswith("python3 -m venv")]) == 2
