"""The work coil from a ruler: inductance, resistance, self-capacitance, cooling channel.

The circuit values come from the ring method (`rings`), in which every turn is a conductor
whose current crowds where the field drives it; at induction-heating frequencies that lowers
the inductance of a coil of thick tube by a tenth against the handbook's current sheet, which
is given beside it. Any of L, R and Q may be given as measured instead.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from simkit.parts.inductance import (
    axial_return_inductance,
    pair_inductance,
    round_wire_inductance,
    self_capacitance,
)
from simkit.parts.ranged import out_of_range
from simkit.parts.rings import MU0, circle, joined
from simkit.parts.ringsystem import Matrices, Turns, answer_of_coil, matrices, solve_bodies
from simkit.parts.skin import skin_depth, tube_impedance

SEGMENTS = 20  # per turn; finer changes L by less than 0.3 % and R by less than 2 %


@dataclass(frozen=True)
class CoilGeometry:
    """What a ruler gives.

    Fields
    ------
    turns : number of turns, at least 1; may be fractional [1]
    bore : inner diameter of the winding [m]
    tube : outer diameter of the tube [m]
    wall : wall thickness of the tube; tube/2 is a solid wire [m]
    pitch : from a turn to the next, middle to middle [m]
    lead_length : of the two leads side by side, one of them [m]; 0 for none
    lead_spacing : between the leads, middle to middle [m]
    form : "helix", or "flat" for a spiral in a plane, whose innermost turn has the bore
    layers : one over the other outside a helix, one above the other in a flat coil; the turns
        are shared out evenly [1]
    layer_pitch : from a layer to the next, middle to middle [m]; 0 for one layer
    steps : from each turn to the next along a helix, where they differ [m]; empty where even
    """

    turns: float
    bore: float
    tube: float
    wall: float
    pitch: float
    lead_length: float
    lead_spacing: float
    form: str = "helix"
    layers: int = 1
    layer_pitch: float = 0.0
    steps: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        for name in ("bore", "tube", "wall", "pitch"):
            if not getattr(self, name) > 0.0:
                raise ValueError(f"{name} is {getattr(self, name):g} m; it must be above 0")
        if self.turns < 1.0:
            raise ValueError(f"turns is {self.turns:g}; it must be at least 1")
        if self.wall > self.tube / 2:
            raise ValueError(f"wall {self.wall:g} m is more than half the tube {self.tube:g} m")
        if self.turns > 1.0 and self.pitch < 1.02 * self.tube:
            raise ValueError(f"pitch {self.pitch:g} m: turns of tube {self.tube:g} m would touch")
        if self.lead_length > 0.0 and self.lead_spacing <= self.tube:
            raise ValueError(f"lead_spacing {self.lead_spacing:g} m: the leads would touch")
        self._check_form()

    def _check_form(self) -> None:
        if self.form not in ("helix", "flat"):
            raise ValueError(f"form is {self.form!r}; it must be helix or flat")
        if self.layers < 1 or self.turns < self.layers:
            raise ValueError(f"layers is {self.layers}; it must be 1 to the number of turns")
        if self.layers > 1 and self.layer_pitch < 1.02 * self.tube:
            raise ValueError(f"layer_pitch {self.layer_pitch:g} m: the layers would touch")
        if self.layers > 1 and self.turns % self.layers:
            raise ValueError(f"turns {self.turns:g} do not share out on {self.layers} layers")
        if not self.steps:
            return
        if self.form == "flat" or self.layers > 1 or len(self.steps) != math.ceil(self.turns) - 1:
            raise ValueError("steps: one less than turns, of a helix of one layer")
        if min(self.steps) < 1.02 * self.tube:
            raise ValueError(f"steps: turns of tube {self.tube:g} m would touch")

    @property
    def places(self) -> tuple[tuple[float, float, float], ...]:
        """Radius [m], place on the axis [m] and share of a full turn [1] of every turn.

        The middle between the outermost turns is z = 0.
        """
        each = self.turns / self.layers
        count = math.ceil(each - 1e-9)
        steps = self.steps or (self.pitch,) * (count - 1)
        along = np.concatenate(([0.0], np.cumsum(steps)))
        along -= 0.5 * along[-1]
        shares = [1.0] * (count - 1) + [each - (count - 1)]
        inner = 0.5 * self.diameter
        middle = 0.5 * (self.layers - 1)
        found = []
        for layer in range(self.layers):
            for k, share in enumerate(shares):
                if self.form == "flat":
                    found.append(
                        (inner + k * self.pitch, (layer - middle) * self.layer_pitch, share)
                    )
                else:
                    found.append((inner + layer * self.layer_pitch, float(along[k]), share))
        return tuple(found)

    @property
    def diameter(self) -> float:
        """Diameter of the innermost turn, middle of tube to middle of tube [m]."""
        return self.bore + self.tube

    @property
    def width(self) -> float:
        """Diameter of the outermost turn, middle of tube to middle of tube [m]."""
        return 2.0 * max(radius for radius, _, _ in self.places)

    @property
    def length(self) -> float:
        """Length of the winding as a current sheet, turns times pitch; a flat one's height [m]."""
        if self.form == "flat":
            return self.layers * max(self.tube, self.layer_pitch)
        return sum(self.steps) + self.pitch if self.steps else self.turns / self.layers * self.pitch

    @property
    def tube_length(self) -> float:
        """Stretched length of the tube with both leads [m]."""
        turns = (math.hypot(2.0 * math.pi * r, self.pitch) * share for r, _, share in self.places)
        return sum(turns) + 2.0 * self.lead_length

    @property
    def channel_area(self) -> float:
        """Free section of the tube for cooling water, pi (d - 2 wall)^2/4 [m2]."""
        return math.pi / 4.0 * (self.tube - 2.0 * self.wall) ** 2


@dataclass(frozen=True)
class Measured:
    """What was measured on the empty coil with its leads; None where it was not.

    Fields
    ------
    inductance : [H]
    resistance : AC, at the frequency of use [ohm]
    q : quality factor at the frequency of use [1]
    """

    inductance: float | None = None
    resistance: float | None = None
    q: float | None = None


@dataclass(frozen=True)
class Coil:
    """The empty coil as a circuit part, leads included.

    Fields
    ------
    geometry : what it was made from
    frequency : at which the values hold [Hz]
    resistivity : of the tube [ohm m]
    inductance : at the ends of the leads [H]
    resistance : AC, at the ends of the leads [ohm]
    q : omega L/R [1]
    computed_inductance : of the turns alone by the ring method [H]
    sheet_inductance : of the turns by the handbook: current sheet and round-wire correction,
        current spread evenly (low frequency) [H]
    lead_inductance, return_inductance : of the leads, and of the way back along the coil [H]
    lead_resistance : of both leads [ohm]
    proximity : resistance of the turns over that of the same tube stretched straight [1]
    self_capacitance : between the ends, one of them grounded [F]
    self_resonance : of inductance and self-capacitance [Hz]
    channel_area : for cooling water [m2]
    notes : what was outside a formula's range, what was measured
    """

    geometry: CoilGeometry
    frequency: float
    resistivity: float
    inductance: float
    resistance: float
    q: float
    computed_inductance: float
    sheet_inductance: float
    lead_inductance: float
    return_inductance: float
    lead_resistance: float
    proximity: float
    self_capacitance: float
    self_resonance: float
    channel_area: float
    notes: tuple[str, ...]

    @property
    def scale(self) -> float:
        """Inductance of the turns, measured over computed [1]; 1 when it was not measured."""
        outside = self.lead_inductance + self.return_inductance
        return (self.inductance - outside) / self.computed_inductance


@lru_cache(maxsize=32)
def turns_of(geometry: CoilGeometry) -> tuple[Turns, Matrices]:
    """The coil as rings about its middle, z = 0, with their matrices. Helix taken as rings.

    Lengths in [m]. Source: `rings`. Range: pitch below the radius (the helix's slope is
    left out).
    """
    places = geometry.places
    count, share = len(places), [part for _, _, part in places]
    rings = [circle(radius, at, geometry.tube / 2, SEGMENTS) for radius, at, _ in places]
    sheet = joined(rings)
    turn = tuple(int(n) for n in np.repeat(np.arange(count), SEGMENTS))
    return Turns(sheet, turn, tuple(share)), matrices(sheet, (), None)


def copper_depth(geometry: CoilGeometry, resistivity: float, frequency: float) -> complex:
    """Flux depth tau of the tube's surface, Z 2 pi a/(j omega mu0) [m].

    From `skin.tube_impedance`: exact for the mean current; the tube's curvature is in it.
    Source and range as for `skin.tube_impedance`.
    """
    radius = geometry.tube / 2
    around = 2.0 * math.pi * radius * tube_impedance(radius, geometry.wall, resistivity, frequency)
    return around / (2j * math.pi * frequency * MU0)


@lru_cache(maxsize=64)
def turns_impedance(geometry: CoilGeometry, resistivity: float, frequency: float) -> complex:
    """Impedance of the empty coil's turns by the ring method [ohm].

    `resistivity` [ohm m], `frequency` [Hz]. Source: `rings`; proximity between turns, the
    shape of the tube and the crowding at the ends are part of the solution. Range: tube at
    least 6 skin depths; there within 1 % on L and 5 % on R of finite elements (tests).
    """
    turns, known = turns_of(geometry)
    tau = copper_depth(geometry, resistivity, frequency)
    ready = answer_of_coil(turns, known, tau, 2.0 * math.pi * frequency)
    return solve_bodies(ready, np.zeros(0, dtype=np.complex128)).impedance


def _overruled(
    inductance: float, resistance: float, frequency: float, measured: Measured
) -> tuple[float, float]:
    """L and R after what was measured. ValueError when L, R and Q contradict each other."""
    inductance = inductance if measured.inductance is None else measured.inductance
    omega = 2.0 * math.pi * frequency
    if measured.resistance is not None:
        resistance = measured.resistance
        q = omega * inductance / resistance
        if measured.q is not None and abs(measured.q / q - 1.0) > 0.1:
            raise ValueError(
                f"measured Q = {measured.q:g} contradicts L = {inductance:g} H with "
                f"R = {resistance:g} ohm at {frequency:g} Hz, which make Q = {q:.4g}"
            )
    elif measured.q is not None:
        resistance = omega * inductance / measured.q
    return inductance, resistance


def _way_back(geometry: CoilGeometry) -> tuple[float, tuple[str, ...]]:
    """Inductance of the way back to the other lead [H], and what it leaves out.

    Along a helix of an odd number of layers it is `axial_return_inductance`; an even number ends
    where it began. A flat coil's way back, across its turns, is not worked out.
    """
    if geometry.form == "flat":
        note = "the way back from the middle of a flat coil, across its turns, is not in L"
        return 0.0, () if geometry.layers % 2 == 0 else (note,)
    if geometry.layers % 2 == 0:
        return 0.0, ()
    back = axial_return_inductance(geometry.length, geometry.diameter, geometry.tube)
    return back.value, back.outside


def _handbook(geometry: CoilGeometry) -> float:
    """L of the turns by the current sheet [H]; nan where it is no single even helix."""
    if geometry.form != "helix" or geometry.layers > 1 or geometry.steps:
        return math.nan
    return round_wire_inductance(
        geometry.turns, geometry.diameter, geometry.pitch, geometry.tube
    ).value


def coil_from_geometry(
    geometry: CoilGeometry,
    frequency: float,
    resistivity: float,
    measured: Measured | None = None,
) -> Coil:
    """The empty coil at a frequency.

    L = turns (ring method) + leads + way back along the coil; R = turns + leads, all at
    `frequency` [Hz] with the tube's `resistivity` [ohm m]. What is in `measured` replaces
    the computed value. ValueError for impossible geometry (CoilGeometry) or for L, R and Q
    that contradict each other. Sources and ranges: the functions named; notes say what was
    outside.
    """
    turns = turns_impedance(geometry, resistivity, frequency)
    omega, radius = 2.0 * math.pi * frequency, geometry.tube / 2
    straight = tube_impedance(radius, geometry.wall, resistivity, frequency).real
    wound = geometry.tube_length - 2.0 * geometry.lead_length
    lead_resistance = 2.0 * geometry.lead_length * straight
    leads = pair_inductance(geometry.lead_length, geometry.lead_spacing, geometry.tube)
    back, away = _way_back(geometry)
    capacitance = self_capacitance(geometry.length, geometry.width)
    computed = turns.imag / omega
    inductance, resistance = _overruled(
        computed + leads.value + back,
        turns.real + lead_resistance,
        frequency,
        measured or Measured(),
    )
    notes = away + out_of_range(
        "tube/skin depth", geometry.tube / skin_depth(resistivity, frequency), 6.0, math.inf
    )
    return Coil(
        geometry=geometry,
        frequency=frequency,
        resistivity=resistivity,
        inductance=inductance,
        resistance=resistance,
        q=omega * inductance / resistance,
        computed_inductance=computed,
        sheet_inductance=_handbook(geometry),
        lead_inductance=leads.value,
        return_inductance=back,
        lead_resistance=lead_resistance,
        proximity=turns.real / (wound * straight),
        self_capacitance=capacitance.value,
        self_resonance=1.0 / (2.0 * math.pi * math.sqrt(inductance * capacitance.value)),
        channel_area=geometry.channel_area,
        notes=(*notes, *leads.outside, *capacitance.outside),
    )
