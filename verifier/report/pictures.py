"""A radio link as one picture: two ends, two arrows, levels and margins, what is off in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from verifier.model.plan import Carrier, EndName, Link, Plan
from verifier.model.result import VERDICTS, Finding, Result
from verifier.report.plain import paragraph, plain

_RADIO = "radio."
_OFF = ("fail", "warn", "not-tested")
_MOST_OFF = 6
"""So many are named in a picture; the report has them all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Direction:
    """One way through the air, from the end that transmits to the one that receives.

    Attributes:
        sent: frequency and power in words: as found, else as planned.
        level: the receiving end's level, found and planned, in words.
        margin: its fade margin; empty where that is not known.
        verdict: the heaviest of this direction's findings; None: nothing was looked at.
    """

    from_: EndName
    to: EndName
    sent: str
    level: str
    margin: str
    verdict: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One carrier of a link.

    Attributes:
        ends: the units' names, a first. `sites`: where they stand.
        directions: a to b, then b to a.
        off: what is not as it should be, heaviest first.
    """

    name: str
    ends: tuple[str, str]
    sites: tuple[str, str]
    directions: tuple[Direction, Direction]
    off: tuple[str, ...]
    verdict: str | None


def picture(
    link: Link, carrier: Carrier, sites: Mapping[str, str], own: Iterable[Finding]
) -> Picture:
    """The picture of one carrier.

    Args:
        link: gives the name.
        carrier: gives both ends.
        sites: the site of each unit.
        own: the findings of this link.
    """
    found = [f for f in own if f.subject.carrier in (None, carrier.carrier)]
    several = len(link.carriers) > 1
    ends = (carrier.a.device, carrier.b.device)
    off = [f for f in sorted(found, key=lambda f: VERDICTS.index(f.verdict)) if f.verdict in _OFF]
    named = [_off(f) for f in off[:_MOST_OFF]]
    if len(off) > _MOST_OFF:
        named.append(f"and {len(off) - _MOST_OFF} more")
    return Picture(
        name=f"{link.name}, carrier {carrier.carrier}" if several else link.name,
        ends=ends,
        sites=(sites.get(ends[0], ""), sites.get(ends[1], "")),
        directions=(_direction(carrier, "a", "b", found), _direction(carrier, "b", "a", found)),
        off=tuple(named),
        verdict=min((f.verdict for f in found), key=VERDICTS.index, default=None),
    )


def pictures(plan: Plan, result: Result) -> list[Picture]:
    """One for each carrier of each link that was looked at as a radio link."""
    by_link: dict[str, list[Finding]] = {}
    for finding in result.findings:
        if finding.subject.kind == "link":
            by_link.setdefault(finding.subject.name, []).append(finding)
    sites = {d.name: d.site or "" for d in plan.devices}
    return [
        picture(link, carrier, sites, by_link[link.name])
        for link in plan.links
        if any(f.check.startswith(_RADIO) for f in by_link.get(link.name, ()))
        for carrier in link.carriers
    ]


def _direction(
    carrier: Carrier, from_: EndName, to: EndName, found: Sequence[Finding]
) -> Direction:
    ends = dict(carrier.ends())
    seen = {(f.check, f.subject.end): f for f in found}
    mhz = _number(seen.get(("radio.tx-frequency", from_)), ends[from_].tx_mhz)
    dbm = _number(seen.get(("radio.tx-power", from_)), ends[from_].tx_power_dbm)
    sent = [f"{mhz:g} MHz"] if mhz is not None else []
    sent += [f"{dbm:.1f} dBm"] if dbm is not None else []
    here = [f for f in found if f.subject.end == (to if f.check in _AT_RECEIVER else from_)]
    return Direction(
        from_=from_,
        to=to,
        sent=" at ".join(sent) or "nothing planned",
        level=_level(seen.get(("radio.rx-level", to)), ends[to].rx_level_dbm),
        margin=_margin(seen.get(("radio.fade-margin", to))),
        verdict=min((f.verdict for f in here), key=VERDICTS.index, default=None),
    )


_AT_RECEIVER = frozenset(
    """
    radio.rx-level radio.rx-level-spread radio.path-loss radio.snr radio.xpi radio.lock
    radio.fade-margin radio.rx-frequency
    """.split()  # noqa: SIM905 - reads better than eight quoted names
)
"""Checks that an end makes of what arrives there."""


def _number(seen: Finding | None, planned: float | None) -> float | None:
    if seen is not None and isinstance(seen.observed, (int, float)):
        return float(seen.observed)
    return planned


def _level(seen: Finding | None, planned: float | None) -> str:
    wanted = seen.expected if seen is not None and _is_number(seen.expected) else planned
    said = f"planned {wanted:.1f} dBm" if wanted is not None else "no level planned"
    if seen is None:
        return said
    if not _is_number(seen.observed):
        return f"level {'not tested' if seen.verdict == 'not-tested' else 'unknown'}, {said}"
    text = f"{seen.observed:.1f} dBm arrive, {said}"
    return text if wanted is None else f"{text} ({seen.observed - wanted:+.1f} dB)"


def _margin(seen: Finding | None) -> str:
    if seen is None or not _is_number(seen.observed):
        return ""
    planned = f" of {seen.expected:.1f} dB" if _is_number(seen.expected) else " dB"
    return f"fade margin {seen.observed:.1f}{planned}"


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _off(finding: Finding) -> str:
    end = f"end {finding.subject.end}, " if finding.subject.end else ""
    return f"{end}{finding.check}: {finding.reason}"


# --- as text -----------------------------------------------------------------------------------


def lines(shown: Picture, width: int = 100) -> list[str]:
    """The picture in plain characters, at most `width` columns wide."""
    inner = width - 4
    made = [plain(shown.name, longest=width)]
    for pair in (shown.ends, shown.sites):
        if any(pair):
            half = inner // 2 - 1
            a, b = (plain(text, longest=200) for text in pair)
            made.append(f"  {_cut(a, half)}{_cut(b, half).rjust(inner - len(_cut(a, half)))}")
    for direction in shown.directions:
        made += _arrow(direction, inner)
    for text in shown.off:
        made += paragraph(f"off: {text}", "  ", width)
    return made


def _arrow(direction: Direction, inner: int) -> list[str]:
    middle = f" {direction.sent} "
    rest = max(4, inner - len("[a]  [b]") - len(middle) - 1)
    before, after = "-" * (rest // 2), "-" * (rest - rest // 2)
    line = f"{before}{middle}{after}>" if direction.from_ == "a" else f"<{before}{middle}{after}"
    below = "; ".join(t for t in (direction.level, direction.margin) if t)
    return [f"  [a] {line} [b]", f"  {f'at {direction.to}: {below}'.center(inner).rstrip()}"]


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 3]}..."
