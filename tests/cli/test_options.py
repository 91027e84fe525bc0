"""Options: a command gets one frozen value of them, and each field holds what its type says."""

from __future__ import annotations

import dataclasses
import pkgutil
import types
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

import click
import pytest
from click import Argument, Choice, Option
from click.testing import CliRunner

from verifier import cli, model
from verifier.cli.command import Duration, command, parameters
from verifier.cli.job_folder import PlanArgument
from verifier.rules import profile_draft


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """A group."""

    quiet: Annotated[bool, Option(["--silent"], is_flag=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """Options of a command."""

    file: Annotated[Path, Argument(["file"], type=click.Path(path_type=Path))]
    wait_s: Annotated[float, Option(["--wait"], default="2m", type=Duration())]
    names: Annotated[tuple[str, ...], Option(["--name"], multiple=True)]
    shared: Shared


def test_a_command_gets_its_options_as_one_value() -> None:
    """Fields are named otherwise than the options; a group is a value within it."""
    taken: list[Sample] = []

    @command(Sample, short_help="for a list")
    def measure(options: Sample) -> int:
        """Measures."""
        taken.append(options)
        return 3

    done = CliRunner().invoke(measure, ["x.csv", "--name", "a", "--name", "b", "--silent"],
                              standalone_mode=False)  # fmt: skip
    assert done.return_value == 3
    assert taken == [
        Sample(file=Path("x.csv"), wait_s=120.0, names=("a", "b"), shared=Shared(quiet=True))
    ]
    assert (measure.name, measure.help, measure.short_help) == (
        "measure",
        "Measures.",
        "for a list",
    )


def test_a_field_that_is_no_option_is_refused() -> None:
    """It would silently get no value."""

    @dataclass(frozen=True)
    class Wrong:
        number: int

    with pytest.raises(TypeError, match="neither an option nor a group"):
        command(Wrong)(lambda options: options.number)


def types_of_options() -> dict[str, Any]:
    """Types that the modules of options name for type checkers alone: those of the vocabulary."""
    names: dict[str, Any] = {}
    modules = [
        import_module(m.name) for m in pkgutil.iter_modules(model.__path__, "verifier.model.")
    ]
    for module in (*modules, profile_draft):
        names |= {k: v for k, v in vars(module).items() if k[:1].isupper()}
    return names


NAMES = types_of_options()


def fields() -> Iterator[tuple[str, Any, click.Parameter]]:
    """Every field of every options class: where it is, its type, and what reads it."""
    seen = set()
    for found in pkgutil.iter_modules(cli.__path__):
        module = import_module(f"verifier.cli.{found.name}")
        for kind in vars(module).values():
            if not (dataclasses.is_dataclass(kind) and isinstance(kind, type)) or kind in seen:
                continue
            if not kind.__name__.endswith("Options"):
                continue
            seen.add(kind)
            by_name = {p.name: p for p in parameters(kind)}
            for name, hint in get_type_hints(kind, None, NAMES, include_extras=True).items():
                of_the_folder = isinstance(by_name.get(name), PlanArgument)  # test_job_folder
                if get_origin(hint) is Annotated and not of_the_folder:
                    yield f"{kind.__name__}.{name}", get_args(hint)[0], by_name[name]


@pytest.mark.parametrize(
    ("name", "kind", "parameter"), list(fields()), ids=lambda v: v if isinstance(v, str) else ""
)
def test_each_field_holds_what_its_type_says(
    name: str, kind: Any, parameter: click.Parameter
) -> None:
    """A flag is a bool, what may be repeated a tuple, what may be left out may be None."""
    several = parameter.multiple or parameter.nargs == -1
    flag = getattr(parameter, "is_flag", False) and isinstance(
        parameter.type, click.types.BoolParamType
    )
    assert (kind is bool) == flag, name
    assert (get_origin(kind) is tuple) == several
    optional = get_origin(kind) in {Union, types.UnionType} and type(None) in get_args(kind)
    left_out = parameter.get_default(click.Context(click.Command("x"))) is None or "UNSET" in repr(
        parameter.default
    )
    assert optional == (left_out and not parameter.required and not several and not flag)
    if isinstance(parameter.type, Choice):
        for inner in (kind, *get_args(kind)):
            if get_origin(inner) is Literal:
                assert set(get_args(inner)) == set(parameter.type.choices)
