"""All figures there are: what the modules of this package declare as `FIGURES`."""

import pkgutil
from functools import cache
from importlib import import_module

import simkit.figures as package
from simkit.figures.record import Figure

PARTS = ("switch", "tank capacitor", "matching transformer", "supply")
"""Order in which parts are told; the others follow by name."""


@cache
def figures() -> dict[str, Figure]:
    """Every figure by its name, part by part."""
    found: list[Figure] = []
    for name in sorted(info.name for info in pkgutil.iter_modules(package.__path__)):
        found += getattr(import_module(f"{package.__name__}.{name}"), "FIGURES", ())
    out = {f.name: f for f in sorted(found, key=_place)}
    if len(out) < len(found):
        names = [f.name for f in found]
        raise ValueError(
            f"figures declared twice: {sorted({n for n in names if names.count(n) > 1})}"
        )
    return out


def _place(figure: Figure) -> tuple[bool, int, str]:
    """What goes on for minutes comes last; sorting keeps the modules' order otherwise."""
    known = figure.part in PARTS
    at = PARTS.index(figure.part) if known else len(PARTS)
    return figure.limit is None, at, "" if known else figure.part


def figure(name: str) -> Figure:
    """One figure by its name; KeyError where nobody declared it."""
    return figures()[name]


def sudden() -> frozenset[str]:
    """Names of the figures that destroy within one cycle."""
    return frozenset(f.name for f in figures().values() if f.sudden)


def of_loss() -> frozenset[str]:
    """Names of the figures that follow from the switches' loss."""
    return frozenset(f.name for f in figures().values() if f.of_loss)


def titles() -> dict[str, str]:
    """Title of each figure by its name."""
    return {name: f.words.title for name, f in figures().items()}


def full_name(name: str) -> str:
    """A figure's name where no single part is meant; the name itself where nobody declared it."""
    return figures()[name].full_name if name in figures() else name
