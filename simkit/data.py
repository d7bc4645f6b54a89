"""Where the shipped netlists and scenarios lie: beside the package in a clone, in it in a wheel."""

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def netlist_folder() -> Path:
    """Folder of the netlist templates, `*.cir.j2`; FileNotFoundError when it was not shipped."""
    return _folder("netlists")


def scenario_folder() -> Path:
    """Folder of the shipped machines and scenarios; FileNotFoundError when it was not shipped."""
    return _folder("scenarios")


def _folder(name: str) -> Path:
    # The wheel's copy is looked for first: beside an installed package lie other people's
    # packages, one of which might well be called "scenarios".
    candidates = (_PACKAGE / "_data" / name, _PACKAGE.parent / name)
    for folder in candidates:
        if folder.is_dir():
            return folder
    looked = " and ".join(str(folder) for folder in candidates)
    raise FileNotFoundError(f"{name} not found in {looked}: the installation is incomplete")
