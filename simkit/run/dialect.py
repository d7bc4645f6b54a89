"""The same circuit in the second engine's dialect, where that differs from ngspice's.

Found by trying (neospice 0.2.0) and each held against ngspice or a closed solution in the tests:
it has no `c ? a : b` but a function of three arguments; it takes the flux of coupled inductors at
the start from each one's own current alone, leaving out what the other sends through it; it keeps
no vector of a transistor's channel current. An element it cannot read it leaves out with a mere
warning, so whoever runs a translated deck must refuse every warning.
"""

import math
import re
from collections.abc import Iterator

CHANNEL = re.compile(r"@m\.(?P<path>.+)\.(?P<name>m\w*)\[id\]\Z")
NOT_STATIC = ("cgs", "cgdmax", "cgdmin", "a", "cjo", "vj", "m", "tt", "bv", "ibv")
"""Parameters of a transistor's model that have no part in its channel current."""


def translated(text: str) -> str:
    """A deck of ours as the second engine reads it."""
    lines = _joined(text)
    lines = [_without_conditional(line) for line in lines if not line.startswith(".save")]
    lines = _with_mutual_start(lines)
    return "\n".join(_with_channel_twins(lines))


EDGES = re.compile(r"(pulse\(\S+ \S+ \S+ )(\S+) (\S+) ")
NUDGES = (0.0, 1e-4, 1e-3, 1e-5, 1e-2)
"""By what shares gate edges are made longer where the engine stumbles over them, in the order of
trying [1]: picoseconds, or tenths of a nanosecond at last."""

VNTOL = re.compile(r"\bvntol=\S+")
EASE = 1e-3
"""[V]"""


def otherwise(text: str) -> Iterator[str]:
    """The deck, then what may be run in its place where the engine stops; none of them twice."""
    seen = set[str]()
    for nudge in NUDGES:
        for other in (nudged(text, nudge), eased(nudged(text, nudge))):
            if other not in seen:
                seen.add(other)
                yield other


def nudged(text: str, nudge: float) -> str:
    """The same deck with the edges of its pulses longer by a share [1].

    Where corners of several sources fall within a rounding of each other the engine may stop with
    "failed to converge" at any step bound and tolerance; moved by picoseconds they do not meet.
    """

    if nudge == 0.0:
        return text

    def longer(found: re.Match[str]) -> str:
        rise, fall = (float(found[k]) * (1.0 + nudge) for k in (2, 3))
        return f"{found[1]}{rise:.12g} {fall:.12g} "

    return EDGES.sub(longer, text)


def eased(text: str) -> str:
    """The same deck with `EASE` as its absolute tolerance on voltages.

    At some edges the engine goes on halving its step until it gives up, with a tenth of a millivolt
    asked for; a millivolt is well below what the relative tolerance allows a switched node.
    """
    return VNTOL.sub(f"vntol={EASE:g}", text)


def signal(saved: str) -> tuple[str, bool]:
    """Name of a saved vector in a translated deck, and whether it is a current."""
    channel = CHANNEL.match(saved)
    if channel:
        return f"v.{channel['path']}.v{channel['name']}twin", True
    if saved.startswith("i("):
        return saved[2:-1], True
    return saved, False


def _joined(text: str) -> list[str]:
    """Statements, one a line."""
    out: list[str] = []
    for line in text.split("\n"):
        if line.startswith("+ ") and out:
            out[-1] += " " + line[2:]
        else:
            out.append(line)
    return out


def _without_conditional(line: str) -> str:
    """`(c ? a : b)` written as `ternary_fcn(c,a,b)`, the innermost first."""
    while "?" in line and not line.startswith("*"):
        mark = line.rindex("?")
        start, end = _opening(line, mark), _closing(line, mark)
        colon = _colon(line, mark, end)
        parts = (line[start + 1 : mark], line[mark + 1 : colon], line[colon + 1 : end])
        inner = ",".join(part.strip() for part in parts)
        line = f"{line[:start]}ternary_fcn({inner}){line[end + 1 :]}"
    return line


def _opening(line: str, mark: int) -> int:
    depth = 0
    for k in range(mark - 1, -1, -1):
        depth += (line[k] == ")") - (line[k] == "(")
        if depth < 0:
            return k
    raise ValueError(f"a conditional stands in no brackets: {line[:80]!r}")


def _closing(line: str, mark: int) -> int:
    depth = 0
    for k in range(mark + 1, len(line)):
        depth += (line[k] == "(") - (line[k] == ")")
        if depth < 0:
            return k
    raise ValueError(f"a conditional stands in no brackets: {line[:80]!r}")


def _colon(line: str, mark: int, end: int) -> int:
    depth = 0
    for k in range(mark + 1, end):
        depth += (line[k] == "(") - (line[k] == ")")
        if depth == 0 and line[k] == ":":
            return k
    raise ValueError(f"a conditional lacks its other value: {line[:80]!r}")


INDUCTOR = re.compile(r"(l\w*) (\S+) (\S+) (\S+)(?: ic=(\S+))?\Z")
COUPLING = re.compile(r"k\w* (l\w*) (l\w*) (\S+)\Z")


def _with_mutual_start(lines: list[str]) -> list[str]:
    """Start currents that give each coupled inductor the flux its partners send through it.

    L_1 i_1' = L_1 i_1 + M i_2 with M = k sqrt(L_1 L_2).
    """
    coils = {m[1]: (k, m) for k, line in enumerate(lines) if (m := INDUCTOR.match(line))}
    start = {name: float(m[5] or 0.0) for name, (_, m) in coils.items()}
    own = {name: float(m[4]) for name, (_, m) in coils.items()}
    whole = dict(start)
    for one, other, factor in (m.groups() for line in lines if (m := COUPLING.match(line))):
        mutual = float(factor) * math.sqrt(own[one] * own[other])
        whole[one] += mutual * start[other] / own[one]
        whole[other] += mutual * start[one] / own[other]
    out = list(lines)
    for name, (k, m) in coils.items():
        if whole[name] != start[name]:
            out[k] = f"{name} {m[2]} {m[3]} {m[4]} ic={whole[name]:.15g}"
    return out


def _with_channel_twins(lines: list[str]) -> list[str]:
    """Beside each transistor its channel alone, at the same voltages and loading nothing."""
    models = {}
    for line in lines:
        if found := re.match(r"\.model (\w+) vdmos\((.*)\)\Z", line):
            models[found[1]] = _static(found[2])
    out: list[str] = []
    for line in lines:
        out.append(line)
        if found := re.match(r"(m\w*) (\S+) (\S+) (\S+) (\w+)( .*)?\Z", line):
            name, drain, gate, source, model, rest = found.groups()
            if model not in models:
                continue
            out += [
                f"e{name}dtwin {name}xd 0 {drain} {source} 1",
                f"e{name}gtwin {name}xg 0 {gate} {source} 1",
                f"v{name}twin {name}xd {name}xc 0",
                f"{name}twin {name}xc {name}xg 0 {model}twin{rest or ''}",
            ]
    twins = [f".model {name}twin vdmos({text})" for name, text in models.items()]
    return [out[0], *twins, *out[1:]]


def _static(parameters: str) -> str:
    kept = [p for p in parameters.split() if p.partition("=")[0] not in NOT_STATIC]
    return " ".join([*kept, "cgs=0", "cgdmax=0", "cgdmin=0", "cjo=0"])
