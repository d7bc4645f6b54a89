"""Where the bridge takes its energy from: source, link and film capacitor."""

from typing import Annotated

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Section


class Capacitor(Section):
    """A capacitor with the two parasitics that matter at a switching edge."""

    capacitance: Annotated[float, Quantity("F", "Capacitance", gt=0, lt=1)]
    esr: Annotated[float, Quantity("ohm", "Equivalent series resistance", gt=0, lt=1e3)]
    esl: Annotated[float, Quantity("H", "Equivalent series inductance", gt=0, lt=1e-5)]


class Supply(Section):
    """Rectified and smoothed mains, or a bench supply, as the bridge sees it."""

    voltage: Annotated[
        float, Quantity("V", "DC link voltage with no load", gt=0, le=1000, usual=(5, 420))
    ]
    source_resistance: Annotated[
        float,
        Quantity("ohm", "Resistance between the source and the link capacitor", gt=0, lt=1e3),
    ]
    link: Capacitor
    film: Capacitor
    bus_inductance: Annotated[
        float, Quantity("H", "Bus between link and film capacitor", gt=0, lt=1e-4)
    ]
    bus_damping: Annotated[
        float,
        Quantity("ohm", "Resistance that damps the bus inductance, in parallel", gt=0, lt=1e4),
    ]
