"""Habits of such sheets: each form gives its value, or a plain reason why it gives none."""

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.errors import InputError
from verifier.files.mapping.habits import (
    FIELDS_OF,
    FORMS,
    Half,
    channel_of,
    emission_bandwidth,
    feeder_loss,
    modulation_of,
    of_subnet,
    other_frequency,
)
from verifier.files.mapping.read_mapping import read_mapping
from verifier.files.propose_mapping import propose
from verifier.files.read_plan import read_plan


@pytest.mark.parametrize(
    ("text", "hertz"),
    [
        ("H002", "0.002"), ("H100", "0.1"), ("25H3", "25.3"), ("400H", "400"), ("2K40", "2400"),
        ("6K00", "6000"), ("12K5", "12500"), ("180K", "180000"), ("181K", "181000"),
        ("1M25", "1250000"), ("2M00", "2000000"), ("10M0", "10000000"), ("202M", "202000000"),
        ("5G65", "5650000000"),
    ],
)  # fmt: skip
def test_bandwidths_are_those_of_the_radio_regulations(text: str, hertz: str) -> None:
    """Radio Regulations, appendix 1, section I, No. 2, the table of examples."""
    assert Decimal(emission_bandwidth(text)) * 1_000_000 == Decimal(hertz)


@pytest.mark.parametrize(
    ("text", "megahertz"),
    [
        ("28M0D7W", "28"),
        ("28M0 D7W", "28"),
        ("56m0d7wet", "56"),
        ("7M00G7W", "7"),
        ("1G25D7W", "1250"),
    ],
)
def test_a_class_of_emission_may_follow(text: str, megahertz: str) -> None:
    assert emission_bandwidth(text) == megahertz


@pytest.mark.parametrize(
    "text", ["28", "28MHz", "028M", "M280", "K280", "28M0D", "28M00D7W", "", "28D7W", "D7W"]
)
def test_what_is_no_designator_is_refused(text: str) -> None:
    """The first character is neither 0 nor K, M or G (appendix 1, section I, No. 2)."""
    with pytest.raises(ValueError, match="no emission designator"):
        emission_bandwidth(text)


@given(st.integers(1, 999), st.sampled_from("KMG"), st.integers(0, 2))
def test_three_digits_and_a_letter_are_what_they_were_made_of(
    digits: int, letter: str, place: int
) -> None:
    """Written as the rule says and read back: the same bandwidth."""
    figure = f"{digits:03}"
    text = figure[: place + 1] + letter + figure[place + 1 :]
    if figure[0] == "0":
        return
    size = {"K": Decimal("0.001"), "M": Decimal(1), "G": Decimal(1000)}[letter]
    meant = Decimal(digits) / Decimal(10) ** (2 - place) * size
    assert Decimal(emission_bandwidth(text)) == meant


@pytest.mark.parametrize(
    ("text", "channel", "half"),
    [("4", "4", "low"), ("4'", "4", "high"), ("4\u2032", "4", "high"), ("4\u2019", "4", "high"),
     ("Ch 12'", "12", "high"), ("ch. 3", "3", "low"), (" 7 ' ", "7", "high")],
)  # fmt: skip
def test_a_prime_is_the_upper_half_and_no_foot(text: str, channel: str, half: str) -> None:
    assert channel_of(text) == (channel, half)


@pytest.mark.parametrize("text", ["4''", "four", "", "4/4'", "1234", "4.5"])
def test_what_is_no_channel_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="no channel"):
        channel_of(text)


@pytest.mark.parametrize(
    ("low", "high", "spacing", "source"),
    [
        ("5945.20", "6197.24", "252.04", "ITU-R F.383, channel 1"),
        ("10735", "11265", "530", "ITU-R F.387 annex 1, channel 2"),
        ("17727.5", "18737.5", "1010", "ITU-R F.595, channel 1"),
        ("21238", "22470", "1232", "ITU-R F.637 annex 1, channel 1"),
    ],
)
def test_one_frequency_the_spacing_and_the_half_give_the_other(
    low: str, high: str, spacing: str, source: str
) -> None:
    assert source
    assert Decimal(other_frequency(low, spacing, "low")) == Decimal(high)
    assert Decimal(other_frequency(high, spacing, "high")) == Decimal(low)
    assert Decimal(other_frequency(high, f"-{spacing}", "high")) == Decimal(low)


@given(
    st.decimals(1000, 90000, places=3),
    st.decimals(1, 5000, places=3),
    st.sampled_from(["high", "low"]),
)
def test_the_other_of_the_other_is_the_first(
    frequency: Decimal, spacing: Decimal, half: Half
) -> None:
    other = other_frequency(f"{frequency:f}", f"{spacing:f}", half)
    back = other_frequency(other, f"{spacing:f}", "low" if half == "high" else "high")
    assert Decimal(back) == frequency


@pytest.mark.parametrize(
    ("text", "plain", "variant"),
    [
        ("256QAM-strong", "256QAM", "strong"), ("256 QAM Light", "256 QAM", "Light"),
        ("128-QAM (high gain)", "128-QAM", "high gain"), ("QPSK_strong", "QPSK", "strong"),
        ("256QAM", "256QAM", ""), ("C4FM", "C4FM", ""),
    ],
)  # fmt: skip
def test_a_variant_of_the_coding_stands_beside_the_modulation(
    text: str, plain: str, variant: str
) -> None:
    assert modulation_of(text) == (plain, variant)


@pytest.mark.parametrize(
    ("text", "loss"),
    [
        ("WG7 x 45 m x 4.5 dB/100m", "2.025"),
        ("WG7 \xd7 45m \xd7 4.5 dB/100 m", "2.025"),
        ("45 m x 0.045 dB/m", "2.025"),
        ("elliptic * 100 ft * 4.5 dB/100m", "1.3716"),
        ("4.5 dB/100m; 45 m", "2.025"),
    ],
)
def test_a_feeder_of_a_length_has_its_loss(text: str, loss: str) -> None:
    assert feeder_loss(text) == loss


@pytest.mark.parametrize(
    "text", ["WG7 x 45 m", "WG7", "45 x 4.5", "45 m x 4.5 dB", "45 m x 40 m x 4.5 dB/100m", ""]
)
def test_a_feeder_without_length_or_loss_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"is not type x length x loss|two lengths"):
        feeder_loss(text)


@pytest.mark.parametrize(
    ("octet", "subnet", "address"),
    [
        ("12", "198.18.20.0/24", "198.18.20.12/24"), (".12", "198.18.20.0/24", "198.18.20.12/24"),
        (12, "198.18.20.0/24", "198.18.20.12/24"), ("201", "198.18.20.200/29", "198.18.20.201/29"),
    ],
)  # fmt: skip
def test_a_last_octet_is_an_address_of_its_subnet(octet: Any, subnet: str, address: str) -> None:
    assert of_subnet(octet, subnet) == address


@pytest.mark.parametrize(
    ("octet", "subnet", "words"),
    [
        ("256", "198.18.20.0/24", "no last octet"),
        ("12.3", "198.18.20.0/24", "no last octet"),
        ("12", "198.18.20.200/29", "is not in"),
        ("12", "198.18.0.0/16", "does not tell an address"),
        ("12", "2001:db8::/64", "does not tell an address"),
    ],
)
def test_an_octet_outside_its_subnet_is_refused(octet: str, subnet: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        of_subnet(octet, subnet)


# By a mapping.

LINK = '[[table]]\nrow = "link"\n[table.columns]\n"L" = "Links.name"\n"A" = "Links.a.device"\n"B" = "Links.b.device"\n'


@pytest.fixture
def sheet(tmp_path: Path) -> Any:
    """Reads a sheet of three columns and some more by lines of a mapping."""

    def read(headings: str, rows: list[str], lines: str) -> Any:
        body = "".join(f"h{n},r{n},s{n},{row}\n" for n, row in enumerate(rows, 1))
        (tmp_path / "l.csv").write_text(f"L,A,B,{headings}\n{body}", encoding="utf-8")
        (tmp_path / "m.toml").write_text(
            f'format = "plan-verifier/mapping/1"\n{LINK}{lines}\n', encoding="utf-8"
        )
        return read_plan(tmp_path / "l.csv", tmp_path / "m.toml")

    return read


def _errors(problems: Any) -> list[str]:
    return [p.message for p in problems if p.severity == "error" and p.rule == "unreadable-cell"]


def test_an_emission_designator_gives_the_bandwidth(sheet: Any) -> None:
    line = '"Emission" = {field = "Links.bandwidth_mhz", form = "emission"}'
    plan, problems = sheet("Emission", ["28M0D7W", "7M00D7W", "28"], line)
    assert [link.bandwidth_mhz for link in plan.links] == [28, 7, None]
    assert _errors(problems) == ["'28' is no emission designator such as 28M0D7W"]


def test_a_channel_gives_its_number_and_the_half(sheet: Any) -> None:
    line = '"Ch" = {field = ["Links.channel", "Devices.a.tx_band"], form = "channel"}'
    plan, problems = sheet("Ch,IP A,IP B", ["4',198.18.0.1/24,198.18.0.2/24", "5,198.18.0.3/24,198.18.0.4/24"],
                           f'{line}\n"IP A" = "Devices.a.address"\n"IP B" = "Devices.b.address"')  # fmt: skip
    assert [link.channel for link in plan.links] == ["4", "5"]
    assert {d.name: d.tx_band for d in plan.devices if d.name[0] == "r"} == {
        "r1": "high",
        "r2": "low",
    }
    assert _errors(problems) == []


def test_channels_without_any_prime_tell_no_half(sheet: Any) -> None:
    line = '"Ch" = {field = ["Links.channel", "Devices.a.tx_band"], form = "channel"}'
    plan, problems = sheet("Ch,IP A", ["4,198.18.0.1/24"], f'{line}\n"IP A" = "Devices.a.address"')
    assert plan.links[0].channel == "4"
    assert "may have lost" in _errors(problems)[0]


def test_one_frequency_gives_both(sheet: Any) -> None:
    lines = (
        '"F" = {field = "Links.a.tx_mhz", pair = true}\n"TR" = "Links.duplex_spacing_mhz"\n'
        '"HL" = "Devices.a.tx_band"\n"IP A" = "Devices.a.address"\n'
    )
    rows = ["12877,266,low,198.18.0.1/24", "13171,266,Hi,198.18.0.3/24", "12877,,low,198.18.0.5/24"]
    plan, problems = sheet("F,TR,HL,IP A", rows, lines)
    assert [link.carriers[0].b.tx_mhz for link in plan.links] == [13143, 12905, None]
    assert _errors(problems) == [
        "the other end's frequency does not follow: the row has no T/R spacing"
    ]


def test_a_magnetic_azimuth_is_made_true(sheet: Any) -> None:
    lines = '"Az (deg)" = {field = "Links.a.azimuth_deg", plus = 3.5}'
    plan, _ = sheet("Az (deg)", ["54.48", "358", "0"], lines)
    assert [link.carriers[0].a.azimuth_deg for link in plan.links] == [57.98, 1.5, 3.5]


def test_unsigned_levels_become_levels_where_a_person_says_so(sheet: Any) -> None:
    heading = "RSL (dBm)"
    plan, problems = sheet(heading, ["45.6"], f'"{heading}" = "Links.a.rx_level_dbm"')
    assert [p.rule for p in problems if "no sign" in p.message] == ["figures-doubtful"]
    line = f'"{heading}" = {{field = "Links.a.rx_level_dbm", factor = -1}}'
    plan, problems = sheet(heading, ["45.6"], line)
    assert plan.links[0].carriers[0].a.rx_level_dbm == -45.6
    assert not [p for p in problems if "no sign" in p.message]


def test_a_last_octet_takes_its_subnet_from_the_mapping_or_a_column(sheet: Any) -> None:
    line = '"IP" = {field = "Devices.a.address", form = "last octet", subnet = "198.18.20.0/24"}'
    plan, _ = sheet("IP", ["12"], line)
    assert str(plan.devices[0].address) == "198.18.20.12/24"
    line = '"IP" = {field = "Devices.a.address", form = "last octet", subnet = "{Net}"}\n"Net" = {leave_out = "subnet"}'
    plan, problems = sheet("IP,Net", [".12,198.18.21.0/24", "13,"], line)
    assert str(plan.devices[0].address) == "198.18.21.12/24"
    assert len(_errors(problems)) == 1


def test_a_variant_and_a_feeder(sheet: Any) -> None:
    lines = (
        '"Mod" = {field = "Links.modulation", form = "variant"}\n'
        '"Feeder" = {field = "Links.a.line_loss_db", form = "feeder"}'
    )
    plan, problems = sheet("Mod,Feeder", ["256QAM-strong,WG7 x 45 m x 4.5 dB/100m"], lines)
    assert plan.links[0].modulation_max == "256QAM"
    assert plan.links[0].carriers[0].a.line_loss_db == 2.025
    assert _errors(problems) == []


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('{field = "Links.channel", form = "emission"}', "gives bandwidth_mhz, not Links.channel"),
        ('{field = "Links.channel", form = "prime"}', "form"),
        ('{field = "Devices.a.address", form = "last octet"}', "stand together"),
        ('{field = "Devices.a.address", subnet = "198.18.0.0/24"}', "stand together"),
        ('{field = "Devices.a.address", form = "last octet", subnet = "here"}', "here"),
        ('{field = "Links.path_km", pair = true}', "belongs to the tx_mhz of one end"),
    ],
)
def test_a_form_that_gives_another_field_is_told(tmp_path: Path, line: str, words: str) -> None:
    path = tmp_path / "m.toml"
    path.write_text(f'format = "plan-verifier/mapping/1"\n{LINK}"X" = {line}\n')
    with pytest.raises(InputError) as caught:
        read_mapping(path)
    assert words in str(caught.value)


def test_a_secret_is_not_made_into_anything(tmp_path: Path) -> None:
    path = tmp_path / "m.toml"
    made = '[table.made]\n"Devices.a.label" = "{SNMP RO}"\n'
    path.write_text(f'format = "plan-verifier/mapping/1"\n{LINK}{made}')
    with pytest.raises(InputError, match="looks like a secret"):
        read_mapping(path)


def test_every_form_has_its_fields() -> None:
    assert set(FIELDS_OF) == set(FORMS)


# In a proposal.


@pytest.mark.parametrize(
    ("heading", "values", "line"),
    [
        ("Emission designator", ["28M0D7W", "7M00D7W"],
         '{field = "Links.bandwidth_mhz", form = "emission"}'),
        ("Modulation", ["256QAM-strong", "128QAM"], "the variant of the coding (strong)"),
        ("Channel", ["4'", "5"], 'form = "channel"'),
        ("RSL A (dBm)", ["45.6", "44"], "factor = -1"),
        ("EIRP A (dBW)", ["23.5", "24"], '{field = "Links.a.max_eirp_dbm", unit = "dBW"}'),
        ("Gain A (dBd)", ["34", "35"], '{field = "Links.a.antenna_dbi", unit = "dBd"}'),
        ("Capacity (MB/s)", ["19", "21"], 'unit = "Mbyte/s"'),
        ("Distance (nm)", ["6.2", "10"], 'unit = "nmi"'),
        ("Capacity (Mbps)", ['"1,000"', '"2,000"'], 'decimal = ","'),
        ("Azimuth A (gon)", ["64.4", "399"], '{field = "Links.a.azimuth_deg", unit = "gon"}'),
        ("Feeder A loss (dB)", ["WG7 x 45 m x 4.5 dB/100m", "2.1"], 'form = "feeder"'),
    ],
)  # fmt: skip
def test_a_proposal_names_the_form_of_a_column(
    tmp_path: Path, heading: str, values: list[str], line: str
) -> None:
    """Where it is sure it is written so; else it is one of the readings of an unsure line."""
    body = "".join(f"h{n},r{n},s{n},198.18.0.{n},{v}\n" for n, v in enumerate(values, 1))
    (tmp_path / "l.csv").write_text(f"Link,Radio A,Radio B,IP A,{heading}\n{body}")
    propose(tmp_path / "l.csv", tmp_path / "m.toml")
    text = (tmp_path / "m.toml").read_text()
    assert line in text, text


def test_a_secret_is_not_shown_in_a_proposal(tmp_path: Path) -> None:
    (tmp_path / "l.csv").write_text(
        "Link,Radio A,Radio B,IP A,PIN A,SNMP RO\nh,r,s,198.18.0.1,4711,tide\n"
    )
    shown = repr(propose(tmp_path / "l.csv", tmp_path / "m.toml"))
    for text in (shown, (tmp_path / "m.toml").read_text()):
        assert "4711" not in text
        assert "tide" not in text


# A house's own words.


def test_a_house_says_its_words_in_its_mapping(tmp_path: Path) -> None:
    """Its names of ends, and what it keeps secret."""
    (tmp_path / "e.csv").write_text("L,E,Unit,Hatch\nhop,Foot,south,tide\nhop,Head,ridge,tide\n")
    (tmp_path / "m.toml").write_text(
        'format = "plan-verifier/mapping/1"\n[words]\n"end a" = ["Head"]\n"end b" = ["Foot"]\n'
        'secret = ["Hatch"]\n[[table]]\nrow = "end"\n[table.columns]\n"L" = "Links.name"\n'
        '"E" = "Links.end"\n"Unit" = "Links.device"\n'
    )
    plan, problems = read_plan(tmp_path / "e.csv", tmp_path / "m.toml")
    carrier = plan.links[0].carriers[0]
    assert (carrier.a.device, carrier.b.device) == ("ridge", "south")
    assert "secret-in-plan" in [p.rule for p in problems]
    assert "tide" not in repr(plan) + repr(problems)


@pytest.mark.parametrize(
    "ends", ["Near,Far", "West,East", "Site 1,Site 2", "A-Ende,B-Ende", "Origen,Destino"]
)
def test_words_for_ends_are_known_in_cells(tmp_path: Path, ends: str) -> None:
    first, second = ends.split(",")
    (tmp_path / "e.csv").write_text(f"L,E,Unit\nhop,{second},south\nhop,{first},ridge\n")
    (tmp_path / "m.toml").write_text(
        'format = "plan-verifier/mapping/1"\n[[table]]\nrow = "end"\n[table.columns]\n'
        '"L" = "Links.name"\n"E" = "Links.end"\n"Unit" = "Links.device"\n'
    )
    plan, _ = read_plan(tmp_path / "e.csv", tmp_path / "m.toml")
    assert plan.links[0].carriers[0].a.device == "ridge"


def test_words_of_a_house_for_nothing_are_told(tmp_path: Path) -> None:
    (tmp_path / "m.toml").write_text(
        f'format = "plan-verifier/mapping/1"\n[words]\n"Links.colour" = ["Farbe"]\n{LINK}'
    )
    with pytest.raises(InputError, match="is no field"):
        read_mapping(tmp_path / "m.toml")


@pytest.mark.parametrize(
    ("headings", "line"),
    [
        ("Latitud,Longitud", '"Longitud" = {field = "Sites.longitude", unit = "deg"}'),
        ("Lugar,Longitud", '"Longitud" = "unsure"'),
    ],
)
def test_a_longitude_is_known_beside_a_latitude(tmp_path: Path, headings: str, line: str) -> None:
    """In Spanish it may be a length as well."""
    (tmp_path / "s.csv").write_text(
        f"Equipo,Direcci\xf3n IP,{headings}\nr,198.18.0.1,47.1,20.0723\n", encoding="utf-8"
    )
    propose(tmp_path / "s.csv", tmp_path / "m.toml")
    assert line in (tmp_path / "m.toml").read_text(encoding="utf-8")
