"""The tables of checks: what the plan says against what was seen.

Each check stands in the file that is called by its prefix: `port.speed` in `port.py`, `radio.snr`
in the folder `radio/`; what only a soak tells of a prefix, in `soak/` under the same name.
`judge.py` asks them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from verifier.model.observations import Observation
from verifier.rules.compare import (
    address,
    echo,
    identity,
    laptop,
    link,
    neighbour,
    port,
    settings,
    snmp,
    state,
    tcp,
)
from verifier.rules.compare import state as soak_state
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.manual import entries
from verifier.rules.compare.radio import (
    capacity,
    eirp,
    expected,
    level,
    modulation,
    power,
    quality,
    tx_power,
)
from verifier.rules.compare.radio import settings as radio_settings
from verifier.rules.compare.radio.carrier_end import EndCheck
from verifier.rules.compare.radio.carriers import LiveCarrier
from verifier.rules.compare.radio.settings import of_radio
from verifier.rules.compare.soak import echo as soak_echo
from verifier.rules.compare.soak import port as soak_port
from verifier.rules.compare.soak import radio as soak_radio
from verifier.rules.compare.soak.context import Soaking

Check = Callable[[Context], Findings]

REACH: tuple[Check, ...] = (laptop.local_fit, echo.echoes, tcp.services)
"""What `reach` asks of each device."""
VERIFY: tuple[Check, ...] = (
    *REACH,
    snmp.answer,
    snmp.default_refused,
    identity.name,
    identity.location,
    identity.object_id,
    identity.texts,
    address.mask,
    address.gateway,
    address.extra,
    neighbour.hardware_address,
    neighbour.duplicate,
    port.ports,
    port.neighbours,
    settings.settings,
    state.alarm,
)
"""What `verify` asks of each device."""
ACROSS: tuple[Callable[[Sequence[Context], Iterable[Observation[object]]], Findings], ...] = (
    snmp.shared_engine_ids,
    neighbour.proxies,
)
"""What `verify` asks of all devices together."""
OF_END: tuple[EndCheck, ...] = (
    radio_settings.tx_frequency,
    radio_settings.rx_frequency,
    radio_settings.bandwidth,
    radio_settings.polarisation,
    radio_settings.link_id,
    modulation.modulation,
    power.transmitter,
    tx_power.tx_power,
    eirp.eirp,
    power.atpc,
    level.rx_level,
    level.path_loss,
    quality.snr,
    quality.xpi,
    quality.lock,
    quality.fade_margin,
    capacity.capacity,
    of_radio,
    link.far_end,
    entries.alignment_voltage,
    expected.sum_agrees,
)
"""What `verify` asks of each end of a carrier."""
OF_CARRIER: tuple[Callable[[LiveCarrier], Findings], ...] = (level.reciprocity, quality.balance)
"""What `verify` asks of each carrier with both its ends."""
OF_SOAK: tuple[Callable[[Context, Soaking], Findings], ...] = (
    soak_echo.echoes,
    soak_echo.mtu,
    soak_port.errors,
    soak_state.restarts,
    soak_state.clock,
    soak_radio.radio,
)
"""What a soak asks of each device; `laptop.soak` and `traffic.*` are not of a device."""
