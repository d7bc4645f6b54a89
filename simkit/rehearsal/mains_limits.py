"""The mains' side of a rehearsal: plug, rectifier, fuse, precharge, ripple of the link.

Marched from the power of the settled state and of the last (`parts.mains`). A march that does not
come to rest gives no figure: what has a rating is then not evaluated, never passed.
"""

from collections.abc import Iterator
from math import nan

import numpy as np

from simkit.measure.point import OperatingPoint
from simkit.parameters.machine import Machine
from simkit.parameters.supply import PrechargePath, Rectifier
from simkit.parts.mains import Drawn, Inrush, Line, drawn, held_current, inrush
from simkit.parts.precharge import ROOM, lamp_from_rating, lamp_resistance
from simkit.parts.supply import stored_energy
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.part_figure import PartFigure, rating_of

MARCHED = 0.01
"""Error of a march of the mains, as a share [1]: steps of 1/800 of a ripple period (tests)."""


def line_of(machine: Machine, rectifier: Rectifier, share: float = 1.0) -> Line:
    """The mains' side of a machine; the film capacitor lies across the link, and counts where that
    is small. `share`: of the mains' voltage, where it stands lower or higher [1]."""
    supply = machine.supply
    return Line(
        share * rectifier.mains_voltage, rectifier.mains_frequency, rectifier.line_resistance,
        rectifier.line_inductance or 0.0, rectifier.diode_drop,
        supply.link.capacitance + supply.film.capacitance,
        rectifier.phases or 1,
    )  # fmt: skip


def drawn_at(
    machine: Machine, rectifier: Rectifier, point: OperatingPoint, share: float = 1.0
) -> Drawn | None:
    """What a share [1] of the mains gives at an operating point; None where it takes no power."""
    if not point.input_power_w > 0.0:
        return None
    return drawn(line_of(machine, rectifier, share), point.input_power_w, point.supply_voltage_v)


def mains_states(rehearsal: Rehearsal, softer: float = 0.0) -> dict[str, Drawn | None] | None:
    """What the mains gives before the events and after them; None without a rectifier.

    Where the scenario has the supply at another voltage than the machine's, the mains stands at
    that share of its own, as behind a variable transformer or in a sag: the whole of it would drive
    far more than the link's current through the same bridge. `softer`: added to the line [ohm].
    """
    machine, voltage = rehearsal.machine, rehearsal.line.voltage
    rectifier = machine.supply.rectifier
    if rectifier is None:
        return None
    line = rectifier.line_resistance + softer
    used = rectifier.model_copy(update={"line_resistance": line})
    states = {"before": (rehearsal.before, voltage.first),
              "after": (rehearsal.after, voltage.at(rehearsal.line.end))}  # fmt: skip
    return {
        name: drawn_at(machine, used, point, volts / machine.supply.voltage)
        for name, (point, volts) in states.items()
    }


def over_the_mains(rehearsal: Rehearsal) -> float:
    """Mean power of the last state over the mains' period, over that at the link's crest [1].

    1 without a rectifier, and where the march does not come to rest.
    """
    found = (mains_states(rehearsal) or {}).get("after")
    if found is None or not found.settled:
        return 1.0
    return found.power / rehearsal.after.input_power_w


def mains_figures(rehearsal: Rehearsal, fast: float, share: float) -> Iterator[PartFigure]:
    """Figures of mains and link; `fast`: the bridge's part of the ripple current [A rms].

    `share`: numerical error of the machine's currents, as a share [1]. Without a rectifier a bench
    supply holds the link, and the bridge's part is all of the ripple.
    """
    machine, rectifier = rehearsal.machine, rehearsal.machine.supply.rectifier
    if rectifier is None:
        yield _ripple_current(machine, 0.0, fast, 2.0 * share)
        return
    found = [p for p in (mains_states(rehearsal) or {}).values() if p is not None]
    # The pulses meet the link's ESR too, which the march leaves out.
    meeting = mains_states(rehearsal, machine.supply.link.esr) or {}
    damped = [p for p in meeting.values() if p is not None]
    error = MARCHED + 2.0 * share
    rms, mean, slow = (
        _worst(found, name) for name in ("rms", "dc", "capacitor_rms")
    )  # fmt: skip
    diode = mean / (2.0 if (rectifier.phases or 1) == 1 else 3.0)
    for part, name, value, field in (
        ("mains", "mains_current_rms", rms, "mains_current"),
        ("rectifier", "rectifier_current", diode, "diode_current"),
    ):
        key = f"ratings.rectifier.{field}"
        rated = rating_of(machine.ratings, key)
        below = max(rms - _worst(damped, "rms"), 0.0) if name == "mains_current_rms" else 0.0
        yield PartFigure(part, name, "A", value, error * value, key, rated, below=below)
    yield _ripple_current(machine, slow, fast, error)
    yield from _start_figures(machine, rectifier)


def _worst(found: list[Drawn], name: str) -> float:
    """The larger of both states; no number where one of them did not come to rest."""
    if not all(p.settled for p in found):
        return nan
    return max((float(getattr(p, name)) for p in found), default=0.0)


def _ripple_current(machine: Machine, slow: float, fast: float, error: float) -> PartFigure:
    """Ripple at both frequencies as one at the mains'; without a factor both count alike."""
    factor = rating_of(machine.ratings, "ratings.link.frequency_factor") or 1.0
    value = float(np.hypot(slow, fast / factor))
    key = "ratings.link.ripple_current"
    return PartFigure(
        "link capacitor", "link_ripple_current", "A", value, error * value, key,
        rating_of(machine.ratings, key), machine.limits.derating.capacitor,
    )  # fmt: skip


def surges(machine: Machine, rectifier: Rectifier) -> tuple[Inrush, ...]:
    """Switching on, and with a precharge what still flows when its relay closes.

    A lamp counts cold, as it is at its first peak; its own course stands in the scenario's
    precharge and in `simkit check`.
    """
    line, esr, path = line_of(machine, rectifier), machine.supply.link.esr, rectifier.precharge
    if path is None:
        return (inrush(line, esr),)
    return inrush(line, charging_resistance(path) + esr), inrush(line, esr, path.close_share)


def charging_resistance(path: PrechargePath) -> float:
    """Of the resistor, or of the cold lamp [ohm]."""
    if path.resistor is not None:
        return path.resistor
    assert path.lamp_voltage is not None
    assert path.lamp_power is not None
    return lamp_resistance(lamp_from_rating(path.lamp_voltage, path.lamp_power), ROOM)


def switched_on(machine: Machine) -> float:
    """How high the link swings when it is switched on or its relay closes [V]: over the crest with
    a choke."""
    rectifier = machine.supply.rectifier
    found = surges(machine, rectifier) if rectifier is not None else ()
    return max((surge.highest for surge in found), default=0.0)


def _start_figures(machine: Machine, rectifier: Rectifier) -> Iterator[PartFigure]:
    """What switching on does, the worse of first surge and closing relay."""
    found, path = surges(machine, rectifier), rectifier.precharge
    melting, peak = max(s.melting for s in found), max(s.peak for s in found)
    key = "ratings.rectifier.melting"
    yield PartFigure(
        "fuse", "inrush_melting", "A^2*s", melting, 2.0 * MARCHED * melting, key,
        rating_of(machine.ratings, key),
    )  # fmt: skip
    yield PartFigure(
        "rectifier", "rectifier_surge", "A", peak, MARCHED * peak,
        "supply.rectifier.surge_current", rectifier.surge_current,
    )  # fmt: skip
    if rectifier.bleeder is not None:
        key, heat = "ratings.rectifier.bleeder_power", machine.supply.voltage**2 / rectifier.bleeder
        yield PartFigure(
            "bleeder", "bleeder_power", "W", heat, 0.0, key, rating_of(machine.ratings, key)
        )
    if path and path.resistor is not None:
        yield _precharge_energy(machine, rectifier, path)


def _precharge_energy(machine: Machine, rectifier: Rectifier, path: PrechargePath) -> PartFigure:
    """Heat of one charge; none where a bleeder holds the link below what closes the relay."""
    line, key = line_of(machine, rectifier), "ratings.rectifier.precharge_energy"
    energy, note = stored_energy(machine.supply.link.capacitance, machine.supply.voltage), ""
    wanted = path.close_share * line.rectified(0.0)
    given = held_current(line, rectifier.line_resistance + charging_resistance(path), wanted)
    if rectifier.bleeder is not None and given <= wanted / rectifier.bleeder:
        energy = nan
        note = (
            f"the bleeder keeps the link below {path.close_share:.0%} of the crest, at which the "
            "relay closes: the resistor carries current for good"
        )
    return PartFigure(
        "precharge resistor", "precharge_energy", "J", energy, 0.0, key,
        rating_of(machine.ratings, key), note=note,
    )  # fmt: skip
