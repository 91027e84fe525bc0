"""Plans with every field, made by hypothesis from the model's own type hints."""

from __future__ import annotations

import dataclasses
import datetime as dt
import re
import typing
from typing import Any

import netaddr
from hypothesis import strategies as st

from verifier.files.plan.columns import without_none
from verifier.model import plan as model
from verifier.model.address import Address, Interface, Mac

ODD_TEXTS = (
    "null", "~", "true", "No", "on", "y", "000123", "1e3", "0x1F", "0o17", "1_000", ".inf", "4.20",
    "12:30:45", "2026-01-01", "2026-01-01T00:00:00Z", "=1+1", '=HYPERLINK("x")', "+358", "-5",
    "-a", "@x", "'=1", "''@", "'quoted'", '"', '"a";b', 'say "hi"; then', "a;b", ";", "a,b", "a: b",
    "a #b", "# a", "- a", "? a", "[a]", "{b}", "*a", "&a", "!t", "%a", "|", ">", "a > b", "C:\\x\\n",
    "<a&b>", "#N/A", "TRUE", "50 %", "1,5", "=", "a  b", "\u00fc\u00df\u0105 \u6f22\u5b57 \U0001f4e1", "\u2212" + "5",
    "Field", "Name", "Device A", "A", "x" * 1000,
)  # fmt: skip
_ESCAPE = re.compile(r"_x[0-9A-Fa-f]{4}_")


def _is_text(text: str) -> bool:
    """What a reader lets through as a text; without what a workbook reads as an escape."""
    return bool(text) and text == text.strip() and text.isprintable() and not _ESCAPE.search(text)


_CHARACTERS = st.characters(blacklist_categories=("C", "Zl", "Zp", "Zs"), max_codepoint=0x2FFFF)
TEXTS = st.one_of(
    st.sampled_from(ODD_TEXTS),
    st.text(st.one_of(_CHARACTERS, st.just(" ")), min_size=1, max_size=20).filter(_is_text),
    st.text("ab;\"'=,: #-0123456789", min_size=1, max_size=12).filter(_is_text),
)
_V4 = st.integers(0, 2**32 - 1).map(lambda n: Address(netaddr.IPAddress(n, 4)))
_V6 = st.builds(
    lambda n, zone: Address(netaddr.IPAddress(n, 6), zone),
    st.integers(0, 2**128 - 1), st.sampled_from(("", "", "eth0", "7")),
)  # fmt: skip
ADDRESSES = st.one_of(_V4, _V6)
INTERFACES = ADDRESSES.flatmap(lambda a: st.integers(0, a.bits).map(lambda n: Interface.of(a, n)))
MACS = st.integers(0, 2**48 - 1).map(lambda n: Mac.parse(f"{n:012x}"))
MOMENTS = st.datetimes(timezones=st.just(dt.UTC)).map(lambda t: t.replace(microsecond=0))
_SIMPLE: dict[Any, st.SearchStrategy[Any]] = {
    str: TEXTS,
    bool: st.booleans(),
    int: st.one_of(st.integers(-(2**53) + 1, 2**53 - 1), st.integers(0, 4095)),
    float: st.one_of(
        st.floats(allow_nan=False, allow_infinity=False),
        st.floats(-200, 200),
        st.integers(-(10**6), 10**6).map(lambda n: n / 1000),
    ),
    dt.date: st.dates(),
    dt.datetime: MOMENTS,
    Address: ADDRESSES,
    Interface: INTERFACES,
    Mac: MACS,
    model.Service: st.integers(1, 65535).map(lambda n: model.Service(port=n)),
}


def _of(hint: Any) -> st.SearchStrategy[Any]:
    """Values of one field, None among them where the model lets it."""
    plain = without_none(hint)
    if typing.get_origin(plain) is tuple:
        return _list(typing.get_args(plain)[0])
    if typing.get_origin(plain) is typing.Literal:
        values: st.SearchStrategy[Any] = st.sampled_from(typing.get_args(plain))
    elif dataclasses.is_dataclass(plain) and plain not in _SIMPLE:
        values = records(plain)
    else:
        values = _SIMPLE[plain]
    return values if plain is hint else st.one_of(st.none(), values)


def _list(kind: Any) -> st.SearchStrategy[Any]:
    """Lists; what rows tell apart by its name has a name of its own."""
    unique = {
        model.Device: lambda d: d.name,
        model.Link: lambda link: link.name,
        model.Carrier: lambda c: c.carrier,
    }.get(kind)
    least = 1 if kind is model.Carrier else 0
    entries = _of(kind)
    lists = st.lists(entries, min_size=least, max_size=3, unique_by=unique)
    return lists.map(tuple)


def records(cls: Any) -> st.SearchStrategy[Any]:
    """Values of a dataclass of the plan, with every field."""
    hints = typing.get_type_hints(cls)
    fields = {f.name: _of(hints[f.name]) for f in dataclasses.fields(cls) if f.compare}
    made = st.builds(cls, **fields)
    if cls is model.Licence:  # a licence of which nothing is known is none
        return made.map(lambda found: None if found == model.Licence() else found)
    if cls is model.Device:  # it has a gateway, or none by the plan, or nothing is said
        return made.map(
            lambda d: dataclasses.replace(d, no_gateway=d.no_gateway and d.gateway is None)
        )
    if cls is model.Network:
        return st.one_of(made, made.map(lambda n: dataclasses.replace(n, name="")))
    return made


PLANS = records(model.Plan)
