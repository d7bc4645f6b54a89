"""Mutation of the judging path: is there a test that notices when a measure or a verdict is wrong?

    python -m benchmarks.mutants [PART]     mutants not tried yet, then docs/mutants.md
    python -m benchmarks.mutants --again    and the survivors once more
    python -m benchmarks.mutants --fresh    all of them again
    python -m benchmarks.mutants --list     survivors without a reason
    python -m benchmarks.mutants --page     docs/mutants.md from what is recorded

PART is part of a module's name. One process.

One mutant at a time, in a forked process: the mutated syntax tree takes the module's place before
the tests import it; no file of the tree is touched. Results are recorded by the mutant's own text,
so that a run goes on where another ended, and what changed is tried again. A mutant is killed when
a test fails, or when its tests have taken SECONDS of processor time, 20 times what they take
without it: then it loops. Waiting for a busy machine does not count.

Cautions are words, not decisions: left out, as
are docstrings, messages, annotations and names given to types everywhere: nothing reads them when
the program runs. A survivor's reason stands in benchmarks/mutants_explained.toml; a test says when
one has no survivor any more.
"""

import argparse
import ast
import atexit
import contextlib
import gc
import hashlib
import importlib.abc
import importlib.machinery
import io
import json
import os
import resource
import shutil
import signal
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from types import ModuleType

from benchmarks.mutations import Mutant, mutants

ROOT = Path(__file__).resolve().parents[1]
RECORD = ROOT / "benchmarks" / "mutants.json"
REASONS = ROOT / "benchmarks" / "mutants_explained.toml"
PAGE = ROOT / "docs" / "mutants.md"
SECONDS = 20
"""Processor time; a module's tests take less than one."""
HUNG = 600.0
"""A test that waits for nothing takes no processor time; none did yet [s]."""
GOAL = 0.9
WORDS = ("cautions", "elements", "__init__")
MEASURE = "tests/unit/test_measure"
TESTS = {
    "judge": ("tests/unit/test_judge.py", "tests/unit/test_verdict.py"),
    "bench": (f"{MEASURE}_bench.py",),
    "ringing": ("tests/unit/test_ringing.py",),
    "energy": (f"{MEASURE}_energy.py",),
    "point": (f"{MEASURE}_series.py",),
    "switch": (f"{MEASURE}_series.py",),
    "tank": (f"{MEASURE}_series.py",),
    "series": ("tests/unit/test_judge.py", f"{MEASURE}.py"),
    "waveforms": (f"{MEASURE}_waveforms.py",),
    "periodic": (f"{MEASURE}_periodic.py", f"{MEASURE}.py", f"{MEASURE}_edges.py"),
    "commutation": (f"{MEASURE}_commutation.py", f"{MEASURE}_edges.py"),
    "recovery": (f"{MEASURE}_commutation.py", f"{MEASURE}.py", f"{MEASURE}_edges.py"),
    "gate_edge": (f"{MEASURE}_gate_edge.py",),
    "gate": (f"{MEASURE}_commutation.py", f"{MEASURE}_edges.py"),
}
"""Tests of each module; "judge" is every module there."""
WAITING = ("capture", "part_loads")
"""Modules whose mutants nobody has tried yet; the page says so."""


@dataclass(frozen=True)
class Swap(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Hands out a mutated tree for one module."""

    name: str
    path: str
    tree: ast.Module

    def find_spec(
        self, fullname: str, path: object, target: object = None
    ) -> importlib.machinery.ModuleSpec | None:
        """The spec of the one module; other finders have the others."""
        if fullname != self.name:
            return None
        return importlib.machinery.ModuleSpec(fullname, self, origin=self.path)

    def exec_module(self, module: ModuleType) -> None:
        """Run the mutated tree as the module."""
        exec(compile(self.tree, self.path, "exec"), module.__dict__)


def modules() -> Iterator[Path]:
    """The modules whose mutants are tried."""
    for folder in ("judge", "measure"):
        found = sorted((ROOT / "simkit" / folder).glob("*.py"))
        yield from (p for p in found if p.stem not in (*WORDS, *WAITING))


def asked_of(path: Path) -> tuple[str, ...]:
    """The tests that are asked about a module's mutants."""
    return TESTS["judge" if path.parent.name == "judge" else path.stem]


def text_of(path: Path) -> str:
    """What a record holds for: the module and its tests."""
    parts = [path, *(ROOT / t for t in asked_of(path)), ROOT / "tests" / "waves.py"]
    return hashlib.sha256(b"".join(p.read_bytes() for p in parts)).hexdigest()[:16]


def tried(path: Path, tree: ast.Module) -> str:
    """ "killed", "timeout" or "survived" for one tree in a module's place."""
    child = os.fork()
    if child == 0:
        resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS + 1))
        os._exit(_in_child(path, tree))
    end = time.monotonic() + HUNG
    while time.monotonic() < end:
        done, code = os.waitpid(child, os.WNOHANG)
        if done:
            if os.WIFSIGNALED(code) and os.WTERMSIG(code) in (signal.SIGXCPU, signal.SIGKILL):
                return "timeout"
            return "survived" if code == 0 else "killed"
        time.sleep(0.005)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    raise SystemExit(f"{path}: a mutant waits for ever")


def _in_child(path: Path, tree: ast.Module) -> int:
    import pytest

    sink = os.open(os.devnull, os.O_WRONLY)
    os.dup2(sink, 1)
    os.dup2(sink, 2)
    name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
    for old in [n for n in sys.modules if n.startswith(("simkit.judge", "simkit.measure"))]:
        del sys.modules[old]
    for old in [n for n in sys.modules if n.startswith(("tests.unit", "tests.waves"))]:
        del sys.modules[old]
    sys.meta_path.insert(0, Swap(name, str(path), tree))
    options = ["-q", "-x", "-p", "no:cacheprovider", "--tb=no", "--assert=plain"]
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            return int(pytest.main([*options, *(str(ROOT / t) for t in asked_of(path))]))
    except BaseException:  # noqa: BLE001 - whatever a mutant raises kills it
        return 1


@dataclass
class Record:
    """What became of a module's mutants."""

    text: str = ""
    """Digest of module and tests that it holds for; empty while some are left to try."""
    killed: list[str] = field(default_factory=list)
    """By a test; keys."""
    timeout: list[str] = field(default_factory=list)
    """By time; keys."""
    survived: dict[str, str] = field(default_factory=dict)
    """What each one is, by key."""

    def note(self, mutant: Mutant, result: str) -> None:
        """Keep one result."""
        if result == "survived":
            self.survived[mutant.key] = mutant.shown
        else:
            getattr(self, result).append(mutant.key)

    @property
    def counts(self) -> Counter[str]:
        """How many of each."""
        return Counter(killed=len(self.killed), timeout=len(self.timeout),
                       survived=len(self.survived))  # fmt: skip


def recorded() -> dict[str, Record]:
    """Record by module."""
    if not RECORD.exists():
        return {}
    return {name: Record(**told) for name, told in json.loads(RECORD.read_text()).items()}


def run(only: str, *, fresh: bool, again: bool) -> None:
    """Try what is not recorded; a survivor is tried again when its tests have changed."""
    _load()
    records = recorded()
    for path in modules():
        name = str(path.relative_to(ROOT))
        old = Record() if fresh else records.get(name, Record())
        if only not in name or (old.text == text_of(path) and not again):
            continue
        if tried(path, ast.parse(path.read_text())) != "survived":
            raise SystemExit(f"{name}: its tests fail without any mutant")
        own = records[name] = Record()
        left = []
        for mutant in mutants(path.read_text()):
            # A killed mutant stays killed as long as it is the same mutant: tests are only added.
            known = next((k for k in ("killed", "timeout") if mutant.key in getattr(old, k)), None)
            if known:
                own.note(mutant, known)
            else:
                left.append(mutant)
        for mutant in left:
            own.note(mutant, tried(path, mutant.tree))
            _keep(records)
        own.text = text_of(path)
        _keep(records)
        print(name, dict(own.counts), flush=True)


def _load() -> None:
    """What every child needs, once before the forks: only the code under trial comes anew."""
    import pytest  # noqa: F401 - see above
    import scipy.optimize  # noqa: F401 - see above

    from tests.machines import demo

    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    scratch = tempfile.mkdtemp(prefix="mutants-")
    atexit.register(shutil.rmtree, scratch, ignore_errors=True)  # children leave by os._exit
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", scratch)
    demo()
    gc.collect()
    gc.freeze()


def _keep(records: dict[str, Record]) -> None:
    part = RECORD.with_suffix(".part")
    # In one order, however they were found: a run that finds the same leaves the same file.
    told = {
        name: {k: sorted(v) if isinstance(v, list) else v for k, v in asdict(record).items()}
        for name, record in records.items()
    }
    part.write_text(json.dumps(told, indent=1, sort_keys=True) + "\n")
    part.replace(RECORD)


def survivors() -> list[str]:
    """Every survivor that is recorded, as "judge/verdict.py: function: before -> after"."""
    return [
        f"{name.removeprefix('simkit/')}: {shown}"
        for name, record in sorted(recorded().items())
        for shown in sorted(record.survived.values())
    ]


def reasons() -> dict[str, str]:
    """Why a survivor changes nothing that a test could notice, by survivor."""
    told = tomllib.loads(REASONS.read_text())["explained"]
    return {survivor: entry["reason"] for entry in told for survivor in entry["survivors"]}


def page() -> str:
    """The text of docs/mutants.md, from the record and the reasons alone."""
    rows, why = [], reasons()
    total: Counter[str] = Counter()
    for name, record in sorted(recorded().items()):
        total += record.counts
        rows.append(_row(name, record.counts))
    left = []
    for survivor in survivors():
        module, mutant = survivor.split(": ", 1)
        left.append(f"| `{module}` | `{mutant}` | {why.get(survivor, 'not explained')} |")
    known = sum(s in why for s in survivors())
    head = (__doc__ or "").split("\n\n")
    return "\n".join(
        [
            "# Mutants of the judging path", "",
            "Made by `python -m benchmarks.mutants`. " + head[3].replace("\n", " "), "",
            head[4].strip().replace("\n", " "), "",
            f"The goal is {GOAL:.0%} killed. A mutant is one change: a comparison, an operator, a",
            "sign, a number, `and` for `or`, a call's function or argument, a condition, a",
            "statement left out, a returned value replaced by None. Each module listed was tried",
            "as it stood then; most of them, and their tests, have changed since, and",
            f"{' and '.join(f'`{name}`' for name in WAITING)} in `simkit/measure/` wait for their",
            "turn.", "",
            "| module | mutants | killed | of them by time | survived | score |",
            "| --- | ---: | ---: | ---: | ---: | ---: |",
            *rows, _row("**all**", total), "",
            "## Survivors", "",
            f"{len(survivors())} survived; {known} of them are explained.", "",
            "| where | mutant | why no test notices |", "| --- | --- | --- |",
            *left, "",
        ]
    )  # fmt: skip


def _row(name: str, counts: Counter[str]) -> str:
    size = counts.total()
    dead = counts["killed"] + counts["timeout"]
    share = f"{dead / size:.1%}" if size else "none"
    return f"| {name} | {size} | {dead} | {counts['timeout']} | {counts['survived']} | {share} |"


def main() -> None:
    """Try mutants, or show what is recorded."""
    parser = argparse.ArgumentParser(description="Mutation of simkit/judge and simkit/measure.")
    parser.add_argument("only", nargs="?", default="", help="part of a module's name")
    parser.add_argument("--again", action="store_true", help="try survivors again")
    parser.add_argument("--fresh", action="store_true", help="try all again")
    parser.add_argument("--list", action="store_true", help="survivors without a reason")
    parser.add_argument("--page", action="store_true", help="write docs/mutants.md only")
    wanted = parser.parse_args()
    if wanted.list:
        print(*(s for s in survivors() if s not in reasons() and wanted.only in s), sep="\n")
        return
    if not wanted.page:
        run(wanted.only, fresh=wanted.fresh, again=wanted.again)
    PAGE.write_text(page())


if __name__ == "__main__":
    main()
