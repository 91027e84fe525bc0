"""What was seen becomes observations: numbered, with its subject, and the same through a pipe."""

from __future__ import annotations

import datetime as dt
import pickle

from verifier.model import mib
from verifier.model.observations import ECHO, EchoSeries, Observation, Unreadable
from verifier.model.problem import Subject
from verifier.session.recorder import Recorder, numbered, packed, unpacked

AT = dt.datetime(2026, 11, 25, 10, 0, 0, 123456, tzinfo=dt.UTC)
A, B = Subject("device", "lighthouse-quarry"), Subject("device", "quarry-lighthouse")


_ECHOES = EchoSeries(sent=3, received=3, rtt_ms=(1.0, 1.0, 1.0))


def recorder(subject: Subject) -> Recorder:
    made = Recorder(subject, lambda: AT)
    made.note(mib.SYS_NAME, subject.name, raw="x", oid="1.3.6.1.2.1.1.5.0", took_ms=1.23456)
    made.note(ECHO, _ECHOES)
    return made


def test_observations_are_numbered_from_1() -> None:
    """In the order of the recorders; each field is where it belongs."""
    made = numbered([recorder(A), recorder(B)])
    assert [(o.id, o.subject, o.what) for o in made] == [
        (1, A, "sysName"), (2, A, "echo"), (3, B, "sysName"), (4, B, "echo"),
    ]  # fmt: skip
    at = "2026-11-25T10:00:00.123Z"
    assert made[0] == Observation(
        id=1, subject=A, kind=mib.SYS_NAME, oid="1.3.6.1.2.1.1.5.0", raw="x",
        seen="lighthouse-quarry", unit=None, at=at, took_ms=1.235,
    )  # fmt: skip
    assert made[1] == Observation(id=2, subject=A, kind=ECHO, seen=_ECHOES, unit="ms", at=at)


def test_what_has_no_value_says_why() -> None:
    """`raw` is the reason, unless what came is known."""
    made = Recorder(A, lambda: AT)
    made.note(ECHO, Unreadable("no permission"))
    made.note(mib.IF_MTU, Unreadable("is none", b"\x04\x00"), raw="OctetString 0x0400: is none")
    assert [row.raw for row in made.seen] == ["no permission", "OctetString 0x0400: is none"]
    assert [row.value for row in made.seen] == [None, None]
    assert list(unpacked(packed(made.seen))) == made.seen


def test_rows_go_through_a_pipe_and_are_the_same() -> None:
    """Packed, pickled and unpacked; texts that several have are one string afterwards."""
    sent = [pickle.dumps(packed(recorder(subject).seen)) for subject in (A, B)]
    one, other = (list(unpacked(pickle.loads(data))) for data in sent)
    assert one == recorder(A).seen
    assert other == recorder(B).seen
    assert one[0].oid is other[0].oid
    assert one[0].at is other[0].at
