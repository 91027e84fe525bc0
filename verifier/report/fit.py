"""How the laptop fits, as text or as the document `plan-verifier/fit/1`."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from verifier.model.laptop import UNNAMED, Fit, FitReport, LaptopInterface
from verifier.report.result.json import laid_out
from verifier.report.style import ReportStyle, page, plain, wrapped
from verifier.rules.fit.suggest import TAKE_BACK
from verifier.rules.fit.ways import advice, is_without_link

_WORDS = {"fail": "FAIL", "warn": "WARN", "pass": "PASS"}
_COLOURS = {"FAIL": "1;31", "WARN": "1;33", "PASS": "1;32"}
_MEDIA = {"cable": "cable", "wifi": "Wi-Fi", "tunnel": "tunnel", "loopback": "loopback"}
_INDENT = " " * 4
_MANY = 40
"""Devices beyond this number are listed only where they do not pass."""
_NAMED = 12
"""Number of devices of one group that are named."""


def json(report: FitReport, look: ReportStyle) -> str:
    """The document; what is odd about the laptop stands among each device's notes."""
    del look
    rows = [_row(fit, report.notes) for fit in report.devices]
    return laid_out({"format": "plan-verifier/fit/1", "devices": rows})


def _row(fit: Fit, notes: Sequence[str]) -> dict[str, Any]:
    return {
        "device": fit.device,
        "address": str(fit.address),
        "verdict": fit.verdict,
        "relation": fit.relation,
        "interface": fit.interface,
        "laptop_address": fit.laptop_address,
        "suggested": str(fit.suggested) if fit.suggested else None,
        "commands": list(fit.commands),
        "notes": [*fit.notes, *notes],
        "explanation": fit.explanation,
    }


def text(report: FitReport, look: ReportStyle) -> str:
    """For a terminal: the laptop, what does not fit and what to set, then all devices."""
    parts = [
        _heading(report, look),
        _laptop(report, look),
        *_groups(report, look),
        _table(report, look),
    ]
    return page("\n\n".join(part for part in parts if part), [_verdict(report, look)])


def brief(report: FitReport, look: ReportStyle) -> str:
    """The verdict, and the devices that do not fit."""
    blocks = [_block(same, report, look) for same in _alike(report, ("fail",))]
    return page("\n".join([_verdict(report, look), *blocks]), [_verdict(report, look)])


def _heading(report: FitReport, look: ReportStyle) -> str:
    name = plain(report.plan) or "unnamed plan"
    return f"{_verdict(report, look)}\n{name}: does this laptop fit?"


def _verdict(report: FitReport, look: ReportStyle) -> str:
    counts = Counter(f.verdict for f in report.devices)
    worst = next((v for v in ("fail", "warn") if counts[v]), "pass")
    summary = ", ".join(f"{counts[v]} {v}" for v in ("pass", "fail", "warn"))
    out = Counter(f.explanation for f in report.devices if is_without_link(f.explanation))
    for words, number in out.most_common():
        of = (
            "" if number == len(report.devices) else f" ({number} of {len(report.devices)} devices)"
        )
        summary = f"{plain(words)}{of}; {summary}"
    return f"{_word(worst, look)}: {summary}"


def _word(verdict: str, look: ReportStyle) -> str:
    word = _WORDS[verdict]
    return f"\x1b[{_COLOURS[word]}m{word}\x1b[0m" if look.colour else word


def _laptop(report: FitReport, look: ReportStyle) -> str:
    title = "the laptop as given" if report.laptop.assumed else "this laptop"
    lines = [title]
    for interface in report.laptop.interfaces:
        if interface.medium != "loopback":
            lines += _wrapped(_interface(interface, assumed=report.laptop.assumed), look)
    if len(lines) == 1:
        lines.append(f"{_INDENT}no interface")
    for gateway in report.laptop.gateways:
        lines.append(f"{_INDENT}gateway {gateway}")
    for note in report.notes:
        lines += _wrapped(f"note: {note}", look)
    return "\n".join(lines)


def _interface(interface: LaptopInterface, *, assumed: bool) -> str:
    name = "" if interface.name == UNNAMED else f"{interface.name}: "
    held = ", ".join(str(a) for a in interface.addresses) or "no address"
    if assumed:
        return f"{name}{held}"
    medium = _MEDIA.get(interface.medium, "interface")
    state = f"{medium} up" if interface.up else f"{medium} down or no carrier"
    vlan = f", VLAN {interface.vlan}" if interface.vlan is not None else ""
    return f"{name}{state}{vlan}, {held}"


def _groups(report: FitReport, look: ReportStyle) -> Iterator[str]:
    """One block for all devices of a subnet that stand to the laptop in the same way."""
    for same in _alike(report, ("fail", "warn")):
        yield _block(same, report, look)


def _alike(report: FitReport, verdicts: Sequence[str]) -> Iterable[list[Fit]]:
    groups: dict[tuple[object, ...], list[Fit]] = defaultdict(list)
    for verdict in verdicts:
        for fit in report.devices:
            if fit.verdict == verdict:
                key = (verdict, fit.relation, fit.address.subnet, fit.commands, fit.notes)
                groups[key].append(fit)
    return groups.values()


def _block(same: Sequence[Fit], report: FitReport, look: ReportStyle) -> str:
    first = same[0]
    names = ", ".join(plain(f.device) for f in same[:_NAMED])
    more = f" and {len(same) - _NAMED} more" if len(same) > _NAMED else ""
    lines = [f"{_word(first.verdict, look)}  {first.relation}  {first.address.subnet}"]
    lines += _wrapped(f"{names}{more}", look)
    lines += _wrapped(first.explanation, look)
    if is_without_link(first.explanation):
        lines += _wrapped(f"do: {advice(first.explanation)}", look)
    undo = [note for note in first.notes if note.startswith(TAKE_BACK)]
    for note in first.notes:
        if note not in undo:
            lines += _wrapped(note, look)
    if first.suggested is not None:
        who = "in a window run as administrator" if report.system == "windows" else "as root"
        lines += _wrapped(f"set {first.suggested}, {who}:", look)
        lines += [f"{_INDENT}    {plain(command)}" for command in first.commands]
    lines += [line for note in undo for line in _wrapped(note, look)]
    return "\n".join(lines)


def _table(report: FitReport, look: ReportStyle) -> str:
    from tabulate import tabulate  # noqa: PLC0415 - loaded only when drawn

    shown = list(report.devices)
    if len(shown) > _MANY and not look.verbose:
        shown = [f for f in shown if f.verdict != "pass"]
    left_out = len(report.devices) - len(shown)
    hidden = max(0, len(shown) - _MANY) if not look.verbose else 0
    rows = [
        [
            plain(f.device),
            f.address,
            _word(f.verdict, look),
            f.relation,
            f.interface or "",
            f.laptop_address or "",
        ]
        for f in shown[: len(shown) - hidden]
    ]
    headings = ["device", "address", "verdict", "relation", "by", "laptop"]
    widths = [24, None, None, None, 15, None]
    table = tabulate(
        rows,
        headings,
        tablefmt="simple",
        disable_numparse=True,
        maxcolwidths=widths if rows else None,
    )
    lines = [table] if rows else []
    if left_out:
        lines.append(f"({left_out} more, all pass)")
    if hidden:
        lines.append(f"({hidden} more do not pass; --verbose lists them)")
    return "\n".join(lines)


def _wrapped(words: str, look: ReportStyle) -> list[str]:
    return wrapped("; ".join(plain(part) for part in words.split("; ")), _INDENT, look.width)
