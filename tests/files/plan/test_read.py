"""One plan in three forms; kinds of file; hashes."""

import dataclasses
import hashlib
import json
from pathlib import Path
from typing import Any

import pytest

from verifier.errors import InputError
from verifier.files.canonical import plan_json, plan_sha256
from verifier.files.disk import read_bytes
from verifier.files.read_plan import read_plan
from verifier.model.plan import Plan


@pytest.fixture
def forms(example_yaml: Path, example_rows: Any, write_csv: Any, write_xlsx: Any) -> Any:
    return {
        "yaml": example_yaml,
        "csv": write_csv(example_rows),
        "xlsx": write_xlsx(example_rows),
    }


def test_the_example_is_read_without_a_fault_in_every_form(forms: Any) -> None:
    for path in forms.values():
        _, problems = read_plan(path)
        assert problems == ()


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_every_form_gives_the_same_model_and_hash(forms: Any, form: str) -> None:
    plan, _ = read_plan(forms["yaml"])
    other, _ = read_plan(forms[form])
    assert dataclasses.replace(other, file_sha256="") == dataclasses.replace(plan, file_sha256="")
    assert plan_sha256(other) == plan_sha256(plan)


def test_a_workbook_of_text_cells_alone_gives_the_same_model(
    example_rows: Any, write_xlsx: Any, forms: Any
) -> None:
    assert read_plan(write_xlsx(example_rows, typed=False))[0] == read_plan(forms["yaml"])[0]


def test_semicolons_may_separate_cells(example_rows: Any, write_csv: Any, forms: Any) -> None:
    assert read_plan(write_csv(example_rows, ";"))[0] == read_plan(forms["yaml"])[0]


def test_sheets_are_found_in_any_case(forms: Any) -> None:
    folder = forms["csv"]
    (folder / "Links.csv").rename(folder / "lINKS.CSV")
    assert read_plan(folder)[0] == read_plan(forms["yaml"])[0]


RADIO = "lighthouse-quarry"


@pytest.mark.parametrize(
    ("path", "yaml", "csv", "xlsx"),
    [
        (
            ("devices", RADIO, "gateway"),
            "example.yaml, line 16, field devices[0].gateway",
            "Devices.csv, row 2, column Gateway",
            "plan.xlsx, sheet Devices, row 2, column Gateway",
        ),
        (
            ("devices", RADIO, "mask"),
            "example.yaml, line 15, field devices[0].address",
            "Devices.csv, row 2, column Mask",
            "plan.xlsx, sheet Devices, row 2, column Mask",
        ),
        (
            ("devices", RADIO, "ports", "eth1", "mtu"),
            "example.yaml, line 29, field devices[0].ports[0].mtu",
            "Ports.csv, row 2, column MTU",
            "plan.xlsx, sheet Ports, row 2, column MTU",
        ),
        (
            ("devices", RADIO, "services", "open"),
            "example.yaml, line 30, field devices[0].services.open",
            "Devices.csv, row 2, column Open services",
            "plan.xlsx, sheet Devices, row 2, column Open services",
        ),
        (
            ("links", "Hop 1", "1", "a", "rx_level_dbm"),
            "example.yaml, line 50, field links[0].a.rx_level_dbm",
            "Links.csv, row 2, column RSL A",
            "plan.xlsx, sheet Links, row 2, column RSL A",
        ),
        (
            ("links", "Hop 1", "licence", "valid_until"),
            "example.yaml, line 34, field links[0].licence.valid_until",
            "Links.csv, row 2, column Licence valid until",
            "plan.xlsx, sheet Links, row 2, column Licence valid until",
        ),
        (
            ("hosts", "manager-1", "address"),
            "example.yaml, line 5, field management.hosts[0].address",
            "Hosts.csv, row 2, column Address",
            "plan.xlsx, sheet Hosts, row 2, column Address",
        ),
        (
            ("sites", "Quarry", "latitude"),
            "example.yaml, line 8, field sites[1].latitude",
            "Sites.csv, row 3, column Latitude",
            "plan.xlsx, sheet Sites, row 3, column Latitude",
        ),
        (
            ("maintenance", "mast work", "start"),
            "example.yaml, line 54, field maintenance[0].from",
            "Maintenance.csv, row 2, column From",
            "plan.xlsx, sheet Maintenance, row 2, column From",
        ),
        (
            ("acceptance", "max_loss_pct"),
            "example.yaml, line 53, field acceptance.max_loss_pct",
            "Network.csv, row 11, column Value",
            "plan.xlsx, sheet Network, row 11, column Value",
        ),
    ],
)
def test_every_value_keeps_its_origin(
    forms: Any, path: Any, yaml: str, csv: str, xlsx: str
) -> None:
    for form, expected in {"yaml": yaml, "csv": csv, "xlsx": xlsx}.items():
        plan, _ = read_plan(forms[form])
        assert str(plan.origins[path]) == expected


def test_every_value_of_the_model_has_an_origin(forms: Any) -> None:
    """Each field that differs from its default is found in `origins` under its documented path."""
    for form in forms.values():
        plan, _ = read_plan(form)
        for device in plan.devices:
            for field in dataclasses.fields(device):
                if getattr(device, field.name) not in (field.default, ()):
                    assert ("devices", device.name, field.name) in plan.origins
        for link in plan.links:
            for carrier in link.carriers:
                for end, values in carrier.ends():
                    for field in dataclasses.fields(values):
                        if getattr(values, field.name) is not None:
                            place = ("links", link.name, str(carrier.carrier), end, field.name)
                            assert place in plan.origins


def test_other_addresses_are_known_by_their_address(read: Any) -> None:
    plan, problems = read(
        "devices: [{name: r, address: 198.18.0.1/24, other_addresses: "
        "[{address: 198.18.1.1/255.255.255.0, role: gateway}]}]"
    )
    assert not problems
    assert ("devices", "r", "other_addresses", "198.18.1.1/24", "role") in plan.origins


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("plan.xls", "save it as .xlsx"),
        ("plan.ods", "save it as .xlsx"),
        ("Devices.csv", "name the folder"),
        ("plan.docx", ".yaml or .xlsx file or a folder of .csv files"),
        ("plan", ".yaml or .xlsx file or a folder of .csv files"),
    ],
)
def test_other_kinds_of_file_are_told_what_to_do(tmp_path: Path, name: str, words: str) -> None:
    path = tmp_path / name
    path.write_text("x")
    with pytest.raises(InputError, match=words):
        read_plan(path)


@pytest.mark.parametrize("name", ["plan.yaml", "plan.xlsx", "plan.doc", "a\0b.yaml"])
def test_a_missing_file_is_told(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match=r"no such file|cannot be read|null"):
        read_plan(tmp_path / name)


def test_what_is_no_file_is_not_opened() -> None:
    """A device file would never end."""
    with pytest.raises(InputError, match="is not a file"):
        read_bytes(Path("/dev/zero"))


def test_the_hash_of_the_file_is_that_of_its_bytes(example_yaml: Path, forms: Any) -> None:
    assert (
        read_plan(example_yaml)[0].file_sha256
        == hashlib.sha256(example_yaml.read_bytes()).hexdigest()
    )
    assert read_plan(forms["csv"])[0].file_sha256 == ""


def test_the_hash_is_over_canonical_json_of_the_model(example_yaml: Path) -> None:
    """RFC 8785 3.2: no spaces, names sorted, numbers as ECMAScript writes them."""
    plan, _ = read_plan(example_yaml)
    values = plan_json(plan)
    assert values["devices"][0]["address"] == "198.18.20.11/24"
    assert values["devices"][0]["services"] == {"open": ["443/tcp"], "closed": ["23/tcp"]}
    assert values["maintenance"][0]["start"] == "2026-12-01T08:00:00Z"
    assert "origins" not in values

    def whole(value: Any) -> Any:  # ECMAScript writes 12.0 as 12
        if isinstance(value, float) and value.is_integer():
            return int(value)
        if isinstance(value, list):
            return [whole(v) for v in value]
        return {k: whole(v) for k, v in value.items()} if isinstance(value, dict) else value

    text = json.dumps(whole(values), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert plan_sha256(plan) == hashlib.sha256(text.encode()).hexdigest()


def test_the_hash_follows_the_values_and_not_their_places(read: Any) -> None:
    first = plan_sha256(read("devices: [{name: a, address: 198.18.0.1/24}]")[0])
    moved = plan_sha256(read("# moved\ndevices:\n- address: 198.18.0.1/24\n  name: a\n")[0])
    other = plan_sha256(read("devices: [{name: a, address: 198.18.0.1/25}]")[0])
    assert first == moved != other
    assert plan_sha256(Plan()) == plan_sha256(Plan(file_sha256="x"))
