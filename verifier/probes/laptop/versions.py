"""What a run is made with, for whoever asks years later what its observations are worth."""

from __future__ import annotations

import platform
from importlib import metadata

from verifier import __version__

_LIBRARIES = ("icmplib", "pysnmp", "pyasn1", "cryptography", "netaddr", "pydantic")
"""Those that what was seen has passed through."""


def versions() -> dict[str, str]:
    """Version of this program, of Python, of the operating system and of each library."""
    return {
        "plan-verifier": __version__,
        "Python": platform.python_version(),
        platform.system(): platform.release(),
        **{name: metadata.version(name) for name in _LIBRARIES},
    }
