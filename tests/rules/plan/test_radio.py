"""Offline rules of frequencies, rings, modulation, power and geometry."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.rules.conftest import END, Changes, Expected, changed, problems_of, told

A, B, C, D = 36, 37, 38, 39
END_A, END_B = "Hop 1 carrier 1 end a", "Hop 1 carrier 1 end b"
HOP_1, CARRIER_1 = "Hop 1", "Hop 1 carrier 1"


def at(line: int, rule: str, subject: str = HOP_1) -> Expected:
    return {(line, rule, subject)}


RING = """\
  - name: Hop 3
    bandwidth_mhz: 28
    polarisation: V
    a: {device: one, tx_mhz: %g}
    b: {device: two, tx_mhz: %g}
devices:"""
DEVICES = """\
  - {name: one, site: %s, address: 198.18.20.15/24, gateway: 198.18.20.1}
  - {name: two, site: Lighthouse, address: 198.18.20.16/24, gateway: 198.18.20.1}"""


def ring(mhz: tuple[float, float] = (13199, 12933), site: str = "Harbour") -> Changes:
    """A third hop that closes the ring Lighthouse - Quarry - Harbour, or leads elsewhere."""
    return {35: ("devices:", RING % mhz), END: ("", DEVICES % site)}


CARRIERS = """\
    protection: %s
    carriers:
      - {carrier: 1, polarisation: H, a: {device: quarry-harbour, tx_mhz: 12905, rx_level_dbm: -50}, b: {device: harbour-quarry, tx_mhz: 13171, rx_level_dbm: -50}}
      - {carrier: 2, polarisation: %s, a: {device: quarry-harbour, tx_mhz: %g, rx_level_dbm: -50}, b: {device: harbour-quarry, tx_mhz: %g, rx_level_dbm: -50}}"""


def carriers(protection: str, polarisation: str, a: float, b: float) -> Changes:
    """Hop 2 with two carriers."""
    return {
        32: ("    polarisation: H", CARRIERS % (protection, polarisation, a, b)),
        33: ("    a: {device: quarry-harbour, tx_mhz: 12905, rx_level_dbm: -50}", ""),
        34: ("    b: {device: harbour-quarry, tx_mhz: 13171, rx_level_dbm: -50}", ""),
    }


FAULTY: list[tuple[str, Changes, Expected]] = [
    ("one frequency at both ends", {27: ("12877", "13143")},
     at(27, "tx-same-at-both-ends", CARRIER_1)),
    ("receives another frequency", {26: ("tx_mhz: 13143", "tx_mhz: 13143, rx_mhz: 12905")},
     at(26, "rx-differs-from-far-tx", END_A)),
    ("both devices high", {B: ("tx_band: low", "tx_band: high")},
     at(B, "band-halves-equal", CARRIER_1)),
    ("halves crossed", {26: ("13143", "12877"), 27: ("12877", "13143")},
     at(26, "band-halves-crossed", CARRIER_1)),
    ("frequency against the band of the one device that has one",
     {A: ("tx_band: high", "tx_band: low"), B: ("tx_band: low, ", "")},
     at(26, "frequency-against-band", END_A)),
    ("frequency that the part cannot do", {14: ("raster: F.497", "raster: national"),
                                           26: ("13143", "13245"), 15: ("266", "368")},
     at(26, "frequency-outside-variant", END_A)),
    ("part of the other half", {A: ("part_number: PTP-13-H", "part_number: PTP-13-L"),
                                26: (", tx_mhz: 13143", "")},
     {(A, "variant-of-other-band", "lighthouse-quarry")}),
    ("off the raster", {26: ("13143", "13144")}, at(26, "channel-off-raster", END_A)),
    ("duplex spacing", {26: ("13143", "13171")}, at(27, "duplex-spacing-differs", CARRIER_1)),
    ("one radio on two frequencies", {34: ("harbour-quarry, tx_mhz: 13171",
                                           "quarry-lighthouse, tx_mhz: 13171")},
     at(34, "radio-on-two-frequencies", "Hop 2 carrier 1 end b")
     | at(28, "link-within-site", "Hop 2") | at(37, "band-halves-equal", "Hop 2 carrier 1")),
    ("two carriers on one channel", carriers("2+0", "H", 12905, 13171)
    , {(35, "carriers-collide", "Hop 2 carrier 2")}),
    ("XPIC on two channels", carriers("2+0-xpic", "V", 12933, 13199),
     at(32, "xpic-on-two-frequencies", "Hop 2")),
    ("XPIC with one polarisation", carriers("2+0-xpic", "H", 12905, 13171),
     {(35, "carriers-collide", "Hop 2 carrier 2")}),
    ("2+0 of one carrier", {24: ("1+0", "2+0")}, at(24, "carriers-too-few")),
    ("ring of three", ring(), {(12, "ring-of-odd-hops", "Hop 1")}),
    ("both halves at a site", ring(site="Quarry"), {(8, "both-halves-at-site", "Lighthouse"),
                                                    (9, "both-halves-at-site", "Quarry")}),
    ("no bandwidth", {30: ("    bandwidth_mhz: 28", "")}, at(28, "bandwidth-missing", "Hop 2")),
    ("no polarisation", {32: ("    polarisation: H", "")},
     {(28, "polarisation-missing", "Hop 2 carrier 1")}),
    ("modulation unknown to the profile", {17: ("256qam", "512qam"), 21: ("190", "150")},
     at(17, "modulation-unknown")),
    ("modulation that is none", {19: ("64qam", "64 apples")}, at(19, "modulation-unknown")),
    ("no mode at this bandwidth", {16: ("28", "112")}, at(17, "mode-missing-at-bandwidth")),
    ("modulations do not rise", {18: ("4qam", "256qam")}, at(17, "modulation-order")),
    ("more than the key", {22: ("190", "100")}, at(21, "capacity-over-key")),
    ("more than bits x bandwidth", {21: ("190", "400"), 22: ("190", "400")},
     at(21, "capacity-over-symbols")),
    ("more than the mode", {21: ("190", "200"), 22: ("190", "200")}, at(21, "capacity-over-mode")),
    ("more power than the mode", {26: ("tx_power_dbm: 18, max_eirp_dbm: 55",
                                       "tx_power_dbm: 19, max_eirp_dbm: 55")},
     at(26, "power-over-mode", END_A)),
    ("more EIRP than the licence", {26: ("max_eirp_dbm: 55", "max_eirp_dbm: 53")},
     at(26, "eirp-over-licence", END_A)),
    ("bench overload", {26: ("bench_attenuation_db: 60", "bench_attenuation_db: 37")},
     at(26, "bench-overload", END_A)),
    ("bench within 10 dB of overload", {26: ("bench_attenuation_db: 60", "bench_attenuation_db: 47")},
     at(26, "bench-overload", END_A)),
    ("bench damage", {26: ("bench_attenuation_db: 60", "bench_attenuation_db: 17")},
     at(26, "bench-damage", END_A)),
    ("bench power of its own that damages",
     {26: ("bench_attenuation_db: 60", "bench_attenuation_db: 20, bench_tx_power_dbm: 21")},
     at(26, "bench-damage", END_A) | at(26, "bench-overload", END_A)),
    ("no receive level at one end", {27: (", rx_level_dbm: -46.8", "")},
     at(12, "rx-level-missing")),
    ("no receive level at both ends, and no figures for a sum",
     {33: (", rx_level_dbm: -50", ""), 34: (", rx_level_dbm: -50", "")},
     at(28, "rx-level-missing", "Hop 2")),
    ("a planned level above overload", {33: ("rx_level_dbm: -50", "rx_level_dbm: -19")},
     at(33, "rx-level-over-limit", "Hop 2 carrier 1 end a")),
    ("a planned level of the bench above overload",
     {26: ("bench_attenuation_db: 60", "bench_rx_level_dbm: -12")},
     at(26, "rx-level-over-limit", END_A)),
    ("ATPC may pass the licence", {26: ("bench_attenuation_db: 60", "atpc: true, atpc_max_dbm: 24")},
     at(26, "atpc-over-licence", END_A)),
    ("half a coordinate", {10: (", longitude: -20.0310", "")},
     {(10, "coordinates-incomplete", "Harbour")}),
    ("coordinates exchanged", {9: ("latitude: 47.1544, longitude: -20.0723",
                                   "latitude: -20.0723, longitude: 47.1544")},
     {(9, "coordinates-swapped", "Quarry")}),
    ("sign forgotten", {9: ("-20.0723", "20.0723")}, {(9, "coordinates-swapped", "Quarry")}),
    ("a site far off", {8: ("47.1000", "37.1000"), 26: (", azimuth_deg: 57.98", ""),
                        27: (", azimuth_deg: 238.08", "")},
     at(12, "coordinates-far-off")),
    ("path too long for the coordinates", {23: ("11.42", "18.4")}, at(23, "path-length-differs") | at(26, "rx-level-off-budget", END_A)
     | at(27, "rx-level-off-budget", END_B)),
    ("azimuth off", {26: ("57.98", "67.98")}, at(26, "azimuth-off-coordinates", END_A)),
    ("azimuths of both ends exchanged", {26: ("57.98", "238.08"), 27: ("238.08", "57.98")},
     at(26, "azimuth-off-coordinates", END_A) | at(27, "azimuth-off-coordinates", END_B)),
    ("azimuths that do not face each other", {8: (", latitude: 47.1000, longitude: -20.2000", ""),
                                              27: ("238.08", "228.08")},
     at(27, "azimuths-not-facing", CARRIER_1)),
    ("a level that the sum does not give", {26: ("rx_level_dbm: -46.6", "rx_level_dbm: -49.7")},
     at(26, "rx-level-off-budget", END_A)),
    ("more fade margin than the level has", {26: ("rx_level_dbm: -46.6", "rx_level_dbm: -46.6"),
                                             19: ("64qam", "64qam\n    fade_margin_db: 25.5")},
     {(20, "fade-margin-over-level", END_A), (20, "fade-margin-over-level", END_B)}),
    ("a voltage that is not the level's", {26: ("rx_level_dbm: -46.6", "rx_level_dbm: -46.6, alignment_v: 1.16")},
     at(26, "alignment-voltage-off-level", END_A)),
    ("both ends at one site", {D: ("site: Harbour", "site: Quarry")},
     at(28, "link-within-site", "Hop 2")),
]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "expected"), [f[1:] for f in FAULTY], ids=[f[0] for f in FAULTY]
)
def test_faulty_plan(tmp_path: Path, changes: Changes, expected: Expected) -> None:
    """Exactly these rules, about exactly these subjects, at exactly these lines."""
    assert told(problems_of(changed(changes), tmp_path)) == expected


CLEAN: list[tuple[str, Changes]] = [
    ("a ring of three in two bands", ring(mhz=(19250, 18240))),
    ("a ring of three that is not closed", ring(mhz=(12933, 13199), site="Quarry")),
    ("tdd: one frequency is right", {12: ("- name", "- duplexing: tdd\n    name"), 27: ("12877", "13143")}),
    ("a raster that is not known", {14: ("F.497", "national 13 GHz"), 26: ("13143", "13144"), 27: ("12877", "12878")}),
    ("a wider carrier joins channels", {16: ("28", "56"), 26: ("13143", "13157"), 27: ("12877", "12891"), 17: ("256qam", "256qam")}),
    ("XPIC", carriers("2+0-xpic", "V", 12905, 13171)),
    ("2+0 on two channels", carriers("2+0", "H", 12933, 13199)),
    ("hot standby on one channel", carriers("1+1-hsb", "H", 12905, 13171)),
    ("modulation written otherwise", {17: ("256qam", "256-QAM"), 18: ("4qam", "QPSK")}),
    ("capacity of two carriers", carriers("2+0", "V", 12905, 13171)),
    ("azimuth within a beam", {26: ("57.98", "59.5")}),
    ("no coordinates", {8: (", latitude: 47.1000, longitude: -20.2000", "")}),
    ("attenuation enough", {26: ("bench_attenuation_db: 60", "bench_attenuation_db: 48")}),
    ("a level 3 dB off the sum", {26: ("rx_level_dbm: -46.6", "rx_level_dbm: -49.5")}),
    ("a level without a path", {26: ("rx_level_dbm: -46.6", "rx_level_dbm: -70"), 23: ("    path_km: 11.42", ""),
                                8: (", latitude: 47.1000, longitude: -20.2000", "")}),
    ("the voltage of the level", {26: ("rx_level_dbm: -46.6", "rx_level_dbm: -46.6, alignment_v: 1.07")}),
    ("just the fade margin", {26: ("rx_level_dbm: -46.6", "rx_level_dbm: -46.6"), 19: ("64qam", "64qam\n    fade_margin_db: 25.2")}),
    ("EIRP at the licence", {26: ("max_eirp_dbm: 55", "max_eirp_dbm: 53.6")}),
]  # fmt: skip


@pytest.mark.parametrize("changes", [c[1] for c in CLEAN], ids=[c[0] for c in CLEAN])
def test_clean_plan(tmp_path: Path, changes: Changes) -> None:
    assert problems_of(changed(changes), tmp_path) == ()


SUMS = [
    ({26: ("max_eirp_dbm: 55", "max_eirp_dbm: 53")}, "18 dBm + 36.1 dBi - 0.5 dB = 53.6 dBm EIRP"),
    ({21: ("190", "400"), 22: ("190", "400")}, "8 bits x 28 MHz = 224 Mbit/s"),
    ({26: ("13143", "13171")}, "13171 - 12877 = 294 MHz"),
    ({26: ("bench_attenuation_db: 60", "bench_attenuation_db: 10")}, "18 dBm - 10 dB = 8 dBm"),
    ({26: ("13143", "13144")}, "the nearest is 13143 MHz (n = 5, upper half)"),
    ({23: ("11.42", "18.4")}, "11.42 km by the coordinates"),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "words"), SUMS)
def test_the_sum_is_shown(tmp_path: Path, changes: Changes, words: str) -> None:
    """Worked by hand: 18 + 36.1 - 0.5 = 53.6; log2(256) x 28 = 224; and so on."""
    (problem, *_) = problems_of(changed(changes), tmp_path)
    assert words in problem.message


def test_the_budget_is_shown_line_by_line(tmp_path: Path) -> None:
    """Worked by hand for end a: 32.448 + 20 log 12877 + 20 log 11.42 = 135.80 dB (P.525).

    18 + 36.1 - 135.8 + 36.1 - 0.5 - 0.5 = -46.6 dBm; -50 dBm planned is 3.4 dB less.
    """
    level = {26: ("rx_level_dbm: -46.6", "rx_level_dbm: -50")}
    (problem,) = problems_of(changed(level), tmp_path)
    head, *rows = problem.message.splitlines()
    assert head.startswith("-50 dBm planned, the link budget gives -46.6 dBm (-3.4 dB); correct")
    assert rows == [
        "power: +18.0 dBm", "far antenna: +36.1 dB", "free space 11.42 km: -135.8 dB",
        "near antenna: +36.1 dB", "far line loss: -0.5 dB", "near line loss: -0.5 dB",
        "sum: -46.6 dBm",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("mhz", "gas", "told"), [(14999.0, "", False), (15000.0, "", True), (15000.0, "0.3", False)]
)
def test_missing_gas_is_told_from_15_ghz(
    tmp_path: Path, mhz: float, gas: str, *, told: bool
) -> None:
    """From 15 GHz up the warning says that gas is missing, unless the plan gives it."""
    changes = {
        12: ("name: Hop 1", f"name: Hop 1\n    gas_loss_db: {gas}" if gas else "name: Hop 1"),
        14: ("    raster: F.497", ""), 15: ("    duplex_spacing_mhz: 266", ""),
        26: ("tx_mhz: 13143", f"tx_mhz: {mhz + 266}", "rx_level_dbm: -46.6", "rx_level_dbm: -90"),
        27: ("tx_mhz: 12877", f"tx_mhz: {mhz}"),
    }  # fmt: skip
    found = [p for p in problems_of(changed(changes), tmp_path) if p.rule == "rx-level-off-budget"]
    assert len(found) == 1
    assert ("gas is not modelled" in found[0].message) is told
