"""Judges a runbook step by step, from its JSON form; knows nothing of the planner.

A case is plain values:

    {"setting": "segment", "many": True, "laptop": ["198.18.0.9/24"], "laptop_gateway": None,
     "held": {"198.18.0.1": "the gateway"},
     "devices": {"a": {"present": "198.18.0.5/24", "present_gateway": None,
                     "planned": "198.18.1.5/24", "gateway": None, "uplink": []}}}
"""

from __future__ import annotations

import ipaddress
from typing import Any

Case = dict[str, Any]


def host(interface: Any) -> bool:
    """Whether an address can be a host's in its own subnet."""
    net = interface.network
    if net.prefixlen >= net.max_prefixlen - 1:
        return True
    if interface.ip == net.network_address:
        return False
    return net.version == 6 or interface.ip != net.broadcast_address  # type: ignore[no-any-return]


class Replay:
    """The state, and what was wrong on the way."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.devices = case["devices"]
        self.wrong: list[str] = []
        self.at = {n: ipaddress.ip_interface(u["present"]) for n, u in self.devices.items()}
        self.via = {n: _ip(u["present_gateway"]) for n, u in self.devices.items()}
        apart = case["setting"] == "one-at-a-time"
        self.attached = set() if apart else set(self.devices)
        self.laptop = [ipaddress.ip_interface(a) for a in case["laptop"]]
        self.held = {ipaddress.ip_address(a) for a in case["held"]}
        self.pending: dict[str, Any] = {}
        self.left: dict[str, Any] = {}
        self.owned = {
            g for n in self.devices for g in (self.via[n], _ip(self.devices[n]["gateway"]))
        }
        self.owned |= {_ip(case.get("laptop_gateway"))}
        self.owned -= self.held

    def holders(self, address: Any) -> set[str]:
        return {n for n in self.attached if self.at[n].ip == address}

    def taken(self, address: Any) -> bool:
        return address in self.held or bool(self.holders(address))

    def mine(self, address: Any) -> bool:
        return any(own.ip == address for own in self.laptop)

    def source(self, address: Any) -> Any:
        """The laptop's source address towards an on-link address: longest prefix, then first."""
        on = [
            own for own in self.laptop if own.version == address.version and address in own.network
        ]
        if not on:
            return None
        own = max(on, key=lambda own: own.network.prefixlen)
        return (
            own.ip if host(ipaddress.ip_interface(f"{address}/{own.network.prefixlen}")) else None
        )

    def direct(self, at: Any, via: Any) -> bool:
        source = self.source(at.ip)
        if source is None or source not in at.network or self.mine(at.ip) or self.mine(via):
            return False
        return host(ipaddress.ip_interface(f"{source}/{at.network.prefixlen}"))

    def there(self, gateway: Any) -> bool:
        return gateway not in self.owned or self.taken(gateway)

    def reached(self, name: str) -> bool:
        at, via = self.at[name], self.via[name]
        if name not in self.attached or self.mine(at.ip) or self.mine(via):
            return False
        if self.direct(at, via):
            return True
        if self.case["setting"] != "remote":
            return False
        source, out = self.source(at.ip), _ip(self.case.get("laptop_gateway"))
        far = source is None and out is not None and out.version == at.version
        if far and out != at.ip and self.there(out):
            source = self.source(out)
        if source is None:
            return False
        if source in at.network:
            return True
        return via is not None and via in at.network and via != at.ip and self.there(via)

    # -- steps -----------------------------------------------------------------------------------

    def step(self, step: dict[str, Any]) -> None:
        getattr(self, step["action"].replace("-", "_"))(step)
        for name in self.attached:
            same = self.holders(self.at[name].ip) - {name}
            if same or self.at[name].ip in self.held or self.mine(self.at[name].ip):
                self.say(step, f"{name} shares its address {self.at[name].ip}")

    def say(self, step: dict[str, Any], what: str) -> None:
        self.wrong.append(f"step {step['n']} {step['action']}: {what}")

    def connect(self, step: dict[str, Any]) -> None:
        if self.case["setting"] != "one-at-a-time":
            self.say(step, "all are attached already")
        self.attached = set(self.devices) if step["device"] is None else {step["device"]}

    def set_laptop(self, step: dict[str, Any]) -> None:
        if self.case["setting"] == "remote":
            self.say(step, "the laptop stays")
        self.laptop = [ipaddress.ip_interface(a) for a in step["addresses"]]
        if len({own.ip for own in self.laptop}) < len(self.laptop):
            self.say(step, "an address twice")
        if len(self.laptop) > 1 and not self.case["many"]:
            self.say(step, "more than one address")
        for own in self.laptop:
            if not host(own):
                self.say(step, f"{own} is no host's")
            if self.taken(own.ip):
                self.say(step, f"{own} is somebody's")

    def set_device(self, step: dict[str, Any]) -> None:
        name, new = step["device"], ipaddress.ip_interface(step["to"])
        if not self.reached(name):
            self.say(step, f"no contact with {name} at {self.at[name]}")
        if step["from"] != str(self.at[name]):
            self.say(step, f"it is at {self.at[name]}")
        if name in self.pending:
            self.say(step, "not confirmed since its last change")
        if new.ip in self.held or self.holders(new.ip) - {name} or self.mine(new.ip):
            self.say(step, f"{new.ip} is somebody's")
        if not host(new):
            self.say(step, f"{new} is no host's")
        if self.case["setting"] == "remote":
            self.nobody_cut_off(step, name, new)
        planned = self.devices[name]["planned"]
        if step["temporary"]:
            subnets = {
                ipaddress.ip_interface(u[k]).network
                for u in self.devices.values()
                for k in ("present", "planned")
            }
            if new.network not in subnets:
                self.say(step, f"{new} is in no subnet of the plan")
        elif (step["to"], step["gateway"]) != (planned, self.devices[name]["gateway"]):
            self.say(step, f"planned is {planned} by {self.devices[name]['gateway']}")
        self.pending[name] = self.at[name].ip
        self.at[name], self.via[name] = new, _ip(step["gateway"])

    def nobody_cut_off(self, step: dict[str, Any], name: str, new: Any) -> None:
        for other in self.moved_before(name):
            if str(self.at[other]) != self.devices[other]["planned"]:
                self.say(step, f"{other} passes through it and is not at its planned address")
        old = self.at[name].ip
        for other in self.devices:
            far = not self.direct(self.at[other], self.via[other])
            before = (str(self.at[other]), str(self.via[other])) == (
                self.devices[other]["present"],
                str(self.devices[other]["present_gateway"]),
            )
            to_move = other not in self.blocked and self.needs_change(other)
            if (
                other != name
                and old != new.ip
                and to_move
                and before
                and far
                and self.via[other] == old
            ):
                self.say(step, f"cuts off {other}")

    def needs_change(self, name: str) -> bool:
        device = self.devices[name]
        return (device["present"], device["present_gateway"]) != (
            device["planned"],
            device["gateway"],
        )

    def moved_before(self, name: str) -> set[str]:
        """Devices that are to be moved and whose traffic passes through `name`, by single uplinks."""
        found: set[str] = set()
        for other in self.devices:
            up, seen = other, set()
            while len(self.devices[up].get("uplink", ())) == 1 and up not in seen:
                seen.add(up)
                up = self.devices[up]["uplink"][0]
                if up == name and other != name:
                    found.add(other)
        return {n for n in found if self.needs_change(n) and n not in self.blocked}

    def confirm(self, step: dict[str, Any]) -> None:
        name = step["device"]
        if name not in self.pending:
            self.say(step, "nothing to confirm")
            return
        if not self.reached(name):
            self.say(step, f"no contact with {name} at {self.at[name]}")
        if step["address"] != str(self.at[name].ip):
            self.say(step, f"it is at {self.at[name].ip}")
        old = self.pending.pop(name)
        rightly = old == self.at[name].ip or bool(self.holders(old) - {name})
        if step["silent"] != (None if rightly else str(old)):
            self.say(step, f"silent is {step['silent']}, was {old}")
        if not rightly and self.mine(old):
            self.say(step, f"the laptop itself answers at {old}")

    @property
    def blocked(self) -> set[str]:
        return self._blocked

    _blocked: set[str] = set()  # noqa: RUF012 - replaced in the instance


def _ip(text: str | None) -> Any:
    return None if text is None else ipaddress.ip_address(text)


def judge(case: Case, runbook: dict[str, Any]) -> list[str]:
    """Everything that is wrong with a runbook for a case; empty if nothing is."""
    replay = Replay(case)
    replay._blocked = {b["device"] for b in runbook["blocked"]}
    if runbook["setting"] != case["setting"] or runbook["laptop_start"] != case["laptop"]:
        replay.wrong.append("another setting or start")
    counts = {"set-device": 0, "connect": 0, "set-laptop": 0, "confirm": 0}
    for n, step in enumerate(runbook["steps"], start=1):
        if step["n"] != n:
            replay.wrong.append(f"step {n} is numbered {step['n']}")
        counts[step["action"]] += 1
        replay.step(step)
    told = (runbook["device_changes"], runbook["connects"], runbook["laptop_changes"])
    if told != (counts["set-device"], counts["connect"], counts["set-laptop"]):
        replay.wrong.append(f"counts are {counts}")
    for name, device in case["devices"].items():
        want = ("present", "present_gateway") if name in replay.blocked else ("planned", "gateway")
        if (str(replay.at[name]), replay.via[name]) != (device[want[0]], _ip(device[want[1]])):
            replay.wrong.append(f"{name} ends at {replay.at[name]} by {replay.via[name]}")
        if name in replay.pending:
            replay.wrong.append(f"{name} is not confirmed in the end")
    return replay.wrong
