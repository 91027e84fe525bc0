"""Health: what a sweep's findings make of each device, what counts as a change, what is to be told.

readings = states.readings(...)     one sweep's findings -> the state of each device as seen
followed = follow.follow(...)       with what is remembered -> changes that count
made = notices.notify(...)          changes -> messages, by root, outside maintenance windows
"""

HEALTH_CHECKS = frozenset(
    """
    laptop.fit echo.reply echo.loss echo.round-trip echo.duplicate tcp.open tcp.closed snmp.answer
    snmp.responder identity.name state.alarm port.status port.speed port.duplex port.mtu
    radio.rx-level radio.snr radio.xpi radio.lock radio.transmitter radio.modulation
    radio.test-mode link.ends-swapped link.far-end
    """.split()  # noqa: SIM905 - reads better than twenty quoted names
)
"""What a sweep asks: is it there, is it the right one, do its ports and its hop work."""
HEALTH_READINGS = frozenset(
    """
    rx_level_dbm snr_db xpi_db locked tx_enabled tx_modulation rx_modulation bandwidth_mhz
    tx_power_dbm atpc alarm test_mode far_end_name
    """.split()  # noqa: SIM905
)
"""The readings of a profile that these checks rest on."""
