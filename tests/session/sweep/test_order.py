"""In which order a sweep asks, as the devices themselves see it."""

from __future__ import annotations

import dataclasses
import socket
import struct
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.session.test_run import request
from tests.stopwatch import patience
from verifier.probes.world import ThisMachine
from verifier.session import Probing
from verifier.session.sweep.process import Measuring

pytestmark = pytest.mark.icmp
SUBJECTS = 30
_IP_PKTINFO = 8
"""From linux/in.h; Python 3.11 does not name it."""


@contextmanager
def asked_devices() -> Iterator[tuple[int, list[str]]]:
    """A silent socket at every loopback address; its port, and the addresses in order of asking."""
    seen: list[str] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as heard:
        heard.setsockopt(socket.IPPROTO_IP, _IP_PKTINFO, 1)
        heard.bind(("0.0.0.0", 0))
        heard.settimeout(0.1)
        over = threading.Event()

        def listen() -> None:
            while not over.is_set():
                try:
                    _, ancillary, _, _ = heard.recvmsg(65535, 256)
                except TimeoutError:
                    continue
                address = socket.inet_ntoa(struct.unpack("=I4s4s", ancillary[0][2])[2])
                if address not in seen:
                    seen.append(address)

        listening = threading.Thread(target=listen)
        listening.start()
        try:
            yield heard.getsockname()[1], seen
        finally:
            over.set()
            listening.join()


def test_the_order_is_another_in_each_sweep(tmp_path: Path) -> None:
    """Neither that of the plan nor that of the sweep before; every device is asked."""
    asked = request(tmp_path, SUBJECTS, command="sweep", stage="service", probing=Probing(
        echoes=1, interval_s=0.01, timeout_s=0.2, device_deadline_s=0.3 * patience()))  # fmt: skip
    orders = []
    for _ in range(2):
        with asked_devices() as (port, seen):
            entries = {n: dataclasses.replace(e, port=port) for n, e in asked.credentials.items()}
            measuring = Measuring(dataclasses.replace(asked, credentials=entries), ThisMachine())
            while not measuring.proceed():
                pass
            found = measuring.result().readings
        assert [r.subject.name for r in found] == [d.name for d in asked.devices], "told as planned"
        orders.append(list(seen))
    planned = [str(d.address.address) for d in asked.devices]
    assert sorted(orders[0]) == sorted(orders[1]) == sorted(planned)
    assert orders[0] != planned
    assert orders[0] != orders[1]
