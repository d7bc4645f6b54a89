"""Slow imports read once by the server that workers are forked from.

Imported by name in that server only. The engine's library itself is opened by each worker: a
session belongs to one process.
"""

import logging

logging.getLogger("PySpice").addHandler(logging.NullHandler())

import numpy  # noqa: E402, F401
import PySpice.Spice.NgSpice.Shared  # noqa: E402, F401

import simkit.run.ngspice  # noqa: E402
import simkit.run.worker  # noqa: E402, F401
