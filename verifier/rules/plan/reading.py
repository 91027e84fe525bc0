"""What reading a plan finds, by name: `files/` tells these before the rules run."""

from __future__ import annotations

from typing import NamedTuple

from verifier.rules.plan.scope import Severity


class Reading(NamedTuple):
    """A fault of reading: its name, severity and what it finds."""

    name: str
    severity: Severity
    about: str


READING: tuple[Reading, ...] = (
    Reading("unreadable-value", "error", "A value is no address, mask, number, date or word"),
    Reading("unreadable-cell", "error", "A cell holds what its column cannot, or two readings"),
    Reading("missing-field", "error", "A field that must be there is not"),
    Reading("unknown-field", "warning", "A field or column that nothing is called"),
    Reading("unmapped-column", "warning", "A column that the mapping does not name"),
    Reading("secret-in-plan", "warning", "A field or column that looks like a secret; not read"),
    Reading("mask-and-prefix-differ", "error", "Mask and prefix length of an address differ"),
    Reading("modulation-twice", "error", "modulation beside the fields it stands for"),
    Reading("carriers-twice", "error", "A carrier's field beside a list of carriers"),
    Reading("carrier-twice", "error", "Two rows are the same carrier of a link"),
    Reading("rows-differ", "error", "Rows of one link disagree on what is link-wide"),
    Reading("link-ends", "error", "The rows of one link are not its two ends"),
    Reading("unknown-device", "error", "A row of ports or addresses names no device"),
    Reading("no-headings", "error", "A sheet without any known heading"),
    Reading("heading-row", "warning", "The headings are not in the first row"),
    Reading("unit-row", "warning", "A row of units below the headings"),
    Reading("unit-converted", "warning", "Figures in another unit were converted"),
    Reading("unit-in-cell", "warning", "A unit typed with the figure; read"),
    Reading("unit-unknown", "warning", "What stands in a heading's brackets is no unit"),
    Reading("wrong-unit", "error", "A heading's unit cannot be converted"),
    Reading("duplicate-column", "error", "Two columns are the same field"),
    Reading("duplicate-field", "error", "Two rows are the same field"),
    Reading("missing-column", "error", "A column that must be there is not"),
    Reading("cell-without-heading", "error", "A cell beyond the headings"),
    Reading("merged-cells", "error", "Merged cells among the data"),
    Reading("hidden-row", "warning", "Hidden rows, which are read"),
    Reading("hidden-column", "warning", "Hidden columns, which are read"),
    Reading("hidden-sheet", "warning", "A hidden sheet, which is read"),
    Reading("filter-set", "warning", "A filter that hides rows, which are read"),
    Reading("decimal-comma", "warning", "A decimal comma; read where it can mean nothing else"),
    Reading("thousands-separator", "warning", "Marks between thousands; read as one number"),
    Reading("degrees-converted", "warning", "Degrees, minutes and seconds were converted"),
    Reading("percent-format", "warning", "A figure formatted as per cent; read as shown"),
    Reading("number-as-text", "warning", "A number where text belongs; read as its digits"),
    Reading("date-form", "warning", "A date written otherwise; read where it is clear"),
    Reading("space-in-address", "warning", "Spaces in an address; read without"),
    Reading("odd-space", "warning", "Non-breaking and other odd spaces; read as common ones"),
    Reading("full-width", "warning", "Full-width characters; read as common ones"),
    Reading("invisible-character", "warning", "Characters that cannot be seen; read without"),
    Reading("unknown-sheet", "warning", "A sheet that nothing is called"),
    Reading("sheet-twice", "error", "Two sheets or files are the same"),
    Reading("csv-syntax", "error", "The text is no CSV"),
    Reading("yaml-syntax", "error", "The text is no YAML, or too much of it"),
    Reading("yaml-field", "error", "A field of a YAML file is written twice, or not as a word"),
    Reading("yaml-tag", "error", "A YAML tag"),
)
