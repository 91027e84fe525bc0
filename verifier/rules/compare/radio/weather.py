"""Weather that a person stated: in rain a low level proves nothing."""

from __future__ import annotations

import dataclasses
import re

from verifier.model.observation import Observation
from verifier.model.result import Finding
from verifier.rules.compare.radio.hop import Side

_DRY = re.compile(
    r"\b(dry|clear|fair|fine|sun|sunny|sunshine|bright|cloud\w*|overcast|fog\w*|mist\w*|haz[ey])\b",
    re.IGNORECASE,
)
_WET = re.compile(
    r"\b(rain\w*|drizzl\w*|sleet\w*|snow\w*|hail\w*|\w*storm\w*|shower\w*|wet|downpour|ice|icy)\b",
    re.IGNORECASE,
)
"""Rain, wet snow and water on an antenna attenuate (ITU-R P.838, P.530); cloud and fog hardly do
below 100 GHz on the paths in use (ITU-R P.840)."""
_WITHOUT = re.compile(r"\b(no|not|without)\s+\w+", re.IGNORECASE)


def wet(weather: object) -> bool:
    """Whether a level may be low because of this weather: unless it is plainly dry."""
    words = str(weather)
    kept = _WITHOUT.sub("", words)
    return bool(_WET.search(kept)) or not (_DRY.search(kept) or kept != words)


def stated(side: Side) -> Observation | None:
    """What a person at either end stated last, where that is no dry weather."""
    for end in (side, side.across):
        seen = end.context.seen.all("manual.weather") if end.context is not None else []
        last = max((o for o in seen if o.value), key=lambda o: o.at, default=None)
        if last is not None and wet(last.value):
            return last
    return None


def excused(side: Side, finding: Finding) -> Finding:
    """The finding; where too little arrives in weather that may explain it: not tested.

    On the bench no weather lies between the units.
    """
    if finding.verdict != "fail" or side.sender.transmits is False or side.stage == "bench":
        return finding
    weather = stated(side)
    if weather is None:
        return finding
    return dataclasses.replace(
        finding,
        verdict="not-tested",
        reason=f"{finding.reason}; stated weather: {weather.value}",
        advice="repeat in dry weather",
        evidence=(*finding.evidence, weather.id),
    )
