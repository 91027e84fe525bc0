"""How what a receiver shows may stand to its level, and to what the far end sends."""

from __future__ import annotations

import itertools

from verifier.model.profile import Mode
from verifier.model.result import Finding
from verifier.rules import radio
from verifier.rules.diagnose.case import WRONG, FindingIndex, number
from verifier.rules.diagnose.places import both_ends, other_end, own_end
from verifier.rules.diagnose.relations import Found, lacking

READ_DB = 1.0
"""Devices show levels and powers to about 1 dB. Common practice, no source."""


def adapted(case: FindingIndex, finding: Finding) -> bool:
    """Lower, as is right for a link that follows its level."""
    return finding.verdict == "warn" and not _fixed(case, finding)


def _fixed(case: FindingIndex, finding: Finding) -> bool:
    """Whether the modulation of the link is planned, and planned not to follow the level."""
    links = [hop.link for hop, _ in own_end(case, finding)]
    return any(x.modulation_max is not None and not radio.is_adaptive(x) for x in links)


def level_at(case: FindingIndex, finding: Finding, *, across: bool = False) -> Finding | None:
    """The level at the end of a finding, or at the other end."""
    for hop, end in own_end(case, finding):
        return hop.get("radio.rx-level", other_end(end) if across else end)
    return None


def deaf(case: FindingIndex, finding: Finding) -> bool:
    """Wrong or not tested at an end that receives nothing, or whose level nobody judged."""
    level = level_at(case, finding)
    return finding.verdict != "pass" and (level is None or _nothing(level))


def deaf_hop(case: FindingIndex, finding: Finding) -> bool:
    """Not tested of a carrier where an end receives nothing."""
    ends = (hop.get("radio.rx-level", end) for hop, end in both_ends(case, finding))
    return finding.verdict == "not-tested" and any(f is not None and _nothing(f) for f in ends)


def _nothing(level: Finding) -> bool:
    return level.verdict in WRONG and level.observed is None


def unheard(case: FindingIndex, finding: Finding) -> bool:
    """A receiver without lock although its level is right, or too high."""
    level = level_at(case, finding)
    return finding.verdict in WRONG and level is not None and not lacking(case, level)


def unlike(case: FindingIndex, finding: Finding) -> bool:
    """A receiver without lock on a link whose modulation is fixed, its level not low."""
    level = level_at(case, finding)
    right = level is None or not lacking(case, level)
    return finding.verdict in WRONG and right and _fixed(case, finding)


def drowned(case: FindingIndex, finding: Finding) -> bool:
    """A receiver without lock whose level is under what its most robust mode needs, or none."""
    level = level_at(case, finding)
    if finding.verdict not in WRONG or level is None or not lacking(case, level):
        return False
    seen = number(level.observed)
    needs = [m.threshold_dbm for m in _modes(case, finding) if m.threshold_dbm is not None]
    return seen is None or (bool(needs) and seen < min(needs))


def faded(case: FindingIndex, finding: Finding) -> bool:
    """An SNR that is low by no more than the level is."""
    level = level_at(case, finding)
    if finding.verdict not in WRONG or level is None or not lacking(case, level):
        return False
    short, less = short_db(finding), short_db(level)
    return less is None or short is None or short <= less + READ_DB


def short_db(finding: Finding | None) -> float | None:
    """How far a figure is under the planned one; None where either is no number."""
    if finding is None:
        return None
    planned, seen = number(finding.expected), number(finding.observed)
    return None if planned is None or seen is None else planned - seen


def carried(*, across: bool) -> Found:
    """Lower as a link follows its level: the level at this or the other end carries no more."""

    def found(case: FindingIndex, finding: Finding) -> bool:
        level = level_at(case, finding, across=across)
        if not adapted(case, finding) or level is None or not lacking(case, level):
            return False
        seen, more = number(level.observed), _needed_for_more(case, finding)
        return seen is None or more is None or seen < more + _HEADROOM_DB

    return found


def _needed_for_more(case: FindingIndex, finding: Finding) -> float | None:
    """What the next higher mode needs, in dBm; of the highest where the one in use is not known."""
    modes = [m for m in _modes(case, finding) if m.threshold_dbm is not None]
    word = radio.plain_modulation(str(finding.observed))
    higher = [
        after
        for mode, after in itertools.pairwise(modes)
        if radio.plain_modulation(mode.modulation) == word
        or mode.capacity_mbps == number(finding.observed)
    ]
    return next((m.threshold_dbm for m in (*higher, *reversed(modes))), None)


def left_lowest(*, across: bool) -> Found:
    """Along with a modulation at this or the other end that is not one that follows the level."""

    def found(case: FindingIndex, finding: Finding) -> bool:
        return finding.verdict != "pass" and any(
            hop.get("radio.modulation", other_end(end) if across else end, "fail")
            for hop, end in own_end(case, finding)
        )

    return found


_HEADROOM_DB = 3.0
"""Margin above its threshold at which a mode is safe, as in the comparison with the plan."""


def _modes(case: FindingIndex, finding: Finding) -> list[Mode]:
    """The modes of the planned bandwidth, up to the highest planned."""
    for hop, end in own_end(case, finding):
        device = case.devices.get(hop.device(end))
        profile = case.profiles.get(device.profile) if device is not None else None
        modes = radio.modes_at(profile, hop.link.bandwidth_mhz) if profile is not None else []
        most = radio.bits_per_symbol(hop.link.modulation_max or "")
        return [m for m in modes if most is None or m.bits <= most]
    return []


def by_power(*, across: bool) -> Found:
    """Along with a level that is low by as much as its far transmitter says that it sends less.

    The level at the end of the finding, or at the other end.
    """

    def found(case: FindingIndex, finding: Finding) -> bool:
        for hop, end in own_end(case, finding):
            near = other_end(end) if across else end
            level = hop.get("radio.rx-level", near, *WRONG)
            short, less = (
                short_db(level),
                short_db(hop.get("radio.tx-power", other_end(near), *WRONG)),
            )
            if short is not None and less is not None and less > 0 and abs(short - less) <= READ_DB:
                return True
        return False

    return found
