"""Short forms that a file may use, written out before the values are typed.

`address` + `mask`; `none` for a gateway; a link of one carrier without `carriers`; `modulation`
alone; `not_tested_ok` as texts, which is how rows have it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from verifier.files.faults import Faults, shown
from verifier.files.plan.joined_texts import parted, taken_apart
from verifier.files.plan.tree import Mapping, Node, Scalar, Sequence, is_empty
from verifier.model.address import prefix_of_mask
from verifier.model.plan import Device, Link, Plan
from verifier.model.problem import Subject

Items = dict[str, Node]

NO_GATEWAY = "none"
"""Written for a gateway: that there is none."""

SHORT_CARRIER = ("a", "b", "polarisation")
"""Fields of a link's only carrier, where they are written with the link."""

SHORT_FIELDS: dict[Any, tuple[str, ...]] = {
    Device: ("mask", "gateway"),
    Link: ("modulation", *SHORT_CARRIER),
}
"""Fields that only the file has, or in which it may have another form than the model."""


def written_out(cls: Any, node: Mapping, faults: Faults, subject: Subject) -> Items:
    """The fields of a `cls` with its short forms replaced; contradictions go to `faults`."""
    expand = _EXPAND.get(cls)
    return node.items if expand is None else expand(node, faults, subject)


def _device(node: Mapping, faults: Faults, subject: Subject) -> Items:
    return _gateway(_masked(node, faults, subject), faults, subject)


def _gateway(items: Items, faults: Faults, subject: Subject) -> Items:
    """`none` for a gateway says that there is none, which an empty cell does not."""
    if (own_name := items.pop("no_gateway", None)) is not None:
        faults.unknown("no_gateway", own_name.origin, ("gateway",), subject)
    gateway = items.get("gateway")
    if isinstance(gateway, Scalar) and (gateway.text or "").strip().lower() == NO_GATEWAY:
        items["no_gateway"] = Scalar("true", quoted=False, origin=gateway.origin)
        del items["gateway"]
    return items


def _masked(node: Mapping, faults: Faults, subject: Subject) -> Items:
    items = dict(node.items)
    mask = items.pop("mask", None)
    if mask is None or is_empty(mask):
        return items
    if not isinstance(mask, Scalar):
        faults.error("unreadable-value", mask.origin, "a mask is one value", subject)
        return items
    text = (mask.text or "").strip()
    try:
        prefix = prefix_of_mask(text[:100])
    except ValueError as error:
        faults.error("unreadable-value", mask.origin, str(error), subject)
        prefix = None
    address = items.get("address")
    if not isinstance(address, Scalar) or is_empty(address):
        return items
    host, slash, length = (address.text or "").strip().partition("/")
    if not slash:
        items["address"] = Scalar(f"{host}/{text}", quoted=True, origin=address.origin)
    elif prefix is not None and _prefix(length) not in (None, prefix):
        message = f"mask {shown(text)} is /{prefix}, but the address says /{length}: write one"
        faults.error("mask-and-prefix-differ", mask.origin, message, subject)
    return items


def _prefix(text: str) -> int | None:
    try:
        return prefix_of_mask(text[:100])
    except ValueError:
        return None


def _link(node: Mapping, faults: Faults, subject: Subject) -> Items:
    return _carriers(node, _modulation(dict(node.items), faults, subject), faults, subject)


def _modulation(items: Items, faults: Faults, subject: Subject) -> Items:
    modulation = items.pop("modulation", None)
    if modulation is None or is_empty(modulation):
        return items
    fields = ("modulation_max", "modulation_min", "modulation_reference")
    also = [f for f in (*fields, "adaptive") if not is_empty(items.get(f))]
    if also:
        message = f"modulation alone means maximum, minimum and reference: leave out {also[0]}"
        faults.error("modulation-twice", modulation.origin, message, subject)
        return items
    fixed = Scalar("false", quoted=False, origin=modulation.origin)
    return {**items, **dict.fromkeys(fields, modulation), "adaptive": fixed}


def _carriers(node: Mapping, items: Items, faults: Faults, subject: Subject) -> Items:
    short: Items = {name: items.pop(name) for name in SHORT_CARRIER if name in items}
    written = {k: v for k, v in short.items() if not is_empty(v)}
    if is_empty(items.get("carriers")):
        if written:
            only = Mapping(short, node.origin)
            items["carriers"] = Sequence((only,), node.origin)
    elif written:
        name, first = next(iter(written.items()))
        message = f"{name} belongs into each of carriers, if there are carriers"
        faults.error("carriers-twice", first.origin, message, subject)
    return items


def _plan(node: Mapping, faults: Faults, subject: Subject) -> Items:
    del faults, subject
    given = node.items.get("not_tested_ok")
    if given is None or is_empty(given) or isinstance(given, Mapping):
        return node.items
    entries = given.items if isinstance(given, Sequence) else (given,)
    made = [one for entry in entries for one in _untested(entry)]
    return {**node.items, "not_tested_ok": Sequence(tuple(made), given.origin)}


def _untested(node: Node) -> list[Node]:
    """An entry of `not_tested_ok` as a group of fields; a text may hold several."""
    if not isinstance(node, Scalar):
        return [node]
    made: list[Node] = []
    for text in parted(node.text or ""):
        parts = taken_apart(text)._asdict().items()
        fields = {name: Scalar(part, quoted=True, origin=node.origin) for name, part in parts}
        made.append(Mapping(dict(fields), node.origin))
    return made


_EXPAND: dict[Any, Callable[[Mapping, Faults, Subject], Items]] = {
    Device: _device,
    Link: _link,
    Plan: _plan,
}
