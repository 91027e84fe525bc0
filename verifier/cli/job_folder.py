"""PLAN may be left out: then it is the one plan of this folder, with what stands beside it.

Plan and objects (`DEVICE`, `LINK`) are one list of arguments, of which the first that is a plan is
the plan; what was taken without having been named is said in one line.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from verifier.errors import UsageError

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

_TAKEN = "plan-verifier.taken"


def was_taken(path: Path) -> bool:
    """Whether a file was taken from the folder, without having been named."""
    return str(path) in click.get_current_context().meta.get(_TAKEN, ())


def typed(path: Path | None) -> bool:
    """Whether a person named this file."""
    return path is not None and not was_taken(path)


class PlanArgument(click.Argument):
    """The plan, and behind it what the command is about."""

    objects: tuple[ObjectArgument, ...] = ()

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Files, and what the objects of the command complete."""
        from click.shell_completion import CompletionItem  # noqa: PLC0415 - seldom needed

        found = [CompletionItem(incomplete, type="file")]
        return [*found, *(i for o in self.objects for i in o.shell_complete(ctx, incomplete))]


class ObjectArgument(click.Argument):
    """What a command is about: a device, a link."""


@dataclasses.dataclass(frozen=True, slots=True)
class JobArguments:
    """The arguments of one command: where the plan goes, and its objects by field.

    Attributes:
        field: of the plan; None: the command has none.
    """

    field: str | None
    objects: tuple[ObjectArgument, ...]

    def filled(self, values: dict[str, object]) -> dict[str, object]:
        """The values with plan, objects, and what stands beside the plan.

        Raises UsageError: no plan, several, an object is missing or too much.
        """
        if self.field is None:
            return values
        given = values[self.field]
        words = list(map(str, given)) if isinstance(given, tuple) else []
        plan = self._named(words)
        taken: list[str] = []
        if plan is None:
            plan = _of_folder()
            taken.append(str(plan))
        found = {**values, self.field: plan, **self._objects(words)}
        return _beside(found, plan, taken)

    def _named(self, words: list[str]) -> Path | None:
        """The plan among the words, which it is taken out of; None where there is none."""
        from verifier.files.job_folder import is_plan, looks_like_one  # noqa: PLC0415

        if not self.objects:
            return Path(words.pop(0)) if words else None
        chosen = next((w for w in words if is_plan(Path(w))), None)
        if chosen is None:
            chosen = next((w for w in words if looks_like_one(w)), None)
        if chosen is None:
            return None
        words.remove(chosen)
        return Path(chosen)

    def _objects(self, words: Sequence[str]) -> dict[str, object]:
        left = list(words)
        found: dict[str, object] = {}
        for each in self.objects:
            name = each.make_metavar(click.get_current_context())
            if each.nargs == -1:
                found[str(each.name)], left = tuple(left), []
            else:
                found[str(each.name)] = left.pop(0) if left else None
            if each.required and not found[str(each.name)]:
                raise UsageError(f"Missing argument {name.strip('.')!r}")
        if left:
            raise UsageError(f"too many arguments: {' '.join(left)}")
        return found


def joined(parameters: Iterable[click.Parameter]) -> tuple[list[click.Parameter], JobArguments]:
    """What click reads: of plan and objects one list of arguments; and how it is divided again."""
    given = list(parameters)
    objects = tuple(p for p in given if isinstance(p, ObjectArgument))
    plan = next((p for p in given if isinstance(p, PlanArgument)), None)
    if plan is None:
        return given, JobArguments(None, ())
    shown = [_metavar(o) for o in objects]
    plan.objects = objects
    plan.metavar = " ".join(["[PLAN]", *shown])
    return [p for p in given if p not in objects], JobArguments(plan.name, objects)


def _metavar(argument: ObjectArgument) -> str:
    name = argument.metavar or str(argument.name).upper()
    return name if argument.required else f"[{name}]"


def _of_folder() -> Path:
    """The one plan of the current folder. Raises UsageError: none, or several."""
    from verifier.files.job_folder import plans  # noqa: PLC0415

    found = plans(Path())
    if len(found) == 1:
        return found[0]
    if found:
        names = ", ".join(map(str, found))
        raise UsageError(f"{len(found)} plans are in this folder: name one of {names}")
    names = ", ".join(sorted(p.name for p in Path().iterdir())[:8]) or "nothing"
    raise UsageError(
        f"no plan is in this folder (it holds {names}): name one, or write one: "
        "plan-verifier new plan.yaml --example"
    )


def _beside(values: dict[str, object], plan: Path, taken: list[str]) -> dict[str, object]:
    """Credentials, profiles and mapping that stand beside the plan, where none was named."""
    from verifier.files import job_folder  # noqa: PLC0415

    found = dict(values)
    for field, name in (("credentials_file", job_folder.CREDENTIALS),
                        ("profile_folder", job_folder.PROFILES),
                        ("mapping", job_folder.MAPPING)):  # fmt: skip
        if field not in found or found[field] is not None:
            continue
        path = job_folder.beside(plan, name)
        if path is None or (field == "mapping" and job_folder.mapped(path) != plan.name):
            continue
        if field == "profile_folder" and not path.is_dir():
            continue
        found[field] = path
        taken.append(str(path))
    click.get_current_context().meta[_TAKEN] = frozenset(taken)
    if taken:
        click.echo(f"plan-verifier: taken: {', '.join(taken)}", err=True)
    return found
