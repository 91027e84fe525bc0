"""A small sound plan as text, the changes that make it faulty, and what is then found."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from pathlib import Path

from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.model.problem import Problem
from verifier.rules.plan import by_place, check

TODAY = dt.date(2026, 11, 25)
IDS = ("mib2", "hop-radio", "router", "switch")
DEVICE = (
    "profile: hop-radio, gateway: 198.18.20.1, management_vlan: 20, management_tagged: false, "
    "snmp: field, ports: [{name: eth1, speed_mbps: 1000, duplex: full, mtu: 1500, media: copper, "
    "cable_m: 35}]"
)
SOUND = f"""\
network: {{name: Coast, revision: "1", date: 2026-11-20}}
acceptance: {{mtu_bytes: 1500, traffic_pairs: [camera > recorder]}}
not_tested_ok: [{{check: radio.polarisation, reason: seen from the ground}}]
management:
  laptop: 198.18.20.250/24
  hosts: [{{name: manager-1, address: 198.18.9.10, uses: [snmp]}}]
sites:
  - {{name: Lighthouse, latitude: 47.1000, longitude: -20.2000}}
  - {{name: Quarry, latitude: 47.1544, longitude: -20.0723}}
  - {{name: Harbour, latitude: 47.2011, longitude: -20.0310}}
links:
  - name: Hop 1
    licence: {{reference: EX-0001, valid_until: 2031-06-30}}
    raster: F.497
    duplex_spacing_mhz: 266
    bandwidth_mhz: 28
    modulation_max: 256qam
    modulation_min: 4qam
    modulation_reference: 64qam
    adaptive: true
    capacity_mbps: 190
    key_capacity_mbps: 190
    path_km: 11.42
    protection: 1+0
    polarisation: V
    a: {{device: lighthouse-quarry, tx_mhz: 13143, tx_power_dbm: 18, max_eirp_dbm: 55, antenna_dbi: 36.1, line_loss_db: 0.5, azimuth_deg: 57.98, bench_attenuation_db: 60, rx_level_dbm: -46.6}}
    b: {{device: quarry-lighthouse, tx_mhz: 12877, tx_power_dbm: 18, max_eirp_dbm: 55, antenna_dbi: 36.1, line_loss_db: 0.5, azimuth_deg: 238.08, rx_level_dbm: -46.8}}
  - name: Hop 2
    raster: F.497
    bandwidth_mhz: 28
    modulation: 64qam
    polarisation: H
    a: {{device: quarry-harbour, tx_mhz: 12905, rx_level_dbm: -50}}
    b: {{device: harbour-quarry, tx_mhz: 13171, rx_level_dbm: -50}}
devices:
  - {{name: lighthouse-quarry, site: Lighthouse, address: 198.18.20.11/24, tx_band: high, part_number: PTP-13-H, serial: "000111", label: LIGHTHOUSE > QUARRY, mac: 02:00:5e:10:00:11, uplink: [quarry-lighthouse], {DEVICE}}}
  - {{name: quarry-lighthouse, site: Quarry, address: 198.18.20.12/24, tx_band: low, part_number: PTP-13-L, serial: "000112", label: QUARRY > LIGHTHOUSE, mac: 02:00:5e:10:00:12, {DEVICE}}}
  - {{name: quarry-harbour, site: Quarry, address: 198.18.20.13/24, tx_band: low, part_number: PTP-13-L, serial: "000113", label: QUARRY > HARBOUR, mac: 02:00:5e:10:00:13, {DEVICE}}}
  - {{name: harbour-quarry, site: Harbour, address: 198.18.20.14/24, tx_band: high, part_number: PTP-13-H, serial: "000114", label: HARBOUR > QUARRY, mac: 02:00:5e:10:00:14, {DEVICE}}}
"""

END = 99
Changes = Mapping[int, tuple[str, ...]]
"""By line: what stands there, what shall, and so on in pairs; line 99: what is added at the end."""
Expected = set[tuple[int, str, str]]
"""Line, rule, subject of each problem."""


def changed(changes: Changes) -> str:
    """The sound plan with these changes; each must apply."""
    lines = SOUND.splitlines()
    for number, words in changes.items():
        for old, new in zip(words[::2], words[1::2], strict=True):
            if number == END:
                lines.append(new)
                continue
            assert old in lines[number - 1], f"line {number} has no {old!r}"
            lines[number - 1] = lines[number - 1].replace(old, new)
    return "\n".join(lines)


def problems_of(text: str, folder: Path) -> tuple[Problem, ...]:
    """Everything that is found in a plan of this text, as the command finds it."""
    path = folder / "plan.yaml"
    path.write_text(text, encoding="utf-8")
    plan, reading = read_plan(path)
    unread = {p.subject.name for p in reading if p.severity == "error"}
    profiles = load_profiles({d.profile for d in plan.devices} & set(IDS))
    found = check(plan, unread, profiles, profile_ids=IDS, today=TODAY)
    return by_place((*reading, *found))


def told(problems: tuple[Problem, ...]) -> Expected:
    """Line, rule and subject of each problem."""
    return {(_line(p), p.rule, str(p.subject)) for p in problems}


def _line(problem: Problem) -> int:
    found = re.search(r"line (\d+)", str(problem.origin))
    return int(found[1]) if found is not None else 0
