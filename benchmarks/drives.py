"""The demonstration's lift by hand under eight drives: rehearsals against whole runs.

    python -m benchmarks.drives              renew benchmarks/drives.json, all of it
    python -m benchmarks.drives fixed        only these drives
    python -m benchmarks.drives --ours       only the rehearsals (or only the --plain runs)

The yardstick is a plain `ngspice -b` run of the whole event. Its oscillator and loop are written
here, not taken from the templates: the angle is the charge of a capacitor in periods, the gates
compare a triangle with the dead time, the detector samples nothing and multiplies the current with
a square wave. Final phase, can current and supply current are means over its last two periods.
A recovery is forced where the current already flows backwards when the opposite pair turns on: when
the gate of Q1 or Q2 passes its threshold at the chip. A moment laid out beforehand, 12 ns early,
missed 93 of 4805 recoveries.
"""

from __future__ import annotations

import json
import re
import sys
from dataclasses import asdict, dataclass
from math import degrees, pi
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.plain import plain_run
from simkit.circuit.analysis import Analysis
from simkit.circuit.netlist import Deck
from simkit.data import scenario_folder
from simkit.measure.waveforms import Array
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.driving import driven_line
from simkit.rehearsal.exported import scenario_deck
from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.reversed_count import reversed_of
from simkit.scout.tracking import slope_of
from simkit.studies.inputs.loading import load_scenario

RECORD = Path(__file__).with_name("drives.json")
PLAIN = Analysis(step=60e-9, reltol=1e-4, trtol=1.0)
"""Of the yardstick. 100 ns, 3e-4 and 4, as some rows still are (`plain_step_s`), move currents by
0.5 %, phases by 0.5 deg and the 4848 recoveries of the fixed frequency to 4805."""


@dataclass(frozen=True)
class Figures:
    """What is held against each other: degrees, amperes, number of forced recoveries."""

    phase: float
    can_current: float
    supply_current: float
    forced: float | None
    forced_error: float | None = None
    """As the rehearsal states it."""


def cases() -> dict[str, tuple[Machine, Scenario]]:
    """The shipped scenarios of this lift by drive, with their machine, and one at 80 V."""
    folder = scenario_folder() / "chisel-brazing" / "drives"
    found = {}
    for path in sorted(folder.glob("*.toml")):
        scenario, machine = load_scenario(path)
        found[path.stem] = (machine.model, scenario.model)
    found["self-oscillating-80-v"] = _on_a_bench_supply(*found["self-oscillating"])
    return found


def _on_a_bench_supply(machine: Machine, scenario: Scenario) -> tuple[Machine, Scenario]:
    """The same with 80 V from a bench supply, where nothing goes over its limit."""
    data = scenario.model_dump(exclude_none=True, exclude={"map"})
    data["start"]["supply_voltage"] = 80.0
    supply = machine.supply.model_copy(update={"rectifier": None})
    return machine.model_copy(update={"supply": supply}), Scenario.model_validate(data)


def ours(machine: Machine, scenario: Scenario) -> tuple[Figures, str]:
    """By rehearsal."""
    found = Rehearser().rehearse(machine, scenario)
    after = found.after
    assert after is not None
    cans = next(r.value for r in found.rows if r.quantity == "can_current_rms")
    assert cans is not None
    back = reversed_of(found)
    forced = (None, None) if back is None else (float(back.count), float(back.error))
    figures = Figures(after.phase_deg, cans, after.supply_current_a, *forced)
    return figures, found.verdict.outcome


def own_oscillator(
    machine: Machine, scenario: Scenario, frequency: float, start: float, closes: float
) -> str:
    """Text of an oscillator and its loop, from the machine's loop as numbers."""
    drive = machine.drive
    held, rate = drive.loop, "0"
    if held is not None and held.by == "self-oscillating":
        return own_follower(machine, start)
    if held is not None:
        target = start_angle(machine, scenario) / (2.0 * pi)
        lines = f"""
bsq sq 0 v=tanh(cos(6.283185307*(v(ph)-({target:.9g})))*60)
bds ds 0 v=tanh((v(pa)-v(pb))/6e-3)*v(sq)
"""
        if held.by == "sampled":
            step = float(held.step_per_degree or 0.0) * 90.0 / 1e3
            lines += f"""rds ds da 1e3
cda da 0 4e-8
vck ck 0 pulse(0 1 {closes + float(held.interval or 0.0):.9g} 1e-6 1e-6 9e-6 {held.interval:.9g})
"""
            rate = f"v(ck)*{step / 1e-5:.9g}*v(da)"
        else:
            gain = (
                2.0 * pi * float(held.bandwidth or 0.0) / start_slope(machine, scenario) * pi / 2.0
            )
            rate = f"(time<{closes:.9g} ? 0 : 1)*{gain / 1e3:.9g}*v(ds)"
    else:
        lines = ""
    dead = drive.dead_time * 1e3
    return f"""{lines}
cfk fk 0 1 ic={frequency / 1e3:.12g}
bfk 0 fk i={rate}
cph ph 0 1 ic={start:.12g}
bph 0 ph i=1e3*v(fk)
btr tr 0 v=asin(0.9999999*sin(6.283185307*v(ph)))/6.283185307
bgu gu 0 v=0.5+0.5*tanh((v(tr)-0.5*{dead:.9g}*v(fk))/1.1e-3)
bgl gl 0 v=0.5+0.5*tanh((-v(tr)-0.5*{dead:.9g}*v(fk))/1.1e-3)
"""


def own_follower(machine: Machine, start: float) -> str:
    """A self-oscillating drive: an ideal line delays the sign of the sensed current.

    Sensed at the coil's lead in the tank's loop: following the bridge's current, magnetising
    current and all, this deck swung up at 1.1 kHz and saturated its core 1.8 ms after its start.
    """
    held, drive = machine.drive.loop, machine.drive
    assert held is not None
    lead = float(held.lead_network or 0.0) * 1e6
    early = float(held.delay or 0.0) - 0.5 * drive.dead_time
    sign = 1 if start % 1.0 < 0.5 else -1
    # Off after `early`, on a dead time later: a ramp of constant pace through two thresholds.
    ramp = 2.0 * early + drive.dead_time
    a = drive.dead_time / ramp
    return f"""
bsn sn 0 v=tanh((v(fl)+{lead:.9g}*v(x))/v(lx)*0.4)
crp rp 0 1 ic={sign}
brp 0 rp i={2.0 / ramp:.9g}*max(-1,min(1,40*(v(sn)-v(rp))))
bgu gu 0 v=0.5+0.5*tanh((v(rp)-{a:.9g})/0.018)
bgl gl 0 v=0.5+0.5*tanh((-v(rp)-{a:.9g})/0.018)
"""


def start_angle(machine: Machine, scenario: Scenario) -> float:
    """Angle held [rad]: that of the settled part."""
    line = driven_line(machine, scenario)
    assert line.oscillator is not None
    return line.oscillator.angle


def start_slope(machine: Machine, scenario: Scenario) -> float:
    """Slope of the angle over frequency with the piece in [rad/Hz]."""
    line = driven_line(machine, scenario)
    load = (line.inductance.first, line.resistance.first)
    return slope_of(machine, load, line.voltage.first, line.frequency.first)


SAVED = ("ph", "rp", "a", "b", "pa", "pb", "t1", "w", "p", "d1", "d3", "gu")
GATES = ("xq1.gi", "xq1.si", "xq2.gi", "xq2.si")
"""At the chips of leg a."""


def plain_deck(machine: Machine, scenario: Scenario) -> Deck:
    """The whole event's deck with an oscillator of our own in place of its gate commands."""
    fixed = machine.model_copy(update={"drive": machine.drive.model_copy(update={"loop": None})})
    deck = scenario_deck(fixed, scenario, PLAIN)
    line = driven_line(machine, scenario)
    start = driven_line(fixed, scenario).phase(deck.begin) % 1.0
    closes = line.events[0].start - deck.begin
    told = {1: "gu", 2: "gl", 3: "gl", 4: "gu"}
    text = re.sub(r"^vg(\d) (\S+) (\S+) .*$",
                  lambda m: f"bg{m[1]} {m[2]} {m[3]} v=12*v({told[int(m[1])]})", deck.text,
                  flags=re.M)  # fmt: skip
    own = own_oscillator(machine, scenario, line.frequency.first, start, closes)
    text = re.sub(r"^\.ic .*$", "", text, flags=re.M)
    names = [n for n in SAVED if re.search(rf"\b{n}\b", text + own)]
    names = [n for n in names if n not in ("ph", "rp") or f"c{n} " in own]
    saved = tuple(f"v({n})" for n in (*names, *GATES))
    text = re.sub(r"^\.save .*$", own + ".save " + " ".join(saved), text, flags=re.M)
    return Deck(text=text, saved=saved, stop=deck.stop, begin=deck.begin)


def plain(machine: Machine, scenario: Scenario) -> tuple[Figures, float]:
    """By a plain run of the whole event; what it cost [s of CPU]."""
    deck = plain_deck(machine, scenario)
    with plain_run(deck) as run:
        return measured(machine, run.vectors), run.cost.cpu


def change_overs(v: dict[str, Array]) -> Array:
    """Times at which the gates change over [s]."""
    time = v["time"]
    wave = v["v(rp)"] if "v(rp)" in v else np.sin(2.0 * pi * np.asarray(v["v(ph)"]))
    k = np.flatnonzero(np.signbit(wave[1:]) != np.signbit(wave[:-1]))
    return np.asarray(time[k] + (time[k + 1] - time[k]) * wave[k] / (wave[k] - wave[k + 1]))


def turned_on(machine: Machine, v: dict[str, Array], number: int) -> Array:
    """Times at which a switch's gate, at the chip, first passes its threshold upward after a
    change-over to it [s]; what lifts it later is another's edge."""
    time, level = np.asarray(v["time"]), machine.switch.channel.threshold
    gate = np.asarray(v[f"v(xq{number}.gi)"]) - np.asarray(v[f"v(xq{number}.si)"]) - level
    k = np.flatnonzero((gate[:-1] <= 0.0) & (gate[1:] > 0.0))
    passed = np.asarray(time[k] + (time[k + 1] - time[k]) * gate[k] / (gate[k] - gate[k + 1]))
    over = change_overs(v)
    to_upper = np.interp(over + 2e-6, time, v["v(gu)"]) > 0.5
    mine = over[to_upper == (number == 1)]
    nth = np.searchsorted(passed, mine)
    return np.asarray(passed[nth[nth < len(passed)]])


def measured(machine: Machine, v: dict[str, Array]) -> Figures:
    """The figures of a plain run."""
    time = np.asarray(v["time"])
    current = (v["v(pa)"] - v["v(pb)"]) / machine.transformer.primary_resistance
    over = change_overs(v)
    begin, end = over[-6], over[-2]
    inside = (time >= begin) & (time <= end)
    t, f = time[inside], 2.0 / (end - begin)
    turn = np.exp(-2j * pi * f * t)
    bridge = (v["v(a)"] - v["v(b)"])[inside]
    lag = np.angle(np.trapezoid(bridge * turn, t) / np.trapezoid(current[inside] * turn, t))
    bank = ((v["v(t1)"] - v["v(w)"]) / machine.tank.esr)[inside]
    into = (2.0 * v["v(p)"] - v["v(d1)"] - v["v(d3)"])[inside] / 1e-3
    on = [turned_on(machine, v, number) for number in (1, 2)]
    # The pair that went off carried +i when the other now turns on: positive again is forced.
    forced = sum(
        int(np.sum(np.interp(t, time, sign * current) > 0.0))
        for t, sign in zip(on, (1.0, -1.0), strict=True)
    )
    return Figures(
        degrees(float(lag)),
        float(np.sqrt(np.trapezoid(bank**2, t) / (t[-1] - t[0]))) / machine.tank.cans,
        float(np.trapezoid(into, t) / (t[-1] - t[0])),
        float(forced),
    )


def main(wanted: list[str]) -> int:
    sides = [x for x in ("plain", "ours") if f"--{x}" in wanted] or ["plain", "ours"]
    names = [a for a in wanted if not a.startswith("-")]
    for name, (machine, scenario) in cases().items():
        if names and name not in names:
            continue
        row: dict[str, Any] = {}
        if "plain" in sides:
            whole, cpu = plain(machine, scenario)
            row = {"plain": asdict(whole), "plain_cpu_s": round(cpu, 1),
                   "plain_step_s": PLAIN.step}  # fmt: skip
        if "ours" in sides:
            mine, verdict = ours(machine, scenario)
            row |= {"rehearsal": asdict(mine), "verdict": verdict}
        kept = json.loads(RECORD.read_text(encoding="utf-8")) if RECORD.exists() else {}
        kept[name] = kept.get(name, {}) | row
        print(name, json.dumps(row), flush=True)
        RECORD.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
