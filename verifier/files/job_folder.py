"""What lies in the folder of a job: which files are plans, and what stands beside a plan.

A file is looked at until it is clear that it is a plan; whether it is a faulty one, its reader
says.
"""

from __future__ import annotations

import re
import tomllib
import zipfile
from collections.abc import Iterable, Iterator
from pathlib import Path

PLAN_ENDINGS = (".xlsx", ".xlsm", ".yaml", ".yml")
_SHEETS = frozenset({"devices", "sites", "links", "network"})
_TOP = re.compile(r"""^\{?\s*["']?devices["']?\s*:""", re.MULTILINE)
_TITLE = re.compile(r"""<sheet\b[^>]*\bname=["']([^"']+)["']""")
_LOOKED_AT = 1_000_000
"""Characters of a file that are looked at."""
CREDENTIALS, PROFILES, MAPPING = "credentials.toml", "profiles", "mapping.toml"


def is_plan(path: Path) -> bool:
    """Whether a file or folder is a plan of ours."""
    try:
        if path.is_dir():
            return any(p.stem.casefold() == "devices" for p in _csv(path))
        ending = path.suffix.lower()
        if ending in (".yaml", ".yml"):
            return bool(_TOP.search(_beginning(path)))
        return ending in PLAN_ENDINGS and "devices" in _titles(path)
    except (OSError, zipfile.BadZipFile, KeyError):
        return False


def looks_like_one(word: str) -> bool:
    """Whether a word is meant as a plan, though it may be none, or not be there."""
    path = Path(word)
    return path.suffix.lower() in {*PLAN_ENDINGS, ".csv", ".json", ".xls", ".xlsb", ".ods"} or (
        "/" in word
    )


def plans(folder: Path) -> tuple[Path, ...]:
    """Every plan in a folder, by name: files, folders of CSV files, and the folder itself.

    Where there is none, the sheet of somebody else that `mapping.toml` is for.
    """
    entries = sorted(folder.iterdir())
    found = [p for p in entries if (p.is_dir() or p.suffix.lower() in PLAN_ENDINGS) and is_plan(p)]
    if is_plan(folder):
        found.insert(0, folder)
    sheet = mapped(folder / MAPPING)
    found = [p for p in found if sheet is None or p.name != sheet]
    if not found and sheet is not None and (folder / sheet).exists():
        found = [folder / sheet]
    return tuple(found)


def mapped(mapping: Path) -> str | None:
    """The name of the sheet that a mapping is for; None where it names none, or is none."""
    try:
        told = tomllib.loads(mapping.read_text(encoding="utf-8")).get("sheet")
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        return None
    return told if isinstance(told, str) else None


def beside(plan: Path, name: str) -> Path | None:
    """The file or folder of that name beside a plan, or in it; None where there is none."""
    places = (plan.parent, plan) if plan.is_dir() else (plan.parent,)
    return next((p / name for p in places if (p / name).exists()), None)


def _csv(folder: Path) -> Iterator[Path]:
    return (p for p in folder.iterdir() if p.suffix.lower() == ".csv")


def _beginning(path: Path) -> str:
    with path.open(encoding="utf-8", errors="replace") as file:
        return file.read(_LOOKED_AT)


def _titles(path: Path) -> Iterable[str]:
    """Titles of the sheets of a workbook, in small letters."""
    with zipfile.ZipFile(path) as book, book.open("xl/workbook.xml") as file:
        text = file.read(_LOOKED_AT).decode("utf-8", "replace")
    return {title.strip().casefold() for title in _TITLE.findall(text)} & _SHEETS
