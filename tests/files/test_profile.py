"""Profiles: every fault at once, where they are looked for, and that a wheel holds them."""

import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import pytest

import verifier
from verifier.errors import InputError
from verifier.files.read_profile import (
    available,
    load_profiles,
    read_profile,
    shipped_directory,
)
from verifier.model.address import Interface
from verifier.model.plan import Service

ROOT = Path(verifier.__file__).parent.parent
SHIPPED = ("hop-radio", "mib2", "router", "switch")
HEAD = 'id = "x"\n'
READING = HEAD + '[[reading]]\nfield = "rx_level_dbm"\noid = "1.3.6.1.4.1.32473.9.0"\n'


@pytest.fixture
def write(tmp_path: Path) -> Any:
    def write_profile(text: str, name: str = "x") -> Any:
        path = tmp_path / f"{name}.toml"
        path.write_text(text)
        return path

    return write_profile


def test_the_shipped_profiles_are_read_without_a_fault() -> None:
    profiles = load_profiles(SHIPPED)
    assert tuple(sorted(profiles)) == SHIPPED == tuple(sorted(available()))
    assert all(profile.id == name for name, profile in profiles.items())


def test_the_shipped_profiles_hold_no_makers_data() -> None:
    """Enterprise number 32473 (RFC 5612) and 192.0.2.0/24 (RFC 5737) are for examples alone."""
    for profile in load_profiles(SHIPPED).values():
        oids = [r.oid for r in profile.reading] + ([profile.object_id] if profile.object_id else [])
        assert all(oid.startswith("1.3.6.1.4.1.32473.") for oid in oids)
        factory = profile.factory
        for address in (factory.address, factory.low, factory.high):
            assert address is None or address.subnet == "192.0.2.0/24"
        assert all(reading.source == "invented" for reading in profile.reading)


def test_the_example_radio_is_that_of_the_contract() -> None:
    radio = load_profiles(["hop-radio"])["hop-radio"]
    modes = {(m.modulation, m.bandwidth_mhz): m for m in radio.mode}
    readings = {r.field: r for r in radio.reading}
    assert (radio.kind, radio.boot_s, radio.object_id) == ("radio", 45.0, "1.3.6.1.4.1.32473.1")
    assert radio.factory.address_for("low") == Interface.parse("192.0.2.20/24")
    assert radio.factory.address_for("high") == Interface.parse("192.0.2.21/24")
    assert radio.services.open == (Service(port=443),)
    assert (modes["256qam", 28].threshold_dbm, modes["256qam", 28].capacity_mbps) == (-66.0, 190)
    assert (modes["64qam", 28].threshold_dbm, modes["64qam", 28].capacity_mbps) == (-72.0, 140)
    assert (modes["4qam", 28].threshold_dbm, modes["4qam", 28].max_tx_power_dbm) == (-84.0, 26.0)
    assert {b for _, b in modes} == {7, 14, 28, 56}
    assert readings["rx_level_dbm"].oid == "1.3.6.1.4.1.32473.1.1.1.0"
    assert readings["rx_level_dbm"].no_signal == (-990,)
    assert readings["tx_modulation"].values[8] == "256qam"
    assert readings["unsaved_settings"].good == (0,)
    assert radio.alignment_port is not None
    assert radio.alignment_port.table == ((-90.0, 0.2), (-20.0, 1.6))
    assert (radio.limits.rx_max_dbm, radio.limits.rx_damage_dbm) == (-20.0, 0.0)
    assert {v.part: v.tx_band for v in radio.variant} == {"PTP-13-L": "low", "PTP-13-H": "high"}


@pytest.mark.parametrize(
    ("text", "where", "words"),
    [
        (HEAD + 'titel = "a"', "line 2, field titel", "unknown key 'titel'; did you mean title?"),
        (HEAD + 'kind = "swich"', "line 2, field kind", "none of radio, switch, router, other"),
        (HEAD + "boot_s = 0", "line 2, field boot_s", "is not above 0"),
        (HEAD + "boot_s = nan", "line 2, field boot_s", "inf or nan is not wanted"),
        (HEAD + 'boot_s = "45"', "line 2, field boot_s", "'45' is not a valid number"),
        (HEAD + "title = 2026-11-20", "line 2, field title", "a date, inf or nan is not wanted"),
        (HEAD + 'object_id = "1.3.x"', "line 2, field object_id", "'1.3.x' is not a numeric"),
        (HEAD + 'object_id = ".1.3.6"', "line 2, field object_id", "is not a numeric"),
        (HEAD + 'factory = "192.0.2.1/24"', "line 2, field factory", "is not a table"),
        (HEAD + '[factory]\nlow = "192.0.2.1"', "line 3, field factory.low", "no prefix length"),
        (HEAD + '[factory]\naddress = "192.0.2.1/24"\nlow = "192.0.2.2/24"',
         "line 3, field factory.address", "write address, or low and high"),
        (HEAD + '[services]\nopen = ["161/udp"]', "line 3, field services.open[0]",
         "is not a TCP service"),
        (HEAD + '[reading]\nfield = "serial"', "line 2, field reading", "write [[reading]]"),
        (READING + 'type = "integer"\nscale = 0', "line 6, field reading[0].scale", "0 would turn"),
        (READING + 'type = "integer"\nunit = "mW"', "line 6, field reading[0].unit",
         "'mW': rx_level_dbm is in dBm; scale makes it so"),
        (READING + 'type = "integer"\nunit = "apples"', "line 6, field reading[0].unit",
         "'apples': rx_level_dbm is in dBm"),
        (READING, "line 2, field reading[0]", "type is missing"),
        (READING + 'type = "number"', "line 5, field reading[0].type", "none of integer, text"),
        (READING + 'type = "integer"\nindex = "eth1"', "line 6, field reading[0].index",
         "'eth1' is none of port:NAME, radio:N, first or a number"),
        (READING + 'type = "integer"\nindex = "radio:0"', "line 6, field reading[0].index",
         "is none of port:NAME"),
        (READING + 'type = "enumeration"', "line 2, field reading[0].values", "is missing"),
        (READING + 'type = "enumeration"\nvalues = {a = "V"}', "line 6, field reading[0].values.a",
         "'a' is not a valid integer"),
        (READING + 'type = "enumeration"\nvalues = {1 = 2}', "line 6, field reading[0].values.1",
         "'2' is not a valid string"),
        (READING + 'type = "text"\nvalues = {1 = "V"}', "line 6, field reading[0].values",
         "belongs to type enumeration"),
        (READING + 'type = "text"\nscale = 0.1', "line 5, field reading[0].type", "has no scale"),
        (HEAD + '[[reading]]\nfield = "polarisation"\noid = "1.3.6"\ntype = "enumeration"\n'
         'values = {1 = "vertical"}', "line 6, field reading[0].values",
         "'vertical' is none of V, H"),
        (HEAD + '[[reading]]\nfield = "rx_level"\noid = "1.3.6"\ntype = "integer"',
         "line 3, field reading[0].field", "'rx_level' is not known; did you mean rx_level_dbm?"),
        ((READING + 'type = "integer"\n') + READING.removeprefix(HEAD) + 'type = "integer"',
         "line 6, field reading[1]", "rx_level_dbm is there already: reading[0]"),
        (HEAD + '[[mode]]\nmodulation = "4qam"\nbits = 0', "line 4, field mode[0].bits", "above 0"),
        (HEAD + '[[mode]]\nmodulation = "4qam"\nbits = 2\n[[mode]]\nmodulation = "4qam"\nbits = 2',
         "line 5, field mode[1]", "4qam is there already: mode[0]"),
        (HEAD + '[[mode]]\nmodulation = "256-QAM"\nbits = 6', "line 4, field mode[0].bits",
         "'256-QAM' has 8 bits, not 6"),
        (HEAD + "[limits]\nrx_max_dbm = 0\nrx_damage_dbm = -20",
         "line 4, field limits.rx_damage_dbm", "is below rx_max_dbm"),
        (HEAD + "[tolerance]\nrx_level_db = -3", "line 3, field tolerance.rx_level_db", "above 0"),
        (HEAD + '[[variant]]\npart = "P"\ntx_min_mhz = 2\ntx_max_mhz = 1',
         "line 5, field variant[0].tx_max_mhz", "is below tx_min_mhz"),
        (HEAD + "[alignment_port]\ntable = [[-90, 0.2], [-20, 1.6], [-30, 1.7]]",
         "line 3, field alignment_port.table", "its dBm column neither only rises nor only falls"),
        (HEAD + "[alignment_port]\ntable = [[-90, 0.2], [-60, 1.6], [-30, 1.6]]",
         "line 3, field alignment_port.table", "its V column neither only rises nor only falls"),
        (HEAD + "[alignment_port]\ntable = [[-90, 0.2]]", "line 3, field alignment_port.table",
         "fewer than two rows"),
        ('title = "a"', "", "id is missing"),
        (HEAD + "title = ", "line 2", "not TOML"),
    ],
)  # fmt: skip
def test_each_fault_is_told_with_line_and_key(
    write: Any, text: str, where: str, words: str
) -> None:
    with pytest.raises(InputError) as caught:
        read_profile(write(text))
    assert len(caught.value.problems) == 1, caught.value
    assert where in str(caught.value.problems[0].origin)
    assert words in caught.value.problems[0].message
    assert "x.toml" in str(caught.value)


@pytest.mark.parametrize(
    "table", ["[[-90, 0.2], [-20, 1.6]]", "[[-90, 1.6], [-20, 0.2]]", "[[-20, 1.6], [-90, 0.2]]"]
)
def test_an_alignment_table_may_rise_or_fall(write: Any, table: str) -> None:
    profile = read_profile(write(HEAD + f"[alignment_port]\ntable = {table}"))
    assert profile.alignment_port is not None
    assert len(profile.alignment_port.table) == 2


def test_all_faults_of_all_profiles_come_at_once(write: Any, tmp_path: Path) -> None:
    write(HEAD + 'kind = "a"\nboot_s = -1\n[[reading]]\nfield = "b"\noid = "c"\nscale = 0\n')
    write('id = "y"\ntitel = "a"\n', "y")
    with pytest.raises(InputError) as caught:
        load_profiles(["x", "y"], tmp_path)
    assert len(caught.value.problems) == 7
    assert str(caught.value).count("\n") == 6


def test_a_given_directory_comes_before_what_is_shipped(write: Any, tmp_path: Path) -> None:
    write('id = "mib2"\ntitle = "mine"\n', "any name")
    found = load_profiles(["mib2", "switch"], tmp_path)
    assert found["mib2"].title == "mine"
    assert found["switch"].title == load_profiles(["switch"])["switch"].title


def test_an_unknown_id_is_told_with_what_there_is_and_where_was_looked(
    write: Any, tmp_path: Path
) -> None:
    write(HEAD)
    with pytest.raises(InputError) as caught:
        load_profiles(["hop-radoi"], tmp_path)
    for words in ("'hop-radoi'; did you mean hop-radio?", "hop-radio, mib2, router, switch, x",
                  str(tmp_path), str(shipped_directory())):  # fmt: skip
        assert words in str(caught.value)


@pytest.mark.parametrize(
    ("files", "words"),
    [
        ({"a": HEAD, "b": HEAD}, "id 'x' is also in a.toml"),
        ({"a": 'title = "b"'}, "id is missing"),
        ({"a": "id = "}, "not TOML"),
    ],
)
def test_a_directory_with_an_id_twice_or_missing_is_refused(
    write: Any, tmp_path: Path, files: dict[str, str], words: str
) -> None:
    for name, text in files.items():
        write(text, name)
    with pytest.raises(InputError, match=words):
        available(tmp_path)


def test_a_directory_that_is_none_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is not a folder of profiles"):
        load_profiles(["mib2"], tmp_path / "nowhere")


def test_an_editable_install_finds_the_profiles_beside_the_package() -> None:
    assert shipped_directory() == ROOT / "profiles"


def test_a_wheel_holds_the_profiles_and_reads_them(tmp_path: Path) -> None:
    """Built as a release is, unpacked, and read by an interpreter that sees nothing of the tree."""
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True, timeout=120)
    (wheel,) = tmp_path.glob("*.whl")
    site = tmp_path / "site"
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(site)
    code = (
        f"import sys; sys.path.insert(0, {str(site)!r})\n"
        "from verifier.files.read_profile import load_profiles, shipped_directory\n"
        f"assert str(shipped_directory()).startswith({str(site)!r}), shipped_directory()\n"
        f"print(*load_profiles({SHIPPED!r}))"
    )
    run = [sys.executable, "-c", code]
    done = subprocess.run(
        run, check=False, cwd=tmp_path, capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == list(SHIPPED)
