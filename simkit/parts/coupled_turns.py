"""What a shorted turn does to a coil, by coupled inductors."""

from math import pi


def shorted_turn(
    inductance: float,
    resistance: float,
    turns: int,
    coupling: float,
    frequency: float,
    contact: float = 0.0,
) -> tuple[float, float]:
    """Inductance and resistance at the ends of a coil with one turn shorted onto itself [H], [ohm].

    N equal turns of self-inductance L1, any two coupled by k: L = N L1 (1 + (N-1) k) gives L1.
    The N-1 turns that are left have L' = (N-1) L1 (1 + (N-2) k) and couple to the shorted one by
    M = (N-1) k L1, which with its resistance R1 reflects w^2 M^2/(R1 + j w L1):

        L_seen = L' - w^2 M^2 L1/(R1^2 + w^2 L1^2),  R_seen = R (N-1)/N + w^2 M^2 R1/(same)

    `inductance` L, `resistance` R of the whole coil with its load, `turns` N, `coupling` k [1],
    `frequency` [Hz], `contact`: added to the turn's own R/N [ohm]. Source: coupled circuits,
    textbook. Range: turns alike and alike coupled: good for a short, wide coil; the turns of a
    long one couple less the farther they are apart. The load's share is spread over the turns.
    """
    own = inductance / (turns * (1.0 + (turns - 1) * coupling))
    left = (turns - 1) * own * (1.0 + (turns - 2) * coupling)
    mutual = (turns - 1) * coupling * own
    loop = resistance / turns + contact
    omega = 2.0 * pi * frequency
    reflected = (omega * mutual) ** 2 / (loop**2 + (omega * own) ** 2)
    seen = resistance * (turns - 1) / turns + reflected * loop
    return left - reflected * own, seen
