"""The status page: time to put together and draw, its size, and the query of a store with history.

Usage: python -m tests.bench.page_bench [DAYS [UNITS]]      (default: 14 200)

Times are of the processor. The store is filled with sweeps every 5 minutes for so many days, with two
levels a link in each; then once more with thirty times the changes.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, select

from tests.report.status import examples as paging
from tests.report.status.examples import NOW_S
from tests.store.examples import sweep
from verifier.model.health import HealthReading, ReceivedLevel
from verifier.model.status import CHANGES_S, MOST_CHANGES, Recent
from verifier.report.status.page import page
from verifier.rules.status import status
from verifier.store import schema
from verifier.store.recent import recent
from verifier.store.store import Store, opened

SIZES = (10, 100, 200, 1000)
EVERY_S = 300.0


def cpu_s(do: Callable[[], Any], times: int = 5) -> float:
    """The median processor time of some calls, after one that is not counted."""
    do()
    took = []
    for _ in range(times):
        began_s = time.process_time()
        do()
        took.append(time.process_time() - began_s)
    return statistics.median(took)


def drawing() -> None:
    """Putting together and drawing, by the number of devices."""
    print(f"{'devices':>8} {'put together ms':>16} {'drawn ms':>9} {'kB':>6} {'us a device':>12}")
    for subjects in SIZES:
        plan = paging.many_plan(subjects)
        done = paging.many_report(plan)
        made = paging.many(subjects)
        past = Recent(
            levels={
                hop.name: {(1, "a"): paging.day(-45.0, n), (1, "b"): paging.day(-45.2, -n)}
                for n, hop in enumerate(plan.links)
            }
        )
        together_s = cpu_s(
            lambda: status(plan, done, past, every_s=EVERY_S, confirm=2)  # noqa: B023
        )
        drawn_s, size = cpu_s(lambda: page(made)), len(page(made).encode())  # noqa: B023
        each_us = 1e6 * (together_s + drawn_s) / subjects
        print(
            f"{subjects:>8} {1e3 * together_s:>16.1f} {1e3 * drawn_s:>9.1f} {size / 1e3:>6.0f} "
            f"{each_us:>12.0f}"
        )


def fill(store: Store, days: float, several: int) -> int:
    """Sweeps of so many days up to `NOW_S`; the number of them."""
    plan = paging.many_plan(several)
    devices = [paging.reading(d.name) for d in plan.devices]
    count = int(days * 86_400.0 / EVERY_S)
    for n in range(count):
        levels = (
            ReceivedLevel(1, "a", -45.0 - n % 5 / 10),
            ReceivedLevel(1, "b", -45.5 - n % 7 / 10),
        )
        links: list[HealthReading] = [paging.reading(x.name, levels=levels) for x in plan.links]
        at_s = NOW_S - EVERY_S * (count - 1 - n)
        changes = [
            paging.change(devices[n % several].subject.name, "silent", at_s=at_s, confirmed_s=at_s)
        ]
        store.save(sweep(*devices, *links, at_s=at_s), changes=changes)
    return count


def look(connection: Connection) -> Any:
    """What each page asks of the store."""
    return recent(connection, NOW_S - CHANGES_S, NOW_S, MOST_CHANGES)


def querying(days: float, subjects: int) -> None:
    """The query in a store of so many days; then with very many more changes, all of them older."""
    with tempfile.TemporaryDirectory() as name, opened(str(Path(name) / "s.db")) as store:
        began_s = time.monotonic()
        count = fill(store, days, subjects)
        filled_s = time.monotonic() - began_s
        size = (Path(name) / "s.db").stat().st_size
        asked_s = cpu_s(lambda: store.look(look))
        print(
            f"{count:>6} sweeps of {subjects} devices, {size / 1e6:.0f} MB (filled in {filled_s:.0f} s):"
            f" asked in {1e3 * asked_s:.1f} ms"
        )
        if days <= 1.0:
            return
        rows = [
            {k: v for k, v in r.items() if k != "id"} for r in store.rows(select(schema.change))
        ]
        older = [row | {"confirmed_s": row["confirmed_s"] - 90 * 86_400.0} for row in rows]
        fresh = rows[-int(86_400.0 / EVERY_S) :]

        def more(connection: Connection) -> None:
            connection.execute(schema.change.insert(), older * 30)
            connection.execute(schema.change.insert(), fresh)

        store.look(more)
        asked_s = cpu_s(lambda: store.look(look))
        number = len(store.rows(select(schema.change.c.id)))
        print(f"{number:>6} changes in it: asked in {1e3 * asked_s:.1f} ms")


if __name__ == "__main__":
    drawing()
    of_devices = int(sys.argv[2]) if len(sys.argv) > 2 else 200
    for length in (1.0, float(sys.argv[1]) if len(sys.argv) > 1 else 14.0):
        querying(length, of_devices)
