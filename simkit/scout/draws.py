"""One event on many machines at once: their settled operation at the moments that count.

A machine's values differ from draw to draw, so each has networks of its own; all of them go
through the periodic solution of `batch` together. Which moments count is told by the fundamental:
the first, the last, where the coil's current is largest, where most current leads, and where most
lags.

A fast model, settled at each moment: it holds where the event is slow beside the tank's memory, and
whoever uses it compares with the march. The switch's own tables are the first machine's.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from simkit.scout.batch import Index
from simkit.scout.drive import LEAST, gate_delays
from simkit.scout.envelope import Cycles
from simkit.scout.forced import forcing
from simkit.scout.halfwave import modes_of
from simkit.scout.operating import CONVERGED, SAG_ROUNDS, Solver, on_resistance, sagged
from simkit.scout.plant import OUTPUTS, Array, Network, network, plant_from_machine, swing_charge
from simkit.scout.steady import RESONANT_SHARE
from simkit.scout.turnoff import turn_off

if TYPE_CHECKING:
    from simkit.parameters.machine import Machine

TABLES = 0.04
"""Step in the logarithm of the source's voltage at which tables of the turn-off are made [1]."""
STACKED = ("a", "c", "energy", "loss", "coil_loss")
"""Matrices of a network that a leading axis runs over."""


@dataclass(frozen=True)
class Path:
    """What a machine goes through, at moments in the order of time.

    Fields: frequency [Hz]; source, the supply's no-load voltage [V]; coil inductance [H] and
    resistance [ohm].
    """

    frequency: Array
    source: Array
    inductance: Array
    resistance: Array


@dataclass(frozen=True)
class Drawn:
    """A machine at the moments that count, as cycles of an event.

    Fields: cycles; link and source voltage [V]; known, whether every moment was solved.
    """

    cycles: Cycles
    link: Array
    source: Array
    known: bool


def drawn(machines: Sequence[Machine], paths: Sequence[Path]) -> list[Drawn]:
    """Every machine along its path; paths have as many moments as each other.

    Errors: ValueError where a network cannot be taken apart, Unworkable where a dead time fills a
    half period.
    """
    count = len(paths[0].frequency)
    net = stacked([
        network(plant_from_machine(m, m.coil.as_load()), p.inductance, p.resistance)
        for m, p in zip(machines, paths, strict=True)
    ])  # fmt: skip
    owner, moment = moments_that_count(net, paths)
    first = _Batch(machines, paths, net, owner[owner == 0], moment[owner == 0], count)
    share = np.interp(np.arange(count), moment[owner == 0], first.settled(None)["sag"])
    whole = _Batch(machines, paths, net, owner, moment, count)
    found = whole.settled(share[moment])
    return [_one(found, owner == k) for k in range(len(machines))]


def stacked(nets: Sequence[Network]) -> Network:
    """Networks of the same shape and the same drive as one, along the leading axis."""
    if any(not np.array_equal(n.b, nets[0].b) for n in nets):
        raise ValueError("networks that are driven otherwise do not go together")
    return _with_each(nets[0], lambda name: np.concatenate([getattr(n, name) for n in nets]))


def _with_each(net: Network, make: Callable[[str], Array]) -> Network:
    """A network with other matrices, by their names."""
    changed: dict[str, Any] = {name: make(name) for name in STACKED}
    return replace(net, **changed)


def moments_that_count(net: Network, paths: Sequence[Path]) -> tuple[Index, Index]:
    """Machine and moment of each case, by the network's answer to the fundamental alone."""
    frequency = np.array([p.frequency for p in paths])
    level = np.array([p.source for p in paths])
    size = net.a.shape[-1]
    turn = 2j * np.pi * frequency.ravel()[:, None, None] * np.eye(size)
    state = np.linalg.solve(turn - net.a, np.broadcast_to(net.b, net.a.shape[:2])[..., None])
    rows = (net.c @ state)[..., 0].reshape(*frequency.shape, len(OUTPUTS)) * level[..., None]
    coil = np.abs(rows[..., OUTPUTS.index("coil_current")])
    leading = rows[..., OUTPUTS.index("primary_current")].imag
    ends = np.zeros(len(paths)), np.full(len(paths), frequency.shape[1] - 1.0)
    most = (coil.argmax(axis=1), leading.argmax(axis=1), leading.argmin(axis=1))
    picked = np.stack([ends[0], *most, ends[1]], axis=1)
    pairs = [(k, m) for k, row in enumerate(picked.astype(int)) for m in sorted(set(row.tolist()))]
    found = np.array(pairs, dtype=np.intp)
    return found[:, 0], found[:, 1]


class _Batch(Solver):
    """The solver of operating points, each case with a network, charge and source of its own."""

    def __init__(
        self, machines: Sequence[Machine], paths: Sequence[Path], net: Network, owner: Index,
        moment: Index, count: int,
    ) -> None:  # fmt: skip
        self.machine = machines[0]
        at = list(zip(owner.tolist(), moment.tolist(), strict=True))
        self.frequency, self.source, self.inductance, self.resistance = np.array(
            [(paths[k].frequency[m], paths[k].source[m], paths[k].inductance[m],
              paths[k].resistance[m]) for k, m in at]
        ).T  # fmt: skip
        self.dead = np.array([machines[k].drive.dead_time for k, _ in at])
        self.series = np.array([machines[k].supply.source_resistance for k, _ in at])
        self.on_resistance = np.array([on_resistance(m) for m in machines])[owner]
        self.delays = gate_delays(self.machine)
        left = self.dead - self.delays.off + self.delays.on
        self.overlap, self.seen = left <= 0.0, np.maximum(left, LEAST)
        self._refuse()
        self.which = np.arange(len(at), dtype=np.intp)
        self.plant = plant_from_machine(self.machine, self.machine.coil.as_load())
        rows = owner * count + moment
        self.net = _with_each(net, lambda name: getattr(net, name)[rows])
        self.modes = modes_of(self.net)
        self.forcing = forcing(self.machine)
        steps, self.voltage_of = np.unique(
            np.round(np.log(self.source) / TABLES), return_inverse=True
        )
        self.turn_offs = tuple(turn_off(self.machine, float(np.exp(TABLES * s))) for s in steps)
        self.charge = np.array(
            [swing_charge(machines[k], v)
             for (k, _), v in zip(at, self.source.tolist(), strict=True)]
        )  # fmt: skip

    def settled(self, share: Array | None) -> dict[str, Array]:
        """Figures, the link sagging; `share`: where near the link stands, over the source [1]."""
        link = self.source if share is None else self.source * share
        stored, start = np.zeros_like(link), None
        for _ in range(SAG_ROUNDS if share is None else SAG_ROUNDS - 1):
            found, y, residue = self._solved(link, stored, start)
            after = sagged(self.source, self.series, found["supply_current"] / link)
            start, stored, used, link = y * (after / link)[:, None], found["stored"], link, after
        over = self.forcing.takeover(found["forced_current"], found["stored"])
        forced = np.maximum(found["forced_current"], 0.0)
        slope = np.where(forced > 0.0, self.forcing.slope(np.maximum(forced, 1e-3)), 0.0)
        known = (residue <= CONVERGED) & ~self.overlap
        return found | {
            "link": used, "source": self.source, "sag": used / self.source, "known": known,
            "slope": slope, "frequency": self.frequency,
            "switch": np.maximum(found["primary_current_peak"],
                                 forced + np.where(forced > 0.0, over.reverse_peak, 0.0)),
        }  # fmt: skip


def _one(found: dict[str, Array], mine: Array) -> Drawn:
    """One machine's moments as cycles; the time of each is its number."""
    own = {name: values[mine] for name, values in found.items()}
    off, peak = own["turn_off_current"], own["primary_current_peak"]
    cycles = Cycles(
        time=np.arange(len(off), dtype=float),
        coil_current_peak=own["coil_current_peak"],
        bank_voltage_peak=own["bank_voltage_peak"],
        primary_current_peak=peak,
        turn_off_current=off,
        turn_on_current=own["turn_on_current"],
        mode=np.where(np.abs(off) <= RESONANT_SHARE * peak, 0.0, np.sign(off)),
        supply_current=own["supply_current"],
        switch_current_peak=own["switch"],
        recovery_slope=own["slope"],
        magnetising_current_peak=own["magnetising_current_peak"],
        primary_current_rms=own["primary_current_rms"],
        bridge_loss=own["bridge_loss"],
    )
    return Drawn(cycles, own["link"], own["source"], bool(own["known"].all()))
