"""What the page shows, as a scenario: its load, its frequency, and something that happens there.

The scenario lies beside copies of the machine file and of every file it names, so that it can be
run again as it was: a file may name others no further away than beside its own folder.
"""

from collections.abc import Mapping
from pathlib import Path

from simkit.errors import InputError, Problem
from simkit.parameters.reading import file_bytes, noting
from simkit.studies.bring_up.trials import DROPPED, KEPT, LIFTED, WARMED, cases_for
from simkit.studies.inputs.loading import load_machine
from simkit.studies.situations.base import Situation
from simkit.studies.situations.write import scenario_file

MARK = "screen:"
"""Begins the name under which the page asks for one of these."""
TITLES = {
    LIFTED: "As on the screen, the piece lifted out",
    DROPPED: "As on the screen, the piece dropped in",
    WARMED: "As on the screen, the piece warmed through",
    KEPT: "As on the screen, left running",
}


def on_screen() -> list[dict[str, str]]:
    """The choices of the page."""
    told = "Load and drive frequency are those on this page, and so are the values."
    return [{"file": f"{MARK}{k}", "title": t, "description": told} for k, t in TITLES.items()]


def write_screen(
    file: Path, overrides: Mapping[str, str], wanted: str, load: str, frequency: float, folder: Path
) -> Path:
    """Write the scenario of what is shown, and copies of the machine's files, beneath a folder.

    Errors: InputError for wrong values, and when that cannot happen with this load.
    """
    with noting() as opened:
        machine = load_machine(file, overrides).model
    kind = wanted.removeprefix(MARK)
    known = load in (*machine.workpieces, "empty")
    at = {"frequency": float(f"{frequency:.6g}")}
    cases = cases_for(machine, load, at) if known else {}
    if kind not in cases:
        rule = f"cannot happen with {load} in the coil"
        raise InputError([Problem("rehearse", None, "", TITLES.get(kind, wanted), rule)])
    around = file.resolve().parent.parent
    for one in {Path(o.path).resolve() for o in opened}:
        copy = folder / one.relative_to(around)
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_bytes(file_bytes(one))
    name = f"screen-{kind}-{load}-{frequency:.0f}-hz"
    scenario = cases[kind].scenario.model_copy(update={"name": name, "title": TITLES[kind]})
    about = Situation(name, "screen", TITLES[kind], "the run decides.", lambda _: cases[kind])
    target = folder / file.resolve().relative_to(around).parent / f"{name}.toml"
    target.write_text(scenario_file(about, scenario, file.name), encoding="utf-8")
    return target
