"""Finding one observation among many, and reading the laptop's state back from observations."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

from verifier.model.address import Address, Interface
from verifier.model.laptop import Laptop, LaptopInterface, Route
from verifier.model.observation import Observation


class DeviceObservations:
    """Observations of one device, by name and by instance."""

    def __init__(self, observations: Iterable[Observation] = ()) -> None:
        self._by_what: dict[str, list[Observation]] = defaultdict(list)
        for observation in observations:
            self._by_what[observation.what].append(observation)

    def all(self, what: str) -> list[Observation]:
        """Every observation of this name, in order."""
        return self._by_what.get(what, [])

    def first(self, what: str) -> Observation | None:
        """The first observation of this name."""
        found = self.all(what)
        return found[0] if found else None

    def at(self, what: str, index: str) -> Observation | None:
        """The observation of this column at this instance."""
        suffix = f".{index}"
        return next((o for o in self.all(what) if o.oid and o.oid.endswith(suffix)), None)

    def column(self, what: str, oid: str) -> dict[str, Observation]:
        """Rows of a column with a value, by instance."""
        start = f"{oid}."
        return {
            o.oid.removeprefix(start): o
            for o in self.all(what)
            if o.oid and o.oid.startswith(start) and o.value is not None
        }

    def starting(self, what: str) -> list[Observation]:
        """Every observation whose name starts so (`tcp/`)."""
        return [o for name, all_ in self._by_what.items() if name.startswith(what) for o in all_]


def by_device(observations: Iterable[Observation]) -> dict[str, DeviceObservations]:
    """Observations of each device, by its name; ports of a device belong to it."""
    sorted_: dict[str, list[Observation]] = defaultdict(list)
    for observation in observations:
        if observation.subject.kind in {"device", "port"}:
            sorted_[observation.subject.name].append(observation)
    return {name: DeviceObservations(found) for name, found in sorted_.items()}


def laptop_value(laptop: Laptop) -> dict[str, Any]:
    """A laptop's state as the value of an observation; `laptop_of` reads it back."""
    return {
        "interfaces": [
            {
                "name": i.name,
                "up": i.up,
                "switched_on": i.switched_on,
                "addresses": [str(a) for a in i.addresses],
                "vlan": i.vlan,
                "medium": i.medium,
            }
            for i in laptop.interfaces
        ],
        "gateways": [str(g) for g in laptop.gateways],
        "assumed": laptop.assumed,
    }


def laptop_of(value: Mapping[str, Any]) -> Laptop:
    """The laptop's state from an observation's value."""
    return Laptop(
        interfaces=tuple(
            LaptopInterface(
                name=i["name"],
                up=i["up"],
                switched_on=i.get("switched_on", True),
                addresses=tuple(Interface.parse(a) for a in i["addresses"]),
                vlan=i["vlan"],
                medium=i.get("medium", "unknown"),
            )
            for i in value["interfaces"]
        ),
        gateways=tuple(Address.parse(g) for g in value["gateways"]),
        assumed=value["assumed"],
    )


def route_value(route: Route | None) -> dict[str, str | None] | None:
    """A route as the value of an observation; `route_of` reads it back."""
    if route is None:
        return None
    return {
        "interface": route.interface,
        "source": str(route.source) if route.source else None,
        "next_hop": str(route.next_hop) if route.next_hop else None,
        "elsewhere": route.elsewhere,
    }


def route_of(value: Mapping[str, Any] | None) -> Route | None:
    """A route from an observation's value."""
    if value is None:
        return None
    return Route(
        interface=value["interface"],
        source=Address.parse(value["source"]) if value["source"] else None,
        next_hop=Address.parse(value["next_hop"]) if value["next_hop"] else None,
        elsewhere=value.get("elsewhere"),
    )
