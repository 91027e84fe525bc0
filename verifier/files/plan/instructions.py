"""How a plan is filled in: the first sheet of a workbook, a text beside CSV files, YAML's head."""

from __future__ import annotations

from collections.abc import Iterator

from verifier.files.plan.columns import sheets
from verifier.files.plan.hints import ROWS, sentences

TITLE = "Read me"

YAML = (
    "A link plan. The unit of a figure stands at the end of its name (_mhz, _dbm, _m, _deg ...).",
    "A field left empty is not checked. Passwords and communities do not belong here.",
    "Every fault at once: plan-verifier check FILE",
)

IN_A_WORKBOOK = (
    "Rest the pointer on a heading: it says what is meant, an example, and what an empty cell is.",
    "Headings that are underlined must be filled in, in every row that is used.",
    "Cells for names, addresses and serial numbers are text: the program sees what you typed.",
    "Columns, rows and sheets may stand in any order, and what you do not need may be deleted.",
    "Do not change the headings.",
)
IN_CSV = (
    "A spreadsheet program changes what it opens from a CSV file: 000123 becomes 123.",
    "Import the columns as text, then, or keep the plan as .xlsx.",
    "A text that begins with = + - or @ has an apostrophe before it, lest it be run as a formula.",
)
STEPS = (
    "1. Fill in Devices first: name and address of every device are all that must be there.",
    "2. Then Links: the two devices of each link, and what was planned for each end.",
    "3. Then what else you know. A cell left empty is not checked, and that is all right.",
    "4. Look for faults before anybody drives to a site: plan-verifier check FILE",
    "5. At the bench or on site: plan-verifier verify FILE",
)
WRITING = (
    "Write figures without their unit; the unit stands in the heading. A level is negative: -45.6.",
    "Several names in a cell are separated by ; and several words of a choice by spaces.",
    "Dates are year-month-day. Times carry their time zone: 2026-12-01T08:00Z or ...T09:00+01:00.",
    "Names must be the same everywhere: a device in Links is spelt as in Devices.",
    "Each end of a link has its own columns: those ending in A, and those ending in B.",
    "Rx level is what THIS end receives.",
)
CAUTIONS = (
    "Transmit power: not above the licence (Max EIRP), nor the device's most at Modulation max.",
    "On the bench: put the planned attenuation between the devices before a transmitter is on.",
    "A strong signal destroys a receiver.",
    "Do not stand in front of an antenna that transmits.",
    "Switch off before a waveguide or an antenna cable is opened.",
    "Passwords and communities do not belong here: SNMP takes the name of a credentials entry.",
    "The program only reads from the devices; it never sets anything.",
)


def sections(form: tuple[str, ...]) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Headings and lines, with what is said of the form that the plan is kept in."""
    yield "What to do", STEPS
    yield "The sheets: one row is", tuple(f"{name}: {row}." for name, row in ROWS.items())
    yield "How to write", (*WRITING, *form)
    yield "Caution", CAUTIONS


def plain_text() -> str:
    """All of it for a folder of CSV files, with a hint for every heading."""
    lines = ["How to fill in this plan", ""]
    for heading, words in sections(IN_CSV):
        lines += [heading, *(f"- {line}" for line in words), ""]
    for sheet in sheets().values():
        lines += [f"{sheet.name}.csv", f"  One row is {ROWS[sheet.name]}."]
        lines += [f"  {c.heading}: {' '.join(sentences(sheet.name, c))}" for c in sheet.columns]
        lines.append("")
    return "\n".join(lines)
