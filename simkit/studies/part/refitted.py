"""Our own switch fitted to what a model file showed on the bench, and the two in one rehearsal."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import isfinite
from typing import Any

from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.parameters.switch import Switch
from simkit.parts.modelled import with_model
from simkit.parts.switches import switch_of
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.rehearser import Rehearser
from simkit.run.backend import Progress
from simkit.studies.part.study import PartReport, Row

WARM = 100.0
"""Junction of a machine that tells none [degC]."""


def refitted(part: Any, report: PartReport) -> Any:
    """The part with every figure of its sheet that its model file showed in the sheet's place.

    A figure that could not be had stays the sheet's. A diode's peak is left out, for time and
    charge make it.
    """
    got = _Obtained(report.rows)
    diode = got.diode(part.diode)
    if part.kind == "igbt":
        return part.model_copy(update={"model": None, "diode": diode, **got.igbt(part)})
    return part.model_copy(update={"model": None, "diode": diode, **got.mosfet(part)})


class _Obtained:
    """Rows of a report by test and quantity, in their order."""

    def __init__(self, rows: Iterable[Row]) -> None:
        self._rows = [r for r in rows if isfinite(r.obtained) and r.obtained > 0.0]

    def one(self, quantity: str, given: float | None, condition: str = "") -> float | None:
        """What was obtained where so much was given under a condition, or what was given."""
        for row in self._rows:
            if row.quantity == quantity and row.given == given and condition in row.condition:
                return row.obtained
        return given

    def fields(self, section: Any, names: dict[str, str], condition: str = "") -> Any:
        """A section with its fields by symbol replaced."""
        new = {f: self.one(q, getattr(section, f), condition) for f, q in names.items()}
        return section.model_copy(update=new)

    def diode(self, diode: Any) -> Any:
        """Forward curve and recovery."""
        forward = tuple(
            self.fields(p, {"voltage": symbol}, f"{p.current:g} A")
            for p in diode.forward
            for symbol in [self._symbol("V_SD", "V_F")]
        )
        recovery = tuple(
            self.fields(p, {"time": "t_rr", "charge": "Q_rr"}, f"{p.junction_temperature:g} degC")
            .model_copy(update={"peak": None} if p.time and p.charge else {})
            for p in diode.recovery
        )  # fmt: skip
        return diode.model_copy(update={"forward": forward, "recovery": recovery})

    def _symbol(self, *names: str) -> str:
        return next((n for n in names if any(r.quantity == n for r in self._rows)), names[0])

    def mosfet(self, part: Any) -> dict[str, Any]:
        """Sections of a MOSFET."""
        symbols = {"input": "C_iss", "output": "C_oss", "reverse": "C_rss"}
        return {
            "on_resistance": self.fields(part.on_resistance,
                                         {"cold": "R_DS(on)", "hot": "R_DS(on)"}),
            "transfer": self.fields(part.transfer, {"threshold": "V_GS(th)",
                                                    "transconductance": "g_fs"}),
            "capacitance": tuple(self.fields(p, symbols, f"V_DS {p.drain_voltage:g} V")
                                 for p in part.capacitance),
            "gate_charge": self.fields(part.gate_charge, {
                "total": "Q_g", "gate_source": "Q_gs", "gate_drain": "Q_gd",
                "plateau": "plateau"}),
            "avalanche": self.breakdown(part.avalanche),
        }  # fmt: skip

    def breakdown(self, avalanche: Any) -> Any:
        """The avalanche voltage, the sheet's where the file has none of its own."""
        found = self.one("V_AV", avalanche.voltage)
        near = found is not None and 0.5 < found / avalanche.voltage < 2.0
        return avalanche.model_copy(update={"voltage": found} if near else {})

    def igbt(self, part: Any) -> dict[str, Any]:
        """Sections of an IGBT."""
        symbols = {"input": "C_ies", "output": "C_oes", "reverse": "C_res"}

        def warm(point: Any, names: dict[str, str]) -> Any:
            return self.fields(point, names, f"{point.junction_temperature:g} degC")

        return {
            "saturation": tuple(warm(p, {"voltage": "V_CE(sat)"}) for p in part.saturation),
            "transfer": self.fields(part.transfer, {"threshold": "V_GE(th)",
                                                    "transconductance": "g_fs"}),
            "capacitance": tuple(self.fields(p, symbols, f"V_CE {p.collector_voltage:g} V")
                                 for p in part.capacitance),
            "gate_charge": self.fields(part.gate_charge, {
                "total": "Q_g", "gate_emitter": "Q_ge", "gate_collector": "Q_gc",
                "plateau": "plateau"}),
            "turn_off": tuple(warm(p, {"energy": "E_off", "tail_decay": "tail to 1/e"})
                              for p in part.turn_off),
        }  # fmt: skip


@dataclass(frozen=True)
class Beside:
    """A judged figure with the model file and with our own switch fitted to it.

    Fields
    ------
    quantity, unit : as in a result
    file, ours : values, None where not evaluated [unit]
    error : both stated errors together [unit]
    limit : [unit]
    """

    quantity: str
    unit: str
    file: float | None
    ours: float | None
    error: float | None
    limit: float

    @property
    def differs(self) -> bool | None:
        """Whether the two differ by more than both errors; None where one could not be had."""
        if self.file is None or self.ours is None or self.error is None:
            return None
        return abs(self.file - self.ours) > self.error

    @property
    def share(self) -> float | None:
        """The difference over the limit [1]."""
        if self.file is None or self.ours is None:
            return None
        return (self.ours - self.file) / self.limit


@dataclass(frozen=True)
class SideBySide:
    """Two rehearsals of one scenario.

    Fields
    ------
    file, ours : with the model file, and with our own switch fitted to it
    rows : figure by figure
    """

    file: Rehearsal
    ours: Rehearsal
    rows: tuple[Beside, ...]


def beside(
    part: Loaded[Any], report: PartReport, machine: Machine, scenario: Scenario,
    progress: Progress | None = None, rehearser: Rehearser | None = None,
) -> SideBySide:  # fmt: skip
    """A scenario with a part's model file and with our own switch fitted to it; figure by figure.

    Errors: ValueError when the file's figures allow no fit; EngineError when the engine gives no
    whole answer.
    """
    celsius = junction_of(machine.switch)
    sheet = switch_of(part.model, celsius)
    theirs = with_model(part, sheet, celsius)
    ours = switch_of(refitted(part.model, report), celsius).model_copy(update={"warming": None})
    run = rehearser or Rehearser()
    found = []
    for number, switch in enumerate((theirs, ours)):
        known = machine.model_copy(update={"switch": switch})
        found.append(run.rehearse(known, scenario, _half(progress, number)))
    return SideBySide(found[0], found[1], tuple(_figures(found[0], found[1])))


def junction_of(switch: Switch) -> float:
    """At which a machine's switch was fitted or worked out [degC]."""
    if switch.model is not None and switch.model.junction_temperature is not None:
        return switch.model.junction_temperature
    return switch.warming.junction_temperature if switch.warming else WARM


def _half(progress: Progress | None, number: int) -> Progress | None:
    if progress is None:
        return None
    return lambda share: progress(0.5 * (share + number))


def _figures(file: Rehearsal, ours: Rehearsal) -> Iterator[Beside]:
    other = {row.quantity: row for row in ours.rows}
    for mine in file.rows:
        its = other.get(mine.quantity)
        if its is None:
            continue
        known = [e for e in (mine.error, its.error) if e is not None]
        both = sum(known) if len(known) == 2 else None
        yield Beside(mine.quantity, mine.unit, mine.value, its.value, both, mine.limit)
