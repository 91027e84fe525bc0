"""`snmp.*`: what became of asking, who answered instead, and whether `public` is refused."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from verifier.model.address import Address
from verifier.model.observations import (
    ANSWER,
    ANSWER_AFTER,
    DEFAULT_COMMUNITY,
    ENGINE_ID,
    RESPONDER,
    Observation,
    Outcome,
)
from verifier.model.plan import Device
from verifier.model.result import Verdict
from verifier.rules.compare.context import Context, Findings

ADVICE: Mapping[str, str] = {
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


def said(answer: Observation[Outcome]) -> str:
    """What became of asking, with the agent's or the network's own words where there are some."""
    return f"{answer.value}: {answer.raw}" if answer.raw else f"{answer.value}: no answer came"


def answer(context: Context) -> Findings:
    """`snmp.answer`, and `snmp.responder` where it was silent and another address answered."""
    if context.device.snmp is None:
        return
    got = context.seen.first(ANSWER)
    expected = f"an answer to credentials {context.device.snmp!r}"
    if got is None or got.value is None:
        reason = (got.raw if got else None) or context.snmp_gap or "SNMP was not asked"
        yield context.finding(
            "snmp.answer", "not-tested", reason, path=("snmp",), expected=expected
        )
        return
    right = got.value == "answered"
    ours = got.value in {"no-route", "local-error"}
    yield context.finding(
        "snmp.answer",
        "pass" if right else "not-tested" if ours else "fail",
        "the agent answered" if right else said(got),
        path=("snmp",),
        expected=expected,
        observed=got.value,
        advice="" if right else ADVICE.get(got.value, ""),
        evidence=(got,),
    )
    if got.value == "silent":
        yield from _responder(context)


def answered_elsewhere(context: Context) -> bool:
    """Whether an SNMP answer came from an address that no other device of the plan has.

    It proves nothing of the device, and is not silence either.
    """
    return not context.itself and any(_responder(context))


def _responder(context: Context) -> Findings:
    """Who answered in the device's place, unless it is another device of the plan.

    What came from there is not taken: an answer counts only from the address that was asked.
    """
    others = {a.value for d in context.plan.devices if d.name != context.device.name
              for a in _addresses(d)}  # fmt: skip
    asked = context.device.address.address
    for seen in context.seen.all(RESPONDER):
        responder = seen.value
        if responder is None or responder.value in others:
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
    tried, after = context.seen.first(DEFAULT_COMMUNITY), context.seen.first(ANSWER_AFTER)
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


def shared_engine_ids(contexts: Iterable[Context], _: Iterable[Observation[object]]) -> Findings:
    """`snmp.engine-id`: two devices with one engine id were cloned (RFC 3411 section 5)."""
    owners: dict[str, list[tuple[Context, Observation[str]]]] = {}
    for context in contexts:
        if (told := context.seen.first(ENGINE_ID)) is not None and told.value:
            owners.setdefault(told.value, []).append((context, told))
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
