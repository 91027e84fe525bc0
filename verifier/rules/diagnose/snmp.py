"""Why a unit that answers gives no values by SNMP, and what two equal engine ids mean."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping

from verifier.model.result import Finding
from verifier.model.subject import Subject
from verifier.rules.diagnose.case import UNTESTED, Case, Causes, Certainty, Unit, cause

_BY_SNMP = frozenset(
    {"system", "address", "port", "neighbour", "snmp", "radio", "settings", "link"}
)
"""Layers of checks that only SNMP can tell."""
_SEVERAL = 3
"""Units with one entry of the credentials from which the entry is looked at: our own choice."""
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


def causes(case: Case) -> Causes:
    """Each unit without values, and each group of units with one engine id."""
    failed = [(u, f) for u in case.units.values() if (f := u.get("snmp.answer", "fail"))]
    shared, v3 = _shared_entries(case, failed), _v3_entries(case)
    for entry, same in shared.items():
        yield from _entry(case, entry, same)
    for unit, head in failed:
        if (told := _TOLD.get(str(head.observed))) is not None:
            kind, certainty, words = told
            yield cause(kind, unit.subject, certainty, f"{unit.name} {words}", _unread(unit, head))
        elif head.observed == "undecodable":
            yield from _undecodable(unit, head)
        elif head.observed == "silent" and (other := unit.get("snmp.responder", "warn")):
            yield cause(
                "snmp-other-address", unit.subject, "likely",
                f"the SNMP agent of {unit.name} answers from {other.observed}, not from the "
                "address that is asked",
                [*_unread(unit, head), other],
            )  # fmt: skip
        elif _entry_of(unit) not in shared or head.observed != "silent":
            yield from _silent(case, unit, head, v3)
    yield from _engine_ids(case)


def _unread(unit: Unit, head: Finding) -> list[Finding]:
    """What only SNMP can tell hangs on its answer."""
    every = (*unit.found, *unit.of_ends)
    return [head, *(f for f in every if f is not head and _by_snmp(f) and f.verdict in UNTESTED)]


def _by_snmp(finding: Finding) -> bool:
    return finding.check.partition(".")[0] in _BY_SNMP


def _entry_of(unit: Unit) -> str | None:
    return unit.device.snmp if unit.device is not None else None


def _shared_entries(
    case: Case, failed: Iterable[tuple[Unit, Finding]]
) -> dict[str, list[tuple[Unit, Finding]]]:
    """Entries of the credentials that no unit answers and several are silent to."""
    silent: dict[str, list[tuple[Unit, Finding]]] = defaultdict(list)
    for unit, head in failed:
        if (entry := _entry_of(unit)) is not None and head.observed == "silent":
            silent[entry].append((unit, head))
    known = {_entry_of(u) for u in case.units.values() if u.get("snmp.answer", "pass")}
    return {e: same for e, same in silent.items() if len(same) >= _SEVERAL and e not in known}


def _entry(case: Case, entry: str, same: list[tuple[Unit, Finding]]) -> Causes:
    """All units of one entry are silent: the entry, or a filter before them all; both fit."""
    heads = [head for _, head in same]
    rest = [f for unit, head in same for f in _unread(unit, head)[1:]]
    network = Subject("network", case.plan.network.name)
    yield cause(
        "credentials-wrong", network, "possible",
        f"the credentials {entry!r} are wrong: none of {len(same)} units answers them",
        [*heads, *rest],
    )  # fmt: skip
    yield cause(
        "snmp-filtered", network, "possible",
        f"SNMP is filtered on the way to all {len(same)} units of credentials {entry!r}",
        [*heads, *rest],
    )  # fmt: skip


def _silent(case: Case, unit: Unit, head: Finding, v3: frozenset[str | None]) -> Causes:
    """By standard a wrong community is answered with silence, as by a filter (RFC 1157 4.1)."""
    found = _unread(unit, head)
    if case.values(unit.name, "engine-id"):
        yield cause(
            "snmp-wrong-key", unit.subject, "likely",
            f"{unit.name} told its engine id and then gave no answer: so it is with another "
            "privacy key",
            found,
        )  # fmt: skip
        return
    if _entry_of(unit) in v3:
        yield from _undiscovered(unit, found)
        return
    shut = [f for f in unit.all(["tcp.open"], "fail") if "filtered" in str(f.observed)]
    yield cause(
        "snmp-wrong-key", unit.subject, "possible",
        f"{unit.name} has another community or key than credentials {_entry_of(unit)!r}",
        found,
    )  # fmt: skip
    yield cause(
        "snmp-filtered", unit.subject, "likely" if shut else "possible",
        f"SNMP to {unit.name} is filtered: by its own list of allowed addresses, or on the way",
        [*found, *shut],
    )  # fmt: skip


def _undecodable(unit: Unit, head: Finding) -> Causes:
    """Something came, and it was no SNMP answer."""
    found = _unread(unit, head)
    yield cause(
        "snmp-other-program", unit.subject, "possible",
        f"another program than an SNMP agent listens at the SNMP port of {unit.name}", found,
    )  # fmt: skip
    yield cause(
        "snmp-damaged", unit.subject, "possible",
        f"the SNMP answers of {unit.name} are damaged: by its agent, or on the way", found,
    )  # fmt: skip


def _v3_entries(case: Case) -> frozenset[str | None]:
    """Entries that some unit answered with an engine id: only v3 has one."""
    told = {name for name, what in case.seen if what == "engine-id"}
    return frozenset(_entry_of(u) for u in case.units.values() if u.name in told) - {None}


def _undiscovered(unit: Unit, found: list[Finding]) -> Causes:
    """An SNMPv3 agent tells its engine id whatever the keys (RFC 3414 section 4)."""
    yield cause(
        "snmp-filtered", unit.subject, "likely",
        f"SNMP to {unit.name} is filtered: it does not even tell its engine id, whatever the keys",
        found,
    )  # fmt: skip
    yield cause(
        "snmp-off", unit.subject, "possible",
        f"the SNMP agent of {unit.name} hangs, or is off and the unit does not say so", found,
    )  # fmt: skip


def _engine_ids(case: Case) -> Causes:
    """Two units with one engine id were cloned, or are one unit."""
    same: dict[str, list[Unit]] = defaultdict(list)
    for unit in case.units.values():
        if (finding := unit.get("snmp.engine-id", "warn", "fail")) is not None:
            same[str(finding.observed)].append(unit)
    for units in same.values():
        heads = [u.get("snmp.engine-id", "warn", "fail") for u in units]
        names = [u.get("system.name") for u in units]
        said = [str(n.observed) for n in names if n is not None and n.observed]
        one = len(set(said)) < len(said)
        listed = ", ".join(u.name for u in units[:3]) + (", ..." if len(units) > 3 else "")  # noqa: PLR2004
        right = [n for n in names if n is not None and n.verdict == "pass"]
        apart = len(said) == len(units) and not one
        yield cause(
            "engine-id-cloned", units[0].subject, "likely" if apart else "possible",
            f"the settings of {listed} were cloned, engine id and all",
            [*heads, *(right if apart else ())],
        )  # fmt: skip
        if one:
            yield cause(
                "one-unit-twice", units[0].subject, "possible",
                f"one unit answers at the addresses of {listed}",
                [*heads, *(n for n in names if n is not None and n.verdict == "fail")],
            )  # fmt: skip
