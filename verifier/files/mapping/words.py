"""What other houses call our fields: words in several languages, and what values look like."""

from __future__ import annotations

import difflib
import functools
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from verifier.files.faults import looks_secret
from verifier.files.plan.columns import Column, normal_all, sheets

_WORDS = {
    "Links.name": "link|hop|strecke|richtfunkstrecke|funkfeld|liaison|enlace|verbindung|"
    "link id|hop id|link no|hop no|link name|hop name|strecke nr|streckenname|section|path name",
    "Links.end": "end|ende|seite|side|extremite",
    "Links.bandwidth_mhz": "bandbreite|kanalbandbreite|channel bandwidth|channel spacing|"
    "channel|largeur de bande|ancho de banda|raster mhz",
    "Links.modulation": "modulation|modulacion|mod",
    "Links.capacity_mbps": "kapazitat|kapazitaet|capacite|capacidad|throughput|durchsatz",
    "Links.path_km": "entfernung|distanz|lange|laenge|streckenlange|streckenlaenge|distancia|"
    "longueur|hop length|path",
    "Links.polarisation": "polarisation|polarisierung|polarizacion|pol",
    "Links.licence.reference": "lizenz|zuteilung|zuteilungsnummer|frequenzzuteilung|licencia",
    "Links.licence.valid_until": "befristet bis|gultig bis|gueltig bis|valide jusqua|expires",
    "Links.fade_margin_db": "schwundreserve|marge|fade margin",
    "Links.tx_mhz": "sendefrequenz|frequenz tx|tx frequenz|frequenz|frequence|frecuencia|"
    "freq tx|f tx|tx|frequence emission",
    "Links.tx_power_dbm": "sendeleistung|leistung|puissance|potencia|power|tx leistung|p tx|ptx",
    "Links.rx_level_dbm": "empfangspegel|pegel|sollpegel|rx pegel|planned rsl|expected rsl|"
    "target rsl|rsl target|niveau|nivel|p rx|prx|rx power|field strength",
    "Links.azimuth_deg": "azimut|azimuth|richtung",
    "Links.antenna_height_m": "antennenhohe|antennenhoehe|hauteur|altura|ant height|antenna agl",
    "Links.antenna_dbi": "antennengewinn|gewinn|ganancia|ant gain",
    "Links.antenna_diameter_m": "antennendurchmesser|durchmesser|spiegel|diametre|diametro|"
    "antenne|ant dia|ant size",
    "Links.max_eirp_dbm": "eirp|pire|max eirp",
    "Links.atpc": "atpc",
    "Devices.name": "gerat|geraet|geratename|geraetename|equipo|equipement|equipment|ne|"
    "ne name|host|idu|radio name|netzelement",
    "Devices.address": "adresse|ip adresse|adresse ip|direccion ip|mgmt|management|oam ip|"
    "nms ip|ip mgmt|ip/mask|ip address/mask|ip prefix|ip cidr",
    "Devices.present_address": "old ip|alte ip|ancienne ip|ip now|ist ip",
    "Devices.mask": "maske|netzmaske|subnetzmaske|masque|mascara|cidr|subnet",
    "Devices.gateway": "standardgateway|passerelle|passerelle 1|puerta de enlace|gateway 1|gw 1|"
    "router|next hop",
    "Devices.serial": "seriennummer|serien nr|numero de serie|serial nr",
    "Devices.mac": "mac adresse|adresse mac|ethernet address",
    "Devices.part_number": "artikelnummer|teilenummer|order code|part number",
    "Devices.software": "softwarestand|firmware version|version",
    "Devices.management_vlan": "vlan|mgmt vlan|vlan id",
    "Devices.tx_band": "halbband|unterband|high low|h/l|band",
    "Devices.label": "beschriftung|etiquette|label",
    "Devices.profile": "profile",
    "Sites.name": "standort|station|estacion|sitio|lieu|ort|location|node|tower|mast",
    "Sites.latitude": "breite|breitengrad|nord|latitud|lat dms",
    "Sites.longitude": "langengrad|laengengrad|ost|longitud|lon dms",
    "Sites.ground_amsl_m": "hohe uber nn|hoehe ueber nn|gelandehohe|gelaendehoehe|masl|altitude",
}
_NOT_READ = frozenset((
    "bemerkung", "bemerkungen", "remark", "remarks", "comment", "comments", "notes", "note",
    "status", "datum", "bearbeiter", "owner", "contact", "project", "nr", "no", "lfd nr", "id",
    "item", "remarques", "observaciones", "phase", "responsible", "kommentar",
))  # fmt: skip
_ACCENTS = str.maketrans(
    "\u00e4\u00f6\u00fc\u00e9\u00e8\u00ea\u00e0\u00e1\u00ed\u00f3\u00fa\u00f1\u00e7",
    "aoueeeaaiounc",
)
_SIDES = {"a": "a", "near": "a", "b": "b", "far": "b", "z": "b"}
_NEAR_ENOUGH = 0.84


@dataclass(frozen=True, slots=True)
class Guess:
    """What a heading seems to mean; `field` is empty where it is known not to be read."""

    field: str
    side: str
    sure: bool


def plain_words(heading: str) -> list[str]:
    """The words of a heading without what stands in brackets, case, accents."""
    bare = re.sub(r"\([^)]*\)|\[[^]]*\]", " ", heading)
    bare = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", bare)  # TxA
    bare = bare.casefold().translate(_ACCENTS)
    return re.findall(r"[^\W_]+(?:/[^\W_]+)*", bare)


def guess(heading: str) -> Guess | None:
    """What a heading seems to mean; None where nothing is known."""
    words = plain_words(heading)
    if " ".join(words) in _NOT_READ or looks_secret(heading):
        return Guess("", "", sure=True)
    sides = [_SIDES[word] for word in words if word in _SIDES]
    side = sides[0] if len(sides) == 1 else ""
    rest = [word for word in words if not (side and word in _SIDES)]
    if side and len(rest) > 1:
        rest = [word for word in rest if word not in ("end", "ende", "side", "seite")]
    text = normal_all("".join(rest))
    if not text:
        return None
    if found := _known().get(text):
        return Guess(found, side, sure=True)
    near = difflib.get_close_matches(text, _known(), n=1, cutoff=_NEAR_ENOUGH)
    return Guess(_known()[near[0]], side, sure=False) if near else None


@functools.cache
def _known() -> dict[str, str]:
    """Our fields by every word for them; what tells of an end is without its end."""
    known: dict[str, str] = {}
    for name in ("Sites", "Devices", "Links"):
        for column in sheets()[name].columns:
            known.update(dict.fromkeys(*_own_names(name, column)))
    for column in sheets()["Ports"].columns:
        for name in column.names:
            known.setdefault(name, f"Ports.{column.path[0]}")
    for field, words in _WORDS.items():
        known.update(dict.fromkeys(map(normal_all, words.split("|")), field))
    del known["name"]
    known["site"] = known["sitename"] = "Sites.name"
    known |= dict.fromkeys(("device", "unit", "devicename", "radio"), "Devices.name")
    return known


def _own_names(sheet: str, column: Column) -> tuple[Iterable[str], str]:
    path = ".".join(column.path)
    if sheet != "Links" or column.path[0] not in ("a", "b"):
        return column.names, f"{sheet}.{path}"
    if column.path[0] == "b":
        return (), ""
    bare = (n.removeprefix("a") for n in column.names if n.startswith("a"))
    field = ".".join(column.path[1:])
    return (n for n in bare if f"{n}a" in column.names), f"Links.{field}"


_LOOKS = {
    "Devices.mask": r"255\.\d+\.\d+\.\d+",
    "Devices.address": r"(\d{1,3}\.){3}\d{1,3}(\s*/\s*\d+)?",
    "Devices.mac": r"([0-9a-f]{2}[:-]){5}[0-9a-f]{2}",
    "Links.polarisation": r"[vh]",
    "Links.modulation": r"\d+ ?qam|qpsk",
}


def looks_like(values: list[Any]) -> str:
    """The field that values look like, by their form alone; empty where they look like none."""
    texts = [str(value).strip().lower() for value in values]
    for field, form in _LOOKS.items():
        if texts and all(re.fullmatch(form, text) for text in texts):
            return field
    return ""
