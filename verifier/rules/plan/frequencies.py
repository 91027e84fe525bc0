"""Frequencies of one carrier: halves of the band, variants, spacing, channels. Only for `fdd`."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from verifier.model.plan import Band, Carrier, End, EndName, Link
from verifier.model.problem import Subject
from verifier.model.profile import Variant
from verifier.rules import radio
from verifier.rules.plan.figures import END_RANGES, LINK_RANGES, probable
from verifier.rules.plan.scope import (
    Found,
    PlanScope,
    RuleProblem,
    device,
    device_path,
    end_of,
    end_path,
    figure,
)

Verdict = Literal["same", "equal", "crossed", "against"]


def tx_mhz(end: End) -> float | None:
    """The planned frequency, unless it is out of all range."""
    return probable(end, "tx_mhz", END_RANGES)


@dataclass(frozen=True, slots=True)
class Halves:
    """How the frequencies of a carrier and its devices' `tx_band` agree: the most telling fault.

    Attributes:
        verdict: None: nothing wrong; `against`: at `end`, whose partner names no half.
        high: the end that transmits higher; None: not known, or not agreed.
    """

    link: Link
    carrier: Carrier
    bands: tuple[Band | None, Band | None]
    verdict: Verdict | None
    end: EndName | None
    high: EndName | None


def halves(scope: PlanScope) -> Iterator[Halves]:
    """The halves of every `fdd` carrier."""
    for link, carrier in scope.carriers:
        if link.duplexing != "fdd" or carrier.a.device == carrier.b.device:
            continue
        devices = [scope.devices.get(end.device) for _, end in carrier.ends()]
        a, b = (device.tx_band if device is not None else None for device in devices)
        yield Halves(link, carrier, (a, b), *_judge((a, b), tx_mhz(carrier.a), tx_mhz(carrier.b)))


def _judge(
    bands: tuple[Band | None, Band | None], a: float | None, b: float | None
) -> tuple[Verdict | None, EndName | None, EndName | None]:
    """Verdict, the end it is about, the higher end."""
    if a is not None and b is not None and radio.same_mhz(a, b):
        return "same", None, None
    if bands[0] is not None and bands[0] == bands[1]:
        return "equal", None, None
    by_band: EndName | None = None
    if "high" in bands or "low" in bands:
        by_band = "a" if bands[0] == "high" or bands[1] == "low" else "b"
    if a is None or b is None:
        return None, None, by_band
    by_frequency: EndName = "a" if a > b else "b"
    if by_band is None or by_band == by_frequency:
        return None, None, by_frequency
    if None not in bands:
        return "crossed", None, None
    return "against", "a" if bands[1] is None else "b", None


def _frequencies(carrier: Carrier) -> str:
    a, b = carrier.a.tx_mhz, carrier.b.tx_mhz
    assert a is not None
    assert b is not None
    return f"end a transmits at {figure(a)} MHz, end b at {figure(b)} MHz"


def tx_same_at_both_ends(scope: PlanScope) -> Found:
    """Both ends transmit on one frequency."""
    for h in halves(scope):
        if h.verdict == "same":
            message = (
                f"{_frequencies(h.carrier)}: neither hears the other; "
                "write the other half's frequency at one end, or duplexing tdd"
            )
            path = end_path(h.link, h.carrier, "b", "tx_mhz")
            yield RuleProblem(
                Subject("link", h.link.name, carrier=h.carrier.carrier), path, message
            )


def band_halves_equal(scope: PlanScope) -> Found:
    """Both ends are devices of the same half of the band."""
    for h in halves(scope):
        if h.verdict == "equal":
            message = (
                f"{h.carrier.a.device} and {h.carrier.b.device} both have tx_band {h.bands[0]}: "
                "one end transmits high, the other low"
            )
            path = device_path(h.carrier.b.device, "tx_band")
            yield RuleProblem(
                Subject("link", h.link.name, carrier=h.carrier.carrier), path, message
            )


def band_halves_crossed(scope: PlanScope) -> Found:
    """The device of the high half has the lower frequency, and the other way round."""
    for h in halves(scope):
        if h.verdict == "crossed":
            message = (
                f"{_frequencies(h.carrier)}, but tx_band is {h.bands[0]} at end a and "
                f"{h.bands[1]} at end b: exchange the frequencies, or the devices"
            )
            path = end_path(h.link, h.carrier, "a", "tx_mhz")
            yield RuleProblem(
                Subject("link", h.link.name, carrier=h.carrier.carrier), path, message
            )


def frequency_against_band(scope: PlanScope) -> Found:
    """An end's frequency is in the other half than its device's `tx_band`."""
    for h in halves(scope):
        if h.verdict == "against" and h.end is not None:
            band = h.bands[0] or h.bands[1]
            path = end_path(h.link, h.carrier, h.end, "tx_mhz")
            message = f"{_frequencies(h.carrier)}, but the device at end {h.end} has tx_band {band}"
            yield RuleProblem(
                end_of(h.link, h.carrier, h.end), path, f"{message}: mend one of them"
            )


def _variants(scope: PlanScope, name: str) -> list[Variant]:
    """What a device can be: its part number's variant, else those of its half of the band."""
    profile, device = scope.profile(name), scope.devices.get(name)
    if profile is None or device is None:
        return []
    part = (device.part_number or "").casefold()
    exact = [v for v in profile.variant if v.part.casefold() == part]
    if exact or device.part_number is not None:
        return exact
    return [v for v in profile.variant if device.tx_band in {None, v.tx_band} or v.tx_band is None]


def frequency_outside_variant(scope: PlanScope) -> Found:
    """The device's part number cannot transmit on the planned frequency."""
    for h in halves(scope):
        for name, end in h.carrier.ends() if h.verdict is None else ():
            variants, mhz = _variants(scope, end.device), tx_mhz(end)
            if mhz is None or not variants:
                continue
            if not any(v.tx_min_mhz <= mhz <= v.tx_max_mhz for v in variants):
                can = ", ".join(
                    f"{v.part}: {figure(v.tx_min_mhz)} to {figure(v.tx_max_mhz)} MHz"
                    for v in variants
                )
                message = (
                    f"{end.device} cannot transmit at {figure(mhz)} MHz ({can}): "
                    "another part number, or another frequency"
                )
                path = end_path(h.link, h.carrier, name, "tx_mhz")
                yield RuleProblem(end_of(h.link, h.carrier, name), path, message)


def variant_of_other_band(scope: PlanScope) -> Found:
    """The part number is that of the other half than `tx_band`."""
    told = {
        end.device for h in halves(scope) if h.verdict is not None for _, end in h.carrier.ends()
    }
    for d in scope.plan.devices:
        profile = scope.profiles.get(d.profile)
        if d.part_number is None or d.tx_band is None or profile is None or d.name in told:
            continue
        for v in profile.variant:
            other = v.tx_band is not None and v.tx_band != d.tx_band
            if other and v.part.casefold() == d.part_number.casefold():
                message = (
                    f"part number {d.part_number} is the {v.tx_band} half, tx_band says "
                    f"{d.tx_band}: mend one of them"
                )
                yield RuleProblem(device(d.name), device_path(d.name, "tx_band"), message)


def _off_raster(h: Halves) -> list[tuple[EndName, str]]:
    """The ends whose frequency is no channel of the planned raster, with what to say."""
    a, b = tx_mhz(h.carrier.a), tx_mhz(h.carrier.b)
    bandwidth = probable(h.link, "bandwidth_mhz", LINK_RANGES)
    duplex = h.link.duplex_spacing_mhz
    if duplex is None and a is not None and b is not None:
        duplex = abs(a - b)
    if h.link.raster is None or bandwidth is None or duplex is None or h.verdict == "same":
        return []
    fitting = [r for r in radio.rasters(h.link.raster) if r.fits(bandwidth, duplex)]
    found: list[tuple[EndName, str]] = []
    for name, end in h.carrier.ends():
        if (mhz := tx_mhz(end)) is None or not fitting:
            continue
        nearest = [r.nearest(mhz) for r in fitting]
        n, half, centre = min(nearest, key=lambda channel: abs(channel[2] - mhz))
        if not radio.same_mhz(centre, mhz):
            message = (
                f"{figure(mhz)} MHz is no channel of {h.link.raster} with {figure(bandwidth)} "
                f"MHz: the nearest is {figure(centre)} MHz (n = {n}, {half} half)"
            )
            found.append((name, message))
    return found


def channel_off_raster(scope: PlanScope) -> Found:
    """A frequency that is no channel of the planned raster."""
    for h in halves(scope):
        for name, message in _off_raster(h):
            path = end_path(h.link, h.carrier, name, "tx_mhz")
            yield RuleProblem(end_of(h.link, h.carrier, name), path, message)


def rx_differs_from_far_tx(scope: PlanScope) -> Found:
    """An end is planned to receive another frequency than the far end transmits."""
    for link, carrier in scope.carriers:
        for (name, end), far in zip(carrier.ends(), (carrier.b, carrier.a), strict=True):
            rx, tx = probable(end, "rx_mhz", END_RANGES), tx_mhz(far)
            if rx is not None and tx is not None and not radio.same_mhz(rx, tx):
                message = (
                    f"{end.device} receives at {figure(rx)} MHz, but {far.device} transmits at "
                    f"{figure(tx)} MHz: one of them is wrong"
                )
                path = end_path(link, carrier, name, "rx_mhz")
                yield RuleProblem(end_of(link, carrier, name), path, message)


def duplex_spacing_differs(scope: PlanScope) -> Found:
    """The two frequencies are not the duplex spacing apart."""
    for h in halves(scope):
        planned = probable(h.link, "duplex_spacing_mhz", LINK_RANGES)
        a, b = tx_mhz(h.carrier.a), tx_mhz(h.carrier.b)
        if planned is None or a is None or b is None or h.verdict == "same" or _off_raster(h):
            continue
        if not radio.same_mhz(abs(a - b), planned):
            message = (
                f"{figure(max(a, b))} - {figure(min(a, b))} = {figure(abs(a - b))} MHz, but the "
                f"duplex spacing is {figure(planned)} MHz: mend a frequency or the spacing"
            )
            path = end_path(h.link, h.carrier, "b", "tx_mhz")
            yield RuleProblem(
                Subject("link", h.link.name, carrier=h.carrier.carrier), path, message
            )


def radio_on_two_frequencies(scope: PlanScope) -> Found:
    """One radio of a device is in two carriers with different frequencies."""
    first: dict[tuple[str, int], tuple[str, float]] = {}
    for link, carrier in scope.carriers:
        for name, end in carrier.ends():
            mhz = tx_mhz(end)
            if mhz is None or carrier.a.device == carrier.b.device:
                continue
            number = end.radio or carrier.carrier
            where, other = first.setdefault((end.device, number), (link.name, mhz))
            if not radio.same_mhz(mhz, other):
                message = (
                    f"radio {number} of {end.device} transmits at {figure(mhz)} MHz here and at "
                    f"{figure(other)} MHz in {where}: number the radios (`radio`)"
                )
                path = end_path(link, carrier, name, "tx_mhz")
                yield RuleProblem(end_of(link, carrier, name), path, message)


def _together(link: Link) -> dict[tuple[float | None, float | None], list[Carrier]]:
    """Carriers that transmit at the same time, by their frequencies."""
    found = defaultdict(list)
    for carrier in link.carriers if link.protection in {"2+0", "2+0-xpic", "1+1-fd"} else ():
        found[carrier.a.tx_mhz, carrier.b.tx_mhz].append(carrier)
    return found


def carriers_collide(scope: PlanScope) -> Found:
    """Two carriers of a link transmit on one frequency with one polarisation."""
    for link in scope.plan.links:
        for frequencies, carriers in _together(link).items():
            seen: dict[str, int] = {}
            for carrier in carriers if frequencies != (None, None) else ():
                if carrier.polarisation is None:
                    continue
                other = seen.setdefault(carrier.polarisation, carrier.carrier)
                if other != carrier.carrier:
                    message = (
                        f"same frequencies and polarisation {carrier.polarisation} as carrier "
                        f"{other}: they disturb each other; change one of the two"
                    )
                    path = ("links", link.name, str(carrier.carrier), "polarisation")
                    subject = Subject("link", link.name, carrier=carrier.carrier)
                    yield RuleProblem(subject, path, message)


def xpic_on_two_frequencies(scope: PlanScope) -> Found:
    """Carriers of 2+0-xpic, which share one channel, have different frequencies."""
    for link in scope.plan.links:
        if link.protection == "2+0-xpic" and len(_together(link)) > 1:
            message = (
                "2+0-xpic uses one channel with both polarisations, but the carriers' "
                "frequencies differ: mend them, or write 2+0"
            )
            yield RuleProblem(
                Subject("link", link.name), ("links", link.name, "protection"), message
            )
