"""Evidence at the command line: sealed after a run, and what documents show of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from verifier.cli import options, output
from verifier.errors import UsageError
from verifier.model.plan import Plan
from verifier.model.profile import Profile
from verifier.model.result import Result
from verifier.model.samples import Block
from verifier.report.style import Annex, ReportSheet

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from verifier.files.evidence.document import Evidence

evidence_options = options.together(
    click.option(
        "--evidence", "evidence_file", type=click.Path(path_type=Path), metavar="FILE",
        help="Write everything the verdict rests on here: it can be judged again later.",
    ),
    click.option(
        "--sign", "key_file", type=click.Path(path_type=Path), metavar="KEY",
        help="Sign the evidence with this Ed25519 key (PEM or OpenSSH).",
    ),
    click.option(
        "--replace", "replace_kept", is_flag=True,
        help="The evidence may take the place of evidence that is not signed.",
    ),
    click.option("--by", metavar="NAME", help="Who tests; stands in the documents."),
    click.option("--place", metavar="TEXT", help="Where; stands in the documents."),
)  # fmt: skip


@contextmanager
def places(
    given: Mapping[str, Any], inputs: Iterable[Path | None]
) -> Iterator[tuple[output.Output, output.Output]]:
    """Where report and evidence go. Raises UsageError for options that do not go together.

    Evidence takes nobody's place: that it need not is known before anything is sent.
    """
    path: Path | None = given["out"]
    kept: Path | None = given["evidence_file"]
    if kept is None:
        if given["key_file"] is not None:
            raise UsageError("--sign needs --evidence: the signature stands in that file")
        if given["replace_kept"]:
            raise UsageError("--replace needs --evidence: it is about that file")
    elif path is not None and kept.resolve() == path.resolve():
        raise UsageError("--out and --evidence name the same file")
    with (
        output.opened(path, inputs=inputs) as out,
        output.opened_once(kept, inputs=inputs, may_go=given["replace_kept"]) as store,
    ):
        yield out, store


def signing_key(path: Path | None) -> Ed25519PrivateKey | None:
    """The key to sign with, or None where none is named. Asks for its passphrase if need be."""
    if path is None:
        return None
    from verifier.files.evidence.keys import read_private_key  # noqa: PLC0415

    ask = options.asker()
    passphrase = None if ask is None else lambda: ask(f"Passphrase of {path}", True)  # noqa: FBT003
    return read_private_key(path, passphrase)


def sealed(
    result: Result,
    plan: Plan,
    profiles: Mapping[str, Profile],
    key: Ed25519PrivateKey | None,
    samples: Iterable[bytes] = (),
) -> Evidence:
    """The evidence of a run, signed where there is a key; `samples` in canonical form."""
    from verifier.files.evidence.document import seal, sign  # noqa: PLC0415
    from verifier.report.result.json import document  # noqa: PLC0415

    evidence = seal(document(result), plan, profiles, samples)
    return evidence if key is None else sign(evidence, key)


def to_bytes(evidence: Evidence) -> bytes:
    """The evidence as a file's content."""
    from verifier.files.evidence.document import to_bytes as written  # noqa: PLC0415

    return written(evidence)


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
    from verifier.files.plan.columns import sheets  # noqa: PLC0415
    from verifier.files.sheets.write import NETWORK_HEADINGS, rows  # noqa: PLC0415

    try:
        made = rows(plan)
    except UsageError:
        return ()
    columns = {
        name: tuple((".".join(c.path), c.heading) for c in sheet.columns)
        for name, sheet in sheets().items()
    }
    columns["Network"] = tuple((h.lower(), h) for h in NETWORK_HEADINGS)
    return tuple(
        ReportSheet(name=name, columns=columns[name], rows=tuple(map(tuple, lines)))
        for name, lines in made.items()
        if lines
    )
