"""Health as OpenMetrics text (version 1.0.0). Names and units are stable; the writer is our own.

A number that is not known has no sample: what a sweep could not measure is not 0.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from verifier import __version__
from verifier.model.health import STATES, HealthReading, Memory, Sweep
from verifier.model.problem import Subject

MEDIA_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"
_PREFIX = "plan_verifier"

Labels = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Family:
    """One metric family.

    Attributes:
        device: the end of its name, or empty.
        samples: ending of the name (`_total`, `_info`, or none), labels, value.
    """

    name: str
    kind: Literal["gauge", "counter", "info", "stateset"]
    about: str
    subject: str = ""
    samples: Sequence[tuple[str, Labels, float]] = ()


def openmetrics(
    sweep: Sweep, memories: Mapping[Subject, Memory], *, sweeps: int, skipped: int
) -> str:
    """The exposition of the newest sweep.

    Args:
        sweep: as stored.
        memories: of its devices: their confirmed states.
        sweeps: how many this process has stored.
        skipped: how many it has left out.
    """
    subjects = [memories[r.subject] for r in sweep.readings if r.subject in memories]
    return exposition(
        (
            *_of_the_desk(sweep, sweeps, skipped),
            _states(subjects),
            *_of_subjects(sweep.readings),
            _levels(sweep.readings),
            *_of_ports(sweep.readings),
        )
    )


def _of_the_desk(sweep: Sweep, sweeps: int, skipped: int) -> Iterable[Family]:
    yield _family("", "info", "This program.", "", [("_info", {"version": __version__}, 1)])
    yield _family(
        "sweep_start_seconds", "gauge", "When the newest sweep began, Unix time.", "seconds",
        [("", {}, sweep.started_s)],
    )  # fmt: skip
    yield _family(
        "sweep_duration_seconds", "gauge", "How long it took.", "seconds", [("", {}, sweep.took_s)]
    )
    yield _family("sweeps", "counter", "Sweeps stored.", "", [("_total", {}, sweeps)])
    yield _family(
        "sweeps_skipped", "counter", "Sweeps left out, being late.", "", [("_total", {}, skipped)]
    )


def _named(subject: Subject) -> dict[str, str]:
    return {"kind": subject.kind, "name": subject.name}


def _states(subjects: Sequence[Memory]) -> Family:
    states = f"{_PREFIX}_unit_state"
    return _family(
        "unit_state", "stateset", "The confirmed state of a device or link.", "",
        [
            ("", {**_named(m.subject), states: state}, float(m.state == state))
            for m in subjects
            for state in STATES
        ],
    )  # fmt: skip


def _of_subjects(readings: Sequence[HealthReading]) -> Iterable[Family]:
    for name, subject, about, scale, field in (
        ("unit_answered", "", "Whether it gave any sign of life: 1 or 0.", 1, "answered"),
        ("unit_round_trip_seconds", "seconds", "Median of the echoes.", 1e-3, "rtt_ms"),
        ("unit_loss_ratio", "ratio", "Lost part of the echoes.", 1e-2, "loss_pct"),
        ("unit_uptime_seconds", "seconds", "Time since its agent started.", 1, "uptime_s"),
    ):
        yield _family(
            name, "gauge", about, subject,
            [
                ("", _named(r.subject), float(value) * scale)
                for r in readings
                if (value := getattr(r, field)) is not None
            ],
        )  # fmt: skip


def _levels(readings: Sequence[HealthReading]) -> Family:
    return _family(
        "receive_level_dbm", "gauge", "What an end of a link receives.", "dbm",
        [
            ("", {"link": r.subject.name, "carrier": str(v.carrier), "end": v.end}, v.rx_level_dbm)
            for r in readings
            for v in r.levels
        ],
    )  # fmt: skip


def _of_ports(readings: Sequence[HealthReading]) -> Iterable[Family]:
    for direction in ("in", "out"):
        yield _family(
            f"port_{direction}_errors", "counter", "As the port counts them.", "",
            [
                ("_total", {"device": r.subject.name, "port": p.port},
                 float(p.in_errors if direction == "in" else p.out_errors))
                for r in readings
                for p in r.ports
            ],
        )  # fmt: skip


def _family(
    name: str,
    kind: Literal["gauge", "counter", "info", "stateset"],
    about: str,
    subject: str,
    samples: Sequence[tuple[str, Labels, float]],
) -> Family:
    return Family(f"{_PREFIX}_{name}" if name else _PREFIX, kind, about, subject, samples)


def exposition(families: Iterable[Family]) -> str:
    """The text of some families; those without a sample are left out."""
    lines: list[str] = []
    for family in families:
        if not family.samples:
            continue
        lines.append(f"# TYPE {family.name} {family.kind}")
        if family.subject:
            lines.append(f"# UNIT {family.name} {family.subject}")
        lines.append(f"# HELP {family.name} {_escaped(family.about)}")
        lines += [
            f"{family.name}{ending}{_labels(labels)} {_number(value)}"
            for ending, labels, value in family.samples
        ]
    return "\n".join((*lines, "# EOF", ""))


def _labels(labels: Labels) -> str:
    if not labels:
        return ""
    return "{" + ",".join(f'{name}="{_escaped(value)}"' for name, value in labels.items()) + "}"


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")


def _number(value: float) -> str:
    if math.isnan(value):
        return "NaN"
    if math.isinf(value):
        return "+Inf" if value > 0 else "-Inf"
    return str(int(value)) if float(value).is_integer() and abs(value) < 1e15 else repr(value)  # noqa: PLR2004
