"""Who is silent because somebody before it is: uplinks, gateways, hops, this laptop's own way.

A device is cut off if all its uplinks are silent, or its gateway is. What lets the traffic of an
answering device pass is not down, silent or not; where it cannot be told which of several does,
none of them is called down.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator

from verifier.model.plan import EndName
from verifier.model.problem import Subject
from verifier.model.result import Cause, Finding
from verifier.rules.diagnose.case import (
    CarrierFindings,
    Causes,
    Certainty,
    DeviceFindings,
    FindingIndex,
    cause,
)
from verifier.rules.diagnose.places import (
    Standing,
    Tree,
    gateway_devices,
    routed,
    standing_of,
    tree_of,
)
from verifier.rules.fit.ways import advice, is_without_link

_RECEIVED = ("radio.lock", "radio.rx-level", "radio.snr", "radio.path-loss")
_SIGNS = ("echo.reply", "snmp.answer")
_SEVERAL = 3
"""Silent devices together from which chance is not the better explanation: our own choice."""


def causes(case: FindingIndex) -> Causes:
    """Every silent device: the root of its silence, or itself."""
    standing = standing_of(case)
    tree = tree_of(case, standing)
    told: set[str] = set()
    yield from cable_out(case)
    nothing = len(standing.silent) >= _SEVERAL and not standing.alive
    if nothing:
        yield _nothing_answers(standing)
        told |= set(standing.silent)
    for found, silent in _unplanned_gateways(case, standing, tree, nothing=nothing):
        yield found
        told |= silent
    for root in tree.roots:
        behind = tree.behind[root.name]
        over = next(_hops_to(case, standing, root), None)
        if root.name in standing.passing:
            yield _passing(case, root, standing.passing[root.name])
        elif over is not None and (over_it := _over_a_hop(over, root, behind)):
            yield from over_it
        elif behind:
            yield _uplink(root, behind, certain=bool(standing.alive))
        elif root.name not in told:
            yield _alone(root)
            yield from _unlike_its_neighbours(case, standing, root)


def _everything(device: DeviceFindings) -> list[Finding]:
    """What hangs on a device's silence, the missing replies first."""
    head = device.get("echo.reply", "fail")
    rest = (f for f in device.untested() if f is not head)
    return [*([head] if head else []), *rest]


def _alone(device: DeviceFindings) -> Cause:
    """One device that gives no answer at all: whatever is not tested of it hangs on that."""
    head = device.get("echo.reply", "fail")
    return cause(
        "device-silent",
        device.subject,
        "likely",
        f"{device.name} gives no answer at all",
        _everything(device),
        try_first=head.advice if head else "",
    )


def _devices(number: int) -> str:
    return "1 device" if number == 1 else f"{number} devices"


def _uplink(root: DeviceFindings, behind: list[DeviceFindings], *, certain: bool) -> Cause:
    """One root, the rest folded."""
    certainty: Certainty = "likely" if certain else "possible"
    return cause(
        "uplink-down",
        root.subject,
        certainty,
        f"{root.name} gives no answer, and neither do the {_devices(len(behind))} behind "
        f"it: it, or "
        "the way to it, is down",
        [f for device in (root, *behind) for f in _everything(device)],
    )


def _passing(case: FindingIndex, root: DeviceFindings, witness: str) -> Cause:
    return cause(
        "management-silent",
        root.subject,
        "likely",
        f"{root.name} gives no answer, yet {witness} behind it does: it works, and its management "
        "address, VLAN or filter is at fault",
        [*_everything(root), *case.by_device[witness].all(_SIGNS, "pass")],
    )


def cable_out(case: FindingIndex) -> Causes:
    """This laptop has no link towards some devices: nothing is known of them."""
    together: dict[str, list[DeviceFindings]] = defaultdict(list)
    for device in case.by_device.values():
        fit = device.get("laptop.fit", "not-tested")
        if fit is not None and is_without_link(fit.reason):
            together[fit.reason.partition("; ")[0]].append(device)
    for words, devices in together.items():
        heads = [u.get("laptop.fit") for u in devices]
        rest = [f for u in devices for fs in u.by_check.values() for f in fs if f not in heads]
        yield cause(
            "cable-out", Subject("laptop", "laptop"), "likely", words,
            [*heads, *(f for f in rest if f.verdict == "not-tested")], try_first=advice(words),
        )  # fmt: skip


def _nothing_answers(standing: Standing) -> Cause:
    devices = list(standing.silent.values())
    heads = [u.get("echo.reply") for u in devices]
    rest = [f for u in devices for f in _everything(u)[1:]]
    return cause(
        "nothing-answers",
        Subject("laptop", "laptop"),
        "possible",
        f"none of {_devices(len(devices))} answers: what they have in common is the way out "
        f"of this "
        "laptop",
        [*heads, *rest],
    )


def _unplanned_gateways(
    case: FindingIndex, standing: Standing, tree: Tree, *, nothing: bool
) -> Iterable[tuple[Cause, set[str]]]:
    """Gateways that are no device of the plan, where everybody behind them is silent."""
    planned = gateway_devices(case)
    behind: dict[str, list[DeviceFindings]] = defaultdict(list)
    for device in case.by_device.values():
        if device.device is not None and device.device.gateway is not None and routed(device):
            behind[str(device.device.gateway)].append(device)
    roots = {u.name for u in tree.roots}
    for gateway, devices in behind.items():
        known = [u for u in devices if u.name in standing.silent or u.name in standing.alive]
        lives = any(gateway in standing.reports.get(u.name, ()) for u in known)
        alive = any(u.name in standing.alive or u.name in standing.passing for u in known)
        several = sum(u.name in roots for u in known) >= _SEVERAL
        if gateway in planned or lives or alive or not several:
            continue
        certainty: Certainty = "possible" if nothing else "likely"
        found = cause(
            "gateway-down",
            Subject("gateway", gateway),
            certainty,
            f"none of the {_devices(len(known))} behind the gateway {gateway} answers: it, or the "
            "way to it, is down",
            [f for u in known for f in _everything(u)],
        )
        yield found, {u.name for u in known}


def _hops_to(
    case: FindingIndex, standing: Standing, root: DeviceFindings
) -> Iterator[tuple[CarrierFindings, EndName]]:
    """The hops over which a silent device is reached from an answering one, with the near end."""
    uplinks = root.device.uplink if root.device is not None else ()
    for hop, far in case.hops_at.get(root.name, ()):
        near: EndName = "b" if far == "a" else "a"
        if hop.device(near) in uplinks and hop.device(near) in standing.alive:
            yield hop, near


def _over_a_hop(
    over: tuple[CarrierFindings, EndName], root: DeviceFindings, behind: list[DeviceFindings]
) -> list[Cause]:
    """What the near end of the hop tells of the far one; what nobody looked at tells nothing."""
    hop, near = over
    silent = [f for device in (root, *behind) for f in _everything(device)]
    besides = f", nor do the {_devices(len(behind))} behind it" if behind else ""
    if (held := hop.get("radio.lock", near, "pass")) is not None:
        text = (
            f"{hop.device(near)} receives {root.name} over the air, yet it gives no "
            f"answer{besides}:"
            " its management address, VLAN or Ethernet side is at fault"
        )
        return [cause("management-silent", root.subject, "likely", text, [*silent, held])]
    lost = hop.all(_RECEIVED, [near], "fail")
    if any(f.check == "radio.lock" for f in lost):
        text = (
            f"the hop is down: {hop.device(near)} answers and receives nothing usable, {root.name} "
            f"gives no answer{besides}"
        )
        sound = hop.get("radio.transmitter", near, "pass")
        return [cause("hop-down", hop.subject, "likely", text, [*silent, *lost, sound])]
    if behind:
        return []
    device = f"{root.name} is off, or cut off from its supply or cable"
    text = f"the hop to {root.name} is down; {hop.device(near)}, before it, answers"
    return [
        cause("device-down", root.subject, "possible", device, silent),
        cause("hop-down", hop.subject, "possible", text, silent),
    ]


def _unlike_its_neighbours(case: FindingIndex, standing: Standing, one: DeviceFindings) -> Causes:
    """Silent from afar while others of its subnet answer: its own gateway may be missing."""
    device = one.device
    if device is None or device.gateway is None or not routed(one):
        return
    beside = case.behind_gateway.get((device.address.subnet, str(device.gateway)), ())
    answering = [case.by_device[n] for n in beside if n in standing.alive and n in case.by_device]
    if not answering:
        return
    yield cause(
        "gateway-wrong",
        one.subject,
        "possible",
        f"{one.name} may have no gateway, or a wrong one: {answering[0].name}, of the same subnet "
        "behind the same gateway, answers",
        [one.get("echo.reply", "fail"), *answering[0].all(_SIGNS, "pass")],
        try_first=f"ask {one.name} from inside {device.address.subnet}; if it answers there, "
        "correct its gateway or mask",
    )
