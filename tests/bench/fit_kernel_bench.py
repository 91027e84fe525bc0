"""Random settings of a laptop and a device: what `fit` says against what the kernels do.

    python -m tests.bench.fit_kernel_bench [cases] [seed]       as root, in the checkout

Prints every case where the tool (asked of the machine, and of the same settings given by hand), the
kernels and the standard library are not of one opinion, and how many there were of each relation.
"""

from __future__ import annotations

import sys
import time
from collections import Counter

from tests.lab.fit_cases import Case, chosen, expected
from tests.lab.fit_network import FitNetwork, judged


def opinions(network: FitNetwork, case: Case) -> list[str]:
    """Of the kernels, the standard library, and the tool in both ways."""
    network.arrange(case)
    said = network.said(case)
    half = ["?" if s["relation"] == "routed" and s["verdict"] == "warn" else "" for s in said]
    tool = [s["relation"] + h for s, h in zip(said, half, strict=True)]
    return [judged(network.seen(case)), expected(case), *tool]


def main(count: int, seed: int) -> int:
    """The number of cases without agreement."""
    began_s = time.monotonic()
    had: Counter[str] = Counter()
    wrong = 0
    with FitNetwork() as network:
        for case in chosen(count, seed):
            kernel, *others = opinions(network, case)
            had[kernel] += 1
            if set(others) != {kernel}:
                wrong += 1
                print(f"{case}: kernel {kernel}, library {others[0]}, tool {others[1:]}")
    shares = ", ".join(f"{n} {name}" for name, n in had.most_common())
    print(f"{count} cases, {wrong} without agreement: {shares}; {time.monotonic() - began_s:.0f} s")
    return wrong


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    sys.exit(bool(main(*(numbers + [500, 1][len(numbers) :]))))
