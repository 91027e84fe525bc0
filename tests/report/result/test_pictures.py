"""A link's picture: both ways, what arrives, what is off; in plain characters and in the page."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import Any

import pytest

from tests.as_seen import observation
from tests.report.conftest import HOSTILE, example
from verifier.model.observations import Observation
from verifier.model.plan import Carrier, Device, End, Link, Plan
from verifier.model.problem import Subject
from verifier.model.result import Finding, Result
from verifier.report.result import FORMATS
from verifier.report.result.links import drawn_links
from verifier.report.result.pictures import Picture, lines, picture, pictures
from verifier.report.style import Annex, ReportStyle
from verifier.rules.alignment import Live

html: Any = FORMATS["html"]
text: Any = FORMATS["text"]

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


def seen(device: str, what: str, *values: object) -> list[Observation[Any]]:
    subject = Subject("device", device)
    return [observation(id=0, subject=subject, probe="snmp", what=what, at="", value=v)
            for v in values]  # fmt: skip


def drawn(
    found: list[Finding],
    shown: Iterable[Observation[Any]] = (),
    link: Link = HOP,
    sites: dict[str, str] | None = None,
) -> list[Picture]:
    live = Live(Plan(links=(link,)), shown)
    return [picture(link, c, sites or {}, found, live) for c in link.carriers]


def test_both_ways_with_what_arrives() -> None:
    """Found figures stand with the planned ones where they differ; what is not read says so."""
    (shown,) = drawn(FOUND)
    there, back = shown.directions
    assert there.sent == "13143 MHz at 12.0 dBm (planned 18.0)"
    assert there.level == "received -51.8 dBm, planned -45.8 dBm (-6.0 dB)"
    assert there.margin == "fade margin 20.2 dB (planned 25.0)"
    assert (there.verdict, back.verdict) == ("fail", "not-tested")
    assert back.sent == "planned 12877 MHz at 18.0 dBm"
    assert back.level == "no level read, planned -45.6 dBm"
    assert (there.arrives, back.arrives) == (True, None)
    assert shown.verdict == "fail"
    assert shown.off[0] == "end a, radio.tx-power: radio.tx-power says so"
    assert len(shown.off) == 4


@pytest.mark.parametrize(
    ("planned", "found", "level"),
    [
        (-45.6, finding("radio.rx-level", "a", "pass", expected=-45.6, observed=-45.9),
         "received -45.9 dBm, planned -45.6 dBm (-0.3 dB)"),
        (-45.6, finding("radio.rx-level", "a", "pass", expected=-37.6, observed=-38.0),
         "received -38.0 dBm, expected -37.6 dBm (-0.4 dB), planned -45.6"),
        (None, finding("radio.rx-level", "a", "pass", expected=-50.0, observed=-50.1),
         "received -50.1 dBm, expected -50.0 dBm (-0.1 dB)"),
        (-45.6, finding("radio.rx-level", "a", "fail", expected=-45.6),
         "nothing received, planned -45.6 dBm"),
        (-45.6, None, "received -46.1 dBm, planned -45.6 dBm (-0.5 dB)"),
        (None, None, "received -46.1 dBm, no planned level"),
    ],
)  # fmt: skip
def test_the_level_is_found_expected_and_planned(
    planned: float | None, found: Finding | None, level: str
) -> None:
    """What a finding says comes first; without one, the median of what the device showed."""
    ends = Carrier(a=dataclasses.replace(A, rx_level_dbm=planned), b=B)
    link = dataclasses.replace(HOP, carriers=(ends,))
    samples = seen("lighthouse", "rx_level_dbm", -46.0, -46.1, -46.2)
    (shown,) = drawn([found] if found else [], samples, link)
    assert shown.directions[1].level == level


def test_a_muted_way_is_broken() -> None:
    """Where nothing arrives no power and no margin is claimed, and the arrow has gaps."""
    muted = [
        finding("radio.transmitter", "a", "fail", observed="off"),
        finding("radio.rx-level", "b", "fail", expected=-45.8),
    ]
    (shown,) = drawn(muted, seen("quarry", "snr_db", 0.0))
    there = shown.directions[0]
    assert (there.sent, there.margin) == ("planned 13143 MHz, transmitter off", "")
    assert "- - - planned 13143 MHz, transmitter off - - -" in "\n".join(lines(shown))


def test_samples_that_are_mostly_gaps_are_no_level() -> None:
    """A single figure among marks for nothing is not what arrives."""
    (shown,) = drawn([], seen("lighthouse", "rx_level_dbm", None, -46.0, None))
    assert shown.directions[1].level == "no level read, planned -45.6 dBm"


@pytest.mark.parametrize("width", [60, 80, 100])
def test_in_plain_characters(width: int) -> None:
    """Arrows point where the power goes; nothing is wider than the page."""
    (shown,) = drawn(FOUND, seen("quarry", "snr_db", 38.0), sites={"quarry": "Quarry"})
    made = lines(shown, width)
    assert made[0] == "Hop 1"
    there, back = (line for line in made if "[a]" in line)
    assert there.strip().endswith("> [b]")
    assert back.strip().startswith("[a] <")
    assert "at b: received -51.8 dBm" in "\n".join(made)
    assert "SNR 38.0 dB" in "\n".join(made)
    assert max(map(len, made)) <= width
    assert all(line.isascii() for line in made)


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_stay_in_their_line(name: str) -> None:
    """Whatever a device is called, no line is longer or steers the terminal."""
    ends = Carrier(a=dataclasses.replace(A, device=name), b=dataclasses.replace(B, device=name))
    link = dataclasses.replace(HOP, name=name, carriers=(ends,))
    found = [dataclasses.replace(FOUND[1], reason=name)]
    made = lines(drawn(found, link=link, sites={name: name})[0])
    assert max(map(len, made[1:4])) <= 100
    assert all(line.isprintable() for line in made)


def test_several_carriers_each_have_their_own() -> None:
    """A finding, and a reading, of one carrier is not shown at the other."""
    second = dataclasses.replace(HOP.carriers[0], carrier=2)
    link = dataclasses.replace(HOP, carriers=(*HOP.carriers, second))
    levels = [
        *seen("lighthouse", "rx_level_dbm", -46.0),
        *seen("lighthouse", "rx_level_dbm radio:2", -52.0),
    ]
    one, two = drawn(FOUND[:4], levels, link)
    assert (one.name, two.name) == ("Hop 1, carrier 1", "Hop 1, carrier 2")
    assert (len(one.off), two.off) == (3, ())
    assert two.directions[0].sent == "planned 13143 MHz at 18.0 dBm"
    found = [p.directions[1].level for p in (one, two)]
    assert [level.split()[1] for level in found] == ["-46.0", "-52.0"]


def test_two_radios_of_one_device_are_not_mixed_up() -> None:
    """One plain reading of a device with two radios is that of its first."""
    second = dataclasses.replace(HOP.carriers[0], carrier=2)
    link = dataclasses.replace(HOP, carriers=(*HOP.carriers, second))
    one, two = drawn([], seen("lighthouse", "rx_level_dbm", -46.0), link)
    assert one.directions[1].level.startswith("received -46.0 dBm")
    assert two.directions[1].level.startswith("no level read")


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
    look = ReportStyle(annex=Annex(plan=plan))
    assert [p.name for p in pictures(plan, result)] == ["Hop 1"]
    assert "at b: received -51.8 dBm" in text(result, look)
    right = tuple(dataclasses.replace(f, verdict="pass") for f in result.findings)
    sound = dataclasses.replace(result, findings=right)
    assert "at b:" not in text(sound, look)
    assert "at b:" in text(sound, dataclasses.replace(look, verbose=True))
    page = html(result, look)
    assert "From a to b: 13143 MHz at 12.0 dBm (planned 18.0); received -51.8 dBm" in str(page)


def test_the_table_of_ends_shows_what_is_handed_over() -> None:
    """Identity, power, level with its deviation, SNR and key, whether or not they are planned."""
    result, plan = whole()
    shown = [
        *seen("lighthouse", "snr_db", 38.0), *seen("lighthouse", "key_capacity_mbps", 190.0),
        *seen("lighthouse", "serial", "000123"), *seen("lighthouse", "software", ""),
        *seen("quarry", "tx_power_dbm", 17.5),
    ]  # fmt: skip
    row = drawn_links(plan, dataclasses.replace(result, observations=tuple(shown)))[0]
    found = {r["title"]: [(e["planned"], e["found"]) for e in r["ends"]] for r in row["rows"]}
    assert found["Serial"] == [(None, "000123"), (None, None)]
    assert found["SNR"] == [(None, "38 dB"), (None, None)]
    assert found["Feature key"] == [(None, "190 Mbit/s"), (None, None)]
    assert found["Tx power"] == [("18 dBm", "12 dBm"), ("18 dBm", "17.5 dBm")]
    assert found["Rx level"] == [("-45.6 dBm", None), ("-45.8 dBm", "-51.8 dBm (-6.0 dB)")]
    assert "Software" not in found


def test_a_device_called_like_a_link_keeps_its_findings() -> None:
    """Names are unique among links and among devices, not across both."""
    result, plan = whole()
    link = Finding(
        check="identity.name", subject=Subject("device", "Hop 2"), verdict="fail", reason="x"
    )
    other = dataclasses.replace(result, findings=(link,))
    assert drawn_links(plan, other) == []


def test_what_is_off_for_one_reason_is_said_once() -> None:
    """Five checks of a silent end are one text; another reason, and another end, is its own."""
    names = [f"radio.{n}" for n in ("bandwidth", "lock", "atpc", "snr", "eirp")]
    silent = [finding(n, "b", "not-tested", reason="SNMP gave no values") for n in names]
    other = [finding("radio.lock", "a", "not-tested", reason="SNMP gave no values"),
             finding("radio.xpi", "b", "fail", reason="too low")]  # fmt: skip
    shown = picture(HOP, HOP.carriers[0], {}, [*silent, *other], Live(Plan(links=(HOP,)), ()))
    assert shown.off == (
        "end b, radio.xpi: too low",
        "end b, radio.bandwidth, radio.lock, radio.atpc and 2 more: SNMP gave no values",
        "end a, radio.lock: SNMP gave no values",
    )
