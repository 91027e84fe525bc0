"""What is wrong with an input document, where, and what a problem or a finding is about."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from verifier.model.address import as_text

if TYPE_CHECKING:
    from pydantic_core import CoreSchema


SubjectKind = Literal["network", "site", "device", "port", "link", "host", "gateway", "laptop"]


@dataclass(frozen=True, slots=True)
class Subject:
    """A thing of the plan, by name.

    Attributes:
        kind: what it is; for `port`, `name` is the device's; for `gateway`, `name` is the address.
        port: name of the port.
        carrier: number of the carrier of a link.
        end: end of a link, `a` or `b`.
    """

    kind: SubjectKind
    name: str
    port: str | None = None
    carrier: int | None = None
    end: Literal["a", "b"] | None = None

    def __str__(self) -> str:
        text = self.name
        if self.port is not None:
            text += f" {self.port}"
        if self.carrier is not None:
            text += f" carrier {self.carrier}"
        if self.end is not None:
            text += f" end {self.end}"
        return text


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a value was written; `str()` gives it in words, which nobody takes apart again.

    Attributes:
        file: name of the file; of one that was read back from a document, its words.
        line: line of a YAML or TOML file, row of a sheet or CSV file; counted from 1.
        field: field path of a YAML file (`devices[0].gateway`), heading of a sheet's column.
        sheet: sheet of a workbook; empty elsewhere.
    """

    file: str
    line: int | None = None
    field: str = ""
    sheet: str = ""
    by_row: bool = False

    @property
    def place(self) -> tuple[str, str, int]:
        """What such are sorted by: file, sheet, line."""
        return self.file, self.sheet, self.line or 0

    @classmethod
    def parse(cls, words: str) -> Origin:
        """The origin that a document has in words."""
        return cls(words)

    def __str__(self) -> str:
        parts = [self.file]
        if self.sheet:
            parts.append(f"sheet {self.sheet}")
        if self.line is not None:
            parts.append(f"{'row' if self.by_row else 'line'} {self.line}")
        if self.field:
            parts.append(f"{'column' if self.by_row else 'field'} {self.field}")
        return ", ".join(parts)

    @classmethod
    def __get_pydantic_core_schema__(cls, source: object, handler: object) -> CoreSchema:
        return as_text(cls, "plan.xlsx, sheet Devices, row 4, column Mask")


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault of a plan or another input.

    Attributes:
        severity: an error is refused before anything is sent; a warning goes on.
        rule: name of the rule, such as `gateway-outside-subnet`.
        origin: where it stands; None if it stands nowhere.
        message: what is wrong and what to do.
    """

    severity: Literal["error", "warning"]
    rule: str
    subject: Subject
    origin: Origin | None
    message: str

    def __str__(self) -> str:
        return f"{self.origin}: {self.message}" if self.origin else self.message
