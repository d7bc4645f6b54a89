"""`simkit schema`: JSON Schema of the files a person writes, for completion in an editor."""

import json

import click

from simkit.verbs.common import json_option

KINDS = ("machine", "scenario", "part", "igbt-part", "readings", "change", "result")


@click.command("schema")
@click.argument("kind", type=click.Choice(KINDS))
@json_option
def command(kind: str, as_json: bool) -> int:
    """Print the JSON Schema of a KIND of file; it is JSON in any case."""
    from simkit.parameters import schema
    from simkit.result import described

    found = described.json_schema() if kind == "result" else schema.json_schema(kind)
    print(json.dumps(found, indent=1))
    return 0
