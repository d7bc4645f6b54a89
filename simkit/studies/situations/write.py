"""A situation's scenario as a file a person can read, run and change."""

import textwrap
from collections.abc import Iterator
from typing import Any

from simkit.parameters.fields import field_shape, quantities
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.parameters.section import Section
from simkit.studies.situations.base import Situation
from simkit.units import format_quantity

DIGITS = 9
"""Significant digits of a written quantity [1]: what is read back is the same rehearsal."""


def scenario_file(situation: Situation, scenario: Scenario, machine_path: str) -> str:
    """The TOML text of a situation's scenario, with what the trade expects as its heading."""
    return "\n".join(
        [
            *(f"# {line}" for line in textwrap.wrap(f"{situation.title}.", 98)),
            *(f"# {line}" for line in textwrap.wrap(f"Expected: {situation.expects}", 98)),
            *_plain(scenario, machine_path),
            *_instead(scenario),
            *_table("start", scenario.start),
            *(line for event in scenario.events for line in _table("events", event, True)),
            *(_table("aftermath", scenario.aftermath) if scenario.aftermath else []),
            *(_table("precharge", scenario.precharge) if scenario.precharge else []),
            "",
        ]
    )


def _plain(scenario: Scenario, machine_path: str) -> Iterator[str]:
    yield f'name = "{scenario.name}"'
    yield f'title = "{scenario.title}"'
    yield f'machine = "{machine_path}"'
    yield f'tail = "{format_quantity(scenario.tail, "s", DIGITS)}"'


def _instead(scenario: Scenario) -> Iterator[str]:
    if not scenario.instead:
        return
    units = {key: quantity.unit for key, quantity in quantities(Machine).items()}
    yield from ("", "[instead]")
    for key, value in scenario.instead.items():
        yield f'"{key}" = {_value(value, units.get(key))}'


def _table(name: str, section: Section, listed: bool = False) -> Iterator[str]:
    yield from ("", f"[[{name}]]" if listed else f"[{name}]")
    inner = []
    for key, field in type(section).model_fields.items():
        value = getattr(section, key)
        if value is None or value is False:
            continue
        if isinstance(value, Section):
            inner.append((f"{name}.{key}", value))
            continue
        quantity = field_shape(field).quantity
        yield f"{key} = {_value(value, quantity.unit if quantity else None)}"
    for key, section_inside in inner:
        yield from _table(key, section_inside)


def _value(value: Any, unit: str | None) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, tuple | list):
        return "[" + ", ".join(_value(item, None) for item in value) + "]"
    if isinstance(value, int) or unit in (None, "1"):
        return f"{value:.{DIGITS}g}"
    return f'"{format_quantity(value, str(unit), DIGITS)}"'
