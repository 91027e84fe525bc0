"""Ports that came up slower than planned, or with another duplex at each side."""

from __future__ import annotations

from collections import defaultdict

from verifier.model.plan import Port
from verifier.model.result import Cause, Finding
from verifier.rules.diagnose.case import (
    Causes,
    Certainty,
    DeviceFindings,
    FindingIndex,
    cause,
    number,
)

_FOUR_PAIRS_MBPS = 1000
"""1000BASE-T needs all four pairs (IEEE 802.3 clause 40)."""
_TWO_PAIRS_MBPS = (10, 100)
"""10BASE-T and 100BASE-TX use two of them (IEEE 802.3 clauses 14 and 25)."""
_FIBRE = ("fib", "sfp", "optic", "lwl")
"""How plans write a medium that has no pairs: common practice, no source."""


def causes(case: FindingIndex) -> Causes:
    """Each port with a wrong speed or duplex."""
    for device in case.by_device.values():
        if not device.all(("port.speed", "port.duplex"), "fail"):
            continue
        ports: dict[str, dict[str, Finding]] = defaultdict(dict)
        for finding in device.found:
            if finding.subject.port is not None:
                ports[finding.subject.port][finding.check] = finding
        for name, found in ports.items():
            duplex, speed = found.get("port.duplex"), found.get("port.speed")
            if duplex is not None and duplex.verdict == "fail":
                yield _duplex(case, device, name, found)
            if speed is not None and speed.verdict == "fail":
                yield from _slow(case, device, name, found)


def _planned(device: DeviceFindings, name: str) -> Port | None:
    ports = device.device.ports if device.device is not None else ()
    return next((p for p in ports if p.name == name), None)


def _slow(
    case: FindingIndex, device: DeviceFindings, name: str, found: dict[str, Finding]
) -> Causes:
    """The cable or a fixed speed: both fit; counted errors and the medium tell."""
    head = found["port.speed"]
    port = _planned(device, name)
    seen, planned = number(head.observed), number(head.expected)
    if seen is None or planned is None or seen >= planned:
        return
    errors = found.get("port.errors")
    bad = errors if errors is not None and errors.verdict in {"fail", "warn"} else None
    clean = errors if errors is not None and errors.verdict == "pass" else None
    far = [f for f in case.other_side(head) if f.check == "port.speed"]
    fibre = port is not None and any(w in (port.media or "").lower() for w in _FIBRE)
    pairs = planned == _FOUR_PAIRS_MBPS and seen in _TWO_PAIRS_MBPS and not fibre
    if pairs:
        certainty: Certainty = "likely" if bad is not None else "possible"
        yield cause(
            "negotiated-down", head.subject, certainty,
            f"{device.name} {name} runs at {seen:g} Mbit/s: two of the cable's four pairs "
            f"carry it, "
            "so a pair, a plug or a surge arrester is bad",
            [head, bad, *far], [clean],
        )  # fmt: skip
    yield cause(
        "speed-set", head.subject, "possible",
        f"{device.name} {name}, or the port at the other side, is set to {seen:g} Mbit/s or can do "
        "no more",
        [head, *far], [bad] if pairs else [],
    )  # fmt: skip


def _duplex(
    case: FindingIndex, device: DeviceFindings, name: str, found: dict[str, Finding]
) -> Cause:
    """One side fixed, the other negotiating: it falls back to half (IEEE 802.3 28.2.3.1)."""
    head = found["port.duplex"]
    far = [f for f in case.other_side(head) if f.check == "port.duplex"]
    unlike = [f for f in far if f.verdict == "pass" or f.observed not in (None, head.observed)]
    alike = [f for f in far if f.observed is not None and f.observed == head.observed]
    errors = [f for c in ("port.errors", "port.speed") if (f := found.get(c)) is not None]
    bad = [f for f in errors if f.verdict in {"fail", "warn"}]
    lost = device.get("echo.loss", "fail", "warn")
    certainty: Certainty = "possible" if alike else "likely"
    text = f"{device.name} {name} runs {head.observed} duplex"
    text += ", and so does the other side" if alike else ": the other side is set, and not alike"
    return cause(
        "duplex-mismatch", head.subject, certainty, text, [head, *unlike, *bad, lost], alike
    )
