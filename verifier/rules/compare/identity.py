"""`identity.*`: is it the right device, by what it says of itself.

A device without `snmp` in the plan has its name *not tested*: alive is not right.
"""

from __future__ import annotations

from verifier.model import mib
from verifier.model.observations import Observation
from verifier.model.observations import reading as reading_kind
from verifier.model.result import Figure, Finding, Verdict
from verifier.rules.compare.context import Context, Findings
from verifier.rules.selection import beside, same_device


def name(context: Context) -> Findings:
    """`identity.name`: exact; equal but for case or a domain suffix is a warning."""
    seen = context.seen.first(mib.SYS_NAME)
    planned = context.device.name
    if (gap := context.unread(seen, "sysName")) is not None or seen is None:
        yield _untested(context, "identity.name", gap, planned, ("name",))
        return
    found = str(seen.value)
    again = [o for o in context.seen.all(mib.SYS_NAME) if o.value is not None]
    if len(names := list(dict.fromkeys(str(o.value) for o in again))) > 1:
        yield _names_in_turn(context, names, again)
        return
    verdict: Verdict = "pass"
    reason, advice = "the device reports the planned name", ""
    if found != planned:
        if same_device(found, planned):
            verdict, reason = "warn", "differs by capital letters or a domain suffix only"
            advice = "write the name the same way in plan and device"
        elif not found:
            verdict, reason = "fail", "the device has no name (sysName is empty)"
            advice = "set the name, save, and read it again"
        elif (around := beside(found, planned)) is not None:
            verdict, reason = "fail", f"the device reports the planned name with {around}"
            advice = "write the name anew in the device, nothing before or behind it, and save it"
        else:
            verdict, reason = "fail", "the device at this address reports another name"
            advice = _other_name(context, found)
    yield context.finding(
        "identity.name",
        verdict,
        reason,
        path=("name",),
        expected=planned,
        observed=found,
        advice=advice,
        evidence=(seen,),
    )


def _names_in_turn(context: Context, names: list[str], seen: list[Observation[str]]) -> Finding:
    return context.finding(
        "identity.name",
        "fail",
        f"asked {len(seen)} times, the address answers under {len(names)} names",
        path=("name",),
        expected=context.device.name,
        observed=tuple(names),
        advice="several devices hold this address: take the planned one off the cable and "
        "ask again",
        evidence=tuple(seen),
    )


def _other_name(context: Context, found: str) -> str:
    other = next((d for d in context.plan.devices if same_device(d.name, found)), None)
    if other is None:
        return "is this the right device? If so, set its name, save, and read it again"
    return f"{found!r} is planned at {other.address}: the wrong device, or settings of two swapped"


def location(context: Context) -> Findings:
    """`identity.location`: contains the planned text, capital letters ignored; else a warning."""
    planned = context.device.location or context.device.site
    if planned is None:
        return
    path = ("location",) if context.device.location else ("site",)
    seen = context.seen.first(mib.SYS_LOCATION)
    if (gap := context.unread(seen, "sysLocation")) is not None or seen is None:
        yield _untested(context, "identity.location", gap, planned, path)
        return
    right = planned.casefold() in str(seen.value).casefold()
    empty = "the device has no location (sysLocation is empty)"
    wrong = "the device's location does not contain the planned one" if seen.value else empty
    yield context.finding(
        "identity.location",
        "pass" if right else "warn",
        "the device's location contains the planned one" if right else wrong,
        path=path,
        expected=planned,
        observed=seen.value,
        advice="" if right else "set the location in the device, or correct the plan",
        evidence=(seen,),
    )


def object_id(context: Context) -> Findings:
    """`identity.object-id`: begins with the profile's, whole arcs."""
    planned = context.profile.object_id
    if planned is None:
        return
    seen = context.seen.first(mib.SYS_OBJECT_ID)
    if (gap := context.unread(seen, "sysObjectID")) is not None or seen is None:
        yield _untested(context, "identity.object-id", gap, planned, ("profile",))
        return
    right = f"{seen.value}.".startswith(f"{planned}.")
    yield context.finding(
        "identity.object-id",
        "pass" if right else "fail",
        f"the device {'is' if right else 'is not'} of the family of profile {context.profile.id!r}",
        path=("profile",),
        expected=planned,
        observed=seen.value,
        advice=""
        if right
        else "is it the right kind of device, and the right profile in the plan?",
        evidence=(seen,),
    )


_TEXTS = (
    ("identity.serial", "serial", "serial"),
    ("identity.part", "part_number", "part_number"),
    ("identity.software", "software", "software"),
)


def texts(context: Context) -> Findings:
    """`identity.serial`, `identity.part`, `identity.software`: exact, by the profile's readings."""
    readable = {r.field for r in context.profile.reading}
    for check, field, reading in _TEXTS:
        planned = getattr(context.device, field)
        if planned is None:
            continue
        seen = context.seen.first(reading_kind(reading))
        gap = context.unread(seen, field)
        if context.snmp_gap is None and reading not in readable:
            gap = f"profile {context.profile.id!r} has no reading for {reading}"
        if gap is not None or seen is None:
            yield _untested(context, check, gap, planned, (field,))
            continue
        right = str(seen.value).strip() == planned
        yield context.finding(
            check,
            "pass" if right else "fail",
            f"the device reports {'the planned' if right else 'another'} {field.replace('_', ' ')}",
            path=(field,),
            expected=planned,
            observed=seen.value,
            advice=""
            if right
            else "is this the right device? Correct the plan if it was exchanged",
            evidence=(seen,),
        )


def _untested(
    context: Context, check: str, gap: str | None, expected: Figure, path: tuple[str, ...]
) -> Finding:
    return context.finding(check, "not-tested", gap or "not read", expected=expected, path=path)
