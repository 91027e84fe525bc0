"""OpenMetrics: the specification's example proves the reader, the reader proves our writer."""

from __future__ import annotations

import math

import pytest

from tests.report.sweep.openmetrics_reader import read
from tests.store import examples
from verifier.model.health import STATES
from verifier.report.sweep.openmetrics import Family, exposition, openmetrics

EXAMPLE = """\
# TYPE acme_http_router_request_seconds summary
# UNIT acme_http_router_request_seconds seconds
# HELP acme_http_router_request_seconds Latency though all of ACME's HTTP request router.
acme_http_router_request_seconds_sum{path="/api/v1",method="GET"} 9036.32
acme_http_router_request_seconds_count{path="/api/v1",method="GET"} 807283.0
acme_http_router_request_seconds_created{path="/api/v1",method="GET"} 1605281325.0
acme_http_router_request_seconds_sum{path="/api/v2",method="POST"} 479.3
acme_http_router_request_seconds_count{path="/api/v2",method="POST"} 34.0
acme_http_router_request_seconds_created{path="/api/v2",method="POST"} 1605281325.0
# TYPE go_goroutines gauge
# HELP go_goroutines Number of goroutines that currently exist.
go_goroutines 69
# TYPE process_cpu_seconds counter
# UNIT process_cpu_seconds seconds
# HELP process_cpu_seconds Total user and system CPU time spent in seconds.
process_cpu_seconds_total 4.20072246e+06
# EOF
"""
"""OpenMetrics 1.0.0, "Overall structure"; its spelling is the specification's own."""


def test_the_reader_reads_the_specifications_example() -> None:
    """3 families, 8 samples, 4,200,722.46 s."""
    families = read(EXAMPLE)
    assert [f.type for f in families] == ["summary", "gauge", "counter"]
    assert sum(len(f.samples) for f in families) == 8
    assert families[2].samples == [("process_cpu_seconds_total", {}, 4200722.46)]


@pytest.mark.parametrize(
    "change",
    [
        ("# EOF\n", ""),
        ("# EOF\n", "# EOF\n\n"),
        ("go_goroutines 69", "go_goroutines_total 69"),
        ("process_cpu_seconds_total", "process_cpu_seconds"),
        ("# UNIT process_cpu_seconds seconds", "# UNIT process_cpu_seconds minutes"),
        ('method="GET"', 'path="GET"'),
        ('"/api/v1"', '"\\a"'),
        ("go_goroutines 69", "go_goroutines 69 "),
        ("go_goroutines 69", "go_goroutines sixty"),
        ("4.20072246e+06", "-4"),
    ],
)
def test_the_reader_refuses_what_is_wrong(change: tuple[str, str]) -> None:
    with pytest.raises(ValueError):
        read(EXAMPLE.replace(*change))


def test_our_writer_can_write_the_example() -> None:
    """The two families whose types we use, to the letter but for the number's spelling."""
    made = exposition(
        [
            Family("go_goroutines", "gauge", "Number of goroutines that currently exist.",
                   samples=[("", {}, 69)]),
            Family("process_cpu_seconds", "counter",
                   "Total user and system CPU time spent in seconds.", "seconds",
                   [("_total", {}, 4200722.46)]),
        ]
    )  # fmt: skip
    assert made == EXAMPLE[EXAMPLE.index("# TYPE go_") :].replace("4.20072246e+06", "4200722.46")


def test_a_sweep_reads_back() -> None:
    """Stable names with their units; what was not measured has no sample."""
    sweep = examples.sweep(examples.full_reading(), examples.link_reading())
    memories = {m.subject: m for m in (examples.memory(), examples.memory(examples.HOP, "silent"))}
    families = {f.name: f for f in read(openmetrics(sweep, memories, sweeps=7, skipped=2))}
    assert {name: f.type for name, f in families.items()} == {
        "plan_verifier": "info",
        "plan_verifier_sweep_start_seconds": "gauge",
        "plan_verifier_sweep_duration_seconds": "gauge",
        "plan_verifier_sweeps": "counter",
        "plan_verifier_sweeps_skipped": "counter",
        "plan_verifier_unit_state": "stateset",
        "plan_verifier_unit_answered": "gauge",
        "plan_verifier_unit_round_trip_seconds": "gauge",
        "plan_verifier_unit_loss_ratio": "gauge",
        "plan_verifier_unit_uptime_seconds": "gauge",
        "plan_verifier_receive_level_dbm": "gauge",
        "plan_verifier_port_in_errors": "counter",
        "plan_verifier_port_out_errors": "counter",
    }
    states = [
        (labels["name"], labels["plan_verifier_unit_state"])
        for _, labels, value in families["plan_verifier_unit_state"].samples
        if value
    ]
    assert states == [("lighthouse-quarry", "sound"), ("Hop 1", "silent")]
    assert len(families["plan_verifier_unit_state"].samples) == 2 * len(STATES)
    (rtt,) = families["plan_verifier_unit_round_trip_seconds"].samples
    assert rtt[2] == pytest.approx(0.00125)
    assert [s[2] for s in families["plan_verifier_receive_level_dbm"].samples] == [-45.5, -46.25]
    assert families["plan_verifier_sweeps_skipped"].samples[0][2] == 2


@pytest.mark.parametrize("name", ['a "b" \\ c', "line\nbreak", "Größe", "", "\\n", "{},="])
def test_names_of_any_kind_read_back(name: str) -> None:
    made = exposition([Family("f", "gauge", name, samples=[("", {"name": name}, 1)])])
    (family,) = read(made)
    assert family.samples == [("f", {"name": name}, 1.0)]


@pytest.mark.parametrize("value", [0, 1, -45.5, 1e-9, 1.795e9, 0.1, 2**60, math.inf, -math.inf])
def test_numbers_read_back_exactly(value: float) -> None:
    (family,) = read(exposition([Family("f", "gauge", "a", samples=[("", {}, value)])]))
    assert family.samples[0][2] == value
