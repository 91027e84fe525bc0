"""States that the profile alone judges: saved settings, alarms, test modes, and other readings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from verifier.model.observation import Observation
from verifier.model.plan import Stage
from verifier.model.profile import Reading
from verifier.model.result import Verdict
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.radio.hop import Side
from verifier.rules.compare.radio.read import good, raw_number


class State(NamedTuple):
    """How a state is told.

    Attributes:
        early: the verdict of a bad one on the bench and while aligning, where much is unfinished.
    """

    check: str
    right: str
    wrong: str
    advice: str
    early: Verdict = "warn"


_OF_UNIT: Mapping[str, State] = {
    "unsaved_settings": State(
        "settings.saved", "its settings are saved", "left with unsaved settings",
        "save the settings, then read again: a restart would lose them",
    ),
    "alarm": State("system.alarm", "no alarm is present", "an alarm is present",
                   "look at the unit's list of alarms"),
    "ntp_locked": State("settings.ntp", "its clock follows a time server",
                        "its clock follows no time server",
                        "is the time server reached? See its address in the unit"),
}  # fmt: skip
_OF_RADIO: Mapping[str, State] = {
    "test_mode": State("radio.test-mode", "no test mode is on", "left in a test mode",
                       "switch the test mode off, save, and read it again"),
    "errored_s": State("radio.errored-seconds", "as the profile calls good",
                       "not as the profile calls good", "", "fail"),
    "severely_errored_s": State("radio.severely-errored-seconds", "as the profile calls good",
                                "not as the profile calls good", "", "fail"),
    "unavailable_s": State("radio.unavailable-seconds", "as the profile calls good",
                           "not as the profile calls good", "", "fail"),
}  # fmt: skip
"""By field. Of these a reading is judged where its `good` says how, or by true and false."""
_EARLY: frozenset[Stage] = frozenset({"bench", "alignment"})


def of_unit(context: Context) -> Findings:
    """`settings.saved`, `system.alarm` and what else of the unit has `good` values."""
    for name, reading in context.profile.named_readings().items():
        if (state := _OF_UNIT.get(reading.field)) is None or not _judgeable(reading):
            continue
        seen = _last(context.seen.all(name))
        gap = context.unread(seen, name)
        verdict: Verdict = "not-tested"
        reason, advice = gap or "", ""
        if gap is None and seen is not None:
            verdict, reason, advice = _judged(state, reading, seen, context.stage)
        at = "" if reading.index is None else f" ({reading.index})"
        yield context.finding(
            state.check, verdict, reason + at, expected=_expected(reading),
            observed=None if seen is None else seen.value, advice=advice, evidence=(seen,),
        )  # fmt: skip


def of_radio(side: Side) -> Findings:
    """`radio.test-mode` and what else of a radio has `good` values."""
    for field, state in _OF_RADIO.items():
        found = side.read(field)
        if found is None or not _judgeable(found.reading):
            continue
        if found.value is None or not found.seen:
            yield side.finding(state.check, "not-tested", side.missing(field),
                               expected=_expected(found.reading), reads=(found,))  # fmt: skip
            continue
        verdict, reason, advice = _judged(state, found.reading, found.seen[-1], side.stage)
        yield side.finding(state.check, verdict, reason, expected=_expected(found.reading),
                           observed=found.value, advice=advice, reads=(found,))  # fmt: skip


def _judgeable(reading: Reading) -> bool:
    """Whether the profile says what is good, or by words that can only mean one thing."""
    words = {word.casefold() for word in reading.values.values()}
    return bool(reading.good) or (words == {"true", "false"} and reading.field != "ntp_locked")


def _judged(
    state: State, reading: Reading, seen: Observation, stage: Stage
) -> tuple[Verdict, str, str]:
    right = good(reading, seen)
    if right is None:
        return "not-tested", f"{seen.value!r}: the profile does not say whether that is good", ""
    if right:
        return "pass", state.right, ""
    value = seen.value if seen.value is not None else raw_number(seen)
    shown = f"{value:g}" if isinstance(value, float) else value
    verdict = state.early if stage in _EARLY else "fail"
    return verdict, f"{state.wrong} ({shown})", state.advice


def _expected(reading: Reading) -> str:
    """The good values as the profile has them."""
    if not reading.good:
        return "false"
    return ", ".join(str(reading.values.get(raw, raw)) for raw in reading.good)


def _last(seen: list[Observation]) -> Observation | None:
    return seen[-1] if seen else None
