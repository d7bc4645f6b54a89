"""Parts around the switches: what is judged on each, a line a figure, held against `[ratings]`.

The figures are worked out after the runs (`rehearsal/part_limits.py`), which also says what has no
rating; so none has a limit of its own here.

Fields in order: name, title, what it is, why it destroys, how it comes about, where to see it, what
to change, keys of the machine file that move it most.
"""

from simkit.figures.record import Figure, Words

LOADS = "simkit/measure/part_loads.py"
MARCH = "simkit/rehearsal/part_limits.py"
BODIES = "simkit/rehearsal/slow_parts.py"
MAINS = "simkit/rehearsal/mains_limits.py"
CLAMP = "Clamp or current transformer around the part's lead."
PROBE = "Probe across the part's leads."

ROWS: tuple[tuple[str, str, str, str, str, str, str, str, tuple[str, ...]], ...] = (
    ("film_current_rms", "current, rms",
     "The bridge's pulses that the film capacitor takes off the link.",
     "Heats the film until it softens; short legs and long loops make it worse.",
     "sqrt(mean of i_C^2), its mean left out", LOADS, CLAMP,
     "More film capacitors in parallel, near the bridge.",
     ("supply.film.capacitance", "ratings.film.current")),
    ("film_voltage_peak", "voltage, peak",
     "The largest voltage across the film capacitor, ripple included.",
     "Beyond the rating the film is punctured.", "max of |v_film|", LOADS, PROBE,
     "A higher rating.", ("supply.voltage", "ratings.film.voltage")),
    ("link_ripple_current", "ripple current, rms",
     "The heating value of what flows in and out of the electrolytic capacitors.",
     "Heats the electrolyte; ten kelvin more halve the life (common practice, no source).",
     "sqrt(I_mains^2 + (I_bridge/k)^2), k the data sheet's factor for high frequency", MAINS, CLAMP,
     "More cans, a larger film capacitor, a choke.",
     ("supply.link.capacitance", "ratings.link.ripple_current", "ratings.link.frequency_factor")),
    ("link_voltage_peak", "voltage, peak",
     "The largest voltage across the link's capacitors, in the run or switched on empty.",
     "Electrolytic capacitors leak above their rating, heat and vent.",
     "max of |v_link|; a choke lets the empty link swing beyond the crest", LOADS,
     PROBE, "A higher rating, no oscillation between link and film capacitor.",
     ("supply.voltage", "ratings.link.voltage")),
    ("split_current_rms", "current, rms", "Half of the primary current in each midpoint capacitor.",
     "Heats the film.", "sqrt(mean of i^2) of the worse one", LOADS, CLAMP,
     "More capacitors in parallel.", ("bridge.split_capacitance", "ratings.split.current")),
    ("split_voltage_peak", "voltage, peak", "The largest voltage of a midpoint capacitor.",
     "A midpoint that drifts puts nearly the whole link on one of them.", "max of |v|", LOADS,
     PROBE, "Balancing resistors, a higher rating.", ("supply.voltage", "ratings.split.voltage")),
    ("blocking_current_rms", "current, rms", "The whole primary current.", "Heats the film.",
     "sqrt(mean of i_primary^2)", LOADS, CLAMP, "More capacitors in parallel.",
     ("transformer.blocking_capacitance", "ratings.blocking.current")),
    ("blocking_voltage_peak", "voltage, peak", "AC and the DC that it blocks.",
     "Unequal halves load it with DC; too small a capacitor swings.", "max of |v|", LOADS, PROBE,
     "A larger capacitance, equal halves.",
     ("transformer.blocking_capacitance", "ratings.blocking.voltage")),
    ("blocking_dv_dt", "dv/dt", "How fast the blocking capacitor's voltage changes.",
     "Beyond it the end sprays burn off.", "max of |i_primary|/C", LOADS, PROBE,
     "A larger capacitance.", ("transformer.blocking_capacitance", "ratings.blocking.dv_dt")),
    ("snubber_power", "power", "Heat in one snubber's resistor.", "The resistor burns.",
     "mean of v_R^2/R, worst snubber", LOADS, PROBE, "A smaller capacitor, a larger resistor.",
     ("bridge.snubber.capacitance", "ratings.snubber.power")),
    ("snubber_voltage_peak", "voltage, peak", "The largest voltage of a snubber's capacitor.",
     "Beyond the rating the film is punctured.", "max of |v_C|", LOADS, PROBE, "A higher rating.",
     ("bridge.snubber.resistance", "ratings.snubber.voltage")),
    ("primary_current_rms", "current, rms", "What heats the primary winding and its leads.",
     "Varnish chars, turns short.", "sqrt(mean of i^2)", LOADS, CLAMP, "More copper, more turns.",
     ("transformer.primary_turns", "ratings.primary_current")),
    ("secondary_current_rms", "current, rms", "What heats the secondary and its joints.",
     "Solder joints melt first.", "sqrt(mean of i^2)", LOADS, CLAMP, "More copper, water.",
     ("transformer.primary_turns", "ratings.secondary_current")),
    ("primary_current_density", "current density", "Current over the primary's copper.",
     "Heats the winding from inside, where nothing cools it.", "I rms over copper section", MARCH,
     CLAMP, "More copper, forced air.",
     ("transformer.primary.strands", "transformer.primary.current_density")),
    ("secondary_current_density", "current density", "Current over the secondary's copper.",
     "Heats the winding from inside, where nothing cools it.", "I rms over copper section", MARCH,
     CLAMP, "More copper, water.",
     ("transformer.secondary.strands", "transformer.secondary.current_density")),
    ("matching_current_rms", "current, rms", "The whole secondary current.",
     "Heats winding and core of the matching inductor.", "sqrt(mean of i^2)", LOADS, CLAMP,
     "More copper, more turns.", ("tank.matching.inductance", "ratings.matching_current")),
    ("coil_current_rms", "current, rms", "What coil, joints and leads carry.",
     "Joints melt where the water does not reach.", "sqrt(mean of i^2)", LOADS, CLAMP,
     "Thicker tube, water through the joints.", ("tank.cans", "ratings.coil_current")),
    ("coil_wall_temperature", "temperature of the tube's wall",
     "The tube's inside at the water's outlet.",
     "Steam on the wall no longer cools: the tube softens.",
     "T_in + P/(rho c q) + P/(alpha A)", BODIES, "Thermometer at the outlet; the wall is hotter.",
     "More flow, a wider tube, two circuits.", ("cooling.water.flow", "cooling.water.bore")),
    ("coil_loss", "loss in the copper", "Heat in the coil's own copper.",
     "Without water the copper glows within a minute.", "I rms^2 R of the empty coil", MARCH, CLAMP,
     "Water.", ("cooling.water.flow",)),
    ("core_loss_density", "loss density", "Heat in each volume of the core.",
     "Ferrite loses more above its best temperature and runs away.",
     "improved generalised Steinmetz, square voltage", MARCH, "Hand on the core, power off.",
     "More turns, a larger core.", ("transformer.core_loss.k", "ratings.core.loss_density")),
    ("core_temperature", "hot spot", "The hottest place of the core after a long time.",
     "Beyond its best temperature it loses ever more and saturates earlier.",
     "T_a + P_core R_th", BODIES, "Thermometer on the core.", "More turns, air.",
     ("ratings.core.thermal_resistance", "ratings.core.temperature")),
    ("can_temperature", "hot spot", "The hottest place of the most loaded can after a long time.",
     "Film softens, loses more and shorts.", "T_a + I_can^2 ESR(f) R_th, uneven sharing by the bus",
     BODIES, "Hand on the cans, power off.", "More cans, a lower frequency, air.",
     ("tank.cans", "tank.can.thermal_resistance", "tank.can.allowed_rise")),
    ("winding_temperature", "hot spot", "The transformer's windings after a long time.",
     "Varnish chars, turns short.", "T_a + (R_1 I_1^2 + R_2 I_2^2) R_th", BODIES,
     "Thermometer in the winding.", "More copper, air.",
     ("ratings.winding.thermal_resistance", "ratings.winding.temperature")),
    ("driver_power", "power", "What one driver spends on its gate.",
     "The driver's package overheats.", "Q_g dV f", MARCH, "Current of the driver's supply.",
     "A stronger driver, a smaller switch, a lower frequency.",
     ("drive.frequency_max", "ratings.driver.power")),
    ("driver_current_peak", "current, peak", "The first current of a gate's edge.",
     "Beyond it the driver's output wears or latches.", "series R, L, C of the gate loop", MARCH,
     "Voltage over the gate resistor.", "A larger gate resistor, a stronger driver.",
     ("drive.gate_resistor", "ratings.driver.current")),
    ("gate_volt_seconds", "volt-seconds", "What the gate transformer's core has to bear.",
     "A saturated gate transformer leaves the gate without drive.", "(V_on - V_off)/(2 f)", MARCH,
     "Gate voltage: it droops before the edge.", "A larger core, more turns.",
     ("drive.frequency_min", "ratings.driver.volt_seconds")),
    ("avalanche_energy", "avalanche energy in a cycle",
     "Energy that a chip takes while it clamps the voltage itself.",
     "Beyond the rating the chip melts at one spot.", "integral of v_DS i_D at breakdown", MARCH,
     "Flat top of the drain-source voltage.", "Shorter loop, a snubber, a higher rating.",
     ("bridge.loop_inductance", "switch.ratings.avalanche_energy")),
    ("mains_current_rms", "current, rms", "What plug, breaker and wires of the mains carry.",
     "The current comes in pulses: far more rms than the link's mean tells. It trips or burns.",
     "rectifier, line and link stepped over time", MAINS, "Clamp meter for true rms.",
     "Less power, a choke, power factor correction, three phases.",
     ("supply.rectifier.line_resistance", "ratings.rectifier.mains_current")),
    ("rectifier_current", "current of a diode, mean", "What heats each diode of the rectifier.",
     "The bridge rectifier overheats.", "half of the link's mean current (a third of it with three "
     "phases)", MAINS, "Meter in the link's lead.", "A larger rectifier, a heatsink.",
     ("supply.rectifier.line_resistance", "ratings.rectifier.diode_current")),
    ("rectifier_surge", "surge, peak",
     "The first peak of the current into the empty link, or when the precharge's relay closes.",
     "A single surge beyond the rating breaks the rectifier's diodes.",
     "line, choke and precharge resistor stepped over time", MAINS,
     "Current clamp and scope, single shot.", "A precharge resistor or lamp.",
     ("supply.rectifier.line_resistance", "supply.rectifier.surge_current")),
    ("inrush_melting", "i squared t of the inrush", "What switching on does to a fuse.",
     "The fuse blows or ages at each start.", "integral of i^2 of that surge", MAINS,
     "Current clamp and scope, single shot.", "A precharge resistor, a slow fuse.",
     ("supply.link.capacitance", "ratings.rectifier.melting")),
    ("precharge_energy", "energy of one charge", "Heat in the charging resistor.",
     "A resistor that is not made for pulses opens.", "C V^2/2", MAINS, "Not visible but once.",
     "A pulse-proof resistor, a lamp.",
     ("supply.link.capacitance", "ratings.rectifier.precharge_energy")),
    ("bleeder_power", "power", "Heat in the resistor that empties the link, as long as it is on.",
     "A bleeder that burns off leaves the charge where nobody expects it.", "V^2/R at the link's "
     "highest", MAINS, "Hand near it, power off and link empty.",
     "A larger resistance, two in series.",
     ("supply.rectifier.bleeder", "ratings.rectifier.bleeder_power")),
)  # fmt: skip

WHOSE = {
    "film": ("film capacitor", "A"), "link": ("link capacitor", "A"),
    "split": ("split capacitor", "A"), "blocking": ("blocking capacitor", "A"),
    "snubber": ("snubber", "W"), "primary": ("primary winding", "A"),
    "secondary": ("secondary winding", "A"), "matching": ("matching inductor", "A"),
    "can": ("tank capacitor", "degC"), "winding": ("windings", "degC"),
    "coil": ("coil", "A"), "core": ("core", "W/m^3"), "driver": ("gate driver", "W"),
    "gate": ("gate transformer", "V*s"), "avalanche": ("switches", "J"), "mains": ("mains", "A"),
    "rectifier": ("rectifier", "A"), "inrush": ("fuse", "A^2*s"),
    "precharge": ("precharge resistor", "J"), "bleeder": ("bleeder", "W"),
}  # fmt: skip
"""Part and unit by the first word of a figure's name."""
UNITS = (
    ("voltage_peak", "V"), ("dv_dt", "V/s"), ("density", "A/m^2"), ("temperature", "degC"),
    ("loss", "W"), ("current_peak", "A"),
)  # fmt: skip
"""Unit by what a name ends in, where it is not that of the part's first figure."""


def _unit(name: str) -> str:
    if name == "core_loss_density":
        return "W/m^3"
    return next((u for end, u in UNITS if name.endswith(end)), WHOSE[name.split("_")[0]][1])


FIGURES = tuple(
    Figure(
        name=name,
        part=WHOSE[name.split("_")[0]][0],
        unit=_unit(name),
        words=Words(title, what, why, f"{how[0].upper()}{how[1:]}.", how, scope, change, fields),
        place=place,
        limit=None,
    )
    for name, title, what, why, how, place, scope, change, fields in ROWS
)
