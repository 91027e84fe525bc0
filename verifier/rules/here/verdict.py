"""What one look at the cable comes to: the devices that matter, the verdict, what to do."""

from __future__ import annotations

from collections.abc import Sequence

from verifier.model.here import CableEnd, HereDevice, HereItem, HereState, LookState, Verdict
from verifier.model.laptop import Laptop
from verifier.model.plan import Device, Plan
from verifier.rules.fit import ways
from verifier.rules.here.heard import heard_only
from verifier.rules.here.judge import judge
from verifier.rules.here.seen import Seen

_AT_THE_CABLE = "data side of the injector? LED? supply polarity? other cable?"
_RANK: Sequence[HereState] = (
    "shared", "another", "stranger", "factory", "present", "elsewhere", "no-address",
    "unidentified", "planned",
)  # fmt: skip
_WEIGHT = {"fail": 0, "not-tested": 1, "pass": 2}


def cables(
    laptop: Laptop, interfaces: Sequence[str], plan: Plan, asked: Device | None
) -> tuple[CableEnd, ...]:
    """The laptop's ends of cables: those named, else every socket for one."""
    chosen = [
        i
        for i in laptop.interfaces
        if (i.name in interfaces if interfaces else i.medium in {"cable", "unknown"})
    ]
    devices = [asked] if asked is not None else list(plan.devices)
    speeds = {p.speed_mbps for d in devices for p in d.ports if p.speed_mbps is not None}
    planned = next(iter(speeds)) if len(speeds) == 1 else None
    return tuple(
        CableEnd(
            interface=i.name,
            up=i.up,
            switched_on=i.switched_on,
            speed_mbps=i.speed_mbps if i.up else None,
            duplex=i.duplex if i.up else None,
            planned_mbps=planned,
        )
        for i in chosen
    )


def without_link(laptop: Laptop, interface: str | None) -> str:
    """What is said where no cable has a link; empty where one has."""
    return ways.laptop_without_link(laptop, interface) or ""


def devices(seen: Seen) -> tuple[HereDevice, ...]:
    """What stands on the cable, the worst first; of a device that was asked for, that one alone."""
    found = [judge(seen, each) for each in seen.occupied]
    found += heard_only(seen, found)
    if seen.asked is not None:
        mine = [d for d in found if d.state != "another" and d.asked == d.device == seen.asked.name]
        mine += [d for d in found if d.state == "shared" and _stands_for(d, seen.asked)]
        if mine:
            found = mine
    found.sort(key=lambda d: (_WEIGHT[d.verdict], _RANK.index(d.state)))
    return tuple(found)


def _stands_for(device: HereDevice, asked: Device) -> bool:
    return device.address is not None and device.address.address == asked.address.address


def whole(found: Sequence[HereDevice], out: str) -> tuple[LookState, Verdict, str, str]:
    """State, verdict, words and advice of the whole look.

    `out`: what is said where no cable has a link.
    """
    if out:
        return (
            "no-link",
            "not-tested",
            "no link on the cable",
            f"{ways.advice(out)}; {_AT_THE_CABLE}",
        )
    if not found:
        return "nobody", "not-tested", "nobody on this cable", _AT_THE_CABLE
    worst = found[0]
    if len(found) == 1:
        return "found", worst.verdict, worst.words, worst.do
    wrong = sum(d.verdict == "fail" for d in found)
    unknown = sum(d.verdict == "not-tested" for d in found)
    right = len(found) - wrong - unknown
    parts = [f"{wrong} wrong" if wrong else "", f"{unknown} not tested" if unknown else "",
             f"{right} right" if right else ""]  # fmt: skip
    words = f"{len(found)} devices on this cable: {', '.join(p for p in parts if p)}"
    return "found", worst.verdict, words, worst.do


def still_open(result_not_asked: Sequence[tuple[str, str, int]]) -> tuple[HereItem, ...]:
    """What a person must still see or enter before a site is left."""
    return tuple(
        HereItem(what=what.removeprefix("manual.").replace("-", " "), words=f"({count}: {why})")
        for what, why, count in result_not_asked
    )


def boots_s(plan: Plan, seen: Seen) -> float:
    """How long the devices that may be on the cable take to start, in seconds."""
    wanted = [seen.asked] if seen.asked is not None else list(plan.devices)
    return max((seen.profiles[d.profile].boot_s for d in wanted), default=0.0)
