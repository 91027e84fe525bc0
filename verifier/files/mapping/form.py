"""A mapping as it is written in TOML: its keys and what each may hold."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from verifier.files.mapping.habits import CellForm

FORMAT = "plan-verifier/mapping/1"
RowKind = Literal["link", "end", "device", "site", "port", "address", "host", "maintenance"]
Layout = Literal["rows", "columns", "form"]

UNREAD = "unread"
"""Instead of a field: nobody has said what the column is."""

UNSURE = "unsure"
"""Instead of a value: there are two readings, and a person must say which."""


def _not_nothing(factor: float) -> float:
    if not factor:
        raise ValueError("must not be 0")
    return factor


Factor = Annotated[float, Field(allow_inf_nan=False), AfterValidator(_not_nothing)]
"""What figures are multiplied by; -1 makes levels of what was written without their sign."""


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class ColumnForm(_Strict):
    """One column of theirs.

    A figure becomes `factor` times itself, or is converted from `unit`; then `plus` is added.

    Attributes:
        field: what it holds; several names where it is the same for several.
        unit: that its figures are in, where its heading does not say it.
        decimal: its own decimal sign.
        values: what their words mean.
        form: how a cell says its value: an emission designator, a channel with a prime for the
            upper half, a modulation with a variant, a feeder by its parts, an address's last octet.
        subnet: that the last octets belong to, or `{heading}` of the column that says it.
        pair: the other end's frequency follows from this one, the T/R spacing and the half.
        split: the form of a cell that holds several: `{Devices.address} / {Devices.mask}`.
        leave_out: why it is no part of the plan.
    """

    field: str | list[str] = []
    unit: str = ""
    factor: Factor | None = None
    plus: float | None = Field(default=None, allow_inf_nan=False)
    decimal: Literal[".", ",", "unsure"] | None = None
    values: dict[str, str] = {}
    form: CellForm | None = None
    subnet: str = ""
    pair: bool = False
    split: str = ""
    leave_out: str = ""


class SkipForm(_Strict):
    """What becomes of rows that look as if they were no plan: true skips them, false reads them.

    Attributes:
        footer: totals and notes below and between the rows.
        title: what stands above the headings.
        status: by column, the words of a row that is left out.
    """

    struck_through: bool | None = None
    hidden: bool | None = None
    footer: bool | None = None
    title: bool | None = None
    status: dict[str, list[str]] = {}


class TableForm(_Strict):
    """One table.

    Attributes:
        page: title of its sheet, name of its CSV file, `*`: the only one; `Hop *`: all of such
            names.
        row: what one row is; in a form, what one form is.
        layout: rows: headings above; columns: headings at the left; form: labels at the left,
            values beside them, one form under another.
        heading_row: row of the headings, where their text alone does not tell it.
        fill_down: columns whose empty cells repeat what stands above.
        made: texts for fields, made of columns.
    """

    page: str | list[str] = "*"
    row: RowKind
    layout: Layout = "rows"
    heading_row: int | None = Field(default=None, ge=1)
    decimal: Literal[".", ",", "unsure"] | None = None
    fill_down: list[str] = []
    columns: dict[str, str | list[str] | ColumnForm]
    made: dict[str, str] = {}
    skip_rows: SkipForm = SkipForm()


class MappingForm(_Strict):
    """A mapping: `sheet` is the name of the file, or of the folder, that it is for.

    Attributes:
        encoding: of a CSV file that does not say it itself.
        values_only: a person knows that of this file only the values can be read.
        leave_out: by title, why a sheet is no part of the plan.
        words: words of this house: headings by field, and by `end a`, `end b`, `near`, `far` and
            `secret` what tells of an end, or of what is never read.
    """

    format: Literal["plan-verifier/mapping/1"]
    sheet: str = ""
    encoding: str = ""
    values_only: bool | Literal["unsure"] = False
    leave_out: dict[str, str] = {}
    words: dict[str, list[str]] = {}
    table: list[TableForm] = Field(min_length=1)
