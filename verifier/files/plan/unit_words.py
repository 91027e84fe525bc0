"""Tables of units: their quantities and factors, their spellings, and words of two meanings."""

from __future__ import annotations

FACTORS: dict[str, tuple[str, str]] = {
    "MHz": ("frequency", "1"), "GHz": ("frequency", "1000"), "kHz": ("frequency", "0.001"),
    "Hz": ("frequency", "0.000001"), "THz": ("frequency", "1000000"),
    "Mbps": ("rate", "1"), "Gbps": ("rate", "1000"), "kbps": ("rate", "0.001"),
    "bps": ("rate", "0.000001"), "kbyte/s": ("rate", "0.008"), "Mbyte/s": ("rate", "8"),
    "Gbyte/s": ("rate", "8000"),
    "dBm": ("level", "1"), "dBW": ("level", "1"),
    "mW": ("power", "0.001"), "W": ("power", "1"), "kW": ("power", "1000"),
    "uW": ("power", "0.000001"), "nW": ("power", "1e-9"), "pW": ("power", "1e-12"),
    "dBi": ("gain", "1"), "dBd": ("gain", "1"),
    "dB": ("ratio", "1"),
    "dB/100m": ("attenuation", "1"), "dB/m": ("attenuation", "100"),
    "dB/km": ("attenuation", "0.1"), "dB/100ft": ("attenuation", "3.2808398950131233595800524934"),
    "m": ("length", "1"), "km": ("length", "1000"), "cm": ("length", "0.01"),
    "mm": ("length", "0.001"),
    "in": ("length", "0.0254"), "ft": ("length", "0.3048"), "yd": ("length", "0.9144"),
    "fathom": ("length", "1.8288"), "mi": ("length", "1609.344"), "nmi": ("length", "1852"),
    "kft": ("length", "304.8"),
    "deg": ("angle", "1"), "gon": ("angle", "0.9"),
    "arcmin": ("angle", "0.016666666666666666666666666666666666667"),
    "arcsec": ("angle", "0.00027777777777777777777777777777777777778"),
    "rad": ("angle", "57.295779513082320876798154814105170332"),
    "mrad": ("angle", "0.057295779513082320876798154814105170332"),
    "s": ("time", "1"), "ms": ("time", "0.001"), "us": ("time", "0.000001"), "min": ("time", "60"),
    "h": ("time", "3600"), "d": ("time", "86400"),
    "V": ("voltage", "1"), "mV": ("voltage", "0.001"),
    "%": ("share", "1"), "bytes": ("octets", "1"),
}  # fmt: skip
"""Quantity of a unit, and its size in the first unit of that quantity; where two symbols differ by
case alone, the first is meant by a word in other case. A radian is 180 degrees / pi."""


def _words(table: dict[str, str]) -> dict[str, str]:
    return {word: unit for unit, words in table.items() for word in words.split("|")}


SPELLINGS = _words({
    "MHz": "megahertz|mc/s|mcs", "GHz": "gigahertz|gc/s", "kHz": "kilohertz", "Hz": "hertz",
    "bps": "bit/s|bits/s|b/s",
    "kbps": "kb/s|kbit/s|kbits/s|kbit|kbits|kilobit/s|kb/sec",
    "Mbps": "mb/s|mbit/s|mbits/s|mbits|mbit|mbit/sec|mb/sec|megabit/s|mbits/sec|mbps|MBPS|MB/S|"
    "mégabit/s",
    "Gbps": "gb/s|gbit/s|gbits/s|gbit|gbits|gb/sec|GBPS|GB/S",
    "Mbyte/s": "megabyte/s|mbytes/s|mo/s", "kbyte/s": "kilobyte/s|kbytes/s|ko/s",
    "Gbyte/s": "gigabyte/s|gbytes/s|go/s",
    "dBm": "dbmw|dbm0", "dBW": "dbwatt", "mW": "milliwatt|milliwatts", "W": "watt|watts|wattios",
    "kW": "kilowatt", "dB": "decibel|decibels|dezibel",
    "dB/100m": "db/100 m|db per 100 m|db/hm|db per 100m", "dB/m": "db per m|db / m",
    "dB/km": "db per km|db / km", "dB/100ft": "db/100 ft|db per 100 ft|db/100'|db per 100ft",
    "m": "meters|metres|meter|metre|mètre|mètres|metro|metros|mtr|mtrs",
    "km": "kilometer|kilometers|kilometre|kilometres|kilomètre|kilomètres|kilómetro|kilómetros|"
    "kilometro|kilometros|kms",
    "cm": "centimeter|centimetre|zentimeter|centimètre|centímetro|centimetres|centimeters",
    "mm": "millimeter|millimetre|millimeters|millimetres|millimètre|milímetro",
    "ft": "feet|foot|fuß|fuss|pied|pieds|pie|pies|ft.",
    "in": "inches|inch|zoll|pouce|pouces|pulgada|pulgadas|ins",
    "yd": "yards|yard|yds", "fathom": "fathoms|fth|fthm|ftm|faden",
    "mi": "statute mile|statute miles|st mi|stat. mi",
    "nmi": "nautical mile|nautical miles|naut. mi|naut. miles|naut mi|naut miles|n mi|n.mi|n.mile|"
    "n mile|seemeile|seemeilen|mille marin|milles marins|milla náutica|millas náuticas",
    "deg": "\N{DEGREE SIGN}|\N{MASCULINE ORDINAL INDICATOR}|degrees|degree|degs|"
    "degré|degrés|degres|grado|grados|altgrad|\N{DEGREE SIGN}t|\N{DEGREE SIGN} t|dd",
    "gon": "gons|neugrad|gradians|gradian|grados centesimales|grados centesimal",
    "arcmin": "arc min|arcminutes|bogenminuten", "arcsec": "arc sec|arcseconds|bogensekunden",
    "rad": "radian|radians|radiant|radianes", "mrad": "milliradian|milliradians",
    "s": "sec|secs|seconds|second|sekunden|secondes|segundos|sek",
    "ms": "msec|milliseconds|millisekunden|millisecondes|milisegundos",
    "min": "minutes|minute|minuten|minutos", "h": "hours|hour|hrs|stunden|heures|horas|std",
    "d": "days|day|tage|jours|días",
    "V": "volts|volt|voltios", "mV": "millivolt|millivolts",
    "%": "percent|per cent|prozent|pour cent|por ciento|pct", "bytes": "byte|octets|oktett|octet",
})  # fmt: skip
"""Units by other words for them, in lower case; what is written in capitals stands so."""

DOUBTFUL: dict[str, tuple[tuple[str, str], ...]] = {
    "nm": (("nmi", "nautical miles"), ("", "nanometres")),
    "n.m": (("nmi", "nautical miles"), ("", "nanometres")),
    "sm": (("mi", "statute miles"), ("nmi", "sea miles")),
    "mile": (("mi", "statute miles"), ("nmi", "nautical miles")),
    "miles": (("mi", "statute miles"), ("nmi", "nautical miles")),
    "meile": (("mi", "statute miles"), ("nmi", "nautical miles")),
    "meilen": (("mi", "statute miles"), ("nmi", "nautical miles")),
    "mille": (("mi", "statute miles"), ("nmi", "nautical miles")),
    "milles": (("mi", "statute miles"), ("nmi", "nautical miles")),
    "milla": (("mi", "statute miles"), ("nmi", "nautical miles")),
    "millas": (("mi", "statute miles"), ("nmi", "nautical miles")),
    '"': (("in", "inches"), ("arcsec", "seconds of arc")),
    "''": (("in", "inches"), ("arcsec", "seconds of arc")),
    "\N{DOUBLE PRIME}": (("in", "inches"), ("arcsec", "seconds of arc")),
    "\N{RIGHT DOUBLE QUOTATION MARK}": (("in", "inches"), ("arcsec", "seconds of arc")),
    "'": (("ft", "feet"), ("arcmin", "minutes of arc")),
    "\N{PRIME}": (("ft", "feet"), ("arcmin", "minutes of arc")),
    "\N{RIGHT SINGLE QUOTATION MARK}": (("ft", "feet"), ("arcmin", "minutes of arc")),
    "grad": (("deg", "degrees, 360 a turn"), ("gon", "gon, 400 a turn")),
    "grads": (("deg", "degrees, 360 a turn"), ("gon", "gon, 400 a turn")),
    "grade": (("deg", "degrees, 360 a turn"), ("gon", "gon, 400 a turn")),
    "grades": (("deg", "degrees, 360 a turn"), ("gon", "gon, 400 a turn")),
    "gr": (("deg", "degrees, 360 a turn"), ("gon", "gon, 400 a turn")),
    "g": (("gon", "gon, 400 a turn"), ("", "grams")),
    "mil": (("", "mils of 6400 a turn"), ("mrad", "milliradians"), ("", "thousandths of an inch")),
    "mils": (("", "mils of 6400 a turn"), ("mrad", "milliradians"), ("", "thousandths of an inch")),
    "brasse": (("fathom", "fathoms"), ("", "a French measure of 1.62 m")),
    "brasses": (("fathom", "fathoms"), ("", "a French measure of 1.62 m")),
    "braza": (("fathom", "fathoms"), ("", "a Spanish measure of 1.67 m")),
    "brazas": (("fathom", "fathoms"), ("", "a Spanish measure of 1.67 m")),
    "cable": (("", "cables of 185.2 m"), ("", "no unit")),
    "mb": (("Mbps", "Mbit/s"), ("Mbyte/s", "Mbyte/s")),
    "gb": (("Gbps", "Gbit/s"), ("Gbyte/s", "Gbyte/s")),
    "kb": (("kbps", "kbit/s"), ("kbyte/s", "kbyte/s")),
    "dbu": (("", "dB over 1 uV"), ("", "dB over 1 uV/m"), ("", "dB over 0.775 V")),
    "dbuv": (("", "dB over 1 uV in 50 ohm"), ("", "dB over 1 uV in 75 ohm")),
    "ch": (("", "channels"), ("", "no unit")),
}  # fmt: skip
"""Words that may stand for several things: the unit, empty where none of ours; and its name."""

PLAIN_IN_HEADINGS = frozenset((
    "mhz", "ghz", "khz", "hz", "thz", "mbps", "gbps", "kbps", "mbit/s", "gbit/s", "kbit/s",
    "mbits/s", "mbit", "gbit", "mb/s", "gb/s", "kb/s", "mbyte/s", "dbm", "dbw", "dbi", "dbd",
    "db", "dbuv", "dbu", "db/100m", "db/m", "db/km", "db/100ft", "km", "cm", "mm", "nmi", "nm",
    "feet", "foot", "inches", "fathoms", "fathom", "miles", "yards", "metres", "meters", "deg",
    "degrees", "gon", "gons", "mi", "ft", "yd", "mrad", "rad", "ms", "mv", "volts", "volt",
    "seemeilen", "meter", "grados", "degrés", "neugrad", "watt", "watts",
))  # fmt: skip
"""Units that a word of a heading is without brackets: it stands for nothing else there."""
