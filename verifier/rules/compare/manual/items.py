"""What a person entered, judged against the plan or by common practice; entered, not measured.

An item is judged where it was entered. Where a sheet was given (`--observed`) and the work has come
to the handover, an item that the plan has a value of, or the sheet a row for, and that nobody
entered is not tested. That an item does not apply is an answer, unless the plan says otherwise.
`manual.alignment-voltage` is judged with the levels (`radio/manual.py`); only its absence is told
here. `entered.marked` makes every finding that rests on an entry say so.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from verifier.model.kind import Scalar
from verifier.model.manual import ITEMS, Entered, Item
from verifier.model.observations import ENTRIES, FilledSheet, Observation
from verifier.model.plan import Carrier, Device, End, EndName, Link, Plan
from verifier.model.problem import Subject
from verifier.model.result import Figure, Finding, Verdict
from verifier.rules import radio
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.radio.read import number_of
from verifier.rules.compare.radio.weather import WORDS, weather_of
from verifier.rules.observations import sheet_of
from verifier.rules.radio.path import beamwidth_deg

_ENTER = "fill in the sheet that `cards --blank` writes, and give it with --observed"
_ELSEWHERE = "manual.alignment-voltage"
_LEAST_DEG = {"manual.azimuth": 2.0, "manual.tilt": 1.0}
"""A compass or an inclinometer on a mast reads no better (common practice)."""
_TAPE_M, _WRONG_M = 0.5, 2.0
"""How far a height may be off; beyond the second it is another bracket (common practice)."""
_SUPPLY_V = (40.5, 57.0)
"""Normal range of a -48 V supply at the equipment (ETSI EN 300 132-2)."""

Ends = Sequence["DeviceEnd"]
Judged = tuple[Verdict, str, str]
"""Verdict, reason, advice."""


@dataclass(frozen=True, slots=True)
class DeviceEnd:
    """The end of a carrier that a device is."""

    link: Link
    carrier: Carrier
    name: EndName
    end: End

    @property
    def subject(self) -> Subject:
        """The end."""
        return Subject("link", self.link.name, carrier=self.carrier.carrier, end=self.name)


def findings(contexts: Sequence[Context], observations: Sequence[Observation[object]]) -> Findings:
    """Every `manual.*` finding of these devices but that of the alignment voltage as entered."""
    sheet = sheet_of(observations)
    blank = _blank(sheet)
    places = places_of(contexts[0].plan) if contexts else {}
    for context in contexts:
        asked = sheet is not None and context.stage == "handover"
        ends = places.get(context.device.name, ())
        for item in ITEMS:
            seen = context.seen.all(ENTRIES[item.check])
            if seen or asked:
                of_item = _of_device if item.end is None else _of_ends
                made = list(
                    of_item(context, item, ends, sorted(seen, key=lambda o: o.at), asked=asked)
                )
                yield from made
                row = (context.device.name, item.check)
                if asked and not (seen or made) and row in blank and not _by_plan(item):
                    yield _missing(context, item, None)


def _blank(sheet: Observation[FilledSheet] | None) -> frozenset[tuple[str, str]]:
    """Device and check of the rows that nobody filled in."""
    return frozenset(sheet.value.blank if sheet is not None and sheet.value is not None else ())


def _by_plan(item: Item) -> bool:
    """Whether it is judged against the plan only: an empty cell makes no finding."""
    return item.end is not None or item.check in _BY_PLAN


def places_of(plan: Plan) -> Mapping[str, Sequence[DeviceEnd]]:
    """The ends of carriers that each device is, in plan order, by its name."""
    found: dict[str, list[DeviceEnd]] = defaultdict(list)
    for link in plan.links:
        for carrier in link.carriers:
            for name, end in carrier.ends():
                found[end.device].append(DeviceEnd(link, carrier, name, end))
    return found


def planned_values(plan: Plan, devices: Iterable[Device]) -> Iterator[tuple[Device, Item]]:
    """The values of the plan that only a person can see: device and item, once for each end."""
    places = places_of(plan)
    for device in devices:
        ends = places.get(device.name, ())
        for item in ITEMS:
            if item.end is not None:
                values = (getattr(p.end, item.end) for p in ends)
                yield from ((device, item) for value in values if value is not None)
            elif _planned(device, ends, item) is not None:
                yield device, item


def _planned(device: Device, ends: Ends, item: Item) -> str | None:
    """What the plan says of a device itself; of most items nothing, and practice decides."""
    if item.check == "manual.label":
        return device.label
    return _polarisations(ends) if item.check == "manual.polarisation" else None


def _polarisations(ends: Ends) -> str | None:
    """What the carriers of a device are planned with: V, H, or V+H."""
    planned = {p.carrier.polarisation for p in ends} - {None}
    return "+".join(p for p in ("V", "H") if p in planned) or None


def _of_ends(
    context: Context, item: Item, ends: Ends, seen: Sequence[Observation[Entered]], *, asked: bool
) -> Findings:
    """At each end that the device is. Where ends are planned to differ, the nearest is meant."""
    planned = [(p, v) for p in ends if (v := getattr(p.end, item.end or "")) is not None]
    values = {v for _, v in planned}
    for place, value in planned:
        meant = [o for o in seen if _nearest(values, figure_of(o)) in {None, value}]
        if meant and (why := inapplicable(meant[-1])) is not None:
            judged = _not_so(value, why)
            yield _at(context, _finding(context, item, judged, value, meant[-1]), place, item)
        elif meant and item.check != _ELSEWHERE:
            yield _at_end(context, item, value, place, meant[-1])
        elif asked and not meant:
            yield _at(context, _missing(context, item, value), place, item)


def _nearest(planned: Iterable[float], entered: object) -> float | None:
    """Which planned value is meant; None where what was entered is no number."""
    number = number_of(entered)
    return None if number is None else min(planned, key=lambda v: abs(v - number))


def _of_device(
    context: Context, item: Item, ends: Ends, seen: Sequence[Observation[Entered]], *, asked: bool
) -> Findings:
    """Of the device itself: against the plan where it says anything of it, else by practice."""
    planned = _planned(context.device, ends, item)
    if planned is None and _by_plan(item):
        return
    if seen and (why := inapplicable(seen[-1])) is not None:
        yield _finding(context, item, _not_so(planned, why), planned, seen[-1])
    elif seen:
        value = figure_of(seen[-1])
        judge = _flag if item.kind == "flag" else _JUDGES[item.check]
        yield _finding(context, item, judge(context, item, planned, value), planned, seen[-1])
    elif asked and planned is not None:
        yield _missing(context, item, planned)


def _not_so(planned: Figure, why: str) -> Judged:
    """That an item does not apply: an answer; where the plan has a value, one of the two errs."""
    if planned is None:
        return "pass", f"does not apply: {why}", ""
    return "warn", f"planned, but entered as not applicable: {why}", "correct the plan or the sheet"


def _missing(context: Context, item: Item, planned: Figure) -> Finding:
    reason = "only a person can see it, and nobody entered it"
    return context.finding(
        item.check, "not-tested", reason, expected=planned, unit=item.unit, advice=_ENTER,
        path=("label",) if item.check == "manual.label" else (),
    )  # fmt: skip


def _at(context: Context, finding: Finding, place: DeviceEnd, item: Item) -> Finding:
    path = ("links", place.link.name, str(place.carrier.carrier), place.name, item.end or "")
    return replace(finding, subject=place.subject, origin=context.plan.origin(*path))


# -- at the end of a link ----------------------------------------------------------------------


def _at_end(
    context: Context, item: Item, planned: float, place: DeviceEnd, seen: Observation[Entered]
) -> Finding:
    value = number_of(figure_of(seen))
    if value is None:
        judged: Judged = ("not-tested", f"{figure_of(seen)!r} is no number", "")
    elif item.unit == "m":
        judged = _height(value, planned)
    else:
        judged = _angle(item, value, planned, place)
    made = _finding(context, item, judged, planned, seen)
    return _at(context, made, place, item)


def _height(value: float, planned: float) -> Judged:
    off = abs(value - planned)
    if off <= _TAPE_M:
        return "pass", f"within {_TAPE_M:g} m of the plan", ""
    reason = f"{off:.1f} m {'above' if value > planned else 'below'} the plan"
    advice = "is it the planned antenna and bracket? Clearance of the path rests on its height"
    return "warn" if off <= _WRONG_M else "fail", reason, advice


def _angle(item: Item, value: float, planned: float, place: DeviceEnd) -> Judged:
    """Off by less than half a beam, or than what is read on a mast, is right; by twice that odd."""
    beam = beamwidth_deg(place.end.antenna_diameter_m, place.end.tx_mhz)
    allowed = max(_LEAST_DEG[item.check], (beam or 0.0) / 2)
    azimuth = item.check == "manual.azimuth"
    off = radio.turn_deg(value, planned) if azimuth else abs(value - planned)
    if off <= allowed + 1e-9:
        return "pass", f"{off:.1f} deg off; {allowed:.1f} deg are allowed", ""
    reason = f"{off:.1f} deg off the plan; {allowed:.1f} deg are allowed"
    if azimuth and abs(off - 180) <= allowed:
        return "fail", f"{reason}: it points away from the far end", _POINT
    if not azimuth and abs(value + planned) <= allowed:
        reason += ": the sign looks turned, up is positive"
    advice = _COMPASS if azimuth else "measure again at the antenna's rim; up is positive"
    return "warn" if off <= 2 * allowed else "fail", reason, advice


_POINT = "is it the back azimuth, that of the far end? Else turn the antenna round"
_COMPASS = (
    "was it a compass? The plan's azimuth is true: add the declination; else point again and sweep "
    "through the peak and both nulls"
)

# -- of the device ---------------------------------------------------------------------------------


def _flag(context: Context, item: Item, planned: Figure, value: Scalar | None) -> Judged:
    del context, planned
    if value:
        return "pass", "a person saw to it", ""
    return "fail", f"not so: {item.ask}", "see to it, then enter it again"


def _label(context: Context, item: Item, planned: Figure, value: Scalar | None) -> Judged:
    del item
    wanted, found = " ".join(str(planned).split()), " ".join(str(value).split())
    if found == wanted:
        return "pass", "the sticker says what is planned", ""
    if found.casefold() == wanted.casefold():
        return "warn", "the sticker differs from the plan by case only", ""
    others = [d.name for d in context.plan.devices if d.label == found and d is not context.device]
    if others:
        reason = f"that is the label of {others[0]}"
        return "fail", reason, "are two devices at each other's place, or only their stickers?"
    return "fail", "the sticker says something else", "reprint the label (`cards --labels`)"


def _polarisation(context: Context, item: Item, planned: Figure, value: Scalar | None) -> Judged:
    del context, item
    if value == planned:
        return "pass", "mounted as planned", ""
    advice = "turn the feed or the device as its handbook shows; both ends must be alike"
    return "fail", "mounted otherwise than planned: some 25 to 35 dB are lost", advice


def _supply(context: Context, item: Item, planned: Figure, value: Scalar | None) -> Judged:
    del context, item, planned
    volts, (low, high) = number_of(value), _SUPPLY_V
    if volts is None:
        return "not-tested", f"{value!r} is no number", ""
    if -high <= volts <= -low:
        return "pass", f"inside the range of a -48 V supply, -{high:g} to -{low:g} V", ""
    if low <= volts <= high:
        reason = "positive: leads of the meter exchanged, a supply with injector, or poles swapped"
        return "warn", reason, "-48 V has its positive pole earthed: measure again, then connect"
    reason = f"not in the range of a -48 V supply, -{high:g} to -{low:g} V"
    return "warn", reason, "compare with what the device's handbook allows"


def _weather(context: Context, item: Item, planned: Figure, value: Scalar | None) -> Judged:
    del context, item, planned
    weather, again = weather_of(value), "read the levels again in dry weather"
    if not weather.kinds:
        reason = f"none of {', '.join(WORDS)}: it excuses no low level"
        return "warn", reason, "write one of these words; with rain also how many mm/h"
    if not weather.takes:
        return "pass", f"{weather.kinds[0]} along the path", ""
    if "rain" in weather.kinds and weather.mm_per_h is None:
        return "warn", "rain, but how hard is not stated: levels prove little", (
            f"write how many mm/h fall, and {again}"
        )  # fmt: skip
    return "warn", "rain, wet snow and ice attenuate: levels prove little", again


_JUDGES: Mapping[str, Callable[[Context, Item, Figure, Scalar | None], Judged]] = {
    "manual.label": _label,
    "manual.polarisation": _polarisation,
    "manual.supply-voltage": _supply,
    "manual.weather": _weather,
}
_BY_PLAN = frozenset({"manual.label", "manual.polarisation"})
"""Judged against the plan only: an empty cell makes no finding."""

# -- how it is told ------------------------------------------------------------------------------


def _finding(
    context: Context, item: Item, judged: Judged, planned: Figure, seen: Observation[Entered]
) -> Finding:
    verdict, reason, advice = judged
    return context.finding(
        item.check,
        verdict,
        reason,
        expected=planned,
        observed=_shown(seen),
        unit=item.unit,
        advice=advice,
        evidence=(seen,),
        path=("label",) if item.check == "manual.label" else (),
    )


def figure_of(seen: Observation[Entered]) -> Scalar | None:
    """What was entered; None where the item does not apply."""
    return seen.value.value if seen.value is not None else None


def inapplicable(seen: Observation[Entered]) -> str | None:
    """Why a person entered that the item does not apply; None where a value was entered."""
    return seen.value.inapplicable if seen.value is not None else None


def _shown(seen: Observation[Entered]) -> Scalar | None:
    value = figure_of(seen)
    words = value is None or isinstance(value, bool)
    return seen.value.words(seen.unit) if words and seen.value is not None else value
