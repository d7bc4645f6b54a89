"""Plausible inputs through the verbs: no traceback, and never the exit code of a fault of our own.

    python -m benchmarks.plausible [--seeds FROM:TO] [--minutes M] [--real SHARE] [--keep] [--write]

A seed makes a machine (shipped or random) with some of its values moved: anywhere in the usual
range that the schema documents, both ends included, or by up to three times where it documents
none; a scenario of that machine with its times and settings moved too; and a verb: `check`, `run`,
`deck`, `map` or `compare`. In place of the engine stands one that says at once that it stopped,
but for a share of the runs. With `--keep` the counts are added to benchmarks/plausible.jsonl, and
the next run goes on with the seeds after them; `--write` puts the sums into docs/fuzzing.md.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import math
import os
import random
import shutil
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping
from concurrent.futures import Future
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
KEPT = Path(__file__).with_suffix(".jsonl")
PAGE = ROOT / "docs" / "fuzzing.md"
VERBS = {"check": 10, "deck": 4, "run": 3, "map": 1, "compare": 1}
"""How often each verb is drawn against the others [1]."""
AWAY = 3.0
"""How far a value without a usual range is moved, as a factor either way [1]."""
LONGEST = 2e-3
"""Of the times that are moved [s]."""
SLOW = 30.0
"""Seconds after which an input counts as a hang."""
TITLES = (
    r"$\frac{$ =1+1", "a $ b", "100 % more", "x^2_{3}", "<b>&amp;", "{{ 7 }}", "=HYPERLINK(1)",
    "\u6e29\u5ea6 \u03a9 \u00b5", "%s %(x)s {0}", "\\alpha\\", "plain words",
)  # fmt: skip
TIMES = ("tail", "ends", "at", "duration", "settled")
BLOCK = "## Plausible values"


@dataclass(frozen=True)
class Case:
    """One command."""

    verb: str
    arguments: tuple[str, ...]


def place(folder: Path) -> None:
    """The shipped files, to be changed."""
    for name in ("scenarios",):
        shutil.copytree(ROOT / name, folder / name, dirs_exist_ok=True)


def case(seed: int, folder: Path) -> Case:
    """The command of a seed, with the files it needs in a folder where `place` was."""
    rng = random.Random(f"simkit plausible {seed}")
    verb = rng.choices(list(VERBS), list(VERBS.values()))[0]
    scenario = _scenario_file(rng, folder)
    sets = list(_sets(rng, scenario.parent / _machine_of(scenario)))
    if verb == "check":
        return Case(verb, ("check", str(scenario.parent / _machine_of(scenario)), *sets))
    if verb == "compare":
        machine = scenario.parent / _machine_of(scenario)
        change = scenario.parent / "change.toml"
        change.write_text(_change(rng, machine), encoding="utf-8")
        more = ("--scenario", str(scenario), "--out", str(folder / "out"), "--jobs", "1")
        return Case(verb, ("compare", str(machine), str(change), *more, *sets))
    own = scenario.parent / "own.toml"
    own.write_text(_moved_scenario(rng, scenario), encoding="utf-8")
    more = {
        "deck": ("--no-engine",) if rng.random() < 0.9 else (),
        "run": ("--out", str(folder / "out"), "--jobs", "1", "--no-cache"),
        "map": ("--cases", str(rng.randint(1, 3)), "--out", str(folder / "out"), "--jobs", "1",
                "--no-cache"),
    }[verb]  # fmt: skip
    return Case(verb, (verb, str(own), *more, *sets))


def _machine_of(scenario: Path) -> str:
    return str(tomllib.loads(scenario.read_text("utf-8"))["machine"])


def _scenario_file(rng: random.Random, folder: Path) -> Path:
    if rng.random() < 0.5:
        from benchmarks.random_machines.files import write

        return write(rng.randrange(400), folder / "random")
    shipped = sorted((folder / "scenarios").glob("*/*.toml"))
    shipped += sorted((folder / "scenarios").glob("*/situations/*.toml"))
    names = [p for p in shipped if p.name not in ("machine.toml", "own.toml", "change.toml")]
    return rng.choice([p for p in names if "machine" in tomllib.loads(p.read_text("utf-8"))])


def _quantities() -> Mapping[str, Any]:
    from simkit.parameters.fields import quantities
    from simkit.parameters.written import MachineFile

    return quantities(MachineFile)


def _written(table: Any, key: str = "") -> Iterator[tuple[str, Any]]:
    """Every value of a file by dotted key."""
    items = table.items() if isinstance(table, dict) else enumerate(table)
    for name, value in items:
        own = f"{key}.{name}" if key else str(name)
        if isinstance(value, dict) and "value" in value:
            yield own, value["value"]
        elif isinstance(value, dict | list):
            yield from _written(value, own)
        else:
            yield own, value


def _known(key: str, known: Mapping[str, Any]) -> Any:
    """The quantity at a key, with a star for a free name or a place in a list."""
    parts = key.split(".")
    for mask in range(2 ** min(len(parts), 6)):
        name = ".".join("*" if mask >> k & 1 else p for k, p in enumerate(parts))
        if name in known:
            return known[name]
    return None


def _moved(rng: random.Random, quantity: Any, value: Any) -> str | None:
    """Another value of a quantity, as text; None where the old one cannot be read."""
    from simkit.units import parse_quantity

    try:
        now = float(parse_quantity(value, quantity.unit))
    except ValueError:
        return None
    if quantity.usual and rng.random() < 0.8:
        low, high = quantity.usual
        new = rng.choice((low, high)) if rng.random() < 0.5 else _between(rng, low, high)
    else:
        new = now * math.exp(rng.uniform(-math.log(AWAY), math.log(AWAY)))
    whole = isinstance(value, int) or (quantity.unit == "1" and float(now).is_integer() and now > 1)
    return f"{max(round(new), 1)}" if whole else repr(float(f"{new:.4g}"))


def _between(rng: random.Random, low: float, high: float) -> float:
    if low > 0.0:
        return math.exp(rng.uniform(math.log(low), math.log(high)))
    return rng.uniform(low, high)


def _changes(rng: random.Random, machine: Path, most: int) -> Iterator[tuple[str, str]]:
    known = _quantities()
    written = list(_written(tomllib.loads(machine.read_text("utf-8"))))
    found = [(k, v, q) for k, v in written if (q := _known(k, known)) is not None]
    usual = [row for row in found if row[2].usual]
    for _ in range(rng.randint(0, most)):
        key, value, quantity = rng.choice(usual if usual and rng.random() < 0.6 else found)
        text = _moved(rng, quantity, value)
        if text is not None:
            yield key, text


def _sets(rng: random.Random, machine: Path) -> Iterator[str]:
    for key, text in _changes(rng, machine, 5):
        yield from ("--set", f"{key}={text}")


def _change(rng: random.Random, machine: Path) -> str:
    lines = [f"title = {json.dumps(rng.choice(TITLES))}"]
    for number in range(rng.randint(1, 2)):
        lines += [f"[changes.c{number}]", f"title = {json.dumps(rng.choice(TITLES))}",
                  f"[changes.c{number}.machine]"]  # fmt: skip
        values = dict(_changes(rng, machine, 3)) or {"title": '"x"'}
        flat = {k: v for k, v in values.items() if not any(p.isdecimal() for p in k.split("."))}
        lines += [f"{key} = {text}" for key, text in flat.items()]
    return "\n".join(lines) + "\n"


def _moved_scenario(rng: random.Random, path: Path) -> str:
    from benchmarks.random_machines.written import toml

    table = tomllib.loads(path.read_text("utf-8"))
    table["name"] = "own"
    if rng.random() < 0.2:
        table["title"] = rng.choice(TITLES)
    if rng.random() < 0.2:
        table["ends"] = f"{_between(rng, 1e-6, 5e-3):.4g} s"
    for rows in (table, table["start"], *table.get("events", ())):
        for key in TIMES:
            if key in rows and rng.random() < 0.4:
                rows[key] = f"{_time(rng, rows[key]):.4g} s"
    if "margin" in table["start"] and rng.random() < 0.4:
        table["start"]["margin"] = round(rng.uniform(-0.1, 0.3), 4)
    return toml(table)


def _time(rng: random.Random, text: Any) -> float:
    from simkit.units import parse_quantity

    # Long runs say nothing new of an input, and take long to scout.
    return min(float(parse_quantity(text, "s")) * math.exp(rng.uniform(-2.3, 0.7)), LONGEST)


class Inline:
    """Workers that are this process: what is put in place of the engine is in place there too."""

    def __init__(self, jobs: int) -> None:
        """Takes what the real ones take."""

    def __enter__(self) -> Inline:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def submit(self, fn: Any, /, *args: Any) -> Future[Any]:
        """Do it now."""
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args))
        except Exception as error:  # noqa: BLE001 - as a worker hands it over
            future.set_exception(error)
        return future


@contextlib.contextmanager
def engine_stopped() -> Iterator[None]:
    """In place of the engine one that says that it stopped."""
    from simkit.errors import EngineFailed
    from simkit.run import process, workers

    def stopped(*_: Any, **__: Any) -> Any:
        raise EngineFailed("the stand-in for the engine stops at once")

    kept = process.NgspiceEngine.run, workers.Workers
    process.NgspiceEngine.run = stopped  # type: ignore[method-assign]
    workers.Workers = Inline  # type: ignore[misc, assignment]
    try:
        yield
    finally:
        process.NgspiceEngine.run, workers.Workers = kept  # type: ignore[method-assign, misc]


def done(command: Case, real: bool = False) -> tuple[Any, str, float]:
    """Exit code, what was said of an error, and how long it took [s]."""
    import traceback

    from simkit import cli

    out, err, started = io.StringIO(), io.StringIO(), time.monotonic()
    arguments = [*command.arguments, *(("--time-limit", "20") if command.verb == "run" else ())]
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            with contextlib.nullcontext() if real else engine_stopped():
                code: Any = cli.run(arguments)
        except BaseException:  # noqa: BLE001 - the finding looked for
            code = "escaped"
            err.write(traceback.format_exc())
    return code, err.getvalue(), time.monotonic() - started


def finding(code: Any, said: str, seconds: float) -> str:
    """What is wrong with how a command ended; empty where nothing is."""
    if code not in (0, 1, 2, 3):
        return f"exit {code}: {said[-1500:]}"
    if "Traceback" in said:
        return f"traceback: {said[-1500:]}"
    return f"took {seconds:.0f} s" if seconds > SLOW else ""


def run(seeds: range, until: float, real: float) -> Counter[str]:
    """Put seeds through; what came of them, counted; findings are kept as they come."""
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory(prefix="simkit-plausible-") as name:
        os.environ["SIMKIT_CACHE_DIR"] = f"{name}/cache"
        folder = Path(name)
        place(folder)
        for seed in seeds:
            if time.monotonic() > until:
                break
            command = case(seed, folder)
            truly = random.Random(seed).random() < real
            code, said, seconds = done(command, truly)
            wrong = finding(code, said, seconds)
            counts[f"{command.verb} {code}"] += 1
            counts["inputs"] += 1
            counts["real"] += truly
            if wrong:
                counts["findings"] += 1
                print(f"{seed}: {' '.join(command.arguments)}\n{wrong}", flush=True)
            shutil.rmtree(folder / "out", ignore_errors=True)
            counts["next"] = seed + 1
    return counts


def rows() -> list[dict[str, Any]]:
    """Counts of earlier runs."""
    if not KEPT.exists():
        return []
    return [json.loads(line) for line in KEPT.read_text("utf-8").splitlines()]


def section() -> str:
    """The figures of the latest run of each stretch of seeds as Markdown."""
    latest: Counter[str] = Counter()
    for row in rows():
        latest.update(row["counts"])
    verbs = [
        f"| `{verb}` | " + " | ".join(f"{latest[f'{verb} {code}']:,}" for code in range(4)) + " |"
        for verb in VERBS
    ]
    return f"""{BLOCK}

`python -m benchmarks.plausible` puts machines and scenarios through the verbs whose values a person
could mean: shipped and random machines, each value anywhere in its documented usual range, ends
included, or up to three times away; scenarios with their times and margins moved; titles that look
like formulae. An engine that stops at once stands in for the real one, but for {latest["real"]:,}
inputs. **{latest["inputs"]:,} inputs, {latest["findings"]:,} findings** (a traceback, exit code 4,
or more than {SLOW:.0f} s). What is found is mended before the seeds after it are tried.

| verb | exit 0 | 1 | 2 | 3 |
| --- | --- | --- | --- | --- |
{chr(10).join(verbs)}
"""


def write() -> None:
    """Put the section into the page, in the place of the older one."""
    page = PAGE.read_text(encoding="utf-8")
    head, _, rest = page.partition(BLOCK)
    _, mark, tail = rest.partition("\n## ")
    if not rest:
        head, mark, tail = page.partition("\n## ")
        head += "\n"
    PAGE.write_text(f"{head.rstrip()}\n\n{section()}{mark}{tail}", encoding="utf-8")


def main() -> int:
    """Put seeds through; 1 when anything was found."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.plausible")
    parser.add_argument("--seeds", default="", help="FROM:TO; else on from where the last ended")
    parser.add_argument("--minutes", type=float, default=4.0)
    parser.add_argument("--real", type=float, default=0.0)
    parser.add_argument("--keep", action="store_true")
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    if asked.write:
        write()
        return 0
    begin = max((row["counts"]["next"] for row in rows()), default=0)
    first, last = map(int, (asked.seeds or f"{begin}:{begin + 10**6}").split(":"))
    started = time.monotonic()
    counts = run(range(first, last), started + 60.0 * asked.minutes, asked.real)
    row = {"seeds": f"{first}:{counts['next']}", "seconds": round(time.monotonic() - started, 1),
           "counts": dict(sorted(counts.items()))}  # fmt: skip
    print(json.dumps(row))
    if asked.keep:
        with KEPT.open("a", encoding="utf-8") as file:
            file.write(json.dumps(row) + "\n")
    return int(counts["findings"] > 0)


if __name__ == "__main__":
    sys.exit(main())
