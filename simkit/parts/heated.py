"""A piece on its way to its temperature, as the coil and the drive find it at each.

Resistivity rises, saturation falls and ends at the Curie point: R goes through a maximum, L falls
and with it the resonance rises. A drive that stays at its frequency meets that resonance, or does
not, and only a course of temperatures tells.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import exp, log

import numpy as np

from simkit.parameters.coil import Load, LoadDoubt, PieceGeometry, Workpiece
from simkit.parameters.machine import Machine
from simkit.parts.coil import Coil
from simkit.parts.doubts import Doubt
from simkit.parts.loads import coil_of, depends_on_level, piece_at
from simkit.parts.materials import material
from simkit.parts.working import at_level, coil_current
from simkit.parts.workpiece import Loaded

STEP = 150.0
"""Between temperatures at which a piece is worked out, at most [K]: resistivities are nearly
straight over that."""
BEFORE_CURIE = (250.0, 120.0, 60.0, 25.0, 8.0)
"""Below the Curie point, where the saturation falls as (T_c - T)^0.35 [K]."""
BEYOND_CURIE = 2.0
"""Just past it [K]."""
ROUNDS, SETTLED = 25, 2e-3
"""Of current and load, and the last change of the current [1]: L then stands within 0.01 %."""
COIL_SHARE = 0.01
"""Of the doubt on L, what the empty coil has of it [1] (`doubts.COIL`): the same at every
temperature, so that no course moves by it."""


@dataclass(frozen=True)
class Hot:
    """A piece at a temperature.

    Fields
    ------
    celsius : of the whole piece [degC]
    frequency : of the drive [Hz]
    load : L [H] and R [ohm] at the coil's ends
    share : part of R whose loss heats the piece and its charge [1]
    doubt : of the resonance, for the method's sake [1]; the empty coil's part is left out
    """

    celsius: float
    frequency: float
    load: Load
    share: float
    doubt: float


def temperatures(geometry: PieceGeometry, start: float, target: float) -> tuple[float, ...]:
    """At which a piece is worked out on its way from `start` to `target` [degC], both in it.

    Source: own choice, see the constants. Range: target above start.
    """
    count = max(int(np.ceil((target - start) / STEP)), 1)
    found = set(np.linspace(start, target, count + 1).tolist())
    for part in (geometry, geometry.charge):
        magnetism = material(part.material).magnetism if part else None
        if magnetism is not None:
            curie = magnetism.curie
            found |= {curie - below for below in BEFORE_CURIE} | {curie + BEYOND_CURIE}
    return tuple(sorted(t for t in found if start <= t <= target))


def at_temperature(geometry: PieceGeometry, celsius: float) -> PieceGeometry:
    """The piece, and what lies in it, at one temperature throughout [degC].

    Source: definition. Range: any.
    """
    held = geometry.charge
    if held is not None:
        held = held.model_copy(update={"temperature": celsius})
    change = {"temperature": celsius, "core_temperature": None, "charge": held}
    return geometry.model_copy(update=change)


def heated(
    machine: Machine,
    name: str,
    celsius: Sequence[float],
    frequency: float | None,
    margin: float,
    voltage: float,
) -> tuple[Hot, ...]:
    """A workpiece at each temperature [degC], at the current it then lets through.

    The drive stays at `frequency` [Hz]; None for one that keeps `margin` above the resonance [1].
    Link `voltage` [V]. Current and load are iterated half a step at a time, from the temperature
    before. What the written L and R differ from those worked out at the written temperature, all
    differ likewise. ValueError for a workpiece without geometry; other errors as `piece_at`.
    Source: `workpiece.workpiece_in_coil`. Range: one temperature throughout, sine currents.
    """
    piece = machine.workpieces[name]
    if piece.geometry is None:
        raise ValueError(f"workpiece {name} has no geometry")
    coil = coil_of(machine)
    own = _own(coil, piece, piece.geometry)
    found, current = [], piece.nominal_current or 1.0
    for at in celsius:
        geometry = at_temperature(piece.geometry, at)

        def driven(current: float, geometry: PieceGeometry = geometry) -> Driven:
            loaded = piece_at(coil, geometry, current, coil.frequency, geometry.position)
            load = Load(
                inductance=own[0] * loaded.inductance, resistance=own[1] * loaded.resistance
            )
            follows = (1.0 + margin) * machine.resonance(load.inductance)
            at_f = follows if frequency is None else frequency
            return loaded, load, at_f, coil_current(machine, load, at_f, voltage)

        rounds = ROUNDS if depends_on_level(geometry) else 1
        current, (loaded, load, at_f, _) = _settled(driven, current, rounds)
        found.append(_hot(at, at_f, load, loaded))
    return tuple(found)


Driven = tuple[Loaded, Load, float, float]
"""At a coil current: what the rings give, as a load, the drive's frequency, the current drawn."""


def _settled(
    driven: Callable[[float], Driven], current: float, rounds: int
) -> tuple[float, Driven]:
    """The current [A, peak] that draws itself, by secants over its logarithm, and what is there."""
    where, old = log(current), None
    for _ in range(rounds):
        found = driven(exp(where))
        off = log(found[3]) - where
        if abs(off) < SETTLED:
            break
        step = 0.5 * off
        if old is not None and abs(old[1] - off) > 1e-9:
            step = -off * (where - old[0]) / (off - old[1])
        old, where = (where, off), where + min(max(step, -1.0), 1.0)
    return exp(where), found


def _own(coil: Coil, piece: Workpiece, geometry: PieceGeometry) -> tuple[float, float]:
    """Written L and R over those worked out at the written temperature [1]."""
    current = piece.nominal_current or 1.0
    found = piece_at(coil, geometry, current, coil.frequency, geometry.position)
    written = at_level(piece, current)
    return written.inductance / found.inductance, written.resistance / found.resistance


def resonance_doubt(doubt: Doubt | LoadDoubt) -> float:
    """By how much a doubt on L moves the resonance: half of it, the empty coil left out [1].

    Source: f0 goes as 1/sqrt(L). Range: small doubts.
    """
    return 0.5 * max(doubt.inductance - COIL_SHARE, 0.0)


def _hot(celsius: float, frequency: float, load: Load, found: Loaded) -> Hot:
    share = found.piece_resistance / found.resistance
    return Hot(celsius, frequency, load, share, resonance_doubt(found.doubt))


def crossing(
    course: Sequence[Hot], resonance: Callable[[float], float]
) -> tuple[float, float | None]:
    """Least margin of the drive over the resonance [1], and where it crosses first [degC].

    Margins are f/f0(L) - 1 less the doubts of this temperature and of the first; None where it
    never crosses; straight lines between temperatures. Source: definition. Range: that of `heated`.
    """
    first = course[0].doubt if course else 0.0
    margins = [
        hot.frequency / resonance(hot.load.inductance) - 1.0 - (hot.doubt + first if k else 0.0)
        for k, hot in enumerate(course)
    ]
    where = None
    for k, margin in enumerate(margins):
        if margin <= 0.0:
            where = course[k].celsius
            if k and margins[k - 1] > margin:
                low, high = course[k - 1].celsius, course[k].celsius
                where = low + (high - low) * margins[k - 1] / (margins[k - 1] - margin)
            break
    return min(margins), where
