"""A switch by a SPICE model file: read, worked out at a temperature, and joined to the bridge."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from simkit.errors import InputError, Problem
from simkit.modelfile.flat import FlatModel, flattened
from simkit.modelfile.lines import MOST_BYTES
from simkit.modelfile.reader import read_model_file
from simkit.parameters.load import Loaded
from simkit.parameters.part import ModelFile
from simkit.parameters.paths import named_file
from simkit.parameters.place import nearest
from simkit.parameters.reading import Unreadable, file_bytes
from simkit.parameters.switch import Switch, SwitchModel

ENDS = {"drain": "di", "gate": "gi", "source": "si", "driver_return": "ki", "anode": "sd",
        "cathode": "di"}  # fmt: skip
"""Key of a pin: the node of netlists/switch.cir.j2 that it is joined to."""
HELD = ("junction", "case")
"""Keys of pins whose voltage is a temperature: held inside the device."""


def with_model(part: Loaded[Any], switch: Switch, junction_temperature: float) -> Switch:
    """The switch with its part's model file, worked out at a junction temperature [degC].

    Without one the switch itself. Errors: InputError for a file that cannot be read, a statement
    that is not taken, and pins that are not those of the subcircuit. Source: the file. Range: what
    `simkit part` shows of it.
    """
    asked: ModelFile | None = part.model.model
    if asked is None:
        return switch
    flat = flat_model(part, asked, junction_temperature)
    ends = joined(part, asked, flat)
    lines = flat.deck_lines("device", [pin for pin in flat.pins if pin not in ends])
    model = SwitchModel(lines=lines, nodes=" ".join(ends.values()), file=asked.file,
                        junction_temperature=junction_temperature)  # fmt: skip
    if model.diode_alone:
        return switch.model_copy(update={"model": model})
    # What the file says of temperature was worked out; no loop can warm it further.
    return switch.model_copy(update={"model": model, "warming": None})


def flat_model(part: Loaded[Any], asked: ModelFile, junction_temperature: float) -> FlatModel:
    """A part's model file in normal form, at a junction temperature [degC].

    Errors, source, range: as `with_model`.
    """
    try:
        path = named_file(part.file, asked.file)
        content = file_bytes(path, MOST_BYTES)
    except Unreadable as error:
        raise _refused(part, "model.file", asked.file, str(error)) from None
    except ValueError as error:
        raise _refused(part, "model.file", asked.file, f"model file: {error}") from None
    top = read_model_file(content, str(_shown(path)))
    return flattened(top, asked.subcircuit, junction_temperature)


def joined(part: Loaded[Any], asked: ModelFile, flat: FlatModel) -> dict[str, str]:
    """What each pin of the subcircuit is joined to, in its order: names of nodes [1].

    Pins that are held at a temperature are left out. Errors: InputError for a pin that is not
    there, and for one that nothing is said of. Source: the part file. Exact.
    """
    by_pin: dict[str, str | None] = {}
    for key in (*ENDS, *HELD):
        named = getattr(asked, key)
        if named is None:
            continue
        pin = named.lower()
        if pin not in flat.pins:
            rule = f"is no pin of the subcircuit {flat.name}"
            raise _refused(part, f"model.{key}", named, rule, nearest(pin, flat.pins, "its pins"))
        if pin in by_pin:
            raise _refused(part, f"model.{key}", named, "names a pin that another key names")
        by_pin[pin] = ENDS.get(key)
    left = [pin for pin in flat.pins if pin not in by_pin]
    if left:
        rule = f"says nothing of the pins {', '.join(left)} of the subcircuit {flat.name}"
        hint = ("a switch has drain, gate, source and perhaps driver_return, junction and case; a "
                "diode anode and cathode")  # fmt: skip
        raise _refused(part, "model", "", rule, hint)
    return {pin: node for pin in flat.pins if (node := by_pin[pin]) is not None}


def _refused(part: Loaded[Any], key: str, value: str, rule: str, hint: str = "") -> InputError:
    return InputError([Problem(str(part.file), part.line_of(key), key, value, rule, hint)])


def _shown(path: Path) -> Path:
    """A path as a person would write it, from the current folder where it lies there."""
    try:
        return path.resolve().relative_to(Path.cwd())
    except ValueError:
        return path
