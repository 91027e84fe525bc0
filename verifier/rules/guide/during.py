"""A look while a person changes a device: has it been done."""

from __future__ import annotations

from typing import Literal

from verifier.model.address import Interface
from verifier.model.guide import Sighting

Doing = Literal["changed", "left", "not-yet", "unseen"]


def during_change(sight: Sighting, old: Interface) -> Doing:
    """How far the change is.

    `changed`: somebody is at the new address, or the mask is the new one; `left`: nobody is at the
    old one; `unseen`: this cannot be told from here.
    """
    new = sight.new.answer
    if not sight.same:
        if new.somebody:
            return "changed"
        if sight.left is None or not sight.left_told:
            return "unseen"
        return "not-yet" if sight.left.answer.somebody else "left"
    masked = old.prefix != sight.goal.prefix
    if masked and new.held == sight.goal:
        return "changed"
    return "unseen" if not masked or (new.somebody and new.held is None) else "not-yet"
