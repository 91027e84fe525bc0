"""Names of modulations, and their bits."""

from __future__ import annotations

import functools
import re

_QAM = re.compile(r"(\d{1,5})[ _-]?qam")
_PSK = {"bpsk": 1, "qpsk": 2, "4psk": 2, "8psk": 3}


@functools.lru_cache(maxsize=1024)
def plain_modulation(text: str) -> str:
    """One spelling for one modulation: `256-QAM` is `256qam`, `QPSK` is `4qam`."""
    low = text.strip().lower()
    if (qam := _QAM.fullmatch(low)) is not None:
        return f"{int(qam[1])}qam"
    return {"qpsk": "4qam", "4psk": "4qam"}.get(low, low)


def bits_per_symbol(modulation: str) -> int | None:
    """log2 of the number of states; None where the name does not tell it."""
    text = plain_modulation(modulation)
    if text in _PSK:
        return _PSK[text]
    if (qam := _QAM.fullmatch(text)) is None:
        return None
    states = int(qam[1])
    bits = states.bit_length() - 1
    return bits if bits > 0 and states == 1 << bits else None
