"""The closed table of faults: what each makes, and so what can be concluded from what was found.

A row says of one kind of fault which findings it can have a part in (`found`: checks, where they
are seen from the fault, how found stands to planned) and which of these it makes alone (`alone`,
the same unless said). Two things follow, for every cause alike (`entailed`):

- a cause takes a finding under itself only if its fault alone makes such a finding;
- it is certain only if no other fault of the table, and no two, can have made what it takes.

So a row that says too much makes others less certain, one that says too little makes them certain
where they are not. Rows that no cause is concluded from stand here for that reason alone. All is
common practice of the trade, no source.
"""

from __future__ import annotations

from collections.abc import Mapping

from verifier.model.checks import CHECK_NAMES
from verifier.rules.diagnose.reception import (
    adapted,
    by_power,
    carried,
    deaf,
    deaf_hop,
    drowned,
    faded,
    left_lowest,
    unheard,
    unlike,
)
from verifier.rules.diagnose.relations import (
    Fault,
    Found,
    Sign,
    above,
    alike,
    anything,
    apart,
    below,
    both,
    cross_polar,
    crossed,
    doubled,
    entry_unproved,
    gone,
    heard,
    lacking,
    never,
    nobodys,
    not_crossed,
    not_exchanged,
    of_the_other,
    off,
    one,
    outcome,
    own_setting,
    routed,
    several,
    strange,
    stranger,
    swapped,
    unlinked,
    unread,
    untested,
    wrong,
)

_RECEIVED = "radio.rx-level radio.lock radio.snr radio.path-loss radio.fade-margin radio.xpi"
_SENT = "radio.modulation radio.capacity"
_WHOLE = "radio.reciprocity"
_HEARD = f"{_RECEIVED} {_SENT} link.far-end radio.*-seconds"
_OWN = (
    "identity.* state.* address.* port.* settings.* radio.* link.* snmp.* tcp.* echo.loss "
    "echo.round-trip "
    "neighbour.mac"
)
_HARDWARE = "identity.serial identity.part identity.software identity.object-id neighbour.mac"
_FREQUENCY = "radio.tx-frequency radio.rx-frequency"
_ON_AIR = (
    f"{_FREQUENCY} radio.bandwidth radio.tx-power radio.link-id radio.atpc "
    "radio.modulation radio.polarisation"
)


def _low(near: str, far: str) -> tuple[Sign, ...]:
    """A level that is low at `near`, what follows from it there, and in what is sent from `far`."""
    return (
        Sign(near, "radio.rx-level", lacking),
        Sign(near, "radio.snr", wrong, faded),
        Sign(near, "radio.lock", wrong, drowned),
        Sign(
            near, "radio.fade-margin radio.path-loss radio.rx-level-spread radio.*-seconds", wrong
        ),
        Sign(near, "radio.modulation", anything, carried(across=False)),
        Sign(far, _SENT, anything, carried(across=True)),
        Sign(near, "radio.xpi radio.capacity link.far-end", anything, never),
        Sign("whole", _WHOLE, anything, never if near == far else wrong),
    )


def _silent(*more: Sign) -> tuple[Sign, ...]:
    return (Sign("self ends whole", "*", gone), *more)


def _unanswered(*words: str, found: Found | None = None) -> tuple[Sign, ...]:
    return (
        Sign("self", "snmp.answer", found or outcome(*words)),
        Sign("self ends whole", "*", unread),
    )


def _unlocked(own: str, certain: Found = wrong) -> tuple[Sign, ...]:
    """Two ends that are not set alike: neither locks, though the level is right."""
    return (
        *((Sign("ends", own, certain),) if own else ()),
        Sign("ends", "radio.lock", wrong, unheard),
        Sign("ends", _SENT, anything, adapted),
        Sign("ends", "radio.snr radio.*-seconds link.far-end", anything, never),
        Sign("whole", _WHOLE, anything, never),
    )


def _mixed_up(device: Found, end: Found) -> tuple[Sign, ...]:
    """Two devices at each other's place: whatever tells one from the other follows."""
    return (
        Sign("device", _HARDWARE, anything, device),
        Sign("device", "identity.location port.*", anything, device),
        Sign("device", "state.alarm settings.* snmp.*", anything, never),
        Sign("ends", "*", anything, never),
        Sign("ends", f"{_ON_AIR} link.far-end", wrong, end),
        Sign("whole", "*", anything, never),
    )


_KEYS = ("silent", "wrong-digest", "decryption-error")
TABLE: tuple[Fault, ...] = (
    # this laptop
    Fault("cable-out", "all", (
        Sign("self", "laptop.fit", unlinked), Sign("self", "*", untested))),
    # who is silent
    Fault("device-silent", "device", _silent()),
    Fault("device-down", "device", _silent(
        Sign("across", f"{_RECEIVED} {_SENT} link.far-end", anything)), likely=True),
    Fault("management-silent", "device", _silent(), likely=True),
    Fault("uplink-down", "device", _silent(
        Sign("behind", "*", gone),
        Sign("across", f"{_RECEIVED} {_SENT} link.far-end", anything, never))),
    Fault("gateway-down", "gateway", (Sign("behind", "*", gone),), likely=True),
    Fault("hop-down", "hop", (
        Sign("device behind", "*", gone),
        Sign("ends whole", f"{_RECEIVED} {_SENT} {_WHOLE} link.far-end", anything)),
        likely=True),
    Fault("nothing-answers", "all", (
        Sign("self", "echo.reply", must=True), Sign("self", "*", gone)), likely=True),
    Fault("echoes-filtered", "device", (Sign("self", "echo.*", anything),)),
    # who it is
    Fault("ends-swapped", "link", (
        Sign("device", "identity.serial neighbour.mac", must=True, alone=swapped),
        Sign("device", "identity.name", one, must=True), Sign("whole", "link.ends-swapped"),
        *_mixed_up(swapped, crossed)), same="places"),
    Fault("moved", "device", (Sign("self", _HARDWARE, both(of_the_other, not_exchanged)),)),
    Fault("devices-swapped", "two", (
        Sign("self", f"{_HARDWARE} identity.name identity.location", anything, of_the_other),
        Sign("self", "state.alarm settings.saved", anything, never)), same="places"),
    Fault("wrong-device", "device", (
        Sign("self", "identity.name identity.serial neighbour.mac", stranger, must=True),
        Sign("self", "identity.object-id identity.location"),
        Sign("across", "link.far-end", anything, heard),
        Sign("self ends", _OWN, stranger, never),
        Sign("across whole", _HEARD + " link.* " + _WHOLE, not_exchanged, never))),
    Fault("device-exchanged", "device", (
        Sign("self", "identity.serial neighbour.mac", nobodys, must=True),
        Sign("self", _HARDWARE, nobodys, never))),
    Fault("typed-otherwise", "finding", (
        Sign("self", f"{_HARDWARE} identity.location settings.ntp settings.trap settings.syslog "
             "port.status port.mtu radio.atpc radio.polarisation", nobodys),
        Sign("self", "port.duplex", alike))),
    Fault("name-wrong", "device", (
        Sign("self", "identity.name", one, must=True),
        Sign("across", "link.far-end", anything, heard),
        Sign("whole", "link.ends-swapped", wrong, never))),
    Fault("mask-wrong", "device", (Sign("self", "address.mask", must=True),)),
    Fault("gateway-wrong", "device", (
        Sign("self", "address.gateway", must=True), Sign("self", "*", routed))),
    Fault("plan-wrong", "subnet", (
        Sign("self", "address.mask address.gateway", must=True),), likely=True),
    Fault("address-twice", "device", (
        Sign("self", "neighbour.duplicate echo.duplicate"), Sign("self", "identity.name", several),
        Sign("self", "neighbour.mac", wrong, doubled),
        Sign("self ends whole", "*", gone, never),
        Sign("self ends", "*", strange, never),
        Sign("across whole", _HEARD + " link.* " + _WHOLE, strange, never))),
    Fault("path-doubled", "device", (Sign("self", "echo.duplicate"),), likely=True),
    Fault("proxy-arp", "all", (Sign("self", "neighbour.*"),), likely=True),
    # why SNMP tells nothing
    Fault("snmp-other-address", "device", (
        *_unanswered("silent"), Sign("self", "snmp.responder", must=True)), likely=True),
    Fault("snmp-off", "device", _unanswered("port-unreachable", "silent")),
    Fault("snmp-refused", "device",
          _unanswered("unknown-user", "unsupported-level", "error-status")),
    Fault("snmp-filtered", "device", (
        *_unanswered("silent", "host-unreachable"), Sign("self", "tcp.open")), likely=True),
    Fault("snmp-wrong-key", "device", _unanswered(*_KEYS)),
    Fault("snmp-clock", "device", _unanswered("not-in-time-window", "unknown-engine-id")),
    Fault("snmp-other-program", "device", _unanswered("undecodable", "silent"), likely=True),
    Fault("snmp-damaged", "device", _unanswered("undecodable", "silent", "error-status"),
          likely=True),
    Fault("credentials-wrong", "all", (
        Sign("self", "snmp.answer", entry_unproved), Sign("self", "*", unread)), likely=True),
    Fault("engine-id-cloned", "value", (Sign("self", "snmp.engine-id"),)),
    Fault("one-device-twice", "value", (
        Sign("self", "snmp.engine-id", apart),), likely=True),
    # settings
    Fault("settings-unsaved", "device", (Sign("self", "settings.saved", must=True),)),
    *(Fault(kind, "device", (
        Sign("self", "identity.name identity.location", wrong, own_setting),
        Sign("self", "state.restarts address.* settings.*"),
        Sign("ends", f"{_FREQUENCY} radio.link-id", wrong, not_crossed),
        Sign("self", "port.*", wrong, never), Sign("ends", f"{_ON_AIR} {_SENT}", anything, never),
        Sign("across", f"{_HEARD} radio.rx-frequency", anything, never),
        Sign("whole", f"{_WHOLE} link.*", anything, never)), settings=3)
      for kind in ("settings-reverted", "not-set-up")),
    Fault("left-in-alignment", "end", (
        Sign("self", "radio.tx-power", above), Sign("self", "radio.eirp"),
        Sign("self", "radio.atpc", off), Sign("self", _SENT, anything, left_lowest(across=False)),
        Sign("across", "radio.rx-level radio.path-loss", above),
        Sign("across", "radio.modulation", anything, left_lowest(across=True)),
        Sign("self across", "radio.lock", wrong, unlike),
        Sign("whole", _WHOLE, wrong, never))),
    Fault("power-raised", "end", (
        Sign("self", "radio.tx-power", above), Sign("self", "radio.eirp"),
        Sign("across", "radio.rx-level radio.path-loss", above),
        Sign("whole", _WHOLE, wrong, never))),
    Fault("mode-lowered", "end", (
        Sign("self across", _SENT), Sign("self across", "radio.lock", unlike))),
    Fault("muted", "end", (
        Sign("self", "radio.transmitter", off, must=True),
        Sign("self", _SENT, anything, adapted),
        Sign("across", f"{_RECEIVED} link.far-end radio.*-seconds", anything, deaf),
        Sign("across", _SENT, anything, never), Sign("whole", _WHOLE, anything, deaf_hop))),
    Fault("test-mode", "end", (
        Sign("self", "radio.test-mode", must=True),
        Sign("across", "radio.lock", wrong, unheard),
        Sign("self", _SENT, anything, adapted),
        Sign("self across", f"{_RECEIVED} {_SENT} radio.*-seconds link.far-end", anything, never))),
    # the level
    Fault("power-low", "end", (
        Sign("self", "radio.tx-power", below, must=True),
        *(Sign(s.at, s.checks, s.found, both(s.alone or s.found, by_power(across=s.at == "self")))
          for s in _low("across", "self")))),
    Fault("atpc-short", "end", (
        Sign("self", "radio.atpc", must=True), *_low("across", "self")), likely=True),
    Fault("far-transmitter", "end", _low("across", "self"), likely=True),
    Fault("near-receiver", "end", _low("self", "across"), likely=True),
    *(Fault(kind, "hop", _low("ends", "ends"), likely=True)
      for kind in ("side-lobe", "side-lobes-both", "misaligned", "path-loss", "feeder-loss",
                   "losses-apart")),
    Fault("polarisation-turned", "hop", (
        *_low("ends", "ends"), Sign("ends", "radio.polarisation"),
        Sign("device", "manual.polarisation", wrong)), likely=True),
    Fault("planned-level-wrong", "end", (
        Sign("self", "radio.rx-level radio.path-loss"),), likely=True),
    # reception
    Fault("interference", "end", (
        Sign("self", "radio.snr radio.xpi radio.*-seconds"),
        Sign("self", "radio.modulation", anything, adapted),
        Sign("self", "radio.capacity radio.lock", anything, never),
        Sign("across", _SENT, anything, never)),
        likely=True),
    Fault("overload", "end", (
        Sign("self", "radio.snr radio.*-seconds"),
        Sign("self", "radio.modulation", anything, adapted),
        Sign("self", "radio.rx-level radio.lock", above, never)), likely=True),
    Fault("multipath", "end", (
        Sign("self", "radio.snr radio.*-seconds radio.rx-level-spread"),
        Sign("self", "radio.modulation", anything, adapted)), likely=True),
    Fault("link-id-differs", "hop", _unlocked("radio.link-id")),
    Fault("bandwidth-differs", "hop", _unlocked("radio.bandwidth")),
    Fault("mode-differs", "hop", _unlocked("radio.modulation")),
    Fault("polarisations-crossed", "link", (
        Sign("ends", "radio.polarisation radio.xpi radio.lock radio.snr radio.link-id "
             "radio.*-seconds link.far-end", cross_polar),
        Sign("ends", _SENT, cross_polar)), likely=True),
    Fault("key-differs", "hop", _unlocked(""), likely=True),
    Fault("frequency-wrong", "end", (
        Sign("self", "radio.tx-frequency", must=True),
        Sign("self", _SENT, anything, adapted),
        Sign("across", f"{_RECEIVED} radio.*-seconds", anything, deaf),
        Sign("across", "link.far-end", anything, deaf),
        Sign("across", "radio.modulation", anything, both(adapted, deaf)),
        Sign("across", "radio.capacity", anything, never),
        Sign("whole", _WHOLE, anything, deaf_hop))),
    Fault("frequencies-crossed", "hop", (
        Sign("ends", _FREQUENCY, crossed, must=True),
        Sign("ends", _HEARD, anything, never), Sign("whole", _WHOLE, anything, never))),
    Fault("bands-crossed", "hop", (
        Sign("ends", _FREQUENCY, crossed, must=True),
        Sign("device", _HARDWARE, swapped),
        Sign("device", "identity.serial neighbour.mac", swapped, must=True),
        Sign("ends", _HEARD, anything, never), Sign("whole", _WHOLE, anything, never)),
        same="places"),
    # ports
    Fault("negotiated-down", "port", (Sign("self", "port.speed port.errors"),), likely=True),
    Fault("speed-set", "port", (
        Sign("self", "port.speed"), Sign("self", "port.duplex", alike)), likely=True),
    Fault("duplex-mismatch", "port", (
        Sign("self", "port.duplex port.errors"), Sign("self", "port.speed", wrong, never),
        Sign("device", "echo.loss", wrong, never))),
)  # fmt: skip
FAULTS: Mapping[str, Fault] = {fault.kind: fault for fault in TABLE}
"""By kind."""
BY_CHECK: Mapping[str, tuple[Fault, ...]] = {
    name: tuple(f for f in TABLE if name in f.by_check) for name in CHECK_NAMES
}
"""The faults that can have a part in a finding of this check."""
