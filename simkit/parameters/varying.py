"""What a map varies: the `[map]` table of a scenario file, and `--vary` on the command line."""

import re
from typing import Annotated, Literal, Self

from pydantic import Field, ValidationError, model_validator

from simkit.errors import InputError, Problem
from simkit.parameters.fields import Quantity
from simkit.parameters.section import Section

Sample = Literal["full", "latin-hypercube", "sobol"]
Spread = Literal["uniform", "normal"]
SCENARIO = "scenario."
"""Before a key of the scenario file; every other key is the machine file's."""
COMMAND_LINE = "--vary"
_RANGE = re.compile(r"(?P<low>.+?)\s*\.\.\s*(?P<high>.+?)(?:\s*/\s*(?P<steps>\d+))?")


class Vary(Section):
    """One thing that varies: over a tolerance about its value, or from low to high."""

    keys: Annotated[tuple[str, ...], Field(min_length=1)]
    """Dotted keys; several vary together, by the same factor. `scenario.` before one of the
    scenario file."""
    tolerance: (
        Annotated[float, Quantity("1", "Half-width about the value, as a share", gt=0, lt=1)] | None
    ) = None
    low: float | str | None = None
    high: float | str | None = None
    steps: Annotated[int, Field(ge=2, le=200)] | None = None
    """Values of a full factorial map."""
    spread: Spread = "uniform"
    """uniform: anywhere in the band alike; normal: half the half-width is one standard
    deviation, so that 95 % lie within the band."""

    @model_validator(mode="after")
    def _one_way_to_say_width(self) -> Self:
        ends = (self.low is None, self.high is None)
        if ends[0] != ends[1]:
            raise ValueError("low and high go together")
        if (self.tolerance is None) == ends[0]:
            raise ValueError("give either tolerance, or low and high")
        if self.low is not None and len(self.keys) > 1:
            raise ValueError("several keys vary together by a tolerance only")
        return self


class MapPlan(Section):
    """How a scenario is mapped."""

    sample: Sample = "sobol"
    cases: Annotated[int, Field(ge=1, le=1_000_000)] | None = None
    tolerances: bool = True
    """Whether every tolerance in the machine file varies too."""
    vary: tuple[Vary, ...] = ()


def parse_vary(text: str) -> Vary:
    """One `--vary`: KEY=5 %, KEY=5 % normal, KEY=LOW..HIGH or KEY=LOW..HIGH/STEPS; several keys
    that vary together are joined by "+".

    Errors: InputError with what was written.
    """
    key, sign, rest = text.partition("=")
    keys = [part.strip() for part in key.split("+")]
    if not sign or not all(keys) or not rest.strip():
        rule = 'write KEY="5 %", KEY="5 % normal" or KEY="0.4 us..1 us/9"'
        raise InputError([Problem(COMMAND_LINE, None, key, text, rule)])
    said: dict[str, object] = {"keys": keys}
    rest, said["spread"] = _spread(rest.strip())
    found = _RANGE.fullmatch(rest)
    if found:
        said |= {"low": _number(found["low"]), "high": _number(found["high"])}
        if found["steps"]:
            said["steps"] = int(found["steps"])
    else:
        said["tolerance"] = rest
    try:
        return Vary.model_validate(said)
    except ValidationError as error:
        item = error.errors(include_url=False)[0]
        context: dict[str, object] = item.get("ctx") or {}
        rule = str(context.get("rule") or context.get("error") or item["msg"])
        raise InputError([Problem(COMMAND_LINE, None, key, rest, rule)]) from None


def _spread(text: str) -> tuple[str, str]:
    for name in ("uniform", "normal"):
        if text.endswith(f" {name}"):
            return text.removesuffix(name).strip(), name
    return text, "uniform"


def _number(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text
