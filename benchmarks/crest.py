"""Crest and trough of the link against a whole half period of the mains in one plain run.

    python -m benchmarks.crest                 all machines, benchmarks/crest.json anew
    python -m benchmarks.crest bar-heating     only these

simkit rehearses at the link's crest and, where its commutation differs, at its trough; the worse of
both is its answer. Here the plain program runs the same circuit through 10 ms behind a rectifier
written here (a sine's size, two diodes' drop, line and choke, one ideal diode), and every figure is
measured by the random machines' own measures, the worst of all drive cycles counting. The run
starts where a march written here has the link just before the diodes conduct. Temperatures are left
out: simkit holds the crest's losses, the mains' period has less.
"""

from __future__ import annotations

import json
import re
import sys
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from math import cos, pi, sqrt
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.random_machines.figures import cycle_means, figures, node
from benchmarks.random_machines.plain_run import PlainFailed, PlainRun, plain_run
from benchmarks.random_machines.reference import EASIER, facts_of, run_in, timeline_to
from simkit.circuit.analysis import Analysis
from simkit.circuit.netlist import Deck, machine_deck
from simkit.circuit.timeline import Timeline
from simkit.circuit.values import Seed
from simkit.data import scenario_folder
from simkit.measure.waveforms import Array
from simkit.parameters.instead import replaced
from simkit.parameters.machine import Machine
from simkit.parameters.supply import Rectifier
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.scouting import scouted
from simkit.rehearsal.start_flux import with_kick
from simkit.studies.inputs.loading import load_machine
from simkit.studies.situations.base import draft

RECORD = Path(__file__).with_name("crest.json")
MACHINES: dict[str, dict[str, Any]] = {
    "bar-heating": {},
    "chisel-brazing": {},
    "copper-casting": {"supply.link.capacitance": 100e-6},
}
"""Shipped machines, and what is changed in them; a small link for the casting furnace."""
PLAIN = Analysis(step=20e-9, reltol=1e-4, start_nodes=False)
MARCH = 1e-6
"""Step of the march that says where to begin [s]."""
PERIODS = 60
"""Half periods of the mains until it has settled [1]."""


@dataclass(frozen=True)
class Row:
    """One figure: simkit's answer with its errors, the plain run's worst, and the limit."""

    value: float
    error: float
    below: float
    """The error downward."""
    plain: float
    limit: float | None


@dataclass(frozen=True)
class Begin:
    """Where the plain run starts: moment of the mains after a crest [s], link [V], line [A]."""

    moment: float
    link: float
    line: float


def mains_at(rectifier: Rectifier, moment: float) -> float:
    """Behind two diodes that carry nothing [V]."""
    wave = abs(cos(2.0 * pi * rectifier.mains_frequency * moment))
    return sqrt(2.0) * rectifier.mains_voltage * wave - 2.0 * rectifier.diode_drop


def begin_of(machine: Machine, rectifier: Rectifier, resistance: float) -> Begin:
    """The settled link where its voltage is lowest before the diodes conduct; load in ohms."""
    half = 0.5 / rectifier.mains_frequency
    count = round(half / MARCH)
    volts, line, esr = machine.supply.voltage, 0.0, machine.supply.link.esr
    farad = machine.supply.link.capacitance + machine.supply.film.capacitance
    choke, ohms = rectifier.line_inductance or 0.0, rectifier.line_resistance
    found: list[Begin] = []
    for k in range(PERIODS * count):
        across = (volts + esr * line) / (1.0 + esr / resistance)
        gap = mains_at(rectifier, k * MARCH) - across
        line = (choke * line + MARCH * gap) / (choke + MARCH * ohms) if choke else gap / ohms
        line = max(line, 0.0)
        volts += MARCH * (line - across / resistance) / farad
        if k >= (PERIODS - 1) * count:
            found.append(Begin(k * MARCH % half, across, line))
    # Without a choke some 1 us steps of a small line resistance would swing: R C is far longer.
    return min(found, key=lambda b: (round(b.line, 2), b.link))


def at_the_link(seed: Seed, volts: float) -> Seed:
    """A settled state at another link voltage [V]: all goes with it."""
    share = volts / seed.link_voltage
    given = {k: v for k, v in asdict(seed).items() if isinstance(v, float)}
    return replace(seed, **{k: v * share for k, v in given.items()})


def deck_behind_the_mains(
    machine: Machine, rectifier: Rectifier, line: Timeline, begin: Begin, analysis: Analysis
) -> Deck:
    """The rehearsal's circuit for the whole span, its source a rectifier of our own."""
    part = line.stretch(-run_in(machine, line) / line.frequency.first, line.end)
    seed = at_the_link(scouted(machine, line).seed(part.begin), begin.link)
    deck = machine_deck(machine, part, with_kick(machine, part, part.begin, seed), analysis)
    omega = 2.0 * pi * rectifier.mains_frequency
    peak, drop = sqrt(2.0) * rectifier.mains_voltage, 2.0 * rectifier.diode_drop
    choke = rectifier.line_inductance or 0.0
    own = [
        f"bmains mr 0 v={peak:.9g}*abs(cos({omega:.12g}*(time+{begin.moment:.9g})))-{drop:.6g}",
        f"rline mr ml {rectifier.line_resistance:.9g}",
        f"lline ml mk {choke:.9g} ic={begin.line:.6g}" if choke else "rnone ml mk 1e-6",
        ".model oneway d(is=1e-6 n=0.2 rs=1e-3 cjo=1e-10)",
        "dline mk sup oneway",
        "rsup sup link 1e-3",
    ]
    text = re.sub(r"^vsup .*\nrsup .*$", "\n".join(own), deck.text, count=1, flags=re.M)
    if "bmains" not in text:
        raise ValueError("the deck's source is not where this script expects it")
    text = re.sub(r"^\.save ", ".save v(mr) v(ml) ", text, count=1, flags=re.M)
    return Deck(text=text, saved=deck.saved, stop=deck.stop, begin=deck.begin)


def from_mains(raw: dict[str, Array], begin: float, line: Timeline, machine: Machine,
               rectifier: Rectifier) -> dict[str, float]:  # fmt: skip
    """Current into the bridge, worst cycle's mean, and rms of the line over the half period [A]."""
    keep = raw["time"] + begin >= 0.0
    time_ = raw["time"][keep] + begin
    uppers = (1, 3) if machine.bridge.topology == "full" else (1,)
    bridge = sum((node(raw, "p") - node(raw, f"d{k}"))[keep] / 1e-3 for k in uppers)
    marks = line.boundaries(0.0, line.end)[::2]
    marks = marks[(marks >= time_[0]) & (marks <= time_[-1])]
    mains = ((raw["v(mr)"] - raw["v(ml)"]) / rectifier.line_resistance)[keep]
    half = 0.5 / rectifier.mains_frequency
    last = time_ >= time_[-1] - half
    square = np.trapezoid(mains[last] ** 2, time_[last]) / half
    link = cycle_means(time_, np.asarray(raw["v(link)"][keep]), marks)
    return {
        "supply_current": float(cycle_means(time_, np.asarray(bridge), marks).max()),
        "mains_current_rms": float(np.sqrt(square)),
        "link_highest": float(link.max()),
        "link_lowest": float(link.min()),
    }


def to_the_end(render: Callable[[Analysis], Deck]) -> tuple[Deck, PlainRun, str]:
    """The first of the easier options with which the plain program gets to the end."""
    for change in EASIER:
        analysis = change(PLAIN)
        deck = render(analysis)
        try:
            return deck, plain_run(deck.text, deck.stop), analysis.label
        except PlainFailed as failed:
            print(f"  {analysis.label}: {failed}", flush=True)
    raise PlainFailed("the plain program gets through with none of the options")


def compared(name: str) -> dict[str, Any]:
    """simkit's answer and the plain run's worst for one machine."""
    file = load_machine(scenario_folder() / name / "machine.toml").model
    machine = replaced(file, MACHINES[name])
    case = draft(machine, "settled")
    answer = Rehearser().rehearse(case.machine, case.scenario)
    rectifier = machine.supply.rectifier
    assert rectifier is not None
    used = answer.machine
    half = 0.5 / rectifier.mains_frequency
    line = timeline_to(used, case.scenario, half)
    begin = begin_of(used, rectifier, answer.before.supply_voltage_v**2
                     / answer.before.input_power_w)  # fmt: skip
    deck, run, label = to_the_end(lambda a: deck_behind_the_mains(used, rectifier, line, begin, a))
    raw = dict(run.vectors)
    worst = figures(raw, deck.begin, facts_of(used, line))
    worst |= from_mains(raw, deck.begin, line, used, rectifier)
    return {
        "link": [round(worst.pop("link_lowest"), 1), round(worst.pop("link_highest"), 1)],
        "link_began": round(begin.link, 1),
        "told": [f"{f.value} {f.note}" for f in answer.slow if "crests" in f.name],
        "verdict": answer.verdict.outcome,
        "plain_options": label,
        "plain_cpu_s": round(run.seconds, 1),
        "rows": {q: asdict(r) for q, r in rows(answer, worst).items()},
    }


def rows(answer: Rehearsal, worst: dict[str, float]) -> dict[str, Row]:
    """Every figure that both sides have; five digits."""
    told = {r.quantity: (r.value, r.error, r.error_below, r.limit) for r in answer.rows}
    found = {}
    for quantity, plain in worst.items():
        value, error, below, limit = told.get(quantity, (None, None, None, None))
        if value is not None:
            up = error or 0.0
            digits = (float(f"{x:.5g}") for x in (value, up, below or up, plain))
            found[quantity] = Row(*digits, limit)
    return found


def main(wanted: list[str]) -> int:
    for name in wanted or list(MACHINES):
        started = time.monotonic()
        kept = json.loads(RECORD.read_text(encoding="utf-8")) if RECORD.exists() else {}
        kept[name] = compared(name)
        RECORD.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
        print(f"{name}: {time.monotonic() - started:.0f} s, {kept[name]['link']}", flush=True)
        for quantity, row in kept[name]["rows"].items():
            off = row["plain"] - row["value"]
            share = off / max(row["error"] if off > 0.0 else row["below"], 1e-12)
            told = f"{row['value']:.5g} +{row['error']:.2g} -{row['below']:.2g}"
            worst = f"plain worst {row['plain']:.5g}"
            print(f"  {quantity}: {told}, {worst}: {share:+.2f} of that error", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
