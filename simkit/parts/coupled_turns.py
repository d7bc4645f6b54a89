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
    M = (N-1) k L1. The coil's current i flows through them and then divides between the contact Rc
    and the turn, whose current i2 follows from (R1 + j w L1) i2 + j w M i = Rc (i - i2):

        Z = R' + j w L' + Rc - (Rc - j w M)^2/(R1 + Rc + j w L1)

    With Rc = 0 that is L' less what the closed turn reflects, without end the whole coil again.
    `inductance` L, `resistance` R of the whole coil with its load, `turns` N, `coupling` k [1],
    `frequency` [Hz], `contact` Rc [ohm]. Source: Kirchhoff's laws on coupled circuits. Range:
    turns alike and alike coupled: good for a short, wide coil; the turns of a long one couple less
    the farther they are apart. The load's share is spread over the turns.
    """
    own = inductance / (turns * (1.0 + (turns - 1) * coupling))
    left = (turns - 1) * own * (1.0 + (turns - 2) * coupling)
    mutual = (turns - 1) * coupling * own
    omega = 2.0 * pi * frequency
    rest = complex(resistance * (turns - 1) / turns, omega * left)
    turn = complex(resistance / turns, omega * own)
    seen = rest + contact - (contact - 1j * omega * mutual) ** 2 / (turn + contact)
    return seen.imag / omega, seen.real
