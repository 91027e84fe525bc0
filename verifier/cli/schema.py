"""`schema`."""

from __future__ import annotations

import json

import click

from verifier.cli import output
from verifier.errors import UsageError


@click.command()
@click.argument("name", required=False)
def schema(name: str | None) -> int:
    """Prints the JSON Schema of the kind of document NAME; without it, the names."""
    from verifier.files.schema import NAMES  # noqa: PLC0415
    from verifier.files.schema import schema as schema_of  # noqa: PLC0415

    if name is not None and name not in NAMES:
        raise UsageError(f"there is no schema {name!r}; there are: {', '.join(NAMES)}")
    with output.opened(None) as out:
        if name is None:
            out.write("\n".join(NAMES) + "\n")
        else:
            out.write(json.dumps(schema_of(name), indent=1) + "\n")
    return 0
