"""Where a device is, drawn: the document fits its schema, the text its page."""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import pytest

from verifier.files.schema import schema
from verifier.model.address import Address, Interface, Mac
from verifier.model.laptop import Fit
from verifier.model.search import Answer, Candidate, HeardFrames, SearchedPlace, SearchResult
from verifier.report import search as drawn
from verifier.report.style import ReportStyle

DEVICE = Mac.parse("02:00:5e:10:00:01")
AT = "2026-11-25T10:00:00.000Z"
PLANNED = Interface.parse("198.18.20.11/24")
SLIP = Interface.parse("198.18.20.111/24")
HOSTILE = "x\x1b[2J\u202eevil " + "long" * 200


def place(n: int, **answer: object) -> SearchedPlace:
    at = Interface.parse(f"198.18.20.{n}/24")
    candidate = Candidate(address=at, kind="slip", why="fourth octet", owner="quarry-lighthouse")
    return SearchedPlace(candidate=candidate, answer=Answer(asked=("arp", "echo"), **answer))  # type: ignore[arg-type]


FOUND = SearchResult(
    plan=HOSTILE,
    device="lighthouse-quarry",
    planned=PLANNED,
    started=AT,
    finished=AT,
    interrupted=True,
    state="elsewhere",
    verdict="fail",
    address=SLIP,
    interface="eth0",
    mac=DEVICE,
    since=AT,
    up_since=AT,
    vlan=20,
    by=("its name (LLDP)", HOSTILE),
    explanation=f"lighthouse-quarry is at {SLIP}; at its planned address is another: {HOSTILE}",
    advice="set 198.18.20.11/24 in the device",
    notes=("a note " * 40,),
    fit=Fit(
        device="lighthouse-quarry", address=SLIP, verdict="fail", relation="off-subnet",
        interface="eth0", laptop_address="192.0.2.9/24", suggested=Interface.parse("198.18.20.250/24"),
        commands=("ip address add 198.18.20.250/24 dev eth0",), notes=("to take it back: ...",),
        explanation="neither has a way",
    ),
    listened_on=("eth0",),
    places=(
        place(111, macs=(DEVICE,), echo=True, snmp="answered", name=HOSTILE),
        *(place(n) for n in range(20, 50)),
        replace(place(99), answer=Answer(not_asked="it was not its turn")),
    ),
    heard=tuple(
        HeardFrames(
            interface="enx0123456789ab", mac=DEVICE, what="lldp", name=HOSTILE, port="eth1", vlan=20,
            address=Address.parse("2001:db8:1234:5678:9abc:def0:1234:5678"), first=AT, last=AT, count=n,
        )
        for n in range(30)
    ),
)  # fmt: skip
STATES = {
    "found": FOUND,
    "nothing": replace(
        FOUND, state="not-found", verdict="not-tested", address=None, interface=None, mac=None,
        since=None, up_since=None, vlan=None, by=(), fit=None, places=(), heard=(), notes=(),
    ),
    "mute": replace(FOUND, state="mute", vlan=None),
}  # fmt: skip


@pytest.mark.parametrize("name", STATES)
def test_document_fits_its_schema(name: str) -> None:
    """Every field is there, whatever is known."""
    document = json.loads(drawn.json(STATES[name], ReportStyle()))
    jsonschema.validate(document, schema("find"), cls=jsonschema.Draft202012Validator)
    assert document["planned"] == "198.18.20.11/24"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**document, "more": 1}, schema("find"))
    del document["state"]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(document, schema("find"))


@pytest.mark.parametrize("verbose", [False, True])
@pytest.mark.parametrize("name", STATES)
def test_text_fits_the_page(name: str, verbose: bool) -> None:  # noqa: FBT001
    """At most 100 columns, and what a device calls itself cannot steer the terminal."""
    text = drawn.text(STATES[name], ReportStyle(verbose=verbose))
    assert max(map(len, text.splitlines())) <= 100
    assert set(text) - {"\n"} <= {chr(c) for c in range(32, 127)}


def test_what_is_told_of_the_rest() -> None:
    """Who does not answer is counted; what was not asked says why."""
    text = drawn.text(FOUND, ReportStyle())
    assert "(30 more asked, nobody there; --verbose lists them)" in text
    assert "(1 not asked: it was not its turn)" in text
    assert "(10 more; --verbose lists them)" in text
    assert "note: interrupted" in text


def test_candidates_are_listed_by_kind() -> None:
    """Every address, those of others marked, within the page."""
    listed = [p.candidate for p in FOUND.places]
    text = drawn.listing(listed, 20.0, ReportStyle())
    assert text.startswith("asking 32 addresses in this order, at most 20 packets a second")
    assert all(str(c.address.address) in text for c in listed)
    assert " ".join(text.split()).count("(of quarry-lighthouse)") == 32
    assert max(map(len, text.splitlines())) <= 100
