"""Which devices of a plan a person means by names, and what a person lets stay untested.

Two names are compared as equal, nearly equal, or with something around them unseen.
"""

from __future__ import annotations

import dataclasses
import difflib
from collections.abc import Iterable, Sequence

from verifier.errors import UsageError
from verifier.model.plan import Device, NotTestedOk, Plan


def same_device(one: str, other: str) -> bool:
    """Whether two names are equal but for capital letters, or one has a domain suffix besides."""
    short, long = sorted((one.casefold(), other.casefold()), key=len)
    return short == long or (bool(short) and long.startswith(f"{short}."))


def beside(found: str, planned: str) -> str | None:
    """What stands before and behind the planned name and cannot be seen, in words; else None."""
    name = bare(found)
    if name == found or not same_device(name, planned):
        return None
    start = found.index(name)
    parts = (found[:start], "beginning"), (found[start + len(name) :], "end")
    told = [f"{_unseen(text)} at its {where}" for text, where in parts if text]
    words = " and ".join(told)
    return words if name == planned else f"{words}, and capital letters or a domain suffix differ"


def bare(name: str) -> str:
    """A name without what stands around it and cannot be seen: spaces, line ends, NULs."""
    return name.strip("".join(c for c in set(name) if c.isspace() or not c.isprintable()))


def _unseen(text: str) -> str:
    if set(text) == {" "}:
        return "a space" if len(text) == 1 else f"{len(text)} spaces"
    return " and ".join(f"U+{ord(c):04X}" for c in dict.fromkeys(text))


def selected(
    plan: Plan, devices: Sequence[str] = (), links: Sequence[str] = (), sites: Sequence[str] = ()
) -> tuple[Device, ...]:
    """The devices that any of the filters names, in plan order; all without a filter.

    Raises UsageError for a name that is not in the plan.
    """
    refuse_unknown("device", devices, [d.name for d in plan.devices])
    refuse_unknown("link", links, [link.name for link in plan.links])
    refuse_unknown("site", sites, [s.name for s in plan.sites])
    if not (devices or links or sites):
        return plan.devices
    ends = [link.devices() for link in plan.links if link.name in links]
    wanted = {*devices, *(name for pair in ends for end in pair for name in end)}
    chosen = tuple(d for d in plan.devices if d.name in wanted or (d.site and d.site in sites))
    if not chosen:
        raise UsageError("the filters match no device of the plan")
    return chosen


def refuse_unknown(kind: str, names: Iterable[str], planned: Sequence[str]) -> None:
    """Raises UsageError, with the nearest name, for the first of `names` that is not planned."""
    known = set(planned)
    for name in names:
        if name not in known:
            near = difflib.get_close_matches(name, planned, n=1)
            hint = f"; did you mean {near[0]!r}?" if near else f"; it has {len(planned)}"
            raise UsageError(f"no {kind} {name!r} in the plan{hint}")


def accepted_by(
    accepted: Sequence[NotTestedOk], plan: Plan, by: str | None = None
) -> tuple[NotTestedOk, ...]:
    """What a person accepts to stay untested, under that person's name.

    Raises UsageError for a device that is not in the plan.
    """
    names = [d.name for d in plan.devices]
    refuse_unknown("device", [a.device for a in accepted if a.device is not None], names)
    return tuple(dataclasses.replace(a, by=by) for a in accepted)
