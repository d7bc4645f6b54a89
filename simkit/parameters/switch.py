"""One switch of the bridge: channel, body diode, leads, and what the data sheet allows."""

from itertools import pairwise
from typing import Annotated, Self

from pydantic import Field, StringConstraints, model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Section, Text


class Channel(Section):
    """VDMOS values: channel, non-linear capacitances, internal gate resistor, breakdown."""

    threshold: Annotated[float, Quantity("V", "Gate threshold voltage", gt=0, lt=15)]
    transconductance: Annotated[
        float, Quantity("A/V^2", "Transconductance parameter KP", gt=0, lt=1e4)
    ]
    drain_resistance: Annotated[
        float, Quantity("ohm", "Drift region in series with the channel", gt=0, lt=100)
    ]
    gate_resistance: Annotated[
        float, Quantity("ohm", "Gate resistor inside the chip", gt=0, lt=100)
    ]
    gate_source_capacitance: Annotated[float, Quantity("F", "C_iss less C_rss", gt=0, lt=1e-6)]
    gate_drain_capacitance_max: Annotated[
        float, Quantity("F", "C_rss with the drain below the gate", gt=0, lt=1e-6)
    ]
    gate_drain_capacitance_min: Annotated[
        float, Quantity("F", "C_rss at high drain voltage", gt=0, lt=1e-6)
    ]
    gate_drain_slope: Annotated[
        float, Quantity("1", "How sharply C_rss falls with voltage, per volt", gt=0, lt=100)
    ]
    output_capacitance_zero: Annotated[
        float, Quantity("F", "C_ds at zero drain voltage", gt=0, lt=1e-6)
    ]
    junction_potential: Annotated[
        # Silicon lies near 0.8 V, silicon carbide near 3 V; above 5 V the engine stops.
        float,
        Quantity("V", "Built-in potential of C_ds", gt=0, le=4),
    ]
    junction_grading: Annotated[float, Quantity("1", "Grading exponent of C_ds", gt=0, lt=0.95)]
    breakdown_voltage: Annotated[
        float, Quantity("V", "Drain voltage at which the chip avalanches", gt=0, lt=1e4)
    ]


class BodyDiode(Section):
    """Lumped-charge diode with soft recovery (Lauritzen and Ma, 1991)."""

    lifetime: Annotated[float, Quantity("s", "Carrier lifetime tau", gt=0, lt=1e-4)]
    transit_time: Annotated[float, Quantity("s", "Diffusion transit time T_M", gt=0, lt=1e-4)]
    forward_voltage: Annotated[
        float, Quantity("V", "Forward voltage at forward_current", gt=0.2, lt=6)
    ]
    forward_current: Annotated[float, Quantity("A", "Current of that point", gt=0, lt=1e4)]
    series_resistance: Annotated[
        float, Quantity("ohm", "Ohmic part of the forward voltage", gt=0, lt=1)
    ]
    emission: Annotated[float, Quantity("1", "Emission coefficient n", ge=1, le=4)]

    @model_validator(mode="after")
    def _junction_has_voltage_left(self) -> Self:
        if self.forward_current * self.series_resistance >= self.forward_voltage:
            raise ValueError("series_resistance alone drops more than forward_voltage")
        return self


class Bipolar(Section):
    """What makes the switch an IGBT: a junction in series, and one stored charge.

    The channel's current I_mos feeds a charge that recombines with the lifetime and flows off as
    the bipolar current: dQ/dt = I_mos - Q/tau, I_bip = Q/T(V), T(V) = T_0 (1 - sqrt(V/V_r))^2.
    simkit/parts/igbt.py says where that comes from.
    """

    knee_voltage: Annotated[
        float, Quantity("V", "Drop of the series junction at knee_current", gt=0.2, lt=3)
    ]
    knee_current: Annotated[float, Quantity("A", "Collector current of that drop", gt=0, lt=1e4)]
    emission: Annotated[float, Quantity("1", "Emission coefficient of the junction", ge=1, le=4)]
    lifetime: Annotated[
        float, Quantity("s", "With which the tail decays", gt=1e-9, lt=1e-4, usual=(5e-8, 1e-5))
    ]
    transit_time: Annotated[
        float, Quantity("s", "Charge over bipolar current at low voltage, T_0", gt=1e-9, lt=1e-2)
    ]
    reach_voltage: Annotated[
        float,
        Quantity("V", "Collector voltage at which the base would be depleted, V_r", gt=10, lt=1e5),
    ]


class Package(Section):
    """Lead inductances of one switch; the common part is shared with the gate loop."""

    drain_inductance: Annotated[float, Quantity("H", "Drain lead", gt=0, lt=1e-6)]
    common_source_inductance: Annotated[
        float, Quantity("H", "Source lead shared with the gate loop", gt=0, lt=1e-6)
    ]
    source_inductance: Annotated[
        float, Quantity("H", "Source lead outside the gate loop", gt=0, lt=1e-6)
    ]
    lead_damping: Annotated[
        float, Quantity("ohm", "Resistance that damps each lead, in parallel", gt=0, lt=1e4)
    ]


class TransientPoint(Section):
    """One point of the transient thermal impedance curve, junction to case."""

    time: Annotated[float, Quantity("s", "Length of the power step", gt=0, lt=1e3)]
    impedance: Annotated[float, Quantity("K/W", "Junction rise per watt", gt=0, lt=1e3)]


class SwitchRatings(Section):
    """What the data sheet allows, before derating."""

    drain_voltage: Annotated[float, Quantity("V", "V_DSS", gt=0, lt=1e4)]
    drain_current: Annotated[float, Quantity("A", "I_D, case at 100 degC", gt=0, lt=1e4)]
    pulsed_current: Annotated[float, Quantity("A", "I_DM, limited by the junction", gt=0, lt=1e5)]
    gate_voltage: Annotated[float, Quantity("V", "V_GS, either sign", gt=0, lt=100)]
    recovery_dv_dt: Annotated[
        float, Quantity("V/s", "Diode recovery dv/dt", gt=0, lt=1e12, usual=(1e9, 2e11))
    ]
    recovery_di_dt: Annotated[
        float, Quantity("A/s", "Diode recovery di/dt", gt=0, lt=1e11, usual=(1e7, 5e9))
    ]
    avalanche_energy: (
        Annotated[float, Quantity("J", "Single-pulse avalanche energy", gt=0, lt=100)] | None
    ) = None
    turn_off_current: (
        Annotated[
            float, Quantity("A", "Of an IGBT: largest current turned off (RBSOA)", gt=0, lt=1e5)
        ]
        | None
    ) = None
    short_circuit_time: (
        Annotated[float, Quantity("s", "Of an IGBT: t_SC", gt=0, lt=1e-3)] | None
    ) = None
    junction_temperature: Annotated[
        float, Quantity("degC", "T_J max", gt=25, le=300, usual=(125, 200))
    ]
    thermal_resistance: Annotated[float, Quantity("K/W", "Junction to case, steady", gt=0, lt=100)]
    transient: tuple[TransientPoint, ...]

    @model_validator(mode="after")
    def _curve_rises(self) -> Self:
        points = [(p.time, p.impedance) for p in self.transient]
        if len(points) < 2 or any(b[0] <= a[0] or b[1] <= a[1] for a, b in pairwise(points)):
            raise ValueError("transient needs two or more points, both columns rising")
        if points[-1][1] > self.thermal_resistance:
            raise ValueError("transient must stay below thermal_resistance")
        return self


class Warming(Section):
    """How R_DS(on) goes with the junction: two figures, as two temperatures of a sheet give them.

    R = R_0 (T/T_0)^n in kelvin, R_0 that of the channel's values. With it a rehearsal's switch is
    the one at the temperature that its own loss brings it to.
    """

    junction_temperature: Annotated[
        float, Quantity("degC", "Junction at which drain_resistance holds", gt=-60, le=300)
    ]
    resistance_exponent: Annotated[
        float,
        Quantity("1", "R_DS(on) over absolute temperature, both logarithmic", gt=-2, lt=6),
    ]


NORMAL_LINE = (
    r"^(?:\.model w\d+ \w+\([\w .+\-=]*\)|\.subckt device( p\d+)+|\.ends"
    r"|[bcdegijklmqrv]\d+( (?:[pnwblvi]\d+|0))+ ?[\w .+\-*/()=,?:<>&|]*)$"
)
"""A line of a model file as simkit/modelfile writes it anew: names and numbers of our own."""
NormalLine = Annotated[str, StringConstraints(pattern=NORMAL_LINE, max_length=25_000)]


class SwitchModel(Section):
    """A model file of the very switch, rewritten; the rehearsal's circuit holds it.

    Values beside it (channel, diode) then serve the fast models and what the file does not say.
    """

    lines: Annotated[tuple[NormalLine, ...], Field(min_length=3, max_length=4000)]
    """Models and one subcircuit `device`, as `simkit deck` shows them."""
    nodes: Annotated[str, StringConstraints(pattern=r"^(di|gi|si|ki|sd)( (di|gi|si|ki|sd)){1,11}$")]
    """What each of its pins is joined to: drain, gate, source, driver's return; of a diode alone
    its anode (sd) and its cathode (di)."""
    file: Text
    """The file it came from."""
    junction_temperature: (
        Annotated[float, Quantity("degC", "Junction at which it was worked out", gt=-60, le=300)]
        | None
    ) = None

    @property
    def diode_alone(self) -> bool:
        """Whether it stands for the diode, the channel being our own."""
        return "gi" not in self.nodes.split()


class Switch(Section):
    """One switch of the bridge; all of them are alike.

    With `bipolar` it is an IGBT: drain, source and body diode are then its collector, emitter and
    anti-parallel diode, and the channel conducts one way.
    """

    name: Text
    channel: Channel
    bipolar: Bipolar | None = None
    model: SwitchModel | None = None
    diode: BodyDiode
    package: Package
    ratings: SwitchRatings
    warming: Warming | None = None

    @property
    def foreign(self) -> bool:
        """Whether a model file stands for the channel too, so that nothing inside has a name."""
        return self.model is not None and not self.model.diode_alone

    @property
    def kind(self) -> str:
        """mosfet or igbt."""
        return "mosfet" if self.bipolar is None else "igbt"
