"""Slow imports read once by the server that workers are forked from.

Imported by name in that server only. The engine's library itself is opened by each worker: a
session belongs to one process.
"""

import importlib
import logging

logging.getLogger("PySpice").addHandler(logging.NullHandler())

for _name in ("numpy", "PySpice.Spice.NgSpice.Shared", "simkit.run.ngspice", "simkit.run.worker"):
    importlib.import_module(_name)

importlib.import_module("simkit.run.ngspice").declare()
