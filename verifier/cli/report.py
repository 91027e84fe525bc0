"""`report`."""

from __future__ import annotations

import dataclasses
import datetime as dt
import shutil
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from verifier.cli import options, output
from verifier.cli.evidence import annex, signing_key
from verifier.cli.journal import evidence_beside, refuse_another
from verifier.cli.journal import stored as stored_soak
from verifier.errors import EXIT_FAILED, EXIT_PASSED, InputError, UsageError
from verifier.files.evidence import document as files
from verifier.files.evidence.observations import prove_blocks, prove_observations
from verifier.files.evidence.result import result_of
from verifier.files.journals.soak import Chain, is_journal
from verifier.model.observations import ACCEPTED, ROUTE
from verifier.model.plan import NotTestedOk, Plan
from verifier.model.problem import Problem
from verifier.model.profile import Profile
from verifier.model.result import Finding, Result
from verifier.report.plain import plain
from verifier.report.result import FORMATS, brief, format_of
from verifier.report.result.json import laid_out
from verifier.report.style import ReportStyle
from verifier.rules.observations import of_kind
from verifier.rules.plan import READING, RULES, check

_RESULT = "plan-verifier/result/1"


@dataclass(frozen=True, slots=True)
class _Stored:
    """What a file holds: a result, and the evidence of it where that is what was kept."""

    path: Path
    result: Result
    evidence: files.Evidence | None
    chain: Chain | None = None
    """Of a journal: what it is known by."""

    def whole(self, what: str) -> files.Evidence:
        """The evidence. Raises InputError where the file is a result alone."""
        if self.evidence is None:
            raise InputError(
                f"{self.path}: is a result without plan and profiles: {what} needs the file that "
                "verify --evidence wrote"
            )
        return self.evidence


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--format", "format_", type=click.Choice(list(FORMATS)), help="Of the report.")
@click.option(
    "--judge-again",
    is_flag=True,
    help="Make the findings anew from the observations; list what is judged otherwise today.",
)
@click.option(
    "--compare",
    type=click.Path(path_type=Path),
    metavar="OTHER",
    help="List what changed from FILE to OTHER, heaviest first.",
)
@click.option(
    "--sign",
    "key_file",
    type=click.Path(path_type=Path),
    metavar="KEY",
    help="Sign the evidence with this Ed25519 key; the signed evidence goes to --out.",
)
@click.option(
    "--check-signature",
    "public_file",
    type=click.Path(path_type=Path),
    metavar="PUB",
    help="Was the evidence signed with the key that belongs to this one, and not changed since?",
)
@options.output_options
def report(**given: Any) -> int:
    """Draws the result or evidence in FILE again, judges it again, compares it; no network.

    Ends with 0 where it only draws, whatever the verdict, and with 1 where --judge-again,
    --compare or --check-signature find a difference. With --judge-again, --out takes the document
    of today's judgement.
    """
    modes = [given["judge_again"], given["compare"], given["key_file"], given["public_file"]]
    if sum(map(bool, modes)) > 1:
        raise UsageError("one of --judge-again, --compare, --sign, --check-signature at a time")
    inputs = (given["file"], given["compare"], given["key_file"], given["public_file"])
    place = output.opened_once if given["key_file"] is not None else output.opened
    with place(given["out"], inputs=inputs) as out:
        if given["public_file"] is not None:
            stored = _read(given["file"])
            return _check_signature(stored, given["public_file"], quiet=given["quiet"])
        stored = _proved(given["file"])
        if given["key_file"] is not None:
            return _sign(stored, given["key_file"], out, given["out"])
        if given["judge_again"]:
            return _judge_again(stored, out, given)
        if given["compare"] is not None:
            return _compare(stored, _proved(given["compare"]), out, given)
        _draw(stored, stored.result, out, given)
    return EXIT_PASSED


def result_in(path: Path) -> Result:
    """The result in a file of either kind. Raises InputError; a forged signature is a reason."""
    return _proved(path).result


def _proved(path: Path) -> _Stored:
    """What a file holds. Raises InputError, also for a signature that does not fit."""
    found = _read(path)
    if found.evidence is not None and found.evidence.signature is not None:
        _refuse_forged(found)
    return found


def _read(path: Path) -> _Stored:
    if is_journal(path):
        return _journal(path)
    document = files.read_document(path)
    kind = document["format"]
    if kind == _RESULT:
        return _Stored(path, result_of(document, str(path)), None)
    if kind == files.FORMAT:
        evidence = files.parse(document, path)
        part = evidence.parts["result"]
        if part.get("format") != _RESULT:
            raise InputError(f"{path}: its part result is no {_RESULT}")
        prove_blocks(evidence.parts["samples"], f"{path}: part samples")
        return _Stored(path, result_of(part, f"{path}: part result"), evidence)
    family = kind.rpartition("/")[0]
    if family in (_RESULT.rpartition("/")[0], files.FORMAT.rpartition("/")[0]):
        raise InputError(
            f"{path}: is {plain(kind)}, of a newer plan-verifier than this one: use that one"
        )
    raise InputError(f"{path}: is {plain(kind)}; {_RESULT} or {files.FORMAT} can be drawn")


def _journal(path: Path) -> _Stored:
    """What a journal holds, judged. Raises InputError where the evidence beside it tells another.

    Evidence that cannot be read is said, and is no reason to withhold the journal.
    """
    result, evidence, chain = stored_soak(path)
    if (beside := evidence_beside(path)) is not None:
        try:
            told = _proved(beside).result
        except InputError as fault:
            click.echo(f"{plain(path)} was not compared with its evidence: {fault}", err=True)
        else:
            refuse_another(path, chain, told, beside)
    unjudged = _Stored(path, result, evidence, chain)
    return dataclasses.replace(unjudged, result=_judged(unjudged))


def _draw(stored: _Stored, result: Result, out: output.Output, given: dict[str, Any]) -> None:
    """Writes the document to --out, or else prints it."""
    path: Path | None = given["out"]
    chosen = format_of(given["format_"], path)
    plan = None
    if stored.evidence is not None and chosen in {"html", "xlsx"}:
        plan = _plan(stored.evidence, stored.path)
    look = ReportStyle(
        width=min(100, shutil.get_terminal_size((100, 24)).columns),
        colour=path is None and sys.stdout.isatty(),
        verbose=given["verbose"],
        annex=annex(
            plan,
            stored.evidence,
            sheets=chosen == "xlsx",
            samples=stored.evidence.parts["samples"] if stored.evidence is not None else (),
        ),
    )
    if path is not None:
        out.write(FORMATS[chosen](result, look))
    if given["quiet"]:
        output.show(brief(result, dataclasses.replace(look, colour=sys.stdout.isatty())))
    elif path is None:
        output.show(FORMATS[chosen](result, look))


def _plan(evidence: files.Evidence, path: Path) -> Plan:
    plan = files.plan_of(evidence, path)
    names = {d.name for d in plan.devices}
    ends = {n for link in plan.links for side in link.devices() for n in side}
    if missing := ends - names:
        raise InputError(f"{path}: part plan: a link names {min(missing)}, which is no device")
    return plan


def _judge_again(stored: _Stored, out: output.Output, given: dict[str, Any]) -> int:
    from verifier.rules.compare.differences import differences  # noqa: PLC0415

    today = _judged(stored)
    found = differences(stored.result.findings, today.findings, exact=True)
    if given["out"] is not None:
        _draw(stored, today, out, given)
    count = len(today.findings)
    same = f"judged again: the same {count} findings, verdict {today.verdict}"
    differs = f"judged again: {len(found)} of {count} findings differ"
    _list(found, same, differs, given)
    return EXIT_FAILED if found else EXIT_PASSED


def _judged(stored: _Stored) -> Result:
    """The result by today's rules; where the plan says so is kept from the old findings."""
    from verifier.rules.compare import REACH, VERIFY  # noqa: PLC0415
    from verifier.rules.compare.judge import compare  # noqa: PLC0415
    from verifier.rules.powercycle import judge  # noqa: PLC0415

    evidence, old = stored.whole("--judge-again"), stored.result
    prove_observations(old.observations, f"{stored.path}: part result")
    plan = _plan(evidence, stored.path)
    profiles = files.profiles_of(evidence, stored.path)
    asked = {o.subject.name for o in of_kind(old.observations, ROUTE)}
    devices = [d for d in plan.devices if d.name in asked]
    if missing := {d.profile for d in devices} - profiles.keys():
        raise InputError(f"{stored.path}: part profiles: {min(missing)} is missing")
    how: dict[str, Any] = {
        "stage": old.stage,
        "devices": devices,
        "names": old.scope.names,
        "accept_untested": [*_allowed(stored)],
        "problems": list(_problems(plan, profiles, old)),
    }
    if old.command != "powercycle":
        how |= {"checks": REACH if old.command == "reach" else VERIFY}
        how |= {"samples": evidence.parts["samples"]}
    judged = (judge if old.command == "powercycle" else compare)(
        plan, profiles, old.observations, **how
    )
    origins = {(f.check, f.subject): f.origin for f in old.findings}
    located = tuple(
        dataclasses.replace(f, origin=f.origin or origins.get((f.check, f.subject), ""))
        for f in judged.findings
    )
    return dataclasses.replace(
        old,
        scope=judged.scope,
        findings=located,
        causes=judged.causes,
        not_in_stage=judged.not_in_stage,
        not_asked=judged.not_asked,
        accepted=judged.accepted,
    )


def _allowed(stored: _Stored) -> Iterator[NotTestedOk]:
    """What the command line let stay untested."""
    for seen in of_kind(stored.result.observations, ACCEPTED):
        yield from seen.value or ()


def _problems(plan: Plan, profiles: Mapping[str, Profile], old: Result) -> Iterator[Problem]:
    """The plan's problems by today's rules, as of the day of the run.

    What only the plan's file could show, and rules that need a profile the evidence does not hold
    (of devices that were not asked), are kept from the old findings.
    """
    whole = {d.profile for d in plan.devices} <= profiles.keys()
    kept = {r.name for r in READING} | {r.name for r in RULES if r.needs and not whole}
    day = dt.datetime.fromisoformat(old.started).date()
    of_plan = [f for f in old.findings if f.check.startswith("plan.")]
    yield from (p for p in map(_problem, of_plan) if p.rule in kept)
    yield from (p for p in check(plan, (), profiles, today=day) if p.rule not in kept)


def _problem(finding: Finding) -> Problem:
    """The offline problem that a finding `plan.RULE` was made of."""
    return Problem(
        severity="error" if finding.verdict == "fail" else "warning",
        rule=finding.check.removeprefix("plan."),
        subject=finding.subject,
        origin=finding.origin,
        message=finding.reason,
    )


def _compare(stored: _Stored, other: _Stored, out: output.Output, given: dict[str, Any]) -> int:
    from verifier.rules.compare.differences import differences  # noqa: PLC0415

    chosen = format_of(given["format_"], given["out"])
    if chosen not in {"text", "json"}:
        raise UsageError("what changed is listed as text or JSON: --compare has no other format")
    for one, two in ((stored, other), (other, stored)):
        if one.chain is not None:
            refuse_another(one.path, one.chain, two.result, two.path)
    found = differences(stored.result.findings, other.result.findings)
    if chosen == "json":
        from verifier.report.result.differences import document  # noqa: PLC0415

        listed = laid_out(document(stored.result, other.result, found))
        out.write(listed)
        if given["out"] is None and not given["quiet"]:
            output.show(listed)
        return EXIT_FAILED if found else EXIT_PASSED
    times = f"{stored.result.started} and {other.result.started}"
    same = f"nothing changed between {times}"
    differs = f"{len(found)} changed between {times}"
    out.write(_list(found, same, differs, given))
    return EXIT_FAILED if found else EXIT_PASSED


def _list(found: Any, same: str, differs: str, given: dict[str, Any]) -> str:
    """Prints what differs, or that nothing does; returns the text."""
    from verifier.report.result.differences import text  # noqa: PLC0415

    width = min(100, shutil.get_terminal_size((100, 24)).columns)
    listed = f"{differs}\n\n{text(found, ReportStyle(width=width))}" if found else f"{same}\n"
    if not given["quiet"]:
        output.show(listed)
    return listed


def _refuse_forged(stored: _Stored) -> None:
    assert stored.evidence is not None
    if (why := files.doubt(stored.evidence)) is not None:
        raise InputError(f"{stored.path}: {why}")


def _sign(stored: _Stored, key_file: Path, out: output.Output, path: Path | None) -> int:
    evidence = stored.whole("--sign")
    if path is None:
        raise UsageError("--sign needs --out FILE: the signed evidence goes there")
    key = signing_key(key_file)
    assert key is not None
    out.write(files.to_bytes(files.sign(evidence, key)))
    return EXIT_PASSED


def _check_signature(stored: _Stored, public_file: Path, *, quiet: bool) -> int:
    from verifier.files.evidence.keys import read_public_key  # noqa: PLC0415

    evidence = stored.whole("--check-signature")
    why = files.doubt(evidence, read_public_key(public_file))
    if not quiet:
        said = "signed with this key, and not changed since" if why is None else why
        output.show(f"{plain(stored.path)}: {said}\n")
    return EXIT_PASSED if why is None else EXIT_FAILED
