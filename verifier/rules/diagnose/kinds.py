"""The table of causes: what to try first, by kind. Common practice of the trade, no source."""

from __future__ import annotations

from collections.abc import Mapping

from verifier.rules.fit.ways import PLUG_IN

_SERIAL = "compare the serial number on the device with the plan before changing anything"

TRY_FIRST: Mapping[str, str] = {
    # topology
    "cable-out": PLUG_IN,
    "device-silent": "check power, cable and port; is the device at another address?",
    "device-down": "ask from beyond it, or look at its power and cable on site",
    "uplink-down": "power, cable and port of this device first; then ask those behind it again",
    "gateway-down": "ask the gateway itself, then the cable and the route before it",
    "hop-down": "is the far device powered and its transmitter on? Then the path and the antennas",
    "management-silent": "its management address, VLAN and filter, from its neighbour's side",
    "nothing-answers": "the cable, port and VLAN of this laptop, and the first switch behind it",
    # addresses
    "ends-swapped": _SERIAL,
    "wrong-device": _SERIAL,
    "devices-swapped": "compare both serial numbers on site: put each device where it is "
    "planned, or "
    "write into the plan where it stands now",
    "device-exchanged": "if it was exchanged on purpose, correct the plan; else find out who did",
    "name-wrong": "compare the serial number; if it is the planned device, set its name and save",
    "mask-wrong": "correct the mask in the device, save, and read it again",
    "gateway-wrong": "correct the gateway in the device, save, and read it again",
    "plan-wrong": "look into the network's drawings: are the devices right and the plan is not?",
    "address-twice": "take the planned device off the cable: whoever still answers is the "
    "other one",
    "path-doubled": "look for a loop or a doubled path between here and the device",
    "proxy-arp": "ask each device for its name: an echo alone proves nothing here; switch "
    "proxy ARP "
    "off at the router",
    # snmp
    "snmp-off": "switch the device's SNMP agent on, or correct the port in the credentials",
    "snmp-refused": "create the user in the device, or correct user and security level",
    "snmp-filtered": "the device's list of allowed addresses, then filters on the way",
    "snmp-wrong-key": "compare the community or the keys, and their methods, with the device's",
    "snmp-clock": "leave the keys; restart the agent, and see that it keeps its boot counter",
    "snmp-other-address": "set the source address of the device's SNMP agent to the planned one",
    "snmp-other-program": "what listens at this port of the device? Correct port or program",
    "snmp-damaged": "restart the device's agent; then ask from beside the device",
    "credentials-wrong": "try these credentials on one device that is known to be right",
    "engine-id-cloned": "give each device its own engine id, then set its SNMPv3 keys again",
    "one-device-twice": "take one of the devices off the cable and ask both addresses",
    # settings
    "settings-unsaved": "save the settings in the device, then prove it by a restart",
    "settings-reverted": "set them again, save, restart, and read them once more",
    "not-set-up": "set the device up by its plan, save, restart, and read it once more",
    "left-in-alignment": "set the planned modulation and power, save, and read both again",
    "muted": "is anyone in front of the antenna? If not, switch the transmitter on",
    "test-mode": "end the test mode, save, and read it again",
    # radio
    "power-low": "set the planned power; is ATPC or a limit holding it down?",
    "atpc-short": "switch ATPC off at both ends and read both levels; then its target and its most",
    "planned-level-wrong": "nobody needs to climb: look at the planned level and at the figures of "
    "its sum first",
    "far-transmitter": "measure the power at the far device's output, or put in a spare",
    "near-receiver": "measure the level before this receiver, or put in a spare",
    "side-lobe": "sweep one axis of one antenna through the peak and both nulls",
    "side-lobes-both": "sweep one axis of one antenna through the peak and both nulls",
    "polarisation-turned": "look at both feeds: marks or arrows must agree with the plan",
    "polarisations-crossed": "compare both feeders with their marks, V to V and H to H, at each "
    "end; the end that was worked on last first",
    "misaligned": "one end moves, the other holds: peak each axis, through both nulls",
    "path-loss": "note the weather, look along the path, wait for dry air, read again",
    "feeder-loss": "joints, water and bends of the feeder; exchange jumpers one at a time",
    "losses-apart": "look for what both directions share first; then at each end by itself",
    "interference": "mute the far transmitter: whatever level is left is somebody else's",
    "overload": "lower the far power by 10 dB: if the SNR rises, it was too much",
    "multipath": "read for a day: it comes and goes, at night and over water most",
    "link-id-differs": "set one link id at both ends",
    "bandwidth-differs": "set one bandwidth at both ends",
    "mode-differs": "set both ends to the planned modulation and mode",
    "key-differs": "set the encryption key anew at both ends, or off at both for a trial",
    "frequency-wrong": "set the planned frequency at this end",
    "frequencies-crossed": "set each end's own frequency; compare serial numbers if it refuses",
    "bands-crossed": "compare part and serial numbers on both devices with the plan",
    # ports
    "negotiated-down": "try another cable; then test all four pairs, plugs and arresters",
    "speed-set": "set both sides to negotiate, or both to the planned speed",
    "duplex-mismatch": "let both sides negotiate, or set both alike; then watch the error counters",
}
"""Every kind of cause there is."""
SILENCING = frozenset(
    {
        "left-in-alignment", "test-mode", "power-low", "side-lobe", "side-lobes-both",
        "polarisation-turned", "misaligned", "feeder-loss", "losses-apart", "far-transmitter",
        "near-receiver", "interference", "overload", "link-id-differs", "bandwidth-differs",
        "mode-differs", "key-differs", "frequency-wrong", "frequencies-crossed", "bands-crossed",
        "ends-swapped", "devices-swapped",
    }
)  # fmt: skip
"""Kinds whose advice, followed, takes the link down or may: it is muted, turned, or set anew."""
