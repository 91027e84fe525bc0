"""`settings.*`: are the settings saved, and does the clock follow a time server."""

from __future__ import annotations

from verifier.rules.compare.by_profile import StateRule, of_device
from verifier.rules.compare.context import Context, Findings

_RULES = {
    "unsaved_settings": StateRule(
        "settings.saved", "its settings are saved", "left with unsaved settings",
        "save the settings, then read again: a restart would lose them",
    ),
    "ntp_locked": StateRule("settings.ntp", "its clock follows a time server",
                            "its clock follows no time server",
                            "is the time server reached? See its address in the device"),
}  # fmt: skip


def settings(context: Context) -> Findings:
    """`settings.saved` and `settings.ntp`, where the profile says which values are good."""
    yield from of_device(context, _RULES)
