"""Node voltages a deck starts with: rails, bridge nodes and gates as they stand between edges.

A deck starts in the quiet part of a half period. With every node at zero instead, its first
nanoseconds throw the whole link onto the switches at once, and the engine stops there more often
than not with some channels (26 of 76 starts of a bar drawn out at 700 degC; none with them). Only
nodes whose voltage is plain are given; what flows is the seed's. Gates behind a transformer start
from zero, their charge coming through its windings, which start as `gate_start.py` says.
"""

from simkit.circuit.timeline import Timeline
from simkit.circuit.values import Seed, SwitchPlace, places, series_shares
from simkit.parameters.machine import Machine

GATE_NODES = ("g{n}", "h{n}", "j{n}", "xq{n}.gi")


def start_nodes(machine: Machine, line: Timeline, seed: Seed) -> str:
    """The list of an `.ic` line; empty where it is not known what they are."""
    if any(f.kind == "start" for f in line.faults) or machine.drive.isolation == "transformer":
        return ""
    link = seed.link_voltage
    film = link if seed.film_voltage is None else seed.film_voltage
    found = {"sup": max(line.voltage.at(line.begin), link), "link": link, "cl1": 0.0, "film": film}
    found |= {"cf1": 0.0, "p": film}
    upper_first = int(line.phase(line.begin) // 0.5) % 2 == 0
    level = {"0": 0.0, "p": film, "a": film if upper_first else 0.0}
    level["b"] = _other_end(machine, seed, film, not upper_first)
    found |= {"a": level["a"], "b": level["b"]}
    if machine.bridge.form.far_end == "midpoint":
        found |= {"sh": level["b"], "sl": level["b"]}
    snubber = machine.bridge.snubber
    if snubber and snubber.place == "leg":
        found |= {f"n{leg}": film for leg in ("a", "b") if leg in machine.bridge.form.nodes}
    for place in places(machine):
        found |= _switch(machine, place, level, place.first == upper_first)
    return " ".join(f"v({node})={voltage:.9g}" for node, voltage in found.items())


def _other_end(machine: Machine, seed: Seed, film: float, upper: bool) -> float:
    """Node b: the second leg, the midpoint of two capacitors, or the negative rail [V]."""
    if machine.bridge.form.far_end == "leg":
        return film if upper else 0.0
    if machine.bridge.form.far_end == "midpoint":
        return 0.5 * seed.link_voltage + series_shares(machine)[0] * seed.blocking_voltage
    return 0.0


def _switch(
    machine: Machine, place: SwitchPlace, level: dict[str, float], on: bool
) -> dict[str, float]:
    drive, n = machine.drive, place.number
    drain, source = level[place.drain], level[place.source]
    gate = drive.voltage_on if on else drive.voltage_off
    # The body diode's resistance holds `da` at the source's side. A blocking channel's `di` is left
    # to come up with the channel's own node behind its resistance, which no deck can name.
    found = {f"d{n}": drain, f"k{n}": source, f"xq{n}.si": source, f"xq{n}.da": source}
    if machine.switch.foreign:
        found = {f"d{n}": drain, f"k{n}": source}
    elif on:
        inner = ("di",) if machine.switch.bipolar is None else ("di", "dj", "dm", "db")
        found |= {f"xq{n}.{node}": drain for node in inner}
    snubber = machine.bridge.snubber
    if snubber and snubber.place == "switch":
        found[f"n{n}"] = drain
    return found | {node.format(n=n): source + gate for node in GATE_NODES}
