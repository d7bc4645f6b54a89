"""The command line: exit codes of the command contract, errors in words and as JSON, quick help.

Exit codes: 0 within limits, 1 over a limit, 2 wrong input, 3 no verdict, 4 own fault; 130 is what a
shell reports for an interrupted program, 141 for one that wrote to a closed pipe (128 + signal).
"""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import NoReturn

import click
import pytest

from simkit import cli
from simkit.errors import EngineTimeout, InputError, Problem

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def verb(monkeypatch: pytest.MonkeyPatch) -> Callable[[Callable[[], object]], None]:
    """Puts a verb `probe` in place whose body is the function given."""

    def install(body: Callable[[], object]) -> None:
        command = click.Command("probe", callback=lambda as_json: body())
        command.params.append(click.Option(["--json", "as_json"], is_flag=True))
        monkeypatch.setitem(cli.VERBS, "probe", "For tests.")
        get = cli.LazyGroup.get_command
        monkeypatch.setattr(
            cli.LazyGroup,
            "get_command",
            lambda self, ctx, name: command if name == "probe" else get(self, ctx, name),
        )

    return install


def throw(error: BaseException) -> Callable[[], NoReturn]:
    def body() -> NoReturn:
        raise error

    return body


Install = Callable[[Callable[[], object]], None]
PROBLEM = Problem("m.toml", 3, "tank.cans", "x", "must be a whole number", "write 20")


@pytest.mark.parametrize("code", [0, 1, 3])
def test_a_verb_says_its_own_exit_code(verb: Install, code: int) -> None:
    verb(lambda: code)
    assert cli.run(["probe"]) == code


@pytest.mark.parametrize(
    ("error", "code", "kind", "said"),
    [
        (InputError([PROBLEM, PROBLEM]), 2, "input", str(PROBLEM)),
        (EngineTimeout("used up its 5 s", ["tran: 34 %"]), 3, "no verdict", "used up its 5 s"),
        (ZeroDivisionError("by zero"), 4, "fault of simkit", "ZeroDivisionError: by zero"),
        (KeyboardInterrupt(), 130, "interrupted", "what was written before is whole"),
    ],
)
def test_an_error_ends_in_its_code_and_one_block(
    verb: Install,
    capsys: pytest.CaptureFixture[str],
    error: BaseException,
    code: int,
    kind: str,
    said: str,
) -> None:
    verb(throw(error))
    assert cli.run(["probe"]) == code
    out, err = capsys.readouterr()
    assert out == ""
    assert err.lstrip().startswith(f"simkit: {kind}\n")
    assert said in err
    assert "Traceback" not in err


def test_an_error_is_one_json_document_on_demand(
    verb: Install, capsys: pytest.CaptureFixture[str]
) -> None:
    verb(throw(InputError([PROBLEM])))
    assert cli.run(["probe", "--json"]) == 2
    document = json.loads(capsys.readouterr().out)
    assert (document["schema"], document["error"], document["exit_code"]) == (
        "simkit.error/1",
        "input",
        2,
    )
    (problem,) = document["problems"]
    assert (problem["file"], problem["line"], problem["field"]) == ("m.toml", 3, "tank.cans")
    assert problem["text"] == str(PROBLEM)


def test_the_engines_own_lines_are_in_the_json(
    verb: Install, capsys: pytest.CaptureFixture[str]
) -> None:
    verb(throw(EngineTimeout("used up its 5 s", ["tran: 34 %"])))
    assert cli.run(["probe", "--json"]) == 3
    assert json.loads(capsys.readouterr().out)["problems"][0]["log"] == ["tran: 34 %"]


def test_the_traceback_is_shown_on_demand(
    verb: Install, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    verb(throw(ZeroDivisionError("by zero")))
    monkeypatch.setenv("SIMKIT_DEBUG", "1")
    assert cli.run(["probe"]) == 4
    assert "Traceback" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["rnu"], "there is no verb 'rnu'; did you mean run?"),
        (["xyzzy"], "there is no verb 'xyzzy'"),
        (["schema", "machin"], "must be one of machine, scenario"),
        (["run"], "more: simkit run --help"),
        (["deck", "a.toml", "--set", "no-equals-sign"], "write KEY=VALUE"),
        (["deck", "no-such-file.toml"], "no-such-file.toml: there is no such file"),
        (["--verbose"], "there is no option --verbose"),
    ],
)
def test_wrong_usage_is_wrong_input(
    arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run(arguments) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err


def test_no_verb_at_all_shows_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run([]) == 2
    assert "Verbs:" in capsys.readouterr().err


@pytest.mark.parametrize("name", list(cli.VERBS))
def test_each_verb_has_help_and_a_line_in_the_list(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run([name, "--help"]) == 0
    assert f"simkit {name}" in capsys.readouterr().out
    assert cli.run(["--help"]) == 0
    assert f"\n  {name} " in capsys.readouterr().out


@pytest.mark.parametrize("kind", ["machine", "scenario", "result"])
def test_schema_prints_one_json_document(kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["schema", kind]) == 0
    assert json.loads(capsys.readouterr().out)["$schema"].startswith("https://json-schema.org/")


def python(*arguments: str) -> "subprocess.CompletedProcess[str]":
    command = [sys.executable, "-m", "simkit", *arguments]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)


def test_help_is_quick() -> None:
    # The budget of the command line is 0.4 s, which it spends computing: its CPU is what a busy
    # machine leaves as it is, and the best of three what else it disturbs.
    def once() -> float:
        before = os.times()
        assert python("--help").returncode == 0
        after = os.times()
        return sum(after[2:4]) - sum(before[2:4])

    assert min(once() for _ in range(3)) < 0.4


def test_output_that_is_not_read_to_its_end_is_no_complaint() -> None:
    shell = f"{sys.executable} -m simkit schema machine | head -c 1"
    done = subprocess.run(shell, shell=True, cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.stdout, done.stderr) == ("{", "")


def leaves(name: str) -> list[tuple[str, click.Command]]:
    """A verb, or the verbs beneath it."""
    context = click.Context(cli.group)
    command = cli.LazyGroup.get_command(cli.group, context, name)  # type: ignore[arg-type]
    assert command is not None
    if isinstance(command, click.Group):
        return [(f"{name} {n}", c) for n, c in command.commands.items()]
    return [(name, command)]


@pytest.mark.parametrize("name", list(cli.VERBS))
def test_each_verb_speaks_json_on_demand(name: str) -> None:
    for full, command in leaves(name):
        assert any("--json" in p.opts for p in command.params), full


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_prints_the_shells_script(
    shell: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run(["completion", shell]) == 0
    script = capsys.readouterr().out
    assert f"_SIMKIT_COMPLETE={shell}_complete" in script
    assert cli.run(["completion", shell, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["script"].strip() == script.strip()


@pytest.mark.parametrize(
    ("typed", "wanted", "unwanted"),
    [
        ("simkit ex", "explain", "run"),
        ("simkit schema ma", "machine", "scenario"),
        ("simkit explain recovery_d", "recovery_dv_dt", "gate_lift"),
    ],
)
def test_bash_completes_verbs_choices_and_names(typed: str, wanted: str, unwanted: str) -> None:
    # The protocol of click's bash script: the words and the index of the one under the cursor.
    environment = {**os.environ, "_SIMKIT_COMPLETE": "bash_complete", "COMP_WORDS": typed,
                   "COMP_CWORD": str(len(typed.split()) - 1)}  # fmt: skip
    done = subprocess.run([sys.executable, "-m", "simkit"], cwd=ROOT, env=environment, text=True,
                          capture_output=True, check=False)  # fmt: skip
    offered = [line.partition(",")[2] for line in done.stdout.splitlines()]
    assert wanted in offered
    assert unwanted not in offered


DEMO_SCENARIO = str(ROOT / "scenarios" / "chisel-brazing" / "pull-out-cold.toml")


def test_a_deck_cannot_be_written_where_there_is_no_folder(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "missing" / "deck.cir"
    assert cli.run(["deck", DEMO_SCENARIO, "-o", str(target), "--no-engine"]) == 2
    assert "cannot be written: No such file or directory" in capsys.readouterr().err


@pytest.mark.slow
def test_deck_as_json_is_the_same_deck(capsys: pytest.CaptureFixture[str]) -> None:
    import hashlib

    assert cli.run(["deck", DEMO_SCENARIO, "--no-engine"]) == 0
    text = capsys.readouterr().out
    assert cli.run(["deck", DEMO_SCENARIO, "--no-engine", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["deck"] == text
    assert document["digest"] == hashlib.sha256(text.encode()).hexdigest()


@pytest.mark.skipif(sys.platform == "win32", reason="no terminal to imitate")
@pytest.mark.parametrize("plain", [True, False])
def test_progress_has_colour_on_a_terminal_unless_it_is_refused(plain: bool) -> None:
    # ECMA-48: a colour is chosen by ESC [ ... m; https://no-color.org asks for none of these.
    import pty
    import re

    code = (
        "from simkit.verbs.common import progress_bar\n"
        "with progress_bar('probe', False) as tell:\n"
        "    tell(0.2); tell(0.9)\n"
    )
    here, there = pty.openpty()
    environment = {k: v for k, v in os.environ.items() if k != "NO_COLOR"} | {"TERM": "xterm"}
    environment |= {"NO_COLOR": "1"} if plain else {}
    process = subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, env=environment,
                               stdin=there, stdout=there, stderr=there)  # fmt: skip
    process.wait(60)
    os.close(there)
    seen = b""
    while True:
        try:
            chunk = os.read(here, 65536)
        except OSError:  # the terminal's other end is closed
            break
        if not chunk:
            break
        seen += chunk
    os.close(here)
    assert b"probe" in seen
    assert b"left" in seen
    assert bool(re.search(rb"\x1b\[[0-9;]*3[0-9][0-9;]*m", seen)) != plain


def test_progress_is_silent_elsewhere_and_lines_for_programs(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from simkit.verbs.common import progress_bar

    with progress_bar("probe", False) as tell:
        assert tell is None
    assert capsys.readouterr() == ("", "")
    monkeypatch.setenv("SIMKIT_PROGRESS", "lines")
    with progress_bar("probe", True) as tell:
        assert tell is not None
        tell(0.25)
        tell(1.0)
    assert capsys.readouterr().err.splitlines() == ["progress 0.2500", "progress 1.0000"]
