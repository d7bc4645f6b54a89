"""Errors carry what a person needs, end in the contract's exit codes, and survive pickling."""

import pickle

import pytest

from simkit import errors
from simkit.errors import EngineError, InputError, Problem, SimkitError


def test_a_problem_reads_place_field_rule_value_hint() -> None:
    problem = Problem("m.toml", 12, "tank.cans", "20.5", "must be a whole number", "write 20")
    assert str(problem) == "m.toml:12: tank.cans: must be a whole number; written: 20.5; write 20"


@pytest.mark.parametrize(
    ("problem", "text"),
    [
        (Problem("m.toml", None, "", "", "there is no such file"), "m.toml: there is no such file"),
        (Problem("m.toml", 3, "", "x", "is wrong"), "m.toml:3: is wrong; written: x"),
        (Problem("--set", None, "a.b", "", "is wrong", "try c"), "--set: a.b: is wrong; try c"),
    ],
)
def test_what_a_problem_lacks_leaves_no_gap(problem: Problem, text: str) -> None:
    assert str(problem) == text


def test_an_input_error_lists_all_problems() -> None:
    problems = [Problem("m.toml", n, "a", "", f"rule {n}") for n in (1, 2, 3)]
    error = InputError(iter(problems))
    assert error.problems == tuple(problems)
    assert str(error).splitlines() == [str(p) for p in problems]


# The exit codes are those of the command contract: 2 input, 3 no verdict, 4 own fault.
@pytest.mark.parametrize(
    ("kind", "code"),
    [
        ("SimkitError", 4),
        ("InputError", 2),
        ("EngineError", 3),
        ("EngineMissing", 3),
        ("EngineFailed", 3),
        ("EngineTimeout", 3),
    ],
)
def test_each_error_knows_its_exit_code(kind: str, code: int) -> None:
    assert getattr(errors, kind).exit_code == code
    assert issubclass(getattr(errors, kind), SimkitError)


@pytest.mark.parametrize("kind", [EngineError, errors.EngineFailed, errors.EngineTimeout])
def test_an_engine_error_crosses_processes_with_its_log(kind: type[EngineError]) -> None:
    back = pickle.loads(pickle.dumps(kind("stopped at 1 ms", iter(["a", "b"]))))
    assert type(back) is kind
    assert (back.reason, back.log, str(back)) == ("stopped at 1 ms", ("a", "b"), "stopped at 1 ms")


def test_an_input_error_crosses_processes_with_its_problems() -> None:
    error = InputError([Problem("m.toml", 1, "a", "", "rule")])
    assert pickle.loads(pickle.dumps(error)).problems == error.problems
