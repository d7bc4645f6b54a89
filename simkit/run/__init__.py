"""A circuit is run: the narrow door to the engine, one fresh process per run.

The room bears the name of a verb, and `import simkit` offers verbs as functions: so the room can
be called, which is the verb.
"""

import importlib
import sys
import types
from typing import Any


class _Room(types.ModuleType):
    """This package as a module that is a verb too."""

    def __call__(self, *arguments: Any, **options: Any) -> Any:
        """`simkit run` as a function (simkit/python/verbs.py)."""
        return importlib.import_module("simkit.python.verbs").VERBS["run"](*arguments, **options)


sys.modules[__name__].__class__ = _Room
