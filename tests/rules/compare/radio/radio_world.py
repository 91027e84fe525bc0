"""Two radios of one link as a plan and as observations; right unless changed."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from tests.as_seen import Everywhere, observation
from tests.said import compare
from verifier.files.read_profile import load_profiles
from verifier.model.address import Interface
from verifier.model.observations import Observation
from verifier.model.plan import Carrier, Device, End, Link, Plan, Stage
from verifier.model.problem import Subject
from verifier.model.profile import Profile
from verifier.model.result import Finding
from verifier.rules.compare.judge import Judgement

A, B = "lighthouse-quarry", "quarry-lighthouse"
PROFILE: Profile = load_profiles({"hop-radio"})["hop-radio"]
START = dt.datetime(2026, 11, 24, 10, 0, tzinfo=dt.UTC)
NOTHING, GONE = object(), object()
"""What a device gives: its mark for "nothing received"; no such object."""

END_A = End(
    device=A, tx_mhz=13143.0, tx_power_dbm=18.0, max_eirp_dbm=62.1, antenna_dbi=36.1,
    rx_level_dbm=-45.6, min_snr_db=25.0, alignment_v=1.09, atpc=False, link_id="7",
)  # fmt: skip
END_B = End(
    device=B, tx_mhz=12877.0, tx_power_dbm=18.0, max_eirp_dbm=62.1, antenna_dbi=36.1,
    rx_level_dbm=-45.8, min_snr_db=25.0, atpc=False, link_id="7",
)  # fmt: skip
LINK = Link(
    name="Hop 1", carriers=(Carrier(a=END_A, b=END_B, polarisation="V"),), bandwidth_mhz=28.0,
    duplex_spacing_mhz=266.0, modulation_max="256qam", modulation_min="4qam",
    modulation_reference="64qam", adaptive=True, capacity_mbps=190.0, key_capacity_mbps=190.0,
    path_km=11.42, fade_margin_db=25.0,
)  # fmt: skip
RIGHT: Mapping[str, Any] = {
    "tx_mhz": 13143.0, "rx_mhz": 12877.0, "bandwidth_mhz": 28.0, "tx_modulation": "256qam",
    "rx_modulation": "256qam", "polarisation": "V", "tx_enabled": "true", "tx_power_dbm": 18.0,
    "tx_power_set_dbm": 18.0, "atpc": "false", "rx_level_dbm": -45.6, "snr_db": 38.0,
    "xpi_db": 30.0, "locked": "true", "link_id": "7", "far_end_name": B,
    "configured_capacity_mbps": 190.0, "current_capacity_mbps": 190.0, "key_capacity_mbps": 190.0,
    "unsaved_settings": 0.0, "test_mode": 0.0, "alarm": 0.0, "software": "4.2.1",
    "switch_forced": "none",
}  # fmt: skip
RIGHT_B = {**RIGHT, "tx_mhz": 12877.0, "rx_mhz": 13143.0, "rx_level_dbm": -45.8, "far_end_name": A}
SAMPLED = {"rx_level_dbm", "tx_power_dbm", "snr_db"}
Change = Mapping[str, Any]
NO_CHANGE: Change = {}


def planned(link: Change = NO_CHANGE, a: Change = NO_CHANGE, b: Change = NO_CHANGE) -> Plan:
    """The plan of one hop with these fields changed."""
    (carrier,) = LINK.carriers
    carrier = dataclasses.replace(
        carrier, a=dataclasses.replace(carrier.a, **a), b=dataclasses.replace(carrier.b, **b)
    )
    hop = dataclasses.replace(LINK, carriers=(carrier,), **link)
    return plan_of(hop)


def plan_of(*links: Link) -> Plan:
    """A plan of these links and the devices at their ends."""
    names = dict.fromkeys(end.device for k in links for c in k.carriers for _, end in c.ends())
    devices = [
        Device(name=name, address=Interface.parse(f"198.18.20.{n}/24"), profile="hop-radio",
               snmp="field")
        for n, name in enumerate(names, start=11)
    ]  # fmt: skip
    return Plan(devices=tuple(devices), links=links, origins=Everywhere())


def observed(
    device: str,
    values: Change,
    *,
    said: Change = NO_CHANGE,
    count: int = 5,
    step_s: float = 0.3,
) -> list[Observation[Any]]:
    """What a device gives: `count` samples of what is sampled, `step_s` apart, and one of the rest.

    A sequence gives each sample its own value.
    """
    subject = Subject("device", device)
    seen = [
        observation(id=0, subject=subject, probe="icmp", what="warm-up", at="",
                    value={"replied": True, "silence": []}),
        observation(id=0, subject=subject, probe="snmp", what="answer", value="answered", at=""),
    ]  # fmt: skip
    for what, value in values.items():
        samples = [value] * (count if what.partition(" ")[0] in SAMPLED else 1)
        if isinstance(value, (list, tuple)):
            samples = list(value)
        for n, sample in enumerate(samples):
            seen.append(_one(subject, what, sample, START + dt.timedelta(seconds=n * step_s)))
    for what, value in said.items():
        seen.append(
            observation(id=0, subject=subject, probe="person", what=what, value=value,
                        raw='{"by": "A. Example"}', at=START.isoformat())
        )  # fmt: skip
    return seen


def _one(subject: Subject, what: str, value: Any, at: dt.datetime) -> Observation[Any]:
    raw = "" if not isinstance(value, float) else f"Integer32 {round(value)}"
    if value is NOTHING:
        value, raw = None, "Integer32 -990"
    if value is GONE:
        value, raw = None, "noSuchInstance"
    text = at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    return observation(
        id=0, subject=subject, probe="snmp", what=what, value=value, raw=raw, at=text
    )


def judged(
    plan: Plan,
    stage: Stage,
    *seen: Sequence[Observation[Any]],
    profiles: Mapping[str, Profile] | None = None,
    **more: Any,
) -> Judgement:
    """What the tool says of these observations."""
    numbered = [
        dataclasses.replace(o, id=n) for n, o in enumerate((o for s in seen for o in s), start=1)
    ]
    known = profiles or {"hop-radio": PROFILE}
    return compare(plan, known, numbered, stage=stage, **more)


_RADIO = ("radio.", "link.", "settings.", "state.alarm", "manual.", "plan.")


def found(result: Judgement, *verdicts: str) -> set[tuple[str, str, str]]:
    """Check, end, and verdict of what does not pass (or has one of these verdicts)."""
    return {
        (f.check, f.subject.end or "", f.verdict)
        for f in of_radio(result)
        if (f.verdict in verdicts if verdicts else f.verdict != "pass")
    }


def of_radio(result: Judgement) -> list[Finding]:
    """The findings that radio rules make."""
    return [f for f in result.findings if f.check.startswith(_RADIO)]
