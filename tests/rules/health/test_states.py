"""The state of a device from its findings: the table of `rules/health/states.py`, row by row."""

from __future__ import annotations

from typing import Any

import pytest

from tests.as_seen import observation
from verifier.model.address import Interface
from verifier.model.health import HealthReading, PortErrors, Reason, ReceivedLevel
from verifier.model.observations import EchoSeries, Observation
from verifier.model.plan import Carrier, Device, End, Link, Plan, Port
from verifier.model.problem import Subject
from verifier.model.result import Cause, Finding
from verifier.rules.compare.radio.modulation import UNEXPLAINED
from verifier.rules.diagnose import explain
from verifier.rules.health.states import MAX_REASONS, readings

A, B = "lighthouse-quarry", "quarry-lighthouse"
PLAN = Plan(
    devices=(
        Device(name=A, address=Interface.parse("198.18.20.11/24"), ports=(Port(name="eth1"),)),
        Device(name=B, address=Interface.parse("198.18.20.12/24")),
    ),
    links=(Link(name="Hop 1", carriers=(Carrier(a=End(device=A), b=End(device=B)),)),),
)


def finding(check: str, verdict: str, name: str = A, **more: Any) -> Finding:
    subject = more.pop("subject", Subject("device", name))
    made: Any = {"check": check, "verdict": verdict, "subject": subject, "reason": "r", **more}
    return Finding(id=f"{name} {check}", **made)


def seen(what: str, value: Any, name: str = A, oid: str | None = None) -> Observation[Any]:
    return observation(
        id=1, subject=Subject("device", name), probe="snmp", what=what, at="", value=value, oid=oid
    )


def echo(received: int, name: str = A) -> Observation[Any]:
    return seen("echo", EchoSeries(sent=3, received=received, rtt_ms=(1.0,) * received), name)


ALIVE = (echo(3), echo(3, B))


def state_of(findings: Any, observations: Any, causes: Any = ()) -> dict[str, HealthReading]:
    found = readings(PLAN, PLAN.devices, findings, causes, observations)
    return {r.subject.name: r for r in found}


@pytest.mark.parametrize(
    ("findings", "observations", "state", "answered"),
    [
        ([finding("echo.reply", "pass"), finding("echo.loss", "warn")], ALIVE, "sound", True),
        ([finding("echo.reply", "pass"), finding("port.speed", "fail")], ALIVE, "impaired", True),
        ([finding("echo.reply", "pass"), finding("identity.name", "not-tested")], ALIVE, "untested", True),
        ([finding("port.speed", "fail"), finding("identity.name", "not-tested")], ALIVE, "impaired", True),
        ([finding("echo.reply", "fail"), finding("identity.name", "not-tested")], [echo(0)], "silent", False),
        # Echoes are filtered, the agent answers: alive, and not as it should be.
        ([finding("echo.reply", "fail")], [echo(0), seen("answer", "answered")], "impaired", True),
        # No echo could be sent from here, and SNMP was not answered.
        ([finding("echo.reply", "not-tested"), finding("snmp.answer", "fail")], [seen("answer", "silent")], "silent", False),
        ([finding("echo.reply", "not-tested")], [], "untested", None),
        # The laptop's own fault is never the device's.
        ([finding("laptop.fit", "not-tested"), finding("echo.reply", "not-tested")], [], "untested", None),
        ([], ALIVE, "sound", True),
    ],
)  # fmt: skip
def test_state_of_a_device(findings: Any, observations: Any, state: str, answered: Any) -> None:
    found = state_of(findings, observations)[A]
    assert (found.state, found.answered) == (state, answered)


REPLY_FAILS = [finding("echo.reply", "fail", name) for name in (A, B)]
IN_HOP = Subject("link", "Hop 1", carrier=1, end="a")


@pytest.mark.parametrize(
    ("findings", "observations", "state"),
    [
        ([], ALIVE, "sound"),
        ([REPLY_FAILS[0]], [echo(0), echo(3, B)], "silent"),
        ([finding("radio.rx-level", "fail", subject=IN_HOP)], ALIVE, "impaired"),
        ([finding("radio.snr", "not-tested", subject=IN_HOP)], ALIVE, "untested"),
        ([finding("laptop.fit", "not-tested")], [echo(3, B)], "untested"),
        ([finding("port.speed", "fail")], ALIVE, "sound"),
    ],
)
def test_state_of_a_link(findings: Any, observations: Any, state: str) -> None:
    """A port that is slow at one end is the device's affair."""
    assert state_of(findings, observations)["Hop 1"].state == state


def test_a_link_needs_both_its_ends() -> None:
    """A sweep of one device says nothing of its link."""
    found = readings(PLAN, PLAN.devices[:1], [], [], ALIVE)
    assert [r.subject.name for r in found] == [A]


def cause(subject: Subject, *for_: str, certainty: Any = "certain") -> Cause:
    return Cause(id="c", kind="k", subject=subject, certainty=certainty, text="", for_=for_)


def test_a_state_hangs_on_the_last_cause_of_the_chain() -> None:
    """A because of B because of the gateway; and the link with them."""
    gateway = Subject("gateway", "198.18.20.1")
    causes = [
        cause(Subject("device", B), f"{A} echo.reply"),
        cause(gateway, f"{B} echo.reply"),
        cause(Subject("device", A), f"{A} echo.reply"),
    ]
    found = state_of(REPLY_FAILS, [echo(0), echo(0, B)], causes)
    assert {r.root for r in found.values()} == {gateway}


def test_a_mere_possibility_folds_nothing() -> None:
    causes = [cause(Subject("device", B), f"{A} echo.reply", certainty="possible")]
    found = state_of(REPLY_FAILS, [echo(0), echo(0, B)], causes)
    assert found[A].root == Subject("device", A)


def test_causes_in_a_circle_end() -> None:
    """Each of two because of the other: both still have a root."""
    causes = [
        cause(Subject("device", B), f"{A} echo.reply"),
        cause(Subject("device", A), f"{B} echo.reply"),
    ]
    found = state_of(REPLY_FAILS, [echo(0), echo(0, B)], causes)
    assert found[A].root.kind == "device"


def test_figures_are_those_seen() -> None:
    """Median, loss, uptime in seconds, level by end, error counters of the planned port."""
    observations = [
        *ALIVE,
        seen("sysUpTime", 1234567),
        seen("ifName", "eth0", oid="1.3.6.1.2.1.31.1.1.1.1.1"),
        seen("ifName", "eth1", oid="1.3.6.1.2.1.31.1.1.1.1.7"),
        seen("ifInErrors", 11, oid="1.3.6.1.2.1.2.2.1.14.1"),
        seen("ifInErrors", 77, oid="1.3.6.1.2.1.2.2.1.14.7"),
        seen("ifOutErrors", 5, oid="1.3.6.1.2.1.2.2.1.20.7"),
    ]
    findings = [
        finding("echo.round-trip", "pass", observed=1.25, unit="ms"),
        finding("echo.loss", "warn", observed=20.0, unit="%"),
        finding("radio.rx-level", "pass", subject=IN_HOP, observed=-45.5, unit="dBm"),
    ]
    found = state_of(findings, observations)
    assert (found[A].rtt_ms, found[A].loss_pct, found[A].uptime_s) == (1.25, 20.0, 12345.67)
    assert found[A].ports == (PortErrors("eth1", 77, 5),)
    assert found["Hop 1"].levels == (ReceivedLevel(1, "a", -45.5),)


@pytest.mark.parametrize(
    ("verdict", "observed", "shown", "levels"),
    [
        (None, None, -45.5, (ReceivedLevel(1, "a", -45.5),)),  # the plan has no level for this end
        (None, None, -3276.8, ()),  # a device's mark for none
        (None, None, None, ()),
        ("pass", -45.0, -45.5, (ReceivedLevel(1, "a", -45.0),)),  # the median of several
        ("not-tested", None, -45.5, ()),  # several that cannot be judged
    ],
)
def test_levels_that_nobody_planned(verdict: Any, observed: Any, shown: Any, levels: Any) -> None:
    """They are kept as the device shows them; where the plan has one, the judged level counts."""
    judged = finding("radio.rx-level", str(verdict), subject=IN_HOP, observed=observed)
    found = state_of([judged] if verdict else [], [*ALIVE, seen("rx_level_dbm", shown)])
    assert found["Hop 1"].levels == levels


def test_reasons_are_few_and_counted() -> None:
    many = [
        finding(f"port.{n}", "fail", subject=Subject("port", A, port="eth1")) for n in range(20)
    ]
    reasons = state_of(many, ALIVE)[A].reasons
    assert len(reasons) == MAX_REASONS + 1
    assert reasons[0].text == "eth1: r"
    assert reasons[-1].text == "and 12 more"


def test_what_is_silent_behind_a_silent_device_hangs_on_it() -> None:
    """With the causes that `diagnose` finds: two devices behind an uplink fold under it."""
    names = ("near", "root", "behind", "farther")
    uplinks = {"root": ("near",), "behind": ("root",), "farther": ("behind",)}
    plan = Plan(
        devices=tuple(
            Device(name=n, address=Interface.parse(f"198.18.20.{i}/24"), uplink=uplinks.get(n, ()))
            for i, n in enumerate(names, start=11)
        )
    )
    found, observations = [], []
    for name in names:
        verdict = "pass" if name == "near" else "fail"
        found.append(finding("echo.reply", verdict, name))
        observations.append(echo(3 if name == "near" else 0, name))
    tied, causes = explain(plan, found)
    seen_ = readings(plan, plan.devices, tied, causes, observations)
    roots = {r.subject.name: r.root.name for r in seen_}
    assert roots == {"near": "near", "root": "root", "behind": "root", "farther": "root"}


@pytest.mark.parametrize(
    ("planned", "found", "subject", "said"),
    [
        (100, 1000, "Mbit/s", "another speed (planned 100 Mbit/s, found 1000 Mbit/s)"),
        ("up", "down", None, "another speed (planned up, found down)"),
        (None, 3, None, "another speed"),
        (3, None, None, "another speed"),
    ],
)
def test_a_reason_says_what_was_planned_and_found(
    planned: Any, found: Any, subject: Any, said: str
) -> None:
    """Whoever is told need not verify first."""
    failed = finding(
        "port.speed", "fail", reason="another speed", expected=planned, observed=found, unit=subject
    )
    assert state_of([failed], ALIVE)[A].reasons[0].text == said


def test_a_reason_that_says_both_says_them_once() -> None:
    """As many checks do."""
    failed = finding(
        "port.speed", "fail", reason="100 planned, 1000 found", expected=100, observed=1000
    )
    assert state_of([failed], ALIVE)[A].reasons[0].text == "100 planned, 1000 found"


def test_a_hop_that_cannot_be_tested_hangs_on_its_device() -> None:
    """The device that gives no values is the root; the hop is folded under it, and says why."""
    findings = [
        finding("snmp.answer", "fail"),
        finding("radio.lock", "not-tested", subject=IN_HOP),
    ]
    hop = state_of(findings, ALIVE)["Hop 1"]
    assert (hop.state, hop.root) == ("untested", Subject("device", A))
    assert hop.reasons[0].text == f"{A} is impaired"


def test_a_link_has_answered_only_where_both_its_ends_have() -> None:
    """Of one end nothing is known: so of the link."""
    unknown = [finding("laptop.fit", "not-tested", B)]
    assert state_of(unknown, [echo(3)])["Hop 1"].answered is None


def test_a_reading_of_a_device_in_full() -> None:
    """What failed is told before what could not be tested; what to do is that of the first."""
    found = [
        finding("port.duplex", "not-tested", reason="u", advice="ask again"),
        finding("port.speed", "fail", advice="set it"),
        finding("echo.loss", "pass", observed=0.0),
        finding("echo.round-trip", "pass", observed=None),
    ]
    assert state_of(found, ALIVE)[A] == HealthReading(
        subject=Subject("device", A), state="impaired", root=Subject("device", A), answered=True,
        reasons=(Reason("port.speed", "fail", "r"), Reason("port.duplex", "not-tested", "u")),
        loss_pct=0.0, try_first="set it",
    )  # fmt: skip
    silent = [
        finding("echo.reply", "fail", advice="is it on?"),
        finding("port.duplex", "not-tested"),
        finding("echo.loss", "not-tested", observed=20.0),
    ]
    assert state_of(silent, [echo(0)])[A] == HealthReading(
        subject=Subject("device", A), state="silent", root=Subject("device", A), answered=False,
        reasons=(Reason("echo.reply", "fail", "r"),), loss_pct=100.0, try_first="is it on?",
    )  # fmt: skip
    unfit = [
        finding("laptop.fit", "not-tested", advice="set the laptop"),
        finding("echo.reply", "fail"),
    ]
    assert state_of(unfit, ALIVE)[A] == HealthReading(
        subject=Subject("device", A), state="untested", root=Subject("device", A), answered=None,
        reasons=(Reason("laptop.fit", "not-tested", "r"),), try_first="set the laptop",
    )  # fmt: skip


LOWER = finding(
    "radio.modulation", "warn", subject=IN_HOP, reason=f"4qam: {UNEXPLAINED}", advice="see"
)
LINKS: list[tuple[str, Any, Any, dict[str, Any]]] = [
    ("sound", [], ALIVE, {"state": "sound", "answered": True}),
    ("lower, and nothing explains it", [LOWER], ALIVE,
     {"state": "sound", "answered": True, "try_first": "see",
      "unexplained": (Reason("radio.modulation", "warn", f"4qam: {UNEXPLAINED}"),)}),
    ("one end silent", [finding("echo.reply", "fail", advice="is it on?")], [echo(0), echo(3, B)],
     {"state": "silent", "answered": False, "root": Subject("device", A), "try_first": "is it on?",
      "reasons": (Reason("", "fail", f"{A} is silent"),)}),
    ("a check of it fails", [finding("radio.lock", "fail", subject=IN_HOP, advice="align")], ALIVE,
     {"state": "impaired", "answered": True, "try_first": "align",
      "reasons": (Reason("radio.lock", "fail", "r"),)}),
    ("nothing is known of an end", [finding("laptop.fit", "not-tested")], [echo(3, B)],
     {"state": "untested", "answered": None, "root": Subject("device", A),
      "reasons": (Reason("", "not-tested", f"{A} is untested"),)}),
    ("a level that nobody planned", [finding("radio.rx-level", "not-tested", subject=IN_HOP, observed=-45.0)],
     ALIVE, {"state": "sound", "answered": True, "levels": (ReceivedLevel(1, "a", -45.0),)}),
    ("a planned level that was not read", [finding("radio.rx-level", "not-tested", subject=IN_HOP,
     expected=-45.0)], ALIVE,
     {"state": "untested", "answered": True, "reasons": (Reason("radio.rx-level", "not-tested", "r"),)}),
    ("another thing that nobody planned", [finding("radio.snr", "not-tested", subject=IN_HOP, observed=9.0)],
     ALIVE, {"state": "untested", "answered": True, "reasons": (Reason("radio.snr", "not-tested", "r"),)}),
]  # fmt: skip


@pytest.mark.parametrize(("findings", "observations", "told"), [x[1:] for x in LINKS],
                         ids=[x[0] for x in LINKS])  # fmt: skip
def test_a_reading_of_a_link_in_full(
    findings: Any, observations: Any, told: dict[str, Any]
) -> None:
    hop = Subject("link", "Hop 1")
    expected: dict[str, Any] = {"subject": hop, "root": hop, **told}
    assert state_of(findings, observations)["Hop 1"] == HealthReading(**expected)


def test_one_device_of_several_at_an_end_is_silent() -> None:
    """The link stands by the other one: impaired, and hangs on the silent device."""
    c, d = "lighthouse-quarry-2", "quarry-lighthouse-2"
    names = (A, B, c, d)
    carriers = tuple(
        Carrier(carrier=n, a=End(device=a), b=End(device=b))
        for n, (a, b) in enumerate(((A, B), (c, d)), 1)
    )
    plan = Plan(
        devices=tuple(Device(name=n, address=Interface.parse(f"198.18.20.{i}/24"))
                      for i, n in enumerate(names, 11)),
        links=(Link(name="Hop 1", protection="1+1-hsb", carriers=carriers),),
    )  # fmt: skip

    def hop(*silent: str) -> HealthReading:
        found = [finding("echo.reply", "fail", n) for n in silent]
        seen_ = [echo(0 if n in silent else 3, n) for n in names]
        return readings(plan, plan.devices, found, [], seen_)[-1]

    one = hop(c)
    assert (one.state, one.root.name, one.answered) == ("impaired", c, True)
    assert one.reasons == (Reason("", "fail", f"{c} is silent"),)
    assert (hop(A, c).state, hop(A, c).answered) == ("silent", False)
    assert [r.text for r in hop(A, c).reasons] == [f"{A} is silent", f"{c} is silent"]
    assert hop(A, d).state == "impaired"


def test_a_link_keeps_nine_reasons() -> None:
    many = [finding(f"radio.{n}", "fail", subject=IN_HOP) for n in range(20)]
    reasons = state_of(many, ALIVE)["Hop 1"].reasons
    assert (len(reasons), reasons[-1].text) == (9, "and 12 more")
    few = state_of(many[:8], ALIVE)["Hop 1"].reasons
    assert (len(few), few[-1].text) == (8, "r")


def test_a_certain_cause_before_a_likely_one() -> None:
    """Whichever comes first."""
    gateway, laptop = Subject("gateway", "198.18.20.1"), Subject("laptop", "laptop")
    sure, likely = (
        cause(gateway, f"{A} echo.reply"),
        cause(laptop, f"{A} echo.reply", certainty="likely"),
    )
    for causes in ([sure, likely], [likely, sure]):
        assert state_of(REPLY_FAILS[:1], [echo(0), echo(3, B)], causes)[A].root == gateway
    assert state_of(REPLY_FAILS[:1], [echo(0), echo(3, B)], [likely])[A].root == laptop
