"""Asks the tool how the laptop fits, again and again, inside the namespace it is started in.

A line of JSON in (the case), a line of JSON out: what `fit` says of this machine, and what it says
of the same settings given by `--laptop`.
"""

from __future__ import annotations

import json
import sys
from typing import Any

from verifier.model.address import Address, Interface
from verifier.model.laptop import Fit, Laptop, LaptopInterface
from verifier.model.plan import Device, Plan
from verifier.probes.world import ThisMachine
from verifier.session.laptop import FitQuestion, answer


def said(asked: dict[str, Any], laptop: Laptop | None) -> dict[str, Any]:
    device = Device(
        name="device",
        address=Interface.parse(asked["device"]),
        gateway=Address.parse(asked["gateway"]) if asked["gateway"] else None,
    )
    question = FitQuestion(
        plan=Plan(devices=(device,)), profiles={}, devices=(device,), laptop=laptop
    )
    (fit,) = answer(question, ThisMachine().laptop).devices
    return plainly(fit)


def plainly(fit: Fit) -> dict[str, Any]:
    return {
        "relation": fit.relation,
        "verdict": fit.verdict,
        "interface": fit.interface,
        "laptop_address": fit.laptop_address,
        "suggested": str(fit.suggested) if fit.suggested else None,
        "commands": list(fit.commands),
        "notes": list(fit.notes),
        "explanation": fit.explanation,
    }


def given(asked: dict[str, Any]) -> Laptop:
    return Laptop(
        interfaces=tuple(
            LaptopInterface(name=f"given-{name}", addresses=(Interface.parse(address),))
            for name, address in asked["laptop"]
        ),
        gateways=(Address.parse(asked["via"]),) if asked["via"] else (),
        assumed=True,
    )


if __name__ == "__main__":
    for line in sys.stdin:
        case = json.loads(line)
        print(json.dumps([said(case, None), said(case, given(case))]), flush=True)
