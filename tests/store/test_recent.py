"""The last day of a store: levels by hours and sweeps, the newest changes, in both databases."""

from __future__ import annotations

import dataclasses

import pytest
from sqlalchemy import Connection

from tests.store import examples
from tests.store.examples import HOP, START_S
from verifier.model.health import ReceivedLevel, Sweep
from verifier.model.history import Sample
from verifier.model.status import Recent
from verifier.store import recent as module
from verifier.store.recent import recent, recent_changes, recent_levels
from verifier.store.store import opened


def swept(minute: float, a_dbm: float, b_dbm: float | None = None) -> Sweep:
    levels = [ReceivedLevel(1, "a", a_dbm)] + (
        [ReceivedLevel(1, "b", b_dbm)] if b_dbm is not None else []
    )
    reading = examples.reading(HOP, levels=tuple(levels))
    return examples.sweep(reading, examples.reading(), at_s=START_S + 60.0 * minute)


def test_recent_changes(url: str) -> None:
    """The newest first, no more than asked, and how many there are; first sights are none."""
    with opened(url) as store:
        for n in range(5):
            change = examples.change(at_s=START_S + n * 1000.0)
            new = dataclasses.replace(change, before=None)
            store.save(examples.sweep(at_s=change.at_s), changes=[change, new])
        since_s = START_S + 1300.0
        found, number = store.look(lambda connection: recent_changes(connection, since_s, 2))
    assert number == 4
    assert [c.at_s - START_S for c in found] == [4000.0, 3000.0]


def test_only_the_newest_changes_are_looked_at(url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """However many there are in a store; and it is said that there may be more."""
    monkeypatch.setattr(module, "NEWEST", 3)
    with opened(url) as store:
        for n in range(5):
            change = examples.change(at_s=START_S + n * 1000.0)
            store.save(examples.sweep(at_s=change.at_s), changes=[change])
        made = store.look(lambda connection: recent(connection, 0.0, START_S + 9e4, 9))
    assert (len(made.changes), made.changes_n, made.at_least) == (3, 3, True)


def test_levels_by_hours_and_the_running_one_by_sweeps(url: str) -> None:
    """An hour that is over is its lowest, median and highest; sweeps of the running one are each."""
    with opened(url) as store:
        for minute, dbm in ((0, -50.0), (20, -45.0), (40, -44.0), (60, -46.0), (65, -47.0)):
            store.save(swept(minute, dbm, -60.0 if minute == 65 else None))
        end_s = START_S + 65 * 60.0
        levels = store.look(lambda connection: recent_levels(connection, START_S - 1.0, end_s))
    assert levels == {
        HOP.name: {
            (1, "a"): (
                Sample(START_S + 1800.0, -50.0, -45.0, -44.0, 3),
                Sample(START_S + 3600.0, -46.0, -46.0, -46.0),
                Sample(START_S + 3900.0, -47.0, -47.0, -47.0),
            ),
            (1, "b"): (Sample(START_S + 3900.0, -60.0, -60.0, -60.0),),
        }
    }


def test_what_is_older_than_a_day_is_not_read(url: str) -> None:
    """By hours: the one in which the day begins is the first."""
    with opened(url) as store:
        for hour in range(0, 60, 3):
            store.save(swept(60 * hour, -45.0 - hour))
        end_s = START_S + 57 * 3600.0
        levels = store.look(lambda c: recent_levels(c, end_s - 86_400.0, end_s))
    hours = [(s.at_s - START_S) // 3600 for s in levels[HOP.name][1, "a"]]
    assert hours == list(range(33, 60, 3))


def test_many_sweeps_of_the_running_hour_share_their_parts(url: str) -> None:
    """No more than PARTS samples, lowest and highest kept: a short fade is not lost."""
    with opened(url) as store:
        for n in range(100):
            store.save(swept(n / 2, -70.0 if n == 33 else -45.0))
        end_s = START_S + 50 * 60.0
        levels = store.look(lambda c: recent_levels(c, START_S, end_s))
    samples = levels[HOP.name][1, "a"]
    assert 20 <= len(samples) <= module.PARTS
    assert min(s.low for s in samples) == -70.0
    assert sum(s.n for s in samples) == 100
    assert samples[-1].at_s == START_S + 49.5 * 60.0


def test_an_empty_store(url: str) -> None:
    with opened(url) as store:

        def look(connection: Connection) -> object:
            return recent(connection, 0.0, START_S, 10)

        assert store.look(look) == Recent()
