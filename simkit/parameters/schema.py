"""JSON Schemas of the files a person writes."""

from typing import Any

from pydantic import BaseModel

from simkit.parameters.change import ChangeFile
from simkit.parameters.fields import SOURCES
from simkit.parameters.part import Mosfet
from simkit.parameters.part_igbt import Igbt
from simkit.parameters.readings import Readings
from simkit.parameters.scenario import Scenario
from simkit.parameters.written import MachineFile

MODELS: dict[str, type[BaseModel]] = {
    "machine": MachineFile,
    "scenario": Scenario,
    "part": Mosfet,
    "igbt-part": Igbt,
    "readings": Readings,
    "change": ChangeFile,
}


def json_schema(kind: str) -> dict[str, Any]:
    """JSON Schema (2020-12) of a kind of file a person writes."""
    schema = MODELS[kind].model_json_schema()
    _allow_source(schema)
    for inner in schema.get("$defs", {}).values():
        _allow_source(inner)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def _allow_source(schema: dict[str, Any]) -> None:
    """Let a table, and every table with free names in it, say where its values come from."""
    properties = schema.setdefault("properties", {})
    for free in [p for p in properties.values() if "additionalProperties" in p]:
        free["properties"] = {"source": _source("Source of every value in these tables")}
    if "source" not in properties:
        properties["source"] = _source("Source of every value in this table")


def _source(text: str) -> dict[str, Any]:
    return {"enum": list(SOURCES), "description": f"{text} that names none."}
