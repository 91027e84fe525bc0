"""What can hurt people and equipment around a link: the one table of cautions.

Cards, runbook, README, reports and commands take their cautions from here. All hold everywhere;
an occasion says which come first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Occasion = Literal["card", "runbook", "align", "powercycle", "report", "readme"]


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: a word for what it is about, and what to do or to leave."""

    key: str
    title: str
    text: str

    def __str__(self) -> str:
        return f"{self.title}: {self.text}"


CAUTIONS: tuple[Caution, ...] = (
    Caution("radiation", "Radiation",
            "mute the transmitter and lock it out before anyone goes in front of the antenna."),
    Caution("waveguide", "Waveguide", "never look into an open waveguide."),
    Caution("licence", "Licence",
            "transmit only within the licence; return from alignment power before leaving."),
    Caution("bench", "Bench",
            "never join two radios without the planned attenuation between them."),
    Caution("dc", "D.c. supply",
            "-48 V has its positive pole earthed: measure the polarity first."),
    Caution("poe", "Passive PoE",
            "it can destroy a laptop: plug into the data side of the injector."),
    Caution("earth", "Earthing", "earth before the data cable."),
    Caution("height", "Height",
            "no climbing in thunder, high wind or ice; two people, a rescue plan, tools tethered."),
    Caution("laser", "Optical ports", "they are lasers: never look into one or into a fibre."),
)  # fmt: skip
CLOSING = "Local codes and licensed practice decide."

_FIRST: dict[Occasion, tuple[str, ...]] = {
    "card": ("height", "radiation", "waveguide", "licence"),
    "runbook": ("poe", "dc", "bench"),
    "align": ("radiation", "licence", "waveguide", "height"),
    "powercycle": ("dc", "poe", "radiation", "licence"),
    "report": (),
    "readme": (),
}
"""What matters most on an occasion, in order."""


def cautions(occasion: Occasion) -> tuple[Caution, ...]:
    """All cautions, those of the occasion first; `CLOSING` is to stand below them."""
    first = _FIRST[occasion]
    by_key = {c.key: c for c in CAUTIONS}
    return (*(by_key[k] for k in first), *(c for c in CAUTIONS if c.key not in first))
