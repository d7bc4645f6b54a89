"""`simkit schema`: JSON Schema of the files a person writes, for completion in an editor."""

import json

import click

KINDS = ("machine", "scenario", "part", "readings", "result")


@click.command("schema")
@click.argument("kind", type=click.Choice(KINDS))
def command(kind: str) -> int:
    """Print the JSON Schema of a KIND of file."""
    from simkit.parameters.schema import json_schema

    print(json.dumps(json_schema(kind), indent=1))
    return 0
