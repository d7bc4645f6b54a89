"""Loss of MOSFET and IGBT classes in one machine over its frequency: `python -m
benchmarks.switch_kinds`.

The shipped half bridge with every reactance scaled by the frequency, so that voltages, currents and
power stay what they are; dead time and the capacitors across the switches go with the period. Each
point is a settled circuit run. Writes docs/switch-kinds.md and its figure.
"""

import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from itertools import pairwise
from pathlib import Path

import simkit
from simkit.data import scenario_folder

MACHINE = scenario_folder() / "tube-bending" / "machine.toml"
PAGE = Path("docs/switch-kinds.md")
FIGURE = Path("docs/switch-kinds.svg")
KEPT = Path("build/switch_kinds.json")
BASE = 31.4e3
"""Resonance of the machine as shipped, hot tube [Hz]."""
FREQUENCIES = (15e3, 30e3, 60e3, 120e3, 240e3)
CLASSES = {
    "650 V superjunction MOSFET": "../parts/class-650v-superjunction.toml",
    "600 V fast IGBT": "../parts/igbt-600v-40a-fast.toml",
    "600 V slow IGBT": "../parts/igbt-600v-50a-slow.toml",
}
SCENARIO = {"name": "steady", "title": "Settled", "tail": "0.1 ms",
            "start": {"load": "tube-hot", "margin": "5 %", "settled": "0.4 ms"}}  # fmt: skip


INTRODUCTION = (
    "Written by `python -m benchmarks.switch_kinds`; do not edit by hand. One machine, the half",
    "bridge of `scenarios/tube-bending/`, with every reactance scaled by the frequency, so that",
    "voltages, currents and power stay what they are; dead time and the capacitors across the",
    "switches go with the period. Each point is a settled circuit run.",
)
PRACTICE = (
    "Below the crossing the IGBT is the better conductor: at these currents its knee drops less",
    "than the MOSFET's resistance. Above it the tail, once a cycle, counts for more. The direction",
    "is that of published practice: MOSFETs for high frequencies at low power, IGBTs for medium",
    "ones (N. Mohan, T. M. Undeland, W. P. Robbins, Power Electronics: Converters, Applications,",
    "and Design, Wiley, the comparison of controllable switches in the chapter that surveys them;",
    "recalled from memory). Where it lies is this machine's: a MOSFET of half the resistance loses",
    "less at every frequency, and a capacitor of another size across the switches moves the tail's",
    "share.",
)


@dataclass(frozen=True)
class Point:
    """One class at one frequency."""

    kind: str
    frequency: float
    """[Hz]"""
    loss: float
    """Of one switch [W]."""
    power: float
    """Into the bridge [W]."""
    junction: float
    """[degC]"""
    verdict: str


def scaled(machine: simkit.Machine, frequency: float, part: str) -> simkit.Machine:
    """The machine with its reactances scaled to a resonance [Hz] and another class in it."""
    k = BASE / frequency
    keys = ["tank.can_capacitance", "coil.inductance", "transformer.leakage_inductance",
            "transformer.magnetising_inductance", "bridge.split_capacitance",
            "bridge.snubber.capacitance", "drive.dead_time", "transformer.core_area",
            *(f"workpieces.{w}.inductance" for w in ("tube-cold", "tube-saturated",
                                                     "tube-hot"))]  # fmt: skip
    values = {key: float(machine.value(key)) * k for key in keys}
    drive = {"drive.frequency_min": 0.7 * frequency, "drive.frequency_max": 2.0 * frequency}
    return machine.change({**values, **drive, "switch.part": part})


def points() -> Iterator[Point]:
    """Every class at every frequency."""
    machine = simkit.load_machine(MACHINE)
    for kind, part in CLASSES.items():
        for frequency in FREQUENCIES:
            scenario = simkit.scenario(SCENARIO, scaled(machine, frequency, part))
            try:
                found = scenario.rehearse()
            except simkit.EngineError as error:
                print(f"{kind}, {frequency / 1e3:g} kHz: no answer: {error.reason}", flush=True)
                continue
            losses = [r for r in found.document["losses"] if r["part"].startswith("Q")]
            loss = max(r.get("watts_at_end", r["watts"]) for r in losses)
            junction = found.limits.set_index("quantity").loc["junction_peak", "value"]
            before = found.document["operating_point"]["before"]
            point = Point(kind, before["frequency_hz"], loss, before["input_power_w"],
                          float(junction), found.verdict)  # fmt: skip
            print(f"{kind}, {frequency / 1e3:g} kHz: {loss:.1f} W, {found.verdict}", flush=True)
            yield point


def crossing(found: list[Point], one: str, other: str) -> float | None:
    """Frequency at which two classes lose alike, straight over both logarithms [Hz]."""
    from math import exp, log

    pairs = [
        (a.frequency, log(a.loss / b.loss))
        for a in found
        for b in found
        if a.kind == one and b.kind == other and abs(a.frequency / b.frequency - 1) < 0.02
    ]
    pairs.sort()
    for (f, low), (g, high) in pairwise(pairs):
        if low * high <= 0.0 and low != high:
            return exp(log(f) + (log(g) - log(f)) * low / (low - high))
    return None


def draw(found: list[Point]) -> None:
    """Loss over frequency, a line a class."""
    from simkit.report.figures import RC, canvas, svg
    from simkit.report.style import CYCLE, drawing

    with drawing(RC):
        figure, (panel,) = canvas(7.0, [3.2])
        for (colour, line), kind in zip(CYCLE, CLASSES, strict=False):
            mine = [p for p in found if p.kind == kind]
            panel.loglog([p.frequency / 1e3 for p in mine], [p.loss for p in mine], color=colour,
                         linestyle=line, marker="o", markersize=4, label=kind)  # fmt: skip
        panel.set_xlabel("drive frequency [kHz]")
        panel.set_ylabel("loss of one switch [W]")
        panel.legend(frameon=False, fontsize=8)
        FIGURE.write_text(svg(figure), encoding="utf-8")


def page(found: list[Point]) -> str:
    """The page."""
    mosfet, *igbts = CLASSES
    lines = [
        "# MOSFET or IGBT?", "", *INTRODUCTION, "",
        "![Loss of one switch over drive frequency for three classes](switch-kinds.svg)", "",
        "| class | " + " | ".join(f"{f / 1e3:g} kHz" for f in FREQUENCIES) + " |",
        "| --- |" + " --- |" * len(FREQUENCIES),
    ]  # fmt: skip
    for kind in CLASSES:
        cells = []
        for f in FREQUENCIES:
            near = [p for p in found if p.kind == kind and abs(p.frequency / f / 1.05 - 1) < 0.05]
            cells.append(
                f"{near[0].loss:.0f} W, {near[0].junction:.0f} degC" if near else "no answer"
            )
        lines.append(f"| {kind} | " + " | ".join(cells) + " |")
    lines.append("")
    for kind in igbts:
        at = crossing(found, mosfet, kind)
        said = f"at {at / 1e3:.0f} kHz" if at else "nowhere between the frequencies run"
        lines.append(f"- {mosfet} and {kind} lose alike {said}.")
    lines += ["", *PRACTICE, ""]
    return "\n".join(lines)


def kept() -> list[Point]:
    """Points of an earlier run, which build/ keeps: delete them to run anew."""
    if not KEPT.exists():
        return []
    return [Point(**row) for row in json.loads(KEPT.read_text(encoding="utf-8"))]


def main() -> None:
    """Run all, write page and figure."""
    found = kept() or list(points())
    KEPT.parent.mkdir(exist_ok=True)
    KEPT.write_text(json.dumps([asdict(p) for p in found], indent=1), encoding="utf-8")
    draw(found)
    PAGE.write_text(page(found), encoding="utf-8")


if __name__ == "__main__":
    main()
