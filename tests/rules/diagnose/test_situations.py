"""Situations and their causes: exactly these, in these words; and where nothing is concluded."""

from __future__ import annotations

import pytest

from tests.rules.diagnose.situation import explained, short
from verifier.rules.diagnose.kinds import TRY_FIRST

pytestmark = pytest.mark.usefixtures("words")

Situations = list[tuple[str, str, list[str]]]
"""Title, findings, causes."""
UP = "{0} echo.reply pass\n{0} identity.name pass {0} {0}\n"
DOWN = "{0} echo.reply fail\n{0} identity.name not-tested\n"
BOTH_LOW = """
Hop-1/a radio.rx-level fail -45 {0}
Hop-1/b radio.rx-level fail -45 {1}
Hop-1/a radio.tx-power pass 18 18
Hop-1/b radio.tx-power pass 18 18
"""
APART = "losses-apart possible Hop-1"
ALIKE = ["path-loss possible Hop-1", "feeder-loss possible Hop-1", APART]


def up(*names: str) -> str:
    return "".join(UP.format(n) for n in names)


def down(*names: str) -> str:
    return "".join(DOWN.format(n) for n in names)


def routed(*names: str) -> str:
    return "".join(f"{n} laptop.fit pass routed\n" for n in names)


def unlinked(*names: str) -> str:
    return "".join(
        f"{n} laptop.fit not-tested no-link\n{n} echo.reply not-tested\n{n} identity.name not-tested\n"
        for n in names
    )


TOPOLOGY: Situations = [
    ("this laptop has no link: nothing is said of any device", unlinked("a", "b", "c", "d", "e", "sw"),
     ["cable-out certain laptop"]),
    ("no link towards some, another is dead", unlinked("a", "b") + up("c", "d") + down("sw"),
     ["cable-out certain laptop", "device-silent likely sw"]),
    ("one device is dead", up("a") + down("sw"), ["device-silent likely sw"]),
    ("a dead uplink explains what is behind it", up("sw", "a") + down("b", "c", "d") + "Hop-1/a radio.lock not-tested",
     ["uplink-down likely b"]),
    ("the first device is dead: one root", up("sw") + down("a", "b", "c", "d", "e"), ["uplink-down likely a"]),
    ("two branches behind one that is silent: no two others would cut off both", up("sw", "g1") + down("f", "h1", "h2"),
     ["uplink-down certain f"]),
    ("a ring stands while one uplink answers", up("a", "b") + down("d", "e") + up("c") + "Hop-2/a radio.lock pass",
     ["management-silent likely d", "device-silent likely e"]),
    ("a ring is cut when all its uplinks are down", up("a", "sw") + down("b", "d", "e") + "c echo.reply not-tested",
     ["uplink-down likely b", "uplink-down likely d"]),
    ("devices behind a planned router", routed("r1", "r2") + up("a") + down("router", "r1", "r2"),
     ["uplink-down likely router"]),
    ("devices behind a gateway that is not in the plan", up("a") + routed("g1", "g2", "g3") + down("g1", "g2", "g3"),
     ["gateway-down likely 198.18.40.1"]),
    ("near end sound, far end silent, no lock: the hop", up("a") + down("b") + "Hop-1/a radio.lock fail true false",
     ["hop-down likely Hop-1"]),
    ("the hop is down, with devices behind", up("a") + down("b", "c") + "Hop-1/a radio.lock fail\nHop-1/a radio.rx-level fail -45 -",
     ["hop-down likely Hop-1"]),
    ("the near end hears the silent far end", up("a") + down("b") + "Hop-1/a radio.lock pass",
     ["management-silent likely b"]),
    ("near end sound, far end silent, radio not read: both fit", up("a") + down("b"),
     ["device-down possible b", "hop-down possible Hop-1"]),
    ("a silent device through which another answers", up("a", "c") + down("b"), ["management-silent likely b"]),
    ("a silent chain through which the last answers", up("a", "d") + down("b", "c"),
     ["management-silent likely b", "management-silent likely c"]),
    ("nothing answers: the laptop or the first device", down("a", "b", "c"),
     ["nothing-answers possible laptop", "uplink-down possible a"]),
    ("one of a subnet is silent from afar, its neighbour answers", routed("g1", "g2") + up("g1") + down("g2"),
     ["device-silent likely g2", "gateway-wrong possible g2"]),
]  # fmt: skip
NAME = "a identity.name fail a {}\n"
ADDRESSES: Situations = [
    ("ends swapped by name", "Hop-1 link.ends-swapped fail\na identity.name fail a b\nb identity.name fail b a",
     ["ends-swapped likely Hop-1"]),
    ("ends swapped by name and serial",
     "Hop-1 link.ends-swapped fail\na identity.name fail a b\nb identity.name fail b a\na identity.serial fail s-a s-b\nb identity.serial fail s-b s-a",
     ["ends-swapped certain Hop-1"]),
    ("ends swapped by name, and both serials belong to neither",
     "Hop-1 link.ends-swapped fail\na identity.name fail a b\nb identity.name fail b a\na identity.serial fail s-a 7\nb identity.serial fail s-b 8",
     ["ends-swapped possible Hop-1"]),
    ("names crossed, and the hardware stands where it should: two names",
     "Hop-1 link.ends-swapped fail\na identity.name fail a b\nb identity.name fail b a\na identity.serial pass\nb identity.serial pass",
     ["name-wrong certain a", "name-wrong certain b"]),
    ("the far end's unit stands here, the far end was not read",
     "a identity.name fail a b\na identity.serial fail s-a s-b\nb identity.name not-tested",
     ["wrong-device likely a", "ends-swapped possible Hop-1"]),
    ("two devices exchanged, each set up for where it stands",
     "a identity.name pass a a\nb identity.name pass b b\na identity.serial fail s-a s-b\nb identity.serial fail s-b s-a",
     ["devices-swapped certain a"]),
    ("two devices of different hops exchanged",
     "a identity.name pass a a\nd identity.name pass d d\na identity.serial fail s-a s-d\nd identity.serial fail s-d s-a",
     ["devices-swapped certain a"]),
    ("the serial number of another planned device, which was not asked",
     "a identity.name pass a a\na identity.serial fail s-a s-d", ["devices-swapped likely a"]),
    ("the serial number of another planned device, which stands at its own place",
     "a identity.name pass a a\na identity.serial fail s-a s-d\nd identity.serial pass s-d s-d", ["device-exchanged likely a"]),
    ("frequencies crossed, devices right", "Hop-1/a radio.tx-frequency fail 13143 12877\nHop-1/b radio.tx-frequency fail 12877 13143\na identity.serial pass",
     ["frequencies-crossed likely Hop-1"]),
    ("the settings of one wholly unknown unit cross",
     "Hop-1/a radio.tx-frequency fail 13143 12877\nHop-1/b radio.tx-frequency fail 12877 13143\na identity.name fail a x\na identity.serial pass\nb identity.name pass b b",
     ["name-wrong certain a", "frequencies-crossed likely Hop-1"]),
    ("frequencies crossed, both directions read", up("a", "b") + "a identity.serial pass\n"
     "Hop-1/a radio.tx-frequency fail 13143 12877\nHop-1/b radio.tx-frequency fail 12877 13143\n"
     "Hop-1/a radio.rx-frequency fail 12877 13143\nHop-1/b radio.rx-frequency fail 13143 12877",
     ["frequencies-crossed certain Hop-1"]),
    ("frequencies crossed, devices not looked at", "Hop-1/a radio.tx-frequency fail 13143 12877\nHop-1/b radio.tx-frequency fail 12877 13143",
     ["frequencies-crossed likely Hop-1", "bands-crossed possible Hop-1"]),
    ("devices of the other half of the band", "Hop-1/a radio.tx-frequency fail 13143 12877\nHop-1/b radio.tx-frequency fail 12877 13143\na identity.part fail H L\nb identity.part fail L H",
     ["bands-crossed likely Hop-1"]),
    ("devices of the other half of the band, under their own names", up("a", "b") + "Hop-1/a radio.tx-frequency fail 13143 12877\nHop-1/b radio.tx-frequency fail 12877 13143\na identity.part fail H L\nb identity.part fail L H",
     ["bands-crossed certain Hop-1"]),
    ("one end has the far end's frequency", up("a") + "Hop-1/a radio.tx-frequency fail 13143 12877\nHop-1/b radio.tx-frequency pass 12877 12877",
     ["frequency-wrong certain Hop-1/carrier/1/end/a"]),
    ("one end has the far end's frequency, the other was not read", "Hop-1/a radio.tx-frequency fail 13143 12877",
     ["frequency-wrong possible Hop-1/carrier/1/end/a", "frequencies-crossed possible Hop-1"]),
    ("another frequency leaves the far end deaf", up("a") + "Hop-1/a radio.tx-frequency fail 13143 13157\nHop-1/b radio.rx-level fail -45 -\nHop-1/a radio.rx-level pass -45 -45",
     ["frequency-wrong certain Hop-1/carrier/1/end/a"]),
    ("wrong device by name and serial", NAME.format("x") + "a identity.serial fail 1 2",
     ["wrong-device likely a", "device-exchanged possible a", "name-wrong possible a"]),
    ("wrong device: name, serial and hardware address", NAME.format("x") + "a identity.serial fail 1 2\na neighbour.mac fail",
     ["wrong-device likely a", "device-exchanged possible a", "name-wrong possible a"]),
    ("wrong device that is planned elsewhere", NAME.format("b") + "a identity.serial fail s-a s-b\nb identity.name pass b b\nb identity.serial fail s-b 7", ["wrong-device likely a", "device-exchanged likely b"]),
    ("the planned device, misnamed", NAME.format("x") + "a identity.serial pass", ["name-wrong certain a"]),
    ("the planned device, without a name", 'a identity.name fail a ""', ["name-wrong likely a"]),
    ("the planned device by its serial number, without a name", 'a identity.name fail a ""\na identity.serial pass', ["name-wrong certain a"]),
    ("a name alone: both fit", NAME.format("x"), ["wrong-device possible a", "name-wrong possible a"]),
    ("the name of another planned device, alone", NAME.format("b"), ["wrong-device likely a", "name-wrong possible a"]),
    ("a name that the device it belongs to has as well", NAME.format("b") + "b identity.name pass b b",
     ["wrong-device possible a", "name-wrong possible a"]),
    ("serial wrong, hardware address right: contradiction", NAME.format("x") + "a identity.serial fail 1 2\na neighbour.mac pass",
     ["wrong-device possible a", "name-wrong possible a"]),
    ("exchanged and set up again", "a identity.name pass a a\na identity.serial fail 1 2", ["device-exchanged likely a"]),
    ("mask wrong on one side", up("a") + "a address.mask fail 255.255.255.0 255.255.0.0\nb address.mask pass", ["mask-wrong certain a"]),
    ("the same mask everywhere: the plan, or all of them", "".join(f"{n} address.mask fail 255.255.255.0 255.255.0.0\n" for n in "abc"),
     ["plan-wrong possible", "mask-wrong possible"]),
    ("gateway wrong", up("a") + "b address.gateway pass\na address.gateway fail 198.18.20.1 198.18.20.3", ["gateway-wrong certain a"]),
    ("mask wrong in a device that may be another", "a address.mask fail 255.255.255.0 255.255.0.0", ["mask-wrong likely a"]),
    ("two hardware addresses answer for one address", "a neighbour.duplicate fail", ["address-twice likely a"]),
    ("two hardware addresses and doubled replies", "a neighbour.duplicate fail\na echo.duplicate warn 0 3", ["address-twice likely a"]),
    ("two hardware addresses, and no answer from either", "a echo.reply fail\na neighbour.duplicate fail\na identity.name not-tested", ["device-silent likely a", "address-twice likely a"]),
    ("two hardware addresses, and names that change", 'a neighbour.duplicate fail\na identity.name fail a ["a","x"]', ["address-twice certain a"]),
    ("names that change", 'a identity.name fail a ["a","x"]', ["address-twice certain a"]),
    ("doubled replies alone: a second device or a loop", "a echo.duplicate warn 0 3", ["address-twice possible a", "path-doubled possible a"]),
    ("another hardware address on the cable than the device says", "a identity.name pass a a\na neighbour.mac fail 02:00:5e:10:00:01 02:00:5e:10:00:02\na identity.serial pass\nseen a neighbour 02:00:5e:10:00:02\nseen a ifPhysAddress 02:00:5e:10:00:01",
     ["address-twice possible a"]),
    ("proxy ARP: an address that nobody holds is answered", "a neighbour.proxy warn - m1\nb neighbour.proxy warn - m1", ["proxy-arp likely a"]),
    ("one hardware address for two devices", "a neighbour.mac fail m1 m9\nb neighbour.mac fail m2 m9\nseen a neighbour 02:00:5e:00:00:09\nseen b neighbour 02:00:5e:00:00:09",
     ["proxy-arp possible a"]),
]  # fmt: skip
IDENTIFIED = "a echo.reply pass\na neighbour.mac pass\nb echo.reply pass\nb snmp.answer pass\n"
"""The planned hardware address on the cable, and another device that knows these credentials."""
SNMP: Situations = [
    ("agent off", up("a") + "a snmp.answer fail - port-unreachable\na identity.name not-tested", ["snmp-off likely a"]),
    ("user unknown", up("a") + "a snmp.answer fail - unknown-user", ["snmp-refused likely a"]),
    ("security level refused", up("a") + "a snmp.answer fail - unsupported-level", ["snmp-refused likely a"]),
    ("wrong authentication key, and the device may be another", "a echo.reply pass\na snmp.answer fail - wrong-digest", ["snmp-wrong-key likely a"]),
    ("wrong authentication key", IDENTIFIED + "a snmp.answer fail - wrong-digest", ["snmp-wrong-key certain a"]),
    ("wrong privacy key", IDENTIFIED + "a snmp.answer fail - decryption-error", ["snmp-wrong-key certain a"]),
    ("agent's clock", IDENTIFIED + "a snmp.answer fail - not-in-time-window", ["snmp-clock certain a"]),
    ("not SNMP at all", up("a") + "a snmp.answer fail - undecodable", ["snmp-other-program possible a", "snmp-damaged possible a"]),
    ("turned back by a router", up("a") + "a snmp.answer fail - host-unreachable", ["snmp-filtered likely a"]),
    ("silent: key or filter, both fit", up("a") + "a snmp.answer fail - silent", ["snmp-wrong-key possible a", "snmp-filtered possible a"]),
    ("silent, and other services filtered", up("a") + 'a snmp.answer fail - silent\na tcp.open fail - "443/tcp_filtered"',
     ["snmp-wrong-key possible a", "snmp-filtered likely a"]),
    ("silent, and another address answered", up("a") + "a snmp.answer fail - silent\na snmp.responder warn - 198.18.30.11",
     ["snmp-other-address likely a"]),
    ("silent after its engine id: the privacy key", up("a") + "a snmp.answer fail - silent\nseen a engine-id 80007ed9", ["snmp-wrong-key likely a"]),
    ("an SNMPv3 agent that does not tell its engine id", up("a", "b") + "a snmp.answer fail - silent\nb snmp.answer pass\nseen b engine-id 80007ed9",
     ["snmp-filtered likely a", "snmp-off possible a"]),
    ("one entry that nobody answers", up("a", "b", "c") + "".join(f"{n} snmp.answer fail - silent\n" for n in "abc"),
     ["credentials-wrong possible", "snmp-filtered possible"]),
    ("cloned", "a identity.name pass a a\nb identity.name pass b b\na snmp.engine-id warn - 80aa\nb snmp.engine-id warn - 80aa",
     ["engine-id-cloned certain a"]),
    ("one device at two addresses, or cloned with its name", "a identity.name pass a a\nb identity.name fail b a\nb identity.serial pass\na snmp.engine-id warn - 80aa\nb snmp.engine-id warn - 80aa",
     ["name-wrong certain b", "engine-id-cloned possible a", "one-device-twice possible a"]),
]  # fmt: skip
REVERTED = "a identity.serial pass\na address.mask fail 1 2\na identity.location warn\na settings.ntp fail\n"
SETTINGS: Situations = [
    ("not saved, in a device that may be another", "a settings.saved fail 0 1", ["settings-unsaved likely a"]),
    ("not saved", up("a") + "a settings.saved fail 0 1", ["settings-unsaved certain a"]),
    ("reverted at a restart", REVERTED + "seen a sysUpTime 30000", ["mask-wrong likely a", "settings-reverted likely a", "not-set-up possible a"]),
    ("reverted or never set up", REVERTED, ["mask-wrong likely a", "settings-reverted possible a", "not-set-up possible a"]),
    ("many settings wrong in an unknown unit", "a settings.ntp fail\na settings.trap fail\na settings.syslog fail\na identity.location warn",
     ["settings-reverted possible a", "not-set-up possible a"]),
    ("left in alignment settings", "Hop-1/a radio.modulation fail 256qam 4qam\nHop-1/a radio.tx-power fail 18 26\nHop-1/a radio.atpc fail on off",
     ["left-in-alignment likely Hop-1/carrier/1/end/a"]),
    ("raised power alone", "Hop-1/a radio.modulation pass\nHop-1/a radio.tx-power fail 18 26", ["left-in-alignment possible Hop-1/carrier/1/end/a"]),
    ("muted: the far end is deaf", up("a") + "Hop-1/a radio.transmitter fail on off\nHop-1/b radio.rx-level fail -45 -\nHop-1/a radio.rx-level pass -45 -45",
     ["muted certain Hop-1/carrier/1/end/a"]),
    ("in a test mode", up("b") + "Hop-1/b radio.test-mode fail off on", ["test-mode certain Hop-1/carrier/1/end/b"]),
]  # fmt: skip
SIDE_LOBE, TURNED, LOBES, OFF = (
    "side-lobe likely Hop-1", "polarisation-turned likely Hop-1", "side-lobes-both likely Hop-1",
    "misaligned possible Hop-1",
)  # fmt: skip
EDGES: list[tuple[float, list[str], list[str]]] = [
    (14, [], [SIDE_LOBE]), (24, [SIDE_LOBE], [TURNED]), (34, [TURNED], [LOBES]), (44, [LOBES], [OFF]),
]  # fmt: skip
"""Figures of dB at which causes meet, less the 1 dB that devices read by; below, and from there on."""
SWEEP = ["misaligned possible Hop-1", *ALIKE]
RADIO: Situations = [
    ("both a little low", BOTH_LOW.format(-53, -52), SWEEP),
    ("both 13 dB low: no lobe, no polarisation", BOTH_LOW.format(-58, -58), SWEEP),
    ("both 20 dB low: one side lobe", BOTH_LOW.format(-65, -64), ["side-lobe likely Hop-1", *ALIKE]),
    ("both 30 dB low: polarisation", BOTH_LOW.format(-75, -74), ["polarisation-turned likely Hop-1", "path-loss possible Hop-1", APART]),
    ("both 25 dB low: two fit equally", BOTH_LOW.format(-70, -70), ["side-lobe likely Hop-1", "polarisation-turned likely Hop-1", *ALIKE]),
    ("both 40 dB low: both side lobes", BOTH_LOW.format(-85, -85), ["side-lobes-both likely Hop-1", "path-loss possible Hop-1", APART]),
    ("both 60 dB low", BOTH_LOW.format(-105, -105), ["misaligned possible Hop-1", "path-loss possible Hop-1", APART]),
    ("both 20 dB low, the main lobe was found", BOTH_LOW.format(-65, -64) + "a manual.peak-on-main-lobe pass", ["side-lobe possible Hop-1", *ALIKE]),
    ("both 30 dB low, a feed was seen to be turned", BOTH_LOW.format(-75, -74) + "b manual.polarisation fail", ["polarisation-turned likely Hop-1", "path-loss possible Hop-1", APART]),
    ("both low by unequal levels that unequal powers account for", "Hop-1/a radio.rx-level fail -45 -70\nHop-1/b radio.rx-level fail -45 -65\nHop-1/b radio.tx-power fail 18 13",
     ["power-low likely Hop-1/carrier/1/end/b", "side-lobe likely Hop-1", *ALIKE]),
    ("one direction low: far transmitter or near receiver", "Hop-1/a radio.rx-level fail -45 -57\nHop-1/b radio.rx-level pass -45 -45\nHop-1/b radio.tx-power pass 18 18",
     ["far-transmitter possible Hop-1/carrier/1/end/b", "near-receiver possible Hop-1/carrier/1/end/a"]),
    ("both are low, and what is found is the plan's own sum", "Hop-2/a radio.rx-level fail -35.6 -45.9\nHop-2/b radio.rx-level fail -35.6 -45.2",
     ["planned-level-wrong likely Hop-2/carrier/1/end/a", "planned-level-wrong likely Hop-2/carrier/1/end/b"]),
    ("low against the plan, and against its sum too: not the plan alone", "Hop-2/a radio.rx-level fail -35.6 -55.6\nHop-2/b radio.rx-level fail -35.6 -55.6",
     ["side-lobe likely Hop-2", "path-loss possible Hop-2", "feeder-loss possible Hop-2", "losses-apart possible Hop-2"]),
    ("one direction dead", "Hop-1/a radio.rx-level fail -45 -\nHop-1/b radio.rx-level pass -45 -45",
     ["far-transmitter possible Hop-1/carrier/1/end/b", "near-receiver possible Hop-1/carrier/1/end/a"]),
    ("one direction low by the far end's actual power", up("b") + "Hop-1/a radio.rx-level fail -45 -57\nHop-1/b radio.rx-level pass -45 -45\nHop-1/b radio.tx-power fail 18 6",
     ["power-low certain Hop-1/carrier/1/end/b"]),
    ("ATPC of the far end leaves it short", 'Hop-1/a radio.rx-level fail -50 -83.6\nHop-1/a radio.path-loss pass 63.6 63.6\nHop-1/a radio.fade-margin fail 25 -11.6\nHop-1/b radio.rx-level pass -45 -45\nHop-1/b radio.atpc fail "on" "on"',
     ["atpc-short likely Hop-1/carrier/1/end/b"]),
    ("ATPC on where none is planned is no lack of power", 'Hop-1/a radio.rx-level fail -45 -57\nHop-1/b radio.rx-level pass -45 -45\nHop-1/b radio.atpc fail "off" "on"',
     ["far-transmitter possible Hop-1/carrier/1/end/b", "near-receiver possible Hop-1/carrier/1/end/a"]),
    ("low by 6.9 dB, and the far end sends 4.0 dB less: that explains itself alone", up("b") + "Hop-1/a radio.rx-level fail -45 -51.9\nHop-1/b radio.rx-level pass -45 -45\nHop-1/b radio.tx-power fail 18 14",
     ["power-low certain Hop-1/carrier/1/end/b"]),
    ("low by 16 dB, and the far end sends 4 dB less: a loss besides", up("b") + "Hop-1/a radio.rx-level fail -45 -61\nHop-1/b radio.rx-level pass -45 -45\nHop-1/b radio.tx-power fail 18 14",
     ["power-low certain Hop-1/carrier/1/end/b", "far-transmitter possible Hop-1/carrier/1/end/b", "near-receiver possible Hop-1/carrier/1/end/a"]),
    ("no level is planned, one direction takes more", "Hop-1/ radio.reciprocity fail 0 12.1", ["far-transmitter possible Hop-1/carrier/1/end/a", "near-receiver possible Hop-1/carrier/1/end/b"]),
    ("level right, SNR low", "Hop-1/a radio.rx-level pass -45 -30.5\nHop-1/a radio.snr fail 30 12",
     ["interference possible Hop-1/carrier/1/end/a", "multipath possible Hop-1/carrier/1/end/a"]),
    ("level near the limit, SNR low", "Hop-1/a radio.rx-level pass -22 -22\nHop-1/a radio.snr fail 30 12",
     ["interference possible Hop-1/carrier/1/end/a", "overload possible Hop-1/carrier/1/end/a", "multipath possible Hop-1/carrier/1/end/a"]),
    ("SNR low, the level 9 dB below the limit", "Hop-1/a radio.rx-level pass -29 -29\nHop-1/a radio.snr fail 30 12",
     ["interference possible Hop-1/carrier/1/end/a", "overload possible Hop-1/carrier/1/end/a", "multipath possible Hop-1/carrier/1/end/a"]),
    ("both low by 3 dB unlike: still alike", BOTH_LOW.format(-65, -62), ["side-lobe likely Hop-1", *ALIKE]),
    ("SNR low and the level moves", "Hop-1/a radio.rx-level pass -45 -45\nHop-1/a radio.snr fail 30 12\nHop-1/a radio.rx-level-spread warn",
     ["interference possible Hop-1/carrier/1/end/a", "multipath likely Hop-1/carrier/1/end/a"]),
    ("level right, no lock, link ids differ", "Hop-1/a radio.rx-level pass -45 -45\nHop-1/a radio.lock fail\nHop-1/a radio.link-id fail 7 8",
     ["link-id-differs likely Hop-1"]),
    ("level right, no lock, bandwidths differ", "Hop-1/a radio.rx-level pass -45 -45\nHop-1/a radio.lock fail\nHop-1/b radio.bandwidth fail 28 14",
     ["bandwidth-differs likely Hop-1"]),
    ("level right, no lock, all read and right: the key", "Hop-1/a radio.rx-level pass -45 -45\nHop-1/a radio.lock fail\n"
     + "".join(f"Hop-1/{e} radio.{c} pass\n" for e in "ab" for c in ("link-id", "bandwidth", "modulation", "test-mode")), ["key-differs possible Hop-1"]),
    ("level right, no lock, nothing read", "Hop-1/a radio.rx-level pass -45 -45\nHop-1/a radio.lock fail",
     ["link-id-differs possible Hop-1", "bandwidth-differs possible Hop-1", "mode-differs possible Hop-1",
      "test-mode possible Hop-1/carrier/1/end/b", "key-differs possible Hop-1"]),
]  # fmt: skip
XPIC_LEVELS = "".join(
    f"Hop-3{c}/{e} radio.rx-level pass -45 -45\n" for c in (".1", ".2") for e in "ab"
)
RADIO += [
    ("XPIC: no discrimination at both carriers leads what it does",
     XPIC_LEVELS + "".join(f"Hop-3{c}/{e} radio.xpi fail 20 -14\nHop-3{c}/{e} radio.snr fail 25 2\n" for c in (".1", ".2") for e in "ab"),
     ["polarisations-crossed likely Hop-3", *(f"{k} {s} Hop-3/carrier/{c}/end/{e}" for c in "12" for e in "ab"
      for k, s in (("interference", "likely"), ("multipath", "possible")))]),
    ("XPIC: both carriers hear the other one's device",
     XPIC_LEVELS + "Hop-3.1/a link.far-end fail v2 w2\nHop-3.2/a link.far-end fail w2 v2",
     ["polarisations-crossed likely Hop-3/end/a"]),
    ("XPIC: each radio of an end reads the other polarisation",
     "Hop-3.1/b radio.polarisation fail V H\nHop-3.2/b radio.polarisation fail H V", ["polarisations-crossed likely Hop-3/end/b"]),
    ("XPIC: levels right, no lock at both carriers: crossed, or another setting",
     XPIC_LEVELS + "Hop-3.1/a radio.lock fail\nHop-3.2/a radio.lock fail",
     ["polarisations-crossed possible Hop-3/end/a", *(k.format(c) for c in "12" for k in (
         "link-id-differs possible Hop-3/carrier/{}", "bandwidth-differs possible Hop-3/carrier/{}",
         "mode-differs possible Hop-3/carrier/{}", "test-mode possible Hop-3/carrier/{}/end/b",
         "key-differs possible Hop-3/carrier/{}"))]),
]  # fmt: skip
PORTS: Situations = [
    ("two of four pairs, or set so: both fit", "a:eth1 port.speed fail 1000 100", ["negotiated-down possible a/eth1", "speed-set possible a/eth1"]),
    ("two of four pairs, with errors", "a:eth1 port.speed fail 1000 100\na:eth1 port.errors fail 0 812", ["negotiated-down likely a/eth1", "speed-set possible a/eth1"]),
    ("a fibre has no pairs", "a:sfp1 port.speed fail 1000 100", ["speed-set possible a/sfp1"]),
    ("duplex mismatch, both sides read", up("a") + "a:eth1 port.duplex fail full half\nsw:p1 port.duplex pass full full", ["duplex-mismatch certain a/eth1"]),
    ("duplex mismatch, one side read", "a:eth1 port.duplex fail full half\na echo.loss warn 0 4", ["duplex-mismatch likely a/eth1"]),
    ("half duplex at both sides", "a:eth1 port.duplex fail full half\nsw:p1 port.duplex fail full half", ["duplex-mismatch possible a/eth1", "duplex-mismatch possible sw/p1"]),
]  # fmt: skip
CANNOT_TELL = [
    ("nothing is wrong", up("a", "b") + "Hop-1/a radio.rx-level pass -45 -45"),
    ("a single level cannot say which end", "Hop-1/a radio.rx-level fail -45 -57"),
    ("a single level, the other end not read", "Hop-1/a radio.rx-level fail -45 -57\nHop-1/b radio.rx-level not-tested -45"),
    ("both low, but not by the same amount", "Hop-1/a radio.rx-level fail -45 -55\nHop-1/b radio.rx-level fail -45 -65"),
    ("both low, 3.5 dB unlike", "Hop-1/a radio.rx-level fail -45 -65\nHop-1/b radio.rx-level fail -45 -61.5"),
    ("nothing is received at either end", "Hop-1/a radio.rx-level fail -45 -\nHop-1/b radio.rx-level fail -45 -"),
    ("both levels too high", "Hop-1/a radio.rx-level fail -45 -35\nHop-1/b radio.rx-level fail -45 -35"),
    ("a low modulation follows from a low level", "Hop-1/a radio.modulation fail 256qam 4qam\nHop-1/a radio.rx-level fail -45 -80"),
    ("XPIC: poor discrimination, yet some: a feed is turned a little", XPIC_LEVELS + "Hop-3.1/a radio.xpi fail 20 14\nHop-3.2/a radio.xpi fail 20 14"),
    ("XPIC: no discrimination at one carrier", XPIC_LEVELS + "Hop-3.1/a radio.xpi fail 20 -3"),
    ("XPIC: one polarisation is set wrong", "Hop-3.1/b radio.polarisation fail V H\nHop-3.2/b radio.polarisation pass H H"),
    ("no lock, level not known", "Hop-1/a radio.lock fail"),
    ("SNR low, level not known", "Hop-1/a radio.snr fail 30 12"),
    ("a hardware address alone is wrong, the serial is right", "a identity.name pass a a\na neighbour.mac fail m1 m2\na identity.serial pass"),
    ("a port is down", "a:eth1 port.status fail up down"),
    ("faster than planned", "a:eth1 port.speed fail 100 1000"),
    ("another MTU", "a:eth1 port.mtu fail 1500 1400"),
    ("echoes are filtered: the device is not silent", "a echo.reply fail\na snmp.answer pass"),
    ("the laptop does not fit: nobody is silent", "a laptop.fit not-tested\na echo.reply not-tested\nb echo.reply not-tested"),
    ("behind a device that was not asked", "a echo.reply not-tested\nb echo.reply not-tested"),
    ("two settings wrong are no reversal", "a identity.serial pass\na settings.ntp fail\na identity.location warn"),
    ("SNMP was not asked", up("a") + "a snmp.answer not-tested\na address.mask not-tested"),
    ("both levels right, a difference remains", "Hop-1/ radio.reciprocity fail 0 7\nHop-1/a radio.rx-level pass -45 -45\nHop-1/b radio.rx-level pass -45 -45"),
    ("a small difference alone", "Hop-1/ radio.reciprocity warn 0 6"),
]  # fmt: skip
AT_THE_EDGE: Situations = [
    # exactly at a figure and a step beyond; what fails together and what does not
    ("xpi 3", "Hop-3.1/a radio.rx-level pass -45 -45\nHop-3.1/b radio.rx-level pass -45 -45\nHop-3.2/a radio.rx-level pass -45 -45\nHop-3.2/b radio.rx-level pass -45 -45\nHop-3.1/a radio.xpi fail 20 3\nHop-3.2/a radio.xpi fail 20 3\n",
     ["polarisations-crossed likely Hop-3/end/a"]),
    ("xpi 3.1", "Hop-3.1/a radio.rx-level pass -45 -45\nHop-3.1/b radio.rx-level pass -45 -45\nHop-3.2/a radio.rx-level pass -45 -45\nHop-3.2/b radio.rx-level pass -45 -45\nHop-3.1/a radio.xpi fail 20 3.1\nHop-3.2/a radio.xpi fail 20 3.1\n",
     []),
    ("snr low at -30", "Hop-1/a radio.rx-level pass -30 -30\nHop-1/a radio.snr fail 30 12",
     ["interference possible Hop-1/carrier/1/end/a", "multipath possible Hop-1/carrier/1/end/a"]),
    ("snr low at -29.9", "Hop-1/a radio.rx-level pass -29.9 -29.9\nHop-1/a radio.snr fail 30 12",
     ["interference possible Hop-1/carrier/1/end/a", "overload possible Hop-1/carrier/1/end/a", "multipath possible Hop-1/carrier/1/end/a"]),
    ("snr low at -20", "Hop-1/a radio.rx-level pass -20 -20\nHop-1/a radio.snr fail 30 12",
     ["interference possible Hop-1/carrier/1/end/a", "overload likely Hop-1/carrier/1/end/a", "multipath possible Hop-1/carrier/1/end/a"]),
    ("snr low at -19.9", "Hop-1/a radio.rx-level pass -19.9 -19.9\nHop-1/a radio.snr fail 30 12",
     ["interference possible Hop-1/carrier/1/end/a", "overload likely Hop-1/carrier/1/end/a", "multipath possible Hop-1/carrier/1/end/a"]),
    ("two silent of an entry", "a echo.reply pass\na identity.name pass a a\nb echo.reply pass\nb identity.name pass b b\na snmp.answer fail - silent\nb snmp.answer fail - silent",
     ["snmp-wrong-key possible a", "snmp-filtered possible a", "snmp-wrong-key possible b", "snmp-filtered possible b"]),
    ("three silent of an entry, a fourth answers", "a echo.reply pass\na identity.name pass a a\nb echo.reply pass\nb identity.name pass b b\nc echo.reply pass\nc identity.name pass c c\nd echo.reply pass\nd identity.name pass d d\na snmp.answer fail - silent\nb snmp.answer fail - silent\nc snmp.answer fail - silent\nd snmp.answer pass",
     ["snmp-wrong-key possible a", "snmp-filtered possible a", "snmp-wrong-key possible b", "snmp-filtered possible b", "snmp-wrong-key possible c", "snmp-filtered possible c"]),
    ("3 cloned", "a identity.name pass a a\na snmp.engine-id warn - 80aa\nb identity.name pass b b\nb snmp.engine-id warn - 80aa\nc identity.name pass c c\nc snmp.engine-id warn - 80aa\n",
     ["engine-id-cloned certain a"]),
    ("4 cloned", "a identity.name pass a a\na snmp.engine-id warn - 80aa\nb identity.name pass b b\nb snmp.engine-id warn - 80aa\nc identity.name pass c c\nc snmp.engine-id warn - 80aa\nd identity.name pass d d\nd snmp.engine-id warn - 80aa\n",
     ["engine-id-cloned certain a"]),
    ("up 359999", "a identity.serial pass\na address.mask fail 1 2\na identity.location warn\na settings.ntp fail\nseen a sysUpTime 359999",
     ["mask-wrong likely a", "settings-reverted likely a", "not-set-up possible a"]),
    ("up 360000", "a identity.serial pass\na address.mask fail 1 2\na identity.location warn\na settings.ntp fail\nseen a sysUpTime 360000",
     ["mask-wrong likely a", "settings-reverted possible a", "not-set-up possible a"]),
    ("power 7.0", "b echo.reply pass\nb identity.name pass b b\nHop-1/a radio.rx-level fail -45 -57\nHop-1/b radio.rx-level pass -45 -45\nHop-1/b radio.tx-power fail 18 7.0",
     ["power-low certain Hop-1/carrier/1/end/b"]),
    ("power 6.9", "b echo.reply pass\nb identity.name pass b b\nHop-1/a radio.rx-level fail -45 -57\nHop-1/b radio.rx-level pass -45 -45\nHop-1/b radio.tx-power fail 18 6.9",
     ["power-low certain Hop-1/carrier/1/end/b"]),
    ("power 13.1", "b echo.reply pass\nb identity.name pass b b\nHop-1/a radio.rx-level fail -45 -57\nHop-1/b radio.rx-level pass -45 -45\nHop-1/b radio.tx-power fail 18 13.1",
     ["power-low certain Hop-1/carrier/1/end/b", "far-transmitter possible Hop-1/carrier/1/end/b", "near-receiver possible Hop-1/carrier/1/end/a"]),
    ("excess at power 9.0", "Hop-1/a radio.rx-level fail -45 -57\nHop-1/b radio.rx-level pass -45 -45\nHop-1/b radio.tx-power fail 18 9.0",
     ["power-low likely Hop-1/carrier/1/end/b"]),
    ("excess at power 8.9", "Hop-1/a radio.rx-level fail -45 -57\nHop-1/b radio.rx-level pass -45 -45\nHop-1/b radio.tx-power fail 18 8.9",
     ["power-low likely Hop-1/carrier/1/end/b"]),
    ("excess at power 9.1", "Hop-1/a radio.rx-level fail -45 -57\nHop-1/b radio.rx-level pass -45 -45\nHop-1/b radio.tx-power fail 18 9.1",
     ["power-low likely Hop-1/carrier/1/end/b", "far-transmitter possible Hop-1/carrier/1/end/b", "near-receiver possible Hop-1/carrier/1/end/a"]),
    ("snr 13 lower", "Hop-1/a radio.rx-level fail -45 -57\nHop-1/b radio.rx-level pass -45 -45\nHop-1/a radio.snr fail 38 25\nHop-1/b radio.tx-power pass 18 18",
     ["far-transmitter possible Hop-1/carrier/1/end/b", "near-receiver possible Hop-1/carrier/1/end/a"]),
    ("snr 13.1 lower", "Hop-1/a radio.rx-level fail -45 -57\nHop-1/b radio.rx-level pass -45 -45\nHop-1/a radio.snr fail 38 24.9\nHop-1/b radio.tx-power pass 18 18",
     ["far-transmitter possible Hop-1/carrier/1/end/b", "near-receiver possible Hop-1/carrier/1/end/a"]),
    ("plan sum 2.9", "Hop-2/a radio.rx-level fail -35.6 -48.55\nHop-2/b radio.rx-level pass -35.6 -35.6",
     ["planned-level-wrong likely Hop-2/carrier/1/end/a"]),
    ("plan sum 3.0", "Hop-2/a radio.rx-level fail -35.6 -48.65\nHop-2/b radio.rx-level pass -35.6 -35.6",
     ["planned-level-wrong likely Hop-2/carrier/1/end/a"]),
    ("plan sum 3.1", "Hop-2/a radio.rx-level fail -35.6 -48.75\nHop-2/b radio.rx-level pass -35.6 -35.6",
     ["planned-level-wrong likely Hop-2/carrier/1/end/a"]),
    ("both unlike 3.0", "\nHop-1/a radio.rx-level fail -45 -65\nHop-1/b radio.rx-level fail -45 -62.0\nHop-1/a radio.tx-power pass 18 18\nHop-1/b radio.tx-power pass 18 18\n",
     ["side-lobe likely Hop-1", "path-loss possible Hop-1", "feeder-loss possible Hop-1", "losses-apart possible Hop-1"]),
    ("both unlike 3.1", "\nHop-1/a radio.rx-level fail -45 -65\nHop-1/b radio.rx-level fail -45 -61.9\nHop-1/a radio.tx-power pass 18 18\nHop-1/b radio.tx-power pass 18 18\n",
     []),
    ("reciprocity to a", "Hop-1/ radio.reciprocity fail 0 -12.1\nHop-1/b radio.tx-power pass 18 18\nHop-1/a radio.lock warn true false",
     ["far-transmitter possible Hop-1/carrier/1/end/b", "near-receiver possible Hop-1/carrier/1/end/a"]),
    ("low level at b, dead", "Hop-1/b radio.rx-level fail -45 -\nHop-1/a radio.rx-level pass -45 -45\nHop-1/a radio.tx-power pass 18 18\nHop-1/b radio.lock fail true false",
     ["far-transmitter possible Hop-1/carrier/1/end/a", "near-receiver possible Hop-1/carrier/1/end/b"]),
    ("path loss tells, level made up by power", "Hop-1/a radio.path-loss fail 63.6 83.6\nHop-1/b radio.path-loss pass 63.6 63.6\nHop-1/b radio.tx-power fail 18 28\nHop-1/a radio.rx-level warn -45 -54",
     ["left-in-alignment possible Hop-1/carrier/1/end/b", "far-transmitter possible Hop-1/carrier/1/end/b", "near-receiver possible Hop-1/carrier/1/end/a"]),
    ("muted and all that hangs on it", "a echo.reply pass\na identity.name pass a a\nHop-1/a radio.transmitter fail on off\nHop-1/b radio.rx-level fail -45 -\nHop-1/b radio.lock fail true false\nHop-1/b link.far-end not-tested\nHop-1/ radio.reciprocity not-tested\nHop-1/a radio.modulation warn 256qam 4qam\nHop-1/a radio.rx-level pass -45 -45",
     ["muted certain Hop-1/carrier/1/end/a"]),
    ("off where it should be", "Hop-1/a radio.transmitter fail off on",
     []),
    ("four settings, the unit is exchanged", "a identity.serial fail 1 2\na settings.ntp fail\na settings.trap fail\na settings.syslog fail\na state.restarts warn",
     ["settings-reverted possible a", "not-set-up possible a"]),
    ("three settings that only warn", "a settings.ntp warn\na identity.location warn\na port.mtu warn",
     []),
    ("one setting makes several checks wrong", "Hop-1/a radio.tx-power fail 18 26\nHop-1/a radio.atpc fail on off\nHop-1/a radio.eirp fail 55 62\nHop-1/a radio.modulation pass\na settings.ntp fail",
     ["left-in-alignment possible Hop-1/carrier/1/end/a"]),
    ("silence with half the services filtered", 'a echo.reply pass\na identity.name pass a a\na snmp.answer fail - silent\na tcp.open fail - "443/tcp_closed"',
     ["snmp-wrong-key possible a", "snmp-filtered possible a"]),
    ("error status", "a echo.reply pass\na neighbour.mac pass\nb echo.reply pass\nb snmp.answer pass\na snmp.answer fail - error-status",
     ["snmp-refused likely a"]),
    ("unknown engine id", "a echo.reply pass\na neighbour.mac pass\nb echo.reply pass\nb snmp.answer pass\na snmp.answer fail - unknown-engine-id\na address.mask not-tested\na:eth1 port.speed not-tested\nHop-1/a radio.lock not-tested\na echo.loss not-tested",
     ["snmp-clock certain a"]),
    ("one device at two addresses by name", "a identity.name pass a a\nb identity.name fail b a\na snmp.engine-id fail - 80aa\nb snmp.engine-id fail - 80aa",
     ["wrong-device possible b", "name-wrong possible b", "engine-id-cloned possible a", "one-device-twice possible a"]),
    ("no lock, alignment left", "Hop-1/a radio.rx-level pass -45 -45\nHop-1/a radio.lock fail\nHop-1/b radio.modulation fail 256qam 4qam\nHop-1/b radio.tx-power fail 18 26",
     ["left-in-alignment likely Hop-1/carrier/1/end/b", "key-differs possible Hop-1"]),
    ("no lock, test mode at the far end", "Hop-1/a radio.rx-level pass -45 -45\nHop-1/a radio.lock fail\nHop-1/b radio.test-mode fail off on",
     ["test-mode likely Hop-1/carrier/1/end/b"]),
    ("no lock, modulation read on a fixed link", "Hop-2/a radio.rx-level pass -35 -35\nHop-2/a radio.lock fail\nHop-2/b radio.modulation fail 64qam 16qam",
     ["mode-differs likely Hop-2"]),
    ("both ends deaf", "a echo.reply pass\na identity.name pass a a\nb echo.reply pass\nb identity.name pass b b\nHop-1/a radio.tx-frequency fail 13143 13157\nHop-1/b radio.tx-frequency fail 12877 12891\nHop-1/a radio.rx-level fail -45 -\nHop-1/b radio.rx-level fail -45 -\nHop-1/ radio.reciprocity not-tested",
     ["frequency-wrong certain Hop-1/carrier/1/end/a", "frequency-wrong certain Hop-1/carrier/1/end/b"]),
    ("planned level wrong and far power low", "Hop-2/a radio.rx-level fail -35.6 -49.9\nHop-2/b radio.rx-level pass -35.6 -35.6\nHop-2/b radio.tx-power fail 18 14",
     ["planned-level-wrong likely Hop-2/carrier/1/end/a", "power-low likely Hop-2/carrier/1/end/b"]),
    ("rx frequency of the other end", "Hop-1/a radio.rx-frequency fail 12877 13143\nHop-1/a radio.tx-frequency fail 13143 12877\nHop-1/b radio.tx-frequency pass 12877 12877",
     ["frequency-wrong likely Hop-1/carrier/1/end/a"]),
    ("within a kHz of what the other end has", "a echo.reply pass\na identity.name pass a a\nHop-1/a radio.tx-frequency fail 13143 12877.001\nHop-1/b radio.tx-frequency pass 12877 12877",
     ["frequency-wrong certain Hop-1/carrier/1/end/a"]),
    ("more than that", "a echo.reply pass\na identity.name pass a a\nHop-1/a radio.tx-frequency fail 13143 12877.0011\nHop-1/b radio.tx-frequency pass 12877 12877",
     ["frequency-wrong certain Hop-1/carrier/1/end/a"]),
]  # fmt: skip
SITUATIONS = [*TOPOLOGY, *ADDRESSES, *SNMP, *SETTINGS, *RADIO, *PORTS]


def test_enough_situations() -> None:
    """At least 60 in all, at least 15 of them without a conclusion."""
    titles = [s[0] for s in (*SITUATIONS, *CANNOT_TELL)]
    assert len(set(titles)) == len(titles) >= 60
    assert len(CANNOT_TELL) >= 15


@pytest.mark.parametrize(("lines", "expected"), [s[1:] for s in SITUATIONS], ids=[s[0] for s in SITUATIONS])  # fmt: skip
def test_causes(lines: str, expected: list[str]) -> None:
    """Exactly these causes with this certainty, in order; each says what to try first."""
    _, causes = explained(lines)
    assert [short(c).rstrip("/") .strip() for c in causes] == expected  # fmt: skip
    assert all(c.text and c.for_ and c.try_first for c in causes)


@pytest.mark.parametrize(("edge_db", "below", "above"), EDGES)
def test_edges_of_a_loss_in_both_directions(edge_db, below, above) -> None:
    """First side lobe 15 to 25 dB, polarisation to 35, both side lobes to 45; both fit within 1 dB."""

    def told(lost_db: float) -> set[str]:
        _, causes = explained(BOTH_LOW.format(-45 - lost_db, -45 - lost_db))
        return {short(c) for c in causes} & {SIDE_LOBE, TURNED, LOBES, OFF}

    low = [OFF] if edge_db == EDGES[0][0] else []
    assert told(edge_db - 0.1) == {*below, *low}
    assert told(edge_db) == told(edge_db + 2) == {*below, *above, *low}
    assert told(edge_db + 2.1) == {*above}


@pytest.mark.parametrize(("lines", "expected"), [s[1:] for s in AT_THE_EDGE], ids=[s[0] for s in AT_THE_EDGE])  # fmt: skip
def test_at_the_edge(lines: str, expected: list[str]) -> None:
    """The same, where one figure less would say another thing."""
    assert [short(c) for c in explained(lines)[1]] == expected


@pytest.mark.parametrize("lines", [s[1] for s in CANNOT_TELL], ids=[s[0] for s in CANNOT_TELL])
def test_no_conclusion(lines: str) -> None:
    """The evidence does not carry, so there is no cause."""
    assert [short(c) for c in explained(lines)[1]] == []


def test_every_kind_is_in_a_situation() -> None:
    """The table of kinds and the situations know the same causes."""
    kinds = {expected.split()[0] for _, _, causes in SITUATIONS for expected in causes}
    assert kinds == set(TRY_FIRST)
