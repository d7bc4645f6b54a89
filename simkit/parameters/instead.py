"""A machine with some of its values replaced, by dotted key, checked again as a file would be."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from pydantic import ValidationError

from simkit.parameters.machine import Machine

ABSENT = "absent"
"""Written for a part that is left out."""


DESCRIBES = ("coil.geometry", "transformer.core", "tank.can", "supply.rectifier")
"""Tables from which other values were worked out when the machine file was read."""
OF_PIECES = ("geometry", "levels", "nominal_current")
"""The same within each workpiece."""


class Instead(ValueError):
    """A value that cannot be put in the place of the machine's."""

    def __init__(self, key: str, value: str, rule: str) -> None:
        super().__init__(f"{key}: {rule}")
        self.key, self.value, self.rule = key, value, rule


_NONE: Mapping[str, str] = MappingProxyType({})


def replaced(
    machine: Machine, changes: Mapping[str, Any], alone: Mapping[str, str] = _NONE
) -> Machine:
    """The machine with values replaced: a quantity with its unit, or "absent" to leave a part out.

    Keys are dotted ("drive.gate_resistor"); nested tables mean the same. `alone`: keys from which
    nothing follows while another one is replaced too. Errors: Instead, naming the key, the value
    and the rule.
    """
    data = machine.model_dump(exclude_none=True)
    told = flat(changes)
    for key, value in told.items():
        if describes(key) and alone.get(key) not in told:
            rule = "other values follow from it: change it in the machine file, or with --set"
            raise Instead(key, str(value), rule)
        _put(data, key, value)
    try:
        return Machine.model_validate(data)
    except ValidationError as error:
        raise _explained(error, told) from None


def flat(changes: Mapping[str, Any], before: str = "") -> dict[str, Any]:
    """Nested tables as dotted keys."""
    found: dict[str, Any] = {}
    for name, value in changes.items():
        key = f"{before}{name}"
        found |= flat(value, f"{key}.") if isinstance(value, Mapping) else {key: value}
    return found


def describes(key: str) -> bool:
    """Whether a key lies in what other values were worked out from."""
    parts = key.split(".")
    piece = parts[0] == "workpieces" and len(parts) > 2 and parts[2] in OF_PIECES
    return piece or ".".join(parts[:2]) in DESCRIBES


def _put(data: dict[str, Any], key: str, value: Any) -> None:
    *path, last = key.split(".")
    table: Any = data
    for name in path:
        table = table.setdefault(name, {}) if isinstance(table, dict) else None
    if not isinstance(table, dict):
        raise Instead(key, str(value), "there is no such place in the machine file")
    if value == ABSENT:
        if last not in table:
            raise Instead(key, ABSENT, "the machine has no such part to leave out")
        del table[last]
    else:
        table[last] = value


def _explained(error: ValidationError, changes: Mapping[str, Any]) -> Instead:
    """The first finding, at the changed key it belongs to."""
    item = error.errors(include_url=False)[0]
    place = ".".join(str(part) for part in item["loc"])
    key = next((k for k in changes if k == place), None)
    key = key or next((k for k in changes if k.startswith(place)), next(iter(changes)))
    context: dict[str, Any] = item.get("ctx") or {}
    rule = str(context.get("rule") or context.get("error") or item["msg"])
    if item["type"] == "extra_forbidden":
        rule = "is not a known name here"
    if item["type"] == "missing":
        rule = f"cannot be left out: the machine needs {place}"
    return Instead(key, str(changes[key]), rule[:1].lower() + rule[1:])
