"""Names of the judged quantities in the words of the bench, and why each one matters."""

from dataclasses import dataclass


@dataclass(frozen=True)
class QuantityText:
    """Words for one quantity."""

    title: str
    """Follows the part's name: "Q2: drain-source voltage, peak"."""
    why: str
    """Why it destroys."""
    how: str
    """How it is computed."""
    scope: str
    """Where to see it."""
    change: str
    """What to change."""


QUANTITIES: dict[str, QuantityText] = {
    "drain_voltage_peak": QuantityText(
        "drain-source voltage, peak",
        "Beyond the rating the chip avalanches; its energy rating is soon used up.",
        "Largest voltage between drain and source at the chip, inside the leads.",
        "Probe across drain and source with the shortest ground spring; the leads hide a little.",
        "Shorter loop to the film capacitor, a snubber, a larger gate resistor, a higher rating.",
    ),
    "channel_current_peak": QuantityText(
        "channel current, peak",
        "Beyond the pulsed rating bond wires and metal melt before any fuse notices.",
        "Largest current through the channel, without body diode and output capacitance.",
        "Current transformer in the primary lead; spikes at the edges need a probe in the drain.",
        "More turns on the primary, more distance from resonance, a faster current trip.",
    ),
    "drain_current_rms": QuantityText(
        "drain current, rms",
        "Heats chip and bond wires steadily.",
        "Root mean square of the drain lead's current over a cycle, largest cycle.",
        "Current transformer in the primary lead; each switch carries half of its square.",
        "More turns on the primary, more distance from resonance, a larger part.",
    ),
    "gate_voltage_peak": QuantityText(
        "gate-source voltage, peak",
        "Beyond the rating the gate oxide breaks down, sometimes hours later.",
        "Largest magnitude at the chip, inside the internal gate resistor.",
        "Differential probe at gate and source leads, shortest loop; expect less ringing inside.",
        "Shorter gate leads, a larger gate resistor, clamp diodes, a lower drive voltage.",
    ),
    "gate_lift": QuantityText(
        "gate voltage while it should be off",
        "Lifted over the threshold, both switches of a leg conduct: a short circuit of the link.",
        "Largest gate voltage of the outgoing switch while the other one turns on.",
        "Gate of the off switch while the bridge node swings: a bump that must stay low.",
        "Lower turn-off resistance, slower turn-on, negative off voltage, shorter source lead.",
    ),
    "recovery_di_dt": QuantityText(
        "body-diode recovery di/dt",
        "A diode forced off faster than rated can turn the parasitic transistor on: it latches.",
        "Slope of the diode current from half its forward value to zero, worst recovery.",
        "Needs a drain current probe; the step in the primary current betrays it.",
        "Stay above resonance; larger turn-on gate resistor; a part with a faster body diode.",
    ),
    "recovery_dv_dt": QuantityText(
        "body-diode recovery dv/dt",
        "A fast climb while charge is stored turns the parasitic transistor on: it latches.",
        "Steepest climb over a fifth of the link voltage while the diode recovers.",
        "Bridge node at 20 ns per division: a near-vertical edge with a spike on top.",
        "Stay above resonance; larger turn-on gate resistor; a snubber; a faster body diode.",
    ),
    "junction_peak": QuantityText(
        "junction temperature in the event",
        "Beyond the rating the chip fails at once or ages fast.",
        "Loss per cycle through the data sheet's transient impedance, case, pad and heatsink.",
        "Not visible; the case lags by seconds.",
        "Whatever lowers the loss: see the recovery and current figures.",
    ),
    "junction_held": QuantityText(
        "junction temperature if the last state is held",
        "The state after the event goes on until somebody notices.",
        "Loss of the last cycles kept up for the hold time, through chip, case, pad and heatsink.",
        "A case thermometer that climbs by degrees a second says stop.",
        "Whatever lowers the loss; a trip on phase or current.",
    ),
    "can_voltage_rms": QuantityText(
        "voltage, rms",
        "Corona and dielectric heating puncture the film.",
        "Root mean square over a cycle across the bank, largest cycle.",
        "Divider across the bank: the peak is 1.41 times as much.",
        "More distance from resonance, strings of two in series, cans for higher voltage.",
    ),
    "can_current_rms": QuantityText(
        "current, rms",
        "Heats film and end sprays; cans swell and burst.",
        "Bank current over the number of cans, root mean square over a cycle, largest cycle.",
        "Clamp around one can's lead, or coil current over the number of cans.",
        "More cans, wider spread of the current, water-cooled bars.",
    ),
    "flux_peak": QuantityText(
        "flux density",
        "A saturated core is a short circuit for the bridge.",
        "Magnetising inductance times current over turns and core area.",
        "Primary current with the tank open: triangles are well, spikes at their tips are not.",
        "More primary turns, a larger core, equal on-times, a blocking capacitor.",
    ),
    "supply_current": QuantityText(
        "current",
        "Trips the fuse, overheats rectifier and wiring.",
        "Average over a cycle out of the source, largest cycle.",
        "Meter in the supply lead.",
        "More primary turns, more distance from resonance.",
    ),
    "junction_later": QuantityText(
        "junction temperature after minutes",
        "Heatsinks take minutes to show that they are too small, or that their fan stands.",
        "As if held: losses of the circuit run standing still, into chip, case, pad and heatsink.",
        "A thermometer on the heatsink near the hottest switch.",
        "A larger heatsink, a fan that is watched, less loss; a thermal switch on the heatsink.",
    ),
    "water_temperature": QuantityText(
        "temperature of the cooling water",
        "Boiling water no longer cools: the tube softens, the hose comes off.",
        "Loss in the coil's copper into water and tube, evenly warm, less what the flow takes out.",
        "A thermometer at the outlet; a flow switch says it sooner.",
        "A flow switch that stops the drive, a larger pump, a wider tube.",
    ),
    "charging_current": QuantityText(
        "charging current, mean of a half period",
        "Trips the fuse and wears rectifier and relay contacts.",
        "Link charging through its limiter from the rectified mains, worst half period.",
        "Current clamp around the mains lead at switch-on.",
        "A larger charging resistor, a smaller lamp, a smaller link capacitor.",
    ),
    "charging_peak": QuantityText(
        "charging current, peak",
        "A single surge beyond the rating breaks the rectifier's diodes.",
        "Link charging through its limiter, switched on at the peak of the mains.",
        "Current clamp around the mains lead at switch-on.",
        "A charging resistor or lamp; a rectifier for a larger surge.",
    ),
}
