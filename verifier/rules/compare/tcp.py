"""`tcp.*`: is each service of plan and profile open, or closed, as planned."""

from __future__ import annotations

from verifier.model.observations import tcp
from verifier.model.plan import Device, Service
from verifier.model.profile import Profile
from verifier.rules.compare.context import Context, Findings

_SERVICE_ADVICE = {
    "open": "switch the service on in the device, or look for a filter on the way",
    "closed": "switch the service off in the device",
}


def services(context: Context) -> Findings:
    """`tcp.open` and `tcp.closed` for each service of the plan, and of the profile besides."""
    for service, wanted in planned_services(context.device, context.profile).items():
        name = str(service)
        seen = context.seen.first(tcp(service.port))
        check = f"tcp.{wanted}"
        path = ("services", wanted)
        if seen is None or seen.value in {None, "unreachable", "not-sent"}:
            reason = f"{name}: {seen.raw if seen and seen.raw else 'not asked'}"
            yield context.finding(
                check, "not-tested", reason, path=path, expected=f"{name} {wanted}"
            )
            continue
        right = (seen.value == "open") == (wanted == "open")
        yield context.finding(
            check,
            "pass" if right else "fail",
            f"{name}: {seen.raw}",
            path=path,
            expected=f"{name} {wanted}",
            observed=f"{name} {seen.value}",
            advice="" if right else _SERVICE_ADVICE[wanted],
            evidence=(seen,),
        )


def planned_services(device: Device, profile: Profile) -> dict[Service, str]:
    """`open` or `closed` by service; where plan and profile differ, the plan's word counts."""
    wanted: dict[Service, str] = {}
    for services_ in (profile.services, device.services):
        wanted.update(dict.fromkeys(services_.closed, "closed"))
        wanted.update(dict.fromkeys(services_.open, "open"))
    return wanted
