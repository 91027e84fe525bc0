"""Help: the table of commands by the job, what `--help` shows of one, and what it is short of.

`--help` fits a screen of 40 lines: what the command does, two examples, its options in groups.
Where there are too many, the seldom ones are left to `--help-all`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from importlib import import_module
from typing import TYPE_CHECKING, NamedTuple

import click

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem


class Entry(NamedTuple):
    """A command: its module, its line of help, and two examples."""

    module: str
    about: str
    examples: tuple[str, ...]


_TABLE: dict[str, dict[str, Entry]] = {
    "Plan": {
        "new": Entry(
            "new", "An empty plan to fill in, or an example: workbook, YAML or CSV.",
            ("new plan.xlsx", "new mapping.toml --from theirs.xlsx"),
        ),
        "check": Entry(
            "check", "Every fault of a plan at once; offline.",
            ("check", "check theirs.xlsx --mapping mapping.toml --strict"),
        ),
        "cards": Entry(
            "cards", "Field cards and labels to print; the sheet of what only a person can see.",
            ("cards --out cards.html", "cards --blank seen.csv"),
        ),
    },
    "Bench and site": {
        "here": Entry(
            "here", "What is on this cable, and is it right; the one thing to do next.",
            ("here", "here --watch --bell"),
        ),
        "fit": Entry(
            "fit", "Does this laptop's address fit each device's subnet; if not, what to set.",
            ("fit --device lighthouse-quarry", "fit --present --os windows"),
        ),
        "readdress": Entry(
            "readdress", "The ordered runbook from present to planned addresses.",
            ("readdress --out runbook.html",
             "readdress --guide --set-laptop"),
        ),
        "find": Entry(
            "find", "Looks for a device that does not answer where it should.",
            ("find lighthouse-quarry",
             "find lighthouse-quarry --listen"),
        ),
        "reach": Entry(
            "verify", "Do the devices answer: echoes and TCP services only.",
            ("reach", "reach --link 'Hop 1'"),
        ),
        "align": Entry(
            "align", "Both ends' receive level, once a second, while the antennas are aligned.",
            ("align 'Hop 1'", "align 'Hop 1' --bell"),
        ),
        "powercycle": Entry(
            "powercycle", "Were settings saved: reads devices before and after a restart.",
            ("powercycle lighthouse-quarry --stage bench",
             "powercycle lighthouse-quarry --accept-outage"),
        ),
    },
    "Prove": {
        "verify": Entry(
            "verify", "The live network against the plan: pass or fail, with the reason.",
            ("verify --device lighthouse-quarry",
             "verify --evidence handover.json"),
        ),
        "report": Entry(
            "report", "A stored result drawn again, judged again, or compared; offline.",
            ("report handover.json --out handover.xlsx", "report handover.json --judge-again"),
        ),
    },
    "Watch": {
        "sweep": Entry(
            "sweep", "How is every device: once or --every 5m, into the store; tells changes.",
            ("sweep --every 5m --lines changes.jsonl",
             "sweep --every 5m --page /srv/www/links"),
        ),
        "history": Entry(
            "history", "What the sweeps knew: availability, outages, levels since handover.",
            ("history --since 7d",
             "history --baseline handover.json --out record.html"),
        ),
    },
    "Set up": {
        "demo": Entry(
            "demo", "A simulated network on this machine: the real job without hardware.",
            ("demo", "demo --keep coast"),
        ),
        "profiles": Entry(
            "profiles", "Device profiles: those there are, and one for your own device.",
            ("profiles list", "profiles show hop-radio"),
        ),
        "schema": Entry(
            "schema", "The JSON Schema of a kind of document.", ("schema result", "schema plan"),
        ),
        "explain": Entry(
            "explain", "What a check, rule, cause, state, command or exit code means; offline.",
            ("explain radio.path-loss", "explain readdress"),
        ),
    },
}  # fmt: skip
SECTIONS = {section: tuple(entries) for section, entries in _TABLE.items()}
"""The commands by the job that they are for."""
COMMANDS = {name: entry for entries in _TABLE.values() for name, entry in entries.items()}
"""Every command. Its module is imported only when it is called."""
SUBCOMMANDS = {
    "profiles list": ("profiles list", "profiles list --profiles profiles"),
    "profiles show": ("profiles show hop-radio", "profiles show hop-radio --profiles profiles"),
    "profiles check": (
        "profiles check own-radio.toml",
        "profiles check own-radio.toml --against 192.0.2.20",
    ),
    "profiles draft": (
        "profiles draft 192.0.2.20 --seen rx_level_dbm=-45.6 --out own-radio.toml",
        "profiles draft 192.0.2.20 --seen tx_mhz=13143 --root 1.3.6.1.4.1.32473",
    ),
}
"""Examples of commands within a command."""
GROUPS = {
    "Which devices": "--device --link --site",
    "What is read": "--profiles --credentials --mapping --observed --store",
    "This laptop": "--set-laptop --laptop --laptop-gateway --os",
    "How it is judged": "--stage --strict --accept-untested",
    "How devices are asked": "--echoes --interval --timeout --max-packets-per-s",
    "What is written": "--out --format --evidence --sign --replace --by --place --quiet --verbose",
}
"""Options that several commands share, by what they are for; others are the command's own."""
_OWN = "Options"
SELDOM = (
    "--max-packets-per-s --timeout --interval --echoes --laptop-gateway --laptop --replace --place "
    "--by --accept-untested --sign --mapping --tell-limit --device-deadline --keep-hourly-days "
    "--keep-days --insecure-webhook --pass-environment --webhook --syslog --ask-all --confirm "
    "--metrics --laptop-addresses --done --write-plan --journal --wait --site --link "
    "--try-default-community --os --segment --strict --verbose --profiles --observed --interface"
)
"""What `--help` leaves to `--help-all`, in this order, until it fits the screen."""
SCREEN = 40
"""Lines of a screen that help has to fit."""
WIDTH = 100
_COLUMN = 34
"""Columns of an option's name at most, before its help begins on a line of its own."""


class Command(click.Command):
    """A command with its help in groups, and `--help-all`."""

    def get_params(self, ctx: click.Context) -> list[click.Parameter]:
        """Its options, with `--help-all` beside `--help`."""
        more = click.Option(
            ["--help-all"], is_flag=True, is_eager=True, expose_value=False, callback=_show_all,
            help="Show every option and exit.",
        )  # fmt: skip
        *own, last = super().get_params(ctx)
        return [*own, more, last]

    def format_help(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """What fits a screen; all of it for `--help-all`."""
        formatter.write(self.help_of(ctx, everything=ctx.meta.get("help-all", False)))

    def help_of(self, ctx: click.Context, *, everything: bool) -> str:
        """The help; without `everything`, seldom options are left out until a screen holds it."""
        options = {p.opts[0] for p in self.get_params(ctx) if isinstance(p, click.Option)}
        seldom = [] if everything else [name for name in SELDOM.split() if name in options]
        least, most = 0, len(seldom)  # so many must be left out, so many may be
        drawn = self._drawn(ctx, seldom[:least])
        if len(drawn.splitlines()) > SCREEN:
            while least < most:
                middle = (least + most) // 2
                fits = len(self._drawn(ctx, seldom[:middle]).splitlines()) <= SCREEN
                least, most = (least, middle) if fits else (middle + 1, most)
            drawn = self._drawn(ctx, seldom[:least])
        return drawn

    def _drawn(self, ctx: click.Context, hidden: Sequence[str]) -> str:
        made = click.HelpFormatter(width=min(ctx.terminal_width or WIDTH, WIDTH))
        self.format_usage(ctx, made)
        self.format_help_text(ctx, made)
        path = ctx.command_path.removeprefix("plan-verifier ")
        entry = COMMANDS.get(path)
        examples = entry.examples if entry is not None else SUBCOMMANDS.get(path, ())
        if examples:
            with made.section("Examples"):
                made.write(
                    "".join(f"{'':{made.current_indent}}plan-verifier {e}\n" for e in examples)
                )
        groups = list(grouped(self, ctx, hidden))
        column = min(_COLUMN, max(len(name) for _, rows in groups for name, _ in rows))
        for title, rows in groups:
            with made.section(title):
                made.write_dl(
                    [(name.ljust(column), help_) for name, help_ in rows], col_max=_COLUMN
                )
        topic = path.partition(" ")[0]
        more = f"--help-all shows {len(hidden)} more options; " if hidden else ""
        made.write(f"\n{more}plan-verifier explain {topic} says more.\n")
        return made.getvalue()


def grouped(
    command: click.Command, ctx: click.Context, hidden: Sequence[str] = ()
) -> Iterator[tuple[str, list[tuple[str, str]]]]:
    """The options of a command by what they are for: title, then option and help of each."""
    of = {name: title for title, names in GROUPS.items() for name in names.split()}
    found: dict[str, list[tuple[str, str]]] = {title: [] for title in (_OWN, *GROUPS)}
    last: list[tuple[str, str]] = []
    for parameter in command.get_params(ctx):
        if not isinstance(parameter, click.Option) or parameter.opts[0] in hidden:
            continue
        row = parameter.get_help_record(ctx)
        if row is not None and parameter.opts[-1] in {"--help", "--help-all"}:
            last.append(row)
        elif row is not None:
            found[of.get(parameter.opts[0], _OWN)].append(row)
    found[_OWN] += last
    yield from ((title, rows) for title, rows in found.items() if rows)


def _show_all(ctx: click.Context, param: click.Parameter, value: bool) -> None:  # noqa: FBT001 - click's
    del param
    if value and not ctx.resilient_parsing:
        ctx.meta["help-all"] = True
        click.echo(ctx.get_help().rstrip())
        ctx.exit()


class Commands(click.Group):
    """Imports a command's module when the command is called, so that help is quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        """Their names, as help lists them."""
        return list(COMMANDS)

    def get_command(
        self,
        ctx: click.Context,  # noqa: ARG002 - click's signature
        cmd_name: str,
    ) -> click.Command | None:
        """The command, imported now; None where there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        return command_of(cmd_name)

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Commands with their lines of help, none imported, and options."""
        from click.shell_completion import CompletionItem  # noqa: PLC0415 - seldom needed

        found = [
            CompletionItem(name, help=entry.about)
            for name, entry in COMMANDS.items() if name.startswith(incomplete)
        ]  # fmt: skip
        return found + click.Command.shell_complete(self, ctx, incomplete)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does, but who mistypes a command is told the nearest."""
        name = args[0]
        if name in COMMANDS or name.startswith("-") or ctx.resilient_parsing:
            return super().resolve_command(ctx, args)
        import difflib  # noqa: PLC0415 - seldom needed

        near = difflib.get_close_matches(name, COMMANDS, n=3, cutoff=0.5)
        meant = f" Did you mean {' or '.join(near)}?" if near else ""
        raise click.UsageError(f"There is no command {name!r}.{meant}", ctx)

    def format_commands(
        self,
        ctx: click.Context,  # noqa: ARG002 - click's signature
        formatter: click.HelpFormatter,
    ) -> None:
        """Their names and lines of help by the job, none imported."""
        for section, names in SECTIONS.items():
            with formatter.section(section):
                width = max(map(len, COMMANDS))
                formatter.write_dl([(n.ljust(width), COMMANDS[n].about) for n in names])


def command_of(name: str) -> click.Command:
    """The command of that name, imported now."""
    made: Callable[..., object] = getattr(
        import_module(f"verifier.cli.{COMMANDS[name].module}"), name
    )
    assert isinstance(made, click.Command)
    return made
