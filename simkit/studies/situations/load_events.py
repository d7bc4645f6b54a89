"""What happens to piece, coil and tank while the heater runs."""

from collections.abc import Mapping
from typing import Any

from simkit.parameters.machine import Machine
from simkit.studies.situations.base import (
    HAND,
    Case,
    NotHere,
    Situation,
    change_of_inductance,
    draft,
    lowering,
    main_load,
    raising,
    rounded,
)

SLOW = 0.1
"""Of a piece taken out with care [m/s]: a design choice."""
NEAR = 0.02
"""Drive above resonance where a pull-out is hardest on a careless builder [1]."""
OFF_AXIS = 0.15
"""By how much a piece beside the axis is coupled better: the field rises towards the winding [1];
a design choice, the machine file has no geometry of the field."""
STRETCHED, SQUEEZED = 0.8, 1.2
"""Inductance of the deformed coil over that of the sound one [1]; a design choice."""
TURNS, COUPLING = 5, 0.4
"""Of a coil of which the machine file says no more: a design choice."""
TOUCH = 5e-3
"""Resistance of the piece that bridges two turns [ohm]; a design choice."""
LOW = 100.0
"""Supply of a try-out with the coil empty [V]: common practice, no source."""
HIGH = 1.1
"""Supply over its nominal value at light load and high mains [1]: mains tolerance of 10 %."""

Step = Mapping[str, Any]


def _pulled(machine: Machine, name: str, title: str, tail: float = 3e-4, **how: Any) -> Case:
    events: list[Step] = [{"kind": "pull-out", "at": 0.0, **how}]
    return draft(machine, name, title=title, events=events, start={"margin": NEAR}, tail=tail)


def pull_slow(machine: Machine) -> Case:
    """Out with care, at a tenth of a hand's usual speed."""
    return _pulled(machine, "pull-out-slow", "Piece pulled out slowly, 0.1 m/s", speed=SLOW)


def pull_quick(machine: Machine) -> Case:
    """Shaken loose, out within two milliseconds: far quicker than a hand."""
    return _pulled(machine, "pull-out-quick", "Piece shaken loose, out in 2 ms", duration=2e-3)


def pull_partly(machine: Machine) -> Case:
    """Half-way out."""
    return _pulled(machine, "pull-out-partly", "Piece pulled half-way out", speed=HAND, share=0.5)


def pull_other(machine: Machine) -> Case:
    """A piece pulled out that changes L the other way than the machine's first piece does."""
    first = change_of_inductance(machine, machine.workpieces[main_load(machine)])
    piece = lowering(machine) if first > 0.0 else raising(machine)
    if piece is None:
        raise NotHere("all workpieces of this machine change the coil's inductance the same way")
    events: list[Step] = [{"kind": "pull-out", "at": 0.0, "speed": HAND}]
    return draft(
        machine, "pull-out-other-sign", title="Piece with the other effect on L pulled out",
        load=piece, events=events, start={"margin": NEAR}, tail=3e-4,
    )  # fmt: skip


def pull_tracked(machine: Machine) -> Case:
    """Out while the drive follows the resonance and stays as close to it."""
    events: list[Step] = [{"kind": "pull-out", "at": 0.0, "speed": HAND}]
    return draft(
        machine, "pull-out-tracked", title="Piece pulled out, drive follows the resonance",
        events=events, start={"margin": NEAR, "tracks": True}, tail=3e-4,
    )  # fmt: skip


def pull_high(machine: Machine) -> Case:
    """Out while the supply is high, as it is at light load."""
    voltage = min(HIGH * machine.supply.voltage, 1000.0)
    events: list[Step] = [{"kind": "pull-out", "at": 0.0, "speed": HAND}]
    return draft(
        machine, "pull-out-high-supply", title="Piece pulled out while the supply is 10 % high",
        events=events, start={"margin": NEAR, "supply_voltage": voltage}, tail=3e-4,
    )  # fmt: skip


def dropped_in(machine: Machine) -> Case:
    """Dropped in while the drive sits just above the empty coil's resonance, at low voltage: at
    full voltage the empty coil so near resonance would be over its limits before."""
    piece = lowering(machine) or main_load(machine)
    events: list[Step] = [{"kind": "drop-in", "load": piece, "at": 0.0, "speed": HAND}]
    return draft(
        machine, "piece-dropped-in", title="Piece dropped into the running coil", load="empty",
        events=events, start={"margin": NEAR, "supply_voltage": LOW}, tail=3e-4,
    )  # fmt: skip


def _coil(machine: Machine, name: str, title: str, inductance: float, resistance: float) -> Case:
    events: list[Step] = [
        {
            "kind": "coil",
            "inductance_factor": rounded(inductance),
            "resistance_factor": rounded(resistance),
            "at": 0.0,
            "duration": 1e-3,
        }
    ]
    return draft(machine, name, title=title, events=events)


def _beside(machine: Machine, more: float) -> tuple[float, float]:
    """Factors of L and R when the piece's effect on the coil grows by a share."""
    coil, piece = machine.coil, machine.load(main_load(machine))
    inductance = piece.inductance + more * (piece.inductance - coil.inductance)
    resistance = piece.resistance + more * (piece.resistance - coil.resistance)
    if inductance <= 0.05 * piece.inductance or resistance <= 0.0:
        raise NotHere("the piece fills the coil: no more of it could be coupled")
    return inductance / piece.inductance, resistance / piece.resistance


def off_axis(machine: Machine) -> Case:
    """The piece moves from the axis to the winding."""
    return _coil(machine, "off-axis", "Piece moved off the axis", *_beside(machine, OFF_AXIS))


def two_pieces(machine: Machine) -> Case:
    """A second piece like the first: what each does to the coil adds up."""
    return _coil(machine, "two-pieces", "Second piece beside the first", *_beside(machine, 1.0))


def stretched(machine: Machine) -> Case:
    """The coil pulled longer."""
    return _coil(machine, "coil-stretched", "Coil stretched", STRETCHED, 1.0)


def squeezed(machine: Machine) -> Case:
    """The coil pressed together."""
    return _coil(machine, "coil-squeezed", "Coil squeezed", SQUEEZED, 1.0)


def _shorted(machine: Machine, name: str, title: str, **contact: float) -> Case:
    step = {"kind": "shorted-turn", "turns": TURNS, "coupling": COUPLING, "at": 0.0}
    return draft(machine, name, title=title, events=[step | {"duration": 5e-5} | contact])


def shorted(machine: Machine) -> Case:
    """One turn of the coil touches the next."""
    return _shorted(machine, "shorted-turn", "One turn of the coil shorted")


def touching(machine: Machine) -> Case:
    """The piece bridges two turns."""
    return _shorted(machine, "piece-touches-coil", "Piece bridges two turns", resistance=TOUCH)


def can_opens(machine: Machine) -> Case:
    """One can of the bank fails open."""
    if machine.tank.cans < 2:
        raise NotHere("the bank is a single can: without it there is no tank")
    title = "Capacitor can fails open"
    events: list[Step] = [{"kind": "can-open", "cans": 1, "at": 0.0}]
    return draft(machine, "can-opens", title=title, events=events, tail=3e-4)


def clamp(machine: Machine) -> Case:
    """A clamp's connection grows by a third of the loaded coil's resistance."""
    more = float(f"{machine.load(main_load(machine)).resistance / 3.0:.3g}")
    step = {"kind": "clamp-resistance", "resistance": more, "at": 0.0, "duration": 1e-3}
    title = "Connection resistance grows at a clamp"
    return draft(machine, "clamp-resistance", title=title, events=[step])


FAMILY = "load events"
LOAD_EVENTS = tuple(
    Situation(name, FAMILY, title, expects, build)
    for name, title, expects, build in (
        ("pull-out-slow", "Piece pulled out slowly",
         "L and R change as with a quick pull, only later: speed hardly matters.", pull_slow),
        ("pull-out-quick", "Piece shaken loose",
         "Without the piece nothing holds the tank's current down at working power.", pull_quick),
        ("pull-out-partly", "Piece pulled half-way out", "Half the change.", pull_partly),
        ("pull-out-other-sign", "Piece with the other effect on L pulled out",
         "A piece that raised L lifts the resonance past the drive when it goes, one that lowered "
         "L lets it drop away below.", pull_other),
        ("pull-out-tracked", "Piece pulled out, drive follows the resonance",
         "Stays inductive and meets the fall of R head on: current grows as R falls.",
         pull_tracked),
        ("pull-out-high-supply", "Piece pulled out while the supply is high",
         "The same as at nominal supply, a tenth larger.", pull_high),
        ("piece-dropped-in", "Piece dropped in",
         "A piece that lowers L lifts the resonance past the drive.", dropped_in),
        ("off-axis", "Piece moved off-axis",
         "A little more of what the piece does anyway.", off_axis),
        ("two-pieces", "Two workpieces", "Twice the change of one piece.", two_pieces),
        ("coil-stretched", "Coil stretched",
         "Less inductance: the resonance climbs past the drive.", stretched),
        ("coil-squeezed", "Coil squeezed",
         "More inductance: the resonance falls, power with it.", squeezed),
        ("shorted-turn", "One turn shorted",
         "L falls by the coupling formula, the resonance climbs past the drive.", shorted),
        ("piece-touches-coil", "Workpiece touching the coil",
         "Bridges turns: like a shorted turn with some resistance; a burn mark.", touching),
        ("can-opens", "Capacitor can fails open",
         "Less capacitance: the resonance climbs by half its share; the other cans take over.",
         can_opens),
        ("clamp-resistance", "Connection resistance grows at a clamp",
         "Less current and power; the clamp turns its share into heat.", clamp),
    )
)  # fmt: skip
