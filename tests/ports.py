"""UDP ports for agents on the loopback range that nobody else on this machine has."""

from __future__ import annotations

import socket


def free_port(address: str = "") -> int:
    """A UDP port that nobody has on `address`, by default on any; it is not held."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as trial:
        trial.bind((address, 0))
        port: int = trial.getsockname()[1]
        return port
