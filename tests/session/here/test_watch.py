"""`here --watch` in simulated time: through a reboot, a swap of cables, to the next device."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import pytest

from tests.session.here.scenes import LIGHTHOUSE, PRESENT, QUARRY, Scene, made, settings
from verifier.model.here import HereResult
from verifier.report import here as drawn
from verifier.report.style import ReportStyle
from verifier.session.here.run import Hold
from verifier.session.here.watch import watch
from verifier.simulator.memory import MemoryCable, MemoryWorld

Change = Callable[[MemoryCable], None]


class _LongEnoughError(Exception):
    """Nobody would end it."""


def watched(
    scene: Scene, changes: dict[float, Change], *, bells: int | None = None
) -> tuple[HereResult | None, list[HereResult], int, float]:
    """The last look, all looks, how often it rang, and how long it took.

    `bells`: it goes on after each device that is right, until it has rung so often.
    """
    looks: list[HereResult] = []
    rung = 0
    cable = MemoryCable(scene.devices)
    last = None
    with MemoryWorld(cable, scene.laptop) as world:
        for at_s, change in changes.items():
            world.clocks.call_at(at_s, partial(change, cable))

        def show(result: HereResult) -> None:
            looks.append(result)
            if world.clocks.monotonic_s() > 100:
                raise _LongEnoughError

        def ring() -> None:
            nonlocal rung
            rung += 1
            if rung == bells:
                raise _LongEnoughError

        request = scene.request()
        try:
            with Hold(request=request, world=world) as hold:
                last = watch(request, world, hold, show, ring=ring if bells else None)
        except _LongEnoughError:
            pass
        assert world.laptop.addresses == list(scene.laptop)
        return last, looks, rung, world.clocks.monotonic_s()


def states(looks: list[HereResult]) -> list[str]:
    """What was seen, each once while it lasted."""
    seen = [look.devices[0].state if look.devices else look.state for look in looks]
    return [s for n, s in enumerate(seen) if n == 0 or s != seen[n - 1]]


def test_until_the_gateway_is_set() -> None:
    """It ends with 0 at the look that finds all right."""
    device = made(QUARRY, 2, settings(QUARRY, gateway=None))
    scene = Scene(devices=[device])
    last, looks, _, took_s = watched(scene, {20.0: lambda _: device.set(settings(QUARRY))})
    assert last is not None
    assert (last.verdict, looks[0].words) == ("pass", "right device, reachable, gateway missing")
    assert 20 < took_s < 26


def test_through_a_move_and_a_reboot() -> None:
    """Present, then away while it starts, then right; addresses are borrowed on the way."""
    device = made(QUARRY, 2, settings(QUARRY, PRESENT))

    def restart(_: MemoryCable) -> None:
        device.set(settings(QUARRY))
        device.save()
        device.power(10.0, on=False)

    scene = Scene(devices=[device], laptop=(), borrows=True)
    last, looks, _, took_s = watched(
        scene, {10.0: restart, 15.0: lambda _: device.power(15.0, on=True)}
    )
    assert last is not None
    assert states(looks) == ["present", "nobody", "planned"]
    assert last.exit_code() == 0
    assert 60 < took_s < 70  # on at 15 s, 45 s to start
    nobody = [drawn.text(v, ReportStyle()) for v in looks if v.state == "nobody"]
    assert "may be booting: looking until 00:45" in nobody[0]
    assert [s for s in scene.said if "taken back" in s]


def test_longer_away_than_it_takes_to_boot() -> None:
    """Then that is said, with the seconds since it was missed."""
    scene = Scene(devices=[])
    _, looks, _, _ = watched(scene, {})
    shown = drawn.text(looks[-1], ReportStyle())
    assert "longer away than the 00:45 it needs to boot; looking on" in shown
    assert looks[-1].sought_s > 90


def test_a_cable_that_is_plugged_in_later() -> None:
    """No link is no end: it looks until there is one."""
    scene = Scene(devices=[made(QUARRY, 2)])
    last, looks, _, _ = watched(
        scene,
        {0.0: lambda c: setattr(c, "carrier", False), 9.0: lambda c: setattr(c, "carrier", True)},
    )
    assert last is not None
    assert "no-link" in states(looks)
    assert last.exit_code() == 0


@pytest.mark.parametrize("bells", [2])
def test_rings_and_goes_on_to_the_next(bells: int) -> None:
    """Once for each device that becomes right, not at each look."""
    first, second = made(QUARRY, 2), made(LIGHTHOUSE, 1)
    scene = Scene(devices=[first])

    def swap(cable: MemoryCable) -> None:
        cable.devices[:] = [second]

    _, looks, rung, took_s = watched(scene, {12.0: swap}, bells=bells)
    assert rung == 2
    assert 12 < took_s < 20
    assert {d.device for look in looks for d in look.devices} >= {QUARRY.name}
