"""The linear network that a voltage-fed bridge looks into.

Bridge output voltage u -> series resistance, blocking capacitor, leakage -> magnetising
inductance and ideal n:1 transformer -> tank. The tank is a series loop of capacitor bank and coil
("loop"), or bank parallel to coil behind a matching inductor ("shunt").

The network is written in mesh form: independent currents q (magnetising, load, coil), and each
branch carries w.q with a resistance, an inductance or a capacitance. The states are the mesh
fluxes Lambda = M q, M = sum(L w w'), and the capacitor voltages:

    dLambda/dt = w_p u - R q - sum(w v_C),    dv_C/dt = w.q / C,    q = M^-1 Lambda

Fluxes, not currents, are what stays continuous when the coil's inductance changes, so that
v = d(L i)/dt + R i holds at the coil and the work done on a moving piece is counted.
Valid for: linear transformer and coil, ideal voltage at the bridge; diode drops are left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isinf, pi
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from simkit.parameters.bridge import FORMS, Topology
from simkit.parts.charge import Junction
from simkit.parts.charge import output_charge as junction_charge
from simkit.parts.igbt import conducting_resistance
from simkit.parts.working import bridge_path

if TYPE_CHECKING:
    from simkit.parameters.machine import Channel, Load, Machine

Array = NDArray[np.float64]
Feed = Literal["loop", "shunt"]

OUTPUTS = (
    "primary_current",
    "magnetising_current",
    "load_current",
    "coil_current",
    "capacitor_voltage",
    "blocking_voltage",
)
"""Rows of the output matrix: [A] [A] [A] [A] [V] [V]. `primary_current` is the bridge's output
current, `load_current` the secondary's; a branch that is absent gives a row of zeros."""


@dataclass(frozen=True)
class Plant:
    """Circuit values of one operating point; a frozen, linear network."""

    bridge: Topology
    """full: u = +-Vdc; half-split, half-blocking: u = +-Vdc/2 about the capacitor's rest."""
    supply_voltage: float
    """DC link [V]"""
    series_resistance: float
    """Switches in the path, primary winding, ESRs in series with it [ohm]"""
    leakage_inductance: float
    """Seen from the primary [H]"""
    magnetising_inductance: float
    """Seen from the primary [H]; infinity for none"""
    ratio: float
    """Primary turns over secondary turns [1]"""
    secondary_resistance: float
    """[ohm]"""
    feed: Feed
    capacitance: float
    """Capacitor bank [F]"""
    capacitor_esr: float
    """Of the bank [ohm]"""
    coil_inductance: float
    """Coil with its load [H]"""
    coil_resistance: float
    """Coil with its load [ohm]"""
    matching_inductance: float = 0.0
    """Shunt feed only, on the secondary side [H]"""
    matching_resistance: float = 0.0
    """Shunt feed only [ohm]"""
    blocking_capacitance: float | None = None
    """All capacitance in series with the primary; split capacitors count twice one of them [F]"""

    def __post_init__(self) -> None:
        """Refuse values for which the equations do not hold."""
        positive = ("supply_voltage", "magnetising_inductance", "ratio", "capacitance",
                    "coil_inductance")  # fmt: skip
        for name in positive:
            if not getattr(self, name) > 0.0:
                raise ValueError(f"{name} = {getattr(self, name)!r} must be above zero")
        blocking = self.blocking_capacitance
        if blocking is not None and not blocking > 0.0:
            raise ValueError(f"blocking_capacitance = {blocking!r} must be above zero")
        if FORMS[self.bridge].far_end != "leg" and self.blocking_capacitance is None:
            raise ValueError(f"a {self.bridge} bridge needs blocking_capacitance")
        if (self.feed == "shunt") != (self.matching_inductance > 0.0):
            raise ValueError('matching_inductance above zero goes with feed "shunt" and no other')

    @property
    def level(self) -> float:
        """Bridge output, half of its swing [V]: Vdc for a full bridge, Vdc/2 for a half bridge."""
        return self.supply_voltage * self.level_share

    @property
    def level_share(self) -> float:
        """Half swing of the bridge output over the link voltage [1]."""
        return FORMS[self.bridge].level_share

    @property
    def blocking_rest(self) -> float:
        """DC voltage of the blocking capacitor [V]; outputs are deviations from it."""
        return FORMS[self.bridge].rest_share * self.supply_voltage


@dataclass(frozen=True)
class Branch:
    """One branch: its current is `share` . q.

    Fields: share [1 each], resistance [ohm], inductance [H], capacitance [F] or None.
    """

    share: Array
    resistance: float
    inductance: float
    capacitance: float | None = None


def mesh_names(plant: Plant) -> tuple[str, ...]:
    """Independent currents: magnetising (if finite), load, and the coil's when shunt-fed."""
    names = () if isinf(plant.magnetising_inductance) else ("magnetising",)
    return (*names, "load", "coil") if plant.feed == "shunt" else (*names, "load")


def branches(plant: Plant) -> dict[str, Branch]:
    """Branches of the network by name; "coil" carries the coil's own L and R."""
    names = mesh_names(plant)
    unit = {name: np.eye(len(names))[k] for k, name in enumerate(names)}
    nothing, load = np.zeros(len(names)), unit["load"]
    magnetising = unit.get("magnetising", nothing)
    coil = unit.get("coil", load)
    bank = load - coil if plant.feed == "shunt" else load
    finite = 0.0 if isinf(plant.magnetising_inductance) else plant.magnetising_inductance
    return {
        "primary": Branch(
            magnetising + load / plant.ratio, plant.series_resistance, plant.leakage_inductance,
            plant.blocking_capacitance,
        ),
        "magnetising": Branch(magnetising, 0.0, finite),
        "load": Branch(
            load, plant.secondary_resistance + plant.matching_resistance,
            plant.matching_inductance,
        ),
        "bank": Branch(bank, plant.capacitor_esr, 0.0, plant.capacitance),
        "coil": Branch(coil, plant.coil_resistance, plant.coil_inductance),
    }  # fmt: skip


@dataclass(frozen=True)
class Network:
    """State space dx/dt = A x + B u, y = C x; a leading axis runs over the values of L and R.

    Fields: a [1/s], b, c in the units of states and outputs; `states` and `outputs` name them;
    `energy` is the matrix E of the stored energy x' E x / 2 [J]; `loss` the matrix of the
    dissipated power x' P x [W]; `coil_loss` the part of it in the coil.
    """

    a: Array
    b: Array
    c: Array
    states: tuple[str, ...]
    outputs: tuple[str, ...]
    energy: Array
    loss: Array
    coil_loss: Array


def network(
    plant: Plant, inductance: Array | None = None, resistance: Array | None = None
) -> Network:
    """State space of a plant, with a leading axis over coil inductance [H] and resistance [ohm].

    Mesh equations as in the heading of this module; the plant's own values where none are given.
    """
    parts = branches(plant)
    own = np.outer(parts["coil"].share, parts["coil"].share)
    coil_l = np.atleast_1d(plant.coil_inductance if inductance is None else inductance)
    coil_r = np.atleast_1d(plant.coil_resistance if resistance is None else resistance)
    coil_l, coil_r = (v[:, None, None] for v in np.broadcast_arrays(coil_l, coil_r))
    rest = [p for name, p in parts.items() if name != "coil"]
    mesh_l = sum(p.inductance * np.outer(p.share, p.share) for p in rest) + coil_l * own
    mesh_r = sum(p.resistance * np.outer(p.share, p.share) for p in rest) + coil_r * own
    inverse: Array = np.asarray(np.linalg.inv(mesh_l), dtype=float)
    stores = [p for p in parts.values() if p.capacitance is not None]
    shares = np.array([p.share for p in stores])
    farads = np.array([p.capacitance for p in stores], dtype=float)
    order = ["capacitor_voltage" if p is parts["bank"] else "blocking_voltage" for p in stores]
    meshes, size = own.shape[0], own.shape[0] + len(stores)
    a = np.zeros((len(coil_l), size, size))
    a[:, :meshes, :meshes] = -mesh_r @ inverse
    a[:, :meshes, meshes:] = -shares.T
    a[:, meshes:, :meshes] = (shares / farads[:, None]) @ inverse
    energy = _padded(inverse, size)
    energy[:, range(meshes, size), range(meshes, size)] = farads
    return Network(
        a=a,
        b=np.concatenate((parts["primary"].share, np.zeros(len(stores)))),
        c=_output_rows(parts, inverse, order),
        states=(*(f"{name}_flux" for name in mesh_names(plant)), *order),
        outputs=OUTPUTS,
        energy=energy,
        loss=_padded(inverse @ mesh_r @ inverse, size),
        coil_loss=_padded(inverse @ (coil_r * own) @ inverse, size),
    )


def _output_rows(parts: dict[str, Branch], inverse: Array, stores: list[str]) -> Array:
    meshes = inverse.shape[-1]
    rows = np.zeros((len(inverse), len(OUTPUTS), meshes + len(stores)))
    for k, name in enumerate(("primary", "magnetising", "load", "coil")):
        rows[:, k, :meshes] = parts[name].share @ inverse
    for k, name in enumerate(stores):
        rows[:, OUTPUTS.index(name), meshes + k] = 1.0
    return rows


def _padded(block: Array, size: int) -> Array:
    whole = np.zeros((block.shape[0], size, size))
    whole[:, : block.shape[1], : block.shape[2]] = block
    return whole


def matrices(plant: Plant) -> tuple[Array, Array, Array, tuple[str, ...]]:
    """A [1/s], B, C_out and the state names of dx/dt = A x + B u, outputs = C_out x.

    u is the bridge output voltage [V] (about its mean, for a half bridge); the outputs are
    those of `OUTPUTS`, the states mesh fluxes [Wb] and capacitor voltages [V].
    """
    net = network(plant)
    return net.a[0], net.b, net.c[0], net.states


def tank_pole(plant: Plant) -> complex:
    """Fastest oscillating pole of the network with the bridge shorted [1/s].

    An eigenvalue s of A: |s|/(2 pi) is the undamped resonance, |s|/(-2 Re s) the loaded Q and
    -1/Re s the memory (2L/R for a plain series loop). Raises ValueError when nothing rings.
    """
    poles = np.linalg.eigvals(network(plant).a[0])
    ringing = poles[poles.imag > 0.0]
    if not ringing.size:
        raise ValueError("the tank does not ring: all poles are real")
    return complex(ringing[np.argmax(np.abs(ringing))])


def pole_frequency(plant: Plant) -> float:
    """Undamped resonance of the tank pole [Hz], |s|/(2 pi); 1/(2 pi sqrt(LC)) for a plain loop.

    It exists also where the bridge sees a lagging current at every frequency, as it may behind a
    large matching inductor.
    """
    return abs(tank_pole(plant)) / (2.0 * pi)


def loaded_q(plant: Plant) -> float:
    """Loaded quality factor |s|/(-2 Re s) of the tank pole [1]; Z0/R for a plain series loop."""
    pole = tank_pole(plant)
    return inf if pole.real == 0.0 else abs(pole) / (-2.0 * pole.real)


def memory_time(plant: Plant) -> float:
    """Time in which a disturbance of the tank falls to 1/e [s], -1/Re s; 2L/R for a loop."""
    pole = tank_pole(plant)
    return inf if pole.real == 0.0 else -1.0 / pole.real


"""On-resistance of a conducting switch [ohm] at a gate voltage [V]."""


def output_charge(channel: Channel, voltage: float) -> float:
    """Charge of a switch's output capacitance from zero to a drain voltage [V], in [C].

    That of C_ds (`parts.charge`), plus C_gd at its minimum: its maximum lasts for a few volts only.
    """
    junction = Junction(
        channel.output_capacitance_zero, channel.junction_potential, channel.junction_grading
    )
    return junction_charge(junction, voltage) + channel.gate_drain_capacitance_min * voltage


def plant_from_machine(machine: Machine, load: Load, supply_voltage: float | None = None) -> Plant:
    """Plant of a machine with a load in the coil; the link at no-load voltage unless given [V].

    Two switches of a full bridge, or one of a half bridge, lie in the path. Split capacitors act
    in parallel for the primary current. Raises ValueError as `Plant` does.
    """
    bridge, transformer, tank = machine.bridge, machine.transformer, machine.tank
    on = conducting_resistance(machine.switch, machine.drive.voltage_on)
    split = bridge.split_capacitance
    series = [c for c in (2.0 * split if split else None, transformer.blocking_capacitance) if c]
    resistance, inductance = bridge_path(machine)
    return Plant(
        bridge=bridge.topology,
        supply_voltage=machine.supply.voltage if supply_voltage is None else supply_voltage,
        series_resistance=on * bridge.legs
        + transformer.primary_resistance
        + 0.5 * (bridge.split_esr or 0.0)
        + resistance,
        leakage_inductance=transformer.leakage_inductance + inductance,
        magnetising_inductance=transformer.magnetising_inductance,
        ratio=transformer.ratio,
        secondary_resistance=transformer.secondary_resistance,
        feed=tank.feed,
        capacitance=tank.capacitance,
        capacitor_esr=tank.esr,
        coil_inductance=load.inductance,
        coil_resistance=load.resistance,
        matching_inductance=tank.matching.inductance if tank.matching else 0.0,
        matching_resistance=tank.matching.resistance if tank.matching else 0.0,
        blocking_capacitance=1.0 / sum(1.0 / c for c in series) if series else None,
    )


def swing_charge(machine: Machine, supply_voltage: float | None = None) -> float:
    """Charge the primary current must move for the bridge output to swing over [C].

    Both switches of a leg change by the full link voltage, the two legs at the same time:
    2 Q_oss, and twice a snubber capacitor's charge where one lies across each switch.
    """
    voltage = machine.supply.voltage if supply_voltage is None else supply_voltage
    snubber = machine.bridge.snubber
    across = snubber.capacitance if snubber and snubber.place == "switch" else 0.0
    return 2.0 * (output_charge(machine.switch.channel, voltage) + across * voltage)
