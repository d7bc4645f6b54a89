"""Fast models that seed and steer the circuit runs; they never give a verdict.

`plant` is the linear network behind the bridge, `phasor` its harmonic solution, `steady` its exact
periodic state, `envelope` a whole event cycle by cycle, `windows` where to look closely.
"""
