"""Writes and reads a plan of 10,000 devices in each form, each in a process of its own.

    python tests/bench/plan_bench.py [DEVICES]

The plan has half as many links as devices and a port for each device; every end of a link carries
what a real plan says of it. Seconds are processor time of the call alone, without Python's start;
the peak is the whole process's resident memory.
"""

from __future__ import annotations

import multiprocessing
import resource
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import netaddr

from verifier.files.canonical import plan_sha256
from verifier.files.read_plan import read_plan
from verifier.files.write_plan import write_plan
from verifier.model import plan as model
from verifier.model.address import Address, Interface, Mac

FORMS = {"CSV": "plan", "YAML": "plan.yaml", "workbook": "plan.xlsx"}
_FIRST = 0x0A000000  # 10.0.0.0


def made_plan(devices: int) -> model.Plan:
    """A plan of so many devices in subnets of 200, as links of two."""
    several = tuple(_device(n) for n in range(devices))
    links = tuple(_link(n) for n in range(devices // 2))
    sites = tuple(model.Site(name=f"site-{n}") for n in range(devices // 2 + 1))
    return model.Plan(
        network=model.Network(name="Bench"), sites=sites, devices=several, links=links
    )


def _device(n: int) -> model.Device:
    subnet = _FIRST + n // 200 * 256
    address = Address(netaddr.IPAddress(subnet + 10 + n % 200, 4))
    return model.Device(
        name=f"device-{n}",
        address=Interface.of(address, 24),
        site=f"site-{(n + 1) // 2}",
        label=f"UNIT {n}",
        profile="hop-radio",
        gateway=Address(netaddr.IPAddress(subnet + 1, 4)),
        tx_band="low" if n % 2 else "high",
        mac=Mac.parse(f"02005e{n:06x}"),
        serial=f"{n:06}",
        part_number="PTP-13-L" if n % 2 else "PTP-13-H",
        software="4.2.1",
        management_vlan=20,
        snmp="field",
        ports=(model.Port(name="eth1", status="up", speed_mbps=1000, duplex="full", mtu=1500),),
        services=model.Services(open=(model.Service(port=443),), closed=(model.Service(port=23),)),
    )


def _end(device: int, tx_mhz: float, rx_level_dbm: float) -> model.End:
    return model.End(
        device=f"device-{device}",
        tx_mhz=tx_mhz,
        tx_power_dbm=18.0,
        max_eirp_dbm=62.1,
        antenna_dbi=36.1,
        antenna_diameter_m=0.6,
        line_loss_db=0.0,
        rx_level_dbm=rx_level_dbm,
        alignment_v=1.09,
        azimuth_deg=57.98,
        tilt_deg=0.3,
        antenna_height_m=24.0,
        atpc=False,
    )


def _link(n: int) -> model.Link:
    a, b = _end(2 * n, 13143.0, -45.6), _end(2 * n + 1, 12877.0, -45.8)
    return model.Link(
        name=f"Hop {n}",
        licence=model.Licence(reference=f"EX-{n:05}"),
        carriers=(model.Carrier(polarisation="V", a=a, b=b),),
        raster="F.497",
        duplex_spacing_mhz=266.0,
        bandwidth_mhz=28.0,
        modulation_max="256qam",
        modulation_min="4qam",
        modulation_reference="64qam",
        adaptive=True,
        capacity_mbps=190.0,
        path_km=11.42,
        fade_margin_db=25.0,
    )


def _write(devices: int, path: Path) -> str:
    plan = made_plan(devices)
    write_plan(plan, path)
    return plan_sha256(plan)


def _read(_: int, path: Path) -> str:
    plan, problems = read_plan(path)
    assert not problems, problems[:3]
    return plan_sha256(plan)


def _timed(job: Any, devices: int, path: Path, answer: Any) -> None:
    start = time.process_time()
    found = job(devices, path)
    seconds = time.process_time() - start
    answer.put((seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, found))


def in_own_process(job: Any, devices: int, path: Path) -> tuple[float, float, str]:
    """Seconds, peak in MB and what the job returns."""
    context = multiprocessing.get_context("spawn")
    answer = context.Queue()
    process = context.Process(target=_timed, args=(job, devices, path, answer))
    process.start()
    seconds, peak, found = answer.get(timeout=600)
    process.join()
    return seconds, peak, found


def main() -> None:
    devices = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    print(f"{devices} devices, {devices // 2} links, {devices} ports")
    with tempfile.TemporaryDirectory() as folder:
        for form, name in FORMS.items():
            path = Path(folder) / name
            wrote, write_mb, expected = in_own_process(_write, devices, path)
            read, read_mb, found = in_own_process(_read, devices, path)
            parts = path.iterdir() if path.is_dir() else (path,)
            size = sum(part.stat().st_size for part in parts) / 1e6
            same = "equal" if found == expected else "NOT EQUAL"
            print(
                f"{form:9} {size:5.1f} MB  written {wrote:5.1f} s {write_mb:4.0f} MB"
                f"  read {read:5.1f} s {read_mb:4.0f} MB  {same}"
            )


if __name__ == "__main__":
    main()
