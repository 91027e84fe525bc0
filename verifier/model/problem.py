"""What is wrong with an input document, and where."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from verifier.model.subject import Subject


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a value was written; `str()` gives it in words.

    Attributes:
        file: name of the file.
        line: line of a YAML or TOML file, row of a sheet or CSV file; counted from 1.
        field: field path of a YAML file (`devices[0].gateway`), heading of a sheet's column.
        sheet: sheet of a workbook; empty elsewhere.
    """

    file: str
    line: int | None = None
    field: str = ""
    sheet: str = ""
    by_row: bool = False

    def __str__(self) -> str:
        parts = [self.file]
        if self.sheet:
            parts.append(f"sheet {self.sheet}")
        if self.line is not None:
            parts.append(f"{'row' if self.by_row else 'line'} {self.line}")
        if self.field:
            parts.append(f"{'column' if self.by_row else 'field'} {self.field}")
        return ", ".join(parts)


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault of a plan or another input.

    Attributes:
        severity: an error is refused before anything is sent; a warning goes on.
        rule: name of the rule, such as `gateway-outside-subnet`.
        origin: where it stands, in words; empty if it stands nowhere.
        message: what is wrong and what to do.
    """

    severity: Literal["error", "warning"]
    rule: str
    subject: Subject
    origin: str
    message: str
