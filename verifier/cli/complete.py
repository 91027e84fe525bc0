"""What the shell completes beside commands and options: names of the plan, checks, topics, kinds.

The plan is the one that the line names, else the one plan in this folder. Whatever cannot be read
completes nothing: a half-typed line is no place for a message.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from verifier.errors import VerifierError

if TYPE_CHECKING:
    import click

    from verifier.model.plan import Plan

Completer = Callable[["click.Context", "click.Parameter", str], list[str]]


def devices(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Names of the plan's devices."""
    del param
    plan = _plan(ctx)
    return [] if plan is None else _begun(incomplete, (d.name for d in plan.devices))


def links(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Names of the plan's links."""
    del param
    plan = _plan(ctx)
    return [] if plan is None else _begun(incomplete, (link.name for link in plan.links))


def sites(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Names of the plan's sites."""
    del param
    plan = _plan(ctx)
    return [] if plan is None else _begun(incomplete, (s.name for s in plan.sites))


def checks(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Names of checks, each with the sign that the reason follows."""
    del ctx, param
    from verifier.model.checks import CHECK_NAMES  # noqa: PLC0415 - help needs none

    return _begun(incomplete, (f"{name}=" for name in sorted(CHECK_NAMES)))


def topics(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Topics of the handbook."""
    del ctx, param
    from verifier.files.explain import load_topics  # noqa: PLC0415 - help needs none

    return _begun(incomplete, load_topics(()).by_name)


def documents(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Kinds of documents that have a schema."""
    del ctx, param
    from verifier.files.schema import SCHEMAS  # noqa: PLC0415 - help needs none

    return _begun(incomplete, SCHEMAS)


def profiles(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Identifiers of profiles, those of --profiles first."""
    del param
    from verifier.files.read_profile import available  # noqa: PLC0415 - help needs none

    try:
        return _begun(incomplete, available(ctx.params.get("profile_folder")))
    except VerifierError:
        return []


def _begun(incomplete: str, names: Iterable[str]) -> list[str]:
    return [name for name in dict.fromkeys(names) if name.startswith(incomplete)]


def _plan(ctx: click.Context) -> Plan | None:
    """The plan that the line names, else the one in this folder; None: none, or several."""
    from verifier.files import job_folder  # noqa: PLC0415 - help needs none

    words = ctx.params.get("path") or ctx.args  # a line that ends in an option is read so far
    named = [Path(word) for word in ([words] if isinstance(words, (str, Path)) else words)]
    chosen = [path for path in named if job_folder.is_plan(path)] or job_folder.plans(Path())
    if len(chosen) != 1:
        return None
    plan = chosen[0]
    mapping = ctx.params.get("mapping") or job_folder.beside(plan, job_folder.MAPPING)
    if mapping is not None and job_folder.mapped(mapping) != plan.name:
        mapping = ctx.params.get("mapping")
    return _read(plan, mapping)


def _read(path: Path, mapping: Path | None = None) -> Plan | None:
    from verifier.files.read_plan import read_plan  # noqa: PLC0415 - help needs none

    try:
        return read_plan(path, mapping)[0]
    except (VerifierError, OSError):
        return None
