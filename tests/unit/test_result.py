"""The result's one description: JSON, schema and docs against each other; a run without an answer.

`pytest tests/unit/test_result.py --renew` writes the table of docs/result.md anew.
"""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any, get_type_hints

import jsonschema
import pytest

from simkit.errors import EngineTimeout
from simkit.result import document
from simkit.result.described import json_schema, keys, table, words
from simkit.result.document import Result
from simkit.studies.inputs.loading import load_scenario
from simkit.studies.scenario.no_verdict import no_answer
from tests.machines import DEMO, ROOT

PAGE = ROOT / "docs" / "result.md"
OWN = document.__name__
TYPES = [t for t in vars(document).values() if is_dataclass(t) and t.__module__ == OWN]
CONTRACT = {
    "schema", "scenario", "machine", "verdict", "reason", "first_over_limit", "events", "mode",
    "limits", "operating_point", "commutation", "recovery", "losses", "temperatures", "numerics",
    "not_modelled", "cautions", "provenance", "tolerance", "unrated", "advice",
}  # fmt: skip
"""Keys that the outside relies on."""


@pytest.fixture(scope="module")
def failed() -> dict[str, Any]:
    scenario, machine = load_scenario(DEMO / "pull-out-cold.toml")
    found = no_answer(scenario, machine, EngineTimeout("it took too long"), 1.0)
    again: dict[str, Any] = json.loads(json.dumps(found.as_json()))
    return again


def test_a_run_without_an_answer_has_every_key(failed: dict[str, Any]) -> None:
    assert list(failed) == [name for name, _ in keys()]
    assert set(failed) >= CONTRACT
    for name in ("commutation", "recovery", "energy", "transformer", "first_over_limit",
                 "time_to_junction_limit_s", "second_opinion", "cache"):  # fmt: skip
        assert failed[name] is None, name
    assert failed["operating_point"] == {"before": None, "after": None}
    assert {row["status"] for row in failed["limits"]} == {"not_evaluated"}
    assert {row["value"] for row in failed["limits"]} == {None}


def test_it_fits_the_schema_and_the_schema_refuses_less(failed: dict[str, Any]) -> None:
    schema = json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    validator.validate(failed)
    for name in failed:
        with pytest.raises(jsonschema.ValidationError):
            validator.validate({k: v for k, v in failed.items() if k != name})
    wrong = failed | {"limits": [failed["limits"][0] | {"status": "fine"}]}
    with pytest.raises(jsonschema.ValidationError):
        validator.validate(wrong)
    unknown = failed | {"limits": [failed["limits"][0] | {"quantity": "courage"}]}
    with pytest.raises(jsonschema.ValidationError):
        validator.validate(unknown)


def test_the_docs_table_is_the_types_own(request: pytest.FixtureRequest) -> None:
    text = PAGE.read_text(encoding="utf-8")
    begin = text.index("| key | what it is |")
    end = text.index("\n\n", begin) if "\n\n" in text[begin:] else len(text.rstrip())
    if request.config.getoption("--renew"):
        PAGE.write_text(text[:begin] + table() + text[end:].rstrip() + "\n", encoding="utf-8")
        return
    assert text[begin:end].strip() == table()


def test_every_key_is_told() -> None:
    assert all(said for _, said in keys())


@pytest.mark.parametrize("kind", TYPES, ids=lambda kind: kind.__name__)
def test_the_types_say_all_and_are_frozen(kind: Any) -> None:
    assert kind.__dataclass_params__.frozen
    hints = get_type_hints(kind)
    assert {f.name for f in fields(kind)} <= set(hints)
    assert "Any" not in " ".join(str(hints[f.name]) for f in fields(kind))
    assert set(words(kind)) <= set(hints)


def test_nothing_loose_stands_in_a_result() -> None:
    source = Path(document.__file__).read_text(encoding="utf-8")
    assert source.count("dict[str, Any]") == 2  # as_json, at the edge
    with pytest.raises(TypeError):
        Result("x")  # type: ignore[call-arg, misc]  # by name only: so many keys have no order
