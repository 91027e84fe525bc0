"""A record in its four formats, hostile names in all of them."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import re
from html.parser import HTMLParser

import pytest

from tests.report.history.examples import EVIL, HOSTILE, RECORD, many, record_of
from verifier.model.history import RecordPoint
from verifier.model.problem import Subject
from verifier.report.history import FORMATS
from verifier.report.history.text import HEADINGS, percent
from verifier.report.style import ReportStyle


def test_the_text_says_it_all() -> None:
    """Available, untested, outages, level deviations, ports, changes: with what one needs to know of them."""
    text = FORMATS["text"](RECORD, ReportStyle())
    for said in (
        "Available 99.999 % of the tested time of all devices (24 h)",
        "1 h not tested; 300 sweeps, 2 left out",
        "a -45.5 (-50.0 to -45.2)",
        "BEYOND ITS LIMIT, 20 dry hours",
        "the handover has no level of this end",
        "lighthouse-quarry: 10 s",
        "Hop 1: 25 h, still so (and 10 min of which nothing is known), by its changes of state",
        (
            "Hop 1: sound -> silent; Harbour ring does not answer; because of device "
            "lighthouse-quarry; not told:"
        ),
    ):
        assert said in " ".join(text.split()) or said in text
    assert max(map(len, text.splitlines())) <= 100


def test_long_names_keep_the_text_narrow() -> None:
    """At most 100 columns, whatever the names are."""
    long = "lighthouse-at-the-far-end-of-the-harbour-quay-second-radio"
    record = record_of("Harbour", Subject("device", long), Subject("link", f"{long}-link"))
    assert max(map(len, FORMATS["text"](record, ReportStyle()).splitlines())) <= 100


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (100.0, "100 %"),
        (99.999999, "99.999 %"),
        (0.0, "0.000 %"),
        (None, "-"),
        (95.8333, "95.833 %"),
    ],
)
def test_availability_is_never_rounded_up(value: float | None, shown: str) -> None:
    """100 % is said of what always answered."""
    assert percent(value) == shown


def test_the_csv_has_a_row_of_each_kind() -> None:
    """Every row has every column; numbers are numbers."""
    rows = list(csv.DictReader(io.StringIO(FORMATS["csv"](RECORD, ReportStyle()))))
    assert {tuple(row) for row in rows} == {HEADINGS}
    assert [row["row"] for row in rows] == [
        "subject", "subject", "subject", "level", "level", "deviation", "deviation", "outage", "outage",
        "port", "change",
    ]  # fmt: skip
    assert float(rows[5]["deviation_db"]) == -4.5
    assert float(rows[0]["available_pct"]) == 99.99999


def test_the_document_is_json() -> None:
    """With its format, and devices named by kind and name alone."""
    document = json.loads(FORMATS["json"](RECORD, ReportStyle()))
    assert document["format"] == "plan-verifier/history/1"
    assert document["subjects"][1]["subject"] == {"kind": "device", "name": "lighthouse-quarry"}
    assert document["changes"][0]["root"] == {"kind": "device", "name": "lighthouse-quarry"}


@pytest.mark.parametrize("name", FORMATS)
def test_hostile_names_do_nothing(name: str) -> None:
    """No control character leaves; no tag, no formula."""
    drawn = FORMATS[name](HOSTILE, ReportStyle(verbose=True))
    assert "\x1b" not in drawn
    if name != "json":  # where text stands as it is, escaped by JSON's own rules
        assert "\u202e" not in drawn
    if name == "html":
        assert "<script" not in drawn
    if name == "csv":
        for row in csv.reader(io.StringIO(drawn)):
            assert not [c for c in row if c.startswith("=")]
    if name == "json":
        assert json.loads(drawn)["network"] == EVIL


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        del attrs
        self.tags.append(tag)


def test_the_page_has_a_picture_of_each_device() -> None:
    """An SVG for the device and for the link; no script, no image, nothing fetched."""
    tags = _Tags()
    tags.feed(page := FORMATS["html"](RECORD, ReportStyle()))
    assert tags.tags.count("svg") == 2
    assert not {"script", "img", "iframe", "object"} & set(tags.tags)
    assert "http://" not in page
    assert "https://" not in page


def test_a_line_ends_where_nothing_was_measured() -> None:
    """Five points, a long time without any, two more: the line has two parts, the band too."""
    times = [360.0 * n for n in (0, 1, 2, 3, 4, 20, 21)]
    points = tuple(RecordPoint(at_s, 1.0, 1.5, 2.0) for at_s in times)
    subject = dataclasses.replace(RECORD.subjects[1], rtt=points)
    page = FORMATS["html"](
        dataclasses.replace(RECORD, subjects=(RECORD.subjects[0], subject)), ReportStyle()
    )
    for name in ("middle", "band"):
        (path,) = re.findall(rf'<path class="{name}[^"]*" d="([^"]*)"', page)
        assert path.count("M") == 2


def test_the_text_of_many_shows_what_departed() -> None:
    """Of a thousand ends the one beyond its limit and a few; --verbose shows all."""
    short, long = (FORMATS["text"](many(1000), ReportStyle(verbose=v)) for v in (False, True))
    assert "BEYOND ITS LIMIT" in short
    assert short.count("Hop 1 end") == 10
    assert "and 991 more" in short
    assert long.count("Hop 1 end") == 1001
    assert "Note on this handover: it is of another plan: Moor ring" in short
