"""Workbook, YAML and CSV carry the same plan; what is written can be read by others too."""

from __future__ import annotations

import csv
import dataclasses
import datetime as dt
import itertools
import json
import re
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import jsonschema
import openpyxl
import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.files.plan_strategies import PLANS
from verifier.errors import UsageError
from verifier.files.canonical import plan_sha256
from verifier.files.plan.columns import sheets
from verifier.files.plan.hints import HINTS, ROWS, hint, sentences
from verifier.files.plan.joined_texts import (
    guarded,
    joined,
    parted,
    put_together,
    taken_apart,
    unguarded,
)
from verifier.files.read_plan import example_plan, read_plan
from verifier.files.schema import schema
from verifier.files.write_plan import write_plan
from verifier.model import plan as model
from verifier.model.address import Interface

FORMS = ("plan.yaml", "plan.xlsx", "plan")
ADDRESS = Interface.parse("198.18.20.11/24")
PLAN_SCHEMA = jsonschema.Draft202012Validator(schema("plan"))
often = settings(
    max_examples=20, deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)  # fmt: skip


def through(plan: model.Plan, form: str) -> model.Plan:
    """The plan as it is after being written and read; no fault may be found."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / form
        write_plan(plan, path)
        back, problems = read_plan(path)
    assert problems == ()
    return back


def device(**fields: Any) -> model.Device:
    given_or_usual: dict[str, Any] = {"name": "quarry", "address": ADDRESS} | fields
    return model.Device(**given_or_usual)


# --- equal forms --------------------------------------------------------------------------------


@pytest.mark.parametrize("form", FORMS)
@often
@given(plan=PLANS)
def test_every_form_carries_every_value(form: str, plan: model.Plan) -> None:
    """Written and read again, a generated plan with every field is the same plan."""
    back = through(plan, form)
    assert back == plan
    assert plan_sha256(back) == plan_sha256(plan)


@pytest.mark.parametrize(("first", "second"), [*itertools.permutations(FORMS, 2)])
def test_converting_any_to_any_other_and_back_changes_nothing(first: str, second: str) -> None:
    plan = example_plan()
    assert through(through(through(plan, first), second), first) == plan


@pytest.mark.parametrize("form", FORMS)
def test_values_keep_their_origin(form: str, tmp_path: Path) -> None:
    """A value read from what we wrote is said to stand where a person finds it."""
    write_plan(example_plan(), tmp_path / form)
    plan, _ = read_plan(tmp_path / form)
    origin = str(plan.origin("devices", "quarry-harbour", "gateway"))
    file = tmp_path / form
    if form == "plan.xlsx":
        found = re.fullmatch(r"plan\.xlsx, sheet Devices, row (\d+), column Gateway", origin)
        assert found is not None
        sheet = openpyxl.load_workbook(file)["Devices"]
        headings = [c.value for c in sheet[1]]
        row = sheet[int(found[1])]
        assert row[headings.index("Name")].value == "quarry-harbour"
    elif form == "plan":
        found = re.fullmatch(r"Devices\.csv, row (\d+), column Gateway", origin)
        assert found is not None
        assert (
            (file / "Devices.csv")
            .read_text()
            .splitlines()[int(found[1]) - 1]
            .startswith("quarry-harbour,")
        )
    else:
        found = re.fullmatch(r"plan\.yaml, line (\d+), field devices\[2\]\.gateway", origin)
        assert found is not None
        assert file.read_text().splitlines()[int(found[1]) - 1].strip() == "gateway: 198.18.20.1"


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("licence: {}", ""),
        ("licence: {reference: ''}", ""),
        ("raster: ''", ""),
        ("raster: '  '", ""),
        (
            "licence: {valid_until: 2031-06-30, reference: null}",
            "licence: {valid_until: 2031-06-30}",
        ),
    ],
)
def test_nothing_written_is_nothing(read: Any, first: str, second: str) -> None:
    """What a sheet could not tell apart is the same in YAML too."""
    text = (
        "devices: [{name: a, address: 198.18.20.11/24}, {name: b, address: 198.18.20.12/24}]\n"
        "links:\n  - name: Hop 1\n    a: {device: a}\n    b: {device: b}\n"
    )
    plans = [read(f"{text}    {line}\n")[0] for line in (first, second)]
    assert plans[0] == plans[1]


def test_a_link_needs_a_carrier(read: Any) -> None:
    _, problems = read("links: [{name: Hop 1, carriers: []}]")
    assert [p.message for p in problems] == ["a and b (or carriers) is missing"]


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ('uplink: "a; b"', ("a", "b")),
        ('uplink: \'a; "b;c" ;"say ""hi""; x"\'', ("a", "b;c", 'say "hi"; x')),
        ('uplink: ["a; b", c]', ("a; b", "c")),
        ("uplink: '12\" dish; b'", ('12" dish', "b")),
        ("uplink: '\"open; b'", ('"open', "b")),
    ],
)
def test_names_that_hold_the_separator(read: Any, line: str, wanted: tuple[str, ...]) -> None:
    plan, _ = read(f"devices: [{{name: x, address: 198.18.20.11/24, {line}}}]")
    assert plan.devices[0].uplink == wanted


def test_words_of_a_list_are_words(read: Any) -> None:
    """Two words in one entry are two: a sheet separates them by spaces."""
    plan, _ = read(
        "devices: [{name: x, address: 198.18.20.11/24, services: {open: [443/tcp 22/tcp]}}]"
    )
    assert [service.port for service in plan.devices[0].services.open] == [443, 22]


def test_a_check_without_a_reason_may_not_stay_untested(read: Any) -> None:
    """As a name alone, or as a group without its reason: an error that says what is missing."""
    for written in ("[radio.xpi]", "radio.xpi", "[{check: radio.xpi, by: A. Example}]"):
        plan, problems = read(f"not_tested_ok: {written}")
        assert plan.not_tested_ok == ()
        (problem,) = problems
        assert (problem.severity, problem.rule) == ("error", "missing-field")
        assert "the reason why it may stay untested" in problem.message


TEXTS = st.text("a=;\"(by )@' ", min_size=1).map(str.strip).filter(bool)


@given(TEXTS, TEXTS, st.none() | TEXTS)
def test_what_may_stay_untested_is_read_as_it_was_written(
    check: str, reason: str, by: str | None
) -> None:
    """In one cell, whatever marks the parts hold."""
    assert taken_apart(put_together(check, reason, by)) == (check, reason, by or "")


@given(st.lists(st.text('ab;" ', min_size=1).map(str.strip).filter(bool), max_size=4))
def test_joined_names_are_parted_again(names: list[str]) -> None:
    assert parted(joined(names, "; ")) == names


@given(st.text("'=+-@a"))
def test_a_guarded_text_is_never_a_formula_and_comes_back(text: str) -> None:
    assert unguarded(guarded(text)) == text
    assert guarded(text)[:1] not in {"=", "+", "-", "@"}


# --- what a form cannot carry -------------------------------------------------------------------


@pytest.mark.parametrize("form", ["plan", "plan.xlsx"])
@pytest.mark.parametrize(
    ("plan", "words"),
    [
        (model.Plan(devices=(device(), device())), "two devices are called 'quarry'"),
        (
            model.Plan(links=(model.Link(name="Hop 1", carriers=()),) * 2),
            "two links are called 'Hop 1'",
        ),
    ],
)
def test_rows_that_could_not_be_told_apart_are_refused(
    tmp_path: Path, form: str, plan: model.Plan, words: str
) -> None:
    with pytest.raises(UsageError, match=re.escape(words)):
        write_plan(plan, tmp_path / form)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("label", ["a\nb", " a", "a\x00", "", "x" * 1001])
def test_texts_that_no_reader_lets_through_are_refused(
    tmp_path: Path, form: str, label: str
) -> None:
    with pytest.raises(UsageError, match="cannot be written"):
        write_plan(model.Plan(devices=(device(label=label),)), tmp_path / form)
    assert list(tmp_path.iterdir()) == []


def test_a_text_that_workbooks_read_as_an_escape_is_refused(tmp_path: Path) -> None:
    """ISO/IEC 29500-1 22.9.2.19 (from memory): _x0041_ stands for A."""
    plan = model.Plan(devices=(device(label="a_x0041_"),))
    with pytest.raises(UsageError, match="'a_x0041_' cannot be written into a workbook"):
        write_plan(plan, tmp_path / "plan.xlsx")
    assert through(plan, "plan") == plan


# --- nothing is overwritten ---------------------------------------------------------------------


@pytest.mark.parametrize("form", ["plan.yaml", "plan.xlsx", "plan.YML"])
def test_a_file_that_is_there_stays(tmp_path: Path, form: str) -> None:
    (tmp_path / form).write_text("mine")
    with pytest.raises(UsageError, match="is there already"):
        write_plan(model.Plan(), tmp_path / form)
    assert (tmp_path / form).read_text() == "mine"


@pytest.mark.parametrize("name", ["sites.CSV", "other.csv", "Read me.txt", "DEVICES.csv"])
def test_a_folder_that_holds_such_files_stays(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("mine")
    with pytest.raises(UsageError, match="is there already"):
        write_plan(model.Plan(), tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text() == "mine"


def test_a_folder_with_other_things_is_written_into(tmp_path: Path) -> None:
    (tmp_path / "photo.png").touch()
    write_plan(example_plan(), tmp_path)
    assert read_plan(tmp_path)[0] == example_plan()


@pytest.mark.parametrize(
    ("name", "hint"),
    [
        ("plan.xls", "save it as .xlsx"), ("plan.csv", "name the folder"), ("plan.txt", "none of"),
        ("plan.json", "JSON is YAML"), ("no/such/plan.yaml", "No such file"),
        ("plan.yaml/plan.xlsx", "Not a directory"), ("a\0.yaml", "cannot be written"),
    ],
)  # fmt: skip
def test_places_that_cannot_be_written(tmp_path: Path, name: str, hint: str) -> None:
    (tmp_path / "plan.yaml").touch()
    with pytest.raises(UsageError, match=hint):
        write_plan(model.Plan(), tmp_path / name)


def test_a_file_in_place_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "plan").write_text("mine")
    with pytest.raises(UsageError, match="is no folder"):
        write_plan(model.Plan(), tmp_path / "plan")


def test_a_full_disk_leaves_nothing_behind(tmp_path: Path) -> None:
    """With a limit on the size of files (setrlimit), a workbook does not fit: it is taken away."""
    code = (
        "import resource, signal, sys; from pathlib import Path\n"
        "from verifier.errors import UsageError\n"
        "from verifier.files.write_plan import write_plan; from verifier.model.plan import Plan\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (3000, 3000))\n"
        "try: write_plan(Plan(), Path(sys.argv[1]))\n"
        "except UsageError as fault: print(fault)\n"
    )
    for form in FORMS:
        done = subprocess.run(
            [sys.executable, "-c", code, str(tmp_path / form)],
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        assert "cannot be written: File too large" in done.stdout
    assert [p for p in tmp_path.rglob("*") if p.is_file()] == []


# --- as others read it --------------------------------------------------------------------------


@often
@given(plan=PLANS)
def test_yaml_is_what_any_yaml_reader_sees(plan: model.Plan) -> None:
    """PyYAML's safe loader, which gives types to plain values, sees texts as texts."""
    with tempfile.TemporaryDirectory() as folder:
        write_plan(plan, Path(folder) / "plan.yaml")
        tree = yaml.safe_load((Path(folder) / "plan.yaml").read_text("utf-8"))
    tree = json.loads(json.dumps(tree, default=lambda v: v.isoformat()))
    assert [e.message for e in PLAN_SCHEMA.iter_errors(tree)] == []
    devices = tree.get("devices") or []
    assert [d["name"] for d in devices] == [d.name for d in plan.devices]
    assert [d.get("label") for d in devices] == [d.label for d in plan.devices]


def test_csv_is_what_the_csv_module_sees(tmp_path: Path) -> None:
    """RFC 4180: CRLF, quotes only where needed, the headings first."""
    plan = model.Plan(devices=(device(name='a "b", c', label="=1+1", serial="000123"),))
    write_plan(plan, tmp_path / "plan")
    data = (tmp_path / "plan" / "Devices.csv").read_bytes()
    assert data.count(b"\r\n") == 2
    assert data.count(b"\n") == 2
    (row,) = csv.DictReader(data.decode("ascii").splitlines())
    assert row["Name"] == 'a "b", c'
    assert row["Address"] == "198.18.20.11/24"
    assert row["Label"] == "'=1+1"
    assert row["Serial"] == "000123"
    assert set(row) == {c.heading for c in sheets()["Devices"].columns}


def test_csv_that_is_not_ascii_says_that_it_is_utf8(tmp_path: Path) -> None:
    plan = model.Plan(sites=(model.Site(name="Sk\u00e4r"),))
    write_plan(plan, tmp_path)
    assert (tmp_path / "Sites.csv").read_bytes().startswith(b"\xef\xbb\xbfName")
    assert (tmp_path / "Devices.csv").read_bytes().startswith(b"Name")
    assert read_plan(tmp_path)[0] == plan


@pytest.mark.parametrize("label", ["=1+1", "@x", "+1", "-1", "#N/A", "TRUE", "000123", "1-2"])
def test_a_cell_is_text_and_no_formula(tmp_path: Path, label: str) -> None:
    write_plan(model.Plan(devices=(device(label=label),)), tmp_path / "plan.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "plan.xlsx")["Devices"]
    cell = sheet.cell(2, [c.value for c in sheet[1]].index("Label") + 1)
    assert (cell.value, cell.data_type, cell.number_format) == (label, "s", "@")


@pytest.mark.parametrize(
    ("ground", "kind"),
    [(12.0, "n"), (0.1, "n"), (-0.0, "n"), (1e300, "n"), (0.1 + 0.2, "s"), (2.0**53 - 1, "s")],
)
def test_figures_of_more_than_15_digits_are_written_as_text(
    tmp_path: Path, ground: float, kind: str
) -> None:
    """A spreadsheet keeps 15 digits of a number."""
    plan = model.Plan(sites=(model.Site(name="Quarry", ground_amsl_m=ground),))
    write_plan(plan, tmp_path / "plan.xlsx")
    cell = openpyxl.load_workbook(tmp_path / "plan.xlsx")["Sites"]["D2"]
    assert (cell.data_type, float(cell.value)) == (kind, ground)
    assert read_plan(tmp_path / "plan.xlsx")[0] == plan


# --- the workbook -------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Any:
    path = tmp_path_factory.mktemp("book") / "plan.xlsx"
    write_plan(example_plan(), path)
    return openpyxl.load_workbook(path)


def test_a_first_sheet_says_how(book: Any) -> None:
    assert book.sheetnames == ["Read me", *sheets()]
    words = " ".join(str(c.value) for c in book["Read me"]["B"])
    for part in (*sheets(), "plan-verifier check FILE", "destroys a receiver", "licence", "SNMP"):
        assert part in words


@pytest.mark.parametrize("name", [n for n in sheets() if n != "Network"])
def test_each_heading_has_unit_hint_width_and_stays_in_sight(book: Any, name: str) -> None:
    sheet = book[name]
    columns = sheets()[name].columns
    assert sheet.freeze_panes == ("C2" if columns[0].path == ("device",) else "B2")
    assert sheet.auto_filter.ref is not None
    for index, column in enumerate(columns, start=1):
        cell = sheet.cell(1, index)
        letter = cell.column_letter
        assert cell.value == column.heading
        assert not column.unit or column.unit in cell.value
        assert cell.comment.text == "\n".join(sentences(name, column))
        assert (cell.font.underline == "single") == hint(name, column).required
        width = sheet.column_dimensions[letter].width
        assert width >= max(len(word) for word in column.heading.split()) + 2
        longest = max((len(str(r[index - 1])) for r in sheet.values if r[index - 1]), default=0)
        assert width >= min(longest, 44) or longest == len(column.heading)


@pytest.mark.parametrize("name", [n for n in sheets() if n != "Network"])
def test_empty_cells_are_text_where_text_belongs(book: Any, name: str) -> None:
    """What a person types into a row that is still empty is taken as typed."""
    sheet = book[name]
    for index, column in enumerate(sheets()[name].columns, start=1):
        letter = sheet.cell(1, index).column_letter
        wanted = {"number": "General", "date": "yyyy-mm-dd"}.get(column.kind, "@")
        assert sheet.column_dimensions[letter].number_format == wanted


def offers(sheet: Any, cell: str) -> list[str]:
    """The choices that a cell offers."""
    found = [v for v in sheet.data_validations.dataValidation if cell in v.sqref]
    return found[0].formula1.strip('"').split(",") if found else []


@pytest.mark.parametrize(
    ("sheet", "heading", "choices"),
    [
        ("Devices", "Tx band", ["high", "low"]),
        ("Devices", "Management tagged", ["yes", "no"]),
        ("Ports", "Duplex", ["full", "half"]),
        ("Addresses", "Role", ["gateway", "second"]),
        ("Links", "Polarisation", ["V", "H"]),
        ("Links", "ATPC B", ["yes", "no"]),
        ("Links", "Protection", ["1+0", "1+1-hsb", "1+1-sd", "1+1-fd", "2+0", "2+0-xpic"]),
    ],
)
def test_choices_are_offered(book: Any, sheet: str, heading: str, choices: list[str]) -> None:
    headings = [c.value for c in book[sheet][1]]
    letter = book[sheet].cell(1, headings.index(heading) + 1).column_letter
    for row in (2, 500, 1_048_576):
        assert offers(book[sheet], f"{letter}{row}") == choices
    assert all(
        v.showErrorMessage and not v.showDropDown  # which hides the arrow
        for v in book[sheet].data_validations.dataValidation
        if v.type == "list" and v.formula1.startswith('"')
    )


def test_fields_of_the_network_offer_theirs(book: Any) -> None:
    rows = {row[0].value: row[1] for row in book["Network"].iter_rows(min_row=2)}
    assert list(rows) == [c.heading for c in sheets()["Network"].columns]
    assert offers(book["Network"], rows["stage"].coordinate)[0] == "bench"
    assert offers(book["Network"], rows["network.example"].coordinate) == ["yes", "no"]
    assert rows["network.date"].value == dt.datetime(2026, 11, 20)  # noqa: DTZ001 - a day
    assert rows["management.laptop"].number_format == "@"


def test_units_and_sites_are_offered_by_name(book: Any) -> None:
    for sheet, cell, of in (
        ("Ports", "A2", "Devices"), ("Links", "W2", "Devices"), ("Devices", "D2", "Sites"),
    ):  # fmt: skip
        (validation,) = [v for v in book[sheet].data_validations.dataValidation if cell in v.sqref]
        assert f"{of}!$A$2" in validation.formula1
        assert book[of]["A1"].value == "Name"


def luminance(color: str) -> float:
    red, green, blue = (int(color[i : i + 2], 16) for i in (2, 4, 6))
    return 0.299 * red + 0.587 * green + 0.114 * blue  # ITU-R BT.601


def test_ends_are_apart_in_grey_too(book: Any) -> None:
    """The headings of link, end A and end B differ by at least 40 of 255 in brightness."""
    headings = {c.value: luminance(c.fill.fgColor.rgb) for c in book["Links"][1]}
    shades = sorted((headings["Name"], headings["Device A"], headings["Device B"]))
    assert shades[1] - shades[0] > 40
    assert shades[2] - shades[1] > 40


# --- hints --------------------------------------------------------------------------------------


def test_every_field_has_a_hint_and_every_hint_a_field() -> None:
    found = set()
    for name, sheet in sheets().items():
        for column in sheet.columns:
            sides = name == "Links" and column.path[0] in ("a", "b")
            found.add(f"{name}.{'.'.join(column.path[1:] if sides else column.path)}")
    assert found == set(HINTS)
    assert set(ROWS) == set(sheets())


@pytest.mark.parametrize("name", [n for n in sheets() if n != "Network"])
def test_a_hint_says_what_must_be_filled_in(name: str) -> None:
    """Exactly the fields that the model cannot be without."""
    classes: dict[str, tuple[Any, ...]] = {
        "Hosts": (model.Host,), "Sites": (model.Site,), "Devices": (model.Device,),
        "Addresses": (model.OtherAddress,), "Ports": (model.Port,), "Links": (model.Link, model.End),
        "Maintenance": (model.Maintenance,),
    }  # fmt: skip
    required = {
        {"start": "from"}.get(f.name, f.name)
        for cls in classes[name]
        for f in dataclasses.fields(cls)
        if f.default is dataclasses.MISSING and f.default_factory is dataclasses.MISSING
    } - {"carriers"}
    required |= {"device"} if name in ("Addresses", "Ports") else set()
    assert {c.path[-1] for c in sheets()[name].columns if hint(name, c).required} == required


@pytest.mark.parametrize("name", sheets())
def test_the_example_of_a_hint_can_be_read(name: str, tmp_path: Path) -> None:
    """Each example, put into its own column, is taken without a fault of that column."""
    for column in sheets()[name].columns:
        found = hint(name, column)
        if not found.example:
            assert column.choices or column.kind == "flag"
            continue
        folder = tmp_path / re.sub(r"\W", "_", column.heading)
        folder.mkdir()
        head, cells = [column.heading], [found.example]
        if name == "Network":
            head, cells = ["Field", "Value"], [column.heading, found.example]
        with (folder / f"{name}.csv").open("w", newline="") as file:
            csv.writer(file).writerows([head, cells])
        _, problems = read_plan(folder)
        assert [p for p in problems if f"column {column.heading}" in str(p.origin)] == []
        assert [p for p in problems if p.rule not in ("missing-field", "unknown-device")] == []


# --- LibreOffice --------------------------------------------------------------------------------


def office(folder: Path, to: str, file: Path) -> None:
    """Converts a file with LibreOffice, in a profile of its own."""
    subprocess.run(
        ["soffice", f"-env:UserInstallation=file://{folder}/profile", "--headless",
         "--convert-to", to, "--outdir", str(folder / "out"), str(file)],
        check=True, capture_output=True, timeout=180,
    )  # fmt: skip


@pytest.mark.office
def test_libreoffice_reads_what_the_csv_module_reads(tmp_path: Path) -> None:
    """Each sheet as LibreOffice writes it to CSV holds the cells of the CSV file that we write."""
    write_plan(example_plan(), tmp_path / "plan.xlsx")
    write_plan(example_plan(), tmp_path / "plan")
    all_sheets = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1"
    office(tmp_path, all_sheets, tmp_path / "plan.xlsx")
    for name in sheets():
        with (tmp_path / "out" / f"plan-{name}.csv").open(encoding="utf-8", newline="") as file:
            theirs = [row[:2] if name == "Network" else row for row in csv.reader(file)]
        with (tmp_path / "plan" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            ours = list(csv.reader(file))
        assert theirs == ours


@pytest.mark.office
def test_a_workbook_saved_by_libreoffice_is_the_same_plan(tmp_path: Path) -> None:
    """And so are odd texts: none has become a formula, a number or a date."""
    labels = ["=1+1", "@SUM(1)", "000123", "1-2", "TRUE", "1e3", "a;b", '"q"', "'x", "#N/A"]
    odd = tuple(device(name=f"d{n}", label=label) for n, label in enumerate(labels))
    plan = dataclasses.replace(example_plan(), devices=example_plan().devices + odd)
    write_plan(plan, tmp_path / "plan.xlsx")
    office(tmp_path, "xlsx", tmp_path / "plan.xlsx")
    back, problems = read_plan(tmp_path / "out" / "plan.xlsx")
    assert problems == ()
    assert back == plan


@pytest.mark.parametrize("form", FORMS)
def test_no_gateway_is_written_as_none(form: str, tmp_path: Path) -> None:
    """`none` says that there is none; an empty cell says nothing; both come back as they were."""
    none, nothing = (
        device(no_gateway=True),
        device(name="ferry", address=Interface.parse("198.18.20.12/24")),
    )
    assert through(model.Plan(devices=(none, nothing)), form).devices == (none, nothing)
    file = tmp_path / "plan.yaml"
    write_plan(model.Plan(devices=(none,)), file)
    written = yaml.safe_load(file.read_text())
    assert written["devices"][0]["gateway"] == "none"
    assert not list(PLAN_SCHEMA.iter_errors(written))
    file.write_text(file.read_text().replace("none", "None"))
    plan, problems = read_plan(file)
    assert (plan.devices, problems) == ((none,), ())
    assert "gateway" in str(plan.origin("devices", "quarry", "gateway"))


def test_the_flag_behind_none_is_no_field_of_a_file(tmp_path: Path) -> None:
    """Nothing is read under two names, and nothing is dropped without a word."""
    file = tmp_path / "plan.yaml"
    file.write_text("devices: [{name: quarry, address: 198.18.20.11/24, no_gateway: true}]\n")
    plan, problems = read_plan(file)
    assert not plan.devices[0].no_gateway
    assert [p for p in problems if "no_gateway" in p.message]
