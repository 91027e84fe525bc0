"""Which frames the kernel lets through, asked of the kernel itself; and what cannot be opened."""

from __future__ import annotations

import socket
import sys

import pytest

from tests.probes.cable.test_frames import ALL_FRAMES, DEVICE, LLDP_FRAMES
from verifier.errors import CannotMeasureError
from verifier.model.address import Mac
from verifier.probes.cable.frames import decode
from verifier.probes.cable.listen import PacketWire, _attach, _filter, open_wires

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="packet sockets are Linux's")
OTHERS = [Mac.parse(f"02:00:5e:10:01:{n:02x}") for n in range(40)]
FRAMES = {name: bytes(packet) for name, (packet, _) in {**ALL_FRAMES, **LLDP_FRAMES}.items()}


def passes(frame: bytes, of: list[Mac]) -> bool:
    """Whether the kernel's filter lets a frame through; on a socket that needs no permission."""
    ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_DGRAM)
    with ours, theirs:
        _attach(theirs, _filter(of))
        theirs.settimeout(0)
        try:
            ours.send(frame)
            return theirs.recv(2048) == frame
        except (BlockingIOError, PermissionError):  # unix(7): a filter's no is told to the sender
            return False


@pytest.mark.parametrize("name", FRAMES)
def test_what_tells_of_others(name: str) -> None:
    """ARP, LLDP and neighbour discovery of anybody; nothing else of others."""
    frame = FRAMES[name]
    kind = frame[12:14]
    tells = kind in {b"\x08\x06", b"\x88\xcc"}
    tells |= kind == b"\x86\xdd" and frame[20] == 58 and 133 <= frame[54] <= 136
    assert passes(frame, []) == tells
    assert passes(frame, OTHERS[:3]) == tells
    said = decode(frame)
    assert tells or said is None or said.what == "packet"


@pytest.mark.parametrize("count", [0, 1, 3, 31])
def test_everything_of_the_device(count: int) -> None:
    """Every frame of a sender that is looked for, whichever of up to 32 it is."""
    device = Mac.parse(DEVICE)
    for name, frame in FRAMES.items():
        if frame[6:12] == bytes.fromhex(DEVICE.replace(":", "")):
            assert passes(frame, [device, *OTHERS[:count]]), name
    near = bytearray(FRAMES["no protocol that is known"])
    for octet in range(6, 12):
        near[octet] ^= 4
        assert not passes(bytes(near), [device, *OTHERS[:count]])
        near[octet] ^= 4


def test_short_frames_do_no_harm() -> None:
    """What ends before what the filter looks at is dropped."""
    whole = FRAMES["advertisement"]
    assert [passes(whole[:n], []) for n in (1, 12, 14, 20, 54)] == [False] * 5
    assert passes(whole, [])


def test_what_is_no_cable_is_refused() -> None:
    """Loopback and what is not there: the reason is said, whatever permission there is."""
    for name in ("lo", "nope0"):
        with pytest.raises(CannotMeasureError, match=r"lo|nope0|CAP_NET_RAW"):
            PacketWire(name)
    with open_wires(["lo", "nope0"], everything=False, of=()) as wires:
        assert wires.opened == {}
        assert 1 <= len(wires.refused) <= 2
