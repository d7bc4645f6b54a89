"""L and R of a load at the level it is really driven at.

What steel does to the coil depends on the coil's current, and the current on what the steel does;
the two are solved together, in the fundamental, wherever a rehearsal needs the pair: at its
frequency and supply voltage. So a rehearsal at 30 V finds other values than one at 325 V, and
neither is written down anywhere.

Why here and not a method of `Machine`: it takes the network's equations, and a machine is data.
`Machine.load` gives the values at the drive's working margin and full supply.
"""

from __future__ import annotations

from collections.abc import Callable
from math import exp, log, pi, sqrt

import numpy as np

from simkit.parameters.coil import Level
from simkit.parameters.machine import Load, Machine, Workpiece
from simkit.parts.igbt import conducting_resistance


def coil_current(machine: Machine, load: Load, frequency: float, voltage: float) -> float:
    """Peak of the fundamental of the coil's current [A].

    A square wave of the link `voltage` [V] at `frequency` [Hz] into: switches, winding, blocking
    capacitor, leakage and the bridge's own path; magnetising inductance; n:1; tank. Source:
    4 V/pi of a square wave (Erickson and Maksimovic eq. 22.2) and impedances in series and
    parallel. Range: sine currents, so near resonance; ideal edges.
    """
    transformer, tank = machine.transformer, machine.tank
    s = 2j * pi * frequency
    coil = s * load.inductance + load.resistance
    bank = 1.0 / (s * tank.capacitance) + tank.esr
    if tank.matching is None:
        seen, share = coil + bank, 1.0 + 0j
    else:
        matching = s * tank.matching.inductance + tank.matching.resistance
        seen, share = coil * bank / (coil + bank) + matching, bank / (coil + bank)
    seen = transformer.ratio**2 * (seen + transformer.secondary_resistance)
    magnetising = s * transformer.magnetising_inductance
    behind = seen * magnetising / (seen + magnetising)
    level = 4.0 / pi * voltage * machine.bridge.level_share
    primary = level / (_front(machine, s) + behind)
    return abs(primary * behind / seen * transformer.ratio * share)


def primary_current(machine: Machine, load: Load, frequency: float, voltage: float) -> float:
    """Peak of the fundamental of the bridge's output current, magnetising part left out [A].

    Arguments, source and range as for `coil_current`.
    """
    current = coil_current(machine, load, frequency, voltage) / machine.transformer.ratio
    if machine.tank.matching is None:
        return current
    s = 2j * pi * frequency
    bank = 1.0 / (s * machine.tank.capacitance) + machine.tank.esr
    return current * abs((s * load.inductance + load.resistance + bank) / bank)


def bridge_path(machine: Machine) -> tuple[float, float]:
    """Resistance [ohm] and inductance [H] that the primary current passes in link and bridge.

    The power loop and the leads of the n switches in its way, L_loop + n (L_drain + L_common +
    L_source); and what the ripple on the link takes from the bridge's square wave. The second
    harmonic of a sine that a bridge rectifies, lagging by phi, drops through Z(2f) = R + jX of link
    and film capacitors side by side and comes back as (16/9 pi^2) (R (1 + 3 sin^2 phi) +
    j (2 X - 3 R sin phi cos phi)) at the fundamental; a quarter of it in a half bridge, which loads
    the link with half the current and passes on half the voltage. Source: inductances in series;
    Fourier series of |sin|, own derivation. Range: taken at the (geometric) middle of the drive's
    band, so that it is the machine's own; with sin^2 phi = 0.4, between resonance and the margins
    in use, and without the last term, which changes sign at resonance.
    """
    package, bridge = machine.switch.package, machine.bridge
    leads = package.drain_inductance + package.common_source_inductance + package.source_inductance
    omega = 2.0 * pi * sqrt(machine.drive.frequency_min * machine.drive.frequency_max)
    ripple = 16.0 / (9.0 * pi**2) * _link_impedance(machine, 2j * omega) * bridge.level_share**2
    inductance = bridge.loop_inductance + leads * bridge.legs
    return ripple.real * (1.0 + 3.0 * 0.4), inductance + 2.0 * ripple.imag / omega


def _link_impedance(machine: Machine, s: complex) -> complex:
    """Link capacitor behind the bus, beside the film capacitor [ohm]."""
    supply = machine.supply
    link, film = (c.esr + s * c.esl + 1.0 / (s * c.capacitance) for c in (supply.link, supply.film))
    bus = s * supply.bus_inductance
    link += bus * supply.bus_damping / (bus + supply.bus_damping)
    return link * film / (link + film)


def _front(machine: Machine, s: complex) -> complex:
    """Switches, winding, what blocks direct current, leakage [ohm]."""
    bridge, transformer, drive = machine.bridge, machine.transformer, machine.drive
    on = conducting_resistance(machine.switch, drive.voltage_on)
    split = bridge.split_capacitance
    blocking = [c for c in (2.0 * split if split else None, transformer.blocking_capacitance) if c]
    resistance = on * bridge.legs + transformer.primary_resistance
    own, inductance = bridge_path(machine)
    resistance += own + 0.5 * (bridge.split_esr or 0.0)
    series = resistance + s * (transformer.leakage_inductance + inductance)
    return series + sum(1.0 / (s * c) for c in blocking)


def at_level(piece: Workpiece, current: float) -> Load:
    """L [H] and R [ohm] of a piece at a coil current [A, peak]: a straight line over log I.

    What the piece's own L and R differ from its levels at its nominal current, all levels differ
    likewise: so a value replaced or varied counts at every level. Source of the levels:
    `workpiece.workpiece_in_coil`. Range: as there; outside the levels the nearest one holds, for
    steel has its initial permeability below, and is saturated above.
    """
    if piece.levels is None or piece.nominal_current is None:
        return piece
    middle = _between(piece.levels, piece.nominal_current)
    found = _between(piece.levels, current)
    return Load(
        inductance=found.inductance * piece.inductance / middle.inductance,
        resistance=found.resistance * piece.resistance / middle.resistance,
    )


def _between(levels: tuple[Level, ...], current: float) -> Load:
    spots = np.log([level.coil_current for level in levels])
    at = log(max(current, 1e-9))
    return Load(
        inductance=float(np.interp(at, spots, [level.inductance for level in levels])),
        resistance=float(np.interp(at, spots, [level.resistance for level in levels])),
    )


def load_at(machine: Machine, name: str, frequency: float, voltage: float) -> Load:
    """A load as the drive finds it at a frequency [Hz] and a link voltage [V].

    L [H] and R [ohm] at the current they let through. KeyError for a workpiece the machine has
    not. Source and range: `coil_current`, `at_level`; how it is found: `driven`.
    """
    piece = machine.workpieces.get(name)
    if piece is None or piece.levels is None:
        return machine.load(name)
    return at_level(
        piece, driven(lambda load: coil_current(machine, load, frequency, voltage), piece)
    )


def load_at_margin(machine: Machine, name: str, margin: float, voltage: float) -> Load:
    """A load at a drive frequency a share `margin` above its own resonance [1], at a voltage [V].

    As `load_at`, with the frequency following the load's inductance; source and range as there.
    """
    piece = machine.workpieces.get(name)
    if piece is None or piece.levels is None:
        return machine.load(name)

    def current(load: Load) -> float:
        frequency = (1.0 + margin) * machine.resonance(load.inductance)
        return coil_current(machine, load, frequency, voltage)

    return at_level(piece, driven(current, piece))


def driven(current: Callable[[Load], float], piece: Workpiece) -> float:
    """The coil current I at which `current` of the load at I is I again [A, peak].

    Halving over log I. Source: bisection, textbook. Range: balances between 0.1 mA and 100 kA,
    one of them; a tank with steel in it may have three near resonance (a jump resonance,
    textbook), and then it is the one that halving meets.
    """
    low, high = log(1e-4), log(1e5)
    for _ in range(50):
        middle = 0.5 * (low + high)
        if current(at_level(piece, exp(middle))) > exp(middle):
            low = middle
        else:
            high = middle
    return exp(0.5 * (low + high))
