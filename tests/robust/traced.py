"""What a command and everything below it did, as the kernel saw it (strace)."""

import re
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

CALLS = (
    "open,openat,openat2,creat,execve,execveat,socket,connect,bind,rename,renameat,renameat2,"
    "unlink,unlinkat,mkdir,mkdirat,rmdir,link,linkat,symlink,symlinkat,mknod,mknodat,chmod,"
    "fchmodat,truncate,chdir,fchdir"
)
_LINE = re.compile(r"(?P<pid>\d+) +(?P<call>\w+)\((?P<rest>.*)\) += (?P<result>\S.*)\Z")
_UNFINISHED = re.compile(r"(?P<pid>\d+) +(?P<head>\w+\(.*) <unfinished \.\.\.>\Z")
_RESUMED = re.compile(r"(?P<pid>\d+) +<\.\.\. \w+ resumed>(?P<tail>.*)\Z")
_FOLDER = re.compile(r"(?:AT_FDCWD|\d+)<(?P<folder>[^>]*)>")
_TEXT = re.compile(r'"((?:[^"\\]|\\.)*)"')
_WRITES = re.compile(r"O_WRONLY|O_RDWR|O_CREAT|O_TRUNC|O_APPEND")
_CHANGES = re.compile(r"creat|rename|unlink|mkdir|rmdir|link|symlink|mknod|chmod|fchmod|truncate")


@dataclass(frozen=True)
class Call:
    """One call that did not fail."""

    pid: int
    name: str
    rest: str

    @property
    def paths(self) -> list[str]:
        """Paths among its arguments, absolute where it says from where."""
        folder = _FOLDER.search(self.rest)
        base = Path(folder["folder"]) if folder else Path()
        return [str(base / text) for text in _TEXT.findall(self.rest)]

    @property
    def changes(self) -> bool:
        """Whether it makes, changes or removes something."""
        if self.name.startswith("open"):
            return bool(_WRITES.search(self.rest))
        return bool(_CHANGES.match(self.name))


def calls(text: str) -> Iterator[Call]:
    """The calls of a trace that did not fail."""
    begun: dict[str, str] = {}
    for line in text.splitlines():
        whole = line
        if unfinished := _UNFINISHED.match(line):
            begun[unfinished["pid"]] = unfinished["head"]
            continue
        if resumed := _RESUMED.match(line):
            head = begun.pop(resumed["pid"], "")
            whole = f"{resumed['pid']} {head}{resumed['tail']}"
        found = _LINE.match(whole)
        if found and not found["result"].startswith("-1"):
            yield Call(int(found["pid"]), found["call"], found["rest"])


def trace(command: list[str], folder: Path, env: dict[str, str]) -> tuple[list[Call], str, int]:
    """Run a command; what it did, what it said, and its exit code."""
    out = folder.parent / "trace.txt"
    strace = ["strace", "-f", "-y", "-qq", "-s", "400", "-e", f"trace={CALLS}", "-o", str(out)]
    done = subprocess.run([*strace, *command], cwd=folder, env=env, text=True,
                          capture_output=True, timeout=240)  # fmt: skip
    return list(calls(out.read_text(errors="replace"))), done.stdout + done.stderr, done.returncode
