"""Names of devices side by side: equal, nearly equal, or with something around them unseen."""

from __future__ import annotations


def same_device(one: str, other: str) -> bool:
    """Whether two names are equal but for capital letters, or one has a domain suffix besides."""
    short, long = sorted((one.casefold(), other.casefold()), key=len)
    return short == long or (bool(short) and long.startswith(f"{short}."))


def beside(found: str, planned: str) -> str | None:
    """What stands before and behind the planned name and cannot be seen, in words; else None."""
    name = bare(found)
    if name == found or not same_device(name, planned):
        return None
    start = found.index(name)
    parts = (found[:start], "beginning"), (found[start + len(name) :], "end")
    told = [f"{_unseen(text)} at its {where}" for text, where in parts if text]
    words = " and ".join(told)
    return words if name == planned else f"{words}, and capital letters or a domain suffix differ"


def bare(name: str) -> str:
    """A name without what stands around it and cannot be seen: spaces, line ends, NULs."""
    return name.strip("".join(c for c in set(name) if c.isspace() or not c.isprintable()))


def _unseen(text: str) -> str:
    if set(text) == {" "}:
        return "a space" if len(text) == 1 else f"{len(text)} spaces"
    return " and ".join(f"U+{ord(c):04X}" for c in dict.fromkeys(text))
