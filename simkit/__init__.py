"""Rehearse a mains-powered induction heater on a simulated circuit before powering it up.

Parameters make a circuit, a circuit is run, waveforms are measured, measurements are judged,
verdicts are reported: one subpackage for each. Nothing heavy is loaded from here.
"""

__version__ = "0.1.0"

__all__ = ["__version__"]
