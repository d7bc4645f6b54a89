"""Files in a shared folder that give themselves away when something runs them."""

from collections.abc import Iterable
from pathlib import Path

STARTUP = (".spiceinit", ".spicerc", "spice.rc", "spinit", "scripts/spinit", "lib/init.cir")
MODULES = ("multiprocessing", "socket", "selectors", "threading", "numpy", "PySpice", "simkit",
           "sitecustomize", "usercustomize", "pydantic", "matplotlib")  # fmt: skip
SETTINGS = "text.usetex: True\nbackend: module://evil\n"


def set_traps(folder: Path, modules: Iterable[str] = MODULES) -> None:
    """Files that leave `was-here` beside them when something runs them."""
    for name in STARTUP:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(f"shell touch {folder}/was-here-{Path(name).name}\n")
    for name in modules:
        mark = folder / f"was-here-{name}"
        (folder / f"{name}.py").write_text(f"open({str(mark)!r}, 'w').close()\nraise SystemExit\n")
    (folder / "matplotlibrc").write_text(SETTINGS)
