"""The page as text: self-contained, whole, and harmless whatever a name holds."""

from __future__ import annotations

import dataclasses
import re
import time
from html.parser import HTMLParser
from typing import Any

import pytest

from verifier.model.plan import EndName
from verifier.model.problem import Subject
from verifier.model.result import Finding
from verifier.report.result import FORMATS
from verifier.report.style import ReportStyle

html: Any = FORMATS["html"]

ENDS: tuple[EndName, ...] = ("a", "b")
VOID = {"meta", "link", "input", "img", "br", "hr", "circle", "path"}


class Outline(HTMLParser):
    """Elements in order, and whether each is closed in turn."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag, attrs) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data) -> None:
        if self.open[-1:] not in (["script"], ["style"]):
            self.text += data


@pytest.mark.parametrize(
    "said",
    [
        "Coast", "FAIL", "A. Example", "Harbour", "2026-11-24T10:00:00.000Z",
        "quarry was exchanged", "read the sticker", "Open items", "Owner", "Date", "EX-0001",
        "-46 dBm (-0.4 dB)", "no answer", "weather", "fog",
        "Echoes are not a throughput test; attach one.", "never look into an open waveguide",
        "ab" * 32, "ef" * 32, "Accepted by", "Signature",
    ],
)  # fmt: skip
def test_what_stands_in_it(sample, said) -> None:
    """Verdict, plan, who, when, where; causes, open items, links, cautions, hashes, signatures."""
    assert said in Outline(html(*sample)).text


def test_causes_come_first(sample) -> None:
    """Then open items, links, findings, what was not tested; evidence and signatures last."""
    headings = re.findall(r'<h2 id="h-(\w+)">', html(*sample))
    assert headings == [
        "causes", "open", "links", "findings", "untested", "entered", "cautions", "evidence",
        "signatures",
    ]  # fmt: skip


def test_a_cause_says_what_speaks_for_it_and_against_it(sample) -> None:
    """In the words of the text report, at most three each; what speaks for all is said once."""
    result, look = sample
    (first,) = result.causes
    causes = (
        dataclasses.replace(first, for_=("f2", "f5"), against=("f1", "f3", "f4", "f5")),
        dataclasses.replace(first, id="c2", for_=("f2", "f5")),
    )
    told = Outline(html(dataclasses.replace(result, causes=causes), look)).text
    by_id = {f.id: f for f in result.findings}
    said = [f"{by_id[i].subject} {by_id[i].check} {verb}" for i, verb in
            (("f1", "passes"), ("f3", "is not tested"), ("f4", "warns"))]  # fmt: skip
    assert f"Against it: {'; '.join(said)}; 1 more." in told
    assert told.count(f"For each of them: {by_id['f5'].subject} radio.rx-level passes.") == 1
    assert "For it:" not in told


def test_without_a_plan_it_has_no_links(sample) -> None:
    """A result alone is drawn too."""
    text = html(sample[0], ReportStyle())
    assert 'id="h-links"' not in text
    assert "drawn without an evidence file" in text


@pytest.mark.parametrize("which", ["sample", "evil"])
def test_nothing_is_fetched_and_nothing_runs(which, request) -> None:
    """No address but fragments and an empty icon, one script and style, all elements closed."""
    outline = Outline(html(*request.getfixturevalue(which)))
    assert not outline.open
    tags = [tag for tag, _ in outline.elements]
    assert tags.count("script") == tags.count("style") == tags.count("h1") == 1
    assert not {"img", "iframe", "object", "embed", "base"} & set(tags)
    for _, attributes in outline.elements:
        assert not [a for a in attributes if a.startswith("on") or a in {"style", "src"}]
        assert (attributes.get("href") or "#")[:1] == "#" or attributes["href"] == "data:,"


def test_hostile_texts_are_seen_as_text(evil, evil_texts) -> None:
    """Markup is shown, controls and turning marks are written out, what is endless is cut."""
    text = html(*evil)
    outline = Outline(text)
    assert evil_texts[0] in outline.text
    assert "{{ 7 * 7 }}" in outline.text
    assert "\\u202egnihtyna" in outline.text
    assert not [c for c in text if not c.isprintable() and c != "\n"]
    assert "x" * 601 not in text
    assert "(10000 characters)" in text


def test_a_thousand_units(sample) -> None:
    """15 findings of each: below 5 s of processor and 15 MB."""
    result, look = sample
    findings = [
        dataclasses.replace(f, id=f"f{n}", subject=Subject("device", f"device-{n % 1000}"))
        for n, f in enumerate(result.findings * 3000)
    ]
    started = time.process_time()
    text = html(dataclasses.replace(result, findings=tuple(findings)), look)
    assert time.process_time() - started < 5
    assert len(text.encode()) < 15e6
    assert text.count('<article class="subject"') == 1000


def test_an_open_item_tells_the_reason_of_each_of_its_parts(sample) -> None:
    """Two ends of a hop fail one check for reasons of their own: both are told, with their ends."""
    result, look = sample
    made = [
        Finding(
            id=f"x{n}", check="radio.rx-level", verdict="fail", reason=f"{n} dB too low",
            subject=Subject("link", "Hop 9", end=end),
        )
        for n, end in enumerate(ENDS, start=20)
    ]  # fmt: skip
    text = Outline(html(dataclasses.replace(result, findings=(*result.findings, *made)), look)).text
    items = text[text.index("Open items") :]
    for finding in made:
        assert f"{finding.subject}: {finding.reason}" in items
