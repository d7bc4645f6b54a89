"""For each element of the circuit: what limits it, or why nothing does.

A test walks the decks of every topology and refuses an element that stands in no line here.
"""

import re

ELEMENTS: tuple[tuple[str, tuple[str, ...], str], ...] = (
    (r"brec", ("mains_current_rms", "rectifier_current", "rectifier_surge"), ""),
    (r"vsup|rsup", ("mains_current_rms", "supply_current"), ""),
    (r"bfo|vfo", ("inrush_melting", "supply_current"), ""),
    (r"blo|vlo|rllink", (), "the contact of a fault, there only to open"),
    (r"clink|rclink|lclink", ("link_ripple_current", "link_voltage_peak"), ""),
    (r"cfilm|rcfilm|lcfilm", ("film_current_rms", "film_voltage_peak"), ""),
    (r"lbus|lloop", (), "bars and tracks: their heating is not modelled, their inductance shows as "
     "the drain voltage's overshoot"),
    (r"rlbus|rlloop|rld|rlcs|rlsp", (), "stands for losses of a stray inductance, no part"),
    (r"rs[1-4]|rw[dgsk]", (), "where the deck reads a current, no part"),
    (r"xq[1-4]|xm|m1", ("drain_voltage_peak", "channel_current_peak", "drain_current_rms",
                     "junction_peak", "junction_held", "avalanche_energy"), ""),
    (r"rdio|rsd|djn|gjn|gqm|cqm|rqm|bda", ("recovery_di_dt", "recovery_dv_dt"), ""),
    (r"djk|rm|gqb|cqb|rqb|rb|bb|bw", ("switched_current_peak", "short_circuit_time",
                                   "junction_peak"), ""),
    (r"dbv|rbv|bbv", ("drain_voltage_peak", "avalanche_energy"), ""),
    (r"ld|lcs|lsp", ("drain_current_rms",), ""),
    (r"rgi", ("gate_voltage_peak", "gate_lift"), ""),
    (r"rsn\w", ("snubber_power",), ""),
    (r"csn\w", ("snubber_voltage_peak",), ""),
    (r"csp[hl]|rsp[hl]", ("split_current_rms", "split_voltage_peak"), ""),
    (r"bre\w|vre", (), "holds the bridge's nodes where equal leakage does, before a start"),
    (r"rret", (), "the half bridge's return wire: a milliohm by which the deck reads its current"),
    (r"cblk", ("blocking_current_rms", "blocking_voltage_peak", "blocking_dv_dt"), ""),
    (r"rpri|lleak", ("primary_current_rms", "primary_current_density", "winding_temperature"), ""),
    (r"lsec|rsec", ("secondary_current_rms", "secondary_current_density"), ""),
    (r"lmag|kmt|clam|glam|bsat", ("flux_peak", "core_loss_density", "core_temperature"), ""),
    (r"ctank|rctank|ctf|rtf", ("can_voltage_rms", "can_current_rms", "can_temperature"), ""),
    (r"bto|vto|bgo\d|vgo\d|bef|vef|vdp", (), "the contact of a fault, there only to open or close"),
    (r"lmat|rmat", ("matching_current_rms",), ""),
    (r"bcoil|brc|cfl|gfl|vlx|vrx", ("coil_current_rms", "coil_wall_temperature", "coil_loss"), ""),
    (r"vg\d|vo\d|bdr\d", ("driver_power", "driver_current_peak"), ""),
    (r"cgt\d|rgt\d|lgl\d|lgp\d|lgs\d|kgt\d", ("gate_volt_seconds",), ""),
    (r"rg\d|doff\d|roff\d", ("driver_current_peak",), ""),
    (r"lg\d", (), "the gate's wires: no heat to speak of, their ringing shows in the gate voltage"),
    (r"b(sg|st|yy|gu|gl|om|fe|si|de|ct|pd|ev|df|lp|ov|ow|g\d|o\d)|c(yy|om|ev|df|lp)|vsp", (),
     "the drive's oscillator and its loop: a few milliwatts of logic"),
    (r"rbl\d", (), "a bleed resistor of kilo-ohms at the gate's volts: milliwatts"),
)  # fmt: skip
"""Pattern of the element's name, quantities that judge it or print its figure, or a reason."""


def limits_of(element: str) -> tuple[tuple[str, ...], str]:
    """Quantities of an element by its name in a deck, or why there are none.

    Errors: LookupError for an element nobody thought of.
    """
    for pattern, quantities, reason in ELEMENTS:
        if re.fullmatch(pattern, element):
            return quantities, reason
    raise LookupError(f"the element {element} has neither a limit nor a reason for none")
