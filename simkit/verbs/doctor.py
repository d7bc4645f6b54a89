"""`simkit doctor`: is everything there, and does it give the right answer?"""

import json
import platform
import sys

import click

from simkit.errors import EngineError
from simkit.verbs.common import json_option

ALLOWED_ERROR = 1e-3
"""Of the self-test: a 1 ms RC step against 1 - exp(-t/RC), solved at a relative 1e-5."""


@click.command("doctor")
@json_option
def command(as_json: bool) -> int:
    """Find the engine, print its version, run a self-test against a known answer."""
    lines, code = _findings()
    if as_json:
        print(json.dumps({"checks": lines, "exit_code": code}, indent=1))
    else:
        for line in lines:
            mark = "ok     " if line["ok"] else "problem"
            print(f"{mark}  {line['what']}: {line['found']}")
    return code


def _findings() -> tuple[list[dict[str, object]], int]:
    version = platform.python_version()
    lines: list[dict[str, object]] = [
        {"what": "Python", "found": f"{version} in {sys.prefix}", "ok": sys.version_info >= (3, 11)}
    ]
    try:
        from simkit.run.library import find_library
        from simkit.run.process import NgspiceEngine

        library = find_library()
        lines.append(
            {"what": "engine library", "found": f"{library.path} ({library.how})", "ok": True}
        )
        name, error = NgspiceEngine().test()
    except EngineError as problem:
        lines.append({"what": "engine", "found": problem.reason, "ok": False})
        return lines, 3
    lines.append({"what": "engine", "found": name, "ok": True})
    good = error < ALLOWED_ERROR
    found = f"1 ms RC step against its formula, largest difference {error:.1e}"
    lines.append({"what": "self-test", "found": found, "ok": good})
    return lines, 0 if good else 3
