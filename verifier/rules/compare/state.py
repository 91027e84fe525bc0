"""`state.*` of a reading: is an alarm present. Restarts and clock over a soak: `soak/state.py`."""

from __future__ import annotations

from verifier.rules.compare.by_profile import StateRule, of_device
from verifier.rules.compare.context import Context, Findings

_RULES = {
    "alarm": StateRule("state.alarm", "no alarm is present", "an alarm is present",
                       "look at the device's list of alarms"),
}  # fmt: skip


def alarm(context: Context) -> Findings:
    """`state.alarm`, where the profile says which values are good."""
    yield from of_device(context, _RULES)
