"""Both ends' levels while aligning: large figures for a terminal, plain lines for a pipe, JSON."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from verifier.model.plan import EndName
from verifier.report.style import plain
from verifier.rules.alignment import AlignedCarrier, EndView

QUICKER = (
    "The voltage at the alignment port follows the antenna at once; these levels come by SNMP and "
    "are a second or more behind. Turn slowly, wait, read."
)
_ROWS = 5
_DIGITS = {
    "0": (" ### ", "#   #", "#   #", "#   #", " ### "),
    "1": ("  #  ", " ##  ", "  #  ", "  #  ", " ### "),
    "2": (" ### ", "#   #", "  ## ", " #   ", "#####"),
    "3": ("#### ", "    #", " ### ", "    #", "#### "),
    "4": ("#  # ", "#  # ", "#####", "   # ", "   # "),
    "5": ("#####", "#    ", "#### ", "    #", "#### "),
    "6": (" ### ", "#    ", "#### ", "#   #", " ### "),
    "7": ("#####", "   # ", "  #  ", " #   ", " #   "),
    "8": (" ### ", "#   #", " ### ", "#   #", " ### "),
    "9": (" ### ", "#   #", " ####", "    #", " ### "),
    "-": ("     ", "     ", " ### ", "     ", "     "),
    "+": ("     ", "  #  ", " ### ", "  #  ", "     "),
    ".": (" ", " ", " ", " ", "#"),
    " ": ("  ", "  ", "  ", "  ", "  "),
}
NARROWEST = 80
"""Columns below which the figures are not drawn large."""


def opening(hop: AlignedCarrier, unread: Mapping[EndName, str]) -> list[str]:
    """What is shown, which end is which device, and which end is not read and why."""
    carrier = hop.carrier
    several = f", carrier {carrier.carrier}" if len(hop.link.carriers) > 1 else ""
    who = f"a is {plain(carrier.a.device)}, b is {plain(carrier.b.device)}"
    what = f"{plain(hop.link.name)}{several}: levels of both ends, once a second; {who}."
    not_read = [f"End {name} is not read: {plain(why)}." for name, why in unread.items()]
    return [what, QUICKER, *not_read]


def line(ends: tuple[EndView, EndView], elapsed_s: float) -> str:
    """Everything in one line: for a pipe, and for a narrow terminal."""
    return f"{_clock(elapsed_s)}  " + " | ".join(_of_end(end) for end in ends)


def large(ends: tuple[EndView, EndView], elapsed_s: float, width: int) -> list[str]:
    """Both levels in large figures beside each other, what goes with them below; full lines.

    Always of the same number of lines, so that one picture can be drawn over the last.
    """
    half = width // 2
    left, right = (_drawn(_figure(end)) for end in ends)
    lines = [_halves(_title(ends[0]), _title(ends[1]), half)]
    lines += [_halves(a, b, half) for a, b in zip(left, right, strict=True)]
    below = [_below(end) for end in ends]
    lines += [_halves(a, b, half) for a, b in zip(*below, strict=True)]
    lines.append(f"{_clock(elapsed_s)}  Ctrl-C ends it")
    return [text[:width].ljust(width) for text in lines]


def document(ends: tuple[EndView, EndView], elapsed_s: float) -> str:
    """The same as one line of JSON."""
    rows = {end.end: _rounded(asdict(end)) for end in ends}
    return json.dumps({"elapsed_s": round(elapsed_s, 1), **rows})


def _rounded(value: Any) -> Any:
    """Figures to a thousandth: no reading has more."""
    if isinstance(value, dict):
        return {k: _rounded(v) for k, v in value.items()}
    return round(value, 3) if isinstance(value, float) else value


def summary(ends: tuple[EndView, EndView]) -> str:
    """What was reached, at the end."""
    lines = []
    for end in ends:
        highest = "nothing received" if end.silent else "never read"
        if end.highest_dbm is not None:
            highest = f"highest {end.highest_dbm:.1f} dBm"
        if end.highest_dbm is not None and end.expected_dbm is not None:
            highest += f", {end.highest_dbm - end.expected_dbm:+.1f} dB to expected"
        elif end.highest_dbm is not None:
            highest += f"; expected: {plain(end.unknown)}"
        lines.append(f"end {end.end} ({plain(end.device)}): {highest}")
    return "\n".join(lines)


def _clock(seconds: float) -> str:
    minutes, rest = divmod(int(seconds), 60)
    return f"{minutes:02}:{rest:02}"


def _state(end: EndView) -> str:
    """Why the level is none to steer by; empty where it is one."""
    if end.age_s is None:
        return "not read" + (f" ({plain(end.problem)})" if end.problem else "")
    if end.stale:
        return f"STALE, {end.age_s:.0f} s old"
    return "no signal" if end.silent else ""


def _of_end(end: EndView) -> str:
    """Level, what is missing, the best so far, the voltage to aim at; of an old level, its age."""
    words: str = end.end
    if end.level_dbm is not None:
        words += f" {end.level_dbm:.1f} dBm"
    if state := _state(end):
        words += f" {state}"
    elif end.difference_db is not None:
        words += f" {end.difference_db:+.1f} dB"
    elif end.level_dbm is not None:
        words += ", aim not known"
    if end.highest_dbm is not None:
        words += " (new best)" if end.best else f" (best {end.highest_dbm:.1f})"
    return words if end.window is None else f"{words} aim {end.window.volts:.2f} V"


def _title(end: EndView) -> str:
    return f"end {end.end}  {plain(end.device, longest=60)}"


def _figure(end: EndView) -> str:
    return "- -" if end.level_dbm is None else f"{end.level_dbm:.1f}"


def _drawn(text: str) -> list[str]:
    return ["  ".join(_DIGITS[c][row] for c in text) for row in range(_ROWS)]


def _below(end: EndView) -> tuple[str, str, str, str]:
    now = _state(end) or "dBm, now"
    if end.best and not end.stale:
        now = "dBm, NEW BEST"
    highest = "" if end.highest_dbm is None else f"highest {end.highest_dbm:.1f} dBm"
    if end.expected_dbm is None:
        return now, highest, f"expected: {end.unknown}", ""
    away = "" if end.difference_db is None else f": {end.difference_db:+.1f} dB"
    expected = f"expected {end.expected_dbm:.1f} dBm{away}"
    window = end.window
    volts = "" if window is None else (
        f"alignment port {window.volts:.2f} V ({window.low_v:.2f} to {window.high_v:.2f} V)"
    )  # fmt: skip
    return now, highest, expected, volts


def _halves(left: str, right: str, half: int) -> str:
    return left[: half - 2].ljust(half) + right[: half - 2]
