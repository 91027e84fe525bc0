"""A message as RFC 5424 has it."""

from __future__ import annotations

import datetime as dt

FACILITY = 16
"""local0 (RFC 5424 section 6.2.1)."""
SEVERITY = {"silent": 3, "impaired": 4, "unsteady": 4, "untested": 5, "sound": 6}
"""error, warning, notice, informational (RFC 5424 section 6.2.1)."""
MAX_OCTETS = 2048
"""Receivers should accept so many (RFC 5424 section 6.1)."""
ENTERPRISE = 32473
"""For examples (RFC 5612): this program has no enterprise number of its own."""
_BOM = "\ufeff"


def message(  # noqa: PLR0913
    *,
    severity: int,
    facility: int = FACILITY,
    at: dt.datetime | None = None,
    host: str = "",
    app: str = "",
    process: str = "",
    kind: str = "",
    data: dict[str, dict[str, str]] | None = None,
    text: str = "",
    max_octets: int = MAX_OCTETS,
) -> str:
    """One syslog message (RFC 5424 section 6), its text cut so that it fits into `max_octets`.

    Fields have the RFC's names or plainer ones: `app` APP-NAME, `process` PROCID, `kind` MSGID,
    `data` the parameters of each element of the structured data. `at` has its zone, and fractions
    of a second down to microseconds.
    """
    head = " ".join(
        (
            f"<{facility * 8 + severity}>1",
            "-" if at is None else at.isoformat().replace("+00:00", "Z"),
            _name(host, 255),
            _name(app, 48),
            _name(process, 128),
            _name(kind, 32),
            _structured(data or {}),
        )
    )
    if not text:
        return head
    room = max(0, max_octets - len(f"{head} {_BOM}".encode()))
    cut = text.encode()[:room].decode(errors="ignore")
    return f"{head} {_BOM}{cut}"


def _name(text: str, longest: int) -> str:
    """PRINTUSASCII without spaces, or the nil value."""
    return "".join(c if "!" <= c <= "~" else "_" for c in text)[:longest] or "-"


def _structured(data: dict[str, dict[str, str]]) -> str:
    elements = (
        f"[{name}" + "".join(f' {key}="{_escaped(value)}"' for key, value in values.items()) + "]"
        for name, values in data.items()
    )
    return "".join(elements) or "-"


def _escaped(value: str) -> str:
    """Section 6.3.3: backslash, quotation mark and closing bracket."""
    for character in '\\"]':
        value = value.replace(character, f"\\{character}")
    return value
