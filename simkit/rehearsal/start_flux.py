"""What a run's own start does to the transformer's flux, and how its seed makes up for it.

A run begins in the middle of a half period with its gates empty. Until they are charged and the
channels have taken over the primary current, that current flows through the body diodes of the
other pair, so that the bridge voltage has the wrong sign: the flux ends up short by twice the
voltage over that time. It would fade in a thousand cycles; so the seed is given this much more.
Where the deck's nodes are given as they stand (circuit/start.py) the gates are charged and nothing
is amiss.
"""

from dataclasses import replace

import numpy as np

from simkit.circuit.start import start_nodes
from simkit.circuit.timeline import Timeline
from simkit.circuit.values import Seed
from simkit.parameters.machine import Machine
from simkit.scout.drive import gate_delays
from simkit.scout.forced import forcing
from simkit.scout.plant import swing_charge


def with_kick(machine: Machine, line: Timeline, begin: float, seed: Seed) -> Seed:
    """A seed for a run that begins at a time [s], its magnetising current corrected.

    The flux gains 2 V t, with the half swing V of the bridge and the time t until the channels
    have taken over, less what the current needs to charge the nodes, which start at zero: about
    twice a swing's charge (seen in circuit runs at 15 and 70 A, right to a few percent of the
    flux). Nothing where the current flows backwards: then the diodes hold the right voltage.
    """
    if start_nodes(machine, line, seed):
        return seed
    positive = int(2.0 * line.phase(begin)) % 2 == 0
    forward = seed.primary_current if positive else -seed.primary_current
    if forward <= 0.0:
        return seed
    ramp = float(forcing(machine).ramp_time(np.array(forward)))
    level = seed.link_voltage * machine.bridge.level_share
    charging = 2.0 * swing_charge(machine, seed.link_voltage) / forward
    missing = 2.0 * level * max(gate_delays(machine).on + ramp - charging, 0.0)
    flux = missing if positive else -missing
    return replace(
        seed,
        primary_current=seed.primary_current + flux / machine.transformer.magnetising_inductance,
        linkage=None if seed.linkage is None else seed.linkage + flux,
    )
