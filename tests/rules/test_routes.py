"""Default routes in the indices of routing tables (layouts: RFC 2096, RFC 4292; from memory)."""

from __future__ import annotations

import ipaddress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.rules.observations import rows_of_port
from verifier.rules.routes import next_hop, tables

OLD, NEW = tables(4)
(SIX,) = tables(6)


def v6(text: str) -> str:
    return ".".join(str(octet) for octet in ipaddress.IPv6Address(text).packed)


@pytest.mark.parametrize(
    ("table", "index", "hop"),
    [
        # ipCidrRouteTable: destination, mask, type of service, next hop.
        (OLD, "0.198.18.20.1", "198.18.20.1"),
        (OLD, "0.198.18.20", None),
        (OLD, "0.198.18.20.256", None),
        # inetCidrRouteTable: policy 0.0 with its length, type and length of the next hop.
        (NEW, "2.0.0.1.4.198.18.20.1", "198.18.20.1"),
        (NEW, "3.0.0.2.1.4.198.18.20.1", "198.18.20.1"),
        (NEW, "2.0.0.0.0", None),
        (NEW, "2.0.0.1.4.198.18.20", None),
        (NEW, "99.0", None),
        (NEW, "2.0.0", None),
        (SIX, f"2.0.0.2.16.{v6('2001:db8:20::1')}", "2001:db8:20::1"),
        (SIX, f"2.0.0.2.16.{v6('fe80::1')}", "fe80::1"),
        (SIX, "2.0.0.1.4.198.18.20.1", "198.18.20.1"),
        # Types ipv4z and ipv6z: four octets of zone index behind the address (RFC 4001).
        (NEW, "2.0.0.3.8.198.18.20.1.0.0.0.2", "198.18.20.1"),
        (SIX, f"2.0.0.4.20.{v6('fe80::1')}.0.0.0.2", "fe80::1"),
        (SIX, f"2.0.0.4.16.{v6('fe80::1')}", None),
    ],
)  # fmt: skip
def test_next_hop_of_an_index(table: object, index: str, hop: str | None) -> None:
    assert next_hop(table, f"{table.subtree}.{index}") == hop  # type: ignore[arg-type,attr-defined]


def test_another_destination_is_no_default_route() -> None:
    """The row after the last default route ends the reading."""
    other = f"{OLD.type_column}.198.18.20.0.255.255.255.0.0.0.0.0.0"
    assert next_hop(OLD, other) is None


@given(st.lists(st.integers(0, 2**32 - 1), max_size=40))
def test_no_index_is_an_error(arcs: list[int]) -> None:
    """A faulty agent's index gives a next hop or none, never an exception."""
    for table in (OLD, NEW, SIX):
        found = next_hop(table, ".".join([table.subtree, *map(str, arcs)]))
        assert found is None or ipaddress.ip_address(found)


NAMES = {
    "ifName": {"1": "lo", "2": "eth1", "3": "eth2"},
    "ifDescr": {"1": "loopback", "2": "Port 1", "3": "Port 2"},
    "ifAlias": {"1": "", "2": "switch", "3": "switch"},
}


@pytest.mark.parametrize(
    ("port", "rows"),
    [
        ("eth1", ("2",)),
        ("Port 2", ("3",)),
        ("switch", ("2", "3")),
        ("ETH1", ()),
        ("eth", ()),
        ("eth9", ()),
    ],
)
def test_port_by_name_description_or_alias(port: str, rows: tuple[str, ...]) -> None:
    """Exact, in this order; more than one is for the caller to refuse."""
    assert rows_of_port(NAMES, port) == rows


def test_name_comes_before_description() -> None:
    """One row's ifName is another's ifDescr: the name counts."""
    assert rows_of_port({"ifName": {"7": "1"}, "ifDescr": {"8": "1"}}, "1") == ("7",)
