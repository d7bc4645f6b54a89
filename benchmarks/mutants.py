"""Mutation of the judging path: is there a test that notices when a measure or a verdict is wrong?

    python -m benchmarks.mutants            mutants not tried yet, then docs/mutants.md
    python -m benchmarks.mutants --fresh    all of them again
    python -m benchmarks.mutants --list     survivors without a reason
    python -m benchmarks.mutants --page     docs/mutants.md from what is recorded

One mutant at a time, in a forked process: the mutated syntax tree takes the module's place before
the tests import it; no file of the tree is touched. Results are recorded by the mutant's own text,
so that a run goes on where another ended, and what changed is tried again. A mutant is killed when
a test fails, or when its tests have taken SECONDS of processor time, 20 times what they take
without it: then it loops. Waiting for a busy machine does not count.

The texts in judge/definitions.py and judge/quantities.py are words, not decisions: left out, as
are docstrings, messages and annotations everywhere.
"""

import argparse
import ast
import contextlib
import gc
import hashlib
import importlib.abc
import importlib.machinery
import io
import json
import os
import resource
import signal
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

from benchmarks.mutations import Mutant, mutants

ROOT = Path(__file__).resolve().parents[1]
RECORD = ROOT / "benchmarks" / "mutants.json"
REASONS = ROOT / "benchmarks" / "mutants.toml"
PAGE = ROOT / "docs" / "mutants.md"
SECONDS = 20
"""Processor time; a module's tests take less than one."""
HUNG = 600.0
"""A test that waits for nothing takes no processor time; none did yet [s]."""
GOAL = 0.9
WORDS = ("definitions", "quantities", "__init__")
MEASURE = "tests/unit/test_measure"
TESTS = {
    "judge": ("tests/unit/test_judge.py", "tests/unit/test_verdict.py"),
    "bench": (f"{MEASURE}_bench.py",),
    "ringing": ("tests/unit/test_ringing.py",),
    "energy": (f"{MEASURE}_energy.py",),
    "thermal": (f"{MEASURE}_series.py",),
    "point": (f"{MEASURE}_series.py",),
    "switch": (f"{MEASURE}_series.py",),
    "tank": (f"{MEASURE}_series.py",),
    "series": ("tests/unit/test_judge.py", f"{MEASURE}.py"),
    "waveforms": (f"{MEASURE}_waveforms.py",),
    "periodic": (f"{MEASURE}_periodic.py", f"{MEASURE}.py", f"{MEASURE}_edges.py"),
    "commutation": (f"{MEASURE}_commutation.py", f"{MEASURE}_edges.py"),
    "recovery": (f"{MEASURE}_commutation.py", f"{MEASURE}.py", f"{MEASURE}_edges.py"),
    "gate": (f"{MEASURE}_commutation.py", f"{MEASURE}_edges.py"),
}
"""Tests of each module; "judge" is every module there."""


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
        yield from (
            p for p in sorted((ROOT / "simkit" / folder).glob("*.py")) if p.stem not in WORDS
        )


def tests_of(path: Path) -> tuple[str, ...]:
    """The tests that are asked about a module's mutants."""
    return TESTS["judge" if path.parent.name == "judge" else path.stem]


def text_of(path: Path) -> str:
    """What a record holds for: the module and its tests."""
    parts = [path, *(ROOT / t for t in tests_of(path)), ROOT / "tests" / "waves.py"]
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
            return int(pytest.main([*options, *(str(ROOT / t) for t in tests_of(path))]))
    except BaseException:  # noqa: BLE001 - whatever a mutant raises kills it
        return 1


def recorded() -> dict[str, dict[str, str]]:
    """Result by module and mutant."""
    return json.loads(RECORD.read_text()) if RECORD.exists() else {}


def run(only: str, fresh: bool) -> None:
    """Try what is not recorded; a survivor is tried again when its tests have changed."""
    _load()
    record = recorded()
    for path in modules():
        name = str(path.relative_to(ROOT))
        if only and only not in name:
            continue
        own = record.setdefault(name, {})
        if fresh:
            own = {}
        if own.get("text") == text_of(path):
            continue
        if tried(path, ast.parse(path.read_text())) != "survived":
            raise SystemExit(f"{name}: its tests fail without any mutant")
        found = list(mutants(path.read_text()))
        # A killed mutant stays killed as long as it is the same mutant: tests are only added.
        kept = {m.key: own[m.key] for m in found if own.get(m.key) in ("killed", "timeout")}
        record[name] = kept
        for mutant in found:
            if mutant.key not in kept:
                kept[mutant.key] = tried(path, mutant.tree)
                _keep(record)
        kept["text"] = text_of(path)
        _keep(record)
        print(name, dict(Counter(v for k, v in kept.items() if k != "text")), flush=True)


def _load() -> None:
    """What every child needs, once before the forks: only the code under trial comes anew."""
    import pytest  # noqa: F401 - see above
    import scipy.optimize  # noqa: F401 - see above

    from tests.machines import demo

    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", tempfile.mkdtemp(prefix="mutants-"))
    demo()
    gc.collect()
    gc.freeze()


def _keep(record: dict[str, dict[str, str]]) -> None:
    part = RECORD.with_suffix(".part")
    part.write_text(json.dumps(record, indent=1, sort_keys=True) + "\n")
    part.replace(RECORD)


def survivors(path: Path) -> list[Mutant]:
    """Mutants of a module that no test noticed."""
    own = recorded().get(str(path.relative_to(ROOT)), {})
    return [m for m in mutants(path.read_text()) if own.get(m.key) == "survived"]


def reasons() -> dict[str, str]:
    """Why a survivor changes nothing that a test could notice, by mutant."""
    return tomllib.loads(REASONS.read_text()) if REASONS.exists() else {}


def page() -> str:
    """The text of docs/mutants.md."""
    rows, left, why = [], [], reasons()
    total: Counter[str] = Counter()
    for path in modules():
        name = str(path.relative_to(ROOT))
        counts = Counter(v for k, v in recorded().get(name, {}).items() if k != "text")
        total += counts
        rows.append(_row(name, counts))
        left += [
            f"| `{path.stem}.py` {m.line} | `{m.shown}` | {why.get(m.key, 'not explained')} |"
            for m in survivors(path)
        ]
    head = (__doc__ or "").split("\n\n")
    return "\n".join(
        [
            "# Mutants of the judging path", "",
            "Made by `python -m benchmarks.mutants`. " + head[2].replace("\n", " "), "",
            head[3].strip().replace("\n", " "), "",
            f"The goal is {GOAL:.0%} killed. A mutant is one change: a comparison, an operator, a",
            "sign, a number, `and` for `or`, a call's function or argument, a condition, a",
            "statement left out, a returned value replaced by None. Every one was tried.", "",
            "| module | mutants | killed | of them by time | survived | score |",
            "| --- | ---: | ---: | ---: | ---: | ---: |",
            *rows, _row("**all**", total), "",
            "## Survivors", "", "| where | mutant | why no test notices |", "| --- | --- | --- |",
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
    parser.add_argument("--fresh", action="store_true", help="try all again")
    parser.add_argument("--list", action="store_true", help="survivors without a reason")
    parser.add_argument("--page", action="store_true", help="write docs/mutants.md only")
    wanted = parser.parse_args()
    if wanted.list:
        for path in modules():
            for m in survivors(path):
                if m.key not in reasons() and wanted.only in str(path):
                    print(f"{m.key} {path.name}:{m.line} {m.shown}")
        return
    if not wanted.page:
        run(wanted.only, wanted.fresh)
    PAGE.write_text(page())


if __name__ == "__main__":
    main()
