"""What holds for every explanation: it changes nothing, names what exists, and never fails."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.as_seen import observation
from tests.rules.diagnose.situation import PLAN, PROFILES, explained, found
from tests.rules.diagnose.test_situations import CANNOT_TELL, SITUATIONS, down, up
from tests.said import explain
from verifier.model.observations import EchoSeries, Observation, Silence
from verifier.model.plan import Stage
from verifier.model.profile import ProfileReading
from verifier.model.result import VERDICTS, Finding

pytestmark = pytest.mark.usefixtures("words")

_ALL = [found(lines) for lines in (*(s[1] for s in SITUATIONS), *(s[1] for s in CANNOT_TELL))]
FINDINGS = [f for findings, _ in _ALL for f in findings]
SEEN = [o for _, seen in _ALL for o in seen]
VALUES = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=4), st.sampled_from("ab"),
    st.lists(st.text(max_size=2), max_size=2), st.sampled_from([-45.0, -65.0, 12877.0, 100, 1000]),
)  # fmt: skip
ECHO = observation(id=1, subject=FINDINGS[0].subject, probe="icmp", what="echo", at="",
                   value=EchoSeries(sent=1, received=0, rtt_ms=(None,), silence=(
                       Silence(reason="unreachable", text="x", reporter="198.18.40.1"),)))  # fmt: skip


@st.composite
def runs(draw: Any) -> tuple[list[Finding], list[Observation[Any]]]:
    """Any findings of any situations, with any verdicts and some odd values."""
    findings = draw(st.lists(st.sampled_from(FINDINGS), max_size=40))
    odd = draw(st.lists(st.tuples(st.integers(0, 39), VALUES, VALUES), max_size=6))
    findings = [
        dataclasses.replace(f, id=f"f{n}", verdict=draw(st.sampled_from(VERDICTS)) if n % 3 else f.verdict)
        for n, f in enumerate(findings)
    ]  # fmt: skip
    for at, expected, observed in odd:
        if at < len(findings):
            findings[at] = dataclasses.replace(findings[at], expected=expected, observed=observed)
    return findings, draw(st.lists(st.sampled_from([*SEEN, ECHO]), max_size=8))


@settings(max_examples=100, deadline=None)
@given(runs())
def test_any_findings_are_explained(run: tuple[list[Finding], list[Observation[Any]]]) -> None:
    """No exception; verdicts and all else stay; ids exist; the same input gives the same causes."""
    findings, seen = run
    tied, causes = explain(PLAN, findings, seen, PROFILES)
    assert [dataclasses.replace(f, caused_by=()) for f in tied] == findings
    assert (tied, causes) == explain(PLAN, findings, seen, PROFILES)
    ids = {f.id: f for f in tied}
    assert [c.id for c in causes] == [f"c{n}" for n in range(1, len(causes) + 1)]
    for cause in causes:
        assert cause.for_
        assert {*cause.for_, *cause.against} <= set(ids)
        assert not set(cause.for_) & set(cause.against)
        assert ids[cause.for_[0]].verdict != "pass"
        assert {i for i, f in ids.items() if cause.id in f.caused_by} == {
            i for i in cause.for_ if ids[i].verdict != "pass"
        }
    known = {c.id for c in causes}
    assert all(set(f.caused_by) <= known for f in tied)


def test_without_observations_and_profiles() -> None:
    """Findings alone are enough for a cause; less is known, and nothing breaks."""
    explained_now = 0
    for findings, _ in _ALL:
        tied, causes = explain(PLAN, findings)
        assert tuple(dataclasses.replace(f, caused_by=()) for f in tied) == findings
        explained_now += bool(causes)
    assert explained_now > len(_ALL) / 2


def test_frequencies_are_crossed_as_closely_as_they_are_shown() -> None:
    """A radio that shows steps of 10 kHz shows the far end's frequency up to 5 kHz off."""
    findings, seen = found("a identity.serial pass\nHop-1/a radio.tx-frequency fail 13143 12877.004\n"
                           "Hop-1/b radio.tx-frequency fail 12877 13142.996")  # fmt: skip
    shown = ProfileReading(field="tx_mhz", oid="1.3.6.1.4.1.32473.1", type="integer", scale=0.01)
    coarse = dataclasses.replace(PROFILES["hop-radio"], reading=(shown,))
    for profile, kind in (
        (coarse, "frequencies-crossed"),
        (PROFILES["hop-radio"], "frequency-wrong"),
    ):
        _, causes = explain(PLAN, findings, seen, {**PROFILES, "hop-radio": profile})
        assert kind in {c.kind for c in causes}


def test_findings_name_their_causes() -> None:
    """Tied both ways: `for` of the cause and `caused_by` of the finding, folded ones too."""
    tied, causes = explained(up("sw", "a") + down("b", "c"))
    (cause,) = causes
    wrong = [f for f in tied if f.verdict != "pass"]
    assert {f.subject.name for f in wrong} == {"b", "c"}
    assert [f.caused_by for f in wrong] == [("c1",)] * 4
    assert set(cause.for_) == {f.id for f in wrong}
    assert cause.for_[0] == next(f.id for f in wrong if f.subject.name == "b")


def test_a_ring_that_is_cut_is_tied_to_both_its_uplinks() -> None:
    """Only both of them being down explains it, so it names both."""
    lines = up("a", "sw") + down("b", "d", "e") + "c echo.reply not-tested"
    tied, _ = explained(lines)
    assert {f.caused_by for f in tied if f.subject.name == "e"} == {("c1", "c2")}


def test_evidence_for_and_against() -> None:
    """What passes may speak for a cause or against it; it is never caused by it."""
    tied, (cause, *_) = explained(
        "Hop-1/a radio.rx-level fail -45 -65\nHop-1/b radio.rx-level fail -45 -65\n"
        "Hop-1/a radio.tx-power pass\na manual.peak-on-main-lobe pass"
    )
    assert (cause.kind, cause.for_, cause.against) == ("side-lobe", ("f1", "f2", "f3"), ("f4",))
    assert [bool(f.caused_by) for f in tied] == [True, True, False, False]


def test_what_only_snmp_tells_hangs_on_its_answer() -> None:
    """Untested checks of device, ports and radio; not TCP services."""
    tied, _ = explained(
        "a echo.reply pass\na snmp.answer fail - wrong-digest\na identity.name not-tested\n"
        "a tcp.open not-tested\na:eth1 port.mtu not-tested\nHop-1/a radio.rx-level not-tested"
    )
    assert [f.check for f in tied if f.caused_by] == [
        "snmp.answer", "identity.name", "port.mtu", "radio.rx-level",
    ]  # fmt: skip


def test_swapped_ends_take_along_what_tells_devices_apart() -> None:
    """Names, serials, locations, and a frequency that is the other end's; a mask stays apart."""
    tied, causes = explained(
        "Hop-1 link.ends-swapped fail\na identity.name fail a b\nb identity.serial fail 1 2\n"
        "a identity.location warn\na address.mask fail 24 16\nd identity.name fail d x\n"
        "Hop-1/a radio.tx-frequency fail 13143 12877\nHop-1/b radio.tx-frequency fail 12877 13143"
    )
    named = {f.check for f in tied if "c1" in f.caused_by}
    assert causes[0].kind == "ends-swapped"
    assert named == {
        "link.ends-swapped", "identity.name", "identity.serial", "identity.location",
        "radio.tx-frequency",
    }  # fmt: skip
    assert "c1" not in next(f for f in tied if f.subject.name == "d").caused_by


def test_a_gateway_that_reports_an_error_lives() -> None:
    """`host unreachable` sent by the gateway itself: it is not down."""
    names = ("g1", "g2", "g3")
    lines = up("a") + "".join(f"{n} laptop.fit pass routed\n" for n in names) + down(*names)
    reported = [
        dataclasses.replace(ECHO, subject=dataclasses.replace(ECHO.subject, name=n)) for n in names
    ]
    _, causes = explain(PLAN, found(lines)[0], reported)
    assert [c.kind for c in causes] == ["device-silent"] * 3


def test_what_a_deaf_end_cannot_tell_hangs_on_the_muted_one() -> None:
    """Where nothing arrives no loss is known; where something does, a gap has another reason."""
    gaps = "Hop-1/a radio.path-loss not-tested\nHop-1/ radio.reciprocity not-tested\n"
    gaps += "Hop-1/a link.far-end not-tested\nHop-1/b radio.path-loss not-tested\n"
    muted = "Hop-1/b radio.transmitter fail on off\nHop-1/a radio.rx-level fail -45 "
    tied, (cause,) = explained(gaps + muted + "-")
    assert cause.kind == "muted"
    assert [f.check for f in tied if f.caused_by and f.verdict == "not-tested"] == [
        "radio.path-loss", "radio.reciprocity", "link.far-end",
    ]  # fmt: skip
    assert next(f for f in tied if f.subject.end == "b").caused_by == ()
    tied, _ = explained(gaps + muted + "-80")
    assert not [f for f in tied if f.caused_by and f.verdict == "not-tested"]


@pytest.mark.parametrize(
    ("stage", "kinds"),
    [
        ("bench", []), ("alignment", []),
        ("handover", ["left-in-alignment"]), ("service", ["left-in-alignment"]),
    ],
)  # fmt: skip
def test_nothing_was_left_in_alignment_before_it_is_over(stage: Stage, kinds: list[str]) -> None:
    """Too much power while aligning is just that."""
    findings, _ = found("Hop-1/a radio.tx-power fail 18 26\nHop-1/a radio.modulation fail 256 4")
    _, causes = explain(PLAN, findings, stage=stage)
    assert [c.kind for c in causes] == kinds


def test_what_a_strange_document_says_was_found_breaks_nothing() -> None:
    """A list where one word or number is expected, in every finding: evidence may come from anywhere."""
    for findings, seen in _ALL:
        odd: dict[str, Any] = {"expected": ("x",)}
        strange = [dataclasses.replace(f, observed=(f.observed,), **odd) for f in findings]  # type: ignore[arg-type]
        tied, _ = explain(PLAN, strange, seen, PROFILES)
        assert [f.id for f in tied] == [f.id for f in strange]
