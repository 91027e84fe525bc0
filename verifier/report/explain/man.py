"""The manual page of the program, in roff as man(7) reads it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from verifier.model.topic import Block, Code, Items, Paragraph, TopicHeading, TopicTable
from verifier.report.explain.blocks import spans, unmarked

_FONTS: Mapping[str, str] = {"code": "B", "bold": "B", "italic": "I"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Manual:
    """What the page says.

    Attributes:
        about: the line of NAME.
        sections: the commands by the job.
        lines: what each command does, in a line.
        commands: what is said of each.
        exit_codes: their meaning.
        files: what is said of files and environment.
    """

    version: str
    about: str
    sections: Mapping[str, Sequence[str]]
    lines: Mapping[str, str]
    commands: Mapping[str, Sequence[Block]]
    exit_codes: Mapping[int, str]
    files: Sequence[Block]


def manual_page(manual: Manual) -> str:
    """The page; ends with a newline."""
    return "\n".join(_lines(manual)) + "\n"


def _lines(manual: Manual) -> Iterator[str]:
    yield f'.TH PLAN-VERIFIER 1 "" "plan-verifier {manual.version}" "User commands"'
    yield from (".SH NAME", f"plan\\-verifier \\- {_escaped(manual.about)}")
    yield from (".SH SYNOPSIS", "\\fBplan\\-verifier\\fR \\fICOMMAND\\fR [\\fIOPTIONS\\fR]")
    yield ".SH COMMANDS"
    for section, names in manual.sections.items():
        yield f".SS {_text(section)}"
        for name in names:
            yield from (".TP", f"\\fB{_text(name)}\\fR", _text(manual.lines[name]))
    for name, blocks in manual.commands.items():
        yield f'.SH "{_text(f"plan-verifier {name}").upper()}"'
        for block in blocks:
            yield from _block(block)
    yield ".SH EXIT STATUS"
    for code, words in manual.exit_codes.items():
        yield from (".TP", f"\\fB{code}\\fR", _text(words))
    yield ".SH FILES AND ENVIRONMENT"
    for block in manual.files:
        yield from _block(block)


def _block(block: Block) -> Iterator[str]:
    match block:
        case TopicHeading(words=words):
            yield f".SS {_text(unmarked(words))}"
        case Paragraph(words=words):
            yield from (".PP", _marked(words))
        case Items(items=items):
            for item in items:
                yield from (".IP \\(bu 2", _marked(item))
        case Code(lines=lines):
            yield from (".PP", ".nf", *(_text(line) for line in lines), ".fi")
        case TopicTable(rows=rows):
            for first, *others in rows:
                yield from (".TP", _marked(first), _marked("; ".join(others)))


def _marked(words: str) -> str:
    parts = (
        _escaped(part) if how == "text" else f"\\f{_FONTS[how]}{_escaped(part)}\\fR"
        for how, part in spans(words)
    )
    return _guarded("".join(parts))


def _text(words: str) -> str:
    return _guarded(_escaped(words))


def _escaped(words: str) -> str:
    return words.replace("\\", "\\e").replace("-", "\\-").replace("'", "\\(aq")


def _guarded(line: str) -> str:
    """A line that begins like a request is no request."""
    return f"\\&{line}" if line.startswith((".", "'")) else line
