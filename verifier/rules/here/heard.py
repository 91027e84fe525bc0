"""Who is heard on the cable and was found at no address: devices of the plan, else strangers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from verifier.model.address import Mac
from verifier.model.here import HereDevice, HereItem
from verifier.model.plan import Device
from verifier.model.search import HeardFrames
from verifier.rules.here.seen import Seen
from verifier.rules.search.identity import Sought

_STRANGERS = 3
"""So many are named; on an office's network there are hundreds."""


def heard_only(seen: Seen, found: Sequence[HereDevice]) -> tuple[HereDevice, ...]:
    """Devices of the plan without an address; where nobody at all was found, who else is there."""
    known = {d.device for d in found}
    frames: dict[Mac, list[HeardFrames]] = {}
    for frame in seen.heard:
        frames.setdefault(frame.mac, []).append(frame)
    ours = []
    theirs = []
    for several in frames.values():
        device = _sender(seen, several)
        if device is None:
            theirs.append(several)
        elif device.name not in known and (seen.asked is None or seen.asked is device):
            known.add(device.name)
            ours.append(_speechless(seen, device, several))
    if found or ours:
        return tuple(ours)
    return tuple(_strangers(seen, theirs))


def _sender(seen: Seen, frames: Sequence[HeardFrames]) -> Device | None:
    for device in seen.plan.devices:
        macs = frozenset({device.mac} if device.mac is not None else ())
        sought = Sought(plan=seen.plan, device=device, macs=macs)
        if any(sought.is_it(frame) for frame in frames):
            return device
    return None


def _speechless(seen: Seen, device: Device, frames: Sequence[HeardFrames]) -> HereDevice:
    first = frames[0]
    local = {f"{f.address.ip}" for f in frames if f.address is not None and f.address.is_link_local}
    words = f"heard on {first.interface} ({_how(frames)}), and at no address that was asked"
    if local:
        words += f"; it has {', '.join(sorted(local))}"
    return HereDevice(
        state="no-address",
        verdict="fail",
        device=device.name,
        who=device.name,
        asked=device.name,
        planned=device.address,
        interface=first.interface,
        mac=first.mac,
        wrong=(HereItem(what="address", words=words),),
        do=f"restart it: it announces its address then; {seen.again('--watch')}",
        words="right device, says no address",
    )


def _strangers(seen: Seen, theirs: Sequence[Sequence[HeardFrames]]) -> Iterator[HereDevice]:
    told = [f for f in theirs if any(_tells(frame) for frame in f)]
    for frames in told[:_STRANGERS]:
        first = frames[0]
        name = next((f.name for f in frames if f.name), "")
        addresses = dict.fromkeys(
            str(f.address) for f in frames if f.address is not None and not f.address.is_link_local
        )
        at = f", has or wants {', '.join(addresses)}" if addresses else ""
        yield HereDevice(
            state="stranger",
            verdict="fail",
            who=name or str(first.mac),
            interface=first.interface,
            mac=first.mac,
            wrong=(
                HereItem(
                    what=f"MAC {first.mac}",
                    words=f"no device of the plan: heard on {first.interface} ({_how(frames)}){at}",
                ),
            ),
            do=f"is this the right cable? Unplug it, or correct the plan; then: {seen.again()}",
            words="no device of the plan",
        )


def _tells(frame: HeardFrames) -> bool:
    """Whether a frame says more than that an IPv6 host is there."""
    return bool(frame.name) or (frame.address is not None and not frame.address.is_link_local)


def _how(frames: Sequence[HeardFrames]) -> str:
    kinds = dict.fromkeys(f.what.partition("-")[0].upper() for f in frames)
    return ", ".join(kinds)
