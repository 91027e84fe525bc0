"""What of a radio the profile alone judges: test modes, a forced switch, bad seconds."""

from __future__ import annotations

from collections.abc import Mapping

from verifier.rules.compare.by_profile import StateRule, expected, judgeable, judged
from verifier.rules.compare.context import Findings
from verifier.rules.compare.radio.carrier_end import CarrierEnd

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
_PROTECTED = frozenset({"1+1-hsb", "1+1-sd", "1+1-fd"})
"""Only here is there a switch."""


def of_radio(side: CarrierEnd) -> Findings:
    """`radio.test-mode` and what else of a radio has `good` values."""
    for field, state in _OF_RADIO.items():
        found = side.read(field)
        if found is None or not judgeable(found.reading):
            continue
        if field == "switch_forced" and side.link.protection not in _PROTECTED:
            continue
        if found.value is None or not found.seen:
            yield side.finding(state.check, "not-tested", side.missing(field),
                               expected=expected(found.reading), reads=(found,))  # fmt: skip
            continue
        verdict, reason, advice = judged(state, found.reading, found.seen[-1], side.stage)
        yield side.finding(state.check, verdict, reason, expected=expected(found.reading),
                           observed=found.value, advice=advice, reads=(found,))  # fmt: skip
