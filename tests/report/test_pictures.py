"""A link's picture: both ways, what arrives, what is off; in plain characters and in the page."""

from __future__ import annotations

import dataclasses

import pytest

from tests.report.conftest import HOSTILE, example
from verifier.model.plan import Carrier, Device, End, Link, Plan
from verifier.model.result import Finding, Result
from verifier.model.subject import Subject
from verifier.report import Annex, Look, html, text
from verifier.report.pictures import lines, picture, pictures

A = End(device="lighthouse", tx_mhz=13143.0, tx_power_dbm=18.0, rx_level_dbm=-45.6)
B = End(device="quarry", tx_mhz=12877.0, tx_power_dbm=18.0, rx_level_dbm=-45.8)
HOP = Link(name="Hop 1", carriers=(Carrier(a=A, b=B),))


def finding(check: str, end: str | None, verdict: str, **more: object) -> Finding:
    subject = Subject("link", "Hop 1", carrier=1, end=end)  # type: ignore[arg-type]
    values = {"reason": f"{check} says so"} | more
    return Finding(check=check, subject=subject, verdict=verdict, **values)  # type: ignore[arg-type]


FOUND = [
    finding("radio.tx-frequency", "a", "pass", expected=13143.0, observed=13143.0),
    finding("radio.tx-power", "a", "fail", expected=18.0, observed=12.0),
    finding("radio.rx-level", "b", "fail", expected=-45.8, observed=-51.8),
    finding("radio.fade-margin", "b", "warn", expected=25.0, observed=20.2),
    finding("radio.rx-level", "a", "not-tested", reason="no reading"),
]


def test_both_ways_with_what_arrives() -> None:
    """Found figures stand where there are any, planned ones else; the far end's arrow fails."""
    shown = picture(HOP, HOP.carriers[0], {"lighthouse": "Lighthouse"}, FOUND)
    there, back = shown.directions
    assert there.sent == "13143 MHz at 12.0 dBm"
    assert there.level == "-51.8 dBm arrive, planned -45.8 dBm (-6.0 dB)"
    assert there.margin == "fade margin 20.2 of 25.0 dB"
    assert (there.verdict, back.verdict) == ("fail", "not-tested")
    assert back.sent == "12877 MHz at 18.0 dBm"
    assert back.level == "level not tested, planned -45.6 dBm"
    assert shown.verdict == "fail"
    assert shown.off[0] == "end a, radio.tx-power: radio.tx-power says so"
    assert len(shown.off) == 4


def test_in_plain_characters() -> None:
    """Arrows point where the power goes; nothing is wider than the page."""
    drawn = lines(picture(HOP, HOP.carriers[0], {"quarry": "Quarry"}, FOUND))
    assert drawn[0] == "Hop 1"
    there, back = (line for line in drawn if "[a]" in line)
    assert there.strip().endswith("> [b]")
    assert back.strip().startswith("[a] <")
    assert "at b: -51.8 dBm arrive" in "\n".join(drawn)
    assert max(map(len, drawn)) <= 100
    assert all(line.isascii() for line in drawn)


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_stay_in_their_line(name: str) -> None:
    """Whatever a unit is called, no line is longer or steers the terminal."""
    ends = Carrier(a=dataclasses.replace(A, device=name), b=dataclasses.replace(B, device=name))
    link = dataclasses.replace(HOP, name=name, carriers=(ends,))
    drawn = lines(picture(link, ends, {name: name}, [dataclasses.replace(FOUND[1], reason=name)]))
    assert max(map(len, drawn[1:4])) <= 100
    assert all(line.isprintable() for line in drawn)


def test_several_carriers_each_have_their_own() -> None:
    """A finding of one carrier is not shown at the other."""
    second = dataclasses.replace(HOP.carriers[0], carrier=2)
    link = dataclasses.replace(HOP, carriers=(*HOP.carriers, second))
    one, two = (picture(link, c, {}, FOUND) for c in link.carriers)
    assert (one.name, two.name) == ("Hop 1, carrier 1", "Hop 1, carrier 2")
    assert (len(one.off), two.off) == (4, ())
    assert two.directions[0].sent == "13143 MHz at 18.0 dBm"


def whole() -> tuple[Result, Plan]:
    result, _ = example()
    plan = Plan(
        devices=tuple(
            Device(name=n, address=example()[1].devices[0].address)
            for n in ("lighthouse", "quarry")
        ),
        links=(HOP, dataclasses.replace(HOP, name="Hop 2")),
    )
    numbered = tuple(dataclasses.replace(f, id=f"f{n}") for n, f in enumerate(FOUND))
    return dataclasses.replace(result, findings=numbered, causes=()), plan


def test_the_reports_show_it() -> None:
    """In the text where something is off; in the page always, with words for who cannot see."""
    result, plan = whole()
    look = Look(annex=Annex(plan=plan))
    assert [p.name for p in pictures(plan, result)] == ["Hop 1"]
    assert "at b: -51.8 dBm arrive" in text(result, look)
    right = tuple(dataclasses.replace(f, verdict="pass") for f in result.findings)
    sound = dataclasses.replace(result, findings=right)
    assert "at b:" not in text(sound, look)
    assert "at b:" in text(sound, dataclasses.replace(look, verbose=True))
    page = html(result, look)
    assert "a to b: 13143 MHz at 12.0 dBm, -51.8 dBm arrive" in str(page)
