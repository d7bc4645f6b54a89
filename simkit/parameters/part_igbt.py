"""The part file of an IGBT with its anti-parallel diode: what its data sheet says.

Every quantity is a plain SI float after loading. Figures are typical values at a junction of
25 degC unless the field says otherwise.
"""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.machine import Name, Package, Section, Text
from simkit.parameters.part import Diode, ModelFile
from simkit.parameters.switch import TransientPoint


class SaturationPoint(Section):
    """V_CE(sat) under one set of conditions; two currents at each of two temperatures."""

    junction_temperature: Annotated[
        float, Quantity("degC", "Junction temperature of the test", gt=-60, le=250)
    ]
    gate_voltage: Annotated[float, Quantity("V", "V_GE of the test", gt=0, lt=40)]
    collector_current: Annotated[float, Quantity("A", "I_C of the test", gt=0, lt=1e4)]
    voltage: Annotated[float, Quantity("V", "V_CE(sat)", gt=0.2, lt=20)]


class IgbtTransfer(Section):
    """Threshold, and how steeply the collector current rises above it."""

    threshold: Annotated[float, Quantity("V", "V_GE(th), collector tied to gate", gt=0, lt=15)]
    threshold_current: Annotated[float, Quantity("A", "I_C of that test", gt=0, lt=1)]
    transconductance: Annotated[float, Quantity("S", "Forward transconductance", gt=0, lt=1e4)]
    transconductance_current: Annotated[float, Quantity("A", "I_C of that test", gt=0, lt=1e5)]


class IgbtCapacitance(Section):
    """Capacitances at one collector voltage, gate at the emitter's potential."""

    collector_voltage: Annotated[float, Quantity("V", "V_CE", gt=0, lt=1e4)]
    input: Annotated[float, Quantity("F", "C_ies", gt=0, lt=1e-6)] | None = None
    output: Annotated[float, Quantity("F", "C_oes", gt=0, lt=1e-6)] | None = None
    reverse: Annotated[float, Quantity("F", "C_res", gt=0, lt=1e-6)] | None = None


class IgbtGateCharge(Section):
    """Gate charge: resistance-free drive, constant collector current."""

    collector_voltage: Annotated[float, Quantity("V", "V_CC of the test", gt=0, lt=1e4)]
    collector_current: Annotated[float, Quantity("A", "I_C of the test", gt=0, lt=1e4)]
    gate_voltage: Annotated[float, Quantity("V", "V_GE up to which Q_g counts", gt=0, lt=40)]
    total: Annotated[float, Quantity("C", "Q_g", gt=0, lt=1e-4)]
    gate_emitter: Annotated[float, Quantity("C", "Q_ge, up to the plateau", gt=0, lt=1e-4)]
    gate_collector: Annotated[float, Quantity("C", "Q_gc, along the plateau", gt=0, lt=1e-4)]
    plateau: Annotated[float, Quantity("V", "V_GE of the plateau", gt=0, lt=40)]

    @model_validator(mode="after")
    def _parts_fit_in_the_whole(self) -> Self:
        if self.gate_emitter + self.gate_collector >= self.total:
            raise ValueError("gate_emitter and gate_collector together must stay below total")
        return self


class TurnOff(Section):
    """A clamped inductive turn-off under one set of conditions, by IEC 60747-9's integration."""

    junction_temperature: Annotated[
        float, Quantity("degC", "Junction temperature of the test", gt=-60, le=250)
    ]
    supply_voltage: Annotated[float, Quantity("V", "V_CC", gt=0, lt=1e4)]
    collector_current: Annotated[float, Quantity("A", "I_C", gt=0, lt=1e4)]
    gate_on: Annotated[float, Quantity("V", "Driver output, on", gt=0, lt=40)]
    gate_off: Annotated[float, Quantity("V", "Driver output, off", ge=-20, le=0)]
    gate_resistor: Annotated[float, Quantity("ohm", "Outside the part", gt=0, lt=1e3)]
    loop_inductance: Annotated[
        float, Quantity("H", "Supply to switches and back, without the leads", gt=0, lt=1e-5)
    ]
    energy: Annotated[float, Quantity("J", "E_off", gt=0, lt=10)]
    tail_decay: Annotated[
        float, Quantity("s", "Time in which the tail falls to 1/e", gt=1e-9, lt=1e-4)
    ]
    turn_on_energy: Annotated[float, Quantity("J", "E_on, not fitted", gt=0, lt=10)] | None = None


class IgbtRatings(Section):
    """What the data sheet allows, before derating."""

    collector_voltage: Annotated[float, Quantity("V", "V_CES", gt=0, lt=1e4)]
    collector_current: Annotated[float, Quantity("A", "I_C, case at 100 degC", gt=0, lt=1e4)]
    pulsed_current: Annotated[float, Quantity("A", "I_CM, limited by the junction", gt=0, lt=1e5)]
    turn_off_current: Annotated[
        float, Quantity("A", "Largest current turned off at V_CES (RBSOA)", gt=0, lt=1e5)
    ]
    short_circuit_time: (
        Annotated[float, Quantity("s", "t_SC; left out: none is rated", gt=0, lt=1e-3)] | None
    ) = None
    gate_voltage: Annotated[float, Quantity("V", "V_GE, either sign", gt=0, lt=100)]
    recovery_dv_dt: Annotated[
        float, Quantity("V/s", "dv/dt at the blocking switch (latch-up, diode)", gt=0, lt=1e12,
                        usual=(1e9, 2e11))
    ]  # fmt: skip
    recovery_di_dt: Annotated[
        float, Quantity("A/s", "Diode recovery di/dt", gt=0, lt=1e11, usual=(1e7, 5e9))
    ]
    junction_temperature: Annotated[
        float, Quantity("degC", "T_J max", gt=25, le=300, usual=(125, 200))
    ]
    thermal_resistance: Annotated[float, Quantity("K/W", "Junction to case, steady", gt=0, lt=100)]
    transient: Annotated[tuple[TransientPoint, ...], Field(min_length=2)]


class Igbt(Section):
    """One IGBT by its data sheet."""

    kind: Literal["igbt"]
    model: ModelFile | None = None
    name: Name
    title: Text
    description: Text = ""
    gate_resistance: Annotated[
        float, Quantity("ohm", "Gate resistor inside the chip", gt=0, lt=100)
    ]
    breakdown_voltage: Annotated[
        float, Quantity("V", "Collector voltage at which the chip avalanches", gt=0, lt=1e4)
    ]
    reach_voltage: Annotated[
        float,
        Quantity("V", "Collector voltage at which the base would be depleted: below twice V_CES "
                 "for a thin field-stop chip, above it for an old one", gt=10, lt=1e5),
    ]  # fmt: skip
    saturation: Annotated[tuple[SaturationPoint, ...], Field(min_length=4)]
    transfer: IgbtTransfer
    capacitance: Annotated[tuple[IgbtCapacitance, ...], Field(min_length=1)]
    gate_charge: IgbtGateCharge
    turn_off: Annotated[tuple[TurnOff, ...], Field(min_length=1)]
    diode: Diode
    package: Package
    ratings: IgbtRatings

    @model_validator(mode="after")
    def _two_currents_at_two_temperatures(self) -> Self:
        by_temperature: dict[float, set[float]] = {}
        for point in self.saturation:
            by_temperature.setdefault(point.junction_temperature, set()).add(
                point.collector_current
            )
        if len(by_temperature) != 2 or any(len(c) < 2 for c in by_temperature.values()):
            raise ValueError("saturation needs two collector currents at each of two temperatures")
        return self

    @model_validator(mode="after")
    def _each_capacitance_once(self) -> Self:
        for kind in ("input", "output", "reverse"):
            if all(getattr(point, kind) is None for point in self.capacitance):
                raise ValueError(f"capacitance: {kind} is given at no voltage")
        return self

    @model_validator(mode="after")
    def _one_turn_off_per_temperature(self) -> Self:
        temperatures = [t.junction_temperature for t in self.turn_off]
        if len(set(temperatures)) != len(temperatures):
            raise ValueError("turn_off: one test per junction temperature")
        return self
