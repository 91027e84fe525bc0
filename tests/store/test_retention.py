"""Roll-up and retention against sums made here, apart from the store's own."""

from __future__ import annotations

import random
import statistics
from typing import Any

import pytest
from sqlalchemy import select

from tests.store import examples
from verifier.model.health import ReceivedLevel, State, Sweep
from verifier.store import schema
from verifier.store.retention import DAY_S, HOUR_S, Retention
from verifier.store.store import opened

SHORT = Retention(raw_s=3 * HOUR_S, hourly_s=8 * HOUR_S)


def random_sweeps(hours: int, seed: int) -> list[Sweep]:
    states: dict[bool | None, State] = {True: "sound", False: "silent", None: "untested"}
    chance, at_s, made = random.Random(seed), examples.START_S + 100.0, []
    while at_s < examples.START_S + hours * HOUR_S:
        level = ReceivedLevel(1, "a", round(chance.uniform(-60, -40), 1))
        answered = chance.choice([True, False, None])
        state = states[answered]
        rtt_ms = chance.choice([None, round(chance.expovariate(1), 3)])
        made.append(
            examples.sweep(
                examples.reading(
                    examples.RADIO, state, answered=answered, rtt_ms=rtt_ms,
                    loss_pct=chance.choice([0.0, 20.0]),
                ),
                examples.reading(examples.HOP, levels=(level,)),
                at_s=at_s,
                added=(examples.added(chance.randrange(5)),),
            )
        )  # fmt: skip
        at_s += chance.choice([240.0, 300.0, 2000.0])
    return made


def spans(sweeps: list[Sweep]) -> list[float]:
    following = [s.started_s for s in sweeps[1:]] + [float("inf")]
    return [min(s.valid_s, f - s.started_s) for s, f in zip(sweeps, following, strict=True)]


@pytest.mark.parametrize("seed", [1, 2])
def test_hours_are_what_their_sweeps_were(url: str, seed: int) -> None:
    """Times in each state, medians, means, sums: of every hour that is over."""
    sweeps = random_sweeps(7, seed)
    with opened(url) as kept:
        for sweep in sweeps:
            kept.save(sweep)
        hours = kept.rows(
            select(schema.hour, schema.subject.c.kind)
            .join(schema.subject, schema.subject.c.id == schema.hour.c.subject_id)
            .where(schema.subject.c.kind == "device")
            .order_by(schema.hour.c.hour_s)
        )
        levels = kept.rows(select(schema.hour_level).order_by(schema.hour_level.c.hour_s))
        errors = kept.rows(select(schema.hour_port).order_by(schema.hour_port.c.hour_s))
    groups: dict[int, list[tuple[Sweep, float]]] = {}
    for sweep, span in zip(sweeps, spans(sweeps), strict=True):
        groups.setdefault(int(sweep.started_s // HOUR_S * HOUR_S), []).append((sweep, span))
    *over, _running = sorted(groups)
    assert [h["hour_s"] for h in hours] == over
    for hour, level, error in zip(hours, levels, errors, strict=True):
        group = groups[hour["hour_s"]]
        radios = [(s.readings[0], span) for s, span in group]
        for state in ("sound", "silent", "untested", "impaired"):
            expected = sum(span for r, span in radios if r.state == state)
            assert hour[f"{state}_s"] == pytest.approx(expected, abs=1e-3)
        assert hour["answered_s"] == pytest.approx(
            sum(s for r, s in radios if r.answered), abs=1e-3
        )
        assert hour["unanswered_s"] == pytest.approx(
            sum(s for r, s in radios if r.answered is False), abs=1e-3
        )
        rtts: Any = [r.rtt_ms for r, _ in radios if r.rtt_ms is not None]
        if rtts:
            assert hour["rtt_median_ms"] == pytest.approx(statistics.median(rtts), rel=1e-6)
            assert hour["rtt_max_ms"] == pytest.approx(max(rtts), rel=1e-6)
        losses: Any = [r.loss_pct for r, _ in radios]
        assert hour["loss_mean_pct"] == pytest.approx(statistics.fmean(losses), rel=1e-6)
        seen = [s.readings[1].levels[0].rx_level_dbm for s, _ in group]
        assert (level["samples"], level["min_dbm"], level["max_dbm"]) == pytest.approx(
            (len(seen), min(seen), max(seen)), rel=1e-6
        )
        assert level["median_dbm"] == pytest.approx(statistics.median(seen), rel=1e-6)
        assert error["in_added"] == sum(s.added[0].in_added for s, _ in group)


def test_what_is_too_old_goes_and_changes_stay(url: str) -> None:
    """Readings after `raw_s`, hours and sweeps after `hourly_s`, changes never."""
    sweeps = random_sweeps(14, 3)
    with opened(url) as kept:
        for n, sweep in enumerate(sweeps):
            kept.save(sweep, changes=[examples.change(at_s=sweep.started_s)] if n < 2 else (),
                      keep=SHORT)  # fmt: skip
        now_s = sweeps[-1].started_s
        s, r = schema.sweep, schema.reading
        raw = kept.rows(select(s.c.started_s).join(r, r.c.sweep_id == s.c.id).distinct())
        stored = kept.rows(select(s.c.started_s))
        hours = kept.rows(select(schema.hour.c.hour_s).distinct())
        changes = kept.rows(select(schema.change))
    for rows, name, age_s in (
        (raw, "started_s", SHORT.raw_s),
        (stored, "started_s", SHORT.hourly_s),
        (hours, "hour_s", SHORT.hourly_s),
    ):
        oldest = min(row[name] for row in rows)
        # Whole hours are rolled up before anything of theirs goes.
        assert now_s - age_s - HOUR_S <= oldest
        assert oldest <= now_s - age_s + 2000.0
    assert len(changes) == 2


def test_a_clock_that_jumps_ahead_costs_little(url: str) -> None:
    """Ten years on for one sweep and back again: nothing is dropped."""
    with opened(url) as kept:
        for n in range(40):
            kept.save(examples.sweep(at_s=examples.START_S + 300.0 * n))
        kept.save(examples.sweep(at_s=examples.START_S + 3650 * DAY_S))
        for n in range(40, 50):
            kept.save(examples.sweep(at_s=examples.START_S + 300.0 * n))
        left = kept.rows(select(schema.reading.c.sweep_id))
        assert len(left) == 51
        assert len(kept.rows(select(schema.sweep.c.id))) == 51


def test_reasons_are_stored_once_and_go_with_their_readings(url: str) -> None:
    """A hundred sweeps with the same reasons make one row; it goes when the last of them goes."""
    short = Retention(raw_s=HOUR_S, hourly_s=100 * HOUR_S)
    with opened(url) as kept:
        for n in range(30):
            kept.save(examples.sweep(examples.full_reading(), at_s=examples.START_S + 300.0 * n))
        assert len(kept.rows(select(schema.reasons))) == 1
        for n in range(30, 80):
            kept.save(examples.sweep(at_s=examples.START_S + 300.0 * n), keep=short)
        assert kept.rows(select(schema.reasons)) == []


def test_told_messages_go_and_waiting_ones_stay(url: str) -> None:
    with opened(url) as kept:
        for n in range(2):
            kept.save(examples.sweep(), notices=[examples.notice(f"n-{n}")], deliveries=["lines"])
        kept.delivered("lines", kept.waiting("lines")[0].id, 1.0)
        for _ in range(2):
            kept.save(examples.sweep(at_s=examples.START_S + 20 * DAY_S))
        assert [w.body["id"] for w in kept.waiting("lines")] == ["n-1"]
        assert len(kept.rows(select(schema.message))) == 1


def test_the_usual_retention_is_that_of_the_manual() -> None:
    """14 days and 400 days."""
    assert (Retention().raw_s, Retention().hourly_s) == (14 * 86_400, 400 * 86_400)
