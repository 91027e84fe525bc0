"""Headings in four languages: field, end, and what else they say; secrets in a dozen."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.files.mapping.dictionary import columns_by_field, words_of_trade
from verifier.files.mapping.tokens import compound
from verifier.files.mapping.words import ends_are_numbered, guess, side_of
from verifier.files.plan.columns import sheets
from verifier.files.trade_words import folded, looks_secret, spellings, table

TX, RX, LEVEL, POWER = "Links.tx_mhz", "Links.rx_mhz", "Links.rx_level_dbm", "Links.tx_power_dbm"
HEIGHT, GROUND, ADDRESS = "Links.antenna_height_m", "Sites.ground_amsl_m", "Devices.address"
GAIN, DISH = "Links.antenna_dbi", "Links.antenna_diameter_m"


@pytest.mark.parametrize(
    ("heading", "field", "side"),
    [
        # English
        ("Hop", "Links.name", ""), ("Link ID", "Links.name", ""), ("Node", "Sites.name", ""),
        ("TX A (MHz)", TX, "a"), ("Tx freq B [GHz]", TX, "b"), ("Freq. GHz Site A", TX, "a"),
        ("Rx frequency A (MHz)", RX, "a"), ("RSL A", LEVEL, "a"), ("Rx level (dBm) B", LEVEL, "b"),
        ("Rx (dBm)", LEVEL, ""), ("Rx (MHz)", RX, ""), ("Tx (dBm)", POWER, ""),
        ("Planned RSL (dBm)", LEVEL, ""), ("Nominal Rx level A", LEVEL, "a"),
        ("Unfaded RSL (dBm)", LEVEL, ""), ("Median RSL (dBm)", LEVEL, ""),
        ("Output power A (dBm)", POWER, "a"), ("EIRP (dBW)", "Links.max_eirp_dbm", ""),
        ("Ant. height A (m AGL)", HEIGHT, "a"), ("Ground elevation (m AMSL)", GROUND, ""),
        ("Elevation (m)", GROUND, ""), ("Elevation (deg)", "Links.tilt_deg", ""),
        ("Dish B (m)", DISH, "b"), ("Antenna gain A (dBi)", GAIN, "a"),
        ("Hop length (km)", "Links.path_km", ""), ("Distance (nm)", "Links.path_km", ""),
        ("Channel width", "Links.bandwidth_mhz", ""), ("BW", "Links.bandwidth_mhz", ""),
        ("Emission designator", "Links.bandwidth_mhz", ""), ("Channel", "Links.channel", ""), ("Ch. no. A", "Links.channel", "a"),
        ("T/R spacing", "Links.duplex_spacing_mhz", ""), ("Hi/Lo A", "Devices.tx_band", "a"),
        ("Feeder loss (dB)", "Links.line_loss_db", ""), ("Tx coupler loss", "Links.tx_loss_db", ""),
        ("DCN IP A", ADDRESS, "a"), ("OAM address", ADDRESS, ""), ("Mgmt IP/Mask", ADDRESS, ""),
        ("Default GW", "Devices.gateway", ""), ("Old IP", "Devices.present_address", ""),
        ("S/N", "Devices.serial", ""), ("VLAN", "Devices.management_vlan", ""),
        ("tx_power_dbm_a", POWER, "a"), ("RxLevelB", LEVEL, "b"), ("siteNameA", "Sites.name", "a"),
        ("True azimuth A (deg)", "Links.azimuth_deg", "a"), ("Valid until", "Links.licence.valid_until", ""),
        # German
        ("Strecke", "Links.name", ""), ("Richtfunkstrecke Nr.", "Links.name", ""),
        ("Sendefrequenz A [GHz]", TX, "a"), ("Empfangsfrequenz B", RX, "b"),
        ("Empfangspegel B (dBm)", LEVEL, "b"), ("Sollpegel", LEVEL, ""), ("Sendeleistung", POWER, ""),
        ("Antennenh\xf6he A (m \xfc. Grund)", HEIGHT, "a"), ("Antennenhoehe A", HEIGHT, "a"),
        ("Gel\xe4ndeh\xf6he (m \xfc. NN)", GROUND, ""), ("H\xf6he \xfcber NN (m)", GROUND, ""),
        ("Antennengewinn", GAIN, ""), ("Antennendurchmesser", DISH, ""),
        ("Streckenl\xe4nge (km)", "Links.path_km", ""), ("Kanalbandbreite", "Links.bandwidth_mhz", ""),
        ("Ger\xe4teadresse", ADDRESS, ""), ("Ger\xe4tename", "Devices.name", ""),
        ("Subnetzmaske", "Devices.mask", ""), ("Standardgateway", "Devices.gateway", ""),
        ("Zuleitungsd\xe4mpfung", "Links.line_loss_db", ""), ("Duplexabstand", "Links.duplex_spacing_mhz", ""),
        ("Schwundreserve", "Links.fade_margin_db", ""), ("Breitengrad", "Sites.latitude", ""),
        ("Ist-IP", "Devices.present_address", ""), ("Seriennummer", "Devices.serial", ""),
        ("Rechtweisender Azimut", "Links.azimuth_deg", ""),
        # French
        ("Liaison", "Links.name", ""), ("Fr\xe9quence d'\xe9mission A (MHz)", TX, "a"),
        ("Fr\xe9quence de r\xe9ception B", RX, "b"), ("Niveau de r\xe9ception B (dBm)", LEVEL, "b"),
        ("Puissance d'\xe9mission A", POWER, "a"), ("PIRE (dBW)", "Links.max_eirp_dbm", ""),
        ("Hauteur antenne A (m/sol)", HEIGHT, "a"), ("Altitude (m)", GROUND, ""),
        ("Diam\xe8tre antenne B (m)", DISH, "b"), ("Gain d'antenne", GAIN, ""),
        ("Longueur du bond (km)", "Links.path_km", ""), ("Largeur de bande", "Links.bandwidth_mhz", ""),
        ("D\xe9bit (Mbit/s)", "Links.capacity_mbps", ""), ("Adresse IP", ADDRESS, ""),
        ("Masque de sous-r\xe9seau", "Devices.mask", ""), ("Passerelle", "Devices.gateway", ""),
        ("Num\xe9ro de s\xe9rie", "Devices.serial", ""), ("\xc9quipement", "Devices.name", ""),
        ("Affaiblissement guide", "Links.line_loss_db", ""), ("\xc9cart duplex", "Links.duplex_spacing_mhz", ""),
        # Spanish
        ("Enlace", "Links.name", ""), ("Frecuencia de transmisi\xf3n A (MHz)", TX, "a"),
        ("Nivel de recepci\xf3n A (dBm)", LEVEL, "a"), ("Potencia de transmisi\xf3n B", POWER, "b"),
        ("Altura de antena A (m)", HEIGHT, "a"), ("Altitud (m s.n.m.)", GROUND, ""),
        ("Di\xe1metro de antena B", DISH, "b"), ("Ganancia de antena", GAIN, ""),
        ("Longitud del enlace (km)", "Links.path_km", ""), ("Longitud del vano", "Links.path_km", ""), ("L\xe4nge (geogr.)", "Sites.longitude", ""), ("Longitud (deg)", "Sites.longitude", ""), ("N.\xba de serie", "Devices.serial", ""),
        ("Ancho de banda", "Links.bandwidth_mhz", ""), ("Direcci\xf3n IP A", ADDRESS, "a"),
        ("M\xe1scara", "Devices.mask", ""), ("Puerta de enlace", "Devices.gateway", ""),
        ("N\xfamero de serie", "Devices.serial", ""), ("Estaci\xf3n A", "Sites.name", "a"),
        ("Margen de desvanecimiento", "Links.fade_margin_db", ""),
    ],
)  # fmt: skip
def test_a_heading_is_known_in_four_languages(heading: str, field: str, side: str) -> None:
    found = guess(heading)
    assert found is not None
    assert (found.field, found.side, found.sure) == (field, side, True)


@pytest.mark.parametrize(
    ("heading", "side"),
    [
        ("IP A", "a"), ("Site B IP", "b"), ("A-end IP", "a"), ("End Z IP", "b"), ("ip_b", "b"),
        ("Near end IP", "near"), ("Far IP", "far"), ("Local IP", "near"), ("Remote IP", "far"),
        ("From IP", "near"), ("To IP", "far"), ("Base IP", "near"), ("Peer IP", "far"),
        ("Site 1 IP", "a"), ("Node 2 IP", "b"), ("Station 1 IP", "a"), ("End 2 IP", "b"),
        ("West IP", "a"), ("East IP", "b"), ("IP Ouest", "a"), ("IP Est", "b"), ("IP Oeste", "a"),
        ("IP Ost", "b"), ("IP Gegenstelle", "far"), ("IP von", "near"), ("IP nach", "far"),
        ("IP local", "near"), ("IP distant", "far"), ("IP origen", "near"), ("IP destino", "far"),
        ("IP (B)", "b"), ("Feeder A loss", "a"), ("DISTANCIA A LA TORRE", ""), ("IP", ""), ("Via IP", ""), ("Direcci\xf3n IP", ""),
    ],
)  # fmt: skip
def test_an_end_is_told_in_many_ways(heading: str, side: str) -> None:
    found = guess(heading)
    assert (found.side if found else "") == side


@pytest.mark.parametrize(
    ("heading", "field", "side"),
    [
        ("RSL A>B (dBm)", LEVEL, "b"), ("RSL B -> A", LEVEL, "a"), ("Tx A\u2192B (GHz)", TX, "a"),
        ("Tx power B>A", POWER, "b"), ("Azimuth A>B (deg)", "Links.azimuth_deg", "a"),
        ("Rx freq A>B", RX, "b"), ("Capacity A>B (Mbit/s)", "Links.capacity_mbps", ""),
        ("RSL West>East", LEVEL, "b"), ("EIRP 1>2 (dBm)", "Links.max_eirp_dbm", "a"),
    ],
)  # fmt: skip
def test_a_direction_belongs_to_who_sends_or_receives(heading: str, field: str, side: str) -> None:
    """What is sent from A to B is A's power, azimuth and frequency, but B's level."""
    found = guess(heading)
    assert found is not None
    assert (found.field, found.side) == (field, side)


def test_one_cell_for_both_ends_is_said() -> None:
    found = guess("IP A/B")
    assert found is not None
    assert (found.field, found.side, found.sure) == (ADDRESS, "both", False)
    assert "split" in found.reason


@pytest.mark.parametrize(
    ("text", "side"),
    [
        ("Near end", "near"), ("Site A: Quarry", "a"), ("Station 2", "b"), ("WEST", "a"),
        ("End B", "b"), ("Gegenstelle", "far"), ("Extremo B", "b"), ("A", "a"), ("Quarry", ""),
        ("Remote", "far"), ("Near to far", ""),
    ],
)  # fmt: skip
def test_a_label_or_a_sheet_name_tells_an_end(text: str, side: str) -> None:
    assert side_of(text) == side


@pytest.mark.parametrize(
    ("headings", "numbered"),
    [
        (["Site 1", "Site 2", "IP 1"], True),
        (["Gateway 1", "Gateway 2"], False),
        (["Site 1"], False),
    ],
)
def test_numbers_are_ends_where_places_are_numbered(headings: list[str], numbered: bool) -> None:  # noqa: FBT001
    assert ends_are_numbered(headings) is numbered
    found = guess("IP 2", numbered=numbered)
    assert found is not None
    assert (found.side, found.sure) == (("b", True) if numbered else ("", False))


@pytest.mark.parametrize(
    ("heading", "field", "words"),
    [
        ("Antenna height AMSL (m)", HEIGHT, "above sea level"),
        ("Ground elevation (m AGL)", GROUND, "above ground"),
        ("Height (m)", HEIGHT, "or Sites.ground_amsl_m"),
        ("Magnetic azimuth A", "Links.azimuth_deg", "plus = the declination"),
        ("Azimut missweisend", "Links.azimuth_deg", "magnetic"),
        ("Latitude (ED50)", "Sites.latitude", "another datum"),
        ("RSL with ATPC", LEVEL, "the level with ATPC"),
        ("RSL measured (dBm)", LEVEL, "as built or measured"),
        ("Pegel gemessen", LEVEL, "as built or measured"),
        ("Niveau mesur\xe9", LEVEL, "as built or measured"),
        ("RSL Rev. 2", LEVEL, "revision 2"),
        ("New IP", ADDRESS, "it is new"),
        ("Coupler loss (dB)", "Links.tx_loss_db", "Links.extra_loss_db"),
        ("Path", "Links.name", "Links.path_km"),
        ("Longitud", "Links.path_km", "Sites.longitude"),
        ("L\xe4nge", "Links.path_km", "Sites.longitude"),
        ("Tx A", TX, "Links.tx_power_dbm"),
        ("Quarry RSL", LEVEL, "also says quarry"),
        ("Frequncy A", TX, "only like a known one"),
        ("Far end", "Sites.name", "an end alone"),
    ],
)
def test_what_leaves_a_question_is_not_sure(heading: str, field: str, words: str) -> None:
    found = guess(heading)
    assert found is not None
    assert (found.field, found.sure) == (field, False)
    assert words in found.reason


@pytest.mark.parametrize(
    ("heading", "words"),
    [
        ("Remarks", "a remark"), ("Bemerkung", "a remark"), ("Observaciones", "a remark"),
        ("RSL threshold 1e-6 (dBm)", "no receiver threshold"), ("Schwelle 10\u207b\xb3", "threshold"),
        ("Seuil 10-6", "no receiver threshold"), ("Rx threshold 10^-3", "no receiver threshold"),
        ("2nd antenna height (m)", "one antenna at each end"), ("Antenna spacing (m)", "one antenna"),
        ("Diversity spacing (m)", "one antenna at each end"),
        ("Feeder type", "the loss of the feeder"), ("Feeder length (m)", "the loss of the feeder"),
        ("Feeder loss (dB/100 m)", "times the length"), ("Easting", "map grid"),
        ("Rechtswert", "map grid"), ("Datum", ""),
        ("Declination", "plus ="), ("Subnet", "it is a subnet"), ("Coordinates", "split ="),
        ("Antenna type", "types"), ("Frequency band", "half of it"), ("Tower height (m)", "about the tower"),
    ],
)  # fmt: skip
def test_what_a_plan_has_no_field_for_is_said_with_the_reason(heading: str, words: str) -> None:
    found = guess(heading)
    assert found is not None
    assert (found.field, found.secret) == ("", False)
    assert words in found.reason
    assert found.reason


@pytest.mark.parametrize(
    "heading", ["Colour", "", "Width", "(MHz)", "C", "\u4e2d\u6587", "SN4816810", "IP 198.18.0.1"]
)
def test_what_nothing_is_known_of_is_not_guessed(heading: str) -> None:
    assert guess(heading) is None


SECRETS = [
    "PIN", "Login", "Key", "SNMP RO", "SNMP RW", "SNMP-Community", "snmpCommunity", "User name",
    "Passwd (admin)", "SNMPv3 auth key", "PrivPass", "Licence key", "Read community", "RO", "RW",
    "Passwort", "Kennwort", "Schl\xfcssel", "Benutzername", "Zugangsdaten",
    "Mot de passe", "MDP", "Cl\xe9", "Communaut\xe9", "Utilisateur", "Contrase\xf1a", "Clave",
    "Usuario", "Comunidad", "Senha", "Chave", "Utente", "Wachtwoord", "Sleutel", "L\xf6senord",
    "Nyckel", "Adgangskode", "N\xf8gle", "Salasana", "Has\u0142o", "Heslo", "K\u013e\xfa\u010d",
    "Jelsz\xf3", "Parol\u0103", "\u015eifre", "\u03ba\u03c9\u03b4\u03b9\u03ba\u03cc\u03c2",
    "\u043f\u0430\u0440\u043e\u043b\u044c", "\u5bc6\u7801", "\u30d1\u30b9\u30ef\u30fc\u30c9",
    "\ube44\ubc00\ubc88\ud638", "SNMP \u56e2\u4f53\u540d",
]  # fmt: skip


@pytest.mark.parametrize("heading", SECRETS)
def test_a_secret_is_known_by_its_heading(heading: str) -> None:
    found = guess(heading)
    assert looks_secret(heading)
    assert found is not None
    assert found.secret
    assert not found.field


@pytest.mark.parametrize(
    "heading",
    ["Passerelle", "Key capacity (Mbps)", "Bandpass", "Puerta de enlace", "Keynote", "Pass/Fail",
     "User port", "Spinning", "Compass", "Monkey", "Author"],
)  # fmt: skip
def test_a_word_that_only_looks_like_a_secret_is_none(heading: str) -> None:
    assert not looks_secret(heading)


def test_no_heading_of_ours_is_a_secret() -> None:
    own = [
        name
        for sheet in sheets().values()
        for column in sheet.columns
        for name in (column.heading, ".".join(column.path))
        if looks_secret(name)
    ]
    assert set(own) <= {"acceptance.default_community"}


# The table itself.


def test_every_thing_has_words_in_four_languages() -> None:
    for thing, languages in table()["word"].items():
        assert set(languages) == {"en", "de", "fr", "es"}, thing
        assert all(languages.values()), thing


def test_the_table_holds_together() -> None:
    """Phrases are of things that there are, fields are ours, each reason is one of a heading's."""
    found = table()
    things = {*found["word"], "1", "100m"}
    phrases = [*found["field"].values(), *found["no_field"].values()]
    for phrase in itertools.chain.from_iterable(phrases):
        assert {word.removesuffix("?") for word in phrase.split()} <= things, phrase
    assert set(found["field"]) <= {*columns_by_field(), RX, "Links.end"}
    assert set(found["no_field"]) == set(found["reason"])
    assert set(found["absolute"]["ends"]) <= set(found["end"])


def test_every_field_of_a_site_device_and_link_has_words() -> None:
    """All but those that no sheet of another house has; who adds a field decides."""
    known = set(table()["field"])
    without = {
        name
        for name in columns_by_field()
        if name.startswith(("Sites.", "Devices.", "Links.")) and name not in known
    }
    rare = {
        "Devices.site", "Devices.location", "Devices.management_tagged", "Devices.snmp",
        "Devices.services.open", "Devices.services.closed", "Links.device", "Links.radio",
        "Links.duplexing", "Links.antenna_efficiency", "Links.bench_tx_power_dbm",
        "Links.bench_rx_level_dbm", "Links.link_id", "Links.rx_level_tolerance_db",
    }  # fmt: skip
    assert without <= rare, without - rare


@pytest.mark.parametrize(
    ("word", "parts"),
    [
        ("sendefrequenz", ["sende", "frequenz"]), ("antennenhohe", ["antenne", "hohe"]),
        ("ipadresse", ["ip", "adresse"]), ("txpower", ["tx", "power"]), ("quarry", []),
    ],
)  # fmt: skip
def test_compounds_are_taken_apart(word: str, parts: list[str]) -> None:
    found = compound(word, words_of_trade().vocabulary.single)
    assert found == parts


@given(
    st.sampled_from(
        sorted({w for ws in table()["word"].values() for w in itertools.chain(*ws.values())})
    )
)
def test_case_accents_and_umlauts_do_not_count(word: str) -> None:
    known = words_of_trade().vocabulary.options
    for spelled in (*spellings(word), folded(word.upper()), folded(word.title())):
        assert spelled in known


@given(st.text(max_size=40))
def test_any_text_is_understood_or_not_without_a_traceback(heading: str) -> None:
    found = guess(heading)
    assert found is None or found.field or found.reason


# A house's own words.


def test_a_house_adds_words() -> None:
    added = {LEVEL: ["Kopfwert"], "end a": ["Kopf"], "end b": ["Fu\xdf"], "secret": ["Losungswort"]}
    words = words_of_trade().with_house(added)
    level, address, secret = (guess(h, words) for h in ("kopfwert", "IP Fuss", "LOSUNGSWORT"))
    assert level is not None
    assert (level.field, level.sure) == (LEVEL, True)
    assert address is not None
    assert (address.field, address.side) == (ADDRESS, "b")
    assert secret is not None
    assert secret.secret
    assert side_of("Kopf", words) == "a"
    assert guess("kopfwert") is None


def test_words_for_nothing_are_refused() -> None:
    with pytest.raises(ValueError, match="is no field"):
        words_of_trade().with_house({"Links.colour": ["Farbe"]})
