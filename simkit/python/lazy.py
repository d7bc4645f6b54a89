"""Which name of the package lies where, so that it is loaded when it is first used."""

import importlib
from typing import Any

FROM = {
    "simkit.python.files": ("Machine", "Scenario", "load_machine", "load_scenario", "machine",
                            "scenario"),
    "simkit.python.outcome": ("Outcome",),
    "simkit.errors": ("EngineError", "InputError", "NotWritten", "SimkitError"),
}  # fmt: skip
VERBS = ("doctor", "check", "deck", "run", "part", "compare", "map", "bring_up", "fit", "protect",
         "new", "explain", "schema")  # fmt: skip
NAMES = (*(name for names in FROM.values() for name in names), *VERBS)


def named(name: str) -> Any:
    """What the package offers under a name. Errors: AttributeError."""
    if name in VERBS:
        return importlib.import_module("simkit.python.verbs").VERBS[name]
    for module, names in FROM.items():
        if name in names:
            return getattr(importlib.import_module(module), name)
    raise AttributeError(f"module 'simkit' has no attribute {name!r}")
