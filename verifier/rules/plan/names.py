"""Names and references: missing, doubled, unknown, in a circle."""

from __future__ import annotations

import difflib
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator

from verifier.model.checks import unknown_check
from verifier.model.plan import Device
from verifier.model.problem import Subject, SubjectKind
from verifier.rules.plan.scope import (
    ANY,
    Found,
    PlanScope,
    RuleProblem,
    device,
    device_path,
    end_of,
    end_path,
    network,
)

_SEARCHES = 20
"""Names whose nearest neighbour is looked for, for each rule; a search takes milliseconds."""


def nothing_planned(scope: PlanScope) -> Found:
    """No device is planned."""
    if not scope.plan.devices:
        yield RuleProblem(network(scope), ("network",), "the plan has no devices: add them", ANY)


def _kinds(scope: PlanScope) -> Iterator[tuple[SubjectKind, str, list[str]]]:
    plan = scope.plan
    yield "site", "sites", [s.name for s in plan.sites]
    yield "device", "devices", [d.name for d in plan.devices]
    yield "link", "links", [link.name for link in plan.links]
    yield "host", "hosts", [h.name for h in plan.management.hosts]
    yield "network", "maintenance", [w.name for w in plan.maintenance]


def name_doubled(scope: PlanScope) -> Found:
    """Two of a kind have one name."""
    for kind, path, names in _kinds(scope):
        for name, times in Counter(names).items():
            if times > 1:
                how = "two" if times == 2 else str(times)  # noqa: PLR2004
                message = f"{how} {path} are called {name!r}: give each its own name"
                yield RuleProblem(Subject(kind, name), (path, name), message)


def name_differs_by_case(scope: PlanScope) -> Found:
    """Two names of a kind are equal but for capital letters."""
    for kind, path, names in _kinds(scope):
        folded = defaultdict(set)
        for name in names:
            folded[name.casefold()].add(name)
        for same in folded.values():
            for name in sorted(same)[1:]:
                message = (
                    f"{name!r} and {min(same)!r} are equal but for capital letters: "
                    "make them one, or more different"
                )
                yield RuleProblem(Subject(kind, name), (path, name), message)


def name_with_separator(scope: PlanScope) -> Found:
    """A name holds the mark that separates names in a list."""
    for kind, path, names in _kinds(scope):
        for name in dict.fromkeys(n for n in names if ";" in n):
            message = f"{name!r} holds `;`, which separates names in a sheet's list: leave it out"
            yield RuleProblem(Subject(kind, name), (path, name), message)


def profile_unknown(scope: PlanScope) -> Found:
    """A device's profile is in no folder of profiles."""
    if scope.profile_ids is None:
        return
    known = sorted(scope.profile_ids)
    for d in scope.plan.devices:
        if d.profile not in scope.profile_ids:
            near = difflib.get_close_matches(d.profile, known, n=1)
            hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(known)}"
            message = f"there is no profile {d.profile!r}; {hint} (--profiles DIR adds your own)"
            yield RuleProblem(device(d.name), device_path(d.name, "profile"), message)


def site_unknown(scope: PlanScope) -> Found:
    """A site is named that the plan does not hold."""
    known, hint = scope.sites, _Hints(scope.sites)
    for d in scope.plan.devices:
        if d.site is not None and d.site not in known:
            message = f"site {d.site!r} is not in the plan{hint(d.site)}"
            yield RuleProblem(device(d.name), device_path(d.name, "site"), message, d.site)
    for window in scope.plan.maintenance:
        path = ("maintenance", window.name, "sites")
        for site in window.sites:
            if site not in known:
                message = f"maintenance {window.name!r}: site {site!r} is not in the plan"
                yield RuleProblem(network(scope), path, message + hint(site), site)


class _Hints:
    """What to do about names that are not known; a search for each of the first few only."""

    def __init__(self, known: Iterable[str]) -> None:
        self._known = list(known)
        self._folded = {name.casefold(): name for name in self._known}
        self._said: dict[str, str] = {}

    def __call__(self, name: str) -> str:
        if name not in self._said:
            near = self._folded.get(name.casefold())
            if near is None and len(self._said) < _SEARCHES:
                near = next(iter(difflib.get_close_matches(name, self._known, n=1)), None)
            hint = f"; did you mean {near!r}?" if near else ": add it, or mend the name"
            self._said[name] = hint
        return self._said[name]


def link_end_unknown(scope: PlanScope) -> Found:
    """A link ends at a device that the plan does not hold."""
    known, hint = scope.devices, _Hints(scope.devices)
    for link, carrier in scope.carriers:
        for name, end in carrier.ends():
            if end.device not in known:
                yield RuleProblem(
                    end_of(link, carrier, name),
                    end_path(link, carrier, name, "device"),
                    f"device {end.device!r} is not in the plan{hint(end.device)}",
                    end.device,
                )


def link_to_itself(scope: PlanScope) -> Found:
    """A link joins a device with itself."""
    for link in scope.plan.links:
        if link.carriers and all(c.a.device == c.b.device for c in link.carriers):
            message = f"{link.carriers[0].a.device!r} stands at both ends: name the other device"
            yield RuleProblem(Subject("link", link.name), ("links", link.name), message)


def device_twice_in_carrier(scope: PlanScope) -> Found:
    """One carrier of several has the same device at both ends."""
    for link in scope.plan.links:
        same = [c for c in link.carriers if c.a.device == c.b.device]
        for carrier in same if len(same) < len(link.carriers) else ():
            yield RuleProblem(
                Subject("link", link.name, carrier=carrier.carrier),
                ("links", link.name, str(carrier.carrier)),
                f"{carrier.a.device!r} stands at both ends of the carrier: name the other device",
            )


def ends_mixed_up(scope: PlanScope) -> Found:
    """A device is at end a in one carrier and at end b in another of the same link."""
    for link in scope.plan.links:
        told = {c.a.device for c in link.carriers if c.a.device == c.b.device}
        a, b = link.devices()
        for name in sorted((a & b) - told):
            message = (
                f"{name!r} is at end a in one carrier and at end b in another: "
                "exchange a and b in one of them"
            )
            yield RuleProblem(Subject("link", link.name), ("links", link.name), message)


def carrier_doubled(scope: PlanScope) -> Found:
    """Two carriers of a link have one number."""
    for link in scope.plan.links:
        for number, times in Counter(c.carrier for c in link.carriers).items():
            if times > 1:
                message = f"carrier {number} stands {times} times: number them 1, 2, ..."
                subject = Subject("link", link.name, carrier=number)
                yield RuleProblem(subject, ("links", link.name, str(number)), message)


def link_doubled(scope: PlanScope) -> Found:
    """Two links join the same radios on the same frequencies."""
    seen: dict[object, str] = {}
    for link, carrier in scope.carriers:
        ends = [(e.device, e.radio or carrier.carrier, e.tx_mhz) for _, e in carrier.ends()]
        first = seen.setdefault(frozenset(ends), link.name)
        if first != link.name and ends[0][0] != ends[1][0]:
            message = f"joins the same radios as link {first!r}: leave one of them out"
            subject = Subject("link", link.name, carrier=carrier.carrier)
            yield RuleProblem(subject, ("links", link.name, str(carrier.carrier)), message)


def uplink_unknown(scope: PlanScope) -> Found:
    """An uplink is not in the plan, or is the device itself."""
    known, hint = scope.devices, _Hints(scope.devices)
    for d in scope.plan.devices:
        path = device_path(d.name, "uplink")
        for up in d.uplink:
            if up == d.name:
                message = "a device cannot be its own uplink: name the next device on the way"
                yield RuleProblem(device(d.name), path, message)
            elif up not in known:
                message = f"uplink {up!r} is not in the plan{hint(up)}"
                yield RuleProblem(device(d.name), path, message, up)


def uplink_circle(scope: PlanScope) -> Found:
    """Uplinks that only lead in a circle: management traffic never leaves it."""
    stuck = _without_way_out(scope)
    told: set[str] = set()
    for start in stuck:
        trail: dict[str, None] = {}
        here = start
        while here not in trail and here not in told:
            trail[here] = None
            here = next(up for up in stuck[here].uplink if up in stuck)
        told |= trail.keys()
        if here in trail:
            names = list(trail)
            circle = [*names[names.index(here) :], here]
            message = (
                f"the uplinks go in a circle: {' > '.join(circle)}; "
                "the device nearest the operations desk has no uplink"
            )
            yield RuleProblem(device(here), device_path(here, "uplink"), message)


def _without_way_out(scope: PlanScope) -> dict[str, Device]:
    """Devices from which no choice of uplinks leads to one without; any one of several suffices."""
    known = scope.devices
    below = defaultdict(list)
    ways_out = []
    for d in known.values():
        if not d.uplink or any(up == d.name or up not in known for up in d.uplink):
            ways_out.append(d.name)
        for up in d.uplink:
            below[up].append(d.name)
    reached = set(ways_out)
    while ways_out:
        for name in below[ways_out.pop()]:
            if name not in reached:
                reached.add(name)
                ways_out.append(name)
    return {d.name: d for d in scope.plan.devices if d.name not in reached}


def check_unknown(scope: PlanScope) -> Found:
    """`not_tested_ok` lists a check or a device that there is not."""
    for allowed in scope.plan.not_tested_ok:
        if (why := unknown_check(allowed.name)) is not None:
            yield RuleProblem(network(scope), ("not_tested_ok", allowed.check), why)
        elif allowed.device is not None and allowed.device not in scope.devices:
            near = difflib.get_close_matches(allowed.device, scope.devices, n=1)
            hint = f"; did you mean {near[0]!r}?" if near else ""
            message = f"{allowed.check!r}: no device is called {allowed.device!r}{hint}"
            yield RuleProblem(
                network(scope), ("not_tested_ok", allowed.check), message, allowed.device
            )


def traffic_pair_unclear(scope: PlanScope) -> Found:
    """A traffic pair is not two different hosts."""
    for pair in scope.plan.acceptance.traffic_pairs:
        one, _, other = (part.strip() for part in pair.partition(">"))
        if not one or not other or ">" in other or one == other:
            message = f"{pair!r} is no pair of hosts: write host>host, two different ones"
            yield RuleProblem(network(scope), ("acceptance", "traffic_pairs"), message)


def neighbour_is_itself(scope: PlanScope) -> Found:
    """A port's neighbour is the device itself."""
    for d in scope.plan.devices:
        for port in d.ports:
            if port.neighbour == d.name:
                message = (
                    "the neighbour is the device itself: name the device at the cable's far end"
                )
                path = ("devices", d.name, "ports", port.name, "neighbour")
                yield RuleProblem(Subject("port", d.name, port=port.name), path, message)


def port_of_address_unknown(scope: PlanScope) -> Found:
    """A further address belongs to a port that is not among the device's ports."""
    for d in scope.plan.devices:
        names = {p.name for p in d.ports}
        for other in d.other_addresses:
            if names and other.port is not None and other.port not in names:
                message = (
                    f"port {other.port!r} of {other.address} is not among the device's ports "
                    f"({', '.join(sorted(names))}): mend the name, or add the port"
                )
                path = ("devices", d.name, "other_addresses", str(other.address), "port")
                yield RuleProblem(device(d.name), path, message, other.port)
