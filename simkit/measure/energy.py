"""Energy balance of the power circuit over a stretch of time.

    from the source = stored in addition + lost in parts + given to the load + work of the pull

Stored: link, film, blocking, split, snubber and bank capacitors, transformer, matching inductor
and coil (half flux linkage times current). Lost: every resistor of the power circuit and what
the switches take at their leads. Work: the coil's changing inductance, minus half i squared dL/dt.
Gate drives are outside on both sides: what they pass to the power circuit through the switches'
capacitances is returned within the cycle. The small inductances of bus and loop are left out of
the stored energy.

The residual is what does not add up, over the energy that came in: a measure of how far the
integration can be trusted as a whole.
"""

from dataclasses import dataclass

import numpy as np

from simkit.measure.waveforms import Array, Waves, integral


@dataclass(frozen=True)
class EnergyBalance:
    """Balance over a stretch of time; all in joules but the residual."""

    supplied: float
    """[J]"""
    stored: float
    """In addition to what was stored at the start [J]."""
    dissipated: dict[str, float]
    """By part [J]."""
    work: float
    """Mechanical, taken out of the field [J]."""
    residual: float
    """What does not add up, over the larger of supplied and load energy [1]."""


def balance(waves: Waves, start: float, end: float) -> EnergyBalance:
    """Energy balance between two times [s]."""
    part = waves.between(start, end)
    time = part.time
    supplied = integral(time, part.node("sup") * part.supply_current)
    stored = _stored(part)
    gained = float(stored[-1] - stored[0])
    lost = {name: integral(time, power) for name, power in dissipation(part).items()}
    square = part.coil_current**2
    work = -0.25 * float(np.sum((square[1:] + square[:-1]) * np.diff(part.coil_inductance)))
    # d(L i)/dt i = d(L i^2/2)/dt + i^2/2 dL/dt: the second term leaves the circuit.
    out = gained + sum(lost.values()) - work
    scale = max(abs(supplied), lost["coil and load"])
    return EnergyBalance(supplied, gained, lost, work, (supplied - out) / scale)


def dissipation(part: Waves) -> dict[str, Array]:
    """Power lost in each part of the power circuit over time [W]."""
    machine = part.machine
    supply, transformer, tank = machine.supply, machine.transformer, machine.tank
    lost = {
        "supply": part.supply_current**2 * supply.source_resistance,
        "link capacitor": (part.node("cl1") - part.node("cl2")) ** 2 / supply.link.esr,
        "film capacitor": (part.node("cf1") - part.node("cf2")) ** 2 / supply.film.esr,
        "bus and loop": (part.node("link") - part.node("film")) ** 2 / supply.bus_damping
        + (part.node("film") - part.node("p")) ** 2 / machine.bridge.loop_damping,
        "transformer": part.primary_current**2 * transformer.primary_resistance
        + part.load_current**2 * transformer.secondary_resistance,
        "tank capacitors": part.left_current**2 * tank.can_esr / part.cans_left + _lost_cans(part),
        "coil and load": part.coil_current**2 * part.coil_resistance,
    }
    lost |= _faulty_contacts(part)
    for switch in part.switches:
        sense = switch.drain_current**2 * 1e-3
        lost[f"Q{switch.number}"] = switch.lead_voltage * switch.drain_current + sense
    if tank.matching is not None:
        lost["matching inductor"] = part.load_current**2 * tank.matching.resistance
    if machine.bridge.split_esr is not None:
        lost["split capacitors"] = (
            (part.node("sh") - part.node("b")) ** 2 + (part.node("b") - part.node("sl")) ** 2
        ) / machine.bridge.split_esr
    if machine.bridge.form.far_end == "rail":
        lost["return"] = part.node("b") ** 2 / 1e-3
    if machine.bridge.snubber is not None:
        lost["snubbers"] = _snubber_power(part)
    return lost


def _lost_cans(part: Waves) -> Array | float:
    """Power lost in the cans that a fault opens, and in their contact [W]."""
    if not part.lost_cans:
        return 0.0
    end = "w" if part.machine.tank.feed == "loop" else "0"
    contact = (part.node("tg") - part.node(end)) ** 2 * np.exp(part.node("to"))
    return np.asarray(part.lost_current**2 * part.machine.tank.can_esr / part.lost_cans + contact)


CONTACTS = {
    "link capacitor's contact": ("link", "clx", "lo"),
    "fuse": ("slk", "link", "fo"),
    "earth fault": ("w", "0", "ef"),
}
"""Contacts that a fault opens or closes: their ends, and the logarithm of their conductance."""


def _faulty_contacts(part: Waves) -> dict[str, Array]:
    """Power lost in the contacts of a deck with faults [W]."""
    return {
        name: (part.node(one) - part.node(other)) ** 2 * np.exp(part.node(log))
        for name, (one, other, log) in CONTACTS.items()
        if f"v({log})" in part.raw
    }


def snubber_places(part: Waves) -> list[tuple[str, str, str]]:
    """Top, middle and bottom node of each snubber."""
    snubber = part.machine.bridge.snubber
    assert snubber is not None
    if snubber.place == "leg":
        names = ("na", "nb") if len(part.switches) == 4 else ("na",)
        return [("p", name, "0") for name in names]
    # Outside the sense resistor: a switch's drain current is the switch's alone.
    ends = {1: ("p", "a"), 2: ("a", "0"), 3: ("p", "b"), 4: ("b", "0")}
    return [(ends[n][0], f"n{n}", ends[n][1]) for n in (s.number for s in part.switches)]


def _snubber_power(part: Waves) -> Array:
    snubber = part.machine.bridge.snubber
    assert snubber is not None
    drops = [part.node(a) - part.node(b) for a, b, _ in snubber_places(part)]
    return np.asarray(sum(d * d for d in drops) / snubber.resistance)


def _stored(part: Waves) -> Array:
    """Energy in capacitors, transformer, matching inductor and coil over time [J]."""
    machine = part.machine
    supply, transformer, tank = machine.supply, machine.transformer, machine.tank
    side = part.node("s2" if tank.feed == "loop" else "w")
    bank = part.node("t1") - side
    link = "clx" if "v(clx)" in part.raw else "link"
    total = 0.5 * (
        supply.link.capacitance * (part.node(link) - part.node("cl1")) ** 2
        + supply.film.capacitance * (part.node("film") - part.node("cf1")) ** 2
        + transformer.leakage_inductance * part.primary_current**2
        + tank.can_capacitance * part.cans_left * bank**2
        + part.coil_inductance * part.coil_current**2
    ) + _in_core(part)
    if transformer.blocking_capacitance is not None:
        drop = part.node("a") - part.node("pa")
        total = total + 0.5 * transformer.blocking_capacitance * drop**2
    if part.lost_cans:
        total = total + 0.5 * tank.can_capacitance * part.lost_cans * (part.node("tf") - side) ** 2
    if tank.matching is not None:
        total = total + 0.5 * tank.matching.inductance * part.load_current**2
    if machine.bridge.split_capacitance is not None:
        halves = (part.node("p") - part.node("sh")) ** 2 + part.node("sl") ** 2
        total = total + 0.5 * machine.bridge.split_capacitance * halves
    if machine.bridge.snubber is not None:
        charges = [part.node(b) - part.node(c) for _, b, c in snubber_places(part)]
        total = total + 0.5 * machine.bridge.snubber.capacitance * sum(c * c for c in charges)
    return np.asarray(total)


def _in_core(part: Waves) -> Array:
    """Energy that went into the core since the start, the integral of i d(linkage) [J].

    Holds for any law of the core; only differences of the stored energy count.
    """
    current, linkage = part.magnetising_current, part.linkage
    steps = 0.5 * (current[1:] + current[:-1]) * np.diff(linkage)
    return np.concatenate(([0.0], np.cumsum(steps)))
