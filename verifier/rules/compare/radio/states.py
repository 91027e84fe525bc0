"""States that the profile alone judges: saved settings, alarms, test modes, and other readings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from verifier.model.observation import Observation
from verifier.model.plan import Stage
from verifier.model.profile import ProfileReading
from verifier.model.result import Verdict
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.radio.hop import CarrierEnd
from verifier.rules.compare.radio.read import good, raw_number


class StateRule(NamedTuple):
    """How a state is told.

    Attributes:
        early: the verdict of a bad one on the bench and while aligning, where much is unfinished.
    """

    check: str
    right: str
    wrong: str
    advice: str
    early: Verdict = "warn"


_OF_DEVICE: Mapping[str, StateRule] = {
    "unsaved_settings": StateRule(
        "settings.saved", "its settings are saved", "left with unsaved settings",
        "save the settings, then read again: a restart would lose them",
    ),
    "alarm": StateRule("state.alarm", "no alarm is present", "an alarm is present",
                   "look at the device's list of alarms"),
    "ntp_locked": StateRule("settings.ntp", "its clock follows a time server",
                        "its clock follows no time server",
                        "is the time server reached? See its address in the device"),
}  # fmt: skip
_OF_RADIO: Mapping[str, StateRule] = {
    "test_mode": StateRule("radio.test-mode", "no test mode is on", "left in a test mode",
                       "switch the test mode off, save, and read it again"),
    "switch_forced": StateRule("radio.switch-forced", "the protection switch is free",
                           "the protection switch was left forced or locked out",
                           "clear the command at both ends, save, and read it again: it cannot "
                           "switch over when it must"),
    "errored_s": StateRule("radio.errored-seconds", "as the profile calls good",
                       "not as the profile calls good", "", "fail"),
    "severely_errored_s": StateRule("radio.severely-errored-seconds", "as the profile calls good",
                                "not as the profile calls good", "", "fail"),
    "unavailable_s": StateRule("radio.unavailable-seconds", "as the profile calls good",
                           "not as the profile calls good", "", "fail"),
}  # fmt: skip
"""By field. Of these a reading is judged where its `good` says how, or by true and false."""
_WORDS: Mapping[str, Mapping[str, bool]] = {
    "switch_forced": {
        **dict.fromkeys(("none", "no request", "clear", "auto", "automatic", "normal"), True),
        **dict.fromkeys(("forced", "forced switch", "forced-switch", "locked out", "locked-out",
                         "lockout", "lock-out", "lockout of protection"), False),
    },
}  # fmt: skip
"""Words that can only mean one thing, by field: whether it is good (commands of ITU-T G.808.1)."""
_PROTECTED = frozenset({"1+1-hsb", "1+1-sd", "1+1-fd"})
"""Only here is there a switch."""
_EARLY: frozenset[Stage] = frozenset({"bench", "alignment"})


def of_device(context: Context) -> Findings:
    """`settings.saved`, `state.alarm` and what else of the device has `good` values."""
    for name, reading in context.profile.named_readings().items():
        if (state := _OF_DEVICE.get(reading.field)) is None or not _judgeable(reading):
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


def of_radio(side: CarrierEnd) -> Findings:
    """`radio.test-mode` and what else of a radio has `good` values."""
    for field, state in _OF_RADIO.items():
        found = side.read(field)
        if found is None or not _judgeable(found.reading):
            continue
        if field == "switch_forced" and side.link.protection not in _PROTECTED:
            continue
        if found.value is None or not found.seen:
            yield side.finding(state.check, "not-tested", side.missing(field),
                               expected=_expected(found.reading), reads=(found,))  # fmt: skip
            continue
        verdict, reason, advice = _judged(state, found.reading, found.seen[-1], side.stage)
        yield side.finding(state.check, verdict, reason, expected=_expected(found.reading),
                           observed=found.value, advice=advice, reads=(found,))  # fmt: skip


def _judgeable(reading: ProfileReading) -> bool:
    """Whether the profile says what is good, or by words that can only mean one thing."""
    if reading.good or (reading.field in _WORDS and reading.type != "integer"):
        return True
    words = {word.casefold() for word in reading.values.values()}
    return words == {"true", "false"} and reading.field != "ntp_locked"


def _judged(
    state: StateRule, reading: ProfileReading, seen: Observation, stage: Stage
) -> tuple[Verdict, str, str]:
    right = good(reading, seen)
    if right is None and not reading.good:
        right = _WORDS.get(reading.field, {}).get(str(seen.value).strip().casefold())
    if right is None:
        return "not-tested", f"{seen.value!r}: the profile does not say whether that is good", ""
    if right:
        return "pass", state.right, ""
    value = seen.value if seen.value is not None else raw_number(seen)
    shown = f"{value:g}" if isinstance(value, float) else value
    verdict = state.early if stage in _EARLY else "fail"
    return verdict, f"{state.wrong} ({shown})", state.advice


def _expected(reading: ProfileReading) -> str:
    """The good values as the profile has them."""
    if not reading.good:
        return "none" if reading.field in _WORDS else "false"
    return ", ".join(str(reading.values.get(raw, raw)) for raw in reading.good)


def _last(seen: list[Observation]) -> Observation | None:
    return seen[-1] if seen else None
