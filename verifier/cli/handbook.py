"""The pages of `explain` with what the program puts into them, drawn."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import click

from verifier import __version__
from verifier.cli.help import COMMANDS, SECTIONS, SUBCOMMANDS, command_of, grouped
from verifier.errors import UsageError
from verifier.files.explain import Topics, load_topics
from verifier.model.topic import Block, Code, Filled, Paragraph, Topic, TopicHeading, TopicTable
from verifier.report.explain import facts
from verifier.report.explain.blocks import blocks
from verifier.report.explain.man import Manual, manual_page
from verifier.report.explain.page import Part, page
from verifier.report.explain.text import text

TITLE = "plan-verifier explained"
_FACTS_FIRST = frozenset({"rule", "exit"})
"""Kinds whose facts say what they are; of others the first sentence does."""
_ALL = ("checks", "rules", "causes", "states", "stages", "exit-codes", "words")
"""Pages that list what has a name of its own."""


@dataclass(frozen=True, slots=True)
class Handbook:
    """Every topic, and how it is drawn."""

    topics: Topics

    @classmethod
    def load(cls) -> Handbook:
        """All pages that are shipped."""
        return cls(load_topics(COMMANDS))

    def find(self, words: str) -> Topic:
        """The topic that is meant. Raises UsageError, with the nearest names, if there is none."""
        if words.startswith("-"):
            return _option(words)
        found = self.topics.find(words)
        if found is None:
            near = self.topics.near(words)
            meant = f"; the nearest: {', '.join(near)}" if near else ""
            raise UsageError(
                f"there is no topic {words!r}{meant}; plan-verifier explain lists them"
            )
        return found

    def blocks(self, topic: Topic) -> list[Block]:
        """What a topic shows: facts of the program, its text, the options of a command."""
        made: list[Block] = []
        for block in blocks(topic.text, facts.inline):
            made += self._filled(block.name) if isinstance(block, Filled) else [block]
        at = 0 if topic.kind in _FACTS_FIRST else 1
        made[at:at] = facts.facts(topic)
        if topic.kind == "command":
            made += _usage(topic.name)
        return made

    def _filled(self, name: str) -> list[Block]:
        if name == "commands":
            return list(_commands())
        return facts.filled(name, list(self.topics.by_name.values()))

    def text(self, topic: Topic | None, width: int) -> str:
        """A topic, or the contents of the book, in columns."""
        if topic is None:
            return text(TITLE, list(self._contents()), width)
        inner = self._within(topic)
        parts = [*self.blocks(topic), *(b for t in inner for b in self._section(t))]
        return text(topic.title, parts, width)

    def page(self, topic: Topic | None) -> str:
        """A topic with those within it, or the whole book, as a page."""
        chosen = [topic, *self._within(topic)] if topic else self._in_order()
        title = topic.title if topic else TITLE
        parts: list[Part] = [
            (t.name, t.title, 2 if t.name == t.page else 3, self.blocks(t)) for t in chosen
        ]
        return page(title, parts)

    def manual(self) -> str:
        """A manual page of the whole program, in roff."""
        named = {name: list(_usage(name)) for name in COMMANDS}
        return manual_page(
            Manual(
                version=__version__,
                about="checks live point-to-point microwave links against their plan",
                sections=SECTIONS,
                lines={name: entry.about for name, entry in COMMANDS.items()},
                commands={n: [Paragraph(COMMANDS[n].about), *b] for n, b in named.items()},
                exit_codes=facts.EXIT_CODES,
                files=self.blocks(self.topics.by_name["files"]),
            )
        )

    def _in_order(self) -> list[Topic]:
        """All topics: general ones, commands by the job, then what has a name of its own."""
        ranks = {name: n for n, name in enumerate(COMMANDS, start=1)}
        named = {t.page for t in self.topics.by_name.values() if t.name != t.page} | set(_ALL)

        def rank(topic: Topic) -> int:
            return len(ranks) + 1 if topic.page in named else ranks.get(topic.page, 0)

        return sorted(self.topics.by_name.values(), key=rank)

    def _within(self, topic: Topic) -> list[Topic]:
        """What a page holds besides its own text; nothing where only a list was meant."""
        if topic.name != topic.page:
            return []
        return [t for t in self.topics.by_name.values() if t.page == topic.page and t is not topic]

    def _section(self, topic: Topic) -> Iterator[Block]:
        yield TopicHeading(2, topic.title)
        yield from self.blocks(topic)

    def _contents(self) -> Iterator[Block]:
        yield Paragraph("`plan-verifier explain TOPIC` shows a topic; offline.")
        chosen = self.topics.of("topic")
        general = [t for t in chosen if "-" not in t.name and t.name not in _ALL]
        yield TopicTable(("topic", "about"), tuple((t.name, t.title) for t in general))
        for section, names in SECTIONS.items():
            yield Paragraph(f"**{section}**: {', '.join(names)}")
        rows = [(n, self.topics.by_name[n].about) for n in _ALL if n in self.topics.by_name]
        yield TopicTable(("lists of names", "each of which is a topic"), tuple(rows))


def _commands() -> Iterator[Block]:
    rows = [(n, COMMANDS[n].about, s) for s, names in SECTIONS.items() for n in names]
    yield TopicTable(("command", "what it does", "for"), tuple(rows))


def _usage(name: str) -> Iterator[Block]:
    """Examples and every option of a command, and of those within it."""
    entry, command = COMMANDS[name], command_of(name)
    yield TopicHeading(2, "Examples")
    yield Code("", tuple(f"plan-verifier {example}" for example in entry.examples))
    for path, inner in _each(name, command):
        context = click.Context(inner, info_name=f"plan-verifier {path}")
        rows = [row for _, rows in grouped(inner, context) for row in rows]
        yield TopicHeading(2, "Options" if path == name else f"Options of {path}")
        if path in SUBCOMMANDS:
            yield Code("", tuple(f"plan-verifier {example}" for example in SUBCOMMANDS[path]))
        yield TopicTable(("option", "what it does"), tuple((f"`{o}`", h) for o, h in rows))


def _each(name: str, command: click.Command) -> Sequence[tuple[str, click.Command]]:
    if isinstance(command, click.Group):
        return [(f"{name} {inner}", c) for inner, c in command.commands.items()]
    return [(name, command)]


def _option(words: str) -> Topic:
    """An option of any command, as a topic: which commands have it, and what it does there."""
    wanted, lines = words.split(maxsplit=1)[0], []
    for name in COMMANDS:
        for path, inner in _each(name, command_of(name)):
            lines += [
                f"- `plan-verifier {path}`: {parameter.help}"
                for parameter in inner.get_params(click.Context(inner))
                if wanted in parameter.opts and isinstance(parameter, click.Option)
            ]
    if not lines:
        raise UsageError(f"no command has an option {wanted!r}; plan-verifier explain lists topics")
    return Topic(wanted, "word", wanted, "\n".join(lines), wanted)
