"""Waveforms made by hand: every node of the deck at zero but those a test gives."""

from __future__ import annotations

import numpy as np

from simkit.measure.waveforms import Array, Waves
from simkit.parameters.machine import Machine

NODES = (
    "p", "a", "b", "pa", "pb", "s1", "s2", "w", "t1", "lam", "lx", "rx", "fl", "sup", "link",
    "film", "cl1", "cl2", "cf1", "cf2", "sh", "sl", "na", "nb", "n1", "n2", "n3", "n4",
    *(f"d{k}" for k in range(1, 5)),
    *(f"xq{k}.{n}" for k in range(1, 5) for n in ("di", "si", "gi", "da", "dj", "db", "jb", "cj")),
)  # fmt: skip


def waves(machine: Machine, time: Array, **given: Array | float) -> Waves:
    """Waves on a time axis [s]; node names with "__" for ".", channel currents as i1 to i4."""
    raw = {f"v({name})": np.zeros_like(time) for name in NODES}
    raw |= {f"@m.xq{k}.m1[id]": np.zeros_like(time) for k in range(1, 5)}
    for name, value in given.items():
        key = f"v({name.replace('__', '.')})"
        if name in ("i1", "i2", "i3", "i4"):
            key = f"@m.xq{name[1]}.m1[id]"
        raw[key] = np.zeros_like(time) + value
    return Waves(machine, time, raw)
