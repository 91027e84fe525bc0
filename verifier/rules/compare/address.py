"""`address.*`: are address, mask and default route as planned."""

from __future__ import annotations

import ipaddress

from verifier.model import mib
from verifier.model.address import Address, Interface, prefix_of_mask
from verifier.model.observations import (
    CONNECTED_ROUTE,
    DEADLINE,
    DEFAULT_ROUTE,
    HOST_ROUTE,
    Observation,
)
from verifier.rules import routes
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.echo import answered

_MASK_ADVICE = "correct the mask in the device, save, and read it again"


def held_addresses(context: Context) -> dict[Interface, Observation[str]]:
    """Addresses with masks that the device lists: ipAddrTable, and ipAddressTable (RFC 4293)."""
    held: dict[Interface, Observation[str]] = {}
    masks = context.seen.column(mib.IP_AD_ENT_NET_MASK)
    for suffix, seen in masks.items():
        try:
            held[Interface.of(Address.parse(suffix), prefix_of_mask(str(seen.value)))] = seen
        except ValueError:
            continue
    prefixes = context.seen.column(mib.IP_ADDRESS_PREFIX)
    for suffix, seen in prefixes.items():
        if (interface := _prefixed(suffix, str(seen.value))) is not None:
            held[interface] = seen
    return held


def _odd_masks(context: Context) -> dict[Address, Observation[str]]:
    """Addresses whose mask is none: its ones are not first and together (RFC 4632 5.1)."""
    odd: dict[Address, Observation[str]] = {}
    masks = context.seen.column(mib.IP_AD_ENT_NET_MASK)
    for suffix, seen in masks.items():
        try:
            address, mask = Address.parse(suffix), Address.parse(str(seen.value))
        except ValueError:
            continue
        if address.is_v4 and mask.is_v4 and not mask.ip.is_netmask():
            odd[address] = seen
    return odd


def _prefixed(suffix: str, pointer: str) -> Interface | None:
    """Address of an ipAddressTable index, with the length its ipAddressPrefix points to."""
    arcs = [int(arc) for arc in suffix.split(".") if arc.isdigit()]
    length = pointer.rpartition(".")[2]
    if len(arcs) < 2 or len(arcs) != arcs[1] + 2:  # noqa: PLR2004
        return None
    if not pointer.startswith(f"{mib.IP_ADDRESS_PREFIX_ENTRY}.") or not length.isdigit():
        return None
    try:
        address = Address.parse(str(ipaddress.ip_address(bytes(arcs[2:]))))
        return Interface.of(address, int(length))
    except ValueError:
        return None


def mask(context: Context) -> Findings:
    """`address.mask`: the mask the device holds with the planned address."""
    planned = context.device.address
    path = ("mask",)
    if (gap := context.snmp_gap) is not None:
        yield context.finding("address.mask", "not-tested", gap, expected=planned.mask, path=path)
        return
    own = {i: o for i, o in held_addresses(context).items() if i.address.ip == planned.address.ip}
    if (seen := _odd_masks(context).get(planned.address)) is not None:
        yield context.finding(
            "address.mask",
            "fail",
            f"the device has {seen.value}, which is no mask: its ones must come first and together",
            expected=planned.mask,
            observed=seen.value,
            path=path,
            advice=_MASK_ADVICE,
            evidence=(seen,),
        )
        return
    if not own:
        yield context.finding(
            "address.mask",
            "not-tested",
            f"the device lists no mask for {planned.address} ({_table_state(context)})",
            expected=planned.mask,
            path=path,
        )
        return
    interface, seen = next(iter(own.items()))
    right = interface.prefix == planned.prefix
    yield context.finding(
        "address.mask",
        "pass" if right else "fail",
        "the device has the planned mask" if right else _mask_meaning(interface, planned),
        expected=planned.mask,
        observed=interface.mask,
        path=path,
        advice="" if right else _MASK_ADVICE,
        evidence=(seen,),
    )


def _mask_meaning(found: Interface, planned: Interface) -> str:
    if found.prefix < planned.prefix:
        return (
            f"the mask is too wide: the device takes all of {found.subnet} for its own subnet "
            "and sends nothing for it to its gateway"
        )
    return (
        f"the mask is too narrow: the device looks for hosts of {planned.subnet} outside "
        f"{found.subnet} behind its gateway"
    )


def _table_state(context: Context) -> str:
    states = [*context.seen.all(mib.IP_AD_ENT_NET_MASK), *context.seen.all(mib.IP_ADDRESS_PREFIX)]
    if not states and (ended := context.seen.first(DEADLINE)) is not None and ended.raw:
        return ended.raw
    raws = dict.fromkeys(o.raw for o in states if o.value is None and o.raw)
    return "; ".join(raws) or "it is not in its address table"


def extra(context: Context) -> Findings:
    """`address.extra`: addresses the device holds and the plan does not know."""
    device = context.device
    known = {device.address.address.ip, *(o.address.address.ip for o in device.other_addresses)}
    strange = {
        i: o
        for i, o in held_addresses(context).items()
        if i.address.ip not in known and not i.address.is_loopback and not i.address.is_link_local
    }
    odd = {a: o for a, o in _odd_masks(context).items() if a.ip not in known and not a.is_loopback}
    if not (strange or odd):
        return
    names = ", ".join([*map(str, strange), *(f"{a} with mask {o.value}" for a, o in odd.items())])
    left = device.present_address in strange
    yield context.finding(
        "address.extra",
        "warn",
        f"the device also holds {names}"
        + (": its address from before is still there" if left else ""),
        path=("address",),
        expected="planned addresses only",
        observed=names,
        advice="remove what is left over, or put it into the plan (other_addresses)",
        evidence=(*strange.values(), *odd.values()),
    )


def gateway(context: Context) -> Findings:
    """`address.gateway`: the next hop of the device's default route, or what its lack means."""
    device = context.device
    if device.gateway is None and not device.no_gateway:
        return
    path = ("gateway",)
    expected = routes.NONE if device.gateway is None else str(device.gateway)
    noted: list[Observation[object]] = [
        *context.seen.all(DEFAULT_ROUTE),
        *context.seen.all(CONNECTED_ROUTE),
        *context.seen.all(HOST_ROUTE),
    ]
    gap = context.snmp_gap or (None if noted else context.unread(None, "default route"))
    if gap is not None:
        yield context.finding("address.gateway", "not-tested", gap, expected=expected, path=path)
        return
    found = routes.judge_default_route(
        device.gateway,
        routes.read_routes(context.seen),
        hosts=routes.hosts_outside(context.plan, device),
        outsider=_outsider(context),
    )
    yield context.finding(
        "address.gateway",
        found.verdict,
        found.reason,
        expected=expected,
        observed=found.found,
        path=path,
        advice=found.advice,
        evidence=tuple(o for o in noted if o.value is not None),
    )


def _outsider(context: Context) -> str | None:
    """This laptop's address, where the device answered it although it is outside its subnets."""
    fit = context.fit
    if fit is None or fit.laptop_address is None or not answered(context):
        return None
    laptop = Address.parse(fit.laptop_address.partition("/")[0])
    device = context.device
    own = (device.address, *(o.address for o in device.other_addresses), *held_addresses(context))
    return None if any(a.holds(laptop) for a in own) else str(laptop)
