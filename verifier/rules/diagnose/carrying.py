"""Advice that would silence a link which carries management: it says so, and who is done first."""

from __future__ import annotations

import dataclasses

from verifier.model.result import Cause
from verifier.rules.diagnose.case import CarrierFindings, FindingIndex
from verifier.rules.diagnose.kinds import SILENCING
from verifier.rules.outage import caution


def warned(case: FindingIndex, cause: Cause) -> Cause:
    """The cause; what to try first with a warning where that would cut somebody off."""
    if cause.kind not in SILENCING:
        return cause
    words = " ".join(dict.fromkeys(w for hop in _hops(case, cause) if (w := _words(case, hop))))
    return dataclasses.replace(cause, try_first=f"{cause.try_first}. {words}") if words else cause


def _hops(case: FindingIndex, cause: Cause) -> list[CarrierFindings]:
    if cause.subject.kind == "link":
        return case.hops_of(cause.subject)
    return [hop for hop, _ in case.hops_at.get(cause.subject.name, ())]


def _words(case: FindingIndex, hop: CarrierFindings) -> str:
    """What is cut off while the carrier is down, in words; empty where nothing is."""
    for near, far in ((hop.device("a"), hop.device("b")), (hop.device("b"), hop.device("a"))):
        device = case.devices.get(far)
        if device is not None and near in device.uplink:
            return caution(hop.link.name, [far, *sorted(case.behind(far) - {near})])
    return ""
