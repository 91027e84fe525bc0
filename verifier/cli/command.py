"""A command is a function of one typed value: a frozen dataclass whose fields are its options.

Each field is annotated with its type and with what click reads it by:
`wait_s: Annotated[float, Option(["--wait"], type=Duration())]`. A field whose type is such a
dataclass itself is a group of options that several commands share.
"""

from __future__ import annotations

import builtins
import copy
import dataclasses
import inspect
import sys
from collections.abc import Callable, Hashable, Iterator, Mapping
from functools import cache, wraps
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar, get_args, get_origin

import click

from verifier.cli.help import Command
from verifier.cli.job_folder import joined

if TYPE_CHECKING:
    from verifier.model.address import Address
    from verifier.model.laptop import LaptopInterface
    from verifier.model.plan import NotTestedOk

FILE = click.Path(path_type=Path)
_SECONDS = {"ms": 0.001, "s": 1.0, "m": 60.0, "h": 3600.0, "": 1.0}
_LONGEST_S = 1e7
OptionsT = TypeVar("OptionsT")
_Fields = tuple[tuple[str, type[object], click.Parameter | None], ...]


def command(
    options: type[OptionsT],
    *,
    name: str | None = None,
    short_help: str | None = None,
    group: click.Group | None = None,
    settings: Mapping[str, object] | None = None,
) -> Callable[[Callable[[OptionsT], int]], click.Command]:
    """Makes a command of a function that takes `options` and returns an exit code.

    Args:
        options: the dataclass that the command line is read into.
        name: the command's, if not the function's.
        short_help: its line in the list of its group.
        group: the group that it belongs to, if not the program itself.
        settings: of click's context for it.
    """
    read, arguments = joined(parameters(options))

    def made(function: Callable[[OptionsT], int]) -> click.Command:
        """The command that calls the function with its options."""

        @wraps(function)
        def call(**values: object) -> int:
            return function(_filled(options, arguments.filled(values)))

        of_click = click.command(
            name, cls=Command, params=read, short_help=short_help,
            context_settings=dict(settings or {}),
        )  # fmt: skip
        finished: click.Command = of_click(call)
        if group is not None:
            group.add_command(finished)
        return finished

    return made


def parameters(options: Callable[..., object]) -> Iterator[click.Parameter]:
    """What click reads, in the order of the fields; each is named as its field."""
    for field, kind, parameter in _fields(options):
        if parameter is None:
            yield from parameters(kind)
        else:
            own = copy.copy(parameter)  # several commands may share it, under other names
            own.name = field
            yield own


def _filled(options: Callable[..., OptionsT], values: dict[str, object]) -> OptionsT:
    """The dataclass of these values, groups within it as well."""
    return options(
        **{
            field: _filled(kind, values) if parameter is None else values[field]
            for field, kind, parameter in _fields(options)
        }
    )


@cache
def _fields(options: Hashable) -> _Fields:
    """Name, type and parameter of each field; a group of options has no parameter."""
    hints = dict(_hints(options))
    return tuple((f.name, *_read_by(hints[f.name])) for f in dataclasses.fields(options))  # type: ignore[arg-type]


def _hints(options: object) -> Iterator[tuple[str, object]]:
    """Each field with its annotation.

    What a value is made of is not looked at here, so its module need not be read for help: a name
    that the module of the options has for type checkers alone stands for any type.
    """
    for base in reversed(getattr(options, "__mro__", ())):
        names = _Names(vars(sys.modules[base.__module__]))
        for field, hint in inspect.get_annotations(base).items():
            yield field, eval(hint, {}, names) if isinstance(hint, str) else hint  # noqa: S307 - ours


class _AnyType:
    """Stands for a type that was not read."""

    def __class_getitem__(cls, _: object) -> type[_AnyType]:
        return cls


class _Names(dict[str, object]):
    """The names that an annotation may hold."""

    def __missing__(self, name: str) -> object:
        return getattr(builtins, name, _AnyType)


def _read_by(hint: object) -> tuple[type[object], click.Parameter | None]:
    if get_origin(hint) is Annotated:
        kind, parameter = get_args(hint)
        if isinstance(parameter, click.Parameter):
            return kind, parameter
    elif isinstance(hint, type) and dataclasses.is_dataclass(hint):
        return hint, None
    raise TypeError(f"{hint} is neither an option nor a group of options")


# -- types of values -------------------------------------------------------------------------------


class Duration(click.ParamType[float]):
    """A duration: `0.2`, `0.2s`, `200ms`, `15m`, `24h`; in seconds."""

    name = "duration"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """The duration in seconds; more than none."""
        if isinstance(value, (int, float)):
            return float(value)
        text = str(value)
        unit = next(unit for unit in _SECONDS if text.endswith(unit))
        try:
            seconds = float(text.removesuffix(unit)) * _SECONDS[unit]
        except ValueError:
            self.fail(f"{value!r} is not a duration: write 0.2s, 200ms, 15m or 24h", param, ctx)
        if not 0 < seconds < _LONGEST_S:
            self.fail(f"{value!r}: a duration above none is expected", param, ctx)
        return seconds


class LaptopAddress(click.ParamType["LaptopInterface"]):
    """`ADDRESS/PREFIX[@INTERFACE[.VLAN]]`."""

    name = "address/prefix[@interface[.vlan]]"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> LaptopInterface:
        """An interface with that one address."""
        from verifier.model.address import Interface  # noqa: PLC0415 - help needs none
        from verifier.model.laptop import UNNAMED, LaptopInterface  # noqa: PLC0415

        if isinstance(value, LaptopInterface):
            return value
        text, _, name = str(value).partition("@")
        _, dot, vlan = name.rpartition(".")
        try:
            address = Interface.parse(text)
        except ValueError as fault:
            self.fail(str(fault), param, ctx)
        return LaptopInterface(
            name=name or UNNAMED,
            addresses=(address,),
            vlan=int(vlan) if dot and vlan.isascii() and vlan.isdigit() else None,
        )


class HostAddress(click.ParamType["Address"]):
    """One address."""

    name = "address"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> Address:
        """The address."""
        from verifier.model.address import Address  # noqa: PLC0415 - help needs none

        try:
            return value if isinstance(value, Address) else Address.parse(str(value))
        except ValueError as fault:
            self.fail(str(fault), param, ctx)


class UntestedCheck(click.ParamType["NotTestedOk"]):
    """`CHECK[@DEVICE]=REASON`."""

    name = "check[@device]=reason"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> NotTestedOk:
        """What may stay untested. Refuses what is no check, a pattern, and what has no reason."""
        from verifier.model.checks import unknown_check  # noqa: PLC0415 - help needs none
        from verifier.model.plan import NotTestedOk  # noqa: PLC0415

        if isinstance(value, NotTestedOk):
            return value
        check, _, reason = str(value).partition("=")
        accepted = NotTestedOk(check=check.strip(), reason=reason.strip())
        if (why := unknown_check(accepted.name)) is not None:
            self.fail(why, param, ctx)
        if not accepted.reason:
            without = f"{value!r} has no reason: write {accepted.check}=REASON"
            self.fail(f"{without}, it stands in the document", param, ctx)
        if not accepted.reason.isprintable():
            self.fail(f"the reason of {accepted.check} does not print", param, ctx)
        return accepted
