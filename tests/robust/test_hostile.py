"""A hostile file is refused in words, or read as the harmless text it is; nothing else happens.

All are run in one child process whose audit events are noted (tests/robust/watched.py). No
standard to compare with: the rules are the project's own, and the controls below show that the
watcher sees what it is there to see.
"""

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.once import made_once
from tests.robust.hostile import ALL as FIRST
from tests.robust.hostile import SECRET, Hostile
from tests.robust.hostile_files import MORE

ROOT = Path(__file__).resolve().parents[2]
ALL = (*FIRST, *MORE)
OWN = "machine|scenario|readings|change|part|ring|link|pipe|folder|nowhere"
FEWEST = 60
LONGEST = 5.0
"""No hostile file may keep the tool busy for longer [s]."""


@pytest.fixture(scope="module")
def watched(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    root = made_once(tmp_path_factory, "hostile", _watch)
    return root, json.loads((root / "done.json").read_text())


def _watch(root: Path) -> None:
    (root / SECRET).parent.mkdir()
    (root / SECRET).write_text('name = "secret-word"\n')
    tasks = []
    for number, case in enumerate(ALL):
        folder = root / "shared" / f"{number}"
        folder.mkdir(parents=True)
        case.make(folder)
        tasks.append((str(folder), case.arguments))
    (root / "tasks.json").write_text(json.dumps(tasks))
    done = subprocess.run(
        [sys.executable, "-m", "tests.robust.watched", str(root / "tasks.json")],
        cwd=ROOT, capture_output=True, text=True, timeout=300, check=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    (root / "done.json").write_text(done.stdout)


def test_there_are_enough_and_each_has_its_name() -> None:
    assert len({h.name for h in ALL}) == len(ALL) >= FEWEST


@pytest.mark.parametrize("number", range(len(ALL)), ids=[h.name.replace(" ", "-") for h in ALL])
def test_it_is_refused_or_harmless(number: int, watched: tuple[Path, dict[str, Any]]) -> None:
    root, all_done = watched
    hostile, folder = ALL[number], root / "shared" / str(number)
    done = all_done[str(folder)]
    assert done["seconds"] < LONGEST
    assert [e for e in done["events"] if e[0] != "read"] == [], "starts or changes something"
    reads = {e[1] for e in done["events"] if e[0] == "read"}
    assert {Path(r).parent for r in reads} <= {folder}
    assert not list(root.rglob("*was-here*"))
    assert "secret-word" not in done["out"] + done["err"]
    _says_it_right(hostile, done)


def _says_it_right(hostile: Hostile, done: dict[str, Any]) -> None:
    if hostile.ends == "refused":
        assert done["code"] == 2, done["err"][:500]
        assert done["out"] == ""
        first, *problems = done["err"].splitlines()
        assert first == "simkit: input"
        assert re.match(rf"  (\S*({OWN})\.(toml|csv))(:\d+)?: ", problems[0])
    else:
        assert done["code"] == 0, done["err"][:500]
        # Only numbers and the templates' own words reach a deck: it is that of the whole file.
        assert "was-here" not in done["out"]
        assert "passwd" not in done["out"]
    assert "Traceback" not in done["err"]
    assert max(map(len, done["err"].splitlines()), default=0) < 1000, "nobody reads this"
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202e]", done["err"]), "reaches a terminal"


CONTROLS = {
    "write": "open('was-here', 'w').close()",
    "subprocess.Popen": "import subprocess; subprocess.run(['true'])",
    "os.system": "import os; os.system('true')",
    "read": "open('/etc/hostname').close()",
    "os.mkdir": "import os; os.mkdir('d')",
}


@pytest.mark.parametrize("event", CONTROLS)
def test_the_watcher_sees(event: str, tmp_path: Path) -> None:
    script = (
        "import sys, json\nfrom tests.robust.watched import Notes\n"
        "n = Notes(('/usr/lib', sys.prefix)); sys.addaudithook(n.hook); n.on = True\n"
        f"{CONTROLS[event]}\nn.on = False\nprint(json.dumps([e[0] for e in n.events]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=tmp_path, capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)}, timeout=60,
    )  # fmt: skip
    assert event in json.loads(done.stdout)
