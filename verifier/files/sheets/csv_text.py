"""The text of a CSV file: which encoding is sure, which a person must confirm."""

from __future__ import annotations

import codecs
import re
from pathlib import Path

from verifier.errors import InputError
from verifier.files.disk import decode
from verifier.files.faults import nearest, shown
from verifier.files.sheets.limits import MAX_ROWS, too_many
from verifier.files.sheets.page import listed

PROPOSED = "windows-1252"
"""What spreadsheet programs of western Europe write where nobody asks for another; a guess."""

ENCODINGS = (
    "utf-8", "utf-16", "utf-16-le", "utf-16-be", "windows-1250", "windows-1251", "windows-1252",
    "windows-1253", "windows-1254", "windows-1255", "windows-1256", "windows-1257", "windows-1258",
    "iso-8859-1", "iso-8859-2", "iso-8859-5", "iso-8859-7", "iso-8859-9", "iso-8859-15",
    "mac-roman", "cp437", "cp850", "cp852", "cp866", "koi8-r", "gb18030", "big5", "shift-jis",
    "euc-jp", "euc-kr",
)  # fmt: skip

ENCODING_UNSURE = (
    f"the file is not UTF-8, and nothing in it says its encoding: look at the lines that are named "
    f'beside it; if they read well, write "{PROPOSED}", else another: mac-roman, cp850, iso-8859-15'
)

_MARKS = ((codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
_LINE_END = re.compile(rb"\r\n|\r|\n")
_MAX_LINE = 1_000_000


def csv_text(data: bytes, path: Path, encoding: str = "") -> str:
    """The text of a CSV file, without a mark.

    UTF-8 is proved by its form, UTF-16 by its mark; anything else is what `encoding` says.

    Raises:
        InputError: it is neither, `encoding` is none that is known, or the bytes are not of it.
    """
    mark = next((name for mark, name in _MARKS if data.startswith(mark)), "")
    if mark:
        text = _decoded(data, mark, path)
    elif encoding:
        text = _decoded(data.removeprefix(codecs.BOM_UTF8), known_encoding(encoding, path), path)
    elif b"\0" in data:
        text = "\0"
    else:
        try:
            text = decode(data, path)
        except InputError as fault:
            raise InputError(f"{fault}{_or_say(data)}") from None
    if "\0" in text:
        reason = "holds NUL characters: is it UTF-16 without a mark? Save it as UTF-8"
        raise InputError(f"{path}: {reason}")
    _refuse_large(text, path)
    return text


def known_encoding(name: str, path: object) -> str:
    """`name`, if it is one of those that are known. Raises InputError."""
    if (plain := name.strip().lower().replace("_", "-")) in ENCODINGS:
        return plain
    hint = nearest(plain, ENCODINGS) or f": {', '.join(ENCODINGS)}"
    raise InputError(f"{path}: no encoding {shown(name)} is known{hint}")


def unsure_lines(data: bytes) -> dict[int, str]:
    """The lines that a person must look at, as they read in the encoding that is proposed.

    Those with a byte over 127, where the file is neither UTF-8 nor has the mark of UTF-16.
    """
    if any(data.startswith(mark) for mark, _ in _MARKS):
        return {}
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        lines = enumerate(_LINE_END.split(data), start=1)
        return {n: line.decode(PROPOSED, "replace") for n, line in lines if not line.isascii()}
    return {}


def _or_say(data: bytes) -> str:
    """What else can be done about a file whose encoding is not sure."""
    lines = unsure_lines(data)
    if not lines:
        return ""
    number, text = next(iter(lines.items()))
    return (
        f"; or read it by a mapping that says its encoding: in {PROPOSED} line {number} is"
        f" {shown(text)}; look at line{'s' if len(lines) > 1 else ''} {listed(list(lines))}"
    )


def _decoded(data: bytes, encoding: str, path: Path) -> str:
    try:
        return data.decode(encoding).removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        line = len(_LINE_END.findall(data[: error.start])) + 1
        byte = f"byte {data[error.start]:#04x} at offset {error.start}"
        raise InputError(f"{path}: line {line}: {byte} is not {encoding}") from None


def _refuse_large(text: str, path: Path) -> None:
    """Raises InputError where there are more lines, or longer ones, than in any plan."""
    if max(text.count("\n"), text.count("\r")) > MAX_ROWS:
        raise too_many("lines", MAX_ROWS, path)
    longest = max(map(len, text.splitlines()), default=0) if len(text) > _MAX_LINE else 0
    if longest > _MAX_LINE:
        raise too_many("characters in a line", _MAX_LINE, path)
