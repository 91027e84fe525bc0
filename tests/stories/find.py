"""Stories of `find`: a device is lost, and who is named must be that device."""

from __future__ import annotations

import random

from tests.stories.bench import (
    ENTRIES,
    FACTORY,
    PROFILES,
    Bench,
    beside,
    cable,
    clone,
    device_for,
    drawn,
    masked,
    slipped,
)
from verifier.model.address import Interface
from verifier.model.plan import Device
from verifier.model.search import SearchResult
from verifier.session.search.request import Search
from verifier.session.search.run import look_for
from verifier.simulator.memory import DeviceSettings, MemoryCable, MemoryDevice, MemoryWorld

NAMED = {"as-planned", "wrong-mask", "shared", "mute", "elsewhere", "no-address"}
"""States that name a place or a cable as the device's."""


def lost(chance: random.Random) -> None:
    """One search; raises AssertionError where it names another device."""
    bench = drawn(chance, most=3)
    name = chance.choice(list(bench.devices))
    device = next(d for d in bench.plan.devices if d.name == name)
    made = bench.devices[name]
    _lose(chance, bench, device, made)
    plugged = cable(bench)
    chance.shuffle(plugged.devices)
    plugged.carrier = chance.random() < 0.97
    if chance.random() < 0.15:
        plugged.devices.remove(made)
    with MemoryWorld(plugged, _laptop(chance, bench, device)) as world:
        world.cable.permitted = chance.random() < 0.7
        made.up_s = chance.choice((-100.0, 0.5, 3.0, 40.0))
        made.echoes_twice = chance.random() < 0.1
        search = Search(
            plan=bench.plan,
            device=device,
            profiles=PROFILES,
            credentials={k: v for k, v in ENTRIES.items() if chance.random() < 0.9},
            listen_s=chance.choice((None, None, 35.0)),
        )
        judge(bench, device, look_for(search, world), plugged)


def _lose(chance: random.Random, bench: Bench, device: Device, made: MemoryDevice) -> None:
    """What a person has done to the device, and to others beside it."""
    planned = DeviceSettings(address=device.address, gateway=device.gateway, name=device.name)
    settings = chance.choice((
        planned,
        DeviceSettings(address=slipped(chance, device.address), name=device.name),
        DeviceSettings(address=masked(chance, device.address), name=device.name),
        DeviceSettings(address=FACTORY),
        DeviceSettings(address=device.present_address or FACTORY, name=chance.choice(("", device.name))),
        DeviceSettings(address=device.address, second=FACTORY, name=device.name),
    ))  # fmt: skip
    made.running = made.saved = settings
    others = [n for n in bench.devices if n != device.name]
    for other in others:
        there = next(d for d in bench.plan.devices if d.name == other)
        bench.devices[other].running = DeviceSettings(
            address=chance.choice((there.address, device.address, FACTORY)),
            name=chance.choice((there.name, there.name, "")),
        )
    if chance.random() < 0.3:
        bench.strangers.append(clone(made, chance, 40))
    if chance.random() < 0.3:
        stranger = device_for(device, 50, PROFILES[device.profile], chance)
        stranger.running = DeviceSettings(
            address=chance.choice((device.address, FACTORY, slipped(chance, device.address))),
            name=chance.choice(("", "spare")),
        )
        stranger.hardware = _other_hardware(stranger)
        bench.strangers.append(stranger)


def _other_hardware(stranger: MemoryDevice) -> Device:
    import dataclasses  # noqa: PLC0415

    return dataclasses.replace(stranger.hardware, serial="S-1050")


def _laptop(chance: random.Random, bench: Bench, device: Device) -> list[Interface]:
    taken = {h.address for d in bench.everything for h in d.running.held}
    made = bench.devices[device.name]
    places = [made.running.address, device.address, FACTORY]
    near = [at for at in places if at.prefix <= 30 and chance.random() < 0.6]
    return [own for own in {beside(chance, at, taken) for at in near} if own is not None]


def judge(bench: Bench, device: Device, found: SearchResult, plugged: MemoryCable) -> None:
    """Who is named must be the device, or nobody can tell the two apart."""
    if found.state not in NAMED or found.address is None:
        return
    there = [
        d
        for d in plugged.devices
        if any(h.address == found.address.address for h in d.running.held)
    ]
    mine = bench.devices[device.name]
    words = f"{found.state} {found.address} named as {device.name}: {found.explanation}"
    assert there, f"{words}, where nobody is"
    if mine in there:
        return
    theirs = {d.name for d in bench.plan.devices} - {device.name}
    assert any(d.running.name not in theirs for d in there), words
    likely = "most likely" in found.explanation
    assert likely or any(d.running.name == device.name for d in there), words
    own = {h.address for h in mine.running.held}
    by_hardware = [
        p for p in found.places
        if p.candidate.address.address in own and p.identity == "device" and _sure(p.by)
    ]  # fmt: skip
    assert not by_hardware, f"{words}, but its hardware was seen at {by_hardware[0]}"
    if device.mac is not None and found.mac is not None and found.mac != device.mac:
        assert any("is not the planned" in note for note in found.notes), words


def _sure(by: tuple[str, ...]) -> bool:
    return any("hardware address" in way or "serial number" in way for way in by)
