"""How much gain the drive's loop stands, load by load.

Around a working point the detected angle follows the frequency f with a slope K [rad/Hz] and the
tank's memory T = 2 Q/w0: d(angle)/dt = (K f - angle)/T. K rises with Q, so that a gain set with the
piece in the coil is several times as high when the coil is empty.

A sampled controller steps f by -s times the error each interval h. With E = exp(-h/T) left of the
last step's transient, the pair (angle, f) obeys

    z^2 - z (1 + E - s K (1 - E)) + E = 0,

whose roots lie in the unit circle for s K < 2 (1 + E)/(1 - E) (Jury's criterion, Franklin, Powell,
Workman, Digital Control of Dynamic Systems, recalled from memory): 2 for an interval much longer
than the memory, where s K = 1 is deadbeat. A continuous loop of bandwidth b with the memory T and a
delay t_d (half a half period, as a detector knows the angle once each, and the chain's own) has the
open loop 2 pi b exp(-s t_d)/(s (1 + s T)); it is stable up to

    b = w sqrt(1 + (w T)^2)/(2 pi),   w t_d + atan(w T) = pi/2

(its phase reaches -180 degrees at w, textbook). Both local: a large error may do worse.

A drive that limits its current moves f at a pace that grows with the current's excess. Detuned by D
[rad/s], a tank's amplitude follows a change of frequency as 1/((s + 1/T)^2 + D^2) (derived from
dX/dt = -(1/T + jD) X + u), and the level is averaged over tau. Routh's criterion of

    (1 + s tau) s ((s + 1/T)^2 + D^2) + 2 pi b (1/T^2 + D^2)

leaves b < (c3 2/T + 2 tau^2 (1/T^2 + D^2)/T)/(2 pi c3^2), c3 = 1 + 2 tau/T; 1/(pi T) where nothing
is averaged.
"""

from dataclasses import dataclass
from math import atan, degrees, exp, pi, radians, sqrt

import numpy as np

from simkit.circuit.oscillator import MEAN
from simkit.parameters.loop import Loop
from simkit.parameters.machine import Load, Machine
from simkit.scout.phasor_course import Envelope
from simkit.scout.plant import OUTPUTS, Plant, memory_time, network, plant_from_machine
from simkit.scout.tracking import SOFT, angle_of, held_frequency, slope_of


def offset_resistance(
    level: float, current: float, frequency: float, lead_network: float = 0.0
) -> float:
    """Negative resistance of a drive that follows a current against that current's offset [ohm].

    `level` V of the bridge's output [V], `current` I followed, its peak [A], `frequency` [Hz],
    `lead_network` T [s]. The sensed i + T di/dt passes zero at a slope of w I sqrt(1 + (w T)^2).
    An offset i0 moves each zero by i0 over that, so that halves of its own sign last longer by
    twice as much and the others are shorter: 4 V f i0/slope of mean voltage. Source: derived here;
    a test works it out edge by edge. Range: a sinusoidal current, offsets small against it.
    """
    omega = 2.0 * pi * frequency
    return 4.0 * level * frequency / (omega * current * sqrt(1.0 + (omega * lead_network) ** 2))


def offset_growth(plant: Plant, frequency: float, resistance: float, sensed: str) -> float:
    """Pace at which the slowest ringing or creeping of a self-oscillating drive grows [1/s].

    `resistance`: see `offset_resistance` [ohm]; `sensed`: "current" of the bridge or through the
    "bank". An offset i0 of what is sensed puts the mean voltage R i0 on the network
    dx/dt = A x + b u, whose poles are then those of A + R b c. Negative: all offsets fade.
    Source: derived here; a series circuit's pole is (R - R_s)/L by hand. Range: poles slower than
    half the drive [Hz], where the mean over a period is all there is to see.
    """
    net = network(plant)
    outputs = dict(zip(OUTPUTS, net.c[0], strict=True))
    row = outputs["primary_current" if sensed == "current" else "load_current"]
    if sensed == "bank" and plant.feed == "shunt":
        row = row - outputs["coil_current"]
    poles = np.linalg.eigvals(net.a[0] + resistance * np.outer(net.b, row))
    slow = poles[np.abs(poles) < pi * frequency]
    return float(np.max(slow.real, initial=-np.inf))


@dataclass(frozen=True)
class LoopGain:
    """A loop on one load.

    Fields: frequency at which it holds its angle [Hz]; gain: over that which corrects an error in
    one step [1] (sampled), or bandwidth [Hz] (continuous); most: where it becomes unstable, in the
    same unit; memory of the tank [s]; slope [rad/Hz].
    """

    frequency: float
    gain: float
    most: float
    memory: float
    slope: float


def sampled_limit(interval: float, memory: float) -> float:
    """Largest stable gain over deadbeat of a controller that steps once an interval [s] [1]."""
    left = exp(-interval / memory)
    return 2.0 * (1.0 + left) / (1.0 - left)


def continuous_limit(memory: float, delay: float) -> float:
    """Largest stable bandwidth of an integrating loop [Hz]; memory of the tank and delay [s]."""
    low, high = 0.0, 0.5 * pi / delay
    for _ in range(60):
        middle = 0.5 * (low + high)
        if middle * delay + atan(middle * memory) < 0.5 * pi:
            low = middle
        else:
            high = middle
    return low * sqrt(1.0 + (low * memory) ** 2) / (2.0 * pi)


def angle_held(machine: Machine, loop: Loop, piece: str) -> float:
    """Angle a loop holds [rad]: its own, or that of a piece at the working margin."""
    if loop.phase is not None:
        return radians(loop.phase)
    load = machine.load(piece)
    f = (1.0 + machine.drive.working_margin) * machine.resonance(load.inductance)
    if loop.lead_time is not None:
        return 2.0 * pi * f * loop.lead_time
    return angle_of(machine, load, machine.supply.voltage, f, loop.sensed)


def loop_gain(machine: Machine, load: Load, set_with: str, angle: float) -> LoopGain | None:
    """A machine's loop on a load, holding an angle [rad]; None without one whose gain is a number.

    `set_with`: name of the piece with which a bandwidth was set.
    """
    loop, voltage = machine.drive.loop, machine.supply.voltage
    if loop is None or loop.holds in ("margin", "none") or loop.by == "self-oscillating":
        return None
    f = held_frequency(machine, load, voltage, angle, loop.sensed)
    slope = slope_of(machine, (load.inductance, load.resistance), voltage, f, loop.sensed)
    memory = memory_time(plant_from_machine(machine, load))
    if loop.by == "sampled":
        gain = degrees(float(loop.step_per_degree or 0.0)) * slope
        return LoopGain(f, gain, sampled_limit(float(loop.interval or 0.0), memory), memory, slope)
    own = machine.load(set_with)
    there = held_frequency(machine, own, voltage, angle, loop.sensed)
    first = slope_of(machine, (own.inductance, own.resistance), voltage, there, loop.sensed)
    band = float(loop.bandwidth or 0.0) * slope / first
    late = 0.25 / f + (loop.delay or 0.0)
    return LoopGain(f, band, continuous_limit(memory, late), memory, slope)


def averaged_limit(memory: float, detuned: float, averaged: float) -> float:
    """Largest stable bandwidth of a current limit [Hz]: memory and averaging [s], detuning [rad/s].

    See the module's heading.
    """
    rate, c3 = 1.0 / memory, 1.0 + 2.0 * averaged / memory
    more = 2.0 * rate * averaged**2 * (rate**2 + detuned**2)
    return (c3 * 2.0 * rate + more) / (2.0 * pi * c3**2)


def limit_gain(machine: Machine, load: Load) -> LoopGain | None:
    """A drive's current limit on a load; None without one, or where the load never reaches it."""
    loop, voltage = machine.drive.loop, np.array([machine.supply.voltage])
    if loop is None or loop.current_limit is None:
        return None
    bare = machine.resonance(load.inductance)
    inductance, resistance = np.array([load.inductance]), np.array([load.resistance])
    envelope = Envelope.of(machine, inductance, resistance, voltage, bare)

    def current(f: float) -> float:
        return envelope.seen(0, envelope.settled(0, f), f).current

    low, high = bare, 1.5 * bare
    if current(low) <= loop.current_limit:
        return None
    for _ in range(50):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if current(middle) > loop.current_limit else (low, middle)
    step = 1e-5 * low
    slope = (current(low - step) - current(low + step)) / (2.0 * step)
    memory = memory_time(plant_from_machine(machine, load))
    band = float(loop.limit_rate or 0.0) * slope / (loop.current_limit * SOFT) / (2.0 * pi)
    most = averaged_limit(memory, 2.0 * pi * (low - bare), MEAN / low)
    return LoopGain(low, band, most, memory, slope)
