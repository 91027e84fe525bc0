"""Settings of a radio against the plan, and states that the profile alone judges.

Settings are frequencies, bandwidth, polarisation and link id; states are test modes, a forced
switch and bad seconds.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from verifier.model.result import Figure, Finding, Verdict
from verifier.rules.compare.by_profile import StateRule, expected, judgeable, judged
from verifier.rules.compare.context import Findings
from verifier.rules.compare.radio.carrier_end import CarrierEnd, figure
from verifier.rules.compare.radio.read import LEAST_MHZ, Read, is_mhz, slack_mhz

_SET = "set it as planned, save, and read it again"


def unread(
    near: CarrierEnd, check: str, fields: tuple[str, ...], at: str, expected: Figure
) -> Finding:
    """A planned value that could not be read."""
    return near.finding(
        check, "not-tested", near.missing(*fields), at=at, expected=expected,
        reads=(near.read(*fields),),
    )  # fmt: skip


def tx_frequency(near: CarrierEnd) -> Findings:
    """`radio.tx-frequency`: against the plan, within 1 kHz or what the reading can show."""
    planned = near.end.tx_mhz
    if planned is None:
        return
    seen = near.read("tx_mhz")
    if seen is None or seen.number is None:
        yield unread(near, "radio.tx-frequency", ("tx_mhz",), "tx_mhz", planned)
        return
    right = is_mhz(seen, planned)
    reason = f"the device transmits on the planned frequency{_rounded(seen, planned)}"
    if not right:
        reason = f"the device transmits {_beside(seen.number, planned)} the planned frequency"
        if near.far.tx_mhz is not None and is_mhz(seen, near.far.tx_mhz):
            reason += ": it is the one planned for the far end"
    yield near.finding(
        "radio.tx-frequency", "pass" if right else "fail", reason, at="tx_mhz", expected=planned,
        observed=seen.number, unit="MHz", reads=(seen,),
        advice="" if right else f"it transmits outside its licence: mute it, {_SET}",
        silences=True,
    )  # fmt: skip


def rx_frequency(near: CarrierEnd) -> Findings:
    """`radio.rx-frequency`: against what the far end is planned to transmit on, and does."""
    planned = near.far.tx_mhz
    origin = near.across.origin("tx_mhz")
    seen, sent = near.read("rx_mhz"), near.across.read("tx_mhz")
    further_mhz = 0.0
    if planned is None and near.end.rx_mhz is not None:
        planned, origin = near.end.rx_mhz, near.origin("rx_mhz")
    if planned is None:
        planned, origin = _by_spacing(near), near.origin("duplex_spacing_mhz")
        further_mhz = slack_mhz(near.read("tx_mhz"))
        if planned is None:
            return
    if seen is None or seen.number is None:
        yield near.finding("radio.rx-frequency", "not-tested", near.missing("rx_mhz"),
                           origin=origin, expected=planned, reads=(seen,))  # fmt: skip
        return
    right = is_mhz(seen, planned, further_mhz)
    reason = f"the device receives on the far end's planned frequency{_rounded(seen, planned)}"
    if not right:
        reason = f"the device listens {_beside(seen.number, planned)} the planned frequency"
    now = None if sent is None else sent.number
    if now is not None and not is_mhz(seen, now, slack_mhz(sent)):
        reason += f"; the far end now transmits on {figure(now)} MHz"
    yield near.finding(
        "radio.rx-frequency", "pass" if right else "fail", reason, origin=origin, expected=planned,
        observed=seen.number, unit="MHz", reads=(seen, near.across.read("tx_mhz")),
        advice="" if right else _SET, silences=True,
    )  # fmt: skip


def _rounded(seen: Read, planned: float) -> str:
    """That the reading is the planned figure with fewer digits; empty where it is the figure."""
    off = abs((seen.number or 0.0) - planned)
    return ", as closely as it shows it" if off > LEAST_MHZ * (1 + 1e-6) else ""


def _beside(mhz: float, planned: float) -> str:
    return f"{figure(abs(mhz - planned))} MHz {'above' if mhz > planned else 'below'}"


def _by_spacing(near: CarrierEnd) -> float | None:
    """The duplex spacing away from what the device transmits on, on the side where it listens."""
    spacing = near.link.duplex_spacing_mhz
    sends, hears = near.number("tx_mhz"), near.number("rx_mhz")
    if spacing is None or sends is None or hears is None or near.link.duplexing != "fdd":
        return None
    return sends + spacing if hears > sends else sends - spacing


def bandwidth(near: CarrierEnd) -> Findings:
    """`radio.bandwidth`: exact, as closely as it is shown."""
    planned = near.link.bandwidth_mhz
    if planned is None:
        return
    seen = near.read("bandwidth_mhz")
    if seen is None or seen.number is None:
        yield unread(near, "radio.bandwidth", ("bandwidth_mhz",), "bandwidth_mhz", planned)
        return
    right = is_mhz(seen, planned)
    reason = "the device has the planned bandwidth" if right else "the device has another bandwidth"
    if not right and seen.number > planned:
        reason += ", wider than planned: it transmits beside its channel"
    yield near.finding(
        "radio.bandwidth", "pass" if right else "fail", reason, at="bandwidth_mhz",
        expected=planned, observed=seen.number, unit="MHz", reads=(seen,),
        advice="" if right else _SET, silences=True,
    )  # fmt: skip


_POLARISATIONS = {"v": "V", "vertical": "V", "h": "H", "horizontal": "H"}


def polarisation(near: CarrierEnd) -> Findings:
    """`radio.polarisation`: V or H of the carrier."""
    yield from _text(
        near, "radio.polarisation", "polarisation", near.carrier.polarisation, "polarisation",
        lambda text: _POLARISATIONS.get(text.casefold()),
    )  # fmt: skip


def link_id(near: CarrierEnd) -> Findings:
    """`radio.link-id`: exact."""
    yield from _text(near, "radio.link-id", "link_id", near.end.link_id, "link_id", lambda t: t)


def _text(  # noqa: PLR0913, PLR0917
    near: CarrierEnd,
    check: str,
    field: str,
    planned: str | None,
    at: str,
    plain: Callable[[str], str | None],
) -> Findings:
    if planned is None:
        return
    seen = near.read(field)
    word = seen.word if seen is not None else None
    found = plain(word) if word is not None else None
    if found is None:
        yield unread(near, check, (field,), at, planned)
        return
    right = found == planned
    name = field.replace("_", " ")
    verdict: Verdict = "pass" if right else "fail"
    reason = f"the device has {'the planned' if right else 'another'} {name}"
    yield near.finding(
        check, verdict, reason if found else f"the device has no {name}", at=at, expected=planned,
        observed=found, advice="" if right else _SET, silences=True, reads=(seen,),
    )  # fmt: skip


_OF_RADIO: Mapping[str, StateRule] = {
    "test_mode": StateRule("radio.test-mode", "no test mode is on", "left in a test mode",
                       "switch the test mode off, save, and read it again"),
    "switch_forced": StateRule("radio.switch-forced", "the protection switch is free",
                           "the protection switch was left forced or locked out",
                           "clear the command at both ends, save, and read it again: it cannot "
                           "switch over when it must"),
    "errored_s": StateRule("radio.errored-seconds", "as the profile calls good",
                       "not as the profile calls good", "", "fail"),
    "severely_errored_s": StateRule("radio.severely-errored-seconds", "as the profile calls good",
                                "not as the profile calls good", "", "fail"),
    "unavailable_s": StateRule("radio.unavailable-seconds", "as the profile calls good",
                           "not as the profile calls good", "", "fail"),
}  # fmt: skip
"""By field. Of these a reading is judged where its `good` says how, or by true and false."""
_PROTECTED = frozenset({"1+1-hsb", "1+1-sd", "1+1-fd"})
"""Only here is there a switch."""


def of_radio(near: CarrierEnd) -> Findings:
    """`radio.test-mode` and what else of a radio has `good` values."""
    for field, state in _OF_RADIO.items():
        found = near.read(field)
        if found is None or not judgeable(found.reading):
            continue
        if field == "switch_forced" and near.link.protection not in _PROTECTED:
            continue
        if found.value is None or not found.seen:
            yield near.finding(state.check, "not-tested", near.missing(field),
                               expected=expected(found.reading), reads=(found,))  # fmt: skip
            continue
        verdict, reason, advice = judged(state, found.reading, found.seen[-1], near.stage)
        yield near.finding(state.check, verdict, reason, expected=expected(found.reading),
                           observed=found.value, advice=advice, reads=(found,))  # fmt: skip
