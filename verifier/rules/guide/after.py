"""A look after a change: is the device at its new address, is it the one, is the old one silent.

Each rule is asked in turn; the first that applies says what was seen, what it means, what to do.
"""

from __future__ import annotations

from collections.abc import Iterator

from verifier.model.address import Address
from verifier.model.runbook import Assessment, Sighting
from verifier.rules.compare.snmp import ADVICE
from verifier.rules.guide.before import REACHED, cable
from verifier.rules.guide.identity import OUR_SILENCE, Occupant, alike, answers, marks, seen, who
from verifier.rules.routes import JudgedRoute, judge_default_route

_SAVE = "apply the address at the device once more, save it, and see that it is kept"


def after_change(sight: Sighting) -> Assessment:
    """What it means; `ok` where the device is where it should be."""
    for rule in (
        _unseen,
        _both,
        _absent,
        _shared,
        _wrong_device,
        _mute,
        _snmp_silent,
        _wrong_mask,
        _wrong_gateway,
    ):
        if (found := rule(sight)) is not None:
            return found
    return _right(sight)


def _left(sight: Sighting) -> bool:
    """Whether anybody is at the old address, where that is to be silent."""
    return sight.left is not None and not sight.same and sight.left.answer.somebody


def _unseen(sight: Sighting) -> Assessment | None:
    """This laptop is in the way, or nothing may be sent."""
    if sight.new.answer.somebody:
        return None
    if sight.stands.relation not in REACHED and not _left(sight):
        return cable(sight.stands) or Assessment(
            kind="laptop",
            seen=f"this laptop does not reach {sight.goal}: {sight.stands.explanation}",
            means="that is the laptop's, not the device's",
            do="set at the laptop what the runbook says",
        )
    if sight.new.answer.asked or _left(sight):
        return None
    return Assessment(
        kind="unseen",
        seen=seen(sight),
        means="whether the device answers cannot be seen from here",
        do="give this program the right to send echoes, or run it as root",
    )


def _both(sight: Sighting) -> Assessment | None:
    if not (_left(sight) and sight.new.answer.somebody) or sight.left is None:
        return None
    same = alike(sight.new.answer, sight.left.answer)
    old, name = sight.old, sight.device.name
    if same:
        means = f"the same device has both addresses: {old} was left behind as a second one"
        do = f"remove {old} from {name}, save it"
    elif same is None:
        means = f"both answer: {old} was left behind as a second address, or there are two devices"
        do = f"remove {old} from {name}; if it still answers with {name} unplugged, another has it"
    else:
        there = _named(sight, who(sight, sight.new, new=True), sight.goal.address)
        here = _named(sight, who(sight, sight.left, new=False), old)
        means = f"two devices: {there}, {here}"
        do = "see which of them is which by serial number and label; unplug the one that is not it"
    return Assessment(kind="both-answer", seen=seen(sight), means=means, do=do)


def _named(sight: Sighting, found: Occupant, at: Address | None) -> str:
    if found.verdict == "right":
        return f"{sight.device.name} is at {at}"
    return f"{found.other or 'one that cannot be told'} is at {at}"


def _absent(sight: Sighting) -> Assessment | None:
    """Nobody at the new address."""
    if sight.new.answer.somebody:
        return None
    name, goal, old = sight.device.name, sight.goal.address, sight.old
    if _left(sight):
        if sight.once:
            return Assessment(
                kind="reverted", seen=seen(sight),
                means=f"{name} was at {goal} and is back at {old}: it was started anew and had not "
                "saved, or it took the change back by itself",
                do=_SAVE + " over a restart",
            )  # fmt: skip
        return Assessment(
            kind="old-still", seen=seen(sight),
            means=f"{name} is still at {old}: the change was not applied or not saved",
            do=_SAVE,
        )  # fmt: skip
    means = f"{name} is neither at {goal} nor at {old}" if old else f"{name} is not at {goal}"
    return Assessment(
        kind="neither",
        seen=seen(sight),
        means=means + ": it is not up yet, off, or it took another address",
        do="look at its power and its cable; look for it before anybody resets it to factory",
    )


def _shared(sight: Sighting) -> Assessment | None:
    """Two devices hold the new address: whoever answers, the other one may answer next."""
    macs = sight.new.answer.macs
    if len(macs) < 2:  # noqa: PLR2004
        return None
    goal = sight.goal.address
    return Assessment(
        kind="wrong-device",
        settled=True,
        seen=seen(sight),
        means=f"{len(macs)} devices hold {goal}: {', '.join(map(str, macs))}",
        do=f"unplug the one that is not {sight.device.name} and give it its own address",
    )


def _wrong_device(sight: Sighting) -> Assessment | None:
    found = who(sight, sight.new, new=True)
    if found.verdict != "wrong":
        return None
    name = sight.device.name
    return Assessment(
        kind="wrong-device",
        settled=True,
        seen=seen(sight),
        means=f"at {sight.goal.address} is {found.other}, not {name}: the wrong device is "
        f"plugged in "
        "or was changed, or its name is not set yet",
        do=f"compare serial number and label with {name}'s; if it is the right device, set "
        f"its name, "
        "save, and look again",
    )


def _mute(sight: Sighting) -> Assessment | None:
    if answers(sight.new.answer):
        return None
    own = sight.stands.laptop_address
    return Assessment(
        kind="mute",
        seen=seen(sight),
        means=f"somebody holds {sight.goal.address} (ARP), but nothing comes back: with a wrong "
        f"mask or gateway it does not find the way to this laptop ({own or 'no address here'}), or "
        "a filter keeps it silent",
        do=f"correct the mask in the device: /{sight.goal.prefix} is planned; save it",
    )


def _snmp_silent(sight: Sighting) -> Assessment | None:
    outcome = sight.new.answer.snmp
    if not sight.snmp or outcome == "answered" or outcome in OUR_SILENCE:
        return None
    by = who(sight, sight.new, new=True).by
    known = f" (it is known by {', '.join(by)})" if by else ""
    return Assessment(
        kind="snmp-silent",
        seen=seen(sight),
        means=f"it answers echoes, but not SNMP with credentials {sight.device.snmp!r}: "
        f"{outcome or 'not asked'}{known}",
        do=ADVICE.get(outcome or "silent", "look at its SNMP settings"),
    )


def _wrong_mask(sight: Sighting) -> Assessment | None:
    held, odd = sight.new.answer.held, sight.new.answer.odd_mask
    if odd:
        has = f"{odd}, which is none: its ones must come first and together"
    elif held is None or held.prefix == sight.goal.prefix:
        return None
    else:
        has = f"{held.mask} (/{held.prefix})"
    return Assessment(
        kind="wrong-mask",
        settled=True,
        seen=f"{seen(sight)}, which says its mask is {odd or (held and held.mask)}",
        means=f"it has the right address with the wrong mask: {has}, "
        f"planned {sight.goal.mask} (/{sight.goal.prefix})",
        do="correct the mask in the device, save it",
    )


def _default_route(sight: Sighting) -> JudgedRoute | None:
    """What its default route comes to; None where none is planned, or it was not asked."""
    routes = sight.new.answer.routes
    if not sight.gateway_planned or routes is None:
        return None
    own = sight.stands.laptop_address
    laptop = None if own is None else Address.parse(own.partition("/")[0])
    near = [i for i in (sight.goal, sight.new.answer.held) if i is not None]
    outside = laptop is not None and not any(i.holds(laptop) for i in near)
    return judge_default_route(
        sight.gateway, routes, hosts=sight.hosts, outsider=str(laptop) if outside else None
    )


def _wrong_gateway(sight: Sighting) -> Assessment | None:
    found = _default_route(sight)
    if found is None or found.verdict != "fail":
        return None
    means = f"it has the right address, but not its gateway {sight.gateway}: {found.reason}"
    do = f"set the gateway {sight.gateway} in the device, save it"
    if sight.gateway is None:
        means = f"it has the right address, and a gateway too many: {found.reason}"
        do = f"take the gateway {found.found} out of the device, save it"
    return Assessment(
        kind="wrong-gateway",
        seen=f"{seen(sight)}, which says its gateway is {found.found}",
        means=means,
        do=do,
    )


def _unread(sight: Sighting, found: JudgedRoute | None) -> Iterator[str]:
    """What of mask and gateway was not read."""
    answer = sight.new.answer
    why = "SNMP was not asked" if answer.snmp is None else f"SNMP: {answer.snmp}"
    masked = answer.held is not None
    if answer.snmp != "answered":
        unread = [*([] if masked else ["mask"]), *(["gateway"] if sight.gateway_planned else [])]
        if unread:
            yield f"{' and '.join(unread)}: not read ({why})"
        return
    if not masked:
        yield "mask: not read (the device lists none with this address)"
    if sight.gateway_planned and (found is None or found.verdict == "not-tested"):
        yield f"gateway: not read ({found.reason if found else 'it was not asked for'})"


def _right(sight: Sighting) -> Assessment:
    found = who(sight, sight.new, new=True)
    gaps, notes = [], list(found.notes)
    if found.verdict != "right":
        gaps.append(
            "whether it is the right device: the plan has no hardware address of it, and SNMP was "
            "not asked"
            if sight.new.answer.snmp is None
            else "whether it is the right device"
        )
    if sight.left is not None and not sight.same and not sight.left_told:
        gaps.append(f"whether {sight.old} is silent: it cannot be asked from here")
    route = _default_route(sight)
    gaps += _unread(sight, route)
    if route is not None and route.verdict == "warn":
        notes.append(route.reason)
    entry = sight.new.answer.credentials
    if sight.device.snmp is not None and entry not in {None, sight.device.snmp}:
        notes.append(f"it answers credentials {entry!r}, planned {sight.device.snmp!r}")
    return Assessment(
        kind="right",
        ok=True,
        seen=seen(sight),
        by=found.by,
        notes=tuple(notes),
        not_tested=tuple(gaps),
        marks=marks(sight.new.answer),
    )
