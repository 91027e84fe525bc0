"""A radio link as one picture: two ends, two arrows, levels and margins, what is off in words."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeGuard

from verifier.model.plan import Carrier, End, EndName, Link, Plan
from verifier.model.result import VERDICTS, Finding, Result
from verifier.report.style import paragraph, plain
from verifier.rules.alignment import Live, LiveReadings

_RADIO = "radio."
_OFF = ("fail", "warn", "not-tested")
_FEW = 3
_MOST_OFF = 6
"""Number of checks of one reason, and of reasons, that a picture names; the report has all."""
_SAME_MHZ, _SAME_DB = 0.001, 0.05
"""Nearer figures are one figure: a kilohertz, and a tenth of a dB as shown."""
_Found = Mapping[tuple[str, EndName | None], Finding]


@dataclass(frozen=True, slots=True, kw_only=True)
class Direction:
    """One way through the air, from the end that transmits to the one that receives.

    Attributes:
        sent: frequency and power in words: as found, with what is planned where that differs.
        level: the receiving end's level, found and planned, in words.
        margin: its fade margin and SNR; empty where neither is known.
        verdict: the heaviest of this direction's findings; None: nothing was looked at.
        arrives: whether anything is received; None: not known.
    """

    from_: EndName
    to: EndName
    sent: str
    level: str
    margin: str
    verdict: str | None
    arrives: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One carrier of a link.

    Attributes:
        ends: the devices' names, a first. `sites`: where they stand.
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
    link: Link, carrier: Carrier, sites: Mapping[str, str], own: Iterable[Finding], live: Live
) -> Picture:
    """The picture of one carrier.

    Args:
        link: gives the name.
        carrier: gives both ends.
        sites: the site of each device.
        own: the findings of this link.
        live: what the ends showed.
    """
    findings = [f for f in own if f.subject.carrier in (None, carrier.carrier)]
    several = len(link.carriers) > 1
    ends = (carrier.a.device, carrier.b.device)
    off = [
        f for f in sorted(findings, key=lambda f: VERDICTS.index(f.verdict)) if f.verdict in _OFF
    ]
    texts = _in_words(off)
    if (more := len(texts) - _MOST_OFF) > 0:
        texts[_MOST_OFF:] = [f"and {more} more"]
    ways: tuple[tuple[EndName, EndName], ...] = (("a", "b"), ("b", "a"))
    forward, backward = (_direction(carrier, from_, to, findings, live) for from_, to in ways)
    return Picture(
        name=f"{link.name}, carrier {carrier.carrier}" if several else link.name,
        ends=ends,
        sites=(sites.get(ends[0], ""), sites.get(ends[1], "")),
        directions=(forward, backward),
        off=tuple(texts),
        verdict=min((f.verdict for f in findings), key=VERDICTS.index, default=None),
    )


def pictures(plan: Plan, result: Result) -> list[Picture]:
    """One for each carrier of each link that was looked at as a radio link."""
    by_link: dict[str, list[Finding]] = {}
    for finding in result.findings:
        if finding.subject.kind == "link":
            by_link.setdefault(finding.subject.name, []).append(finding)
    sites = {d.name: d.site or "" for d in plan.devices}
    live = Live(plan, result.observations)
    return [
        picture(link, carrier, sites, by_link[link.name], live)
        for link in plan.links
        if any(f.check.startswith(_RADIO) for f in by_link.get(link.name, ()))
        for carrier in link.carriers
    ]


def _direction(
    carrier: Carrier, from_: EndName, to: EndName, findings: Sequence[Finding], live: Live
) -> Direction:
    ends = dict(carrier.ends())
    seen = {(f.check, f.subject.end): f for f in findings}
    here = [f for f in findings if f.subject.end == (to if f.check in _AT_RECEIVER else from_)]
    received = live.at(carrier, ends[to])
    judged = seen.get(("radio.rx-level", to))
    level_dbm = _number(judged)
    nothing = level_dbm is None and judged is not None and judged.verdict == "fail"
    if level_dbm is None and not nothing:
        level_dbm = received.number("rx_level_dbm")
    return Direction(
        from_=from_,
        to=to,
        sent=_sent(ends[from_], from_, seen, live.at(carrier, ends[from_])),
        level=_level(ends[to], judged, level_dbm, nothing=nothing),
        margin="" if nothing else _margin(seen.get(("radio.fade-margin", to)), received),
        verdict=min((f.verdict for f in here), key=VERDICTS.index, default=None),
        arrives=False if nothing else None if level_dbm is None else True,
    )


_AT_RECEIVER = frozenset(
    """
    radio.rx-level radio.rx-level-spread radio.path-loss radio.snr radio.xpi radio.lock
    radio.fade-margin radio.rx-frequency
    """.split()  # noqa: SIM905 - reads better than eight quoted names
)
"""Checks that an end makes of what arrives there."""


_FIGURES = (
    ("radio.tx-frequency", "tx_mhz", "MHz", "g", _SAME_MHZ),
    ("radio.tx-power", "tx_power_dbm", "dBm", ".1f", _SAME_DB),
)
"""What leaves an end: check, field of plan and reading, unit, form, what is the same."""


def _sent(end: End, name: EndName, seen: _Found, shown: LiveReadings) -> str:
    """Frequency and power that leave an end: found, else planned and said to be so."""
    transmitter = seen.get(("radio.transmitter", name))
    off = transmitter is not None and transmitter.observed == "off"
    live_parts, only_planned = [], []
    for check, field, unit, form, same in _FIGURES[:1] if off else _FIGURES:
        value, planned = _number(seen.get((check, name))), getattr(end, field)
        value = shown.number(field) if value is None else value
        if value is not None:
            differs = planned is not None and abs(value - planned) > same
            live_parts.append(
                f"{value:{form}} {unit}" + (f" (planned {planned:{form}})" if differs else "")
            )
        elif planned is not None:
            only_planned.append(f"{planned:{form}} {unit}")
    parts = [
        " at ".join(live_parts),
        "planned " + " at ".join(only_planned) if only_planned else "",
    ]
    parts.append("transmitter off" if off else "")
    return ", ".join(filter(None, parts)) or "nothing planned, nothing read"


def _level(end: End, judged: Finding | None, level_dbm: float | None, *, nothing: bool) -> str:
    """What arrives and what should; at another power than planned that is not what is planned."""
    planned = end.rx_level_dbm
    wanted = judged.expected if judged is not None and _is_number(judged.expected) else planned
    text = "no level read" if level_dbm is None else f"received {level_dbm:.1f} dBm"
    text = "nothing received" if nothing else text
    if wanted is None:
        return f"{text}, no planned level"
    shifted = planned is None or abs(wanted - planned) >= _SAME_DB
    text += f", {'expected' if shifted else 'planned'} {wanted:.1f} dBm"
    if level_dbm is not None:
        text += f" ({level_dbm - wanted:+.1f} dB)"
    return text + (f", planned {planned:.1f}" if shifted and planned is not None else "")


def _margin(judged: Finding | None, shown: LiveReadings) -> str:
    parts = []
    if judged is not None and (margin := _number(judged)) is not None:
        planned = f" (planned {judged.expected:.1f})" if _is_number(judged.expected) else ""
        parts.append(f"fade margin {margin:.1f} dB{planned}")
    snr = shown.number("snr_db")
    return "; ".join([*parts, *([] if snr is None else [f"SNR {snr:.1f} dB"])])


def _number(seen: Finding | None) -> float | None:
    return float(seen.observed) if seen is not None and _is_number(seen.observed) else None


def _is_number(value: object) -> TypeGuard[float]:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _in_words(off: Iterable[Finding]) -> list[str]:
    """One text for each reason at each end; the checks that share it are counted after a few."""
    together: dict[tuple[str | None, str], list[str]] = {}
    for finding in off:
        together.setdefault((finding.subject.end, finding.reason), []).append(finding.check)
    return [
        f"{f'end {end}, ' if end else ''}{_few(checks)}: {reason}"
        for (end, reason), checks in together.items()
    ]


def _few(checks: Sequence[str]) -> str:
    more = len(checks) - _FEW
    return ", ".join(checks[:_FEW]) + (f" and {more} more" if more > 0 else "")


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
    """The way as an arrow, broken where nothing arrives, and below it what arrives."""
    span = inner - len("[a]  [b]") - 1
    middle = f" {direction.sent} "
    above = [] if len(middle) + 4 <= span else [f"  {direction.sent.center(inner).rstrip()}"]
    middle = "" if above else middle
    rest = span - len(middle)
    before, after = "-" * (rest // 2), "-" * (rest - rest // 2)
    if direction.arrives is False:
        before, after = _broken(before), _broken(after)
    line = f"{before}{middle}{after}>" if direction.from_ == "a" else f"<{before}{middle}{after}"
    return [
        *above,
        f"  [a] {line} [b]",
        *(f"  {text.center(inner).rstrip()}" for text in _below(direction, inner)),
    ]


def _below(direction: Direction, inner: int) -> list[str]:
    """What arrives and what is left of it, in one line where it fits."""
    level = f"at {direction.to}: {direction.level}"
    whole = f"{level}; {direction.margin}" if direction.margin else level
    if len(whole) <= inner:
        return [whole]
    return [*textwrap.wrap(level, inner), *textwrap.wrap(direction.margin, inner)]


def _broken(dashes: str) -> str:
    return ("- " * len(dashes))[: len(dashes)]


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 3]}..."
