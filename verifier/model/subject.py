"""What a finding, a problem or an observation is about."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

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
