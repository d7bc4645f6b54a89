"""The part file of a MOSFET: what its data sheet says, number by number.

Every quantity is a plain SI float after loading. Figures are typical values at a junction of
25 degC unless the field says otherwise. Curves may be given at as many points as the sheet has;
where a section is a list, one entry is enough.
"""

from typing import Annotated, Literal, Self

from pydantic import Field, StringConstraints, model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.machine import Name, Package, Section, SwitchRatings, Text


class OnResistance(Section):
    """R_DS(on) at two junction temperatures, same gate voltage and current."""

    gate_voltage: Annotated[float, Quantity("V", "V_GS of the test", gt=0, lt=40)]
    drain_current: Annotated[float, Quantity("A", "I_D of the test", gt=0, lt=1e4)]
    cold: Annotated[float, Quantity("ohm", "R_DS(on) at 25 degC", gt=0, lt=100)]
    hot: Annotated[float, Quantity("ohm", "R_DS(on) at hot_temperature", gt=0, lt=100)]
    hot_temperature: Annotated[
        float, Quantity("degC", "Junction temperature of the second figure", gt=50, le=250)
    ]


class TransferPoint(Section):
    """One point of the transfer curve, in saturation."""

    gate_voltage: Annotated[float, Quantity("V", "V_GS", gt=0, lt=40)]
    drain_current: Annotated[float, Quantity("A", "I_D at that V_GS", gt=0, lt=1e5)]


class Transfer(Section):
    """Threshold, and how steeply the current rises above it."""

    threshold: Annotated[float, Quantity("V", "V_GS(th), drain tied to gate", gt=0, lt=15)]
    threshold_current: Annotated[float, Quantity("A", "I_D of that test", gt=0, lt=1)]
    transconductance: (
        Annotated[float, Quantity("S", "Forward transconductance", gt=0, lt=1e4)] | None
    ) = None
    transconductance_current: (
        Annotated[float, Quantity("A", "I_D of that test", gt=0, lt=1e5)] | None
    ) = None
    points: tuple[TransferPoint, ...] = ()

    @model_validator(mode="after")
    def _steepness_is_given(self) -> Self:
        if (self.transconductance is None) != (self.transconductance_current is None):
            raise ValueError("transconductance goes with transconductance_current")
        if self.transconductance is None and not self.points:
            raise ValueError("give transconductance or points of the transfer curve")
        return self


class CapacitancePoint(Section):
    """Capacitances at one drain voltage, gate at the source's potential."""

    drain_voltage: Annotated[float, Quantity("V", "V_DS", gt=0, lt=1e4)]
    input: Annotated[float, Quantity("F", "C_iss", gt=0, lt=1e-6)] | None = None
    output: Annotated[float, Quantity("F", "C_oss", gt=0, lt=1e-6)] | None = None
    reverse: Annotated[float, Quantity("F", "C_rss", gt=0, lt=1e-6)] | None = None


class GateCharge(Section):
    """Gate charge: resistance-free drive, constant drain current."""

    drain_voltage: Annotated[float, Quantity("V", "V_DD of the test", gt=0, lt=1e4)]
    drain_current: Annotated[float, Quantity("A", "I_D of the test", gt=0, lt=1e4)]
    gate_voltage: Annotated[float, Quantity("V", "V_GS up to which Q_g counts", gt=0, lt=40)]
    total: Annotated[float, Quantity("C", "Q_g", gt=0, lt=1e-4)]
    gate_source: Annotated[float, Quantity("C", "Q_gs, up to the plateau", gt=0, lt=1e-4)]
    gate_drain: Annotated[float, Quantity("C", "Q_gd, along the plateau", gt=0, lt=1e-4)]
    plateau: Annotated[float, Quantity("V", "V_GS of the plateau", gt=0, lt=40)] | None = None

    @model_validator(mode="after")
    def _parts_fit_in_the_whole(self) -> Self:
        if self.gate_source + self.gate_drain >= self.total:
            raise ValueError("gate_source and gate_drain together must stay below total")
        return self


class ForwardPoint(Section):
    """One point of the body diode's forward curve, channel off."""

    current: Annotated[float, Quantity("A", "I_S", gt=0, lt=1e4)]
    voltage: Annotated[float, Quantity("V", "V_SD", gt=0.2, lt=8)]


class RecoveryPoint(Section):
    """Reverse recovery of the body diode under one set of conditions; two figures suffice."""

    junction_temperature: Annotated[
        float, Quantity("degC", "Junction temperature of the test", gt=-60, le=250)
    ]
    forward_current: Annotated[float, Quantity("A", "I_F", gt=0, lt=1e4)]
    di_dt: Annotated[float, Quantity("A/s", "Slope of the current", gt=0, lt=1e11)]
    reverse_voltage: Annotated[float, Quantity("V", "V_R of the test", gt=0, lt=1e4)]
    definition: Literal["10 %", "25 %", "90/25 line"]
    time: Annotated[float, Quantity("s", "t_rr by that definition", gt=0, lt=1e-4)] | None = None
    charge: (
        Annotated[
            float, Quantity("C", "Q_rr without the output capacitance's charge", gt=0, lt=1e-2)
        ]
        | None
    ) = None
    peak: Annotated[float, Quantity("A", "I_RM", gt=0, lt=1e4)] | None = None

    @model_validator(mode="after")
    def _two_figures(self) -> Self:
        if sum(x is not None for x in (self.time, self.charge, self.peak)) < 2:
            raise ValueError("two of time, charge and peak are needed")
        return self


class Diode(Section):
    """Body diode."""

    forward: Annotated[tuple[ForwardPoint, ...], Field(min_length=2)]
    emission: Annotated[
        float, Quantity("1", "Emission coefficient: 2 at high injection", ge=1, le=4)
    ]
    recovery: Annotated[tuple[RecoveryPoint, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _points_differ(self) -> Self:
        currents = [p.current for p in self.forward]
        voltages = [p.voltage for p in self.forward]
        if currents != sorted(set(currents)) or voltages != sorted(set(voltages)):
            raise ValueError("forward points must rise in current and in voltage")
        return self


class Avalanche(Section):
    """Breakdown of the chip, and the conditions of the single-pulse test."""

    voltage: Annotated[float, Quantity("V", "Drain voltage while it avalanches", gt=0, lt=1e4)]
    current: Annotated[float, Quantity("A", "I_AS of the single-pulse test", gt=0, lt=1e4)]
    supply_voltage: Annotated[float, Quantity("V", "V_DD of that test", gt=0, lt=1e3)]


class DoublePulse(Section):
    """Conditions of the inductive double pulse, and the energies if the sheet has them."""

    supply_voltage: Annotated[float, Quantity("V", "V_DD", gt=0, lt=1e4)]
    drain_current: Annotated[float, Quantity("A", "Load current", gt=0, lt=1e4)]
    gate_on: Annotated[float, Quantity("V", "Driver output, on", gt=0, lt=40)]
    gate_off: Annotated[float, Quantity("V", "Driver output, off", ge=-20, le=0)]
    gate_resistor: Annotated[float, Quantity("ohm", "Outside the part", gt=0, lt=1e3)]
    loop_inductance: Annotated[
        float, Quantity("H", "Supply to switches and back, without the leads", gt=0, lt=1e-5)
    ]
    turn_on: Annotated[float, Quantity("J", "E_on, not fitted", gt=0, lt=1)] | None = None
    turn_off: Annotated[float, Quantity("J", "E_off, not fitted", gt=0, lt=1)] | None = None


PinName = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_.+#-]+$", max_length=40)]


class ModelFile(Section):
    """A SPICE model file of the very switch, or of its diode alone, and which pin is which.

    Every pin of the subcircuit is named here by hand: an order is never guessed. The rehearsal's
    circuit then holds the file, rewritten; the data sheet's numbers serve the fast models, ratings
    and heat.
    """

    file: Annotated[
        str, StringConstraints(pattern=r"^[A-Za-z0-9_./-]+\.[A-Za-z]{2,5}$", max_length=200)
    ]
    """Relative to this part file."""
    subcircuit: PinName
    drain: PinName | None = None
    """Of an IGBT the collector."""
    gate: PinName | None = None
    source: PinName | None = None
    """Of an IGBT the emitter."""
    driver_return: PinName | None = None
    """A source pin of its own for the gate drive."""
    anode: PinName | None = None
    """Of a diode alone, in place of the body diode or the anti-parallel one."""
    cathode: PinName | None = None
    junction: PinName | None = None
    """A pin whose voltage is the junction's temperature, 1 V for 1 degC: held there."""
    case: PinName | None = None
    """A pin whose voltage is the case's temperature: held at the junction's too."""

    @property
    def diode_alone(self) -> bool:
        """Whether the file holds a diode and the channel stays our own."""
        return self.anode is not None

    @model_validator(mode="after")
    def _a_switch_or_a_diode(self) -> Self:
        of_switch = {k: getattr(self, k) for k in ("drain", "gate", "source")}
        of_diode = {k: getattr(self, k) for k in ("anode", "cathode")}
        if any(of_diode.values()) and any([*of_switch.values(), self.driver_return]):
            raise ValueError("names pins of a switch and of a diode alone: one of them")
        wanted = of_diode if any(of_diode.values()) else of_switch
        for key, pin in wanted.items():
            if pin is None:
                raise ValueError(
                    f"{key} is missing: a switch has the pins drain, gate, source, a diode alone "
                    "anode, cathode"
                )
        return self


class Mosfet(Section):
    """One MOSFET by its data sheet."""

    kind: Literal["mosfet"] = "mosfet"
    model: ModelFile | None = None
    name: Name
    title: Text
    description: Text = ""
    gate_resistance: Annotated[
        float, Quantity("ohm", "Gate resistor inside the chip", gt=0, lt=100)
    ]
    on_resistance: OnResistance
    transfer: Transfer
    capacitance: Annotated[tuple[CapacitancePoint, ...], Field(min_length=1)]
    gate_charge: GateCharge
    diode: Diode
    avalanche: Avalanche
    double_pulse: DoublePulse
    package: Package
    ratings: SwitchRatings

    @model_validator(mode="after")
    def _each_capacitance_once(self) -> Self:
        for kind in ("input", "output", "reverse"):
            if all(getattr(point, kind) is None for point in self.capacitance):
                raise ValueError(f"capacitance: {kind} is given at no voltage")
        return self
