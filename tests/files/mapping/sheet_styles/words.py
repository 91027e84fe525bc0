"""Headings as different houses write them: written down by hand, apart from the reader's own words.

Each entry is what stands above a column of one field, without a word for the end and without a
unit. A heading that is only a habit of some houses, and does not say what it is by itself, stands
in `VAGUE`: it need not be recognised, but it must never be misread.
"""

from __future__ import annotations

from dataclasses import dataclass


def _entries(text: str) -> tuple[str, ...]:
    return tuple(entry.strip() for entry in text.split("|"))


HEADINGS: dict[str, dict[str, tuple[str, ...]]] = {
    "en": {
        "name": _entries("Link|Link name|Hop|Link ID|Hop name|Path name"),
        "device": _entries("Device|Radio|NE name|Equipment name|Host name|Radio name"),
        "site": _entries("Site|Site name|Station|Location|Station name"),
        "address": _entries("IP address|Management IP|Mgmt IP|IP|IPv4 address|OAM IP|DCN address"),
        "mask": _entries("Subnet mask|Mask|Netmask"),
        "gateway": _entries("Gateway|Default gateway|GW"),
        "vlan": _entries("Management VLAN|Mgmt VLAN"),
        "serial": _entries("Serial number|Serial no.|S/N"),
        "mac": _entries("MAC address|MAC"),
        "tx": _entries("Tx frequency|Transmit frequency|Tx freq.|TX Freq|Tx"),
        "rx": _entries("Rx frequency|Receive frequency|Rx freq.|RX Freq"),
        "power": _entries("Tx power|Transmit power|Output power|TX Pwr"),
        "level": _entries("Rx level|Receive level|RSL|Planned RSL|Nominal RSL|Received level"),
        "azimuth": _entries("Azimuth|True azimuth|Bearing"),
        "height": _entries("Antenna height|Ant. height|Antenna height AGL"),
        "gain": _entries("Antenna gain|Ant. gain"),
        "diameter": _entries("Antenna diameter|Dish diameter|Antenna size|Ant. dia."),
        "latitude": _entries("Latitude|Lat"),
        "longitude": _entries("Longitude|Long|Lon"),
        "bandwidth": _entries("Bandwidth|Channel bandwidth|Channel width|Ch. BW"),
        "modulation": _entries("Modulation|Mod."),
        "capacity": _entries("Capacity|Throughput|Link capacity"),
        "km": _entries("Path length|Distance|Hop length|Link length"),
        "polarisation": _entries("Polarisation|Polarization|Pol.|Pol"),
        "licence": _entries("Licence|Licence no.|License number|Licence reference"),
        "margin": _entries("Fade margin|Flat fade margin"),
    },
    "de": {
        "name": _entries("Strecke|Richtfunkstrecke|Link|Streckenname|Funkfeld"),
        "device": _entries("Gerät|Gerätename|Netzelement|Funkgerät"),
        "site": _entries("Standort|Station|Standortname"),
        "address": _entries("IP-Adresse|Management-IP|IP|Mgmt-IP"),
        "mask": _entries("Subnetzmaske|Netzmaske|Maske"),
        "gateway": _entries("Gateway|Standardgateway|Standard-Gateway"),
        "vlan": _entries("Management-VLAN|Mgmt-VLAN"),
        "serial": _entries("Seriennummer|Serien-Nr.|Seriennr."),
        "mac": _entries("MAC-Adresse|MAC"),
        "tx": _entries("Sendefrequenz|Tx-Frequenz|Frequenz Tx"),
        "rx": _entries("Empfangsfrequenz|Rx-Frequenz|Frequenz Rx"),
        "power": _entries("Sendeleistung|Tx-Leistung"),
        "level": _entries("Empfangspegel|Rx-Pegel|Sollpegel|Soll-Empfangspegel"),
        "azimuth": _entries("Azimut|Azimuth"),
        "height": _entries("Antennenhöhe|Antennenhöhe ü. Grund"),
        "gain": _entries("Antennengewinn|Gewinn"),
        "diameter": _entries("Antennendurchmesser|Durchmesser|Spiegeldurchmesser"),
        "latitude": _entries("Breitengrad|Geogr. Breite|Breite"),
        "longitude": _entries("Längengrad|Geogr. Länge|Länge (geogr.)"),
        "bandwidth": _entries("Bandbreite|Kanalbandbreite"),
        "modulation": _entries("Modulation|Modulationsart"),
        "capacity": _entries("Kapazität|Datenrate|Übertragungskapazität"),
        "km": _entries("Entfernung|Streckenlänge|Funkfeldlänge|Distanz"),
        "polarisation": _entries("Polarisation|Pol."),
        "licence": _entries("Zuteilungsnummer|Lizenz|Zuteilung"),
        "margin": _entries("Schwundreserve"),
    },
    "fr": {
        "name": _entries("Liaison|Nom de la liaison|Bond|Faisceau"),
        "device": _entries("Équipement|Nom équipement|Nom de l'équipement"),
        "site": _entries("Site|Station|Nom du site"),
        "address": _entries("Adresse IP|IP|Adresse IP de gestion|IP supervision"),
        "mask": _entries("Masque|Masque de sous-réseau"),
        "gateway": _entries("Passerelle|Passerelle par défaut"),
        "vlan": _entries("VLAN de gestion|VLAN gestion"),
        "serial": _entries("Numéro de série|N° de série"),
        "mac": _entries("Adresse MAC|MAC"),
        "tx": _entries("Fréquence d'émission|Fréquence émission|Fréquence Tx|Fréq. Tx"),
        "rx": _entries("Fréquence de réception|Fréquence réception|Fréquence Rx"),
        "power": _entries("Puissance d'émission|Puissance émission|Puissance Tx"),
        "level": _entries("Niveau de réception|Niveau reçu|Niveau Rx|Niveau nominal reçu"),
        "azimuth": _entries("Azimut"),
        "height": _entries("Hauteur antenne|Hauteur d'antenne|Hauteur de l'antenne"),
        "gain": _entries("Gain antenne|Gain d'antenne"),
        "diameter": _entries("Diamètre antenne|Diamètre d'antenne|Diamètre"),
        "latitude": _entries("Latitude|Lat."),
        "longitude": _entries("Longitude|Long."),
        "bandwidth": _entries("Largeur de bande|Largeur de canal|Bande passante"),
        "modulation": _entries("Modulation"),
        "capacity": _entries("Capacité|Débit"),
        "km": _entries("Distance|Longueur du bond|Longueur de la liaison"),
        "polarisation": _entries("Polarisation|Pol."),
        "licence": _entries("N° de licence|Licence|Autorisation"),
        "margin": _entries("Marge de fading|Marge d'évanouissement"),
    },
    "es": {
        "name": _entries("Enlace|Nombre del enlace|Vano|Radioenlace"),
        "device": _entries("Equipo|Nombre del equipo"),
        "site": _entries("Sitio|Estación|Emplazamiento|Nombre del sitio"),
        "address": _entries("Dirección IP|IP de gestión|IP|Dirección IP gestión"),
        "mask": _entries("Máscara|Máscara de subred"),
        "gateway": _entries("Puerta de enlace|Pasarela|Gateway"),
        "vlan": _entries("VLAN de gestión|VLAN gestión"),
        "serial": _entries("Número de serie|N.º de serie"),
        "mac": _entries("Dirección MAC|MAC"),
        "tx": _entries("Frecuencia de transmisión|Frecuencia Tx|Frec. Tx|Frecuencia TX"),
        "rx": _entries("Frecuencia de recepción|Frecuencia Rx|Frec. Rx"),
        "power": _entries("Potencia de transmisión|Potencia Tx|Potencia de salida"),
        "level": _entries("Nivel de recepción|Nivel Rx|Nivel recibido"),
        "azimuth": _entries("Azimut|Acimut"),
        "height": _entries("Altura de antena|Altura antena"),
        "gain": _entries("Ganancia de antena|Ganancia antena"),
        "diameter": _entries("Diámetro de antena|Diámetro antena|Diámetro"),
        "latitude": _entries("Latitud|Lat."),
        "longitude": _entries("Longitud|Long."),
        "bandwidth": _entries("Ancho de banda|Ancho de canal"),
        "modulation": _entries("Modulación"),
        "capacity": _entries("Capacidad|Caudal"),
        "km": _entries("Distancia|Longitud del enlace|Longitud del vano"),
        "polarisation": _entries("Polarización|Pol."),
        "licence": _entries("N.º de licencia|Licencia|Autorización"),
        "margin": _entries("Margen de desvanecimiento|Margen"),
    },
}

VAGUE = frozenset(("Tx", "Breite", "Margen", "Gewinn", "Durchmesser", "Diamètre", "Diámetro", "Mod.",
                   "Faisceau", "Bond", "Vano", "Autorisation", "Autorización", "Long", "Caudal",
                   "Mask", "Maske", "Masque", "Máscara", "Bearing", "Licence", "Lizenz", "Licencia",
                   "Antenna size", "Bande passante", "Location", "Ch. BW", "Längengrad", "IP supervision",
                   "Länge (geogr.)", "Margen", "Level", "Pol", "Pasarela", "Emplazamiento", "Zuteilung"))  # fmt: skip

SIDES: dict[str, tuple[tuple[str, str, str], ...]] = {
    "en": (
        ("{} A", "{} B", "ab"), ("A {}", "B {}", "ab"), ("Near {}", "Far {}", "near"),
        ("Near end {}", "Far end {}", "near"), ("Local {}", "Remote {}", "near"),
        ("Site A {}", "Site B {}", "ab"), ("{} (A)", "{} (B)", "ab"), ("{} - A", "{} - B", "ab"),
        ("Station 1 {}", "Station 2 {}", "ab"), ("{} near end", "{} far end", "near"),
        ("{} site A", "{} site B", "ab"), ("End A {}", "End B {}", "ab"),
        ("West {}", "East {}", "ab"), ("From {}", "To {}", "ab"), ("Base {}", "Remote {}", "ab"),
        ("A-end {}", "B-end {}", "ab"), ("{}_A", "{}_B", "ab"), ("Node A {}", "Node B {}", "ab"),
    ),
    "de": (
        ("{} A", "{} B", "ab"), ("Standort A {}", "Standort B {}", "ab"),
        ("{} Standort A", "{} Standort B", "ab"), ("{} (A)", "{} (B)", "ab"),
        ("Station A {}", "Station B {}", "ab"), ("A: {}", "B: {}", "ab"),
        ("Nahes Ende {}", "Fernes Ende {}", "near"), ("{} Seite A", "{} Seite B", "ab"),
    ),
    "fr": (
        ("{} A", "{} B", "ab"), ("{} site A", "{} site B", "ab"), ("{} (A)", "{} (B)", "ab"),
        ("Site A {}", "Site B {}", "ab"), ("{} station A", "{} station B", "ab"),
        ("{} extrémité A", "{} extrémité B", "ab"), ("{} local", "{} distant", "near"),
    ),
    "es": (
        ("{} A", "{} B", "ab"), ("{} sitio A", "{} sitio B", "ab"), ("{} (A)", "{} (B)", "ab"),
        ("Sitio A {}", "Sitio B {}", "ab"), ("{} estación A", "{} estación B", "ab"),
        ("{} extremo A", "{} extremo B", "ab"), ("{} local", "{} remoto", "near"),
    ),
}  # fmt: skip
"""What a heading of end A is called, of end B, and whether the words are those of a row of an end."""

GROUPS: dict[str, tuple[tuple[str, str], ...]] = {
    "en": (("Site A", "Site B"), ("End A", "End B"), ("Near end", "Far end"), ("A", "B"),
           ("Station A", "Station B"), ("Local", "Remote"), ("From", "To"), ("West end", "East end")),
    "de": (("Standort A", "Standort B"), ("Station A", "Station B"), ("A", "B")),
    "fr": (("Site A", "Site B"), ("Extrémité A", "Extrémité B"), ("Station A", "Station B")),
    "es": (("Sitio A", "Sitio B"), ("Extremo A", "Extremo B"), ("Estación A", "Estación B")),
}  # fmt: skip

FAR: dict[str, tuple[str, ...]] = {
    "en": ("Far {}", "Far end {}", "Remote {}", "Opposite {}", "{} (far end)"),
    "de": ("Gegenstelle {}", "{} Gegenstelle", "{} fernes Ende"),
    "fr": ("{} distant", "{} site distant", "{} extrémité distante"),
    "es": ("{} remoto", "{} extremo remoto", "{} sitio remoto"),
}
"""What a column of the other end is called in a row that is one end."""

END: dict[str, tuple[str, tuple[str, str]]] = {
    "en": ("End", ("A", "B")), "de": ("Seite", ("A", "B")),
    "fr": ("Extrémité", ("A", "B")), "es": ("Extremo", ("A", "B")),
}  # fmt: skip

STATUS: dict[str, tuple[str, tuple[str, ...], tuple[str, ...]]] = {
    "en": ("Status", ("planned", "approved", "to be built"),
           ("cancelled", "decommissioned", "superseded", "spare", "CANCELLED - see hop 12")),
    "de": ("Status", ("geplant", "freigegeben"), ("storniert", "entfällt", "abgebaut", "stillgelegt")),
    "fr": ("Statut", ("prévu", "validé"), ("annulé", "abandonné", "déposé", "supprimé")),
    "es": ("Estado", ("previsto", "aprobado"), ("cancelado", "anulado", "desmontado", "retirado")),
}  # fmt: skip
"""The heading, words of a row that is plan, words of one that is none."""

NOISE: dict[str, tuple[tuple[str, tuple[object, ...]], ...]] = {
    "en": (("Remarks", ("roof access by key", "", "see drawing 12")),
           ("Project no.", (4711, 4712, 815)), ("Cost (kEUR)", (12.5, 13, 8.75)),
           ("Owner", ("north team", "south team")), ("Tower height (m)", (45, 60, 32)),
           ("Rain zone", ("K", "E", "H")), ("Noise figure (dB)", (4.5, 5, 6)),
           ("Rain rate (mm/h)", (32, 42, 28)), ("Order no.", (100234, 100235)),
           ("Availability (%)", (99.99, 99.995)), ("Clutter height (m)", (4, 6.5, 12)),
           ("Threshold 10-6 (dBm)", (-72.5, -68, -70)), ("Unfaded level before works", (-41, -42.5))),
    "de": (("Bemerkung", ("Schlüssel beim Hauswart", "", "siehe Plan 12")),
           ("Projekt-Nr.", (4711, 815)), ("Kosten (kEUR)", (12.5, 13)), ("Masthöhe (m)", (45, 60)),
           ("Bearbeiter", ("Nord", "Süd")), ("Verfügbarkeit (%)", (99.99, 99.995))),
    "fr": (("Remarques", ("clé chez le gardien", "", "voir plan 12")),
           ("N° de projet", (4711, 815)), ("Coût (kEUR)", (12.5, 13)),
           ("Hauteur du pylône (m)", (45, 60)), ("Disponibilité (%)", (99.99, 99.995))),
    "es": (("Observaciones", ("llave en portería", "", "ver plano 12")),
           ("N.º de proyecto", (4711, 815)), ("Coste (kEUR)", (12.5, 13)),
           ("Altura de torre (m)", (45, 60)), ("Disponibilidad (%)", (99.99, 99.995))),
}  # fmt: skip
"""Columns that are no part of a plan."""

TITLES: dict[str, tuple[str, ...]] = {
    "en": ("Microwave links, coastal ring", "Issue 3, 2026-11-20"),
    "de": ("Richtfunkstrecken Küstenring", "Ausgabe 3, Stand 20.11.2026"),
    "fr": ("Liaisons hertziennes, anneau côtier", "Édition 3 du 20/11/2026"),
    "es": ("Radioenlaces, anillo costero", "Edición 3, 20/11/2026"),
}
FOOTERS: dict[str, tuple[str, str]] = {
    "en": ("Total", "Note: all levels are unfaded"),
    "de": ("Summe", "Hinweis: alle Pegel ohne Schwund"),
    "fr": ("Total", "Remarque : niveaux hors évanouissement"),
    "es": ("Total", "Nota: niveles sin desvanecimiento"),
}


@dataclass(frozen=True, slots=True)
class WrittenUnit:
    """A unit as it stands in a sheet.

    Attributes:
        factor: what a figure in it is in the plan's unit.
        clear: whether it can mean nothing else.
        mapped: what a person who knows it writes in the mapping.
        digits: decimals that such a figure has.
    """

    text: str
    factor: str
    clear: bool = True
    mapped: str = ""
    digits: int = 3


U = WrittenUnit
UNITS: dict[str, tuple[WrittenUnit, ...]] = {
    "tx": (U("MHz", "1", digits=2), U("MHz", "1", digits=3), U("GHz", "1000", digits=5), U("kHz", "0.001", digits=0)),
    "rx": (U("MHz", "1", digits=2), U("GHz", "1000", digits=5)),
    "power": (U("dBm", "1", digits=1), U("dBm", "1", digits=0)),
    "level": (U("dBm", "1", digits=1), U("dBm", "1", digits=2)),
    "azimuth": (U("°", "1", digits=1), U("deg", "1", digits=2), U("degrees", "1", digits=1), U("gon", "0.9", digits=2)),
    "height": (U("m", "1", digits=1), U("m AGL", "1", digits=1), U("ft", "0.3048", digits=0), U("m", "1", digits=0)),
    "gain": (U("dBi", "1", digits=1), U("dBi", "1", digits=1), U("dBd", "+2.15", clear=True, digits=1)),
    "diameter": (U("m", "1", digits=1), U("cm", "0.01", digits=0), U("ft", "0.3048", digits=1)),
    "bandwidth": (U("MHz", "1", digits=0), U("MHz", "1", digits=1), U("kHz", "0.001", digits=0)),
    "capacity": (U("Mbit/s", "1", digits=0), U("Mbps", "1", digits=1), U("Gbit/s", "1000", digits=3),
                 U("Mb/s", "1", digits=0), U("MB/s", "8", clear=False, mapped="Mbyte/s", digits=2)),
    "km": (U("km", "1", digits=2), U("km", "1", digits=3), U("m", "0.001", digits=0),
           U("nm", "1.852", clear=False, mapped="nmi", digits=2), U("mi", "1.609344", digits=2)),
    "margin": (U("dB", "1", digits=1),),
}  # fmt: skip
