"""The link plan: every setting the office wrote down, as frozen values.

Names of fields are the names in the YAML form; a workbook's headings are derived from them in
`files/plan/columns.py`. A unit stands at the end of a name: `_mhz`, `_mbps`, `_dbm`, `_db`,
`_dbi`, `_m`, `_km`, `_deg`, `_v`, `_s`, `_ms`, `_pct`, `_bytes`. None means: not planned, so
nothing is checked.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from verifier.model.address import Address, Interface, Mac, as_text
from verifier.model.problem import Origin

if TYPE_CHECKING:
    from pydantic_core import CoreSchema

Stage = Literal["bench", "alignment", "handover", "service"]
Band = Literal["high", "low"]
Use = Literal["icmp", "snmp", "trap", "syslog", "ntp"]
EndName = Literal["a", "b"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """What the plan is about. `example` allows documentation addresses without a warning."""

    name: str = ""
    revision: str | None = None
    date: dt.date | None = None
    prepared_by: str | None = None
    example: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Host:
    """A management host that devices must be able to answer."""

    name: str
    address: Address
    uses: tuple[Use, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Management:
    """The technician's preferred address and the hosts of the operations desk."""

    laptop: Interface | None = None
    hosts: tuple[Host, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """A place; coordinates in degrees, north and east positive (WGS 84)."""

    name: str
    latitude: float | None = None
    longitude: float | None = None
    ground_amsl_m: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherAddress:
    """A further address of a device: that of another port, or of the gateway it is for others."""

    address: Interface
    port: str | None = None
    role: Literal["gateway", "second"] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Port:
    """A port as planned; matched by ifName, else ifDescr, else ifAlias."""

    name: str
    status: Literal["up", "down"] | None = None
    speed_mbps: int | None = None
    duplex: Literal["full", "half"] | None = None
    mtu: int | None = None
    neighbour: str | None = None
    media: str | None = None
    cable_m: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Service:
    """A TCP service, written `443/tcp`."""

    port: int
    protocol: Literal["tcp"] = "tcp"

    @classmethod
    def parse(cls, text: str) -> Service:
        """Reads `443/tcp`. Raises ValueError with a plain message."""
        port, _, protocol = text.strip().lower().partition("/")
        if protocol != "tcp" or not (port.isascii() and port.isdigit() and len(port) <= 5):  # noqa: PLR2004
            raise ValueError(f"{text!r} is not a TCP service: write 443/tcp or the like")
        if not 1 <= int(port) <= 65535:  # noqa: PLR2004
            raise ValueError(f"{text!r}: a port is a number from 1 to 65535")
        return cls(port=int(port))

    def __str__(self) -> str:
        return f"{self.port}/{self.protocol}"

    @classmethod
    def __get_pydantic_core_schema__(cls, source: object, handler: object) -> CoreSchema:
        return as_text(cls, "443/tcp")


@dataclass(frozen=True, slots=True, kw_only=True)
class Services:
    """What must answer and what must not."""

    open: tuple[Service, ...] = ()
    closed: tuple[Service, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """One device.

    Attributes:
        name: the name the device itself must report.
        label: text of its sticker.
        location: what sysLocation must contain; the site's name if None.
        address: planned address with the length of its subnet's prefix.
        no_gateway: whether it is planned that it has none: `gateway: none` in a file.
        present_address: where it is now, if not yet at `address`.
        present_gateway: if None, `gateway` where it lies inside the present subnet.
        uplink: devices its management traffic passes through; several: any one suffices (ring).
        snmp: entry of the credentials file; None: SNMP is not asked.
    """

    name: str
    address: Interface
    site: str | None = None
    label: str | None = None
    location: str | None = None
    profile: str = "mib2"
    gateway: Address | None = None
    no_gateway: bool = False
    present_address: Interface | None = None
    present_gateway: Address | None = None
    other_addresses: tuple[OtherAddress, ...] = ()
    tx_band: Band | None = None
    mac: Mac | None = None
    serial: str | None = None
    part_number: str | None = None
    software: str | None = None
    uplink: tuple[str, ...] = ()
    management_vlan: int | None = None
    management_tagged: bool | None = None
    snmp: str | None = None
    ports: tuple[Port, ...] = ()
    services: Services = Services()


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """One end of a carrier. `rx_level_dbm` is what *this* end receives.

    Attributes:
        radio: the N of `radio:N`; the carrier's number if None.
        rx_mhz: the far end's `tx_mhz`, as this end's own plan says it.
        tx_loss_db, rx_loss_db: losses in one direction only.
        line_loss_db, extra_loss_db: losses in both directions.
        atpc_target_dbm: this end's own wanted receive level.
    """

    device: str
    radio: int | None = None
    tx_mhz: float | None = None
    rx_mhz: float | None = None
    tx_power_dbm: float | None = None
    max_eirp_dbm: float | None = None
    antenna_dbi: float | None = None
    antenna_diameter_m: float | None = None
    antenna_efficiency: float | None = None
    line_loss_db: float | None = None
    tx_loss_db: float | None = None
    rx_loss_db: float | None = None
    extra_loss_db: float | None = None
    rx_level_dbm: float | None = None
    rx_level_tolerance_db: float | None = None
    min_snr_db: float | None = None
    alignment_v: float | None = None
    azimuth_deg: float | None = None
    tilt_deg: float | None = None
    antenna_height_m: float | None = None
    atpc: bool | None = None
    atpc_min_dbm: float | None = None
    atpc_max_dbm: float | None = None
    atpc_target_dbm: float | None = None
    bench_attenuation_db: float | None = None
    bench_tx_power_dbm: float | None = None
    bench_rx_level_dbm: float | None = None
    link_id: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Carrier:
    """One radio channel of a link, with both its ends."""

    a: End
    b: End
    carrier: int = 1
    polarisation: Literal["V", "H"] | None = None

    def ends(self) -> tuple[tuple[EndName, End], tuple[EndName, End]]:
        """Both ends with their names, `a` first."""
        return ("a", self.a), ("b", self.b)


@dataclass(frozen=True, slots=True, kw_only=True)
class Licence:
    """The licence the link transmits under."""

    reference: str | None = None
    valid_until: dt.date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """A point-to-point link of one or more carriers.

    In a file `modulation` alone means maximum, minimum and reference at once, not adaptive.
    """

    name: str
    carriers: tuple[Carrier, ...]
    licence: Licence | None = None
    duplexing: Literal["fdd", "tdd"] = "fdd"
    raster: str | None = None
    channel: str | None = None
    duplex_spacing_mhz: float | None = None
    bandwidth_mhz: float | None = None
    modulation_max: str | None = None
    modulation_min: str | None = None
    modulation_reference: str | None = None
    adaptive: bool | None = None
    capacity_mbps: float | None = None
    key_capacity_mbps: float | None = None
    path_km: float | None = None
    fade_margin_db: float | None = None
    gas_loss_db: float | None = None
    min_xpi_db: float | None = None
    protection: Literal["1+0", "1+1-hsb", "1+1-sd", "1+1-fd", "2+0", "2+0-xpic"] = "1+0"

    def devices(self) -> tuple[frozenset[str], frozenset[str]]:
        """Names of the devices at end a and at end b, over all carriers."""
        return (
            frozenset(c.a.device for c in self.carriers),
            frozenset(c.b.device for c in self.carriers),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Acceptance:
    """Limits of a handover; None: no limit.

    Attributes:
        max_es, max_ses, max_uas: errored, severely errored and unavailable seconds of a soak.
    """

    soak_s: float | None = None
    echo_per_s: float | None = None
    max_loss_pct: float | None = None
    max_rtt_p95_ms: float | None = None
    max_port_errors: int | None = None
    max_es: int | None = None
    max_ses: int | None = None
    max_uas: int | None = None
    mtu_bytes: int | None = None
    traffic_pairs: tuple[str, ...] = ()
    default_community: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Maintenance:
    """A window in which changes are expected; in a file its first field is called `from`."""

    name: str
    start: dt.datetime
    to: dt.datetime
    sites: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class NotTestedOk:
    """That a check may stay untested: which one, why, and who says so.

    Attributes:
        check: whole name of a check, or `CHECK@DEVICE` for one device alone.
    """

    check: str
    reason: str
    by: str | None = None

    @property
    def name(self) -> str:
        """The check, without the device."""
        return self.check.partition("@")[0]

    @property
    def device(self) -> str | None:
        """The one device that it is about; None: all."""
        return self.check.partition("@")[2] or None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A whole plan.

    Attributes:
        origins: where each value was written, by path: `("devices", NAME, "gateway")`,
            `("devices", NAME, "ports", PORT, "mtu")`, `("links", NAME, "1", "a", "tx_mhz")`,
            `("hosts", NAME, "address")`, `("network", "name")`; `("devices", NAME, "mask")` is
            where the prefix length stands. No part of equality.
        file_sha256: hash of the file as read; empty for a folder of CSV files.
    """

    network: Network = Network()
    stage: Stage | None = None
    management: Management = Management()
    sites: tuple[Site, ...] = ()
    devices: tuple[Device, ...] = ()
    links: tuple[Link, ...] = ()
    acceptance: Acceptance = Acceptance()
    maintenance: tuple[Maintenance, ...] = ()
    not_tested_ok: tuple[NotTestedOk, ...] = ()
    origins: Mapping[tuple[str, ...], Origin] = field(
        default_factory=dict, compare=False, repr=False
    )
    file_sha256: str = field(default="", compare=False)

    def origin(self, *path: str) -> Origin | None:
        """Where the value at `path` was written; else its nearest enclosing place."""
        for length in range(len(path), 0, -1):
            if (found := self.origins.get(path[:length])) is not None:
                return found
        return None

    def links_of(self, device: str) -> Iterator[tuple[Link, EndName]]:
        """The links that `device` is an end of, with the end it is."""
        for link in self.links:
            a, b = link.devices()
            if device in a:
                yield link, "a"
            if device in b:
                yield link, "b"
