"""The laptop's addresses, trimmed to what is used before the next change, with narrow masks."""

from __future__ import annotations

from collections.abc import Iterator

from verifier.model.address import Interface
from verifier.rules.readdress.placement import Placement, View
from verifier.rules.readdress.run import Op
from verifier.rules.readdress.world import World


def trimmed(world: World, ops: list[Op]) -> list[Op]:
    """The same steps; each set of laptop addresses reduced to what is used until the next."""
    if world.remote:
        return ops
    made: list[Op] = []
    for laptop, stay in _stays(ops):
        if laptop is not None:
            made.append(laptop._replace(laptop=_reduced(laptop.laptop, list(_met(stay)))))
        made.extend(stay)
    return made


def _stays(ops: list[Op]) -> Iterator[tuple[Op | None, list[Op]]]:
    laptop: Op | None = None
    stay: list[Op] = []
    for op in ops:
        if op.action == "set-laptop":
            yield laptop, stay
            laptop, stay = op, []
        else:
            stay.append(op)
    yield laptop, stay


def _met(stay: list[Op]) -> Iterator[Placement]:
    """Where devices are met during a stay: before a change, and when confirmed."""
    for op in stay:
        placement = op.old if op.action == "set-device" else op.new
        if op.action != "connect" and placement is not None:
            yield placement


def _reduced(laptop: tuple[Interface, ...], met: list[Placement]) -> tuple[Interface, ...]:
    view = View(laptop)
    used = {view.source(placement.key) for placement in met}
    kept = tuple(a for a in laptop if (a.version, a.address.value) in used)
    if len(laptop) == 1 and met:
        kept = (_narrowed(laptop[0], met),)
    fewer = View(kept)
    return kept if all(fewer.direct(placement) for placement in met) else laptop


def _narrowed(own: Interface, met: list[Placement]) -> Interface:
    """The longest prefix among those of the devices met that still covers them all."""
    for prefix in sorted({placement.net[2] for placement in met}, reverse=True):
        narrow = Interface(own.address, prefix)
        view = View((narrow,))
        if all(view.direct(placement) for placement in met):
            return narrow
    return own
