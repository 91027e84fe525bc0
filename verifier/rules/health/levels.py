"""What the ends of a link receive, as one run saw it."""

from __future__ import annotations

from collections.abc import Iterable

from verifier.model.health import ReceivedLevel
from verifier.model.plan import Link
from verifier.model.result import Finding
from verifier.rules.compare.radio.read import can_be
from verifier.rules.live import Live

_FIELD = "rx_level_dbm"


def levels(link: Link, findings: Iterable[Finding], live: Live) -> Iterable[ReceivedLevel]:
    """Levels in dBm: as judged by `radio.rx-level`, else as the devices show them.

    An end whose level was judged and not found has none, whatever its device shows.
    """
    judged = {
        (f.subject.carrier or 1, f.subject.end): f.observed
        for f in findings
        if f.check == "radio.rx-level" and f.subject.name == link.name
    }
    for carrier in link.carriers:
        for name, end in carrier.ends():
            key = (carrier.carrier, name)
            level_dbm = judged[key] if key in judged else live.at(carrier, end).number(_FIELD)
            if isinstance(level_dbm, (int, float)) and can_be(_FIELD, level_dbm):
                yield ReceivedLevel(carrier.carrier, name, float(level_dbm))
