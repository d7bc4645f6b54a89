"""The loop that sets the drive's frequency while a heater runs."""

from typing import Annotated, Literal, Self

from pydantic import model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Name, Section

BELONGS = {
    "continuous": ({"bandwidth"}, {"set_with"}),
    "sampled": ({"interval", "step_per_degree"}, {"largest_step"}),
    "self-oscillating": ({"delay"}, {"lead_network"}),
}
"""Fields a way of holding needs, and those it may have beside `phase`, `lead_time`, `delay`."""
ONLY = {"bandwidth", "set_with", "interval", "step_per_degree", "largest_step", "lead_network"}


class Loop(Section):
    """What holds the drive to its load. Without this table the frequency stays where it is set.

    The angle held is that by which the detected current lags the middle of the dead time, where
    the gate commands change over; positive is inductive.
    """

    holds: Literal["phase", "lead", "margin", "none"]
    """phase: an angle; lead: the time from the gates to the current's zero crossing; margin: the
    distance to the resonance, as an ideal drive would; none: the frequency set, for a drive that
    only limits its current."""
    by: Literal["continuous", "sampled", "self-oscillating"] = "continuous"
    """continuous: a phase detector and an integrator; sampled: a controller that steps the
    frequency; self-oscillating: the gates follow the sign of the current."""
    signal: Literal["current", "bank", "tank"] | None = None
    """What the detector sees: the bridge's output current; the current through the capacitor bank,
    by a current transformer in the tank; or the bank's voltage (a quarter period later, which it
    takes off). Left out: see `sensed`."""
    phase: (
        Annotated[
            float, Quantity("deg", "Angle held; left out: the one it starts with", gt=-90, lt=90)
        ]
        | None
    ) = None
    lead_time: (
        Annotated[
            float,
            Quantity(
                "s", "Gates before the current's zero; left out: as it starts", gt=-1e-4, lt=1e-4
            ),
        ]
        | None
    ) = None
    bandwidth: (
        Annotated[
            float, Quantity("Hz", "Where the loop's gain is one, load as set with", gt=0, lt=1e6)
        ]
        | None
    ) = None
    set_with: Name | None = None
    """The load with which bandwidth was set; the one in the coil at the start when left out."""
    interval: (
        Annotated[float, Quantity("s", "From one correction to the next", gt=0, lt=10)] | None
    ) = None
    step_per_degree: (
        Annotated[float, Quantity("Hz", "Correction per degree of error", gt=0, lt=1e5)] | None
    ) = None
    largest_step: (
        Annotated[float, Quantity("Hz", "No correction is larger", gt=0, lt=1e6)] | None
    ) = None
    delay: (
        Annotated[
            float,
            Quantity("s", "Of the chain, from the zero crossing to the gates", ge=0, lt=1e-4),
        ]
        | None
    ) = None
    lead_network: (
        Annotated[
            float,
            Quantity("s", "Time constant of a lead network: i + T di/dt is sensed", ge=0, lt=1e-4),
        ]
        | None
    ) = None
    blind_current: (
        Annotated[
            float, Quantity("A", "Peak of the current below which it holds still", gt=0, lt=1e4)
        ]
        | None
    ) = None
    blind_voltage: (
        Annotated[
            float,
            Quantity("V", "Peak of the tank's below which it holds still", gt=0, lt=1e5),
        ]
        | None
    ) = None

    current_limit: (
        Annotated[
            float,
            Quantity("A", "Peak output current above which it raises the frequency", gt=0, lt=1e4),
        ]
        | None
    ) = None
    limit_rate: Annotated[float, Quantity("Hz/s", "How fast it raises it", gt=0, lt=1e9)] | None = (
        None
    )

    @model_validator(mode="after")
    def _limits_its_current(self) -> Self:
        if (self.current_limit is None) != (self.limit_rate is None):
            raise ValueError("current_limit and limit_rate go together")
        if self.holds == "none" and self.current_limit is None:
            raise ValueError('holds = "none" is for a drive that limits its current: current_limit')
        if self.current_limit is None:
            return self
        if self.by != "continuous" or self.sensed != "current" or self.holds == "margin":
            raise ValueError('current_limit goes with by = "continuous" and signal = "current"')
        return self

    @model_validator(mode="after")
    def _has_what_it_needs(self) -> Self:
        needs, may = BELONGS[self.by]
        if self.holds == "none":
            needs, may = set[str](), set[str]()
        given = {name for name in ONLY | {"delay"} if getattr(self, name) is not None}
        if self.holds == "margin":
            if self.by != "continuous" or given | self.angles:
                raise ValueError('holds = "margin" is ideal and takes nothing beside it')
            return self
        for name in sorted(needs - given):
            raise ValueError(f'by = "{self.by}" needs {name}')
        for name in sorted((given & ONLY) - needs - may):
            raise ValueError(f'{name} does not belong to by = "{self.by}"')
        return self

    @model_validator(mode="after")
    def _angle_as_it_is_held(self) -> Self:
        allowed = {"phase": "phase", "lead": "lead_time"}.get(self.holds, "")
        wrong = self.angles - {allowed}
        if wrong and self.holds != "margin":
            raise ValueError(f'{wrong.pop()} does not go with holds = "{self.holds}"')
        if self.by == "self-oscillating" and self.angles:
            raise ValueError("a self-oscillating drive has its angle from delay and lead_network")
        if self.by == "self-oscillating" and (self.sensed == "tank" or self.blind is not None):
            raise ValueError("a self-oscillating drive follows the current, however small it is")
        other = self.blind_current if self.sensed == "tank" else self.blind_voltage
        if other is not None:
            unit = "blind_voltage" if self.sensed == "tank" else "blind_current"
            raise ValueError(f'signal = "{self.sensed}" goes with {unit}')
        return self

    @property
    def sensed(self) -> Literal["current", "bank", "tank"]:
        """What the detector sees; unless told a self-oscillating drive has its current transformer
        in the tank, as an offset of the bridge's current would swing up, and others have it at the
        bridge's output."""
        return self.signal or ("bank" if self.by == "self-oscillating" else "current")

    @property
    def blind(self) -> float | None:
        """Peak of its signal below which it holds still [A] or [V]; None: it never is blind."""
        return self.blind_voltage if self.sensed == "tank" else self.blind_current

    @property
    def angles(self) -> set[str]:
        """Names of the targets that are given."""
        return {name for name in ("phase", "lead_time") if getattr(self, name) is not None}
