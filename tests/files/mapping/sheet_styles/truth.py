"""A true plan: what the links really are, in plain values, apart from any sheet and any reader."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from decimal import Decimal

from tests.files.mapping.sheet_styles.words import UNITS, WrittenUnit

Owner = tuple[int, str]
"""Number of the link, and its end: `a`, `b`; empty for the link itself."""

Key = tuple[int, str, str]
"""An owner and what is told of it: `(0, "a", "tx")`."""

OF_LINK = ("name", "bandwidth", "modulation", "capacity", "km", "polarisation", "licence", "margin")
OF_END = (
    "site", "device", "address", "mask", "gateway", "vlan", "serial", "mac", "tx", "rx", "power",
    "level", "azimuth", "height", "gain", "diameter", "latitude", "longitude",
)  # fmt: skip
_PLACES = (
    "Lighthouse", "Quarry", "Pier", "Mill", "Küste", "Höhe 12", "Cabo Norte", "Baie", "Ridge",
    "Water tower", "Depot", "Ferry", "Chapel", "Saltworks", "Orchard", "Weir", "Beacon", "Col",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Figure:
    """A true value, and how it is written in the sheet's unit."""

    value: Decimal
    written: Decimal


@dataclass(slots=True)
class Truth:
    """All that is true, by key; figures in the units of a plan."""

    links: int
    texts: dict[Key, str] = field(default_factory=dict)
    figures: dict[Key, Figure] = field(default_factory=dict)
    units: dict[str, WrittenUnit] = field(default_factory=dict)

    def value(self, key: Key) -> str | Decimal:
        """What is true."""
        return self.figures[key].value if key in self.figures else self.texts[key]


def draw_truth(rng: random.Random) -> Truth:
    """A network of two to nine links, each with two devices of its own."""
    truth = Truth(rng.randint(2, 9))
    truth.units = {what: rng.choice(units) for what, units in UNITS.items()}
    places = rng.sample(_PLACES, k=min(len(_PLACES), truth.links + 2))
    subnet = rng.randint(0, 200)
    plain = rng.random() < 0.5
    for link in range(truth.links):
        a, b = rng.sample(places, 2)
        number = f"{link + 1:02}"
        truth.texts[link, "", "name"] = f"H{number}" if plain else f"{a} - {b} {number}"
        truth.texts[link, "", "modulation"] = rng.choice(("QPSK", "64QAM", "256QAM", "1024QAM"))
        truth.texts[link, "", "polarisation"] = rng.choice("VH")
        truth.texts[link, "", "licence"] = f"L-2026-{rng.randint(100, 999)}"
        _figures(truth, (link, ""), {
            "bandwidth": rng.choice(("7", "14", "28", "56", "112")), "capacity": _drawn(rng, 20, 990),
            "km": _drawn(rng, 0.4, 48), "margin": _drawn(rng, 18, 42),
        })  # fmt: skip
        _ends(truth, rng, link, (a, b), subnet)
    return truth


def _ends(truth: Truth, rng: random.Random, link: int, sites: tuple[str, str], subnet: int) -> None:
    base = rng.choice((7100.0, 12800.0, 14500.0, 17800.0, 22000.0))
    tx = (base + 28 * link + rng.choice((0, 1.75, 3.5)), base + 266 + 28 * link)
    for at, end in enumerate("ab"):
        here, far = sites[at], sites[1 - at]
        host = 10 + 2 * link + at
        for what, text in {
            "site": here, "device": f"{here[:4]}-{far[:4]}-{link + 1}".replace(" ", "").upper(),
            "address": f"198.18.{subnet}.{host}", "mask": "24", "gateway": f"198.18.{subnet}.1",
            "vlan": str(100 + subnet), "serial": f"SN{rng.randint(10000, 99999)}{host}",
            "mac": f"02:00:5e:10:{subnet:02x}:{host:02x}",
            "latitude": f"{47 + _place(here) / 1000:.5f}",
            "longitude": f"{8 + _place(here) / 700:.5f}",
        }.items():  # fmt: skip
            truth.texts[link, end, what] = text
        _figures(truth, (link, end), {
            "tx": str(tx[at]), "rx": str(tx[1 - at]), "power": _drawn(rng, 5, 24),
            "level": _drawn(rng, -62, -32), "azimuth": _drawn(rng, 1, 359),
            "height": _drawn(rng, 8, 62), "gain": _drawn(rng, 30, 44),
            "diameter": rng.choice(("0.3", "0.6", "0.9", "1.2", "1.8")),
        })  # fmt: skip


def _place(name: str) -> int:
    """A number for a place, the same each time."""
    return sum(ord(letter) * (n + 1) for n, letter in enumerate(name)) % 900


def _drawn(rng: random.Random, low: float, high: float) -> str:
    return f"{rng.uniform(low, high):.3f}"


def _figures(truth: Truth, owner: Owner, wanted: dict[str, str]) -> None:
    """Writes each figure in the sheet's unit first: what is written there is what is true."""
    for what, text in wanted.items():
        unit = truth.units[what]
        step = Decimal(1).scaleb(-unit.digits)
        if unit.factor.startswith("+"):
            written = (Decimal(text) - Decimal(unit.factor)).quantize(step)
            value = written + Decimal(unit.factor)
        else:
            written = (Decimal(text) / Decimal(unit.factor)).quantize(step)
            value = written * Decimal(unit.factor)
        truth.figures[*owner, what] = Figure(value, written)
