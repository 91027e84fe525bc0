"""What the store of sweeps knows of a plan, against the levels of its handover."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from verifier.files.canonical import plan_sha256
from verifier.model.history import Baseline, HistoryDocument
from verifier.model.plan import Device, Plan
from verifier.rules.history import deviation
from verifier.rules.history.record import record, subjects_of
from verifier.session.stored import result_in
from verifier.store.history import History
from verifier.store.store import opened

if TYPE_CHECKING:
    from sqlalchemy import Connection


def history_of(
    plan: Plan,
    devices: Sequence[Device],
    url: str,
    period_s: tuple[float, float],
    baseline: Baseline | None,
) -> HistoryDocument:
    """What the store at `url` holds of these devices and the links between them.

    Args:
        plan: theirs.
        devices: those that are asked about.
        url: where the store is, as `--store` takes it.
        period_s: its begin and its end, seconds since 1970.
        baseline: the levels of the handover.

    Raises:
        StoreError: it cannot be opened or read.
    """
    subjects = subjects_of(plan, devices)
    with opened(url) as store:
        memories = store.memories()

        def look(connection: Connection) -> HistoryDocument:
            past = History(connection, subjects, *period_s)
            return record(
                plan, plan_sha256(plan), past.period, past.subjects(), memories, baseline=baseline
            )

        return store.look(look)


def baseline_in(path: Path, plan: Plan) -> Baseline:
    """The levels of the handover in a result or evidence. Raises InputError where it is none."""
    return deviation.baseline(result_in(path), plan, str(path))
