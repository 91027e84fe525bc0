"""What `here` prints: ten lines at most, the verdict last."""

from __future__ import annotations

import dataclasses

import pytest

from verifier.model.address import Interface
from verifier.model.here import CableEnd, HereDevice, HereItem, HereLevel, HereResult
from verifier.report.here import LINES, brief, text
from verifier.report.style import ReportStyle

AT = Interface.parse("198.18.20.12/24")
GATEWAY = HereDevice(
    state="planned",
    verdict="fail",
    device="quarry-lighthouse",
    who="quarry-lighthouse",
    asked="quarry-lighthouse",
    address=AT,
    planned=AT,
    serial="000124",
    reached=True,
    right=("identity", "address", "mask", "services", "name"),
    wrong=(HereItem(what="gateway", words="planned 198.18.20.1, found none"),),
    do="set gateway 198.18.20.1, save, then: plan-verifier here --watch",
    words="right device, reachable, gateway missing",
)
CABLE = CableEnd(
    interface="eth0", up=True, switched_on=True, speed_mbps=100, duplex="full", planned_mbps=1000
)


def result(*devices: HereDevice, **more: object) -> HereResult:
    first = devices[0] if devices else None
    made = HereResult(
        plan="Harbour ring",
        stage="handover",
        started="2026-11-24T10:00:00.000Z",
        finished="2026-11-24T10:00:01.000Z",
        state="found" if devices else "nobody",
        verdict=first.verdict if first else "not-tested",
        words=first.words if first else "nobody on this cable",
        do=first.do if first else "",
        devices=devices,
    )
    return dataclasses.replace(made, **more)  # type: ignore[arg-type]


FOUND = result(GATEWAY)
SWAPPED = result(
    dataclasses.replace(
        GATEWAY,
        state="another",
        asked="lighthouse-quarry",
        half="high",
        radio=True,
        transmitter="off",
        right=(),
        wrong=(
            HereItem(what="serial 000124", words="this is quarry-lighthouse, low half, for Quarry"),
        ),
        do="exchange the two devices; change no setting",
        words="wrong device for Lighthouse",
    ),
    stage="bench",
)
LOW = result(
    dataclasses.replace(
        GATEWAY,
        address=None,
        serial=None,
        radio=True,
        transmitter="on",
        right=("power both 18.0 dBm", "ATPC off", "frequency", "identity", "network"),
        wrong=(),
        levels=(
            HereLevel(place="here", device="quarry-lighthouse", level_dbm=-65.8,
                      planned_dbm=-45.8, difference_db=-20.0, age_s=0.2),
            HereLevel(place="there", device="lighthouse-quarry", level_dbm=-65.6,
                      planned_dbm=-45.6, difference_db=-20.0, age_s=3.2),
        ),
        means="same loss both ways: side lobe, polarisation or path",
        do="plan-verifier align 'Hop 1'",
        words="level low both ways",
    )
)  # fmt: skip
NOBODY = result(
    cables=(CABLE,),
    sought_s=8.0,
    boots_s=45.0,
    watching=True,
    do="data side of the injector? LED? supply polarity? other cable?",
)
SHOWN = {
    "gateway": (FOUND, """\
quarry-lighthouse  serial 000124  at 198.18.20.12/24, its planned address
  right: identity, address, mask, services, name
  WRONG  gateway: planned 198.18.20.1, found none
  do     set gateway 198.18.20.1, save, then: plan-verifier here --watch
FAIL  right device, reachable, gateway missing
"""),
    "swapped": (SWAPPED, """\
BENCH  planned here: lighthouse-quarry (high)                transmitter off
  WRONG  serial 000124: this is quarry-lighthouse, low half, for Quarry
  do     exchange the two devices; change no setting
FAIL  wrong device for Lighthouse
"""),
    "level": (LOW, """\
SITE  quarry-lighthouse                   TRANSMITTING: stay out of the beam
  here   -65.8 dBm  planned -45.8  -20.0 dB
  there  -65.6 dBm  planned -45.6  -20.0 dB  (3 s ago)
  right: power both 18.0 dBm, ATPC off, frequency, identity, network
  means  same loss both ways: side lobe, polarisation or path
  do     plan-verifier align 'Hop 1'
FAIL  level low both ways
"""),
    "nobody": (NOBODY, """\
  cable  eth0 up, 100 Mbit/s full (planned 1000)
  nobody at planned, present or factory address; nothing heard for 8 s
  may be booting: looking until 00:45
  do     data side of the injector? LED? supply polarity? other cable?
INCOMPLETE  nobody on this cable
"""),
}  # fmt: skip


@pytest.mark.parametrize("name", SHOWN)
def test_what_a_person_reads(name: str) -> None:
    """One device: at most ten lines; what is right in one, what to do in the last before."""
    made, shown = SHOWN[name]
    assert text(made, ReportStyle()) == shown


def test_never_more_than_ten_lines() -> None:
    """However much is wrong; --verbose shows all of it."""
    wrong = tuple(HereItem(what=f"port eth{n}", words="planned 1000, found 100") for n in range(30))
    much = dataclasses.replace(
        LOW.devices[0], wrong=wrong, unread=wrong, address=AT, serial="000124", means="m " * 400
    )
    made = result(much, cables=(CABLE,))
    lines = text(made, ReportStyle()).splitlines()
    assert len(lines) <= LINES
    assert lines[-1].startswith("FAIL")
    assert any(line.startswith("  do") for line in lines)
    assert text(made, ReportStyle(verbose=True)).count("WRONG") == 30


def test_many_devices_on_one_switch() -> None:
    """A line each as far as they go, what is wrong first; how many more there are."""
    many = [dataclasses.replace(GATEWAY, who=f"device-{n:02d}") for n in range(20)]
    lines = text(result(*many), ReportStyle()).splitlines()
    assert len(lines) <= LINES
    assert "and 13 more: --verbose lists them" in lines
    assert text(result(*many), ReportStyle(verbose=True)).count("device-") == 21


def test_quiet_is_what_is_wrong_and_the_verdict() -> None:
    assert brief(FOUND, ReportStyle()) == (
        "  WRONG  gateway: planned 198.18.20.1, found none\n"
        "FAIL  right device, reachable, gateway missing\n"
    )
