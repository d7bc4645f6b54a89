"""How a deck is integrated and what is kept: options, step bound, saved vectors."""

from dataclasses import dataclass

from simkit.circuit import values
from simkit.circuit.oscillator import VECTORS
from simkit.circuit.timeline import Timeline
from simkit.parameters.machine import Machine
from simkit.parameters.switch import Switch


@dataclass(frozen=True)
class Analysis:
    """Integration of one run.

    The absolute tolerances suit currents of amperes: tighter ones stop the engine at gate edges.
    trtol=1 keeps the trapezoidal rule from ringing on the recovery.
    """

    step: float = 20e-9
    """Largest time step [s]."""
    reltol: float = 1e-4
    method: str = "trap"
    trtol: float = 1.0
    abstol: float = 1e-6
    start_nodes: bool = True
    """Whether the fast nodes' voltages at the start are given (`start`)."""

    @property
    def options(self) -> str:
        """The engine's option list."""
        return (
            f"method={self.method} reltol={self.reltol:.12g} trtol={self.trtol:.12g} "
            f"abstol={self.abstol:.12g} vntol=1e-4 chgtol=1e-12"
        )

    @property
    def label(self) -> str:
        """Short text for reports."""
        return f"{self.method} reltol {self.reltol:.0e}, step {self.step * 1e9:g} ns"


def switch_vectors(number: int, switch: Switch) -> tuple[str, ...]:
    """Saved vectors of one switch: chip terminals, diode node, drain lead, channel current; of an
    IGBT the ends of the resistor that its bipolar current is read in, and its charge."""
    nodes: tuple[str, ...] = ("di", "si", "gi", "da", "qm")
    if switch.foreign:  # what is inside has names that nobody knows
        return (*(f"v(xq{number}.{node})" for node in nodes), f"v(d{number})")
    nodes += ("dj", "db", "qb") if switch.bipolar else ()
    inner = tuple(f"v(xq{number}.{node})" for node in nodes)
    return (*inner, f"v(d{number})", f"@m.xq{number}.m1[id]")


def fault_vectors(line: Timeline) -> tuple[str, ...]:
    """Saved nodes of the fault elements: where their current flows, and their conductance."""
    nodes = {
        "can-open": ("tf", "tg", "to"),
        "link-capacitor-open": ("clx", "lo"),
        "fuse": ("slk", "fo"),
        "ground-fault": ("ef",),
    }
    kinds = {f.kind for f in line.faults}
    return tuple(f"v({n})" for kind in nodes if kind in kinds for n in nodes[kind])


def loop_vectors(line: Timeline) -> tuple[str, ...]:
    """Saved nodes of an oscillator inside the deck."""
    if not line.inside or line.oscillator is None:
        return ()
    return tuple(f"v({n})" for n in VECTORS[line.oscillator.form])


def saved_vectors(machine: Machine, line: Timeline) -> tuple[str, ...]:
    """Everything the measures read, and no more: a long run is mostly written data."""
    nodes = ["sup", "link", "cl1", "cl2", "film", "cf1", "cf2", "p", "a", "b", "pb", "pc"]
    nodes += ["s1", "s2", "t1", "w", "x", "fl", "lx", "rx"]
    if machine.transformer.blocking_capacitance is not None:
        nodes.append("pa")
    if machine.transformer.core_path is not None:
        nodes.append("lam")
    if machine.bridge.form.far_end == "midpoint":
        nodes += ["sh", "sl"]
    if machine.tank.feed == "shunt":
        nodes.append("t2")
    snubber = machine.bridge.snubber
    if snubber and snubber.place == "leg":
        nodes += [f"n{leg}" for leg in machine.bridge.form.nodes]
    saved = [f"v({node})" for node in nodes]
    for place in values.places(machine):
        saved += switch_vectors(place.number, machine.switch)
        if snubber and snubber.place == "switch":
            saved.append(f"v(n{place.number})")
    return (*saved, *fault_vectors(line), *loop_vectors(line))
