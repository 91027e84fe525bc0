"""What is cut off while some devices are down."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from verifier.model.plan import Link, Plan, Stage

_NAMED = 3
"""Number of devices that are named; more are counted: our own choice."""


@dataclass(frozen=True, slots=True)
class Behind:
    """What is cut off while some devices are down.

    Attributes:
        devices: those whose every way to the laptop passes through them.
        links: those that end at one of them, or behind them.
    """

    devices: tuple[str, ...]
    links: tuple[str, ...]

    @property
    def anything(self) -> bool:
        """Whether anybody but the devices themselves is cut off."""
        return bool(self.devices or self.links)

    def in_words(self) -> str:
        """Which traffic drops, and which devices nobody reaches meanwhile."""
        parts = []
        if self.links:
            parts.append(f"traffic drops on {', '.join(self.links)}")
        if self.devices:
            parts.append(f"cut off behind: {', '.join(self.devices)}")
        return "; ".join(parts)


class Uplinks:
    """Which way each device of a plan is managed; asked again and again, made once."""

    def __init__(self, plan: Plan) -> None:
        self._ways = {d.name: d.uplink for d in plan.devices}
        self._next: dict[str, list[str]] = {}
        for device in plan.devices:
            for uplink in device.uplink:
                self._next.setdefault(uplink, []).append(device.name)

    def over(self, near: str, far: str) -> tuple[str, ...]:
        """Who is cut off while the hop between two devices is down: `far` and who is behind it.

        None is where `far` is not managed over `near`, or has another way.
        """
        if near not in self._ways.get(far, ()):
            return ()
        dark = [far]
        for name in dark:
            dark += [n for n in self._next.get(name, ()) if n not in dark]
        cut, shrunk = set(dark), True
        while shrunk:
            lit = {n for n in cut if self._has_another(n, cut, near if n == far else None)}
            cut, shrunk = cut - lit, bool(lit)
        return tuple(n for n in dark if n in cut)

    def _has_another(self, name: str, cut: set[str], gone: str | None) -> bool:
        return any(uplink not in cut and uplink != gone for uplink in self._ways[name])


def caution(link: str, cut: Sequence[str]) -> str:
    """Whose management goes with a link, and who is to be done first; empty where nobody's."""
    if not cut:
        return ""
    listed = ", ".join(cut[:_NAMED])
    more = f" and {len(cut) - _NAMED} more" if len(cut) > _NAMED else ""
    return (
        f"Caution: {link} carries the management of {listed}{more}, which is cut off while the "
        f"link is down: do {cut[0]}, the far end, first"
    )


def behind(plan: Plan, names: Iterable[str], *, stage: Stage = "handover") -> Behind:
    """What hangs behind these devices; in a ring a device with another way does not.

    On the bench no link is built: none is cut, and no way leads over one.
    """
    down = set(names)
    hops = {frozenset(ends) for link in plan.links for ends in _pairs(link)}
    ways = {
        d.name: {u for u in d.uplink if stage != "bench" or frozenset((d.name, u)) not in hops}
        for d in plan.devices
    }
    reached = {name for name, uplinks in ways.items() if not uplinks} - down
    grown = True
    while grown:
        more = {
            name for name, uplinks in ways.items()
            if name not in reached and name not in down and reached.intersection(uplinks)
        }  # fmt: skip
        grown = bool(more)
        reached |= more
    cut = tuple(name for name in ways if name not in reached and name not in down)
    if stage == "bench":
        return Behind(cut, ())
    dark = down | set(cut)
    links = tuple(k.name for k in plan.links if dark & frozenset().union(*k.devices()))
    return Behind(cut, links)


def _pairs(link: Link) -> Iterator[tuple[str, str]]:
    """The devices at both ends of each carrier."""
    yield from ((c.a.device, c.b.device) for c in link.carriers)
