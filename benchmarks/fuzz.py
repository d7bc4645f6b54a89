"""Coverage-guided fuzzing of everything that reads.

    python -m benchmarks.fuzz [--inputs N] [--write] [TARGET ...]

Each target of tests/robust/targets.py runs in a process of its own under atheris (extra "fuzz"),
which keeps an input when it reaches code that no other reached. Prints one row a target and
leaves inputs that broke a promise in the folder it names; such an input, made small, belongs into
tests/robust/corpus/, where the tests replay it. `--write` puts the figures
of a run of all targets into docs/fuzzing.md. Rows are kept in benchmarks/fuzz.jsonl as they come,
each with its run and the code it fuzzed: a run that was stopped goes on with the
rows of the same code, and the page says how many runs it joins. `--fresh` fuzzes anew.
"""

import argparse
import hashlib
import json
import platform
import re
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict, dataclass
from pathlib import Path

from benchmarks import plausible

ROOT = Path(__file__).resolve().parents[1]
KEPT = Path(__file__).with_suffix(".jsonl")
PAGE = ROOT / "docs" / "fuzzing.md"
CORPUS = ROOT / "tests" / "robust" / "corpus"
FUZZED = ("simkit", "tests/robust/targets.py")
"""The package, and what holds it to its promises."""
SHARES = {"machine-built": 0.01, "kept-entry": 0.05, "shared-entry": 0.1, "machine": 0.14}
"""Share of the inputs of the slow targets; the others take the rest in equal parts."""
LINE = (
    "{target:14} {inputs:8} inputs {features:6} features {kept:5} paths "
    "{findings:3} findings {seconds:7.1f} s"
)
LONGEST = 5
"""Seconds after which an input counts as a hang."""


@dataclass(frozen=True)
class Row:
    """What fuzzing one target gave."""

    target: str
    inputs: int
    features: int
    """Distinct edges and counts of edges that the inputs reached."""
    kept: int
    """Inputs that each reached something new: distinct paths."""
    findings: int
    seconds: float
    run: str
    """When the run began that gave this row, local time."""
    code: str
    """What was fuzzed: a commit, or a digest of files that are in none."""


def code_name() -> str:
    """The last commit that touched what is fuzzed, or a digest where it was changed since."""
    git = ["git", "-C", str(ROOT)]
    changed = subprocess.run([*git, "status", "--porcelain", "--", *FUZZED],
                             capture_output=True, text=True)  # fmt: skip
    if changed.returncode == 0 and not changed.stdout:
        command = [*git, "log", "-1", "--format=%h", "--", *FUZZED]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        return f"commit {done.stdout.strip()}"
    found = hashlib.sha256()
    for path in sorted(p for name in FUZZED for p in [ROOT / name, *(ROOT / name).rglob("*")]):
        if path.suffix in (".py", ".toml", ".j2"):
            found.update(f"{path.relative_to(ROOT)}\0".encode() + path.read_bytes())
    return f"digest {found.hexdigest()[:12]}"


def one(target: str, inputs: int, folder: Path, run: str, code: str) -> Row:
    """Fuzz one target in a process of its own."""
    from tests.robust.targets import seeds

    corpus, found = folder / target, folder / f"{target}-found"
    corpus.mkdir()
    found.mkdir()
    for number, content in enumerate(seeds(target)):
        (corpus / f"seed-{number}").write_bytes(content)
    started = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.fuzz", "--child", target, str(corpus),
         f"-runs={inputs}", f"-timeout={LONGEST}", "-max_len=20000", "-rss_limit_mb=4096",
         f"-artifact_prefix={found}/", "-print_final_stats=1", "-seed=1"],
        capture_output=True, text=True, errors="replace",
    )  # fmt: skip
    said = done.stderr
    features = [int(n) for n in re.findall(r"ft: (\d+)", said)]
    runs = re.findall(r"stat::number_of_executed_units:\s*(\d+)", said)
    if not runs:
        print(said[-2000:], file=sys.stderr)
    return Row(target, int(runs[-1]) if runs else 0, max(features, default=0),
               len(list(corpus.iterdir())), len(list(found.iterdir())),
               round(time.perf_counter() - started, 1), run, code)  # fmt: skip


TEXT = """# Fuzzing: any bytes where a file is expected

Files are shared in forums, so whatever reads one is fed changed and random bytes. Each input must
end in a value or in a refusal that names file and rule: no traceback, no hang over {longest} s,
nothing written outside the folder it may use. `python -m benchmarks.fuzz --write` (extra `fuzz`)
wrote this page on {date}, Python {python}; what each target promises stands in
`tests/robust/targets.py`.

**{inputs} inputs, {paths} unique paths, {findings} findings**, {minutes:.1f} minutes on
one core. {joined}

A path is an input kept because it reached code, or a count of it, that no other reached; features
are distinct edges and counts of edges. Findings are inputs that broke a promise.

| target | inputs | features | unique paths | findings | time [s] |
| --- | --- | --- | --- | --- | --- |
{rows}

`machine-built` goes on from the file to the circuit's values; `kept-entry` damages an entry of the
cache under the name of the whole one; `shared-entry` names it by its own true digest, as somebody
else could hand it over, waveforms included.

## Found and mended

Each of these {fixed} inputs broke a promise once, in an earlier run. The quick tests replay them
all (`tests/robust/test_fuzz.py`), in {replay:.1f} s together when this page was written.

{corpus}
"""


def kept_rows(code: str) -> dict[str, Row]:
    """Rows of earlier runs of this code by target, the last of each."""
    lines = KEPT.read_text(encoding="utf-8").splitlines() if KEPT.exists() else []
    found = [json.loads(line) for line in lines]
    return {d["target"]: Row(**d) for d in found if d.get("code") == code}


def joined(rows: list[Row]) -> str:
    """How many runs the rows come from, and of which code, in words."""
    runs, codes = sorted({r.run for r in rows}), sorted({r.code for r in rows})
    head = "All rows are of one run" if len(runs) == 1 else f"The rows join {len(runs)} runs"
    return f"{head}, begun {', '.join(runs)}; code fuzzed: {', '.join(codes)}."


def replay() -> float:
    """Time that the kept findings take together [s]; one that is found again raises."""
    from tests.robust.targets import TARGETS

    started = time.perf_counter()
    for path in sorted(CORPUS.glob("*/*")):
        TARGETS[path.parent.name](path.read_bytes())
    return time.perf_counter() - started


def page(rows: list[Row]) -> str:
    """The figures of a run as Markdown."""
    kept = sorted(CORPUS.glob("*/*"))
    return TEXT.format(
        longest=LONGEST,
        date=time.strftime("%Y-%m-%d"),
        python=platform.python_version(),
        inputs=f"{sum(r.inputs for r in rows):,}",
        paths=f"{sum(r.kept for r in rows):,}",
        findings=sum(r.findings for r in rows),
        minutes=sum(r.seconds for r in rows) / 60.0,
        joined=joined(rows),
        rows="\n".join(
            f"| {r.target} | {r.inputs:,} | {r.features:,} | {r.kept} | {r.findings} | "
            f"{r.seconds:.0f} |"
            for r in rows
        ),
        fixed=len(kept),
        replay=replay(),
        corpus="\n".join(f"- {p.parent.name}: {p.name.replace('-', ' ')}" for p in kept),
    )


def child(target: str, arguments: list[str]) -> None:
    """The process that atheris runs in."""
    import atheris

    # What unpacks an entry is the library's own, so its paths count too.
    more = ["zipfile", "json"] if target == "shared-entry" else []
    with atheris.instrument_imports(include=["simkit", "tomllib", *more]):
        from tests.robust.targets import TARGETS

    atheris.Setup([sys.argv[0], *arguments], TARGETS[target])
    atheris.Fuzz()


def main() -> int:
    """Fuzz every target; 1 when anything was found."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.fuzz")
    parser.add_argument("--inputs", type=int, default=100_000)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--fresh", action="store_true", help="fuzz what is kept again")
    parser.add_argument("targets", nargs="*")
    asked = parser.parse_args()
    if asked.write and asked.targets:
        parser.error("--write tells of a run of all targets")
    from tests.robust.targets import TARGETS

    names = asked.targets or list(TARGETS)
    fast = [n for n in names if n not in SHARES]
    rest = (1.0 - sum(SHARES.get(n, 0.0) for n in names)) / max(len(fast), 1)
    shares = {n: int(asked.inputs * SHARES.get(n, rest)) for n in names}
    # What rounding leaves goes to one of them, so that the sum is what was asked for.
    if fast:
        shares[fast[-1]] += asked.inputs - sum(shares.values())
    folder = Path(tempfile.mkdtemp(prefix="simkit-fuzz-"))
    rows = []
    run, code = time.strftime("%Y-%m-%d %H:%M:%S"), code_name()
    before = {} if asked.fresh else kept_rows(code)
    for name in names:
        inputs, row = shares[name], before.get(name)
        if row is None or row.inputs < inputs:
            row = one(name, inputs, folder, run, code)
            with KEPT.open("a", encoding="utf-8") as file:
                file.write(json.dumps(asdict(row)) + "\n")
        rows.append(row)
        if not asked.json:
            print(LINE.format(**asdict(rows[-1])), flush=True)
    if asked.json:
        print(json.dumps([asdict(row) for row in rows], indent=1))
    if asked.write:
        PAGE.write_text(page(rows), encoding="utf-8")
        plausible.write()  # its section of the page
    print(f"inputs kept in {folder}", file=sys.stderr)
    return int(any(row.findings for row in rows))


if __name__ == "__main__":
    if sys.argv[1:2] == ["--child"]:
        child(sys.argv[2], sys.argv[3:])
    sys.exit(main())
