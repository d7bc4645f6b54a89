"""Limits of the machine as a whole, and the derating of its parts."""

from typing import Annotated

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Section


class Derating(Section):
    """What share of each rating this machine may use."""

    drain_voltage: Annotated[float, Quantity("1", "Of V_DSS", gt=0, le=1)]
    current: Annotated[float, Quantity("1", "Of I_D and I_DM", gt=0, le=1)]
    gate_voltage: Annotated[float, Quantity("1", "Of the V_GS rating", gt=0, le=1)]
    recovery: Annotated[float, Quantity("1", "Of recovery dv/dt and di/dt", gt=0, le=1)]
    junction_rise: Annotated[
        float, Quantity("1", "Of the rise from ambient to T_J max", gt=0, le=1)
    ]
    capacitor: Annotated[float, Quantity("1", "Of a can's voltage and current", gt=0, le=1)]
    flux: Annotated[float, Quantity("1", "Of the saturation flux", gt=0, le=1)]


class Limits(Section):
    """Limits of the machine as a whole, and the derating of its parts."""

    supply_current: Annotated[
        float, Quantity("A", "Average supply current allowed (fuse, wiring)", gt=0, lt=1e3)
    ]
    hold_time: Annotated[
        float,
        Quantity("s", "How long the last state must be bearable for the junction", gt=0, lt=1e4),
    ]
    threshold_margin: Annotated[
        float, Quantity("V", "Gate of an off switch must stay this far below threshold", ge=0)
    ]
    derating: Derating
