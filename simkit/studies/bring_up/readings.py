"""The sheet as a readings file to fill in: same stages, lines to complete."""

from simkit.parameters.machine import Machine
from simkit.studies.bring_up.study import BringUpResult, Expected, StageResult
from simkit.units import format_quantity

HEAD = """# Readings of {name}: fill in what you read, take the sign # from the front of the line.
# "uncertainty" is the half-width of the interval in which you would bet 19 to 1 that the true
# value lies; what stands there is your [probes] accuracy. Lines you leave out were not read.
# Then: simkit fit {file} {own}

machine = "{name}"
"""
LEFT_OUT = {True: ("tank_voltage", "primary_current"), False: ("tank_scope", "current_scope")}
"""The twin of a reading that is not asked for, with a scope described and without."""


def readings_text(result: BringUpResult, file: str, own: str = "readings.toml") -> str:
    """A readings file with a commented line for every reading of the sheet."""
    machine = result.machine
    parts = [HEAD.format(name=machine.name, file=file, own=own)]
    parts += [_stage(n, s, machine) for n, s in enumerate(result.stages, 1)]
    return "\n".join(parts)


def _stage(number: int, stage: StageResult, machine: Machine) -> str:
    low = stage.setting.supply_voltage if stage.setting else 12.0
    load = stage.setting.load if stage.setting else "empty"
    lines = [f"# --- {number}. {stage.stage.title}", "[[points]]", f'load = "{load}"',
             f'supply_voltage = "{low:g} V"  # what you really had at the rails']  # fmt: skip
    if stage.setting is not None and stage.frequency is not None:
        shown = format_quantity(stage.frequency, "Hz", 4)
        lines.append(f'# frequency = "{shown}"  # expected; write what you set')
    seen: set[str] = set()
    for one in stage.expected:
        if one.name not in LEFT_OUT[machine.probes is not None] and one.name not in seen:
            seen.add(one.name)
            lines.append(_line(one))
    return "\n".join(lines) + "\n"


def _line(one: Expected) -> str:
    unit = "K" if one.unit == "degC" else one.unit
    half = one.instrument or 0.05 * abs(one.value)
    width = format_quantity(half, unit, 2)
    expected = (
        f"{format_quantity(one.low, one.unit, 3)} to {format_quantity(one.high, one.unit, 3)}"
    )
    return f'# {one.name} = {{ value = "", uncertainty = "{width}" }}  # {expected}'


def table_text(result: BringUpResult) -> str:
    """The same as a table for a spreadsheet; empty values are not read."""
    rows = ["load,supply_voltage,frequency,reading,value,uncertainty"]
    machine = result.machine
    for stage in result.stages:
        volts = stage.setting.supply_voltage if stage.setting else 12.0
        load = stage.setting.load if stage.setting else "empty"
        frequency = format_quantity(stage.frequency, "Hz", 4) if stage.setting and stage.frequency \
            else ""  # fmt: skip
        for name in dict.fromkeys(e.name for e in stage.expected):
            one = next(e for e in stage.expected if e.name == name)
            if name not in LEFT_OUT[machine.probes is not None]:
                unit = "K" if one.unit == "degC" else one.unit
                half = format_quantity(one.instrument or 0.05 * abs(one.value), unit, 2)
                rows.append(f"{load},{volts:g} V,{frequency},{name},,{half}")
    return "\n".join(rows) + "\n"
