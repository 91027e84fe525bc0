"""`schema`."""

from __future__ import annotations

import json

import click

from verifier.cli import output


@click.command()
@click.argument("name", required=False)
def schema(name: str | None) -> int:
    """Prints the JSON Schema of the kind of document NAME; without it, the names."""
    from verifier.files.schema import SCHEMAS  # noqa: PLC0415
    from verifier.files.schema import schema as schema_of  # noqa: PLC0415

    text = "\n".join(SCHEMAS) if name is None else json.dumps(schema_of(name), indent=1)
    output.show(text + "\n")
    return 0
