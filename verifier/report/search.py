"""Where a device is, as text or as the document `plan-verifier/find/1`."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from typing import Any

from verifier.model.search import Candidate, HeardFrames, SearchedPlace, SearchResult, What
from verifier.report.result.json import laid_out
from verifier.report.style import ReportStyle, page, plain, wrapped

_COLOURS = {"FAIL": "1;31", "NOT FOUND": "1;33", "UNKNOWN": "1;33", "PASS": "1;32"}
_INDENT = " " * 4
_NAME = 60
"""Longer names are cut."""
_WIDTHS = {4: (15, 39, 18, 22), 6: (26, 28, 18, 22)}
"""Of the columns of addresses, by family: with their gaps a page of 100."""
_HEARD_WIDTHS = (8, 10, 17, 16, 26)
"""Of the columns before the last, which has the rest of the page."""
_MANY_HEARD = 20
"""Number of lines shown of what was heard."""
_WHAT: dict[What, str] = {
    "arp-request": "ARP request", "arp-reply": "ARP reply", "arp-probe": "ARP probe",
    "arp-announcement": "ARP announcement", "lldp": "LLDP", "nd-solicitation": "ND solicitation",
    "nd-advertisement": "ND advertisement", "nd-probe": "ND probe", "nd-router": "ND router",
    "packet": "packet",
}  # fmt: skip


def json(result: SearchResult, look: ReportStyle) -> str:
    """The document."""
    del look
    return laid_out({"format": "plan-verifier/find/1", **_dumped(result)})


def _dumped(value: Any) -> Any:
    """A value of the model as JSON; addresses and the like are text."""
    if dataclasses.is_dataclass(value) and type(value).__name__ not in _AS_TEXT:
        return {f.name: _dumped(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, tuple):
        return [_dumped(v) for v in value]
    return value if value is None or isinstance(value, (bool, int, float, str)) else str(value)


_AS_TEXT = {"Address", "Interface", "Mac"}


def text(result: SearchResult, look: ReportStyle) -> str:
    """For a terminal: where it is and how it is reached, then every address that was asked."""
    parts = ["\n".join(_heading(result, look)), "\n".join(_body(result, look))]
    parts += [_places(result, look), _heard(result, look)]
    return page("\n\n".join(part for part in parts if part), list(_verdict(result, look)))


def brief(result: SearchResult, look: ReportStyle) -> str:
    """The question and its answer alone."""
    return "\n".join(_heading(result, look)) + "\n"


def listing(candidates: Sequence[Candidate], packets_per_s: float, look: ReportStyle) -> str:
    """What is about to be asked, before anything is sent."""
    groups: dict[str, list[str]] = {}
    for each in candidates:
        owner = f" (of {plain(each.owner)})" if each.owner else ""
        groups.setdefault(each.kind, []).append(f"{each.address.address}{owner}")
    rate = f"at most {packets_per_s:g} packets a second"
    lines = [f"asking {len(candidates)} addresses in this order, {rate}, until it is found:"]
    for kind, addresses in groups.items():
        lines += _wrapped(f"{kind}: {', '.join(addresses)}", look)
    return "\n".join(lines) + "\n"


def _heading(result: SearchResult, look: ReportStyle) -> Iterator[str]:
    name = plain(result.plan, longest=_NAME) or "unnamed plan"
    question = f"{name}: where is {plain(result.device, longest=_NAME)}?"
    yield from wrapped(question, "", look.width, hang="")
    yield from _verdict(result, look)


def _verdict(result: SearchResult, look: ReportStyle) -> Iterator[str]:
    """The answer in one word, and why."""
    word = {"pass": "PASS", "fail": "FAIL"}.get(result.verdict, "UNKNOWN")
    if result.state == "not-found":
        word = "NOT FOUND"
    shown = f"\x1b[{_COLOURS[word]}m{word}\x1b[0m" if look.colour else word
    words = f"{word}: {plain(result.explanation, longest=600)}"
    first, *rest = wrapped(words, "", look.width, hang="")
    yield first.replace(word, shown, 1)
    yield from rest


def _body(result: SearchResult, look: ReportStyle) -> Iterator[str]:
    if result.by:
        yield from _wrapped(
            f"known by {', '.join(plain(b, longest=_NAME * 2) for b in result.by)}", look
        )
    if result.since is not None:
        where = f"on {result.interface} " if result.interface else ""
        running = f"; running since {result.up_since}" if result.up_since else ""
        yield from _wrapped(f"seen {where}since {result.since}{running}", look)
    yield from _fit(result, look)
    if result.advice:
        yield from _wrapped(f"do: {plain(result.advice, longest=600)}", look)
    for note in result.notes:
        yield from _wrapped(f"note: {plain(note, longest=600)}", look)
    if result.interrupted:
        yield from _wrapped("note: interrupted; this is what was seen so far", look)


def _fit(result: SearchResult, look: ReportStyle) -> Iterator[str]:
    fit = result.fit
    if fit is None:
        return
    own = f" from {fit.laptop_address}" if fit.laptop_address else ""
    by = f" on {fit.interface}" if fit.interface else ""
    if result.state == "mute" and result.vlan is None:
        yield from _wrapped(fit.explanation, look)
    elif fit.relation not in {"direct", "shadowed", "routed"}:
        words = f"this laptop does not reach it ({fit.relation}): {fit.explanation}"
        yield from _wrapped(words, look)
    elif result.vlan is None:
        yield from _wrapped(f"this laptop reaches it{own}{by}: {fit.relation}", look)
    if fit.suggested is not None:
        yield from _wrapped(f"{fit.suggested} reaches it; set it as root:", look)
        yield from (f"{_INDENT}    {plain(command)}" for command in fit.commands)
    if fit.suggested is not None or result.vlan is not None:
        yield from (line for note in fit.notes for line in _wrapped(note, look))


# -- tables ---------------------------------------------------------------------------------------


def _places(result: SearchResult, look: ReportStyle) -> str:
    shown = [
        p
        for p in result.places
        if look.verbose
        or p.answer.somebody
        or p.candidate.kind == "planned"
        or p.identity != "unknown"
    ]
    rows = [
        [
            p.candidate.address.address,
            _why(p),
            _answers(p),
            plain(_who(p, result.device), longest=_NAME),
        ]
        for p in shown
    ]
    asked = [p for p in result.places if p.answer.asked]
    nobody = sum(1 for p in asked if p not in shown)
    widths = _WIDTHS[max((p.candidate.address.version for p in shown), default=4)]
    lines = [_table(rows, ["address", "why there", "answers", "who"], widths)]
    if nobody:
        lines.append(f"({nobody} more asked, nobody there; --verbose lists them)")
    if left := len(result.places) - len(asked):
        lines.append(f"({left} not asked: {_why_not(result)})")
    return "\n".join(lines)


def _why(place: SearchedPlace) -> str:
    owner = f"; of {plain(place.candidate.owner)}" if place.candidate.owner else ""
    return f"{place.candidate.why}{owner}"


def _why_not(result: SearchResult) -> str:
    reasons = {p.answer.not_asked for p in result.places if not p.answer.asked}
    return "; ".join(sorted(r for r in reasons if r)) or "there was no time"


def _answers(place: SearchedPlace) -> str:
    answer = place.answer
    came = [] if not answer.macs else ["ARP" if place.candidate.address.version == 4 else "ND"]  # noqa: PLR2004
    came += ["echo"] if answer.echo else []
    if answer.snmp is not None:
        came.append("SNMP" if answer.snmp == "answered" else f"SNMP {answer.snmp}")
    silence = "heard only" if place.identity != "unknown" else "nobody"
    return ", ".join(came) or (silence if answer.asked else "not asked")


def _who(place: SearchedPlace, device: str) -> str:
    if place.identity == "device":
        return device
    if place.identity == "likely":
        return f"likely {device}"
    if place.who:
        return place.who
    return ", ".join(str(m) for m in place.answer.macs)


def _heard(result: SearchResult, look: ReportStyle) -> str:
    if not (result.listened_on or look.verbose) or not result.heard:
        return ""
    # Every IPv6 host asks for routers: that of others says nothing of the device.
    telling = [h for h in result.heard if h.mac == result.mac or h.what != "nd-router"]
    telling.sort(key=lambda h: h.mac != result.mac)
    shown = result.heard if look.verbose else telling[:_MANY_HEARD]
    if not shown:
        return ""
    rows = [
        [
            h.first[11:19],
            h.interface,
            h.mac,
            _what(h),
            h.address or "",
            plain(h.name, longest=_NAME),
        ]
        for h in shown
    ]
    headings = ["heard", "on", "from", "what", "address", "name"]
    used = (min(w, max(len(str(row[n])) for row in rows)) for n, w in enumerate(_HEARD_WIDTHS))
    left = 100 - sum(max(u, len(h)) + 2 for u, h in zip(used, headings, strict=False))
    lines = [_table(rows, headings, [*_HEARD_WIDTHS, left])]
    if more := len(result.heard) - len(shown):
        lines.append(f"({more} more; --verbose lists them)")
    return "\n".join(lines)


def _what(heard: HeardFrames) -> str:
    tag = f", VLAN {heard.vlan}" if heard.vlan is not None else ""
    return f"{_WHAT[heard.what]}{tag}"


def _table(rows: Sequence[Sequence[Any]], headings: Sequence[str], widths: Sequence[Any]) -> str:
    from tabulate import tabulate  # noqa: PLC0415 - loaded only when drawn

    return tabulate(
        rows, headings, tablefmt="simple", disable_numparse=True,
        maxcolwidths=list(widths) if rows else None,
    )  # fmt: skip


def _wrapped(words: str, look: ReportStyle) -> list[str]:
    return wrapped(words, _INDENT, look.width)
