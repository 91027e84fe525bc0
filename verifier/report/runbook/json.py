"""The runbook as JSON, under the schema that `plan-verifier schema runbook` prints."""

from __future__ import annotations

from typing import Any

from verifier.model.runbook import Connect, Runbook, RunbookCost, SetDevice, SetLaptop, Step
from verifier.report.result.json import laid_out


def render(runbook: Runbook) -> str:
    """The document `plan-verifier/runbook/1`."""
    return laid_out(document(runbook))


def document(runbook: Runbook) -> dict[str, Any]:
    """The document `plan-verifier/runbook/1` as plain values."""
    return {
        "format": "plan-verifier/runbook/1",
        "setting": runbook.setting,
        "laptop_addresses": runbook.laptop_addresses,
        "laptop_start": [str(a) for a in runbook.laptop_start],
        "proved_best": runbook.proved_best,
        "lower_bound": _figures(runbook.lower_bound),
        "device_changes": runbook.device_changes,
        "connects": runbook.connects,
        "laptop_changes": runbook.laptop_changes,
        "steps": [_step(s) for s in runbook.steps],
        "follow_ups": [
            {
                "kind": f.kind,
                "subject": {"kind": f.subject.kind, "name": f.subject.name},
                "message": f.message,
            }
            for f in runbook.follow_ups
        ],
        "blocked": [{"device": b.device, "reason": b.reason} for b in runbook.blocked],
    }


def _figures(figures: RunbookCost | None) -> dict[str, int] | None:
    if figures is None:
        return None
    return {
        "device_changes": figures.device_changes,
        "connects": figures.connects,
        "laptop_changes": figures.laptop_changes,
        "steps": figures.steps,
    }


def _step(step: Step) -> dict[str, Any]:
    made: dict[str, Any] = {"n": step.n, "action": step.action}
    if isinstance(step, SetLaptop):
        return made | {"addresses": [str(a) for a in step.addresses]}
    made["device"] = step.device
    if isinstance(step, Connect):
        return made
    if isinstance(step, SetDevice):
        gateway = None if step.gateway is None else str(step.gateway)
        made |= {"from": str(step.from_), "to": str(step.to), "gateway": gateway}
        return made | {"temporary": step.temporary}
    silent = None if step.silent is None else str(step.silent)
    return made | {"address": str(step.address), "silent": silent}
