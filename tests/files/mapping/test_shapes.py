"""Sheets of other shapes, as their houses keep them: proposed for, settled, read; nothing silent."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.styles import Font

from tests.files.mapping.test_mapping import first_choices
from verifier.files.propose_mapping import propose
from verifier.files.read_plan import read_foreign
from verifier.model.ledger import Ledger
from verifier.model.plan import Plan
from verifier.model.problem import Problem

Rows = Sequence[Sequence[Any]]
Read = tuple[Plan, tuple[Problem, ...], Ledger]


def book(path: Path, pages: dict[str, Rows], change: Callable[[Any], None] | None = None) -> Path:
    """A workbook; `change` does to its first sheet what a person does in a spreadsheet program."""
    made = openpyxl.Workbook()
    made.remove(made.worksheets[0])
    for title, rows in pages.items():
        page = made.create_sheet(title)
        for row in rows:
            page.append(list(row))
    if change is not None:
        change(made.worksheets[0])
    made.save(path)
    return path


def read_proposed(path: Path) -> Read:
    """Read by what is proposed, with the first reading of each line that is unsure."""
    out = path.with_name("m.toml")
    propose(path, out)
    out.write_text(first_choices(out.read_text(encoding="utf-8")), encoding="utf-8")
    return read_foreign(path, out)


def read_by(path: Path, mapping: str) -> Read:
    out = path.with_name("m.toml")
    out.write_text(f'format = "plan-verifier/mapping/1"\n{mapping}', encoding="utf-8")
    return read_foreign(path, out)


def errors(problems: Sequence[Problem]) -> list[str]:
    return [str(p) for p in problems if p.severity == "error"]


def ends(plan: Plan) -> dict[str, Any]:
    """By link: device address, frequency and level of both ends."""
    address = {d.name: str(d.address) for d in plan.devices}
    return {
        link.name: [
            (address.get(e.device), e.tx_mhz, e.rx_level_dbm) for _, e in link.carriers[0].ends()
        ]
        for link in plan.links
    }


HOP_1 = [("198.18.20.1/24", 13143, -45.6), ("198.18.20.2/24", 12877, -45.8)]
HOP_2 = [("198.18.20.3/24", 13171, -40.0), ("198.18.20.4/24", 12905, -40.5)]
FAR: Rows = [
    ["Link", "Site", "Far site", "IP", "Far IP", "TX (MHz)", "Far end RSL (dBm)"],
    ["H1", "Light", "Quarry", "198.18.20.1/24", "198.18.20.2/24", 13143, -45.8],
    ["H1", "Quarry", "Light", "198.18.20.2/24", "198.18.20.1/24", 12877, -45.6],
    ["H2", "Harbour", "Ferry", "198.18.20.3/24", "198.18.20.4/24", 13171, -40.5],
    ["H2", "Ferry", "Harbour", "198.18.20.4/24", "198.18.20.3/24", 12905, -40.0],
]


def test_a_far_column_in_a_row_of_one_end_is_of_the_other_end(tmp_path: Path) -> None:
    plan, problems, ledger = read_proposed(book(tmp_path / "t.xlsx", {"S": FAR}))
    assert errors(problems) == []
    assert ends(plan) == {"H1": HOP_1, "H2": HOP_2}
    assert {d.site: str(d.address) for d in plan.devices}["Quarry"] == "198.18.20.2/24"
    (level,) = next(c for c in ledger.cells if c.row == 2 and c.column == 7).reads
    assert (level.field, str(level.subject)) == ("Links.far.rx_level_dbm", "H1 end b")


def test_a_far_column_that_disagrees_with_the_far_row_is_an_error(tmp_path: Path) -> None:
    rows: Rows = [*FAR[:2], [*FAR[2][:3], "198.18.20.7/24", *FAR[2][4:]], *FAR[3:]]
    _, problems, _ = read_proposed(book(tmp_path / "t.xlsx", {"S": rows}))
    assert any("198.18.20.7" in text and "198.18.20.2" in text for text in errors(problems))


def test_ends_without_a_name_of_their_link_are_paired_by_their_places(tmp_path: Path) -> None:
    rows: Rows = [row[1:] for row in FAR]
    plan, problems, _ = read_proposed(book(tmp_path / "t.xlsx", {"S": rows}))
    assert errors(problems) == []
    assert ends(plan) == {"Light - Quarry": HOP_1, "Harbour - Ferry": HOP_2}


FORM: Rows = [
    ["Link sheet"],
    [None, "Near", "Far"],
    ["Link", "H1"],
    ["Device", "light", "quarry"],
    ["IP", "198.18.20.1/24", "198.18.20.2/24"],
    ["TX (MHz)", 13143, 12877],
    ["RSL (dBm)", -45.6, -45.8],
    [],
    [None, "Near", "Far"],
    ["Link", "H2"],
    ["Device", "harbour", "ferry"],
    ["IP", "198.18.20.3/24", "198.18.20.4/24"],
    ["TX (MHz)", 13171, 12905],
    ["RSL (dBm)", -40, -40.5],
]


def test_forms_under_each_other_are_one_link_each(tmp_path: Path) -> None:
    plan, problems, _ = read_proposed(book(tmp_path / "t.xlsx", {"S": FORM}))
    assert errors(problems) == []
    assert ends(plan) == {"H1": HOP_1, "H2": HOP_2}


def test_a_form_on_each_sheet_is_read_by_one_table(tmp_path: Path) -> None:
    path = book(tmp_path / "t.xlsx", {"Hop 1": FORM[1:7], "Hop 2": FORM[8:]})
    fields = {"Device": "Devices.{}.name", "IP": "Devices.{}.address",
              "TX (MHz)": "Links.{}.tx_mhz", "RSL (dBm)": "Links.{}.rx_level_dbm"}  # fmt: skip
    lines = [
        f'"{word} {label}" = "{field.format(side)}"'
        for label, field in fields.items()
        for word, side in (("Near", "a"), ("Far", "b"))
    ]
    plan, problems, _ = read_by(
        path,
        '[[table]]\npage = "Hop *"\nrow = "link"\nlayout = "form"\n[table.columns]\n'
        '"Link" = "Links.name"\n' + "\n".join(lines),
    )
    assert errors(problems) == []
    assert ends(plan) == {"H1": HOP_1, "H2": HOP_2}


def test_a_turned_table_has_a_link_in_each_column(tmp_path: Path) -> None:
    rows: Rows = [
        ["Link", "H1", "H2"],
        ["Device A", "light", "harbour"],
        ["Device B", "quarry", "ferry"],
        ["IP A", "198.18.20.1/24", "198.18.20.3/24"],
        ["IP B", "198.18.20.2/24", "198.18.20.4/24"],
        ["TX A (GHz)", 13.143, 13.171],
        ["TX B (GHz)", 12.877, 12.905],
        ["RSL A (dBm)", -45.6, -40],
        ["RSL B (dBm)", -45.8, -40.5],
    ]
    plan, problems, ledger = read_proposed(book(tmp_path / "t.xlsx", {"S": rows}))
    assert errors(problems) == []
    assert ends(plan) == {"H1": HOP_1, "H2": HOP_2}
    cell = next(c for c in ledger.cells if (c.row, c.column) == (7, 3))
    assert (cell.reads[0].value, cell.heading) == ("12905", "TX B (GHz)")


LINKS: Rows = [
    ["Link", "Device A", "Device B", "TX A (MHz)", "TX B (MHz)"],
    ["H1", "light", "quarry", 13143, 12877],
]
DEVICES: Rows = [
    ["Device", "IP address", "Gateway"],
    ["light", "198.18.20.1/24", "198.18.20.9/24"],
    ["quarry", "198.18.20.2/24", "-"],
]


def test_tables_under_each_other_are_read_each_by_its_headings(tmp_path: Path) -> None:
    rows: Rows = [["Plan of the coast"], *LINKS, [], ["Radios"], *DEVICES]
    plan, problems, _ = read_proposed(book(tmp_path / "t.xlsx", {"S": rows}))
    assert errors(problems) == []
    assert [tuple(map(str, (d.name, d.address, d.gateway))) for d in plan.devices] == [
        ("light", "198.18.20.1/24", "198.18.20.9"), ("quarry", "198.18.20.2/24", "None"),
    ]  # fmt: skip
    assert plan.links[0].carriers[0].b.tx_mhz == 12877


def test_a_new_title_line_breaks_no_mapping(tmp_path: Path) -> None:
    mapping = (
        '[[table]]\nrow = "link"\n[table.columns]\n"Link" = "Links.name"\n'
        '"Device A" = "Links.a.device"\n"Device B" = "Links.b.device"\n'
        '"TX A (MHz)" = "Links.a.tx_mhz"\n"TX B (MHz)" = "Links.b.tx_mhz"\n'
    )
    first, _, _ = read_by(book(tmp_path / "t.xlsx", {"S": LINKS}), mapping)
    rows: Rows = [["Issue 4"], ["all in MHz"], *LINKS]
    again, problems, _ = read_by(book(tmp_path / "t.xlsx", {"S": rows}), mapping)
    assert again.links == first.links
    assert [p.rule for p in problems] == ["row-skipped"]


def test_blank_repeats_are_filled_down_and_merged_cells_are_one(tmp_path: Path) -> None:
    rows: Rows = [
        ["Link", "Device", "IP", "TX (MHz)", "Capacity (Mbit/s)"],
        ["H1", "light", "198.18.20.1/24", 13143, 190],
        [None, "quarry", "198.18.20.2/24", 12877, None],
        ["H2", "harbour", "198.18.20.3/24", 13171, 100],
        [None, "ferry", "198.18.20.4/24", 12905, None],
    ]

    def merge(page: Any) -> None:
        page.merge_cells("E2:E3")
        page.merge_cells("E4:E5")

    path = book(tmp_path / "t.xlsx", {"S": rows}, merge)
    plan, problems, ledger = read_proposed(path)
    assert errors(problems) == []
    assert {link.name: link.capacity_mbps for link in plan.links} == {"H1": 190, "H2": 100}
    assert [c.b.device for link in plan.links for c in link.carriers] == ["quarry", "ferry"]
    assert any("repeats row 2" in r.how for c in ledger.cells for r in c.reads)


def test_a_cell_that_repeats_a_skipped_row_is_of_that_row(tmp_path: Path) -> None:
    """Never of the row that was read last."""
    rows: Rows = [
        ["Link", "Device", "TX (MHz)", "Status"],
        ["H1", "light", 13143, None],
        [None, "quarry", 12877, None],
        ["H2", "harbour", 13171, "cancelled"],
        [None, "ferry", 12905, None],
    ]
    _, problems, _ = read_proposed(book(tmp_path / "t.xlsx", {"S": rows}))
    assert any("link H2 must have two ends" in text for text in errors(problems))


def test_several_values_in_one_cell_and_octets_in_four(tmp_path: Path) -> None:
    rows: Rows = [
        ["Device", "Management", "Old 1", "Old 2", "Old 3", "Old 4"],
        ["light", "198.18.20.1 / 255.255.255.0 / 198.18.20.9", 192, 0, 2, 21],
        ["quarry", "198.18.20.2/255.255.255.0", 192, 0, 2, 22],
    ]
    plan, problems, ledger = read_by(
        book(tmp_path / "t.xlsx", {"S": rows}),
        '[[table]]\nrow = "device"\n[table.columns]\n"Device" = "Devices.name"\n'
        '"Management" = {split = "{Devices.address} / {Devices.mask} / {Devices.gateway}"}\n'
        '[table.made]\n"Devices.present_address" = "{Old 1}.{Old 2}.{Old 3}.{Old 4}/24"\n',
    )
    (light,) = plan.devices
    assert tuple(map(str, (light.address, light.gateway, light.present_address))) == (
        "198.18.20.1/24", "198.18.20.9", "192.0.2.21/24",
    )  # fmt: skip
    assert any("has not the form" in text for text in errors(problems))
    assert {c.fate for c in ledger.cells if c.row == 2} == {"read"}


def strike(page: Any) -> None:
    for cell in page[3]:
        cell.font = Font(strike=True)
    page.row_dimensions[4].hidden = True


SKIPPED: Rows = [
    ["Device", "IP", "Status"],
    ["light", "198.18.20.1/24", "in service"],
    ["struck", "198.18.20.2/24", None],
    ["hidden", "198.18.20.3/24", None],
    ["reserve", "198.18.20.4/24", "Reserve"],
    ["alt", "198.18.20.5/24", "stillgelegt 2025"],
    ["Device", "IP", "Status"],
    ["quarry", "198.18.20.6/24", "planned"],
    ["Total", 6, None],
    ["prepared by A. Example", None, None],
]
BY_NAME = (
    '[[table]]\nrow = "device"\n[table.columns]\n"Device" = "Devices.name"\n'
    '"IP" = "Devices.address"\n"Status" = {leave_out = "read elsewhere"}\n'
)


def test_rows_that_are_no_plan_are_skipped_and_told(tmp_path: Path) -> None:
    path = book(tmp_path / "t.xlsx", {"S": SKIPPED}, strike)
    plan, problems, ledger = read_by(path, BY_NAME)
    assert [d.name for d in plan.devices] == ["light", "quarry"]
    told = " ".join(p.message for p in problems if p.rule == "row-skipped")
    for words in ("row 3: struck through", "row 4: hidden", "'Reserve'", "'stillgelegt 2025'"):
        assert words in told
    fates = {c.row: c.fate for c in ledger.cells}
    assert (fates[3], fates[7], fates[9], fates[10]) == (
        "row skipped",
        "repeat",
        "footer",
        "footer",
    )


def test_a_person_confirms_what_is_skipped_or_keeps_it(tmp_path: Path) -> None:
    path = book(tmp_path / "t.xlsx", {"S": SKIPPED}, strike)
    skip = (
        "[table.skip_rows]\nstruck_through = true\nhidden = false\nfooter = true\n"
        '[table.skip_rows.status]\n"Status" = ["stillgelegt 2025"]\n'
    )
    plan, problems, _ = read_by(path, BY_NAME + skip)
    assert [d.name for d in plan.devices] == ["light", "hidden", "reserve", "quarry"]
    assert [p.rule for p in problems if p.rule == "row-skipped"] == []


def test_a_hidden_column_is_not_read_and_a_struck_cell_is_none(tmp_path: Path) -> None:
    def change(page: Any) -> None:
        page.column_dimensions["C"].hidden = True
        page["B3"].font = Font(strike=True)

    plan, problems, _ = read_proposed(book(tmp_path / "t.xlsx", {"S": DEVICES}, change))
    assert [(d.name, d.gateway) for d in plan.devices] == [("light", None)]
    told = {p.origin.field: p.message for p in problems if p.rule == "column-not-read" and p.origin}
    assert "struck through" in told["IP address"]
    assert "198.18.20.9/24" in told["Gateway"]
    assert "# it is hidden" in (tmp_path / "m.toml").read_text()


def test_old_and_hidden_sheets_are_proposed_as_left_out(tmp_path: Path) -> None:
    made = openpyxl.load_workbook(
        book(tmp_path / "t.xlsx", {"Radios": DEVICES, "Old": DEVICES, "Aside": DEVICES})
    )
    made["Aside"].sheet_state = "hidden"
    made.save(tmp_path / "t.xlsx")
    plan, problems, ledger = read_proposed(tmp_path / "t.xlsx")
    assert len(plan.devices) == 2
    assert errors(problems) == []
    assert {c.sheet for c in ledger.of("left out")} >= {"Old", "Aside"}


def test_a_column_of_figures_that_is_not_known_is_unread_and_told(tmp_path: Path) -> None:
    rows: Rows = [[*LINKS[0], "Zorb"], [*LINKS[1], 42]]
    _, problems, _ = read_proposed(book(tmp_path / "t.xlsx", {"S": rows}))
    (told,) = [p for p in problems if p.rule == "column-not-read"]
    assert "1 figure, such as '42' in row 2" in told.message
    assert '"Zorb" = "unread"' in (tmp_path / "m.toml").read_text()


SHAPES: dict[str, Rows] = {
    "far": FAR, "form": FORM, "stacked": [["Title"], *LINKS, [], *DEVICES], "skipped": SKIPPED,
    "turned": list(zip(*FAR, strict=True)),
}  # fmt: skip


@pytest.mark.parametrize("shape", SHAPES)
def test_every_cell_of_every_shape_is_in_the_ledger_once(shape: str, tmp_path: Path) -> None:
    path = book(tmp_path / "t.xlsx", {"S": SHAPES[shape]})
    _, _, ledger = read_proposed(path)
    wanted = Counter(
        (number, column)
        for number, row in enumerate(SHAPES[shape], start=1)
        for column, value in enumerate(row, start=1)
        if value is not None
    )
    assert Counter((c.row, c.column) for c in ledger.cells) == wanted
