"""What the documents promise in figures is what the program does: one moves, the other must.

Each row is a sentence as it stands in README.md or in a topic of `explain`, with the program's own
figure put in. That the figure acts where it says is held by the tests of its module.
"""

from __future__ import annotations

import dataclasses
import inspect
import re
import sys
from pathlib import Path
from typing import Any

import pytest

from verifier import errors
from verifier.cli.find import FindOptions
from verifier.cli.guide import GuideStart
from verifier.cli.profiles_draft import DraftOptions
from verifier.cli.sweep import KeepOptions
from verifier.probes.echo.mtu import SMALL_BYTES
from verifier.report.status.page import REFRESH_S
from verifier.rules import alignment, powercycle
from verifier.rules.compare.radio import (
    eirp,
    expected,
    level,
    modulation,
    power,
    quality,
    read,
    weather,
)
from verifier.rules.compare.radio.carrier_end import POWER_DB
from verifier.rules.compare.state import CLOCK_S
from verifier.rules.health import follow
from verifier.rules.history import deviation
from verifier.rules.radio.budget import GAS_FROM_MHZ
from verifier.rules.search.candidates import MAX_CANDIDATES
from verifier.rules.soak import tally
from verifier.rules.status import STALE_INTERVALS
from verifier.session import conductor
from verifier.session.guide import wait
from verifier.session.search.request import PACKETS_PER_S
from verifier.session.soak import blocks, run
from verifier.session.sweep import deliver
from verifier.store.retention import DAY_S, Retention

ROOT = Path(__file__).parent.parent
WORDS = {2: "two", 3: "three", 4: "four", 6: "six", 12: "twelve"}


def default(options: type, field: str) -> Any:
    """What an option is without being given."""
    hint = eval(options.__annotations__[field], vars(sys.modules[options.__module__]))
    return hint.__metadata__[0].default


def _field(made: type, name: str) -> Any:
    """What a field of a dataclass is without being given."""
    return next(f.default for f in dataclasses.fields(made) if f.name == name)


def n(number: float) -> str:
    """A figure as it stands in a sentence: thousands with a comma."""
    return f"{number:,.10g}" if number >= 10_000 else f"{number:g}"


def documents() -> str:
    """README and the topics that `explain` shows, each line break a blank."""
    paths = [ROOT / "README.md", *sorted((ROOT / "verifier" / "explain").glob("*.md"))]
    return " ".join(" ".join(p.read_text(encoding="utf-8").split()) for p in paths)


PROMISES = [
    # find
    f"at most {n(MAX_CANDIDATES)} addresses", f"{n(PACKETS_PER_S)} packets a second",
    f"for {default(FindOptions, 'wait_s')[:-1]} s (`--wait`)",
    # guide
    f"may take {n(_field(GuideStart, 'wait_s') / 60)} minutes",
    # soak
    f"in two sizes, {n(SMALL_BYTES)} byte", f"`mtu_bytes` (else {n(blocks.LARGE_BYTES)})",
    f"sampled by SNMP every {n(run.SAMPLE_S)} s", f"a warning from {n(tally.UNAVAILABLE_S)} s on",
    f"within which {', '.join(n(p) for p in tally.PERCENTS)} % were answered",
    f"time of day within {n(CLOCK_S)} s",
    # powercycle
    f"boot time of the profile \u00d7 {n(powercycle.WAIT_BOOTS)}",
    # sweep
    f"hanged {WORDS[follow.UNSTEADY_CHANGES]} times within {WORDS[follow.RECENT]} sweeps",
    f"until {WORDS[follow.STEADY_SWEEPS]} equal ones in a row",
    f"counts when {WORDS[follow.CONFIRM]} sweeps saw it", f"tried again after {n(deliver.FIRST_PAUSE_S)} s",
    f"{REFRESH_S[0]} s to {REFRESH_S[1]} s", f"more than {WORDS[STALE_INTERVALS]} intervals",
    f"At most {n(conductor._AT_ONCE)} devices are asked at once",
    f"kept for {n(Retention().raw_s / DAY_S)} days, hourly figures for {n(Retention().hourly_s / DAY_S)}",
    f"once it has lasted {n(follow.LASTING_S / 60)} minutes",
    # history
    f"in its newest {deviation.NEWEST_HOURS} dry hours", f"stood still within {n(deviation.STILL_DB)} dB",
    f"fewer than {WORDS[deviation.MIN_HOURS]} such hours",
    # profiles draft
    f"at most {n(default(DraftOptions, 'max_objects'))} objects",
    # radio
    f"sampled within {n(level.TOGETHER_S)} s, the median of at least {level.ENOUGH}",
    f"set power must be planned to {n(POWER_DB)} dB", f"warns over {n(power.POWER_WARN_DB)} dB from what is set",
    f"fails over {n(power.POWER_FAIL_DB)} dB", f"agree within {n(read.LEAST_MHZ * 1000)} kHz",
    f"stated within {n(weather.NEAR_S / 60)} minutes of the readings",
    f"below {n(weather.FROM_MHZ / 1000)} GHz nothing", f"excuse up to {n(weather.ON_ANTENNAS_DB)} dB",
    f"differ by over {n(quality.ALIKE_DB)} dB warn", f"are good for {n(modulation.STEADY_S)} s",
    f"up to {n(expected.COMPUTED_DB)} dB below the tolerance warns",
    f"from {n(GAS_FROM_MHZ / 1000)} GHz up `gas_loss_db`",
    f"by the actual power ({n(eirp.ACTUAL_DB)} dB)",
    # align
    f"A reading older than {n(alignment.STALE_S)} s",
]  # fmt: skip


@pytest.mark.parametrize("promise", PROMISES)
def test_a_figure_is_told_as_it_is(promise: str) -> None:
    assert promise in documents()


def test_exit_codes_are_told_as_they_are() -> None:
    """0 to 6 and 130, each with its meaning."""
    told = {
        errors.EXIT_PASSED: "everything asked was tested and passed",
        errors.EXIT_FAILED: "at least one finding failed",
        errors.EXIT_USAGE: "wrong command line",
        errors.EXIT_UNTESTED: "could not be tested",
        errors.EXIT_INPUT: "nothing was sent",
        errors.EXIT_OURS: "a fault of this program",
        errors.EXIT_NOT_DONE: "nothing was done",
        errors.EXIT_INTERRUPTED: "interrupted",
    }
    assert sorted(told) == [0, 1, 2, 3, 4, 5, 6, 130]
    for code, words in told.items():
        assert re.search(rf"\| {code} \| [^|]*{words}", documents()), code


@pytest.mark.parametrize(
    ("module", "words"),
    [
        (wait, f"All is well when {WORDS[wait.STEADY]} looks agree"),
        (wait, f"is told after {WORDS[wait.SETTLED]} looks"),
        (deviation, f"of the newest {deviation.NEWEST_HOURS} dry hours"),
    ],
)
def test_a_docstring_tells_it_too(module: Any, words: str) -> None:
    assert words in " ".join((inspect.getsource(module)).split())


def test_defaults_that_documents_name_twice() -> None:
    """An option, and what acts without it."""
    assert default(KeepOptions, "confirm") == follow.CONFIRM
    assert default(KeepOptions, "keep_days") * DAY_S == Retention().raw_s
    assert default(KeepOptions, "keep_hourly_days") * DAY_S == Retention().hourly_s
    assert deliver.LONGEST_PAUSE_S == 3600.0, "tried again up to an hour apart"
