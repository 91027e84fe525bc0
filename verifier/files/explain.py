"""The pages of `explain`, which are shipped with the program: Markdown, one file a page.

A file begins with `# Title`. A heading that is one word in backquotes (``## `radio.snr` ``) begins
a topic of its own: a check, a rule, a cause; what stands before the first of them is the page's.
A file's kind is the word before its first hyphen (`checks-radio.md`); a command's page is called
as the command.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from importlib import resources

from verifier.model.topic import Kind, Topic

_KINDS: Mapping[str, Kind] = {
    "checks": "check", "rules": "rule", "causes": "cause", "states": "state", "stages": "stage",
    "exit": "exit", "words": "word",
}  # fmt: skip
_OWN = re.compile(r"^## `([^`]+)`(?: (.+))?$", re.MULTILINE)
_NEAR = 4
"""Number of near names that are offered."""


@dataclass(frozen=True, slots=True)
class Topics:
    """Every topic by its name, in the order of the files."""

    by_name: Mapping[str, Topic]

    def find(self, words: str) -> Topic | None:
        """The topic that is meant: by its name, a rule with or without `plan.`, an exit code."""
        asked = " ".join(words.split())
        loose = asked.casefold().replace("_", "-")
        for name in (asked, loose, loose.replace(" ", "-"), loose.removeprefix("plan."),
                     f"exit-{loose}"):  # fmt: skip
            if name in self.by_name:
                return self.by_name[name]
        return None

    def near(self, words: str) -> list[str]:
        """Names like this one, the nearest first."""
        asked = words.casefold().removeprefix("plan.")
        within = [n for n in self.by_name if asked in n or (len(n) > 3 and n in asked)]  # noqa: PLR2004
        tails = {n.rpartition(".")[2]: n for n in self.by_name}
        close = difflib.get_close_matches(asked, self.by_name, n=_NEAR)
        close += [tails[t] for t in difflib.get_close_matches(asked, tails, n=_NEAR)]
        return list(dict.fromkeys((*close, *within)))[:_NEAR]

    def of(self, kind: Kind) -> list[Topic]:
        """All topics of a kind."""
        return [t for t in self.by_name.values() if t.kind == kind]


def load_topics(commands: Collection[str]) -> Topics:
    """Every topic of the shipped pages; `commands` are pages of a command."""
    found: dict[str, Topic] = {}
    for name, text in _pages():
        for topic in _topics(name, text, commands):
            if topic.name in found:
                raise ValueError(f"{name}.md: {topic.name} has a page already")
            found[topic.name] = topic
    return Topics(found)


def _pages() -> Iterator[tuple[str, str]]:
    folder = resources.files("verifier") / "explain"
    for file in sorted(folder.iterdir(), key=lambda f: f.name):
        if file.name.endswith(".md"):
            yield file.name.removesuffix(".md"), file.read_text("utf-8")


def _topics(page: str, text: str, commands: Collection[str]) -> Iterator[Topic]:
    """The page, then those within it."""
    head, _, body = text.partition("\n")
    starts = list(_OWN.finditer(body))
    own = body[: starts[0].start()] if starts else body
    kind: Kind = "command" if page in commands else "topic"
    yield Topic(page, kind, head.removeprefix("# ").strip(), own.strip(), page)
    inner = _KINDS.get(page.partition("-")[0], "word")
    ends = [*(s.start() for s in starts[1:]), len(body)]
    for start, end in zip(starts, ends, strict=False):
        name, title = start.groups()
        yield Topic(name, inner, title or name, body[start.end() : end].strip(), page)
