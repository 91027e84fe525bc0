"""Why a device that answers gives no values by SNMP, and what two equal engine ids mean."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping

from verifier.model.observations import ENGINE_ID
from verifier.model.problem import Subject
from verifier.model.result import Finding
from verifier.rules.diagnose.case import (
    UNTESTED,
    Causes,
    Certainty,
    DeviceFindings,
    FindingIndex,
    cause,
)

_BY_SNMP = frozenset(
    {"identity", "state", "address", "port", "neighbour", "snmp", "radio", "settings", "link"}
)
"""Layers of checks that only SNMP can tell."""
_SEVERAL = 3
"""Devices with one entry of the credentials from which the entry is looked at: our own choice."""
_TOLD: Mapping[str, tuple[str, Certainty, str]] = {
    "port-unreachable": ("snmp-off", "likely", "says that nobody listens at its SNMP port"),
    "unknown-user": ("snmp-refused", "likely", "refuses: it does not know this SNMPv3 user"),
    "unsupported-level": (
        "snmp-refused", "likely", "refuses this security level to the SNMPv3 user",
    ),
    "error-status": ("snmp-refused", "likely", "answers the question with an error"),
    "wrong-digest": ("snmp-wrong-key", "likely", "finds the authentication key or method wrong"),
    "decryption-error": ("snmp-wrong-key", "likely", "cannot decrypt: another privacy key"),
    "not-in-time-window": (
        "snmp-clock", "likely", "refuses by its own clock or boot counter: the key is right",
    ),
    "unknown-engine-id": ("snmp-clock", "likely", "does not keep to its own engine id"),
    "host-unreachable": (
        "snmp-filtered", "likely", "answers otherwise, and a router on the way turns SNMP back",
    ),
}  # fmt: skip
"""What an outcome tells by itself (RFC 3414 3.2, RFC 1122 3.2.2.1)."""


def causes(case: FindingIndex) -> Causes:
    """Each device without values, and each group of devices with one engine id."""
    failed = [(u, f) for u in case.by_device.values() if (f := u.get("snmp.answer", "fail"))]
    shared, v3 = _shared_entries(case, failed), _v3_entries(case)
    for entry, same in shared.items():
        yield from _entry(case, entry, same)
    for device, head in failed:
        if (told := _TOLD.get(str(head.observed))) is not None:
            kind, certainty, words = told
            yield cause(
                kind, device.subject, certainty, f"{device.name} {words}", _unread(device, head)
            )
        elif head.observed == "undecodable":
            yield from _undecodable(device, head)
        elif head.observed == "silent" and (other := device.get("snmp.responder", "warn")):
            yield cause(
                "snmp-other-address", device.subject, "likely",
                f"the SNMP agent of {device.name} answers from {other.observed}, not from the "
                "address that is asked",
                [*_unread(device, head), other],
            )  # fmt: skip
        elif _entry_of(device) not in shared or head.observed != "silent":
            yield from _silent(case, device, head, v3)
    yield from _engine_ids(case)


def _unread(device: DeviceFindings, head: Finding) -> list[Finding]:
    """What only SNMP can tell hangs on its answer."""
    every = (*device.found, *device.of_ends)
    return [head, *(f for f in every if f is not head and _by_snmp(f) and f.verdict in UNTESTED)]


def _by_snmp(finding: Finding) -> bool:
    return finding.check.partition(".")[0] in _BY_SNMP


def _entry_of(device: DeviceFindings) -> str | None:
    return device.device.snmp if device.device is not None else None


def _shared_entries(
    case: FindingIndex, failed: Iterable[tuple[DeviceFindings, Finding]]
) -> dict[str, list[tuple[DeviceFindings, Finding]]]:
    """Entries of the credentials that no device answers and several are silent to."""
    silent: dict[str, list[tuple[DeviceFindings, Finding]]] = defaultdict(list)
    for device, head in failed:
        if (entry := _entry_of(device)) is not None and head.observed == "silent":
            silent[entry].append((device, head))
    known = {_entry_of(u) for u in case.by_device.values() if u.get("snmp.answer", "pass")}
    return {e: same for e, same in silent.items() if len(same) >= _SEVERAL and e not in known}


def _entry(case: FindingIndex, entry: str, same: list[tuple[DeviceFindings, Finding]]) -> Causes:
    """All devices of one entry are silent: the entry, or a filter before them all; both fit."""
    heads = [head for _, head in same]
    rest = [f for device, head in same for f in _unread(device, head)[1:]]
    network = Subject("network", case.plan.network.name)
    yield cause(
        "credentials-wrong", network, "possible",
        f"the credentials {entry!r} are wrong: none of {len(same)} devices answers them",
        [*heads, *rest],
    )  # fmt: skip
    yield cause(
        "snmp-filtered", network, "possible",
        f"SNMP is filtered on the way to all {len(same)} devices of credentials {entry!r}",
        [*heads, *rest],
    )  # fmt: skip


def _silent(
    case: FindingIndex, device: DeviceFindings, head: Finding, v3: frozenset[str | None]
) -> Causes:
    """By standard a wrong community is answered with silence, as by a filter (RFC 1157 4.1)."""
    found = _unread(device, head)
    if case.seen_of(device.name).values(ENGINE_ID):
        yield cause(
            "snmp-wrong-key", device.subject, "likely",
            f"{device.name} told its engine id and then gave no answer: so it is with another "
            "privacy key",
            found,
        )  # fmt: skip
        return
    if _entry_of(device) in v3:
        yield from _undiscovered(device, found)
        return
    shut = [f for f in device.all(["tcp.open"], "fail") if "filtered" in str(f.observed)]
    yield cause(
        "snmp-wrong-key", device.subject, "possible",
        f"{device.name} has another community or key than credentials {_entry_of(device)!r}",
        found,
    )  # fmt: skip
    yield cause(
        "snmp-filtered", device.subject, "likely" if shut else "possible",
        f"SNMP to {device.name} is filtered: by its own list of allowed addresses, or on the way",
        [*found, *shut],
    )  # fmt: skip


def _undecodable(device: DeviceFindings, head: Finding) -> Causes:
    """Something came, and it was no SNMP answer."""
    found = _unread(device, head)
    yield cause(
        "snmp-other-program", device.subject, "possible",
        f"another program than an SNMP agent listens at the SNMP port of {device.name}", found,
    )  # fmt: skip
    yield cause(
        "snmp-damaged", device.subject, "possible",
        f"the SNMP answers of {device.name} are damaged: by its agent, or on the way", found,
    )  # fmt: skip


def _v3_entries(case: FindingIndex) -> frozenset[str | None]:
    """Entries that some device answered with an engine id: only v3 has one."""
    told = (u for u in case.by_device.values() if case.seen_of(u.name).all(ENGINE_ID))
    return frozenset(_entry_of(u) for u in told) - {None}


def _undiscovered(device: DeviceFindings, found: list[Finding]) -> Causes:
    """An SNMPv3 agent tells its engine id whatever the keys (RFC 3414 section 4)."""
    yield cause(
        "snmp-filtered", device.subject, "likely",
        f"SNMP to {device.name} is filtered: even the first message, which needs no key, "
        f"gets no reply",
        found,
    )  # fmt: skip
    yield cause(
        "snmp-off", device.subject, "possible",
        f"the SNMP agent of {device.name} hangs, or is off and the device does not say so", found,
    )  # fmt: skip


def _engine_ids(case: FindingIndex) -> Causes:
    """Two devices with one engine id were cloned, or are one device."""
    same: dict[str, list[DeviceFindings]] = defaultdict(list)
    for device in case.by_device.values():
        if (finding := device.get("snmp.engine-id", "warn", "fail")) is not None:
            same[str(finding.observed)].append(device)
    for devices in same.values():
        heads = [u.get("snmp.engine-id", "warn", "fail") for u in devices]
        names = [u.get("identity.name") for u in devices]
        said = [str(n.observed) for n in names if n is not None and n.observed]
        one = len(set(said)) < len(said)
        listed = ", ".join(u.name for u in devices[:3]) + (", ..." if len(devices) > 3 else "")  # noqa: PLR2004
        right = [n for n in names if n is not None and n.verdict == "pass"]
        apart = len(said) == len(devices) and not one
        yield cause(
            "engine-id-cloned", devices[0].subject, "likely" if apart else "possible",
            f"the settings of {listed} were cloned, engine id and all",
            [*heads, *(right if apart else ())],
        )  # fmt: skip
        if one:
            yield cause(
                "one-device-twice", devices[0].subject, "possible",
                f"one device answers at the addresses of {listed}",
                [*heads, *(n for n in names if n is not None and n.verdict == "fail")],
            )  # fmt: skip
