"""Wiring mistakes: a gate lead open, a winding reversed, a driver without supply, and so on."""

from simkit.parameters.machine import Machine
from simkit.studies.situations.base import Case, NotHere, Situation, draft, rounded

FLOATING = 1e8
"""Leakage resistance of a gate without bleed resistor [ohm]: a dirty board's, a design choice."""
LONG_LEAD = 15e-9
"""What a gate return taken at the far end of the power lead shares with it [H]: 15 mm of wire."""


def lead_open(machine: Machine) -> Case:
    """A gate lead comes off while its switch is on; the bleed resistor stays on the switch."""
    title = "Gate lead comes off while its switch is on"
    events = [{"kind": "gate-open", "switches": [1], "at": 0.0}]
    return draft(machine, "gate-lead-open", title=title, events=events)


def lead_open_off(machine: Machine) -> Case:
    """A gate lead comes off while its switch is off."""
    title = "Gate lead comes off while its switch is off"
    events = [{"kind": "gate-open", "switches": [2], "at": 0.0}]
    return draft(machine, "gate-lead-open-off", title=title, events=events)


def lead_floating(machine: Machine) -> Case:
    """The same without bleed resistor: the gate keeps its charge."""
    return draft(
        machine,
        "gate-lead-floating",
        title="One gate lead comes off, no bleed resistor",
        instead={"drive.bleed_resistor": FLOATING},
        events=[{"kind": "gate-open", "switches": [1], "at": 0.0}],
    )


def reversed_winding(machine: Machine) -> Case:
    """One gate winding the wrong way round: its switch is on in the other's half period."""
    events = [{"kind": "gate-reversed", "switches": [2], "at": 0.0}]
    title = "One gate winding reversed"
    return draft(machine, "gate-reversed", title=title, events=events)


def together(machine: Machine) -> Case:
    """Both switches of a leg are driven on for a microsecond."""
    events = [{"kind": "gates-together", "leg": "a", "at": 0.0, "duration": 1e-6}]
    title = "Both switches of a leg driven on for 1 us"
    return draft(machine, "gates-together", title=title, events=events)


def unpowered(machine: Machine) -> Case:
    """The drivers lose their supply while the bridge has its own."""
    title = "Drivers without supply, bridge powered"
    events = [{"kind": "driver-unpowered", "at": 0.0}]
    return draft(machine, "driver-unpowered", title=title, events=events)


def long_return(machine: Machine) -> Case:
    """The gate's return is taken at the far end of the source lead, inside the power path."""
    shared = rounded(machine.switch.package.common_source_inductance + LONG_LEAD)
    return draft(
        machine,
        "gate-return-in-power-path",
        title="Gate return taken from the power path",
        instead={"switch.package.common_source_inductance": shared},
    )


def flux_walks(machine: Machine) -> Case:
    """No blocking capacitor, and one half period longer than the other by a tenth of a dead time.

    Full bridge: both switches of one diagonal go off late.
    """
    if machine.bridge.form.far_end != "leg":
        raise NotHere("a half bridge blocks direct current with the capacitors it cannot lack")
    instead = {}
    if machine.transformer.blocking_capacitance is not None:
        instead["transformer.blocking_capacitance"] = "absent"
    delay = rounded(0.25 * machine.drive.dead_time)
    return draft(
        machine,
        "flux-walks",
        title="No blocking capacitor, unequal half periods",
        instead=instead,
        events=[{"kind": "turn-off-delay", "switches": [1, 4], "delay": delay, "at": 0.0}],
        tail=3e-4,
    )


def no_snubber(machine: Machine) -> Case:
    """The snubbers are left out."""
    if machine.bridge.snubber is None:
        raise NotHere("the machine has no snubber to leave out: its plain run is this situation")
    title = "Snubbers missing"
    return draft(machine, "snubber-missing", title=title, instead={"bridge.snubber": "absent"})


def half_turns(machine: Machine) -> Case:
    """Half the primary turns: a quarter of the inductances, four times the load's admittance."""
    transformer = machine.transformer
    turns = transformer.primary_turns // 2
    if turns < 1:
        raise NotHere("the matching transformer has a single primary turn")
    share = (turns / transformer.primary_turns) ** 2
    instead = {
        "transformer.primary_turns": turns,
        "transformer.magnetising_inductance": rounded(transformer.magnetising_inductance * share),
        "transformer.leakage_inductance": rounded(transformer.leakage_inductance * share),
    }
    title = "Matching transformer with half the primary turns"
    return draft(machine, "half-turns", title=title, instead=instead)


FAMILY = "wiring"
WIRING = (
    Situation(
        "gate-lead-open",
        FAMILY,
        "One gate lead open, bleed resistor in place",
        "The gate stays up until its bleed resistor has emptied it; meanwhile the other switch of "
        "the leg turns on against it.",
        lead_open,
    ),
    Situation(
        "gate-lead-open-off",
        FAMILY,
        "Gate lead of an off switch open, bleed resistor in place",
        "The gate comes off while it is down: the switch stays off but for what its "
        "drain lifts through C_rss, and the bridge loses a half period.",
        lead_open_off,
    ),
    Situation(
        "gate-lead-floating",
        FAMILY,
        "One gate lead open, gate floating",
        "Without bleed resistor the gate keeps its charge and follows the drain through C_rss.",
        lead_floating,
    ),
    Situation(
        "gate-reversed",
        FAMILY,
        "One gate winding reversed",
        "Both switches of the leg are on together in every half period: a short circuit of the "
        "link from the first one on.",
        reversed_winding,
    ),
    Situation(
        "gates-together",
        FAMILY,
        "Both switches of a leg driven together",
        "The link is shorted for as long as both are on; the current is what the channels let "
        "through.",
        together,
    ),
    Situation(
        "driver-unpowered",
        FAMILY,
        "Driver unpowered, bridge powered",
        "The gates hang on their bleed resistors: what was on stays on until they have emptied it.",
        unpowered,
    ),
    Situation(
        "gate-return-in-power-path",
        FAMILY,
        "Gate return lead in the power path",
        "What the drain current induces in the shared lead works against the gate: slower edges, "
        "more ringing.",
        long_return,
    ),
    Situation(
        "flux-walks",
        FAMILY,
        "Blocking capacitor missing, unequal dead times",
        "The core's flux walks by the difference of the half periods' volt-seconds, cycle by "
        "cycle, until it saturates.",
        flux_walks,
    ),
    Situation(
        "snubber-missing",
        FAMILY,
        "Snubber missing",
        "More overshoot and steeper edges where a snubber was needed.",
        no_snubber,
    ),
    Situation(
        "half-turns",
        FAMILY,
        "Transformer with half the turns",
        "Four times the current for the same voltage, and twice the flux.",
        half_turns,
    ),
)
