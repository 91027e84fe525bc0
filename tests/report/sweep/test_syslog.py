"""RFC 5424: its own examples (section 6.5), rebuilt; and its limits."""

from __future__ import annotations

import datetime as dt
import re

import pytest

from verifier.report.sweep.text import message

AT = dt.datetime(2003, 10, 11, 22, 14, 15, 3000, tzinfo=dt.UTC)
SYSLOG_MSG = re.compile(
    r"<(?P<pri>\d{1,3})>[1-9]\d{0,2} (?P<at>-|\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{1,6})?(?:Z|[+-]\d\d:\d\d))"
    r" (?P<host>-|[!-~]{1,255}) (?P<app>-|[!-~]{1,48}) (?P<process>-|[!-~]{1,128})"
    r" (?P<kind>-|[!-~]{1,32})"
    r' (?P<data>-|(?:\[[^ =\]"]{1,32}(?: [^ =\]"]{1,32}="(?:[^"\\\]]|\\["\\\]])*")*\])+)'
    r"(?: (?P<text>.*))?",
    re.DOTALL,
)
"""The ABNF of section 6."""


def test_example_1() -> None:
    """Section 6.5, example 1: auth, critical: <34>; no structured data; a message in UTF-8."""
    made = message(
        severity=2, facility=4, at=AT, host="mymachine.example.com", app="su", kind="ID47",
        text="'su root' failed for lonvick on /dev/pts/8",
    ).replace(".003000Z", ".003Z")  # fmt: skip
    assert made == (
        "<34>1 2003-10-11T22:14:15.003Z mymachine.example.com su - ID47 - "
        "\ufeff'su root' failed for lonvick on /dev/pts/8"
    )


def test_example_4_has_structured_data_and_no_text() -> None:
    """Section 6.5, example 4: local4, notice: <165>; two elements."""
    made = message(
        severity=5, facility=20, at=AT, host="mymachine.example.com", app="evntslog", kind="ID47",
        data={
            "exampleSDID@32473": {"iut": "3", "eventSource": "Application", "eventID": "1011"},
            "examplePriority@32473": {"class": "high"},
        },
    ).replace(".003000Z", ".003Z")  # fmt: skip
    assert made == (
        "<165>1 2003-10-11T22:14:15.003Z mymachine.example.com evntslog - ID47 "
        '[exampleSDID@32473 iut="3" eventSource="Application" eventID="1011"]'
        '[examplePriority@32473 class="high"]'
    )


@pytest.mark.parametrize(
    ("facility", "severity", "pri"),
    [(0, 0, "<0>"), (20, 5, "<165>"), (4, 2, "<34>"), (16, 3, "<131>")],
)
def test_priority_is_facility_times_eight_and_severity(
    facility: int, severity: int, pri: str
) -> None:
    """Section 6.2.1: kernel emergency <0>, local4 notice <165>."""
    assert message(severity=severity, facility=facility).startswith(f"{pri}1 ")


@pytest.mark.parametrize(
    "value", ['a"b', "a\\b", "a]b", 'all "three" \\ ]', "é", "", "line\nbreak"]
)
def test_values_are_escaped(value: str) -> None:
    """Section 6.3.3; read back by the grammar they are what they were."""
    made = message(severity=5, at=AT, data={"change@32473": {"device": value}}, text="t")
    match = SYSLOG_MSG.fullmatch(made)
    assert match is not None
    (inner,) = re.findall(r'device="((?:[^"\\\]]|\\["\\\]])*)"', match["data"])
    assert re.sub(r'\\(["\\\]])', r"\1", inner) == value


@pytest.mark.parametrize("host", ["", "h" * 300, "two words", "höst"])
def test_the_head_keeps_to_the_grammar(host: str) -> None:
    """Printable ASCII without spaces, not too long, a dash for nothing."""
    made = message(severity=5, host=host, app="a" * 60, process="p" * 200, kind="k" * 40)
    assert SYSLOG_MSG.fullmatch(made) is not None


def test_the_time_has_at_most_six_digits_of_a_second() -> None:
    """Section 6.2.3.1 refuses nanoseconds."""
    made = message(severity=5, at=dt.datetime(2003, 8, 24, 5, 14, 15, 3, tzinfo=dt.UTC))
    assert " 2003-08-24T05:14:15.000003Z " in made
    assert SYSLOG_MSG.fullmatch(made) is not None


@pytest.mark.parametrize("limit", [100, 101, 102, 103, 480])
def test_a_long_text_is_cut_between_characters(limit: int) -> None:
    made = message(severity=5, text="ü€😀" * 400, max_octets=limit)
    assert limit - 4 < len(made.encode()) <= limit
    assert made.encode().decode() == made
