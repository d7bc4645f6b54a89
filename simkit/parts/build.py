"""From the machine file as written to the machine: every value that follows from another.

A machine file may name a part file, give geometry, core and windings, a can's loss factor, the
mains. Here these become the plain values that everything else works with; each gets the origin
"computed" or "fitted" with what it came from. What a formula says about its range comes out as
the file's warnings.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import pi, sqrt
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from simkit.errors import InputError, Problem
from simkit.parameters.coil import Coil, CoilFile, Workpiece, WorkpieceFile
from simkit.parameters.fields import field_of
from simkit.parameters.load import Loaded, Origin, digest
from simkit.parameters.machine import Machine, resonance
from simkit.parameters.paths import named_file
from simkit.parameters.place import nearest
from simkit.parameters.supply import Supply, SupplyFile
from simkit.parameters.switch import Switch
from simkit.parameters.tank import Tank, TankFile
from simkit.parameters.transformer import (
    Core,
    Transformer,
    TransformerFile,
    Winding,
    Window,
)
from simkit.parameters.written import MachineFile, SwitchPart
from simkit.parts import capacitor
from simkit.parts import core as cores
from simkit.parts import transformer as transformers
from simkit.parts.loads import Levels, coil_part, levels_of, made_piece, refuse_cut, way_out
from simkit.parts.mains import rectifier_cautions
from simkit.parts.materials import materials
from simkit.parts.ranged import Figure
from simkit.parts.switches import expected_junction, fitted_switch, load_part
from simkit.parts.windings import winding_resistance
from simkit.parts.working import coil_current, load_at_margin
from simkit.units import format_quantity

M = TypeVar("M", bound=BaseModel)
MOST_FILES = 12
"""Part files a hint looks among."""
COLD = 25.0
"""Junction temperature of the first fit, from which the currents come [degC]."""
FIRST_GUESS = 1e5
"""Frequency at which a coil's inductance is first worked out, to find its resonance [Hz]. The
inductance falls by some per cent a decade only, so that one more round settles it."""


@dataclass
class Build:
    """One machine file on its way; what is found gathers in its fields."""

    loaded: Loaded[MachineFile]
    origins: dict[str, Origin] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)
    levels: dict[str, Levels] = field(default_factory=dict)

    def computed(
        self, key: str, value: float, unit: str, of: str, source: str = "computed",
        tolerance: float | None = None,
    ) -> Any:  # fmt: skip
        """Note where a value came from; the value itself."""
        file, line = self.place(of)
        shown = format_quantity(value, unit)
        self.origins[key] = Origin(source, f"from {of}", tolerance, file, line, shown)
        return value

    def figure(self, key: str, figure: Figure, unit: str, of: str) -> float:
        """As `computed`, for a formula that may have been outside its range."""
        self.caution(of, figure.outside)
        return float(self.computed(key, figure.value, unit, of))

    def caution(self, of: str, notes: tuple[str, ...]) -> None:
        """Keep each note once, with the place it is about."""
        file, line = self.place(of)
        where = f"{file}{f':{line}' if line else ''}: {of}"
        for note in notes:
            if f"{where}: {note}" not in self.warnings:
                self.warnings.append(f"{where}: {note}")

    def place(self, key: str) -> tuple[str, int | None]:
        """File and line a key was written at, or the table around it."""
        origin = self.loaded.origins.get(key)
        if origin is not None:
            return origin.file, origin.line
        return str(self.loaded.file), self.loaded.line_of(key)

    def model(self, key: str, model: type[M], values: dict[str, Any]) -> M:
        """The finished section at a key; what cannot be is refused where it was written."""
        try:
            return model(**values)
        except ValidationError as error:
            found = error.errors(include_url=False)[0]
            inside = ".".join([key, *(str(part) for part in found["loc"])])
            rule = str(found.get("ctx", {}).get("rule") or found.get("ctx", {}).get("error"))
            raise self.refuse(inside, "", rule if rule != "None" else found["msg"]) from None

    def refuse(self, key: str, value: str, rule: str, hint: str = "") -> InputError:
        """The error for a value that cannot be worked with."""
        file, line = self.place(key)
        return InputError([Problem(file, line, key, value, rule, hint)])


def build(loaded: Loaded[MachineFile]) -> Loaded[Machine]:
    """The machine of a machine file.

    Errors: InputError for a part file that is not there or has problems of its own (they name
    that file), for a material nobody knows, and for geometry that cannot be.
    """
    made, written = Build(loaded), loaded.model
    supply = _supply(made, written.supply)
    at = FIRST_GUESS
    for _ in range(2):
        around = _transformer(made, written.transformer, at), _tank(made, written.tank, at)
        at = resonance(*around, _coil(made, written.coil, at).inductance)
    wound = _coil(made, written.coil, at)
    parts: dict[str, Any] = {name: getattr(written, name) for name in type(written).model_fields}
    parts |= {
        "supply": supply,
        "transformer": _transformer(made, written.transformer, at),
        "tank": _tank(made, written.tank, at),
        "coil": wound,
        "workpieces": _pieces(made, written, wound, at),
    }
    machine = _with_switch(made, written, parts)
    origins = {**loaded.origins, **made.origins}
    warnings = (*loaded.warnings, *made.warnings)
    return Loaded(machine, origins, loaded.file, digest(machine), warnings, loaded.lines)


def _supply(made: Build, written: SupplyFile) -> Supply:
    values = dict(written)
    if written.voltage is None:
        rectifier = written.rectifier
        assert rectifier is not None
        # Without load no current flows, and without current a diode drops next to nothing.
        peak = sqrt(2.0) * rectifier.mains_voltage
        values["voltage"] = made.computed("supply.voltage", peak, "V", "supply.rectifier")
    if written.rectifier is not None:
        made.caution("supply.rectifier", rectifier_cautions(written.rectifier, written.voltage))
    return made.model("supply", Supply, values)


def _transformer(made: Build, written: TransformerFile, frequency: float) -> Transformer:
    values = {name: getattr(written, name) for name in Transformer.model_fields}
    core, turns = written.core, written.primary_turns
    if core is not None:
        of = "transformer.core"
        values["core_area"] = made.computed("transformer.core_area", core.area, "m^2", of)
        values["core_path"] = made.computed("transformer.core_path", core.path, "m", of)
        flux = cores.saturation_flux(core.saturation_cold, core.saturation_hot, core.temperature)
        values["saturation_flux"] = made.figure("transformer.saturation_flux", flux, "T", of)
        if written.magnetising_inductance is None:
            inductance = magnetising_of(made, core, turns)
            key = "transformer.magnetising_inductance"
            values["magnetising_inductance"] = made.computed(key, inductance, "H", of)
    window = written.window
    if window is not None and written.leakage_inductance is None:
        leakage = transformers.leakage_inductance(
            turns, window.mean_turn, window.height, window.spacing, window.build
        )
        key = "transformer.leakage_inductance"
        values["leakage_inductance"] = made.figure(key, leakage, "H", "transformer.window")
    for side in ("primary", "secondary"):
        winding = getattr(written, side)
        if winding is not None and values[f"{side}_resistance"] is None:
            key, of = f"transformer.{side}_resistance", f"transformer.{side}"
            ohms = _winding(made, of, winding, getattr(written, f"{side}_turns"), window, frequency)
            values[f"{side}_resistance"] = made.figure(key, ohms, "ohm", of)
    return made.model("transformer", Transformer, values)


def magnetising_of(made: Build, core: Core, turns: int) -> float:
    """Magnetising inductance of a core with turns on it [H]."""
    factor = core.inductance_factor
    if factor is None:
        assert core.permeability is not None
        found = transformers.inductance_factor(
            core.area, core.path, core.permeability, core.gap or 0.0
        )
        made.caution("transformer.core", found.outside)
        factor = found.value
    return transformers.magnetising_inductance(factor, turns)


def _winding(
    made: Build, of: str, winding: Winding, turns: int, window: Window | None, frequency: float
) -> Figure:
    try:
        height = None if window is None else window.height
        return winding_resistance(winding, turns, height, frequency)
    except ValueError as error:
        raise made.refuse(of, "", str(error)) from None


def _tank(made: Build, written: TankFile, frequency: float) -> Tank:
    values = dict(written)
    if written.can_esr is None:
        assert written.can is not None
        ohms = capacitor.can_esr(can_of(written), frequency)
        values["can_esr"] = made.computed("tank.can_esr", ohms, "ohm", "tank.can")
    return made.model("tank", Tank, values)


def can_of(tank: Tank) -> capacitor.Can:
    """A can of the bank as a part; ValueError where its data sheet is not given."""
    if tank.can is None:
        raise ValueError("the tank has no [tank.can]")
    return capacitor.Can(
        capacitance=tank.can_capacitance,
        loss_factor=tank.can.loss_factor,
        series_resistance=tank.can.series_resistance,
        inductance=tank.can.inductance,
        rated_voltage=tank.can_voltage,
        rated_current=tank.can_current,
        thermal_resistance=tank.can.thermal_resistance,
        allowed_rise=tank.can.allowed_rise,
    )


def _coil(made: Build, written: CoilFile, frequency: float) -> Coil:
    if written.geometry is None:
        assert written.inductance is not None
        ohms = written.resistance
        if ohms is None:
            assert written.q is not None
            ohms = 2.0 * pi * frequency * written.inductance / written.q
            made.computed("coil.resistance", ohms, "ohm", "coil.q")
        return made.model("coil", Coil, {"inductance": written.inductance, "resistance": ohms})
    wound = coil_part(
        written.geometry, frequency, written.inductance, written.resistance, written.q
    )
    made.caution("coil.geometry", wound.notes)
    if written.inductance is None:
        made.computed("coil.inductance", wound.inductance, "H", "coil.geometry")
    if written.resistance is None:
        of = "coil.q" if written.q is not None else "coil.geometry"
        made.computed("coil.resistance", wound.resistance, "ohm", of)
    return Coil(inductance=wound.inductance, resistance=wound.resistance, geometry=written.geometry)


def _pieces(
    made: Build, written: MachineFile, wound: Coil, frequency: float
) -> dict[str, Workpiece]:
    return {
        name: _piece(made, name, piece, wound, frequency)
        for name, piece in written.workpieces.items()
    }


def _piece(
    made: Build, name: str, written: WorkpieceFile, wound: Coil, frequency: float
) -> Workpiece:
    key = f"workpieces.{name}.geometry"
    geometry = written.geometry
    if geometry is None:
        return Workpiece.model_validate(written.model_dump(exclude_none=True))
    if wound.geometry is None:
        raise made.refuse(key, "", "needs [coil.geometry]: a piece in a coil nobody measured out")
    for place, shape in ((key, geometry), (f"{key}.charge", geometry.charge)):
        if shape is not None and shape.material not in materials():
            hint = nearest(shape.material, materials(), "known materials")
            raise made.refuse(f"{place}.material", shape.material, "is not a known material", hint)
    try:
        refuse_cut(wound.geometry, geometry)
    except ValueError:
        bore = format_quantity(wound.geometry.bore, "m")
        shown = format_quantity(geometry.diameter, "m")
        rule = f"does not pass the coil's bore of {bore}"
        hint = "a piece beside the coil needs its position, one around it a wall"
        raise made.refuse(f"{key}.diameter", shown, rule, hint) from None
    part = coil_part(wound.geometry, frequency, wound.inductance, wound.resistance)
    found = levels_of(part, geometry, frequency)
    made.caution(key, found.warnings)
    travel = made.computed(f"workpieces.{name}.travel", way_out(part, geometry), "m", key)
    made.levels[name] = found
    return made_piece(written.title, geometry, found, travel)


def _with_switch(made: Build, written: MachineFile, parts: dict[str, Any]) -> Machine:
    """The machine with its switch, and each piece at the level the drive then works it at."""
    chosen = written.switch
    if isinstance(chosen, str):
        chosen = SwitchPart(part=chosen)
    if isinstance(chosen, Switch):
        return _at_level(made, Machine(**parts))
    part = _part(made, chosen)
    celsius = chosen.junction_temperature
    if celsius is None:
        trial = _at_level(made, Machine(**parts | {"switch": _fit(made, part, chosen, COLD)}))
        celsius = _settled(made, trial, part)
    fitted = _fit(made, part, chosen, celsius)
    _switch_origins(made, part, chosen, fitted, celsius)
    return _at_level(made, Machine(**parts | {"switch": fitted}))


def _part(made: Build, chosen: SwitchPart) -> Loaded[Any]:
    try:
        path = named_file(made.loaded.file, chosen.part)
    except ValueError as error:
        key = "switch.part" if "switch.part" in made.loaded.lines else "switch"
        hint = _part_files(made.loaded.file.parent / chosen.part)
        raise made.refuse(key, chosen.part, f"part file: {error}", hint) from None
    return load_part(path)


def _part_files(wanted: Path) -> str:
    """Hint at the part file with the nearest name beside one that is not there."""
    there = sorted(file.name for file in wanted.parent.glob("*.toml"))
    return nearest(wanted.name, there, "files there") if 0 < len(there) <= MOST_FILES else ""


def _settled(made: Build, trial: Machine, part: Loaded[Any]) -> float:
    """Junction temperature the switch is fitted at, to whole kelvin: a fit is no finer [degC]."""
    settled = expected_junction(trial, part.model)
    highest = float(part.model.ratings.junction_temperature)
    if settled.runaway or settled.junction > highest:
        note = (
            "the conduction loss alone takes the junction beyond its rating of "
            f"{highest:g} degC; fitted at the rating"
        )
        made.caution("switch", (note,))
        return highest
    return float(round(settled.junction))


def _fit(made: Build, part: Loaded[Any], chosen: SwitchPart, celsius: float) -> Switch:
    try:
        fitted = fitted_switch(part, celsius)
    except ValueError as error:
        raise InputError([Problem(str(part.file), None, "", "", str(error))]) from None
    return fitted.model_copy(update={"package": chosen.package} if chosen.package else {})


def _switch_origins(
    made: Build, part: Loaded[Any], chosen: SwitchPart, fitted: Switch, celsius: float
) -> None:
    """What is the part file's own keeps its origin there; the rest was fitted."""
    for key, origin in part.origins.items():
        section = key.split(".")[0]
        if section == "ratings" or (section == "package" and chosen.package is None):
            made.origins[f"switch.{key}"] = origin
    for section in ("channel", "bipolar", "diode", "warming"):
        model = getattr(fitted, section)
        if model is None:
            continue
        for name in type(model).model_fields:
            quantity = field_of(type(model), name)
            assert quantity is not None
            shown = quantity.show(getattr(model, name))
            note = f"to {part.model.name} at a junction of {celsius:g} degC"
            file = str(part.file)
            made.origins[f"switch.{section}.{name}"] = Origin(
                "fitted", note, None, file, None, shown
            )


def _at_level(made: Build, machine: Machine) -> Machine:
    """Each piece by geometry with L and R at the drive's working margin and full supply."""
    if machine.drive.voltage_on <= machine.switch.channel.threshold:
        shown = format_quantity(machine.drive.voltage_on, "V")
        raise made.refuse("drive.voltage_on", shown, "does not turn the switch on")
    pieces = dict(machine.workpieces)
    for name, piece in pieces.items():
        if piece.geometry is None:
            continue
        margin, voltage = machine.drive.working_margin, machine.supply.voltage
        load = load_at_margin(machine, name, margin, voltage)
        frequency = (1.0 + margin) * machine.resonance(load.inductance)
        current = coil_current(machine, load, frequency, voltage)
        share, doubt = made.levels[name].at(current if piece.levels else None)
        of, values = f"workpieces.{name}", {"inductance": "H", "resistance": "ohm"}
        for what, unit in values.items():
            wide = float(f"{getattr(doubt, what):.2g}")
            made.computed(
                f"{of}.{what}", getattr(load, what), unit, f"{of}.geometry", tolerance=wide
            )
        update = {
            "inductance": load.inductance,
            "resistance": load.resistance,
            "piece_resistance": share * load.resistance,
            "doubt": doubt,
        }
        if piece.levels is not None:
            update["nominal_current"] = current
        pieces[name] = piece.model_copy(update=update)
    return machine.model_copy(update={"workpieces": pieces})
