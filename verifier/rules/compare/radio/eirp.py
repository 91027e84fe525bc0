"""EIRP against the licence: by the set power, by the actual one, and in the strongest mode."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from verifier.model.profile import Mode
from verifier.model.result import VERDICTS, Verdict
from verifier.rules import radio
from verifier.rules.compare.context import Findings
from verifier.rules.compare.radio.carrier_end import EXACT_DB, POWER_DB, CarrierEnd, figure
from verifier.rules.compare.radio.read import Read

ACTUAL_DB = 2.0
"""What a device may be wrong about its own power (contract: comparing; common practice)."""
_POWERS = ("tx_power_dbm", "tx_power_set_dbm")
_OFF = "; the transmitter is off, it would radiate so much"


@dataclass(frozen=True, slots=True)
class _Judged:
    """One of the powers that are judged; `eirp_dbm` is None where it is not known."""

    verdict: Verdict
    eirp_dbm: float | None
    reason: str
    read: Read | None
    advice: str = ""


def eirp(near: CarrierEnd) -> Findings:
    """`radio.eirp`: power + gain - losses against the licence, at every stage.

    By the set power up to 0.5 dB over the licence warns, by the actual one up to 2 dB. With ATPC
    on it is the highest power that ATPC may reach, with adaptive modulation that of the strongest
    mode. The worst of these is told.
    """
    limit = near.end.max_eirp_dbm
    if limit is None:
        yield from _no_licence(near)
        return
    if radio.eirp_dbm(near.end, 0.0) is None:
        yield near.finding("radio.eirp", "not-tested", "the antenna's gain is not planned",
                           at="max_eirp_dbm", expected=limit, unit="dBm",
                           reads=(near.read(*_POWERS),))  # fmt: skip
        return
    judged = list(_judged(near, limit))
    worst = min(judged, key=lambda j: (VERDICTS.index(j.verdict), -(j.eirp_dbm or 0.0)))
    off = _OFF if near.transmits is False and worst.eirp_dbm is not None else ""
    yield near.finding(
        "radio.eirp", worst.verdict, worst.reason + off, at="max_eirp_dbm", expected=limit,
        observed=worst.eirp_dbm, unit="dBm", advice=worst.advice,
        reads=[j.read for j in judged],
    )  # fmt: skip


def _no_licence(near: CarrierEnd) -> Findings:
    """No limit in the plan: told while aligning, where the power is raised."""
    power = near.end.tx_power_dbm is not None or near.read(*_POWERS) is not None
    if near.stage == "alignment" and power:
        yield near.finding(
            "radio.eirp", "not-tested", "the plan has no max_eirp_dbm", at="max_eirp_dbm",
            unit="dBm",
            advice="look in the licence before you raise the power, and write it in the plan",
        )  # fmt: skip


def _judged(near: CarrierEnd, limit: float) -> Iterator[_Judged]:
    """Every power that is known or may come, judged."""
    actual, told = _actual(near), near.read("tx_power_set_dbm")
    found = False
    if actual is not None and actual.number is not None:
        found = True
        yield _by(near, limit, actual, actual.number, "", ACTUAL_DB)
    highest = _highest(near, limit, None if told is None else told.number)
    if highest is not None:
        found = True
        yield _by(near, limit, told, *highest, POWER_DB)
    elif near.atpc_on:
        found = True
        yield _Judged("not-tested", None, "ATPC is on, and the highest power that it may reach is "
                      "not known: no tx_power_set_dbm is read, no atpc_max_dbm planned", told,
                      "write atpc_max_dbm in the plan")  # fmt: skip
    if not found:
        yield _Judged("not-tested", None, _no_power(near), near.read(*_POWERS))
    elif gap := _in_other_modes(near, limit, told):
        yield gap


def _actual(near: CarrierEnd) -> Read | None:
    """The reading of the actual power, where it tells what is or would be radiated."""
    seen = near.read("tx_power_dbm")
    if near.transmits is not False or seen is None or seen.number is None:
        return seen
    planned = near.end.tx_power_dbm
    close = planned is not None and abs(seen.number - planned) <= POWER_DB + EXACT_DB
    over = (radio.eirp_dbm(near.end, seen.number) or 0.0) > (near.end.max_eirp_dbm or 0.0)
    return seen if close or over else None


def _no_power(near: CarrierEnd) -> str:
    """Why no power is known."""
    seen = near.read("tx_power_dbm")
    if seen is not None and seen.number is not None:
        return "the transmitter is off, and the device does not tell what it is set to"
    return near.missing(*_POWERS)


def _highest(near: CarrierEnd, limit: float, set_dbm: float | None) -> tuple[float, str] | None:
    """The highest power that the settings allow, in dBm, with what says so; None: not known.

    Without ATPC the set power. With ATPC the lowest of it, of the planned most, and of what the
    modes give; of the modes alone only where that is within the licence, since the settings may be
    lower.
    """
    limits = [] if set_dbm is None else [(set_dbm, "set to ")]
    if not near.atpc_on:
        return min(limits, default=None)
    if near.end.atpc_max_dbm is not None:
        limits.append((near.end.atpc_max_dbm, "ATPC may reach "))
    strongest = _strongest(near)
    if isinstance(strongest, Mode) and (most := strongest.max_tx_power_dbm) is not None:
        within = (radio.eirp_dbm(near.end, most) or 0.0) <= limit + EXACT_DB
        if limits or within:
            limits.append((most, f"{strongest.modulation} gives at most "))
    return min(limits, default=None)


def _strongest(near: CarrierEnd) -> Mode | str | None:
    """The mode of the highest power that the link may come to be in.

    None where the power does not follow the mode as far as the profile tells; words where it may,
    and the modes are not known.
    """
    if near.context is None:
        return None
    profile, width = near.context.profile, near.bandwidth_mhz
    if not any(m.max_tx_power_dbm is not None for m in profile.mode):
        return None
    if radio.is_adaptive(near.link):
        found = radio.modes_between(profile, near.link, width)
    else:
        seen = near.read("tx_modulation")
        word = seen.word if seen is not None else None
        mode = radio.mode_for(profile, word or near.link.modulation_max, width)
        found = [] if isinstance(mode, str) else [mode]
    powers = [(m.max_tx_power_dbm, -m.bits, m) for m in found if m.max_tx_power_dbm is not None]
    if found and len(powers) == len(found):
        return max(powers, key=lambda p: p[:2])[2]
    return f"profile {profile.id!r} does not tell the highest power of each mode in use"


def _by(  # noqa: PLR0913, PLR0917
    near: CarrierEnd, limit: float, read: Read | None, power: float, what: str, slack_db: float
) -> _Judged:
    """One power against the licence."""
    found = radio.eirp_dbm(near.end, power) or 0.0
    over, reason = found - limit, what + radio.eirp_sum(near.end, power)
    if over <= EXACT_DB:
        return _Judged("pass", found, reason, read)
    verdict: Verdict = "fail" if over > slack_db + 1e-6 else "warn"
    reason += f", {over:.1f} dB above the licence"
    if verdict == "warn":
        reason += ", within what the device tells its power to"
    return _Judged(verdict, found, reason, read, f"lower the power by {over:.1f} dB at once")


def _in_other_modes(near: CarrierEnd, limit: float, told: Read | None) -> _Judged | None:
    """What a stronger mode would radiate than the one in use; None: no more than was judged."""
    capped = near.atpc_on and near.end.atpc_max_dbm is not None
    strongest = _strongest(near)
    if capped or strongest is None or not radio.is_adaptive(near.link):
        return None
    if isinstance(strongest, str):
        return _Judged("not-tested", None, f"the modulation is adaptive: {strongest}", told)
    most = strongest.max_tx_power_dbm or 0.0
    eirp_dbm = radio.eirp_dbm(near.end, most) or 0.0
    caps = None if near.context is None else near.context.profile.set_power_caps_modes
    set_caps = caps and told is not None and told.number is not None
    if eirp_dbm <= limit + EXACT_DB or set_caps or _is_shown(near, strongest, told):
        return None
    words = f"in {strongest.modulation} {radio.eirp_sum(near.end, most)}"
    if caps is False:
        return _by(near, limit, told, most, f"power follows the mode: in {strongest.modulation} ",
                   POWER_DB)  # fmt: skip
    known = "its set power is not read"
    if told is not None and told.number is not None:
        known = f"whether the set power of {figure(told.number)} dBm caps all modes is not told"
    return _Judged(
        "not-tested", None,
        f"{words}, {eirp_dbm - limit:.1f} dB above the licence, and {known}", told,
        "set the device to its lowest modulation and read the power again, or say in the profile "
        "whether the set power caps all modes (set_power_caps_modes)",
    )  # fmt: skip


def _is_shown(near: CarrierEnd, strongest: Mode, told: Read | None) -> bool:
    """Whether the readings themselves show what the strongest mode gets.

    It is in use now; or the set power is above what the mode in use gives, so it is the cap.
    """
    seen = near.read("tx_modulation")
    if near.context is None or seen is None or seen.word is None:
        return False
    now = radio.mode_for(near.context.profile, seen.word, near.bandwidth_mhz)
    if isinstance(now, str) or now.max_tx_power_dbm is None:
        return False
    set_dbm = None if told is None else told.number
    if now.max_tx_power_dbm >= (strongest.max_tx_power_dbm or 0.0) - EXACT_DB:
        return set_dbm is not None or not near.atpc_on
    return set_dbm is not None and set_dbm > now.max_tx_power_dbm + POWER_DB + EXACT_DB
