"""Where a run of the whole event starts, so that it goes on as the settled part does.

A short run of the settled part shows how far its start was off. In the settled part the states at
half a period's distance are each other's negative; what a start missed dies away as the linear
network's modes do (scout.plant). With y_m = (-1)^m x(t + m T/2) and a mode's own factor
mu = -exp(s T/2), its part of y_m is a + d mu^m: a settled, d what is missing, by least squares over
the run. The start is put right by d, taken back to where the run began, so that whatever the first
edges add is put right with it. This counts for every slow state at once: the tank's, the core's
offset, the voltage of capacitors in series with the primary, matching inductors.

Such capacitors rest where the bridge's mean voltage is, which is a per mille of the link away from
where a seed has it. That puts (-1)^m r to their voltage; how the core's flux drifts tells r.

Newton's rule with the fast model's Jacobian; source: worked out here. Range: steady drive and link;
a core below its knee, else its flux moves by less than asked for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from simkit.circuit.timeline import Timeline
from simkit.circuit.values import Seed
from simkit.parameters.machine import Load, Machine
from simkit.rehearsal.remains import NOISE, SEEN
from simkit.rehearsal.stretches import Stretch, seed_at
from simkit.scout.halfwave import Complex
from simkit.scout.plant import Array, Network, mesh_names, network, plant_from_machine

QUIET = 2
"""Half periods after a start in which gates and diodes find their place [1]."""
REST = 0.003
"""How far the rest of capacitors in series with the primary is expected from the seed's, as a share
of the link's voltage [1]: 0.0020 and 0.0023 were seen on two half bridges."""


@dataclass(frozen=True)
class States:
    """The network's states, each as the root of twice its energy [J^1/2], and a seed's."""

    net: Network
    meshes: tuple[str, ...]
    magnetising_inductance: float
    ratio: float
    root: Array
    """Of the energy matrix, from the states as the network has them."""

    def of(self, seed: Seed) -> Array:
        """Of a seed."""
        wound = seed.primary_current - seed.load_current / self.ratio
        if seed.linkage is not None:
            wound = seed.linkage / self.magnetising_inductance
        told = {"magnetising": wound, "load": seed.load_current, "coil": seed.coil_current}
        count = len(self.meshes)
        currents = np.array([told[name] for name in self.meshes])
        fluxes = np.linalg.solve(self.net.energy[0][:count, :count], currents)
        volts = {"capacitor_voltage": seed.tank_voltage, "blocking_voltage": seed.blocking_voltage}
        others = [volts[name] for name in self.net.states[count:]]
        return np.asarray(self.root @ np.concatenate((fluxes, others)))

    def seed(self, state: Array, like: Seed) -> Seed:
        """A seed with these states, its link as another's."""
        outputs = self.net.c[0] @ np.linalg.solve(self.root, state)
        out = dict(zip(self.net.outputs, outputs.tolist(), strict=True))
        return replace(
            like,
            primary_current=out["primary_current"],
            load_current=out["load_current"],
            coil_current=out["coil_current"],
            tank_voltage=out["capacitor_voltage"],
            blocking_voltage=out["blocking_voltage"],
            linkage=None,
        )

    def modes(self) -> tuple[Complex, Complex]:
        """Rates [1/s] and shapes, a column each."""
        rates, shapes = np.linalg.eig(self.root @ self.net.a[0] @ np.linalg.inv(self.root))
        return rates.astype(complex), shapes.astype(complex)

    def at_rest(self, volts: float) -> Array:
        """Of a voltage of the capacitors in series with the primary alone [V]."""
        return self.of(Seed(link_voltage=0.0, blocking_voltage=volts))


def states_of(machine: Machine, line: Timeline) -> States:
    """Of the machine with the load that a timeline begins with."""
    load = Load(inductance=line.inductance.first, resistance=line.resistance.first)
    plant = plant_from_machine(machine, load, line.voltage.first)
    net = network(plant)
    root = np.linalg.cholesky(net.energy[0]).T
    return States(net, mesh_names(plant), plant.magnetising_inductance, plant.ratio, root)


@dataclass(frozen=True)
class Begun:
    """What a run of the settled part is to start from."""

    phase: float
    """Of the drive where that run began [periods]."""
    seed: Seed
    """There, the capacitors in series with the primary told from `rest`."""
    rest: float
    """By how much they rest above what a seed takes for it [V]."""
    changed: float
    """By how much it differs from what the run began with, as a share [1]: the root of the share
    of the stored energy."""

    def at(self, phase: float) -> Seed:
        """The seed where the drive is at a phase [periods], a number of half periods away."""
        return less(turned(self.seed, round(2.0 * (phase - self.phase))), -self.rest)


def begun(machine: Machine, line: Timeline, calm: Stretch, began: Seed, otherwise: Seed) -> Begun:
    """The start with which a run of the settled part would have gone on as it began.

    `calm`: such a run; `began`: its seed; `otherwise`: what counts for the link, and for a mode
    that the run is too short to tell.
    """
    states = states_of(machine, line)
    rates, shapes = states.modes()
    inverse = np.linalg.inv(shapes)
    half = 0.5 / line.frequency.first
    first = calm.deck.begin + QUIET * half
    count = int((float(calm.waves.time[-1]) - first) / half) + 1
    signs = (-1.0) ** np.arange(count)
    seen = np.array([states.of(seed_at(calm.waves, first + m * half)) for m in range(count)])
    folded = (inverse @ (signs[:, None] * seen).T).T
    turns = (-np.exp(rates * half))[None, :] ** np.arange(count)[:, None]
    told = np.abs(turns - turns[0]).max(0) >= SEEN
    expected = REST * began.link_voltage
    aside = inverse @ states.at_rest(expected)
    missing, share = _missing(folded, np.where(told, turns, 0.0), np.outer(signs, aside))
    rest = share * expected
    before = states.of(less(began, rest))
    found = inverse @ before - np.exp(-rates * QUIET * half) * missing
    found = np.where(told, found, inverse @ states.of(less(otherwise, rest)))
    after = (shapes @ found).real
    changed = float(np.linalg.norm(after - before) / max(float(np.linalg.norm(after)), 1e-300))
    return Begun(line.phase(calm.deck.begin), states.seed(after, otherwise), rest, changed)


def _missing(folded: Complex, turns: Complex, aside: Complex) -> tuple[Complex, float]:
    """What each mode (a column) was off at first, and r in terms of what is expected of it.

    folded = a + turns d + aside r by least squares, all modes together; that r is about 1 at most
    counts as much as one sample does that is off by its scatter.
    """
    count, modes = folded.shape
    rows = np.zeros((count, modes, 2 * modes + 1), dtype=complex)
    for k in range(modes):
        rows[:, k, k] = 1.0
        rows[:, k, modes + k] = turns[:, k]
        rows[:, k, -1] = aside[:, k]
    prior = np.zeros(2 * modes + 1)
    prior[-1] = NOISE * float(np.sqrt(np.mean(np.abs(folded) ** 2) * modes))
    system = np.concatenate((rows.reshape(count * modes, -1), prior[None, :]))
    wanted = np.append(folded.reshape(-1), 0.0)
    found = np.linalg.lstsq(system, wanted, rcond=None)[0]
    return found[modes : 2 * modes], float(found[-1].real)


def less(seed: Seed, rest: float) -> Seed:
    """A seed whose capacitors in series with the primary are told from another rest [V]."""
    return replace(seed, blocking_voltage=seed.blocking_voltage - rest)


def turned(seed: Seed, halves: int) -> Seed:
    """The same a number of half periods later: all but the link changes its sign in each."""
    if halves % 2 == 0:
        return seed
    return replace(
        seed,
        primary_current=-seed.primary_current,
        load_current=-seed.load_current,
        coil_current=-seed.coil_current,
        tank_voltage=-seed.tank_voltage,
        blocking_voltage=-seed.blocking_voltage,
        linkage=None if seed.linkage is None else -seed.linkage,
    )
