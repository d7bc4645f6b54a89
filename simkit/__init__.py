"""Rehearse a mains-powered induction heater on a simulated circuit before powering it up.

Parameters make a circuit, a circuit is run, waveforms are measured, measurements are judged,
verdicts are reported: one subpackage for each.

From Python: `load_machine`, `load_scenario` read files into values that can be changed, checked and
rehearsed (simkit/python/files.py); the command's verbs are functions of the same names. Each name
is loaded when it is first used; their types stand in `__init__.pyi`.
"""

import os
import sys

__version__ = "0.1.0"


def __getattr__(name: str) -> object:
    """A name that the package offers, loaded now."""
    if name.startswith("_"):  # asked for by tools that look around; nothing of ours begins so
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return import_module("simkit.python.lazy").named(name)


def __dir__() -> list[str]:
    """Every name that the package offers."""
    from importlib import import_module

    return sorted({*globals(), *import_module("simkit.python.lazy").NAMES})


def _current_folder_leads() -> bool:
    """Whether `python -m simkit...` put a current folder that is not ours before all others."""
    asked = zip(sys.orig_argv, sys.orig_argv[1:], strict=False)
    ours = any(o == "-m" and name.partition(".")[0] == __name__ for o, name in asked)
    # While it looks for the module that it is to start, Python calls the program "-m".
    if not ours or sys.argv[0] != "-m" or sys.flags.safe_path:
        return False
    home = os.path.dirname(os.path.dirname(os.path.realpath(__file__)))
    return os.path.realpath(sys.path[0]) != home


# Else a `numpy.py` beside somebody's machine file would be imported for the library of that name,
# as it is not by the installed command.
if _current_folder_leads():
    del sys.path[0]
