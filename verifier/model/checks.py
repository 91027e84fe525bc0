"""Names of all checks: layer, dot, what."""

from __future__ import annotations

import difflib

from verifier.model.manual import BY_CHECK

CHECK_NAMES = frozenset(BY_CHECK) | frozenset(
    """
    laptop.fit laptop.soak echo.reply echo.loss echo.round-trip echo.jitter echo.gap
    echo.reordered echo.mtu echo.duplicate neighbour.mac neighbour.duplicate neighbour.proxy
    tcp.open tcp.closed snmp.answer snmp.responder snmp.engine-id snmp.default-refused
    identity.name identity.location identity.object-id state.restarts identity.software
    identity.serial identity.part state.clock state.alarm address.mask address.gateway
    address.extra port.status port.speed port.duplex port.mtu port.errors port.neighbour
    radio.tx-frequency radio.rx-frequency radio.bandwidth radio.modulation radio.polarisation
    radio.tx-power radio.transmitter radio.eirp radio.atpc radio.rx-level radio.rx-level-spread
    radio.path-loss radio.reciprocity radio.snr radio.xpi radio.lock radio.link-id radio.capacity
    radio.fade-margin radio.test-mode radio.switch-forced radio.polarisation-balance
    radio.errored-seconds radio.severely-errored-seconds radio.unavailable-seconds
    link.ends-swapped link.far-end link.software-differs settings.saved settings.trap
    settings.syslog settings.ntp traffic.loss traffic.round-trip
    """.split()  # noqa: SIM905 - reads better than a hundred quoted names
)


def unknown_check(name: str) -> str | None:
    """Why no check has this name, with the nearest one that there is; None where one has it."""
    if name in CHECK_NAMES:
        return None
    if set(name) & set("*?["):
        return f"{name!r} is a pattern: name each check by its whole name"
    if name.startswith("plan."):
        return f"{name!r} is about the plan itself: it is never left untested"
    near = difflib.get_close_matches(name, CHECK_NAMES, n=1)
    return f"there is no check {name!r}{f'; did you mean {near[0]}?' if near else ''}"
