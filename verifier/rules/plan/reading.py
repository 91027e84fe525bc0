"""What reading a plan finds, by name: `files/` tells these before the rules run."""

from __future__ import annotations

from typing import NamedTuple

from verifier.rules.plan.scope import Severity


class InputRule(NamedTuple):
    """A fault of reading: its name, severity and what it finds."""

    name: str
    severity: Severity
    about: str


READING: tuple[InputRule, ...] = (
    InputRule("unreadable-value", "error", "A value is no address, mask, number, date or word"),
    InputRule("unreadable-cell", "error", "A cell holds what its column cannot, or two readings"),
    InputRule("missing-field", "error", "A field that must be there is not"),
    InputRule("unknown-field", "warning", "A field or column that nothing is called"),
    InputRule("column-not-read", "warning", "A column of their sheet that nothing reads"),
    InputRule("words-not-read", "warning", "A column of remarks and the like that nothing reads"),
    InputRule("row-skipped", "warning", "Rows of their sheet that are no plan; skipped"),
    InputRule("figures-doubtful", "warning", "Figures that their field can hardly have; read"),
    InputRule("mapping-unsure", "error", "A line of a mapping that a person has not settled"),
    InputRule("secret-in-plan", "warning", "A field or column that looks like a secret; not read"),
    InputRule("mask-and-prefix-differ", "error", "Mask and prefix length of an address differ"),
    InputRule("modulation-twice", "error", "modulation beside the fields it stands for"),
    InputRule("carriers-twice", "error", "A carrier's field beside a list of carriers"),
    InputRule("carrier-twice", "error", "Two rows are the same carrier of a link"),
    InputRule("rows-differ", "error", "Rows of one link disagree on what is link-wide"),
    InputRule("link-ends", "error", "The rows of one link are not its two ends"),
    InputRule("unknown-device", "error", "A row of ports or addresses names no device"),
    InputRule("no-headings", "error", "A sheet without any known heading"),
    InputRule("heading-row", "warning", "The headings are not in the first row"),
    InputRule("unit-converted", "warning", "Figures in another unit were converted"),
    InputRule("unit-unknown", "warning", "What stands in a heading's brackets is no unit"),
    InputRule("wrong-unit", "error", "A heading's unit cannot be converted"),
    InputRule("duplicate-column", "error", "Two columns are the same field"),
    InputRule("duplicate-field", "error", "Two rows are the same field"),
    InputRule("missing-column", "error", "A column that must be there is not"),
    InputRule("cell-without-heading", "error", "A cell beyond the headings"),
    InputRule("merged-cells", "error", "Merged cells among the data"),
    InputRule("hidden-row", "warning", "Hidden rows, which are read"),
    InputRule("hidden-column", "warning", "Hidden columns, which are read"),
    InputRule("hidden-sheet", "warning", "A hidden sheet, which is read"),
    InputRule("filter-set", "warning", "A filter that hides rows, which are read"),
    InputRule("decimal-comma", "warning", "A decimal comma; read where it can mean nothing else"),
    InputRule("thousands-separator", "warning", "Marks between thousands; read as one number"),
    InputRule("degrees-converted", "warning", "Degrees, minutes and seconds were converted"),
    InputRule("percent-format", "warning", "A figure formatted as per cent; read as shown"),
    InputRule("number-as-text", "warning", "A number where text belongs; read as its digits"),
    InputRule("date-form", "warning", "A date written otherwise; read where it is clear"),
    InputRule("space-in-address", "warning", "Spaces in an address; read without"),
    InputRule("odd-space", "warning", "Non-breaking and other odd spaces; read as common ones"),
    InputRule("full-width", "warning", "Full-width characters; read as common ones"),
    InputRule("invisible-character", "warning", "Characters that cannot be seen; read without"),
    InputRule("unknown-sheet", "warning", "A sheet that nothing is called"),
    InputRule("sheet-twice", "error", "Two sheets or files are the same"),
    InputRule("csv-syntax", "error", "The text is no CSV"),
    InputRule("yaml-syntax", "error", "The text is no YAML, or too much of it"),
    InputRule("yaml-field", "error", "A field of a YAML file is written twice, or not as a word"),
    InputRule("yaml-tag", "error", "A YAML tag"),
)
