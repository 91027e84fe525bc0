"""What is kept of a run: its evidence, sealed, and what a report shows beside the result."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from verifier.errors import UsageError
from verifier.files.evidence.document import Evidence, seal, sign
from verifier.files.plan.columns import sheets as planned_sheets
from verifier.files.sheets.write import NETWORK_HEADINGS, rows
from verifier.model.plan import Plan
from verifier.model.profile import Profile
from verifier.model.result import Result
from verifier.model.samples import Block
from verifier.report.result.json import document
from verifier.report.style import Annex, ReportSheet

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey


def sealed(
    result: Result,
    plan: Plan,
    profiles: Mapping[str, Profile],
    key: Ed25519PrivateKey | None,
    samples: Iterable[bytes] = (),
) -> Evidence:
    """The evidence of a run, signed where there is a key; `samples` in canonical form."""
    evidence = seal(document(result), plan, profiles, samples)
    return evidence if key is None else sign(evidence, key)


def annex(
    plan: Plan | None,
    evidence: Evidence | None,
    *,
    sheets: bool,
    samples: Iterable[Block] = (),
) -> Annex:
    """What a document may show beside the result; the plan's sheets where they are wanted."""
    signature = evidence.signature if evidence is not None else None
    return Annex(
        plan=plan,
        samples=samples,
        sheets=_sheets(plan) if sheets and plan is not None else (),
        sha256=evidence.sha256 if evidence is not None else {},
        signature=f"Signed by the {signature.algorithm} key {signature.public_key}."
        if signature
        else "",
    )


def _sheets(plan: Plan) -> tuple[ReportSheet, ...]:
    """The plan's sheets that hold anything; none where rows cannot hold it, as YAML can."""
    try:
        made = rows(plan)
    except UsageError:
        return ()
    columns = {
        name: tuple((".".join(c.path), c.heading) for c in sheet.columns)
        for name, sheet in planned_sheets().items()
    }
    columns["Network"] = tuple((h.lower(), h) for h in NETWORK_HEADINGS)
    return tuple(
        ReportSheet(name=name, columns=columns[name], rows=tuple(map(tuple, lines)))
        for name, lines in made.items()
        if lines
    )
