"""Pages of `explain`: Markdown as blocks, blocks as text, page and manual page."""

from __future__ import annotations

import re

import pytest

from verifier.model.topic import Code, Filled, Items, Paragraph, Topic, TopicHeading, TopicTable
from verifier.report.explain import facts
from verifier.report.explain.blocks import blocks, spans, unmarked
from verifier.report.explain.man import Manual, manual_page
from verifier.report.explain.page import anchor, page
from verifier.report.explain.text import text

SOURCE = """\
First line
goes on, `--soak` and **bold**.

## A heading
- one
  goes on
- two

1. first
2. second

| a | b |
| --- | --- |
| 1 | x\\|y |

```toml
kept = "as it is"

```

{{list check}}

Level within {{figure power-db}} dB of {{oid sysName}}.
"""


def made() -> list[object]:
    return list(blocks(SOURCE, facts.inline))


def test_each_kind_of_block_is_read() -> None:
    assert made() == [
        Paragraph("First line goes on, `--soak` and **bold**."),
        TopicHeading(2, "A heading"),
        Items(("one goes on", "two")),
        Items(("first", "second"), numbered=True),
        TopicTable(("a", "b"), (("1", "x|y"),)),
        Code("toml", ('kept = "as it is"', "")),
        Filled("list check"),
        Paragraph("Level within 0.5 dB of sysName (1.3.6.1.2.1.1.5.0)."),
    ]  # fmt: skip


def test_marks_within_words() -> None:
    words = "see `a b`, **c**, *d* and [e](f)."
    assert list(spans(words)) == [
        ("text", "see "), ("code", "a b"), ("text", ", "), ("bold", "c"), ("text", ", "),
        ("italic", "d"), ("text", " and "), ("text", "e"), ("text", "."),
    ]  # fmt: skip
    assert unmarked(words) == "see a b, c, d and e."


@pytest.mark.parametrize("width", [40, 60, 100])
def test_text_keeps_to_its_columns(width: int) -> None:
    """Tables fold their widest columns; code alone is never folded."""
    long = "word " * 40
    shown = text(
        "Title", [Paragraph(long), Items((long,)), TopicTable(("a", "b"), ((long, long),))], width
    )
    assert max(map(len, shown.splitlines())) <= width
    assert shown.count("word") == 160


def test_page_escapes_and_leads_to_topics() -> None:
    drawn = page("A <title>", [
        ("a.b", "a.b", 2, [Paragraph("see `c.d` & <i>")]), ("c.d", "c.d", 3, [Code("", ("<x>",))]),
    ])  # fmt: skip
    assert '<a href="#topic-c.d"><code>c.d</code></a> &amp; &lt;i&gt;' in drawn
    assert "A &lt;title&gt;" in drawn
    assert "&lt;x&gt;" in drawn
    assert anchor("exit 3/x") == "topic-exit-3-x"
    assert "http" not in drawn.replace("http-equiv", "")


def test_manual_page_guards_what_roff_would_read() -> None:
    manual = Manual(
        version="1", about="a thing", sections={"Plan": ("new",)}, lines={"new": "it's new"},
        commands={"new": [Paragraph(".TH is `--no` request \\ here"), Code("", ("'quoted",))]},
        exit_codes={0: "fine"}, files=[],
    )  # fmt: skip
    lines = manual_page(manual).splitlines()
    assert "\\&.TH is \\fB\\-\\-no\\fR request \\e here" in lines
    assert "\\(aqquoted" in lines
    assert not [x for x in lines if re.match(r"\.(?!TH|SH|SS|TP|PP|nf|fi|IP)", x)]


def test_facts_of_a_check_name_its_causes_and_stages() -> None:
    words = [
        b.words
        for b in facts.facts(Topic("port.speed", "check", "", "", ""))
        if isinstance(b, Paragraph)
    ]
    assert words[0] == "Not asked at stage: bench."
    assert "negotiated-down" in words[1]
    assert "device-silent" not in words[1]  # which hides every check, and names none


def test_every_figure_of_a_page_is_one_of_the_rules() -> None:
    with pytest.raises(KeyError):
        facts.inline("figure", "power-dbm")
    with pytest.raises(KeyError):
        facts.inline("oid", "sysNam")
