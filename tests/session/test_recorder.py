"""What was seen becomes observations: numbered, with its subject, and the same through a pipe."""

from __future__ import annotations

import datetime as dt
import pickle

from verifier.model.observation import Observation
from verifier.model.subject import Subject
from verifier.session.recorder import Recorder, numbered, packed, unpacked

AT = dt.datetime(2026, 11, 25, 10, 0, 0, 123456, tzinfo=dt.UTC)
A, B = Subject("device", "lighthouse-quarry"), Subject("device", "quarry-lighthouse")


def recorder(subject: Subject) -> Recorder:
    made = Recorder(subject, lambda: AT)
    made.note(
        "snmp", "sysName", value=subject.name, raw="x", oid="1.3.6.1.2.1.1.5.0", took_ms=1.23456
    )
    made.note("icmp", "echo", value={"received": 3}, unit="ms")
    return made


def test_observations_are_numbered_from_1() -> None:
    """In the order of the recorders; each field is where it belongs."""
    made = numbered([recorder(A), recorder(B)])
    assert [(o.id, o.subject, o.what) for o in made] == [
        (1, A, "sysName"), (2, A, "echo"), (3, B, "sysName"), (4, B, "echo"),
    ]  # fmt: skip
    at = "2026-11-25T10:00:00.123Z"
    assert made[0] == Observation(
        id=1, subject=A, probe="snmp", what="sysName", oid="1.3.6.1.2.1.1.5.0", raw="x",
        value="lighthouse-quarry", unit=None, at=at, took_ms=1.235,
    )  # fmt: skip
    assert made[1] == Observation(
        id=2, subject=A, probe="icmp", what="echo", value={"received": 3}, unit="ms", at=at
    )


def test_rows_go_through_a_pipe_and_are_the_same() -> None:
    """Packed, pickled and unpacked; texts that several have are one string afterwards."""
    sent = [pickle.dumps(packed(recorder(subject).seen)) for subject in (A, B)]
    one, other = (list(unpacked(pickle.loads(data))) for data in sent)
    assert one == recorder(A).seen
    assert other == recorder(B).seen
    assert one[0].oid is other[0].oid
    assert one[0].at is other[0].at
