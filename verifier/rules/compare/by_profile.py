"""States that the profile alone judges: what the checks of them share."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from verifier.model.kind import Scalar
from verifier.model.observations import Observation
from verifier.model.observations import reading as reading_kind
from verifier.model.plan import Stage
from verifier.model.profile import ProfileReading
from verifier.model.result import Verdict
from verifier.rules.compare.context import Context, Findings
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


_WORDS: Mapping[str, Mapping[str, bool]] = {
    "switch_forced": {
        **dict.fromkeys(("none", "no request", "clear", "auto", "automatic", "normal"), True),
        **dict.fromkeys(("forced", "forced switch", "forced-switch", "locked out", "locked-out",
                         "lockout", "lock-out", "lockout of protection"), False),
    },
}  # fmt: skip
"""Words that can only mean one thing, by field: whether it is good (commands of ITU-T G.808.1)."""
_EARLY: frozenset[Stage] = frozenset({"bench", "alignment"})


def of_device(context: Context, rules: Mapping[str, StateRule]) -> Findings:
    """A finding for each reading of the device that has `good` and a rule; `rules` are by field."""
    for name, reading in context.profile.named_readings().items():
        if (state := rules.get(reading.field)) is None or not judgeable(reading):
            continue
        read = context.seen.all(reading_kind(name))
        seen = read[-1] if read else None
        gap = context.unread(seen, name)
        verdict: Verdict = "not-tested"
        reason, advice = gap or "", ""
        if gap is None and seen is not None:
            verdict, reason, advice = judged(state, reading, seen, context.stage)
        at = "" if reading.index is None else f" ({reading.index})"
        yield context.finding(
            state.check, verdict, reason + at, expected=expected(reading),
            observed=None if seen is None else seen.value, advice=advice, evidence=(seen,),
        )  # fmt: skip


def judgeable(reading: ProfileReading) -> bool:
    """Whether the profile says what is good, or by words that can only mean one thing."""
    if reading.good or (reading.field in _WORDS and reading.type != "integer"):
        return True
    words = {word.casefold() for word in reading.values.values()}
    return words == {"true", "false"} and reading.field != "ntp_locked"


def judged(
    state: StateRule, reading: ProfileReading, seen: Observation[Scalar], stage: Stage
) -> tuple[Verdict, str, str]:
    """Verdict, reason and advice of a state that was read."""
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


def expected(reading: ProfileReading) -> str:
    """The good values as the profile has them."""
    if not reading.good:
        return "none" if reading.field in _WORDS else "false"
    return ", ".join(str(reading.values.get(raw, raw)) for raw in reading.good)
