"""Coverage-guided fuzzing of everything that reads: `python -m benchmarks.fuzz [--inputs N]`.

Each target of tests/robust/targets.py runs in a process of its own under atheris (extra "fuzz"),
which keeps an input when it reaches code that no other reached. Prints one row a target and
leaves inputs that broke a promise in the folder it names; such an input, made small, belongs into
tests/robust/corpus/, where the tests replay it.
"""

import argparse
import json
import re
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict, dataclass
from pathlib import Path

SHARES = {"machine-built": 0.01, "kept-entry": 0.05, "machine": 0.14}
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


def one(target: str, inputs: int, folder: Path) -> Row:
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
               round(time.perf_counter() - started, 1))  # fmt: skip


def child(target: str, arguments: list[str]) -> None:
    """The process that atheris runs in."""
    import atheris

    with atheris.instrument_imports(include=["simkit", "tomllib"]):
        from tests.robust.targets import TARGETS

    atheris.Setup([sys.argv[0], *arguments], TARGETS[target])
    atheris.Fuzz()


def main() -> int:
    """Fuzz every target; 1 when anything was found."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.fuzz")
    parser.add_argument("--inputs", type=int, default=100_000)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("targets", nargs="*")
    asked = parser.parse_args()
    from tests.robust.targets import TARGETS

    names = asked.targets or list(TARGETS)
    fast = [n for n in names if n not in SHARES]
    rest = (1.0 - sum(SHARES.get(n, 0.0) for n in names)) / max(len(fast), 1)
    folder = Path(tempfile.mkdtemp(prefix="simkit-fuzz-"))
    rows = []
    for name in names:
        rows.append(one(name, int(asked.inputs * SHARES.get(name, rest)), folder))
        if not asked.json:
            print(LINE.format(**asdict(rows[-1])), flush=True)
    if asked.json:
        print(json.dumps([asdict(row) for row in rows], indent=1))
    print(f"inputs kept in {folder}", file=sys.stderr)
    return int(any(row.findings for row in rows))


if __name__ == "__main__":
    if sys.argv[1:2] == ["--child"]:
        child(sys.argv[2], sys.argv[3:])
    sys.exit(main())
