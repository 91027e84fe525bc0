"""JUnit XML, read by junitparser."""

from __future__ import annotations

from typing import Any

import junitparser

from verifier.report.result import FORMATS

junit: Any = FORMATS["junit"]


def test_suites_and_cases(sample) -> None:
    """A suite a subject; failures fail, what is untested is skipped, warnings pass and say so."""
    result, look = sample
    whole = junitparser.JUnitXml.fromstring(junit(result, look).encode())
    assert (whole.tests, whole.failures, whole.skipped, whole.errors) == (5, 1, 1, 0)
    assert whole.time == 2.5
    suites = {suite.name: list(suite) for suite in whole}
    assert list(suites) == ["Coast", "quarry", "ferry", "Hop 1"]
    assert suites["Coast"] == []
    good, bad = suites["quarry"]
    assert good.is_passed
    (failure,) = bad.result
    assert isinstance(failure, junitparser.Failure)
    assert failure.message == "the device reports another serial"
    assert "planned: 000123\nfound: 000999\ndo: is this the right device?" in failure.text
    port, place = suites["ferry"]
    assert (port.classname, port.name) == ("ferry eth1", "port.speed")
    assert isinstance(port.result[0], junitparser.Skipped)
    assert place.is_passed
    assert "warning: it names another place" in place.system_out


def test_hostile_texts_are_well_formed(evil) -> None:
    """Control characters, surrogates and markup leave XML that a parser reads, counts whole."""
    result, look = evil
    text = junit(result, look)
    whole = junitparser.JUnitXml.fromstring(text.encode())
    assert whole.tests == len(result.findings)
    assert "<script" not in text
    assert "\u202e" not in text
