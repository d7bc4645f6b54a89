"""README's two commands on a minimal Debian, by a user who has nothing but the clone.

Held against: what a newcomer would see, exit codes and the report of the demo. The root is made by
debootstrap with nothing but the base system; packages come from the places this machine uses.
"""

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
RELEASE = "bookworm"
MIRROR = os.environ.get("SIMKIT_TEST_MIRROR", "http://deb.debian.org/debian")
HANDED_ON = ("/etc/resolv.conf", "/etc/hosts", "/etc/pip.conf", "/etc/xdg/pip",
             "/etc/ssl/certs/ca-certificates.crt", "/root/.config/pip")  # fmt: skip
"""How this machine reaches its packages; the new root has nothing else of it."""
SHARED = list(filter(None, os.environ.get("SIMKIT_TEST_SHARED", "").split(os.pathsep)))
"""Folders with packages that this machine's pip reads instead of a network, if any."""
QUICK_TESTS = ("tests/unit/test_units.py", "tests/unit/test_library.py")
"""Enough to see that the second command installs and runs; the whole suite has its own runs."""


def can_make_roots() -> str:
    """Why no root can be made here, or nothing."""
    if os.environ.get("SIMKIT_FRESH_MACHINE") != "1":
        return "takes minutes and a mirror of packages; SIMKIT_FRESH_MACHINE=1 asks for it"
    if os.geteuid() != 0:
        return "making a root needs root"
    if shutil.which("debootstrap") is None:
        return "debootstrap is not installed"
    probe = subprocess.run(["unshare", "--mount", "true"], capture_output=True, text=True)
    return f"mounts are refused here: {probe.stderr.strip()}" if probe.returncode else ""


def inside(root: Path, script: str, limit: float) -> subprocess.CompletedProcess[str]:
    """Run a script in the root, in a mount space of its own that ends with it."""
    mounts = f"mount -t proc proc {root}/proc && mount --rbind /dev {root}/dev"
    shared = [folder for folder in SHARED if Path(folder).is_dir()]
    for folder in shared:
        mounts += f" && mkdir -p {root}{folder} && mount --bind {folder} {root}{folder}"
    command = f"{mounts} && exec chroot {root} /bin/sh -ec '{script}'"
    kept = {k: v for k, v in os.environ.items() if k.startswith("PIP_") or "proxy" in k.lower()}
    clean = {"PATH": "/usr/sbin:/usr/bin:/sbin:/bin", "HOME": "/root", "LANG": "C.UTF-8"}
    return subprocess.run(
        ["unshare", "--mount", "--propagation", "private", "sh", "-c", command],
        env=clean | kept, capture_output=True, text=True, timeout=limit, stdin=subprocess.DEVNULL,
    )  # fmt: skip


@pytest.fixture(scope="module")
def fresh(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A minimal Debian with a clone in /root/simkit."""
    reason = can_make_roots()
    if reason:
        pytest.skip(reason)
    root = tmp_path_factory.mktemp("machine") / "root"
    command = ["debootstrap", "--variant=minbase", "--include=ca-certificates"]
    command += [RELEASE, str(root), MIRROR]
    made = subprocess.run(command, capture_output=True, text=True, timeout=300)
    assert made.returncode == 0, (made.stdout + made.stderr)[-2000:]
    for place in map(Path, HANDED_ON):
        there = root / place.relative_to("/")
        there.parent.mkdir(parents=True, exist_ok=True)
        if place.is_dir():
            shutil.copytree(place, there, dirs_exist_ok=True)
        elif place.exists():
            shutil.copy(place, there)
    subprocess.run(
        ["git", "clone", "--quiet", "--no-hardlinks", str(ROOT), str(root / "root/simkit")],
        check=True, capture_output=True,
    )  # fmt: skip
    yield root
    shutil.rmtree(root)


@pytest.mark.slow
def test_the_two_commands_of_the_readme(fresh: Path) -> None:
    bare = inside(fresh, "! command -v python3 && ! ls /usr/lib/*/libngspice*", 60)
    assert bare.returncode == 0, "the root has what the first command is to install"

    demo = inside(fresh, "cd /root/simkit && ./run demo", 420)
    said = (demo.stdout + demo.stderr)[-3000:]
    assert demo.returncode == 0, said
    assert "over a limit" in demo.stdout, said
    assert (fresh / "root/simkit/reports/pull-out-cold/index.html").is_file()

    tests = inside(fresh, "cd /root/simkit && ./run test -q " + " ".join(QUICK_TESTS), 420)
    assert tests.returncode == 0, (tests.stdout + tests.stderr)[-3000:]
    assert " passed" in tests.stdout
