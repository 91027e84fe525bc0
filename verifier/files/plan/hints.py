"""What each field of a plan means, in one table: for a workbook's headings and an empty plan."""

from __future__ import annotations

from dataclasses import dataclass

from verifier.files.plan.columns import Column


@dataclass(frozen=True, slots=True)
class Hint:
    """One field in words.

    Attributes:
        means: what is wanted, without its unit.
        example: a value as it is typed; empty where the choices say it.
        empty: what an empty cell stands for; empty where there must be a value.
    """

    means: str
    example: str
    empty: str

    @property
    def required(self) -> bool:
        """Whether there must be a value."""
        return not self.empty


def hint(sheet: str, column: Column) -> Hint:
    """The hint of a column; both ends of a link share theirs."""
    path = column.path[1:] if sheet == "Links" and column.path[0] in ("a", "b") else column.path
    return HINTS[f"{sheet}.{'.'.join(path)}"]


def sentences(sheet: str, column: Column) -> list[str]:
    """The hint of a column with unit, choices, example and what an empty cell stands for."""
    found = hint(sheet, column)
    lines = meaning(sheet, column)
    if found.example:
        lines.append(f"Example: {found.example}")
    lines.append("Must be filled in." if found.required else f"Empty: {found.empty}.")
    return lines


def meaning(sheet: str, column: Column) -> list[str]:
    """What a column means, its unit and choices."""
    found = hint(sheet, column)
    lines = [f"{found.means[0].upper()}{found.means[1:]}."]
    if column.unit:
        lines.append(f"In {_UNITS.get(column.unit, column.unit)}.")
    if column.separator:
        lines.append(_SEVERAL[column.separator])
    if column.kind == "flag":
        lines.append("Yes or no.")
    elif column.choices:
        lines.append(f"One of: {', '.join(column.choices)}.")
    return lines


_SEVERAL = {" ": "Several: separated by spaces.", "; ": "Several: separated by ;"}
_UNITS = {
    "m": "metres", "km": "kilometres", "deg": "degrees", "s": "seconds", "ms": "milliseconds",
    "V": "volts", "%": "percent",
}  # fmt: skip


ROWS = {
    "Network": "one setting of the whole plan: write into the column Value",
    "Hosts": "one management host that the devices must be able to answer",
    "Sites": "one place",
    "Devices": "one device: a radio, a switch, a router",
    "Addresses": "one further address of a device, besides the one in Devices",
    "Ports": "one Ethernet port of a device",
    "Links": "one carrier of a link with both its ends; a link with two carriers has two rows of"
    " the same name, with 1 and 2 under Carrier",
    "Maintenance": "one window of time in which changes are expected",
}
"""What one row of each sheet is."""

_NO = "not checked"
_NO_ARITHMETIC = "what is calculated from it is left out"

_TABLE: dict[str, tuple[str, str, str]] = {
    "Network.network.name": ("name of the network or of the job", "Harbour ring", "no name"),
    "Network.network.revision": ("revision of this plan", "3", "none"),
    "Network.network.date": ("day of this revision", "2026-11-20", "none"),
    "Network.network.prepared_by": ("who answers for the plan", "A. Example", "none"),
    "Network.network.example": (
        "invented plan: documentation addresses are not warned of", "", "no"),
    "Network.stage": ("what is judged when no stage is asked for", "", "handover"),
    "Network.management.laptop": (
        "preferred address of the technician's laptop, with prefix length", "198.18.20.250/24",
        "a free one is suggested"),
    "Network.acceptance.soak_s": ("length of the soak before handover", "86400", "no soak"),
    "Network.acceptance.echo_per_s": ("echoes a second during the soak", "1", "1 a second"),
    "Network.acceptance.max_loss_pct": ("echoes that may be lost", "0.1", "loss only warns"),
    "Network.acceptance.max_rtt_p95_ms": (
        "round trip that 95 of 100 echoes must keep to", "10", "no limit"),
    "Network.acceptance.max_port_errors": (
        "errors that a port may count during the test", "0", "no limit"),
    "Network.acceptance.max_es": (
        "errored seconds that a radio may count during the soak", "10", "they only warn"),
    "Network.acceptance.max_ses": (
        "severely errored seconds that it may count", "0", "any fails, unless it rained"),
    "Network.acceptance.max_uas": (
        "unavailable seconds that it may count", "0", "any fails, unless it rained"),
    "Network.acceptance.mtu_bytes": ("packet that must pass undivided", "1500", _NO),
    "Network.acceptance.traffic_pairs": (
        "hosts beyond both ends between which traffic is tried, as host>host",
        "manager-1>ferry-host", "no traffic test"),
    "Network.acceptance.default_community": (
        "ask each device once, reading only, whether it still answers to the factory's community",
        "", "no"),
    "Network.not_tested_ok": (
        "checks that may stay untested, each with the reason and who says so; separated by ;",
        "radio.polarisation=seen from the ground only (by A. Example)", "none"),
    "Hosts.name": ("name of the host", "manager-1", ""),
    "Hosts.address": ("its address, without prefix length", "203.0.113.10", ""),
    "Hosts.uses": (
        "what devices use it for, of icmp snmp trap syslog ntp", "icmp snmp trap", _NO),
    "Sites.name": ("name of the place", "Lighthouse", ""),
    "Sites.latitude": (
        "degrees with decimals, north positive, south negative (WGS 84)", "47.1544",
        _NO_ARITHMETIC),
    "Sites.longitude": (
        "degrees with decimals, east positive, west negative (WGS 84)", "-20.0723",
        _NO_ARITHMETIC),
    "Sites.ground_amsl_m": ("height of the ground above mean sea level", "88", _NO_ARITHMETIC),
    "Devices.name": ("the name that the device itself must report", "lighthouse-quarry", ""),
    "Devices.address": (
        "planned address of its management, with prefix length (or with Mask)",
        "198.18.20.11/24", ""),
    "Devices.mask": (
        "subnet mask, if Address has no prefix length", "255.255.255.0",
        "the prefix length stands with the address"),
    "Devices.site": ("where it stands: a name from Sites", "Lighthouse", "none"),
    "Devices.label": ("text of the sticker on it", "LIGHTHOUSE > QUARRY", _NO),
    "Devices.location": (
        "text that the location set in the device must contain", "Lighthouse", "the site's name"),
    "Devices.profile": ("profile of the device family", "hop-radio", "mib2, which fits any device"),
    "Devices.gateway": (
        "its default gateway, or none where it is to have none", "198.18.20.1", _NO),
    "Devices.present_address": (
        "where it is now, if not yet at Address, with prefix length", "192.0.2.21/24",
        "at the factory's, if its profile has one, else at Address"),
    "Devices.present_gateway": (
        "the gateway it has now", "192.0.2.1", "Gateway, if it lies in the present subnet"),
    "Devices.tx_band": ("half of the band that it transmits in", "", _NO),
    "Devices.mac": ("hardware address of its management port", "02:00:5e:10:00:01", _NO),
    "Devices.serial": ("serial number, with its leading zeros", "000123", _NO),
    "Devices.part_number": ("part number", "PTP-13-H", _NO),
    "Devices.software": ("version of its software", "4.2.1", _NO),
    "Devices.uplink": (
        "devices that its management traffic passes through next; of several any one suffices",
        "quarry-lighthouse", "none"),
    "Devices.management_vlan": ("VLAN of its management, 1 to 4094", "20", _NO),
    "Devices.management_tagged": ("whether management frames carry the VLAN's tag", "", _NO),
    "Devices.snmp": (
        "name of an entry in the credentials file; never a community or a password", "field",
        "SNMP is not asked"),
    "Devices.services.open": ("TCP services that must answer", "443/tcp", _NO),
    "Devices.services.closed": ("TCP services that must not answer", "23/tcp", _NO),
    "Addresses.device": ("the device: a name from Devices", "quarry-lighthouse", ""),
    "Addresses.address": ("the further address, with prefix length", "198.18.30.1/24", ""),
    "Addresses.port": ("the port that has it", "eth2", "any"),
    "Addresses.role": ("whether it is others' gateway or the port's second address", "", "neither"),
    "Ports.device": ("the device: a name from Devices", "lighthouse-quarry", ""),
    "Ports.name": ("the port as the device names it", "eth1", ""),
    "Ports.status": ("whether it must be up or down", "", _NO),
    "Ports.speed_mbps": ("speed it must have agreed on", "1000", _NO),
    "Ports.duplex": ("duplex it must have agreed on", "", _NO),
    "Ports.mtu": ("largest packet of the port", "1500", _NO),
    "Ports.neighbour": ("name of the device plugged in", "harbour-switch", _NO),
    "Ports.media": ("copper or fibre", "copper", "none"),
    "Ports.cable_m": ("length of the cable; copper carries 100 m", "35", _NO),
    "Links.name": ("name of the link", "Hop 1", ""),
    "Links.licence.reference": ("number of the licence to transmit", "EX-0001", "none"),
    "Links.licence.valid_until": ("last day of the licence", "2031-06-30", _NO),
    "Links.duplexing": ("two frequencies (fdd), or one in turns (tdd)", "", "fdd"),
    "Links.raster": ("the channel plan", "F.497", _NO),
    "Links.channel": ("the channel in the channel plan", "5", _NO),
    "Links.duplex_spacing_mhz": ("between the two ends' frequencies", "266", _NO),
    "Links.bandwidth_mhz": ("width of the channel", "28", _NO),
    "Links.modulation": (
        "the one modulation, where it never changes; then Adaptive and the other three are empty",
        "64qam", "it changes between max and min"),
    "Links.modulation_max": ("highest modulation", "256qam", _NO),
    "Links.modulation_min": ("lowest modulation", "4qam", _NO),
    "Links.modulation_reference": (
        "modulation that the fade margin and the licence refer to", "64qam", "the highest"),
    "Links.adaptive": ("whether the modulation follows the weather", "", _NO),
    "Links.capacity_mbps": ("capacity at the highest modulation", "190", _NO),
    "Links.key_capacity_mbps": ("capacity that the device's feature key allows", "190", _NO),
    "Links.path_km": ("length of the path", "11.42", "from the sites' coordinates"),
    "Links.fade_margin_db": ("margin above the threshold of the modulation", "25", _NO),
    "Links.gas_loss_db": ("loss in oxygen and water vapour along the path", "0.2", "none"),
    "Links.min_xpi_db": ("least discrimination between the two polarisations", "20", _NO),
    "Links.protection": ("kind of protection, working + standby", "", "1+0"),
    "Links.carrier": ("number of the carrier, where the link has several", "1", "1"),
    "Links.polarisation": ("polarisation", "", _NO),
    "Links.device": ("the device at this end: a name from Devices", "lighthouse-quarry", ""),
    "Links.radio": ("which radio of the device", "1", "the carrier's number"),
    "Links.tx_mhz": ("frequency that this end transmits on", "13143", _NO),
    "Links.rx_mhz": (
        "frequency that this end receives: what the far end transmits on", "12877",
        "the far end's transmit frequency"),
    "Links.tx_power_dbm": (
        "power that this end transmits; within the licence and the device's most at max modulation",
        "18", _NO),
    "Links.max_eirp_dbm": ("limit of the licence for power plus antenna gain", "62.1", _NO),
    "Links.antenna_dbi": ("gain of the antenna", "36.1", "from its diameter"),
    "Links.antenna_diameter_m": ("diameter of the antenna", "0.6", _NO_ARITHMETIC),
    "Links.antenna_efficiency": ("share of the dish that counts, 0 to 1", "0.6", "0.6"),
    "Links.line_loss_db": ("loss between radio and antenna, both directions", "0", "none"),
    "Links.tx_loss_db": ("loss in the transmit direction only", "0.5", "none"),
    "Links.rx_loss_db": ("loss in the receive direction only", "0.5", "none"),
    "Links.extra_loss_db": ("any other loss, both directions", "1", "none"),
    "Links.rx_level_dbm": (
        "level that THIS end receives; a negative number", "-45.6", _NO),
    "Links.rx_level_tolerance_db": (
        "how far the level may be off", "3", "as the profile says"),
    "Links.min_snr_db": ("least signal to noise ratio", "30", _NO),
    "Links.alignment_v": ("voltage at the alignment port at that level", "1.09",
        "from the profile's table"),
    "Links.azimuth_deg": (
        "direction of the antenna from true north, clockwise", "57.98", _NO),
    "Links.tilt_deg": ("tilt of the antenna, up positive", "0.3", _NO),
    "Links.antenna_height_m": ("height of the antenna above the ground", "24", _NO_ARITHMETIC),
    "Links.atpc": ("whether the device follows its power to the level received", "", _NO),
    "Links.atpc_min_dbm": ("least power under ATPC", "2", _NO),
    "Links.atpc_max_dbm": ("most power under ATPC", "18", _NO),
    "Links.atpc_target_dbm": ("level that this end wants to receive under ATPC", "-50", _NO),
    "Links.bench_attenuation_db": (
        "attenuator between the two devices on the bench: without it the receiver is destroyed",
        "60", "the transmitter stays off on the bench"),
    "Links.bench_tx_power_dbm": ("power on the bench", "5", "as planned"),
    "Links.bench_rx_level_dbm": ("level on the bench; a negative number", "-42", _NO),
    "Links.link_id": ("identifier that both ends must agree on", "17", _NO),
    "Maintenance.name": ("what is done", "mast work", ""),
    "Maintenance.from": ("its beginning, with the time zone", "2026-12-01T08:00Z", ""),
    "Maintenance.to": ("its end, with the time zone", "2026-12-01T17:00+01:00", ""),
    "Maintenance.sites": ("the places: names from Sites", "Quarry", "everywhere"),
}  # fmt: skip

HINTS = {field: Hint(*words) for field, words in _TABLE.items()}
"""By sheet and field; the ends of a link without their side."""
