"""Scenes for the guide: what a device does when it is to be changed, and what is to be said of it."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from tests.lab.bench import DEVICE_MAC, OTHER, Bench
from tests.lab.guided import NEW, OLD, PLAN, Guided, change, ready, records

TOLD = "not changed yet"
"""Shown once the guide waits for a person to make the change."""


@dataclass(frozen=True)
class Played:
    code: int
    told: str
    laptop: str
    records: list[dict[str, Any]]


@dataclass(frozen=True, kw_only=True)
class Scene:
    """What happens, and what is to be said of it.

    Attributes:
        before: done to the bench before the guide starts.
        act: done while it runs.
        kind: of the last look that the journal keeps; None: the last step is done.
        words: all are shown.
    """

    before: Callable[[Bench], None] = lambda bench: None
    act: Callable[[Bench, Guided], None] = lambda bench, guided: None
    options: tuple[str, ...] = ()
    plan: str = PLAN
    boot_s: float = 2
    code: int = 1
    kind: str | None = None
    words: tuple[str, ...] = field(default=())


def to(
    *addresses: str, name: str = "device", off: str | None = None
) -> Callable[[Bench, Guided], None]:
    """Waits until the change is asked for; then a device has these addresses, and another is off."""

    def act(bench: Bench, guided: Guided) -> None:
        guided.wait_for(TOLD)
        if off is not None:
            bench.ip(off, "link set eth0 down")
        change(bench, *addresses, name=name)

    return act


def revert(bench: Bench, guided: Guided) -> None:
    to(NEW)(bench, guided)
    guided.wait_for("198.18.20.11 answers")
    change(bench, OLD)


def boot_slowly(bench: Bench, guided: Guided) -> None:
    guided.wait_for(TOLD)
    bench.ip("device", "link set eth0 down")
    time.sleep(4)
    change(bench, NEW)
    bench.ip("device", "link set eth0 up")


def mute_agent(bench: Bench, guided: Guided) -> None:
    guided.wait_for(TOLD)
    bench.agent("device", None)
    change(bench, NEW)


def other_for_device(bench: Bench) -> None:
    """The other device is plugged in instead."""
    bench.ip("device", "link set eth0 down")
    change(bench, OLD, name="other")


def bench_of_two(bench: Bench, guided: Guided) -> None:
    """Two devices of one factory address, one after the other."""
    guided.wait_for("CONNECT")
    bench.ip("device", "link set eth0 up")
    to(NEW)(bench, guided)
    guided.wait_for("CONNECT")
    change(bench, OLD, name="other")
    bench.ip("other", "link set eth0 up")
    to("198.18.20.12/24", name="other")(bench, guided)


def nobody_attached(bench: Bench) -> None:
    for name in ("device", "other"):
        bench.ip(name, "link set eth0 down")


def read_anew(*addresses: str) -> Callable[[Bench, Guided], None]:
    """As `to`, and the device's agent reads the kernel's tables anew, which it keeps for a while."""

    def act(bench: Bench, guided: Guided) -> None:
        to(*addresses)(bench, guided)
        bench.agent("device", "lighthouse-quarry")

    return act


def with_gateway(hop: str) -> Callable[[Bench, Guided], None]:
    """As `to(NEW)`, and the device has a default route; its agent reads the kernel's routes anew."""

    def act(bench: Bench, guided: Guided) -> None:
        to(NEW)(bench, guided)
        bench.ip("device", f"route replace default via {hop}")
        bench.agent("device", "lighthouse-quarry")

    return act


GATED = PLAN.replace("address: 198.18.20.11/24,", "address: 198.18.20.11/24, gateway: 198.18.20.1,")
WITH_MAC = PLAN.replace("snmp: field}", f"mac: {DEVICE_MAC!r}}}", 1)
SCENES = {
    "right": Scene(act=to(NEW), code=0, words=(
        "OK: 198.18.20.11 answers (lighthouse-quarry, " + DEVICE_MAC + "), 192.0.2.20 silent",
        "by its name (SNMP)", "the same hardware address", "Done: all 3 steps.",
    )),
    "right by hardware address alone": Scene(plan=WITH_MAC, act=to(NEW), code=3, words=(
        f"the right device, by its hardware address {DEVICE_MAC} (ARP)",
        "not tested: mask: not read (SNMP was not asked)",
    )),
    "its gateway set too": Scene(plan=GATED, act=with_gateway("198.18.20.1"), boot_s=8, code=0, words=(
        "OK: 198.18.20.11 answers", "Done: all",
    )),
    "its gateway forgotten": Scene(plan=GATED, act=to(NEW), boot_s=4, kind="wrong-gateway", words=(
        "it has the right address, but not its gateway 198.18.20.1: the device has no gateway",
        "do: set the gateway 198.18.20.1 in the device, save it",
    )),
    "another gateway": Scene(
        plan=GATED, act=with_gateway("198.18.20.9"), boot_s=4, kind="wrong-gateway",
        words=("which says its gateway is 198.18.20.9",),
    ),
    "gateway without SNMP": Scene(
        plan=WITH_MAC.replace("address: 198.18.20.11/24,", "address: 198.18.20.11/24, gateway: 198.18.20.1,"),
        act=to(NEW), code=3, words=("not tested: mask and gateway: not read (SNMP was not asked)",),
    ),
    "keeps both addresses": Scene(act=to(OLD, NEW), kind="both-answer", words=(
        "the same device has both addresses: 192.0.2.20 was left behind as a second one",
    )),
    "two devices answer": Scene(act=to(NEW, name="other"), kind="both-answer", words=(
        "two devices: quarry-lighthouse", "lighthouse-quarry is at 192.0.2.20",
    )),
    "reverts after a restart": Scene(act=revert, kind="reverted", words=(
        "was at 198.18.20.11 and is back at 192.0.2.20", "not saved",
    )),
    "not applied": Scene(options=("--wait", "2s"), kind="old-still", words=(
        "still at 192.0.2.20: the change was not applied or not saved",
    )),
    "takes a slipped address": Scene(act=to("198.18.20.111/24"), kind="neither", words=(
        "neither at 198.18.20.11 nor at 192.0.2.20", "plan-verifier find guide.yaml lighthouse-quarry",
        "198.18.20.111",
    )),
    "too wide a mask": Scene(act=to("198.18.20.11/16"), kind="wrong-mask", words=(
        "the wrong mask: 255.255.0.0 (/16), planned 255.255.255.0 (/24)",
    )),
    "too narrow a mask": Scene(act=to("198.18.20.11/29"), kind="mute", words=(
        "somebody holds 198.18.20.11 (ARP), but nothing comes back", "/24 is planned",
    )),
    "wrong device plugged in": Scene(before=other_for_device, options=("--wait", "2s"), kind="wrong-device",
        words=("not lighthouse-quarry but quarry-lighthouse (by its name (SNMP)) is plugged in: nothing is changed yet",),
    ),
    "wrong device changed": Scene(act=to(NEW, name="other", off="device"), kind="wrong-device", words=(
        "at 198.18.20.11 is quarry-lighthouse", OTHER,
    )),
    "boots slowly": Scene(act=boot_slowly, boot_s=12, code=0, words=("OK: 198.18.20.11 answers",)),
    "never comes back": Scene(act=to(), kind="neither", words=("NOT FOUND", "--resume")),
    "SNMP silent": Scene(act=mute_agent, kind="snmp-silent", words=(
        "it answers echoes, but not SNMP with credentials 'field'",
    )),
    "address in use": Scene(before=lambda b: change(b, NEW, name="other"), options=("--wait", "2s"),
        kind="in-use", words=("198.18.20.11 is in use before lighthouse-quarry has it: by quarry-lighthouse",),
    ),
    "mask alone": Scene(plan=PLAN.replace("present_address: 192.0.2.20/24", "present_address: 198.18.20.11/25"),
        before=lambda b: change(b, "198.18.20.11/25"), act=to(NEW), code=0, words=("from 198.18.20.11/25 to 198.18.20.11/24",),
    ),
    "IPv6": Scene(
        plan=PLAN.replace("address: 198.18.20.11/24", "address: 2001:db8:20::11/64"),
        act=read_anew("2001:db8:20::11/64"), boot_s=8, code=0,
        words=("OK: 2001:db8:20::11 answers", "192.0.2.20 silent"),
    ),
    "one address at the laptop": Scene(options=("--laptop-addresses", "one"), act=to(NEW), code=0,
        words=("198.18.20.11 answers", "192.0.2.20 silent"),
    ),
    "one after the other": Scene(
        plan=PLAN.replace("address: 198.18.20.12/24,", f"address: 198.18.20.12/24, present_address: {OLD},"),
        before=nobody_attached, act=bench_of_two, code=0, words=("share a present address",),
    ),
}  # fmt: skip


def play(scene: Scene, bench: Bench) -> Played:
    """The guide, watching by itself, with a device that does what the scene says."""
    ready(bench, scene.plan, scene.boot_s)
    scene.before(bench)
    with Guided(bench, "--auto", "--set-laptop", "--wait", "30s", *scene.options) as guided:
        scene.act(bench, guided)
        code = guided.end()
    return Played(code, guided.told, bench.addresses("laptop"), records(bench))
