"""What is cut off while some devices are down."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from verifier.model.plan import Link, Plan, Stage


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
