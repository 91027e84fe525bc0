"""One course of events: a state, what may be done in it, and doing it."""

from __future__ import annotations

from collections import Counter
from heapq import heappush
from typing import NamedTuple

from verifier.model.address import Interface
from verifier.rules.readdress.placement import Key, Placement
from verifier.rules.readdress.world import Segment

ALL, NONE = -2, -1
"""In `SegmentState.attached`, instead of a mover."""
START, DETOUR_NEW, DETOUR, NEW, DONE = range(5)
"""A mover: not yet changed; at a temporary address, not confirmed and confirmed; the same at the
planned address."""


class SegmentState(NamedTuple):
    """Where everything is.

    Attributes:
        attached: a mover alone, `ALL` or `NONE`.
        status: one byte a mover.
        detours: temporary addresses in use or not yet confirmed to be left.
        laptop: what the laptop holds.
    """

    attached: int
    status: bytes
    detours: tuple[tuple[int, Placement], ...]
    laptop: tuple[Interface, ...]


class Op(NamedTuple):
    """One step, before it is numbered: `mover` is that of a connect, set or confirm."""

    action: str
    mover: int = NONE
    old: Placement | None = None
    new: Placement | None = None
    temporary: bool = False
    laptop: tuple[Interface, ...] = ()


class Run:
    """A state that things are done in; `ops` is what was done."""

    def __init__(self, world: Segment, state: SegmentState) -> None:
        self.world = world
        self.attached = state.attached
        self.status = bytearray(state.status)
        self.detours = dict(state.detours)
        self.laptop = state.laptop
        self.view = world.view(state.laptop)
        self.ops: list[Op] = []
        self._holders: dict[Key, int] | None = None
        self._waiting: dict[Key, int] = {}
        self._users: Counter[Key] | None = None

    @property
    def together(self) -> bool:
        """Whether all devices are attached."""
        return self.attached == ALL

    def state(self) -> SegmentState:
        """What has become of it."""
        detours = tuple(sorted(self.detours.items(), key=lambda pair: pair[0]))
        return SegmentState(self.attached, bytes(self.status), detours, self.laptop)

    def placement(self, i: int) -> Placement:
        """Where a mover is."""
        status = self.status[i]
        if status == START:
            return self.world.placements[i][0]
        return self.world.placements[i][1] if status >= NEW else self.detours[i]

    def came_from(self, i: int) -> Placement:
        """Where a mover was before its last change."""
        if self.status[i] == DETOUR_NEW or i not in self.detours:
            return self.world.placements[i][0]
        return self.detours[i]

    # -- who holds what --------------------------------------------------------------------------

    def holder(self, key: Key) -> int | None:
        """The attached mover that has an address."""
        if self.attached == ALL:
            if self._holders is None:
                self._holders = {self.placement(i).key: i for i in range(len(self.status))}
            return self._holders.get(key)
        if self.attached != NONE and self.placement(self.attached).key == key:
            return self.attached
        return None

    def is_held(self, key: Key) -> bool:
        """Whether anybody attached, or always there, has an address."""
        return (
            key in self.world.permanent
            or self.holder(key) is not None
            or (self.attached == ALL and key in self.world.stay)
        )

    # -- what may be done --------------------------------------------------------------------------

    def reaches(self, i: int, placement: Placement) -> bool:
        """Whether laptop and mover are in contact with the mover at `placement`."""
        return self.view.direct(placement) or (self.world.remote and self._routed(i, placement))

    def _routed(self, i: int, placement: Placement) -> bool:
        """Both have a way, at least one by a gateway that is there."""
        gateway = self.world.task.laptop_gateway
        source = self.view.source(placement.key)
        if source is None and gateway is not None and gateway.version == placement.key[0]:
            key = (gateway.version, gateway.value)
            if key != placement.key and self._there(key):
                source = self.view.source(key)
        if (
            source is None
            or placement.key in self.view.keys
            or placement.gateway_key in self.view.keys
        ):
            return False
        back = [placement]
        if placement == self.world.placements[i][1]:
            back += [Placement(o.address) for o in self.world.movers[i].device.other_addresses]
        if any(own.holds(source) for own in back):
            return True
        return self._way_back(placement, back, source)

    def _way_back(self, placement: Placement, own: list[Placement], source: Key) -> bool:
        key, gateway = placement.gateway_key, placement.gateway
        if gateway is None or key is None or key[0] != source[0] or any(o.key == key for o in own):
            return False
        link_local = not gateway.is_v4 and gateway.is_link_local
        return (link_local or any(o.holds(key) for o in own)) and self._there(key)

    def _there(self, gateway: Key) -> bool:
        return gateway not in self.world.device_gateways or self.is_held(gateway)

    def may_set(self, i: int, to: Placement) -> bool:
        """Whether a mover may be given `to` now; notes whom it waits for."""
        placement = self.placement(i)
        if to.key in self.view.keys or not self.reaches(i, placement):
            return False
        if to.key != placement.key and self.is_held(to.key):
            self._waiting[to.key] = i
            return False
        return not self.world.remote or self._nobody_cut_off(i, placement, to)

    def _nobody_cut_off(self, i: int, old: Placement, to: Placement) -> bool:
        assert self.world.waits is not None
        if any(self.status[b] < NEW for b in self.world.waits.below.get(i, ())):
            return False
        if to.key == old.key or old.key not in self.world.device_gateways:
            return True
        return not self._gateway_users()[old.key] - self._uses(i, old.key)

    def _uses(self, i: int, gateway: Key) -> bool:
        """Whether a mover that is still to be moved is reached only through a gateway."""
        placement = self.world.placements[i][0]
        return (
            self.status[i] < NEW
            and placement.gateway_key == gateway
            and not self.view.direct(placement)
        )

    def _gateway_users(self) -> Counter[Key]:
        if self._users is None:
            keys = ((i, key) for key, users in self.world.gateway_users.items() for i in users)
            self._users = Counter(key for i, key in keys if self._uses(i, key))
        return self._users

    # -- doing -----------------------------------------------------------------------------------

    def set(self, i: int, to: Placement, *, temporary: bool) -> None:
        """Gives a mover an address."""
        old = self.placement(i)
        if self._users is not None and not temporary and old.gateway_key is not None:
            self._users[old.gateway_key] -= self._uses(i, old.gateway_key)
        self.ops.append(Op("set-device", i, old, to, temporary))
        if temporary:
            self.detours[i] = to
        self.status[i] = DETOUR_NEW if temporary else NEW
        if self._holders is not None:
            self._holders.pop(old.key, None)
            self._holders[to.key] = i

    def confirm(self, i: int) -> bool:
        """Confirms a changed mover, if that can be done now."""
        placement, old = self.placement(i), self.came_from(i)
        if not self.reaches(i, placement):
            return False
        silent: Placement | None = old
        if (
            old.key == placement.key
            or self.holder(old.key) is not None
            or (self.attached == ALL and old.key in self.world.stay)
        ):
            silent = None
        elif old.key in self.view.keys:
            return False
        self.ops.append(Op("confirm", i, silent, placement))
        if self.status[i] == DETOUR_NEW:
            self.status[i] = DETOUR
        else:
            self.status[i] = DONE
            self.detours.pop(i, None)
        return True

    def set_laptop(self, laptop: tuple[Interface, ...]) -> None:
        """Gives the laptop its addresses."""
        self.laptop, self.view = laptop, self.world.view(laptop)
        self.ops.append(Op("set-laptop", laptop=laptop))

    def connect(self, attached: int) -> None:
        """Attaches a mover alone, or all."""
        self.attached, self._holders = attached, None
        self.ops.append(Op("connect", attached))

    def may_connect(self, attached: int) -> bool:
        """Whether no two that are attached then have one address."""
        taken = set(self.world.permanent) if attached == ALL else self.world.permanent
        if attached != ALL:
            key = self.placement(attached).key
            return key not in taken and key not in self.view.keys
        if self.world.stay_doubled:
            return False
        keys = [*self.world.stay, *(self.placement(i).key for i in range(len(self.status)))]
        return len(set(keys)) == len(keys) and not (taken | self.view.keys) & set(keys)

    def wake(self, i: int, old: Placement, to: Placement, heap: list[int]) -> None:
        """Puts on the heap whoever may go on now that a mover went from `old` to `to`."""
        if (waiting := self._waiting.pop(old.key, None)) is not None:
            heappush(heap, waiting)
        if self.world.waits is None:
            return
        for above in self.world.waits.above.get(i, ()):
            heappush(heap, above)
        if to.key in self.world.device_gateways:
            for user in self.world.gateway_users.get(to.key, ()):
                heappush(heap, user)
        if old.gateway_key is not None and (gone := self.holder(old.gateway_key)) is not None:
            heappush(heap, gone)

    # -- circles -----------------------------------------------------------------------------------

    def unbroken(self) -> list[tuple[int, ...]]:
        """Circles that nobody has left yet."""
        circles = self.world.circles
        return [c for c in circles if all(self.status[i] == START for i in c)]
