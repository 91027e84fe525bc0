"""Findings of a soak: each situation of one device, what it is judged and what the reason says."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Sequence
from typing import Any

import pytest

from tests.as_seen import Everywhere, observation
from tests.said import compare
from verifier.model.address import Address, Interface
from verifier.model.observations import Observation
from verifier.model.plan import (
    Acceptance,
    Carrier,
    Device,
    End,
    Host,
    Link,
    Management,
    Plan,
    Port,
)
from verifier.model.problem import Subject
from verifier.model.profile import Limits, Profile, ProfileReading
from verifier.model.result import Finding

pytestmark = pytest.mark.usefixtures("words")

NAME = "lighthouse-quarry"
AT = "2026-11-24T10:00:00.000Z"
PROFILE = Profile(
    id="hop-radio",
    kind="radio",
    reading=(
        ProfileReading(field="rx_level_dbm", oid="1.3.6.1.4.1.32473.1.1.1.0", type="integer"),
        ProfileReading(field="errored_s", oid="1.3.6.1.4.1.32473.1.1.2.0", type="integer"),
        ProfileReading(field="unavailable_s", oid="1.3.6.1.4.1.32473.1.1.3.0", type="integer"),
        ProfileReading(field="severely_errored_s", oid="1.3.6.1.4.1.32473.1.1.5.0", type="integer"),
        ProfileReading(field="clock", oid="1.3.6.1.4.1.32473.1.1.4.0", type="text"),
    ),
    limits=Limits(rx_max_dbm=-20.0, rx_damage_dbm=0.0),
)
DEVICE = Device(
    name=NAME, address=Interface.parse("198.18.20.11/24"), profile="hop-radio", snmp="field",
    ports=(Port(name="eth1"),),
)  # fmt: skip
LINK = Link(name="Hop 1", carriers=(Carrier(a=End(device=NAME), b=End(device="quarry")),))
DONE = {"asked_s": 900, "lasted_s": 900, "state": "complete", "step_s": 1.0, "bytes": [84, 1500]}
OK = [1000] * 900


def echo(rtt_us: Sequence[int | None], size: int = 84, **more: Any) -> Any:
    return {
        "kind": "echo", "subject": {"kind": "device", "name": NAME}, "path": "management",
        "bytes": size, "at": AT, "start_s": 0.0, "step_s": 1.0, "rtt_us": list(rtt_us),
        "duplicates": 0, "reordered": 0, "silence": {},
    } | more  # fmt: skip


def values(**series: list[Any]) -> Any:
    count = len(next(iter(series.values())))
    named = {name.replace("_eth1", " eth1"): value for name, value in series.items()}
    usual = {"sysUpTime": [9_000_000 + n * 1000 for n in range(count)]}
    return {
        "kind": "values", "subject": {"kind": "device", "name": NAME}, "at": AT,
        "t_s": [n * 10.0 for n in range(count)], "series": usual | named, "speeds": {"eth1": 1000.0},
    }  # fmt: skip


def gap(why: str) -> Any:
    text = {"stopped": "this program was stopped, or this laptop slept",
            "interface": "this laptop's interface eth0 was down"}[why]  # fmt: skip
    return {"kind": "gap", "at": AT, "start_s": 60.0, "end_s": 120.0, "why": why, "text": text,
            "targets": [NAME]}  # fmt: skip


def observed(**more: Any) -> list[Observation[Any]]:
    laptop = observation(id=1, subject=Subject("laptop", "laptop"), probe="laptop", what="soak",
                         value=more.pop("soak", DONE), at=AT)  # fmt: skip
    device = {"answer": "answered", "clock": "2026-11-24T10:00:01Z"} | more
    seen = [observation(id=n, subject=Subject("device", NAME), probe="snmp", what=w, value=v, at=AT)
            for n, (w, v) in enumerate(device.items(), start=2)]  # fmt: skip
    return [laptop, *seen]


def judged(blocks: list[Any], acceptance: Acceptance, **seen: Any) -> dict[str, Finding]:
    far = Device(name="quarry", address=Interface.parse("198.18.20.12/24"), profile="hop-radio")
    plan = Plan(devices=(DEVICE, far), links=(LINK,), acceptance=acceptance, origins=Everywhere())
    found = compare(plan, {"hop-radio": PROFILE}, observed(**seen), samples=blocks).findings
    return {f.check: f for f in found if f.subject.name != far.name and f.subject.end != "b"}


def limits(**more: Any) -> Acceptance:
    return Acceptance(max_loss_pct=0.1, max_rtt_p95_ms=10, max_port_errors=0, **more)


LOST_1: list[int | None] = [None, *OK[1:]]
LOST_9: list[int | None] = [*[None] * 9, *OK[9:]]
SLOW = [*[20_000] * 90, *OK[90:]]
ERRORS = {"ifInErrors_eth1": [0, 0, 2], "ifOutErrors_eth1": [0, 0, 0]}
NONE = {"ifInErrors_eth1": [7, 7, 7], "ifOutErrors_eth1": [0, 0, 0]}
SHORT = DONE | {"lasted_s": 60, "state": "interrupted"}
KILLED = DONE | {"lasted_s": 60, "state": "unfinished"}

ECHOES: dict[str, tuple[list[Any], Acceptance, str, str, str]] = {
    "nothing lost": ([echo(OK), echo(OK, 1500)], limits(), "echo.loss", "pass", "0 of 1800 echoes lost"),
    "lost, no limit": ([echo(LOST_1)], Acceptance(), "echo.loss", "warn", "the plan sets no limit"),
    "lost within the limit": ([echo([None, *OK * 2])], limits(), "echo.loss", "pass", "1 of 1801"),
    "lost beyond the limit": ([echo(LOST_1)], limits(), "echo.loss", "fail", "management path: 1 of 900"),
    "only the large ones are lost": (
        [echo(OK * 20), echo(LOST_9, 1500)], limits(), "echo.loss", "fail", "9 of 900 of 1500 byte"),
    "lost, but hosts beyond judge": (
        [echo(LOST_9)], limits(traffic_pairs=("a>b",)), "echo.loss", "warn", "see traffic.loss"),
    "none answered": ([echo([None] * 900)], limits(), "echo.loss", "fail", "none of the 900"),
    "none sent": ([echo([-1] * 900)], limits(), "echo.loss", "not-tested", "no echo of the soak"),
    "slow": ([echo(SLOW)], limits(), "echo.round-trip", "fail", "95 % within 20.000"),
    "slow for one in twenty": ([echo([20_000] * 45 + OK[45:])], limits(), "echo.round-trip", "pass", "99 % within 20.000"),
    "slow, no limit": ([echo(SLOW)], Acceptance(), "echo.round-trip", "pass", "50 % within 1.000"),
    "too many lost for a time": ([echo([*[None] * 90, *OK[90:]])], limits(), "echo.round-trip", "fail", "95 % within unanswered"),
    "a gap of 9 s": ([echo(LOST_9)], limits(), "echo.gap", "pass", "without a reply 9 s, 0:00:00 after"),
    "a gap of 10 s": ([echo([*OK[:100], *[None] * 10, *OK])], limits(), "echo.gap", "warn", "0:01:40 after the begin"),
    "answered twice": ([echo(OK, duplicates=3)], limits(), "echo.duplicate", "warn", "3 echoes"),
    "overtaken": ([echo(OK, reordered=1)], limits(), "echo.reordered", "warn", "1 replies"),
}  # fmt: skip


@pytest.mark.parametrize("case", ECHOES.values(), ids=list(ECHOES))
def test_echoes(case: tuple[list[Any], Acceptance, str, str, str]) -> None:
    """Echoes to a device, against the plan's limits."""
    blocks, acceptance, check, verdict, words = case
    finding = judged(blocks, acceptance)[check]
    assert finding.verdict == verdict, finding.reason
    assert words in finding.reason
    assert finding.reason.startswith("management path: ")


SAMPLES: dict[str, tuple[Any, Acceptance, str, str, str]] = {
    "no errors": (NONE, limits(), "port.errors", "pass", "errors in 0, out 0"),
    "errors": (ERRORS, limits(), "port.errors", "fail", "errors in 2, out 0"),
    "errors, no limit": (ERRORS, Acceptance(), "port.errors", "warn", "the plan sets no limit"),
    "discards are no errors": (
        NONE | {"ifInDiscards_eth1": [0, 5, 9], "ifOutDiscards_eth1": [0, 0, 0]}, limits(), "port.errors", "pass",
        "discards in 9, out 0"),
    "errors wrap": (NONE | {"ifInErrors_eth1": [2**32 - 1, 0, 0]}, limits(), "port.errors", "fail", "errors in 1"),
    "errors were cleared": (NONE | {"ifInErrors_eth1": [500, 0, 0]}, limits(), "port.errors", "not-tested", "fell from 500 to 0"),
    "discontinuity": (
        NONE | {"ifCounterDiscontinuityTime_eth1": [0, 0, 8]}, limits(), "port.errors", "not-tested", "discontinuity"),
    "read once": ({n: v[:1] for n, v in NONE.items()}, limits(), "port.errors", "not-tested", "read once"),
    "no such counters": ({"rx_level_dbm": [-45.0] * 3}, limits(), "port.errors", "not-tested", "no error counters"),
    "restarted": (NONE | {"sysUpTime": [9_000_000, 100, 1100]}, limits(), "state.restarts", "fail", "started again: 0:00:10"),
    "restarted, counters": (NONE | {"sysUpTime": [9_000_000, 100, 1100]}, limits(), "port.errors", "not-tested", "started again"),
    "ran on over the wrap": (NONE | {"sysUpTime": [2**32 - 1500, 2**32 - 500, 500]}, limits(), "state.restarts", "pass", "no restart"),
    "level steady": ({"rx_level_dbm": [-45.0, -46.5, -45.5]}, limits(), "radio.rx-level-spread", "pass", "-46.5 to -45 dBm in 3"),
    "level unsteady": ({"rx_level_dbm": [-45.0, -48.5, -45.0]}, limits(), "radio.rx-level-spread", "warn", "lowest 0:00:10"),
    "level lost": ({"rx_level_dbm": [-45.0, False, -45.0]}, limits(), "radio.rx-level-spread", "fail", "nothing was received in 1 of 3"),
    "level over what the receiver bears, once": ({"rx_level_dbm": [-45.0, -19.0, -45.0]}, limits(), "radio.rx-level", "fail", "overloaded above -20 dBm"),
    "level that damages, once": ({"rx_level_dbm": [-45.0, 1.0, -45.0]}, limits(), "radio.rx-level", "fail", "damaged above 0 dBm"),
    "level just below overload": ({"rx_level_dbm": [-20.0, -21.0, -20.0]}, limits(), "radio.rx-level", "not-tested", "not read"),
    "level unread": ({"rx_level_dbm": [None, None, None]}, limits(), "radio.rx-level-spread", "not-tested", "no receive level"),
    "errored seconds": ({"errored_s": [4, 4, 6]}, limits(), "radio.errored-seconds", "warn", "2 errored seconds"),
    "unavailable seconds": ({"unavailable_s": [0, 10, 12]}, limits(), "radio.unavailable-seconds", "fail", "12 unavailable"),
    "errored seconds within the limit": (
        {"errored_s": [4, 4, 6]}, limits(max_es=2), "radio.errored-seconds", "pass", "2 errored seconds by the device's own count, 2 allowed"),
    "errored seconds beyond the limit": (
        {"errored_s": [4, 4, 7]}, limits(max_es=2), "radio.errored-seconds", "fail", "3 errored"),
    "no errored seconds": ({"errored_s": [4, 4, 4]}, Acceptance(), "radio.errored-seconds", "pass", "0 errored"),
    "severely errored, no limit": (
        {"severely_errored_s": [0, 0, 1]}, Acceptance(), "radio.severely-errored-seconds", "fail", "sets no limit (max_ses)"),
    "severely errored within the limit": (
        {"severely_errored_s": [0, 0, 1]}, limits(max_ses=1), "radio.severely-errored-seconds", "pass", "1 allowed (max_ses)"),
    "severely errored beyond the limit of none": (
        {"severely_errored_s": [0, 0, 1]}, limits(max_ses=0), "radio.severely-errored-seconds", "fail", "0 allowed"),
    "no severely errored ones": (
        {"severely_errored_s": [3, 3, 3]}, Acceptance(), "radio.severely-errored-seconds", "pass", "0 severely"),
    "unavailable within the limit": (
        {"unavailable_s": [0, 10, 12]}, limits(max_uas=12), "radio.unavailable-seconds", "pass", "12 allowed"),
    "unavailable beyond the limit": (
        {"unavailable_s": [0, 10, 12]}, limits(max_uas=11), "radio.unavailable-seconds", "fail", "12 unavailable"),
    "set back beyond the limit": (
        {"errored_s": [0, 9, 0]}, limits(max_es=2), "radio.errored-seconds", "fail", "so many at least"),
    "set back within the limit": (
        {"errored_s": [0, 1, 0]}, limits(max_es=2), "radio.errored-seconds", "not-tested", "so many at least"),
    "read once, severely errored": (
        {"severely_errored_s": [4]}, Acceptance(), "radio.severely-errored-seconds", "not-tested", "not read twice"),
    "counted by the quarter of an hour": ({"errored_s": [4, 0, 0]}, limits(), "radio.errored-seconds", "not-tested", "set back"),
}  # fmt: skip


@pytest.mark.parametrize("case", SAMPLES.values(), ids=list(SAMPLES))
def test_samples(case: tuple[Any, Acceptance, str, str, str]) -> None:
    """Counters, levels and uptime over three samples."""
    series, acceptance, check, verdict, words = case
    finding = judged([echo(OK), values(**series)], acceptance)[check]
    assert finding.verdict == verdict, finding.reason
    assert words in finding.reason


RAIN = [
    # what was stated, how many minutes before the soak's end, at whose end, in MHz, verdicts of
    # severely errored and of unavailable seconds
    ("rain 12 mm/h", 5, NAME, 13000.0, "not-tested"),
    ("heavy rain", 14, NAME, 13000.0, "not-tested"),
    ("rain", 44, NAME, 13000.0, "not-tested"),
    ("rain", 46, NAME, 13000.0, "fail"),
    ("rain", -31, NAME, 13000.0, "fail"),
    ("rain", 5, "quarry", 13000.0, "not-tested"),
    ("rain", 5, "ferry", 13000.0, "fail"),
    ("rain", 5, NAME, 4800.0, "fail"),
    ("dry", 5, NAME, 13000.0, "fail"),
    ("windy", 5, NAME, 13000.0, "fail"),
    ("no rain", 5, NAME, 13000.0, "fail"),
]


@pytest.mark.parametrize(("weather", "minutes", "device", "mhz", "verdict"), RAIN)
def test_rain_recorded_during_the_soak(
    weather: str, minutes: float, device: str, mhz: float, verdict: str
) -> None:
    """A soak of 15 minutes; rain at either end of the link, within 30 minutes of it, from 5 GHz up.

    A planned limit holds in rain too, and so does the warning of errored seconds.
    """
    at = dt.datetime.fromisoformat(AT) - dt.timedelta(minutes=minutes)
    said = observation(id=99, subject=Subject("device", device), probe="person", value=weather,
                       what="manual.weather", at=at.isoformat())  # fmt: skip
    carrier = Carrier(a=End(device=NAME), b=End(device="quarry", tx_mhz=mhz))
    link = dataclasses.replace(LINK, carriers=(carrier,))
    blocks = [echo(OK), values(errored_s=[0, 1, 3], severely_errored_s=[0, 0, 2],
                               unavailable_s=[0, 0, 11])]  # fmt: skip

    def found(acceptance: Acceptance) -> dict[str, str]:
        far = Device(name="quarry", address=Interface.parse("198.18.20.12/24"))
        plan = Plan(devices=(DEVICE, far), links=(link,), acceptance=acceptance)
        profiles = {"hop-radio": PROFILE, "mib2": Profile(id="mib2")}
        made = compare(plan, profiles, [*observed(), said], samples=blocks)
        seconds = [f for f in made.findings if f.check.endswith("-seconds")]
        return {f.check: f.verdict for f in seconds if f.subject.end == "a"}

    assert found(Acceptance()) == {
        "radio.errored-seconds": "warn", "radio.severely-errored-seconds": verdict,
        "radio.unavailable-seconds": verdict,
    }  # fmt: skip
    limited = found(limits(max_es=2, max_ses=2, max_uas=10))
    assert list(limited.values()) == ["fail", "pass", "fail"]


@pytest.mark.parametrize(
    ("seen", "verdict", "words"),
    [
        ({"clock": "2026-11-24T10:00:04Z"}, "pass", "4.0 s ahead"),
        ({"clock": "2026-11-24T09:59:00Z"}, "warn", "60.0 s behind"),
        ({"clock": "no idea"}, "not-tested", "is no time: no idea"),
        ({"clock": "2026-11-24T09:00:00Z", "hrSystemDate": "2026-11-24T10:00:00+00:00"}, "pass", "0.0 s"),
        ({"clock": "2026-11-24T09:59:59.98Z"}, "pass", "0.0 s behind"),
        ({"clock": None}, "not-tested", "tells no time of day"),
    ],
)  # fmt: skip
def test_clock(seen: Any, verdict: str, words: str) -> None:
    """The standard MIB before the profile's reading; five seconds are allowed."""
    finding = judged([echo(OK)], limits(), **seen)["state.clock"]
    assert finding.verdict == verdict, finding.reason
    assert words in finding.reason
    assert str(finding.observed) != "-0.0"


@pytest.mark.parametrize(
    ("blocks", "soak", "verdict", "words"),
    [
        ([], DONE, "pass", "measured for 15 min"),
        ([gap("stopped")], DONE, "warn", "this laptop slept for 1 min, 0:01:00 after"),
        ([gap("interface")], DONE, "not-tested", "eth0 was down for 1 min"),
        ([{"kind": "clock", "at": AT, "at_s": 5.0, "stepped_s": -3600.0}], DONE, "pass", "set back by 1 h"),
        ([], SHORT, "not-tested", "lasted 1 min of 15 min: a person ended it"),
        ([], KILLED, "not-tested", "the program was ended from outside, or could write no more"),
    ],
)  # fmt: skip
def test_the_laptop(blocks: list[Any], soak: Any, verdict: str, words: str) -> None:
    """`laptop.soak` names what this laptop could not do."""
    found = judged([echo(OK), *blocks], limits(), soak=soak)
    assert found["laptop.soak"].verdict == verdict
    assert words in found["laptop.soak"].reason
    named = "1 min not counted, see laptop.soak" in found["echo.loss"].reason
    assert named is any(b["kind"] == "gap" for b in blocks)


@pytest.mark.parametrize("soak", [SHORT, KILLED], ids=["interrupted", "killed"])
def test_cut_short_it_can_fail_but_not_pass(soak: Any) -> None:
    """What was bad until then is bad; what was good until then is not tested."""
    blocks = [echo(LOST_9[:60]), values(**NONE)]
    found = judged(blocks, limits(), soak=soak)
    assert found["echo.loss"].verdict == "fail"
    for check in ("echo.jitter", "echo.duplicate", "port.errors", "state.restarts"):
        assert found[check].verdict == "not-tested"
        assert "until then" in found[check].reason


MTUS: dict[str, tuple[Any, str, str]] = {
    "passes": ({"passed": True, "largest": 1500}, "pass", "passes undivided"),
    "smaller on the way": (
        {"largest": 1400, "next_hop_mtu": 1400, "reporter": "198.18.20.1"}, "fail", "198.18.20.1 reports that it passes on 1400"),
    "smaller, silently": ({"largest": 1472}, "fail", "1472 byte pass undivided and no more"),
    "the laptop's own": ({"refused": True}, "not-tested", "this laptop's own interface"),
    "no answer": ({}, "not-tested", "no echo was answered"),
}  # fmt: skip


@pytest.mark.parametrize("case", MTUS.values(), ids=list(MTUS))
def test_mtu(case: tuple[Any, str, str]) -> None:
    """The planned size, whole."""
    value, verdict, words = case
    usual = {"planned": 1500, "passed": False, "largest": None, "next_hop_mtu": None, "reporter": None,
             "refused": False}  # fmt: skip
    finding = judged([echo(OK)], limits(mtu_bytes=1500), mtu=usual | value)["echo.mtu"]
    assert finding.verdict == verdict
    assert words in finding.reason


def test_without_a_soak_there_is_none_of_it() -> None:
    """No observation of one, no finding."""
    plan = Plan(devices=(DEVICE,), links=(LINK,), acceptance=limits(mtu_bytes=1500))
    found = compare(plan, {"hop-radio": PROFILE}, observed()[1:]).findings
    assert not {f.check for f in found} & {"laptop.soak", "echo.gap", "echo.mtu", "state.restarts"}


HOSTS = {"camera": "198.18.20.21", "recorder": "198.18.20.22"}
LATE = [*[20_000] * 90, *OK[90:]]
TRAFFIC: dict[str, tuple[dict[str, list[Any]], Acceptance, tuple[str, str], str]] = {
    "nothing lost": ({"camera": [OK], "recorder": [OK]}, limits(), ("pass", "pass"),
                     "from this laptop past recorder to camera: 0 of 900 echoes lost; recorder: 0 of 900"),
    "the farther one loses": ({"camera": [OK], "recorder": [LOST_1]}, limits(), ("fail", "pass"),
                              "from this laptop past camera to recorder: 1 of 900 echoes lost; camera: 0"),
    "the nearer one in the plan loses": ({"camera": [LOST_1], "recorder": [OK]}, limits(), ("fail", "pass"),
                                         "past recorder to camera: 1 of 900"),
    "within the limit": ({"camera": [OK], "recorder": [[None, *OK * 2]]}, limits(), ("pass", "pass"), "1 of 1801"),
    "lost without a limit": ({"camera": [OK], "recorder": [LOST_1]}, Acceptance(), ("warn", "pass"),
                             "; the plan sets no limit"),
    "nothing lost without a limit": ({"camera": [OK], "recorder": [OK]}, Acceptance(), ("pass", "pass"), "0 of 900"),
    "late": ({"camera": [LATE], "recorder": [OK]}, limits(), ("pass", "fail"), "past recorder to camera"),
    "late as far as allowed": ({"camera": [[10_000] * 900], "recorder": [OK]}, limits(), ("pass", "pass"), ""),
    "late without a limit": ({"camera": [LATE], "recorder": [OK]}, Acceptance(), ("pass", "pass"), ""),
    "unanswered for the most part": ({"camera": [[None] * 90 + OK[90:]], "recorder": [OK]}, Acceptance(),
                                     ("warn", "warn"), "past recorder to camera: 90 of 900"),
    "only the large ones are lost": ({"camera": [OK], "recorder": [OK * 20, LOST_9]}, limits(), ("fail", "pass"),
                                     "9 of 900 of 1500 byte"),
    "one host was not asked": ({"camera": [OK]}, limits(), ("not-tested", "not-tested"),
                               "could send no echo to one of the two"),
}  # fmt: skip


def by_hosts(
    sent: dict[str, list[Any]], acceptance: Acceptance, *, own: str = "198.18.20.250",
    soak: Any = DONE,
) -> tuple[Finding, Finding]:  # fmt: skip
    """What two hosts beyond both ends say of the link."""
    hosts = tuple(Host(name=n, address=Address.parse(a)) for n, a in HOSTS.items())
    acceptance = dataclasses.replace(acceptance, traffic_pairs=(" camera > recorder ",))
    plan = Plan(devices=(DEVICE,), management=Management(hosts=hosts), acceptance=acceptance,
                origins=Everywhere())  # fmt: skip
    blocks = [
        echo(rtt_us, size, subject={"kind": "host", "name": name}, path="traffic")
        for name, sizes in sent.items() for size, rtt_us in zip((84, 1500), sizes, strict=False)
    ]  # fmt: skip
    laptop = {"interfaces": [{"name": "eth0", "up": True, "addresses": [f"{own}/24"], "vlan": None}],
              "gateways": [], "assumed": False}  # fmt: skip
    first = observation(id=98, subject=Subject("laptop", "laptop"), probe="laptop", what="interfaces",
                        value=laptop, at=AT)  # fmt: skip
    seen = [first, *observed(soak=soak)]
    found = compare(plan, {"hop-radio": PROFILE}, seen, samples=blocks).findings
    loss, rtt = (f for f in found if f.check.startswith("traffic."))
    return loss, rtt


@pytest.mark.parametrize("case", TRAFFIC.values(), ids=list(TRAFFIC))
def test_traffic(case: Any) -> None:
    """A pair is judged by the host that is farther from this laptop; the other one is told besides."""
    sent, acceptance, verdicts, words = case
    loss, rtt = by_hosts(sent, acceptance)
    assert (loss.verdict, rtt.verdict) == verdicts, (loss.reason, rtt.reason)
    assert words in loss.reason + rtt.reason
    assert (loss.subject.name, loss.check, rtt.check) == (
        "camera>recorder", "traffic.loss", "traffic.round-trip",
    )  # fmt: skip


def test_this_laptop_is_one_of_the_two() -> None:
    """It needs no echo to itself."""
    loss, rtt = by_hosts({"recorder": [LOST_1]}, limits(), own=HOSTS["camera"])
    assert (loss.verdict, rtt.verdict) == ("fail", "pass")
    assert loss.reason.startswith("from this laptop, which is camera, to recorder: 1 of 900")
    loss, _ = by_hosts({"camera": [OK]}, limits(), own=HOSTS["recorder"])
    assert loss.reason.startswith("from this laptop, which is recorder, to camera: 0 of 900")
    loss, rtt = by_hosts({"camera": [OK], "recorder": [OK[:60]]}, limits(), soak=SHORT)
    assert (loss.verdict, rtt.verdict) == ("not-tested", "not-tested")
