"""Runs the command over many folders in one process and notes all it does outside itself.

Each verb is run once before anything is noted: that brings in what is imported late.

`python -m tests.robust.watched FILE`, with a JSON list of folders and arguments in the file, prints
one JSON document: per folder the exit code, what was said, and the files opened, programs started
and connections made (Python's audit events).
"""

import contextlib
import io
import json
import os
import sys
import sysconfig
import time
import traceback
from pathlib import Path
from typing import Any

STARTS = {
    "subprocess.Popen", "os.system", "os.exec", "os.posix_spawn", "os.fork", "os.forkpty",
    "os.spawn", "pty.spawn", "socket.connect", "socket.bind", "ctypes.dlopen", "code.__new__",
    "pickle.find_class", "webbrowser.open", "os.startfile",
}  # fmt: skip
CHANGES = {
    "os.remove", "os.rename", "os.mkdir", "os.rmdir", "os.link", "os.symlink", "os.truncate",
    "os.chmod", "os.chown", "shutil.rmtree", "shutil.move", "shutil.copyfile", "tempfile.mkstemp",
    "tempfile.mkdtemp",
}  # fmt: skip
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_TRUNC


class Notes:
    """What happened, gathered while `on`."""

    def __init__(self, own: tuple[str, ...]) -> None:
        self.own = own
        self.on = False
        self.events: list[list[str]] = []

    def hook(self, event: str, arguments: tuple[Any, ...]) -> None:
        """Python calls this for every audited event."""
        if not self.on:
            return
        if event in STARTS or event in CHANGES:
            self.events.append([event, repr(arguments)[:200]])
        elif event == "open" and isinstance(arguments[0], (str, bytes, os.PathLike)):
            name = os.path.abspath(os.fsdecode(arguments[0]))
            flags = arguments[2] if isinstance(arguments[2], int) else 0
            if flags & WRITES:
                self.events.append(["write", name])
            elif not name.startswith(self.own):
                self.events.append(["read", name])


def main(tasks: list[tuple[str, list[str]]]) -> None:
    """Run the command in every folder in turn and print the document."""
    from simkit import cli

    root = str(Path(cli.__file__).resolve().parents[1])
    paths = sysconfig.get_paths()
    notes = Notes(
        (root, sys.prefix, sys.base_prefix, paths["stdlib"], paths["purelib"], "/proc/self")
    )
    sys.addaudithook(notes.hook)
    done = {}
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        for folder, arguments in {a[0]: (f, a) for f, a in reversed(tasks)}.values():
            os.chdir(folder)
            cli.run(list(arguments))  # brings in what each verb brings in late
    for folder, arguments in tasks:
        os.chdir(folder)
        out, err = io.StringIO(), io.StringIO()
        notes.events, notes.on = [], True
        started = time.monotonic()
        try:
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                code: int | str = cli.run(list(arguments))
        except BaseException:  # noqa: BLE001 - the finding looked for: something got past the command
            code = traceback.format_exc()
        notes.on = False
        done[folder] = {"code": code, "out": out.getvalue(), "err": err.getvalue(),
                        "events": notes.events, "seconds": time.monotonic() - started}  # fmt: skip
    print(json.dumps(done))


if __name__ == "__main__":
    main(json.loads(Path(sys.argv[1]).read_text()))
