"""A random scenario on a random machine: every kind of event in turn, times and tails at random."""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Any

from benchmarks.random_machines.machine import Plan, log_uniform
from benchmarks.random_machines.written import quantity
from simkit.parameters.events import KINDS

STEADY = "steady"
DRAWN = (
    "pull-out", "drop-in", "becomes", "coil", "shorted-turn", "clamp-resistance", "frequency",
    "supply", "gate-open", "gate-reversed", "gates-together", "driver-unpowered", "trip",
    "dead-time", "turn-off-delay", "can-open", "link-capacitor-open", "fuse", "ground-fault",
)  # fmt: skip
"""Kinds of event that are drawn, in this order: a kind that is put in among them would make another
case of every seed and void its reference. New kinds want seeds of their own."""
NOT_DRAWN = frozenset({"start", "restart", "driver-supply"})
"""Kinds that no seed draws yet."""
FIRST = (STEADY, *DRAWN)
"""What a scenario is about, by its number: nothing, or a kind of event."""
QUICK_KINDS = tuple(k for k in DRAWN if k not in ("pull-out", "drop-in", "becomes"))

Row = dict[str, Any]


def scenario(rng: random.Random, number: int, plan: Plan) -> Row:
    """A scenario file's tables; the kind of its first event goes by the number."""
    kind = FIRST[number % len(FIRST)]
    period = 1.0 / plan.frequency
    settled = rng.uniform(4.0, 10.0) * period
    events: list[Row] = []
    if kind != STEADY:
        events.append(_event(rng, kind, plan, rng.uniform(0.0, 12.0) * period))
        if rng.random() < 0.3:
            _another(rng, plan, events, kind)
    found: Row = {
        "name": f"case-{number}",
        "title": f"Drawn at random: {kind}",
        "machine": "machine.toml",
        "tail": quantity(log_uniform(rng, 0.3, 40.0) * period, "s", 4),
        "start": {
            "load": "empty" if kind == "drop-in" else rng.choice(("bar", "bar", "bar", "other")),
            "settled": quantity(settled, "s", 4),
        },
    }
    start = found["start"]
    if kind in ("pull-out", "becomes"):
        start["load"] = "bar"
    if rng.random() < 0.6 or kind == "drop-in":
        start["margin"] = f"{100.0 * plan.margin:.2f} %"
        start["margin_of"] = "bar"
    else:
        start["frequency"] = quantity(plan.frequency, "Hz", 4)
    if "margin" in start and kind in ("pull-out", "becomes") and rng.random() < 0.25:
        start["tracks"] = True
        del start["margin_of"]
    if rng.random() < 0.2:
        start["supply_voltage"] = quantity(plan.voltage * rng.uniform(0.3, 1.1), "V")
    if events:
        found["events"] = events
        _ends(rng, found, events, period)
    return found


def _another(rng: random.Random, plan: Plan, events: list[Row], first: str) -> None:
    """A second event, on another thing than the first one's, at any time."""
    free = [k for k in QUICK_KINDS if KINDS[k].changes != KINDS[first].changes]
    at = rng.uniform(0.0, 30.0) / plan.frequency
    events.append(_event(rng, rng.choice(free), plan, at))


def _ends(rng: random.Random, found: Row, events: list[Row], period: float) -> None:
    """Now and then the run is told to end before the last event is over."""
    if rng.random() < 0.08:
        last = max(_seconds(e["at"]) for e in events)
        found["ends"] = quantity(last + rng.uniform(2.0, 15.0) * period, "s", 4)


def _seconds(text: str) -> float:
    number, unit = text.split()
    return float(number) * {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}[unit]


def _event(rng: random.Random, kind: str, plan: Plan, at: float) -> Row:
    period = 1.0 / plan.frequency
    row: Row = {"kind": kind, "at": quantity(at, "s", 3)}
    about = KINDS[kind]
    if about.fast:
        # One in ten is slow enough that running it whole is a cost.
        cycles = rng.uniform(450.0, 700.0) if rng.random() < 0.1 else log_uniform(rng, 1.5, 60.0)
        row["duration"] = quantity(cycles * period, "s", 3)
    elif kind == "gates-together":
        row["duration"] = quantity(log_uniform(rng, 0.3e-6, 3e-6), "s", 2)
    elif kind == "driver-unpowered" and rng.random() < 0.7:
        row["duration"] = quantity(log_uniform(rng, 1.0, 20.0) * period, "s", 3)
    return row | DETAILS.get(kind, _nothing)(rng, plan)


def _nothing(rng: random.Random, plan: Plan) -> Row:
    return {}


def _pull_out(rng: random.Random, plan: Plan) -> Row:
    return {"share": f"{rng.randint(20, 90)} %"} if rng.random() < 0.3 else {}


def _coil(rng: random.Random, plan: Plan) -> Row:
    found = {"inductance_factor": round(rng.uniform(0.8, 1.25), 3)}
    if rng.random() < 0.5:
        found["resistance_factor"] = round(rng.uniform(0.5, 2.0), 2)
    return found


def _shorted_turn(rng: random.Random, plan: Plan) -> Row:
    return {"turns": rng.randint(4, 12), "coupling": round(rng.uniform(0.2, 0.6), 2)}


def _clamp(rng: random.Random, plan: Plan) -> Row:
    return {"resistance": quantity(log_uniform(rng, 1e-3, 30e-3), "ohm", 2)}


def _frequency(rng: random.Random, plan: Plan) -> Row:
    step = rng.uniform(-2.0, 4.0) / plan.q
    return {"factor": round(min(max(1.0 + step, 0.75), 1.35), 4)}


def _supply(rng: random.Random, plan: Plan) -> Row:
    return {"voltage": quantity(plan.voltage * rng.uniform(0.5, 1.25), "V", 3)}


def _switches(rng: random.Random, plan: Plan) -> Row:
    return {"switches": [rng.randint(1, 4 if plan.topology == "full" else 2)]}


def _leg(rng: random.Random, plan: Plan) -> Row:
    return {"leg": rng.choice("ab") if plan.topology == "full" else "a"}


def _dead_time(rng: random.Random, plan: Plan) -> Row:
    short = rng.choice((0.0, rng.uniform(0.02, 0.8), rng.uniform(1.2, 2.0)))
    return {"dead_time": quantity(min(plan.dead_time * short, 0.2 / plan.frequency_max), "s", 2)}


def _delay(rng: random.Random, plan: Plan) -> Row:
    delay = min(log_uniform(rng, 0.02e-6, 0.6e-6), 0.2 / plan.frequency_max)
    return _switches(rng, plan) | {"delay": quantity(delay, "s", 2)}


def _cans(rng: random.Random, plan: Plan) -> Row:
    return {"cans": rng.randint(1, max(plan.cans // 3, 1))}


def _earth(rng: random.Random, plan: Plan) -> Row:
    return {"resistance": quantity(log_uniform(rng, 20e-3, 10.0), "ohm", 2)}


DETAILS: dict[str, Callable[[random.Random, Plan], Row]] = {
    "pull-out": _pull_out,
    "drop-in": lambda rng, plan: {"load": rng.choice(("bar", "other"))},
    "becomes": lambda rng, plan: {"load": "other"},
    "coil": _coil,
    "shorted-turn": _shorted_turn,
    "clamp-resistance": _clamp,
    "frequency": _frequency,
    "supply": _supply,
    "gate-open": _switches,
    "gate-reversed": _switches,
    "gates-together": _leg,
    "dead-time": _dead_time,
    "turn-off-delay": _delay,
    "can-open": _cans,
    "ground-fault": _earth,
}
"""What an event of a kind needs besides its times."""
