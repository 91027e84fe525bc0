"""Which of the places is the device's, and with which address and mask it is reached there.

A device that holds its address and cannot answer has a wrong mask most of the time. What reaches it
is an address in the smallest subnet around it that leaves a host: that lies inside every wider
mask.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence

from verifier.model.address import Interface
from verifier.model.search import HeardFrames, SearchedPlace
from verifier.rules.fit.hosts import highest_free, unusable
from verifier.rules.search.candidates import Key, key_of
from verifier.rules.search.identity import Sought

_SMALLEST = {4: 30, 6: 126}
"""The longest prefix under which a device and this laptop have a host address each."""


def chosen(sought: Sought, places: Sequence[SearchedPlace]) -> SearchedPlace | None:
    """Where the device is: at its planned address if it is seen there, else at the first other."""
    for identity in ("device", "likely"):
        mine = [p for p in places if p.identity == identity]
        for place in sorted(mine, key=lambda p: not is_planned(sought, p)):
            return place
    return None


def tag_of(sought: Sought, place: SearchedPlace, heard: Sequence[HeardFrames]) -> int | None:
    """The VLAN whose tag all frames of the device carry that name this address; None without."""
    tags = {h.vlan for h in frames_for(place, (h for h in heard if sought.is_it(h)))}
    return next(iter(tags)) if len(tags) == 1 else None


def frames_for(place: SearchedPlace, heard: Iterable[HeardFrames]) -> list[HeardFrames]:
    """What was heard that names the address of a place."""
    key = key_of(place.candidate.address.address)
    return [h for h in heard if h.address is not None and key_of(h.address) == key]


def taken_for(sought: Sought, place: SearchedPlace, taken: Container[Key]) -> Interface:
    """The device's address there with its mask, as far as that is known.

    Where no answer comes back from an address that somebody holds, its mask is in doubt: then the
    smallest subnet with a free address, for that lies inside every wider one.
    """
    at = place.answer.held or place.candidate.address
    return reaching(at, taken) if is_mute(sought, place) else at


def reaching(at: Interface, taken: Container[Key]) -> Interface:
    """`at` with the longest prefix that leaves it a host and another host address free."""
    for prefix in range(_SMALLEST[at.version], at.prefix, -1):
        small = Interface(at.address, prefix)
        if unusable(small) is None and highest_free(small, {*_own(at), *_in(small, taken)}):
            return small
    return at


def _own(at: Interface) -> set[Key]:
    return {key_of(at.address)}


def _in(subnet: Interface, taken: Container[Key]) -> set[Key]:
    values = range(subnet.first, min(subnet.last, subnet.first + 0xFFFF) + 1)
    return {(subnet.version, v) for v in values if (subnet.version, v) in taken}


def is_planned(sought: Sought, place: SearchedPlace) -> bool:
    """Whether a place is the device's planned address."""
    return key_of(place.candidate.address.address) == key_of(sought.device.address.address)


def is_mute(sought: Sought, place: SearchedPlace) -> bool:
    """Whether it holds its planned address, was asked by echo and SNMP, and did not answer."""
    answer = place.answer
    return (
        is_planned(sought, place)
        and answer.echo is False
        and answer.snmp != "answered"
        and place.identity in {"device", "likely"}
    )
