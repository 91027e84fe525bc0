"""Is it the right device: SNMP's answer, and what the device says of itself.

A device without `snmp` in the plan has its name *not tested*: alive is not right.
"""

from __future__ import annotations

from collections.abc import Iterator

from verifier.model.address import Address
from verifier.model.observation import Observation
from verifier.model.plan import Device
from verifier.model.result import Finding, Verdict
from verifier.rules.compare.context import Context, Findings

ADVICE = {
    "silent": (
        "by standard a wrong community is answered with silence, and so is a wrong privacy key by "
        "many agents: check these, the device's list of allowed addresses, and filters on the way"
    ),
    "port-unreachable": "the device's SNMP agent is off, or listens on another port: switch it on",
    "host-unreachable": "a router on the way reports that it cannot reach the device",
    "no-route": "this laptop has no way to the device",
    "local-error": "the request could not be sent from this laptop",
    "unknown-user": "the device has no such SNMPv3 user: create it, or correct `user`",
    "wrong-digest": "the authentication key or algorithm differs from the device's",
    "decryption-error": "the privacy key or algorithm differs from the device's",
    "unsupported-level": "the device does not allow this security level for the user",
    "not-in-time-window": (
        "the device's SNMPv3 clock or boot counter is off (150 s are allowed): this is no "
        "wrong key; "
        "restart its agent, and see that it keeps snmpEngineBoots over a restart"
    ),
    "unknown-engine-id": "the device's engine id changes or is refused: restart its agent",
    "undecodable": "what came back is not SNMP: is something else listening on this port?",
    "error-status": "the agent answered with an error: look into the device's agent",
}
"""What to do, by SNMP outcome (RFC 3414 section 3.2, RFC 1157 section 4.1)."""


def said(answer: Observation) -> str:
    """What became of asking, with the agent's or the network's own words where there are some."""
    return f"{answer.value}: {answer.raw}" if answer.raw else f"{answer.value}: no answer came"


def snmp(context: Context) -> Findings:
    """`snmp.answer`, and `snmp.responder` where it was silent and another address answered."""
    if context.device.snmp is None:
        return
    answer = context.seen.first("answer")
    expected = f"an answer to credentials {context.device.snmp!r}"
    if answer is None or answer.value is None:
        reason = (answer.raw if answer else None) or context.snmp_gap or "SNMP was not asked"
        yield context.finding(
            "snmp.answer", "not-tested", reason, path=("snmp",), expected=expected
        )
        return
    right = answer.value == "answered"
    ours = answer.value in {"no-route", "local-error"}
    yield context.finding(
        "snmp.answer",
        "pass" if right else "not-tested" if ours else "fail",
        "the agent answered" if right else said(answer),
        path=("snmp",),
        expected=expected,
        observed=answer.value,
        advice="" if right else ADVICE.get(answer.value, ""),
        evidence=(answer,),
    )
    if answer.value == "silent":
        yield from _responder(context)


def _responder(context: Context) -> Findings:
    """Who answered in the device's place, unless it is another device of the plan.

    What came from there is not taken: an answer counts only from the address that was asked.
    """
    others = {a.value for d in context.plan.devices if d.name != context.device.name
              for a in _addresses(d)}  # fmt: skip
    asked = context.device.address.address
    for seen in context.seen.all("responder"):
        responder = Address.parse(str(seen.value))
        if responder.value in others:
            continue
        same = responder.value == asked.value
        where = f"{responder} {seen.raw}" if same and seen.raw else str(responder)
        yield context.finding(
            "snmp.responder",
            "warn",
            f"asked {asked}, answered from {where} instead: nothing that came from there was taken",
            path=("address",),
            expected=str(asked),
            observed=where,
            advice="set the source address of the device's SNMP agent to the planned address: "
            "filters and managers drop such answers too",
            evidence=(seen,),
        )
        return


def _addresses(device: Device) -> Iterator[Address]:
    """Every address that the plan gives to a device."""
    yield device.address.address
    if device.present_address is not None:
        yield device.present_address.address
    yield from (other.address.address for other in device.other_addresses)


def default_refused(context: Context) -> Findings:
    """`snmp.default-refused`: silence counts only between two answers to the planned ones."""
    tried, after = context.seen.first("default-community"), context.seen.first("answer-after")
    if tried is None or after is None:
        asked_for = context.plan.acceptance.default_community or tried is not None
        if asked_for and context.device.snmp is not None:
            reason = context.snmp_gap or "the community was not tried"
            yield context.finding("snmp.default-refused", "not-tested", reason)
        return
    verdict: Verdict = "not-tested"
    reason = "the planned credentials were not answered afterwards: silence proves nothing"
    if tried.value in {"answered", "error-status"}:
        verdict, reason = "fail", "the device answers the community 'public'"
    elif after.value == "answered":
        verdict, reason = "pass", "the device answers the planned credentials and not 'public'"
    yield context.finding(
        "snmp.default-refused",
        verdict,
        reason,
        expected="no answer",
        observed=tried.value,
        advice="remove the default community from the device" if verdict == "fail" else "",
        evidence=(tried, after),
    )


def name(context: Context) -> Findings:
    """`identity.name`: exact; equal but for case or a domain suffix is a warning."""
    seen = context.seen.first("sysName")
    planned = context.device.name
    if (gap := context.unread(seen, "sysName")) is not None or seen is None:
        yield _untested(context, "identity.name", gap, planned, ("name",))
        return
    found = str(seen.value)
    again = [o for o in context.seen.all("sysName") if o.value is not None]
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


def beside(found: str, planned: str) -> str | None:
    """What stands before and behind the planned name and cannot be seen, in words; else None."""
    name = bare(found)
    if name == found or not same_device(name, planned):
        return None
    start = found.index(name)
    parts = (found[:start], "beginning"), (found[start + len(name) :], "end")
    told = [f"{_unseen(text)} at its {where}" for text, where in parts if text]
    words = " and ".join(told)
    return words if name == planned else f"{words}, and capital letters or a domain suffix differ"


def bare(name: str) -> str:
    """A name without what stands around it and cannot be seen: spaces, line ends, NULs."""
    return name.strip("".join(c for c in set(name) if c.isspace() or not c.isprintable()))


def _unseen(text: str) -> str:
    if set(text) == {" "}:
        return "a space" if len(text) == 1 else f"{len(text)} spaces"
    return " and ".join(f"U+{ord(c):04X}" for c in dict.fromkeys(text))


def _names_in_turn(context: Context, names: list[str], seen: list[Observation]) -> Finding:
    return context.finding(
        "identity.name",
        "fail",
        f"asked {len(seen)} times, the address answers under {len(names)} names",
        path=("name",),
        expected=context.device.name,
        observed=names,
        advice="several devices hold this address: take the planned one off the cable and "
        "ask again",
        evidence=tuple(seen),
    )


def _other_name(context: Context, found: str) -> str:
    other = next((d for d in context.plan.devices if same_device(d.name, found)), None)
    if other is None:
        return "is this the right device? If so, set its name, save, and read it again"
    return f"{found!r} is planned at {other.address}: the wrong device, or settings of two swapped"


def same_device(one: str, other: str) -> bool:
    """Whether two names are equal but for capital letters, or one has a domain suffix besides."""
    short, long = sorted((one.casefold(), other.casefold()), key=len)
    return short == long or (bool(short) and long.startswith(f"{short}."))


def location(context: Context) -> Findings:
    """`identity.location`: contains the planned text, capital letters ignored; else a warning."""
    planned = context.device.location or context.device.site
    if planned is None:
        return
    path = ("location",) if context.device.location else ("site",)
    seen = context.seen.first("sysLocation")
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
    seen = context.seen.first("sysObjectID")
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
        seen = context.seen.first(reading)
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
    context: Context, check: str, gap: str | None, expected: object, path: tuple[str, ...]
) -> Finding:
    return context.finding(check, "not-tested", gap or "not read", expected=expected, path=path)


def shared_engine_ids(contexts: list[Context]) -> Findings:
    """`snmp.engine-id`: two devices with one engine id were cloned (RFC 3411 section 5)."""
    owners: dict[str, list[tuple[Context, Observation]]] = {}
    for context in contexts:
        if (seen := context.seen.first("engine-id")) is not None and seen.value:
            owners.setdefault(str(seen.value), []).append((context, seen))
    for engine_id, same in owners.items():
        if len(same) < 2:  # noqa: PLR2004
            continue
        names = [c.device.name for c, _ in same]
        for context, seen in same:
            others = ", ".join(n for n in names if n != context.device.name)
            yield context.finding(
                "snmp.engine-id",
                "warn",
                f"engine id {engine_id} is also that of {others}: settings were cloned",
                path=("name",),
                expected="an engine id of its own",
                observed=engine_id,
                advice="give each device its own engine id, then set its SNMPv3 keys again",
                evidence=(seen,),
            )
