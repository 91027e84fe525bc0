"""Which row of a device's interface table is a planned port."""

from __future__ import annotations

from collections.abc import Mapping

NAME_COLUMNS = ("ifName", "ifDescr", "ifAlias")
"""Where a port's name is looked for, in this order. ifIndex may change at a restart (RFC 2863
3.1.5); names are what people plan with."""


def match(names: Mapping[str, Mapping[str, str]], port: str) -> tuple[str, ...]:
    """Indices of the rows called `port`: by ifName, else ifDescr, else ifAlias; exact.

    Args:
        names: for each of `NAME_COLUMNS`, text by ifIndex.
        port: the planned name.
    """
    for column in NAME_COLUMNS:
        found = tuple(i for i, text in names.get(column, {}).items() if text == port)
        if found:
            return found
    return ()
