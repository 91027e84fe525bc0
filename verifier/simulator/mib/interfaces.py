"""IF-MIB and EtherLike-MIB of a simulated device (RFC 2863, RFC 3635; from memory)."""

from __future__ import annotations

from collections.abc import Iterator

from verifier.model.mib import IF_SPEED_MAX
from verifier.simulator.agent import ber
from verifier.simulator.agent.cells import (
    Cell,
    Count,
    Row,
    counter,
    gauge,
    number,
    oid,
    pointer,
    text,
    ticks,
)
from verifier.simulator.mib.shown import ShownDevice, ShownPort

_IF_NUMBER = oid("1.3.6.1.2.1.2.1.0")
_IF_TABLE = oid("1.3.6.1.2.1.2.2.1")
_IF_X_TABLE = oid("1.3.6.1.2.1.31.1.1.1")
_DOT3 = oid("1.3.6.1.2.1.10.7.2.1")
_ETHERNET, _VIRTUAL = 6, 53
"""ifType: ethernetCsmacd, propVirtual."""
_UP, _DOWN = 1, 2
_TRUE, _FALSE = 1, 2
_HALF, _FULL = 2, 3
_BITS_PER_MBIT = 1_000_000
_LOAD_OCTETS_PER_S = 12_500
_LOAD_PACKETS_PER_S = 25
_ERRORS_PER_S = 7.0
_NO_COUNT = counter(0)


def interfaces(shown: ShownDevice) -> Iterator[Row]:
    """ifNumber, ifTable, ifXTable, and dot3StatsTable for the ports."""
    yield _IF_NUMBER, number(len(shown.ports))
    for port in shown.ports:
        for column, cell in _if_columns(port).items():
            yield (*_IF_TABLE, column, port.index), cell
        for column, cell in _if_x_columns(port).items():
            yield (*_IF_X_TABLE, column, port.index), cell
        if port.physical:
            for column, cell in _dot3_columns(port).items():
                yield (*_DOT3, column, port.index), cell


def _count(port: ShownPort, per_s: float, tag: int = ber.COUNTER32) -> Cell:
    """A traffic counter: stands while the port is down."""
    return Count(per_s if port.up else 0.0, tag)


def _errors(port: ShownPort) -> Cell:
    return Count(_ERRORS_PER_S) if port.errors else _NO_COUNT


def _if_columns(port: ShownPort) -> dict[int, Cell]:
    return {
        1: number(port.index),
        2: text(port.name),
        3: number(_ETHERNET if port.physical else _VIRTUAL),
        4: number(port.mtu),
        5: gauge(min(port.speed_mbps * _BITS_PER_MBIT, IF_SPEED_MAX)),
        6: ber.octets(port.mac),
        7: number(_UP if port.enabled else _DOWN),
        8: number(_UP if port.up else _DOWN),
        9: ticks(0),
        10: _count(port, _LOAD_OCTETS_PER_S),
        11: _count(port, _LOAD_PACKETS_PER_S),
        13: _NO_COUNT,
        14: _errors(port),
        15: _NO_COUNT,
        16: _count(port, _LOAD_OCTETS_PER_S),
        17: _count(port, _LOAD_PACKETS_PER_S),
        19: _NO_COUNT,
        20: _errors(port),
    }


def _if_x_columns(port: ShownPort) -> dict[int, Cell]:
    no_count = ber.integer(0, ber.COUNTER64)
    octets = _count(port, _LOAD_OCTETS_PER_S, ber.COUNTER64)
    packets = _count(port, _LOAD_PACKETS_PER_S, ber.COUNTER64)
    return {
        1: text(port.name),
        2: _NO_COUNT, 3: _NO_COUNT, 4: _NO_COUNT, 5: _NO_COUNT,
        6: octets, 7: packets, 8: no_count, 9: no_count,
        10: octets, 11: packets, 12: no_count, 13: no_count,
        14: number(_TRUE),
        15: gauge(port.speed_mbps),
        16: number(_FALSE),
        17: number(_TRUE if port.physical else _FALSE),
        18: text(""),
        19: ticks(0),
    }  # fmt: skip


def _dot3_columns(port: ShownPort) -> dict[int, Cell]:
    columns: dict[int, Cell] = {1: number(port.index), 2: _NO_COUNT, 3: _errors(port)}
    columns |= dict.fromkeys((4, 5, 6, 7, 8, 9, 10, 11, 13, 16), _NO_COUNT)
    columns[17] = pointer((0, 0))
    columns[18] = _NO_COUNT
    columns[19] = number(_FULL if port.full_duplex else _HALF)
    columns[20] = number(_TRUE)
    columns[21] = number(_TRUE)
    return columns
