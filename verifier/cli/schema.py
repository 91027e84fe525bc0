"""`schema`."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from click import Argument

from verifier.cli import complete
from verifier.cli.command import command
from verifier.cli.later import Later
from verifier.errors import EXIT_PASSED

if TYPE_CHECKING:
    from verifier.cli import output
else:
    output = Later("verifier.cli.output")


@dataclass(frozen=True, slots=True, kw_only=True)
class SchemaOptions:
    """Whose schema is printed."""

    name: Annotated[
        str | None, Argument(["name"], required=False, shell_complete=complete.documents)
    ]


@command(SchemaOptions)
def schema(options: SchemaOptions) -> int:
    """Prints the JSON Schema of the kind of document NAME; without it, the names."""
    from verifier.files.schema import SCHEMAS  # noqa: PLC0415
    from verifier.files.schema import schema as schema_of  # noqa: PLC0415

    if options.name is None:
        output.show("\n".join(SCHEMAS) + "\n")
    else:
        output.show(json.dumps(schema_of(options.name), indent=1) + "\n")
    return EXIT_PASSED
