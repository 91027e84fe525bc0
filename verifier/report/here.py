"""What is on this cable: ten lines at most, the verdict last; or the document `here/1`."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator, Sequence
from typing import Any

from verifier.model.here import CableEnd, HereDevice, HereItem, HereLevel, HereResult
from verifier.report.result.json import laid_out
from verifier.report.style import ReportStyle, plain, wrapped

LINES = 10
"""Of a look, the verdict included (contract)."""
_COLOURS = {"FAIL": "1;31", "INCOMPLETE": "1;33", "PASS": "1;32"}
_WORD = {"pass": "PASS", "fail": "FAIL", "not-tested": "INCOMPLETE"}
_MARK = {"pass": "right", "fail": "WRONG", "not-tested": "?"}
_AS_TEXT = {"Address", "Interface", "Mac"}
_OPEN = 3
"""Number of open items that have a line each."""
_HANG = " " * 9
_SECONDS = re.compile(r"\d+ s\b|[-+]\d+\.\d dB|-\d+\.\d dBm")
_AGED_S = 2.0
"""A level older than this is shown with its age."""


def json(result: HereResult, look: ReportStyle) -> str:
    """The document."""
    del look
    return laid_out({"format": "plan-verifier/here/1", **_dumped(result)})


def _dumped(value: Any) -> Any:
    """A value of the model as JSON; addresses and the like are text."""
    if dataclasses.is_dataclass(value) and type(value).__name__ not in _AS_TEXT:
        return {f.name: _dumped(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, tuple):
        return [_dumped(v) for v in value]
    return value if value is None or isinstance(value, (bool, int, float, str)) else str(value)


def text(result: HereResult, look: ReportStyle) -> str:
    """For a terminal."""
    most = LINES - 1 if not look.verbose else 1000
    lines = list(_body(result, look, most))
    if len(lines) > most:
        lines = [*lines[: most - 1], f"  ({len(lines) - most + 1} lines more: --verbose)"]
    return "\n".join([*lines, verdict(result, look)]) + "\n"


def brief(result: HereResult, look: ReportStyle) -> str:
    """The verdict, and what is wrong."""
    wrong = [_wrapped("WRONG", i, look)[0] for d in result.devices for i in d.wrong]
    return "\n".join([*wrong[: LINES - 1], verdict(result, look)]) + "\n"


def verdict(result: HereResult, look: ReportStyle) -> str:
    """The last line."""
    word = _WORD[result.verdict]
    shown = f"\x1b[{_COLOURS[word]}m{word}\x1b[0m" if look.colour else word
    return f"{shown}  {plain(result.words, longest=look.width - len(word) - 2)}"


def _body(result: HereResult, look: ReportStyle, most: int) -> Iterator[str]:
    cables = [_cable(c) for c in result.cables if result.state != "found" or _slow(c)][:2]
    opens = _one("open", "; ".join(f"{i.what} {i.words}" for i in result.open), look)
    opens = opens if look.verbose else opens[:1]
    room = most - len(cables) - len(opens)
    yield from cables
    if result.state == "nobody":
        yield from _nobody(result, look)
    elif result.state == "no-link":
        yield from _one("do", result.do, look)
    elif len(result.devices) == 1:
        yield from _alone(result, result.devices[0], look, room)
    else:
        yield from _several(result, look, room)
    yield from opens


def _slow(cable: CableEnd) -> bool:
    """Whether a cable runs slower than planned, or half duplex."""
    slow = cable.planned_mbps and cable.speed_mbps and cable.speed_mbps < cable.planned_mbps
    return bool(slow) or cable.duplex == "half"


def _cable(cable: CableEnd) -> str:
    if not cable.up:
        return f"  cable  {cable.interface} {'no link' if cable.switched_on else 'switched off'}"
    speed = f", {cable.speed_mbps} Mbit/s" if cable.speed_mbps else ""
    duplex = f" {cable.duplex}" if cable.duplex and speed else ""
    differs = cable.planned_mbps is not None and cable.planned_mbps != cable.speed_mbps
    planned = f" (planned {cable.planned_mbps})" if differs and cable.speed_mbps else ""
    return f"  cable  {cable.interface} up{speed}{duplex}{planned}"


def _nobody(result: HereResult, look: ReportStyle) -> Iterator[str]:
    who = f"{plain(result.device)} is not" if result.device else "nobody"
    yield from wrapped(
        f"{who} at planned, present or factory address; nothing heard for {result.sought_s:.0f} s",
        "  ", look.width,
    )  # fmt: skip
    for note in result.notes[:2]:
        yield from _one("note", note, look)
    if result.boots_s:
        yield f"  {_booting(result)}"
    yield from _one("do", result.do, look)


def _booting(result: HereResult) -> str:
    takes = f"{int(result.boots_s // 60):02d}:{int(result.boots_s % 60):02d}"
    if not result.watching:
        return f"may be booting: that takes up to {takes}"
    if result.sought_s <= result.boots_s:
        return f"may be booting: looking until {takes}"
    return f"longer away than the {takes} it needs to boot; looking on"


def _several(result: HereResult, look: ReportStyle, most: int) -> Iterator[str]:
    """A line each; the worst first, then what is to be done about it."""
    first = result.devices[0]
    tail = _one("do", f"{first.who}: {result.do}", look)[:2] if result.do else []
    shown, room = result.devices, most - len(tail)
    if len(shown) > room:
        shown = shown[: room - 1]
    width = max(len(d.who) for d in shown)
    for device in shown:
        at = f"{device.address}" if device.address is not None else "no address"
        line = f"{plain(device.who):{width}}  {at:18}  {_in_short(device)}"
        yield line if len(line) <= look.width else f"{line[: look.width - 3]}..."
    if more := len(result.devices) - len(shown):
        yield f"and {more} more: --verbose lists them"
    yield from tail


def _in_short(device: HereDevice) -> str:
    if device.wrong:
        more = f" (+{len(device.wrong) - 1})" if len(device.wrong) > 1 else ""
        first = device.wrong[0]
        return f"WRONG  {first.what}: {plain(first.words)}{more}"
    return f"{_MARK[device.verdict]}  {device.words}"


def _alone(result: HereResult, device: HereDevice, look: ReportStyle, most: int) -> Iterator[str]:
    """One device, in order; where there is too much, what says least is cut first."""
    parts = {
        "head": list(_head(result, device, look)),
        "levels": [_level(v) for v in device.levels],
        "right": _right(device.right, look),
        "faults": _faults(device, look),
        "unread": _not_read(device, look),
        "means": _one("means", device.means, look),
        "do": _one("do", device.do, look),
    }
    for part, lines in _CUTS if not look.verbose else ():
        over = sum(map(len, parts.values())) - most
        if over > 0:
            parts[part] = _shortened(parts[part], max(lines, len(parts[part]) - over))
    for lines_ in parts.values():
        yield from lines_


_CUTS = (
    ("means", 2), ("do", 2), ("right", 1), ("unread", 1), ("faults", 3), ("head", 1), ("means", 1),
    ("right", 0), ("faults", 2), ("do", 1), ("means", 0), ("unread", 0),
)  # fmt: skip
"""What is cut first, and to how many lines, where ten do not hold all."""


def _shortened(lines: list[str], most: int) -> list[str]:
    if len(lines) <= most or not most or lines[0].startswith(("BENCH", "SITE")):
        return lines[:most]
    if not lines[0].startswith(("  WRONG", "  warn")):
        return [*lines[: most - 1], _cut(lines[most - 1])]
    return [*lines[: most - 1], f"  and {len(lines) - most + 1} lines more: --verbose"]


def _cut(line: str) -> str:
    return f"{line[:97]}..."


def _faults(device: HereDevice, look: ReportStyle) -> list[str]:
    found = [line for item in device.wrong for line in _wrapped("WRONG", item, look)]
    return found + [line for item in device.cautions for line in _wrapped("warn", item, look)]


def _right(words: Sequence[str], look: ReportStyle) -> list[str]:
    """What is right, in two lines at most: the most important first."""
    for count in range(len(words), 0, -1):
        more = f" and {len(words) - count} more" if count < len(words) else ""
        line = f"right: {', '.join(words[:count])}{more}"
        lines = wrapped(line, "  ", look.width, hang=_HANG)
        if len(lines) <= 2 or look.verbose:  # noqa: PLR2004
            return lines
    return []


def _head(result: HereResult, device: HereDevice, look: ReportStyle) -> Iterator[str]:
    stage = ""
    if device.radio:
        stage = "BENCH  " if result.stage == "bench" else "SITE  "
    serial = f"  serial {plain(device.serial)}" if device.serial else ""
    place = ""
    if device.address is not None:
        where = {"planned": ", its planned address", "present": ", its address from before",
                 "factory": ", its factory address"}.get(device.state, "")  # fmt: skip
        place = f"  at {device.address}{where}"
    name = plain(device.who)
    if device.state == "another":
        half = f" ({device.half})" if device.half else ""
        name, serial, place = f"planned here: {plain(device.asked)}{half}", "", ""
    left, right = f"{stage}{name}{serial}{place}", _transmitter(result, device)
    if not right:
        yield left[: look.width]
    elif len(left) + len(right) + 2 <= look.width:
        wide = min(look.width, max(76, len(left) + len(right) + 2))
        yield f"{left}{right:>{wide - len(left)}}"
    else:
        short = f"{stage}{name}"
        yield f"{short}{right:>{max(76 - len(short), len(right) + 2)}}"
        yield f"  {f'{serial}{place}'.strip()}"


def _transmitter(result: HereResult, device: HereDevice) -> str:
    if device.transmitter is None:
        return ""
    bench = result.stage == "bench"
    if device.transmitter == "on":
        return "TRANSMITTER ON" if bench else "TRANSMITTING: stay out of the beam"
    if device.transmitter == "off":
        return "transmitter off"
    return "transmitter: not read" if bench else "transmitter not read: stay out of the beam"


def _level(level: HereLevel) -> str:
    if level.level_dbm is None:
        return f"  {level.place:5}  {plain(level.problem)}"
    planned = (
        f"planned {level.planned_dbm:.1f}" if level.planned_dbm is not None else "no planned level"
    )
    differs = f"  {level.difference_db:+.1f} dB" if level.difference_db is not None else ""
    old = level.age_s is not None and level.age_s >= _AGED_S
    age = f"  ({level.age_s:.0f} s ago)" if old else ""
    return f"  {level.place:5}  {level.level_dbm:.1f} dBm  {planned}{differs}{age}"


def _not_read(device: HereDevice, look: ReportStyle) -> list[str]:
    """What could not be read, in two lines: the reasons of many are mostly one."""
    by_reason: dict[str, list[str]] = {}
    for item in device.unread:
        by_reason.setdefault(item.words, []).append(item.what)
    parts = [f"{', '.join(dict.fromkeys(w))} ({why})" for why, w in by_reason.items()]
    if not parts:
        return []
    lines = wrapped(f"not read: {plain('; '.join(parts), longest=400)}", "  ", look.width)
    return lines if look.verbose else lines[:2]


def _wrapped(mark: str, item: HereItem, look: ReportStyle) -> list[str]:
    words = f"{mark:5}  {item.what}: {plain(item.words)}"
    return wrapped(words, "  ", look.width, hang=_HANG)


def _one(mark: str, words: str, look: ReportStyle) -> list[str]:
    """A line, or more; a command is on a line of its own where it would be broken."""
    if not words:
        return []
    shown = f"{mark:5}  {plain(words, longest=600)}"
    lines = wrapped(shown, "  ", look.width, hang=_HANG, split=False)
    before, command, rest = shown.partition("plan-verifier ")
    if len(lines) > 1 and command and before.strip() != mark:
        lines = wrapped(before.rstrip(), "  ", look.width, hang=_HANG, split=False)
        lines.append(f"{_HANG}{command}{rest}")
    return lines


def timeless(text: str) -> str:
    """What a look says but for how long it has lasted: whether two looks say the same."""
    return _SECONDS.sub("", text)
