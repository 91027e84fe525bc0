"""A period as the store has it, against sums made here from the sweeps themselves."""

from __future__ import annotations

import random
import statistics

import pytest

from tests.store import examples
from verifier.model.health import ReceivedLevel, State, Sweep
from verifier.model.history import HistoryDocument
from verifier.model.plan import Carrier, End, Link, Network, Plan
from verifier.rules.history.record import record
from verifier.store.history import History
from verifier.store.retention import HOUR_S, Retention
from verifier.store.store import opened

PLAN = Plan(
    network=Network(name="Harbour ring"),
    links=(
        Link(
            name="Hop 1",
            carriers=(
                Carrier(a=End(device="lighthouse-quarry", rx_level_dbm=-45.0), b=End(device="q")),
            ),
        ),
    ),
)
STATES: dict[bool | None, State] = {True: "sound", False: "silent", None: "untested"}


def random_sweeps(hours: float, seed: int) -> list[Sweep]:
    """Answers come and go for some sweeps each; one interval in ten is longer than a sweep is valid."""
    chance, at_s, made = random.Random(seed), examples.START_S + 100.0, []
    answered: bool | None = True
    while at_s < examples.START_S + hours * HOUR_S:
        if chance.random() < 0.3:
            answered = chance.choice([True, True, False, None])
        made.append(
            examples.sweep(
                examples.reading(
                    examples.RADIO, STATES[answered], answered=answered,
                    rtt_ms=round(chance.expovariate(1), 3) if answered else None,
                ),
                examples.reading(examples.HOP, levels=(ReceivedLevel(1, "a", chance.uniform(-46, -44)),)),
                at_s=at_s,
                added=(examples.added(chance.randrange(5)),),
            )
        )  # fmt: skip
        at_s += 2000.0 if chance.random() < 0.1 else 300.0
    return made


def stored(url: str, sweeps: list[Sweep], end_s: float, **keep: float) -> HistoryDocument:
    with opened(url) as kept:
        for sweep in sweeps:
            kept.save(sweep, keep=Retention(**keep))
        return kept.look(
            lambda connection: record(
                PLAN,
                "00",
                (past := History(connection, [examples.RADIO, examples.HOP], 0.0, end_s)).period,
                past.subjects(),
                {},
            )
        )


@pytest.mark.parametrize("seed", [1, 2])
def test_figures_are_those_of_the_sweeps(url: str, seed: int) -> None:
    """Times, percentiles, levels, errors and outages of eight hours, the last of them running."""
    sweeps = random_sweeps(7.5, seed)
    end_s = sweeps[-1].started_s + 60.0
    made = stored(url, sweeps, end_s)
    network, subject, link = made.subjects
    following = [s.started_s for s in sweeps[1:]] + [end_s]
    spans = [min(s.valid_s, f - s.started_s) for s, f in zip(sweeps, following, strict=True)]
    time_s = {True: 0.0, False: 0.0, None: 0.0}
    for sweep, span_s in zip(sweeps, spans, strict=True):
        time_s[sweep.readings[0].answered] += span_s
    whole_s = end_s - sweeps[0].started_s
    assert subject.availability.answered_s == pytest.approx(time_s[True])
    assert subject.availability.unanswered_s == pytest.approx(time_s[False])
    assert subject.availability.untested_s == pytest.approx(whole_s - time_s[True] - time_s[False])
    assert subject.availability.untested_s > time_s[None] > 0, "time between sweeps is untested too"
    assert subject.availability.available_pct == pytest.approx(
        100 * time_s[True] / (time_s[True] + time_s[False])
    )
    assert network.availability == subject.availability
    rtts = [rtt for s in sweeps if (rtt := s.readings[0].rtt_ms) is not None]
    assert subject.rtt_median_ms == pytest.approx(statistics.median(rtts))
    p95 = subject.rtt_p95_ms
    assert p95 is not None
    assert sum(r < p95 for r in rtts) < 0.95 * len(rtts) <= sum(r <= p95 for r in rtts)
    cut = statistics.quantiles(rtts, n=100, method="inclusive")[94]
    nearest = sorted(rtts, key=lambda r: abs(r - cut))[:2]
    assert min(nearest) <= p95 <= max(rtts), "it is next to the interpolated one"
    levels = [s.readings[1].levels[0].rx_level_dbm for s in sweeps]
    assert link.levels[0].median_dbm == pytest.approx(statistics.median(levels))
    assert link.levels[0].planned_dbm == -45.0
    assert sum(o.length_s for o in made.outages) == pytest.approx(time_s[False])
    assert subject.outages == len(made.outages) > 1
    (port,) = made.ports
    assert (port.in_errors, port.out_errors) == (
        sum(s.added[0].in_added for s in sweeps), len(sweeps)
    )  # fmt: skip


def test_what_was_dropped_is_read_by_the_hour(url: str) -> None:
    """Availability and errors stay the same when only the hourly figures are left."""
    sweeps = random_sweeps(8, 3)
    end_s = sweeps[-1].started_s + 60.0
    fresh = stored(url, sweeps[:-1], end_s)
    assert fresh.resolution == "sweep"
    kept = stored(url, sweeps, end_s, raw_s=2 * HOUR_S)
    with opened(url) as store:
        for n in range(40):  # retention works in portions
            last = examples.sweep(at_s=sweeps[-1].started_s + 30.0 + n / 10)
            store.save(last, keep=Retention(raw_s=2 * HOUR_S))
    kept = stored(url, [], end_s)
    assert kept.resolution == "hour"
    for name in ("answered_s", "unanswered_s"):
        ours, theirs = (getattr(r.subjects[1].availability, name) for r in (fresh, kept))
        assert ours == pytest.approx(theirs, abs=400.0)  # the sweep after `fresh`
    assert kept.ports[0].in_errors - fresh.ports[0].in_errors == sweeps[-1].added[0].in_added


def test_outages_longer_ago_come_from_the_changes(url: str) -> None:
    """One that began before the kept sweeps and lasts into them is one outage."""
    dark = examples.START_S + HOUR_S
    sweeps = [
        examples.sweep(
            examples.reading(state="sound" if at_s < dark else "silent"), at_s=at_s
        )
        for at_s in (examples.START_S + n * 300.0 for n in range(72))
    ]  # fmt: skip
    change = examples.change(at_s=dark)
    end_s = sweeps[-1].started_s + 300.0
    with opened(url) as store:
        for sweep in sweeps:
            changes = [change] if sweep.started_s == dark + 300.0 else []
            store.save(sweep, changes=changes, keep=Retention(raw_s=2 * HOUR_S))
    made = stored(url, [], end_s)
    (outage,) = made.outages
    assert (outage.start, outage.end, outage.by) == ("2026-11-24T07:00:00Z", None, "changes")
    assert outage.length_s == pytest.approx(end_s - dark)
    assert made.changes[0].at == "2026-11-24T07:00:00Z"


def test_an_empty_store_knows_nothing(url: str) -> None:
    """No sweep: nothing tested, no figure, no fault."""
    made = stored(url, [], examples.START_S)
    assert [u.availability.available_pct for u in made.subjects] == [None] * 3
    assert (made.sweeps, made.outages, made.changes, made.ports) == (0, (), (), ())


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_clock_that_steps_makes_no_negative_time(url: str, seed: int) -> None:
    """On and back by hours between sweeps: no figure is below 0, no outage ends before it began."""
    chance, at_s, sweeps = random.Random(seed), examples.START_S + 86_400.0, []
    for _ in range(60):
        answered = chance.random() < 0.6
        sweeps.append(
            examples.sweep(
                examples.reading(state=STATES[answered], answered=answered),
                examples.reading(examples.HOP, levels=(ReceivedLevel(1, "a", -45.0),)),
                at_s=at_s,
            )
        )
        at_s += 300.0 + (chance.choice([-7200.0, -400.0, 5000.0]) if chance.random() < 0.2 else 0.0)
    end_s = max(s.started_s for s in sweeps) + 300.0
    made = stored(url, sweeps, end_s)
    assert made.sweeps == len(sweeps), "nothing is dropped"
    for subject in made.subjects:
        times = subject.availability
        assert min(times.answered_s, times.unanswered_s, times.untested_s) >= 0
        assert min(subject.state_s.values()) >= 0
        assert 0 <= (times.available_pct or 0) <= 100
        assert times.answered_s + times.unanswered_s <= 300.0 * len(sweeps) + 900.0
    for outage in made.outages:
        assert outage.length_s >= 0
        assert outage.untested_s >= 0
        assert outage.end is None or outage.start <= outage.end
    assert made.outages
