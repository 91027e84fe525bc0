"""How what was found stands to what is planned: each relation, at its figure and a step beyond."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from tests.rules.compare.radio.radio_world import PROFILE
from tests.rules.diagnose.situation import PLAN, found
from verifier.model.plan import Plan
from verifier.rules.diagnose import reception, relations
from verifier.rules.diagnose.case import FindingIndex
from verifier.rules.diagnose.places import in_place_of, owner
from verifier.rules.diagnose.relations import Found


def hop(**fields: Any) -> Plan:
    """Hop-1 at 28 MHz up to 256-QAM, which follows its level unless these fields say otherwise."""
    usual: dict[str, Any] = {"bandwidth_mhz": 28.0, "modulation_max": "256qam", "adaptive": True}
    first, *others = PLAN.links
    return dataclasses.replace(
        PLAN, links=(dataclasses.replace(first, **{**usual, **fields}), *others)
    )


FIXED = hop(adaptive=False)
LEVEL = "Hop-1/a radio.rx-level fail -45 {}"
SNR, LOCK = "Hop-1/a radio.snr fail 38 {}", "Hop-1/a radio.lock fail true false"
LOWER = "Hop-1/a radio.modulation warn 256qam {}"
DEEP = "Hop-1/{} radio.rx-level fail -45 {}"
RECEPTION: list[tuple[str, Found, str, bool, Plan]] = [
    ("SNR down as much as the level", reception.faded, f"{SNR.format(26)}\n{LEVEL.format(-57)}", True, hop()),
    ("and 1 dB more", reception.faded, f"{SNR.format(25)}\n{LEVEL.format(-57)}", True, hop()),
    ("more than that", reception.faded, f"{SNR.format(24.9)}\n{LEVEL.format(-57)}", False, hop()),
    ("SNR down, level right", reception.faded, f"{SNR.format(26)}\nHop-1/a radio.rx-level pass -45 -45", False, hop()),
    ("SNR down, level above", reception.faded, f"{SNR.format(37)}\n{LEVEL.format(-40)}", False, hop()),
    ("SNR down, nothing received", reception.faded, f"{SNR.format(2)}\n{LEVEL.format('-')}", True, hop()),
    ("no SNR, a low level", reception.faded, f"{SNR.format('-')}\n{LEVEL.format(-57)}", True, hop()),
    ("SNR down, no level", reception.faded, SNR.format(2), False, hop()),
    ("SNR right", reception.faded, f"Hop-1/a radio.snr pass 38 38\n{LEVEL.format(-57)}", False, hop()),
    ("no lock, under what 4-QAM needs", reception.drowned, f"{LOCK}\n{LEVEL.format(-84.1)}", True, hop()),
    ("no lock, exactly what it needs", reception.drowned, f"{LOCK}\n{LEVEL.format(-84)}", False, hop()),
    ("no lock, nothing received", reception.drowned, f"{LOCK}\n{LEVEL.format('-')}", True, hop()),
    ("no lock, level right", reception.drowned, f"{LOCK}\nHop-1/a radio.rx-level pass -45 -99", False, hop()),
    ("no lock, level above", reception.drowned, f"{LOCK}\n{LEVEL.format(-20)}", False, hop()),
    ("no lock, no level", reception.drowned, LOCK, False, hop()),
    ("locked", reception.drowned, f"Hop-1/a radio.lock pass\n{LEVEL.format(-99)}", False, hop()),
    ("a bandwidth without modes", reception.drowned, f"{LOCK}\n{LEVEL.format(-99)}", False, hop(bandwidth_mhz=40.0)),
    ("no lock at a right level", reception.unheard, f"{LOCK}\nHop-1/a radio.rx-level pass -45 -45", True, hop()),
    ("no lock at a low level", reception.unheard, f"{LOCK}\n{LEVEL.format(-57)}", False, hop()),
    ("no lock at a high level", reception.unheard, f"{LOCK}\n{LEVEL.format(-20)}", True, hop()),
    ("no lock and no level", reception.unheard, LOCK, False, hop()),
    ("a lock that is right", reception.unheard, "Hop-1/a radio.lock pass\nHop-1/a radio.rx-level pass -45 -45", False, hop()),
    ("no lock, the mode is fixed", reception.unlike, f"{LOCK}\nHop-1/a radio.rx-level pass -45 -45", True, FIXED),
    ("no lock, the mode is fixed, no level", reception.unlike, LOCK, True, FIXED),
    ("no lock, the mode is fixed, a low level", reception.unlike, f"{LOCK}\n{LEVEL.format(-57)}", False, FIXED),
    ("no lock, the mode follows", reception.unlike, f"{LOCK}\nHop-1/a radio.rx-level pass -45 -45", False, hop()),
    ("a lock that is right, the mode is fixed", reception.unlike, "Hop-1/a radio.lock pass", False, FIXED),
    ("nothing received", reception.deaf, f"{LOCK}\n{LEVEL.format('-')}", True, hop()),
    ("a level nobody judged", reception.deaf, LOCK, True, hop()),
    ("little received", reception.deaf, f"{LOCK}\n{LEVEL.format(-57)}", False, hop()),
    ("right, nothing received", reception.deaf, f"Hop-1/a radio.lock pass\n{LEVEL.format('-')}", False, hop()),
    ("the level passes without a figure", reception.deaf, f"{LOCK}\nHop-1/a radio.rx-level pass", False, hop()),
    ("a hop with a deaf end", reception.deaf_hop, f"Hop-1/ radio.reciprocity not-tested\n{DEEP.format('b', '-')}", True, hop()),
    ("a hop with two that hear", reception.deaf_hop,
     f"Hop-1/ radio.reciprocity not-tested\n{DEEP.format('a', -57)}\n{DEEP.format('b', -57)}", False, hop()),
    ("a hop that fails beside a deaf end", reception.deaf_hop,
     f"Hop-1/ radio.reciprocity fail 0 9\n{DEEP.format('b', '-')}", False, hop()),
    ("lower, as a link that follows its level", reception.adapted, LOWER.format("64qam"), True, hop()),
    ("lower, and fixed", reception.adapted, LOWER.format("64qam"), False, FIXED),
    ("lower, and no highest planned", reception.adapted, LOWER.format("64qam"), True, hop(modulation_max=None, adaptive=False)),
    ("it fails", reception.adapted, "Hop-1/a radio.modulation fail 256qam 64qam", False, hop()),
    # 256-QAM needs -66 dBm: from -63 on it is safely carried
    ("64-QAM under what 256-QAM needs", reception.carried(across=False), f"{LOWER.format('64qam')}\n{LEVEL.format(-63.1)}", True, hop()),
    ("64-QAM at what 256-QAM needs", reception.carried(across=False), f"{LOWER.format('64qam')}\n{LEVEL.format(-63)}", False, hop()),
    ("16-QAM at what 64-QAM needs", reception.carried(across=False), f"{LOWER.format('16qam')}\n{LEVEL.format(-69)}", False, hop()),
    ("16-QAM under what 64-QAM needs", reception.carried(across=False), f"{LOWER.format('16qam')}\n{LEVEL.format(-69.1)}", True, hop()),
    ("a mode nobody knows: the highest counts", reception.carried(across=False), f"{LOWER.format('8psk')}\n{LEVEL.format(-63.1)}", True, hop()),
    ("and no more", reception.carried(across=False), f"{LOWER.format('8psk')}\n{LEVEL.format(-63)}", False, hop()),
    ("the highest that is planned", reception.carried(across=False), f"{LOWER.format('16qam')}\n{LEVEL.format(-69)}", False, hop(modulation_max="64qam")),
    ("a capacity tells the mode", reception.carried(across=False),
     f"Hop-1/a radio.capacity warn 190 140\n{LEVEL.format(-63.1)}", True, hop()),
    ("the far end's level", reception.carried(across=True), f"{LOWER.format('64qam')}\n{DEEP.format('b', -70)}", True, hop()),
    ("not the far end's level", reception.carried(across=False), f"{LOWER.format('64qam')}\n{DEEP.format('b', -70)}", False, hop()),
    ("lower with nothing received", reception.carried(across=False), f"{LOWER.format('64qam')}\n{LEVEL.format('-')}", True, hop()),
    ("lower at a level without modes", reception.carried(across=False), f"{LOWER.format('64qam')}\n{LEVEL.format(-57)}", True, hop(bandwidth_mhz=40.0)),
    ("as low as the far end sends less", reception.by_power(across=False),
     f"{LEVEL.format(-57)}\nHop-1/b radio.tx-power fail 18 6", True, hop()),
    ("1 dB lower", reception.by_power(across=False), f"{LEVEL.format(-57)}\nHop-1/b radio.tx-power fail 18 7", True, hop()),
    ("more than that", reception.by_power(across=False), f"{LEVEL.format(-57)}\nHop-1/b radio.tx-power fail 18 7.1", False, hop()),
    ("1 dB less low", reception.by_power(across=False), f"{LEVEL.format(-57)}\nHop-1/b radio.tx-power fail 18 5", True, hop()),
    ("less than that", reception.by_power(across=False), f"{LEVEL.format(-57)}\nHop-1/b radio.tx-power fail 18 4.9", False, hop()),
    ("the far end sends more", reception.by_power(across=False), "Hop-1/a radio.rx-level warn -45 -40\nHop-1/b radio.tx-power fail 18 23", False, hop()),
    ("its own power is another thing", reception.by_power(across=False),
     f"{LEVEL.format(-57)}\nHop-1/a radio.tx-power fail 18 6", False, hop()),
    ("seen from the other end", reception.by_power(across=True),
     f"{SNR.format(2)}\n{DEEP.format('b', -57)}\nHop-1/a radio.tx-power fail 18 6", True, hop()),
    ("along with a modulation of this end", reception.left_lowest(across=False),
     f"{LOCK}\nHop-1/a radio.modulation fail 256qam 4qam", True, hop()),
    ("of the other end", reception.left_lowest(across=True),
     f"{LOCK}\nHop-1/b radio.modulation fail 256qam 4qam", True, hop()),
    ("not of this one", reception.left_lowest(across=True),
     f"{LOCK}\nHop-1/a radio.modulation fail 256qam 4qam", False, hop()),
    ("that is right besides", reception.left_lowest(across=False),
     "Hop-1/a radio.lock pass\nHop-1/a radio.modulation fail 256qam 4qam", False, hop()),
]  # fmt: skip
RELATIONS: list[tuple[str, Found, str, bool, Plan]] = [
    ("under the planned figure", relations.below, LEVEL.format(-45.1), True, PLAN),
    ("the planned figure itself", relations.below, LEVEL.format(-45), False, PLAN),
    ("a figure that passes", relations.below, "Hop-1/a radio.rx-level pass -45 -46", False, PLAN),
    ("no figure", relations.below, LEVEL.format("-"), False, PLAN),
    ("over the planned figure", relations.above, LEVEL.format(-44.9), True, PLAN),
    ("the planned figure", relations.above, LEVEL.format(-45), False, PLAN),
    ("over, and passes", relations.above, "Hop-1/a radio.rx-level pass -45 -40", False, PLAN),
    ("less", relations.lacking, LEVEL.format(-46), True, PLAN),
    ("nothing", relations.lacking, LEVEL.format("-"), True, PLAN),
    ("more", relations.lacking, LEVEL.format(-44), False, PLAN),
    ("nothing, and passes", relations.lacking, "Hop-1/a radio.rx-level pass -45 -", False, PLAN),
    ("off", relations.off, "Hop-1/a radio.transmitter fail on Off", True, PLAN),
    ("on", relations.off, "Hop-1/a radio.transmitter fail off on", False, PLAN),
    ("off, rightly", relations.off, "Hop-1/a radio.transmitter pass off off", False, PLAN),
    ("not tested for want of an answer", relations.gone, "a address.mask not-tested 1", True, PLAN),
    ("no echo", relations.gone, "a echo.reply fail", True, PLAN),
    ("another failure", relations.gone, "a address.mask fail 1 2", False, PLAN),
    ("what only SNMP tells", relations.unread, "a address.mask not-tested 1", True, PLAN),
    ("what an echo tells", relations.unread, "a echo.loss not-tested 1", False, PLAN),
    ("read, and not tested", relations.unread, "a address.mask not-tested 1 2", False, PLAN),
    ("the far end's frequency", relations.crossed, "Hop-1/a radio.tx-frequency fail 13143 12877", True, PLAN),
    ("1 kHz beside it", relations.crossed, "Hop-1/a radio.tx-frequency fail 13143 12877.001", True, PLAN),
    ("more than that", relations.crossed, "Hop-1/a radio.tx-frequency fail 13143 12877.0012", False, PLAN),
    ("a right one", relations.crossed, "Hop-1/a radio.tx-frequency pass 13143 12877", False, PLAN),
    ("none", relations.crossed, "Hop-1/a radio.tx-frequency fail 13143 -", False, PLAN),
    ("it listens where it should transmit", relations.crossed, "Hop-1/a radio.rx-frequency fail 12877 13143", True, PLAN),
    ("the far end's link id", relations.crossed, "Hop-1/a radio.link-id fail 7 8\nHop-1/b radio.link-id pass 8 8", True, PLAN),
    ("another link id", relations.crossed, "Hop-1/a radio.link-id fail 7 9\nHop-1/b radio.link-id pass 8 8", False, PLAN),
    ("the other device's name", relations.crossed, "a identity.name fail a b\nb identity.name fail b a", True, PLAN),
    ("another setting", relations.not_crossed, "Hop-1/a radio.link-id fail 7 9", True, PLAN),
    ("a right setting", relations.not_crossed, "Hop-1/a radio.link-id pass 7 7", False, PLAN),
    ("of a known device", relations.own_setting, "a address.mask fail 1 2\na identity.serial pass", True, PLAN),
    ("of an unknown one", relations.own_setting, "a address.mask fail 1 2\na identity.serial fail", False, PLAN),
    ("swapped", relations.swapped, "Hop-1/a radio.tx-frequency fail 13143 12877", True, PLAN),
    ("swapped, yet another", relations.swapped, "Hop-1/a radio.tx-frequency fail 13143 13000", False, PLAN),
    ("swapped, where nothing is planned there", relations.swapped, "Hop-1/a radio.link-id fail 7 9", True, PLAN),
    ("right, where nothing is planned there", relations.swapped, "Hop-1/a radio.link-id pass 7 7", False, PLAN),
    ("several in turn", relations.several, 'a identity.name fail a ["a","x"]', True, PLAN),
    ("one value", relations.several, "a identity.name fail a x", False, PLAN),
    ("one other value", relations.one, "a identity.name fail a x", True, PLAN),
    ("several are not one", relations.one, 'a identity.name fail a ["a","x"]', False, PLAN),
    ("a right one is no other", relations.one, "a identity.name pass a a", False, PLAN),
    ("hardware of nobody", relations.nobodys, "a identity.serial fail s-a 7", True, PLAN),
    ("hardware of another", relations.nobodys, "a identity.serial fail s-a s-b", False, PLAN),
    ("right hardware", relations.nobodys, "a identity.serial pass s-a s-a", False, PLAN),
    ("the name of whose hardware it is", relations.of_the_other,
     "a identity.name fail a b\na identity.serial fail s-a s-b", True, PLAN),
    ("a name, and hardware of nobody", relations.of_the_other,
     "a identity.name fail a b\na identity.serial fail s-a 7", False, PLAN),
    ("what is planned for that device", relations.of_the_other,
     "a address.mask fail 1 2\na identity.serial fail s-a s-b\nb address.mask pass 2 2", True, PLAN),
    ("what is planned for nobody", relations.of_the_other,
     "a address.mask fail 1 3\na identity.serial fail s-a s-b\nb address.mask pass 2 2", False, PLAN),
    ("exchanged with each other", relations.not_exchanged,
     "a address.mask fail 1 2\na identity.serial fail s-a s-b\nb identity.serial fail s-b s-a", False, PLAN),
    ("one in the place of another", relations.not_exchanged,
     "a address.mask fail 1 2\na identity.serial fail s-a s-b\nb identity.serial fail s-b 7", True, PLAN),
    ("at home", relations.not_exchanged, "a address.mask fail 1 2", True, PLAN),
    ("at home, and right", relations.not_exchanged, "a address.mask pass 1 1", False, PLAN),
    ("neither name nor hardware", relations.strange, "a address.mask fail 1 2\na identity.name fail a x", True, PLAN),
    ("its own name", relations.strange, "a address.mask fail 1 2\na identity.name pass a a", False, PLAN),
    ("its own hardware", relations.strange, "a address.mask fail 1 2\na identity.serial pass", False, PLAN),
    ("of an end whose device is known", relations.strange, f"{LOCK}\na identity.serial pass", False, PLAN),
    ("of an end whose device is not", relations.strange, f"{LOCK}\nb identity.serial pass", True, PLAN),
    ("a stranger", relations.stranger, "a identity.name fail a x", True, PLAN),
    ("two in turn are no stranger", relations.stranger, 'a identity.name fail a ["a","x"]', False, PLAN),
    ("the name the far end has", relations.heard, "Hop-1/a link.far-end fail b x\nb identity.name fail b x", True, PLAN),
    ("another name than it has", relations.heard, "Hop-1/a link.far-end fail b y\nb identity.name fail b x", False, PLAN),
    ("the right name", relations.heard, "Hop-1/a link.far-end pass b x\nb identity.name fail b x", False, PLAN),
    ("an entry that nobody answers", relations.entry_unproved, "a snmp.answer fail - silent", True, PLAN),
    ("an entry that somebody answers", relations.entry_unproved,
     "a snmp.answer fail - silent\nb snmp.answer pass", False, PLAN),
    ("answered", relations.entry_unproved, "a snmp.answer pass", False, PLAN),
    ("silent by a gateway", relations.routed, "a echo.reply fail\na laptop.fit pass routed", True, PLAN),
    ("silent on the cable", relations.routed, "a echo.reply fail\na laptop.fit pass direct", False, PLAN),
    ("silent, who knows how", relations.routed, "a echo.reply fail", False, PLAN),
    ("half duplex at this side", relations.alike,
     "a:eth1 port.duplex fail full half\nsw:p1 port.duplex pass full full", False, PLAN),
    ("at both sides", relations.alike, "a:eth1 port.duplex fail full half\nsw:p1 port.duplex fail full half", True, PLAN),
    ("the other side is not known", relations.alike, "a:eth1 port.duplex fail full half", True, PLAN),
    ("the other side runs otherwise", relations.alike,
     "a:eth1 port.speed fail 1000 100\nsw:p1 port.speed fail 1000 10", False, PLAN),
    ("the other side tells nothing", relations.alike,
     "a:eth1 port.speed fail 1000 100\nsw:p1 port.speed not-tested 1000", True, PLAN),
    ("right", relations.alike, "a:eth1 port.duplex pass full full", False, PLAN),
    ("two with one engine id and one name", relations.apart,
     "a snmp.engine-id warn - 80aa\nb snmp.engine-id warn - 80aa\na identity.name pass a a\nb identity.name fail b a", True, PLAN),
    ("two with names of their own", relations.apart,
     "a snmp.engine-id warn - 80aa\nb snmp.engine-id warn - 80aa\na identity.name pass a a\nb identity.name pass b b", False, PLAN),
    ("two without a name", relations.apart, "a snmp.engine-id warn - 80aa\nb snmp.engine-id warn - 80aa", True, PLAN),
    ("one of several on the cable", relations.doubled,
     "a neighbour.mac fail m1 02:00:5e:00:00:09\nseen a neighbour 02:00:5e:00:00:09", True, PLAN),
    ("another than on the cable", relations.doubled,
     "a neighbour.mac fail m1 02:00:5e:00:00:08\nseen a neighbour 02:00:5e:00:00:09", False, PLAN),
    ("one of those that answer", relations.doubled,
     'a neighbour.mac fail m1 m9\na neighbour.duplicate fail - "m9, m8"', True, PLAN),
    ("none of those that answer", relations.doubled,
     'a neighbour.mac fail m1 m7\na neighbour.duplicate fail - "m9, m8"', False, PLAN),
    ("both polarisations of one channel", relations.cross_polar, "Hop-3.1/a radio.xpi fail 20 9", True, PLAN),
    ("right on both", relations.cross_polar, "Hop-3.1/a radio.xpi pass 20 29", False, PLAN),
    ("one carrier", relations.cross_polar, "Hop-1/a radio.xpi fail 20 9", False, PLAN),
]  # fmt: skip


@pytest.mark.parametrize(("relation", "lines", "holds", "plan"), [r[1:] for r in (*RECEPTION, *RELATIONS)],
                         ids=[r[0] for r in (*RECEPTION, *RELATIONS)])  # fmt: skip
def test_relation(relation: Found, lines: str, holds: bool, plan: Plan) -> None:  # noqa: FBT001
    """Of the first finding of a situation."""
    findings, seen = found(lines)
    case = FindingIndex(plan, findings, seen, {"hop-radio": PROFILE})
    assert relation(case, findings[0]) is holds


@pytest.mark.parametrize(
    ("lines", "whose", "stands"),
    [
        ("a identity.serial fail s-a s-b", "b", "b"),
        ("a identity.serial fail s-a S-B", "b", "b"),
        ("a identity.serial fail s-a 7", None, None),
        ("a identity.serial pass s-a s-a", None, None),
        ("a identity.serial fail s-a s-a", None, None),
        ("a identity.serial fail s-a s-b\nb identity.serial pass s-b s-b", None, None),
        ("a identity.serial fail s-a s-b\nb identity.serial fail s-b 7", "b", "b"),
        ("a identity.name fail a b\na identity.serial fail s-a s-b", None, "b"),
    ],
)  # fmt: skip
def test_whose_hardware_stands_here(lines: str, whose: str | None, stands: str | None) -> None:
    """Another planned device's, unless that one is at home."""
    findings, _ = found(lines)
    case = FindingIndex(PLAN, findings)
    assert (owner(case, findings[0]), in_place_of(case, "a")) == (whose, stands)
