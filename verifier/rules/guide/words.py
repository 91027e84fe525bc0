"""What was seen at an address, in words."""

from __future__ import annotations

from verifier.model.guide import Sighting
from verifier.model.search import Answer, SearchedPlace


def told(place: SearchedPlace) -> str:
    """`198.18.20.11 answers (quarry, 02:00:5e:10:00:02)`."""
    answer, address = place.answer, place.candidate.address.address
    if not answer.asked:
        return f"{address} not asked ({answer.not_asked or 'there is no way to ask'})"
    parts = [answer.name or "", *map(str, answer.macs)]
    named = ", ".join(p for p in parts if p)
    named = f" ({named})" if named else ""
    if answers(answer):
        return f"{address} answers{named}"
    if answer.macs:
        return f"{address} is held{named} but answers nothing"
    return f"{address} silent"


def seen(sight: Sighting) -> str:
    """Both addresses."""
    return ", ".join(told(p) for p in (sight.new, sight.left) if p is not None)


def answers(answer: Answer) -> bool:
    """Whether something came back from there, not only on the cable."""
    ours = {None, "silent", "no-route", "local-error", "host-unreachable"}
    return bool(answer.echo) or answer.snmp not in ours
