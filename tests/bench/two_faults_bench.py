"""Every two faults that can be planted, and what is said of them.

Usage: python -m tests.bench.two_faults_bench [SHARE [FIRST]]
(default: 1, every pair; 10 3: each tenth from the third on)

Ends with 1 where a cause is certain that was not planted, a finding is laid at a cause that would
not have made it, or a planted fault is hidden by another cause.
"""

from __future__ import annotations

import sys
import time
from collections import Counter

from tests.two_faults.judging import complaints
from tests.two_faults.planting import KINDS, pairs
from tests.two_faults.world import world


def main(share: int) -> int:
    """Plants the pairs, prints what is wrong and the figures."""
    begun_s, cpu_s = time.monotonic(), time.process_time()
    chosen = pairs()[int(sys.argv[2]) if len(sys.argv) > 2 else 0 :: share]
    wrong: Counter[str] = Counter()
    certain = causes = 0
    with world() as network:
        for pair in chosen:
            judged = network.judged(*pair)
            for words in complaints(network, pair, judged):
                wrong[words.partition(":")[0]] += 1
                print(f"{pair[0]} and {pair[1]}: {words}", flush=True)
            causes += len(judged.causes)
            certain += sum(c.certainty == "certain" for c in judged.causes)
    print(
        f"{len(KINDS)} faults, {len(chosen)} pairs: {causes} causes, {certain} of them certain, "
        f"{sum(wrong.values())} complaints; {time.monotonic() - begun_s:.0f} s, "
        f"{time.process_time() - cpu_s:.0f} s of processor"
    )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 1))
