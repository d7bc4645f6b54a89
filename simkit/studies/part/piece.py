"""A workpiece on the bench: what it makes of the coil, against level, temperature and place.

No circuit run: the field solution behind the machine's L and R, at more points than a rehearsal
needs. What it shows is why a reading at low voltage and the working heater differ, and what the
Curie point does.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from simkit.errors import InputError, Problem
from simkit.judge.cautions import CAUTIONS
from simkit.parameters.coil import PieceGeometry
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.place import nearest
from simkit.parts.coil import Coil
from simkit.parts.loads import CURRENTS, coil_of, piece_at
from simkit.parts.materials import material
from simkit.parts.profiles import Flip, flip_of
from simkit.parts.working import coil_current, load_at_margin
from simkit.parts.workpiece import Loaded as InCoil

COLD, HOT = 20.0, 1000.0
"""The sweep's ends [degC]."""
WEAK = 1.0
"""A coil current at which steel has its initial permeability: that of a bench reading [A, peak]."""
SCHEMA = "simkit.piece/1"


@dataclass(frozen=True)
class Sweep:
    """L and R at the coil's ends against something that changes.

    Fields
    ------
    name : what is held while the rest changes
    x : coil current [A, peak], temperature [degC] or place [m]
    inductance : [H]
    resistance : [ohm]
    surface_field : [A/m, peak]
    mu_r : [1]
    """

    name: str
    x: tuple[float, ...]
    inductance: tuple[float, ...]
    resistance: tuple[float, ...]
    surface_field: tuple[float, ...]
    mu_r: tuple[float, ...]


@dataclass(frozen=True)
class PieceReport:
    """What `simkit part MACHINE --piece NAME` found."""

    machine: str
    piece: str
    title: str
    material: str
    temperature: float
    """That of the machine file [degC]."""
    curie: float | None
    """[degC]; None for what is not magnetic."""
    frequency: float
    """[Hz]"""
    working_current: float
    """The drive's at its working margin and full supply [A, peak]."""
    empty_inductance: float
    """[H]"""
    empty_resistance: float
    """[ohm]"""
    level: Sweep
    temperatures: tuple[Sweep, ...]
    places: Sweep
    flip: Flip | None
    warnings: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """The finding on the sign of the change of L."""
        first, last = (x - self.empty_inductance for x in self._ends())
        if self.flip:
            return (
                f"{'Raises' if first > 0 else 'Lowers'} L at low level, "
                f"{'raises' if last > 0 else 'lowers'} it in a strong field: the sign turns at a "
                f"coil current of {self.flip.coil_current:.3g} A peak, with "
                f"{self.flip.surface_field / 1e3:.3g} kA/m at the piece's surface and a relative "
                f"permeability of {self.flip.mu_r:.3g}."
            )
        return f"{'Raises' if first > 0 else 'Lowers'} L at every level."

    def _ends(self) -> tuple[float, float]:
        return self.level.inductance[0], self.level.inductance[-1]


def examine_piece(loaded: Loaded[Machine], name: str) -> PieceReport:
    """Sweep level, temperature and place of one workpiece of a machine.

    Errors: InputError for a piece that is not there, or is given as measured.
    """
    machine = loaded.model
    geometry = _geometry(loaded, name)
    coil = coil_of(machine)
    load = load_at_margin(machine, name, machine.drive.working_margin, machine.supply.voltage)
    drive = (1.0 + machine.drive.working_margin) * machine.resonance(load.inductance)
    current = coil_current(machine, load, drive, machine.supply.voltage)
    notes: dict[str, None] = {}

    def sweep(said: str, x: Sequence[float], found: Sequence[InCoil]) -> Sweep:
        notes.update(dict.fromkeys(note for one in found for note in one.warnings))
        columns = ("inductance", "resistance", "surface_field", "mu_r")
        return Sweep(said, tuple(x), *(tuple(getattr(f, c) for f in found) for c in columns))

    at = geometry.position
    level = sweep(
        f"{geometry.temperature:g} °C",
        CURRENTS,
        [piece_at(coil, geometry, one, coil.frequency, at) for one in CURRENTS],
    )
    places = [float(x) for x in np.linspace(at, at + machine.workpieces[name].travel, 33)]
    magnetism = material(geometry.material).magnetism
    warm = temperatures(magnetism.curie if magnetism else None)
    return PieceReport(
        machine=machine.name,
        piece=name,
        title=machine.workpieces[name].title,
        material=geometry.material,
        temperature=geometry.temperature,
        curie=magnetism.curie if magnetism else None,
        frequency=coil.frequency,
        working_current=current,
        empty_inductance=coil.inductance,
        empty_resistance=coil.resistance,
        level=level,
        temperatures=tuple(
            sweep(said, warm, [_at_temperature(coil, geometry, one, amperes) for one in warm])
            for said, amperes in (
                (f"reading at {WEAK:g} A", WEAK),
                (f"at the working {current:.3g} A", current),
            )
        ),
        places=sweep(
            f"at the working {current:.3g} A",
            places,
            [piece_at(coil, geometry, current, coil.frequency, one) for one in places],
        ),
        flip=flip(coil, geometry, level),
        warnings=tuple(notes),
    )


def _geometry(loaded: Loaded[Machine], name: str) -> PieceGeometry:
    pieces = loaded.model.workpieces
    if name not in pieces:
        hint = nearest(name, pieces, "the machine's pieces")
        raise InputError([Problem("--piece", None, "", name, "is no workpiece there", hint)])
    geometry = pieces[name].geometry
    if geometry is None or loaded.model.coil.geometry is None:
        rule = "has measured L and R: only a piece and a coil by geometry can be worked out"
        hint = f"give [workpieces.{name}.geometry] and [coil.geometry]"
        raise InputError([Problem(str(loaded.file), None, f"workpieces.{name}", name, rule, hint)])
    return geometry


def temperatures(curie: float | None) -> list[float]:
    """Temperatures from 20 to 1000 degC, closer below the Curie point, with one on each side."""
    steps = set(np.linspace(COLD, HOT, 15).tolist())
    if curie is not None and COLD < curie < HOT:
        steps |= {curie - d for d in (1.0, 5.0, 15.0, 30.0, 60.0)} | {curie + 1.0}
    return sorted(steps)


def _at_temperature(coil: Coil, geometry: PieceGeometry, celsius: float, current: float) -> InCoil:
    warm = geometry.model_copy(update={"temperature": celsius})
    return piece_at(coil, warm, current, coil.frequency, geometry.position)


def flip(coil: Coil, geometry: PieceGeometry, level: Sweep) -> Flip | None:
    """The coil current at which the change of L turns its sign, to 0.1 %; None when it does not."""
    change = np.array(level.inductance) - coil.inductance
    turns = np.flatnonzero(change[1:] * change[:-1] < 0.0)
    if len(turns) == 0:
        return None
    k = int(turns[-1])
    return flip_of(
        lambda current: piece_at(coil, geometry, current, coil.frequency, geometry.position),
        level.x[k],
        level.x[k + 1],
    )


def document(report: PieceReport) -> dict[str, Any]:
    """The report for JSON; SI units, temperatures in degrees Celsius."""
    from dataclasses import asdict

    told = {"sentence": report.sentence, "cautions": list(CAUTIONS)}
    return {"schema": SCHEMA, **asdict(report), **told}
