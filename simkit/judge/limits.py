"""Limits as pure data: number, derating and where it comes from, from the figures' records."""

from simkit.figures.record import Figure, Limit
from simkit.figures.table import figures
from simkit.parameters.machine import Machine

__all__ = ["Limit", "machine_limits", "unrated"]


def machine_limits(machine: Machine) -> tuple[Limit, ...]:
    """Every limit judged on a machine, from its ratings and deratings."""
    found = []
    for figure in figures().values():
        bound = figure.limit(machine) if figure.limit and figure.there(machine) else None
        if bound is not None:
            found.append(Limit(figure.name, figure.unit, bound.value, bound.source))
    return tuple(found)


def unrated(machine: Machine) -> tuple[Figure, ...]:
    """Figures of parts the machine has, for which its file gives no rating."""
    return tuple(
        f for f in figures().values() if f.limit and f.there(machine) and f.limit(machine) is None
    )
