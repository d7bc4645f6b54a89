"""What is read from a model file, held against what the engine makes of it.

Values of expressions are Python's own arithmetic; charges and currents are closed forms.
"""

import math
import re

import numpy as np
import pytest

from simkit.errors import EngineFailed
from simkit.modelfile import modelcards
from simkit.modelfile.cards import Scope
from simkit.modelfile.evaluation import Values, constant
from simkit.modelfile.expressions import parse
from simkit.modelfile.flat import FlatModel, flattened
from simkit.modelfile.reader import read_model_file
from simkit.modelfile.refused import Place
from simkit.run.backend import EngineRun
from simkit.run.process import NgspiceEngine

PLACE = Place("a.lib", 1)
OPTIONS = ".options method=trap reltol=1e-5 trtol=1 abstol=1e-9 vntol=1e-7 chgtol=1e-15"
AS_REHEARSED = ".options method=trap reltol=1e-4 trtol=1 abstol=1e-6 vntol=1e-4 chgtol=1e-12"


def part(text: str, name: str = "part", temperature: float = 27.0) -> FlatModel:
    return flattened(read_model_file(text.encode(), "a.lib"), name, temperature)


def run(
    model: FlatModel,
    around: str,
    saved: tuple[str, ...],
    stop: float,
    step: float,
    options: str = OPTIONS,
) -> EngineRun:
    lines = ["* a part of a model file", options, *model.deck_lines("device"), around,
             f".save {' '.join(saved)}", f".tran {step:.12g} {stop:.12g} 0 {step:.12g} uic", ".end",
             ""]  # fmt: skip
    return NgspiceEngine().run("\n".join(lines), saved, stop)


LAWS = (
    "a+2*b", "a*b-b/a", "a**3", "b**3", "b**2", "abs(b)**1.5", "pow(b,2)", "pwr(b,3)", "pwrs(b,2)",
    "a**b", "-b**2", "1/b**3", "exp(b)", "ln(a)", "log(a)", "log10(a)", "sqrt(a)", "sin(a)",
    "cos(b)", "tan(b)", "atan(b)", "tanh(b)", "sinh(b)", "cosh(b)", "asin(b/9)", "acos(b/9)",
    "abs(b)", "sgn(b)",
    "max(a,b)", "min(a,b)", "max(a,b,3)", "limit(b,-1,1)", "if(a>b,a,b)", "if(a<=b,a,b)",
    "a>1 ? (b>1 ? 1 : 2) : 3", "(a>b && b<0)*5", "(a<b || b<0)*5", "!(a>b)+7", "(a!=b)*3",
    "(a==a)*3", "u(a)+u(b)", "uramp(b)", "uramp(a)", "floor(b)", "ceil(b)",
    "table(a, 0,1, 1,3, 2,2, 4,9)", "table(b, -1,5, 1,6)", "table(a*10, 0,1, 1,3)", "2*pi*a",
    "temp/a", "a*1k+b*2m", "+a- -b", "a/b/a", "a-b-a", "1e-9*a+1e9*b",
)  # fmt: skip


@pytest.mark.parametrize(("a", "b"), [(1.7, -1.3), (2.6, -0.4)])
def test_every_function_means_the_same_to_the_engine(a: float, b: float) -> None:
    """All laws at once, each a voltage on a node of its own; a wrong reading of a power of a
    negative base, or of a table beyond its ends, would show here."""
    pieces = []
    for start in range(0, len(LAWS), 8):
        some = LAWS[start : start + 8]
        outs = " ".join(f"o{k}" for k in range(len(some)))
        laws = "\n".join(f"b{k} o{k} 0 v={_of_nodes(law)}" for k, law in enumerate(some))
        pieces.append(f".subckt part{start} x y {outs}\n{laws}\n.ends")
    text = "\n".join(pieces)
    for start in range(0, len(LAWS), 8):
        some = LAWS[start : start + 8]
        model = part(text, f"part{start}")
        around = [f"va x 0 {a}", f"vb y 0 {b}",
                  f"xd x y {' '.join(f'z{k}' for k in range(len(some)))} device"]  # fmt: skip
        around += [f"rz{k} z{k} 0 1000" for k in range(len(some))]
        saved = tuple(f"v(z{k})" for k in range(len(some)))
        got = run(model, "\n".join(around), saved, 1e-6, 1e-7)
        for law, name in zip(some, saved, strict=True):
            values = Values(Scope("", PLACE), 27.0, given={"a": a, "b": b})
            expected = constant(parse(law), values, PLACE)
            assert got.vectors[name][-1] == pytest.approx(expected, rel=1e-6, abs=1e-7), law


def _of_nodes(law: str) -> str:
    return re.sub(r"\bb\b", "v(y)", re.sub(r"\ba\b", "v(x)", law))


RAMP = "vs s 0 pulse(0 100 0 0.000001 0.000001 1 2)\nvm s d 0"
"""100 V in 1 us, its current read in a source of 0 V."""


@pytest.mark.parametrize(
    ("element", "current"),
    [
        ("c1 a b 1n", lambda v: 1e-9 * 1e8),
        ("c1 a b c={1n/(1+v(a,b)/10)**0.5}", lambda v: 1e-9 / math.sqrt(1 + v / 10) * 1e8),
        ("c1 a b q={1n*20*(sqrt(1+x/10)-1)}", lambda v: 1e-9 / math.sqrt(1 + v / 10) * 1e8),
        ("c1 a b {1n/(1+v(a,b)/10)**0.5}", lambda v: 1e-9 / math.sqrt(1 + v / 10) * 1e8),
        ("r1 a b r={10+v(a,b)}", lambda v: v / (10 + v)),
        ("g1 a b table {v(a,b)} = (0,0) (50,1) (100,4)",
         lambda v: np.interp(v, [0, 50, 100], [0, 1, 4])),
        ("g1 a b poly(1) a b 0 0.01 0.001", lambda v: 0.01 * v + 0.001 * v * v),
        ("v1 a x 0\nr1 x b 50\nf1 a b v1 2", lambda v: 3 * v / 50),
        ("v1 a x 0\nr1 x b 50\nh1 y b v1 10\nr2 y b 1\nb2 a b i={v(y,b)/10}", lambda v: 2 * v / 50),
        ("r1 a b 50 tc1=1m tc2=1u", lambda v: v / 50),
    ],
    ids=lambda value: value if isinstance(value, str) else "law",
)  # fmt: skip
def test_an_element_draws_the_current_of_its_law(element: str, current: object) -> None:
    """While the voltage rises by 100 V/us: C dv/dt for a capacitance, dQ/dt for a charge."""
    model = part(f".subckt part a b\n{element}\n.ends")
    found = run(model, f"{RAMP}\nxd d 0 device", ("v(d)", "i(vm)"), 1e-6, 2e-9)
    time, volts, amps = (found.vectors[n] for n in ("time", "v(d)", "i(vm)"))
    inside = (time > 0.1e-6) & (time < 0.95e-6)
    expected = np.array([current(v) for v in volts[inside]])  # type: ignore[operator]
    np.testing.assert_allclose(amps[inside], expected, rtol=3e-3, atol=1e-6)


def test_a_diode_s_law_at_two_temperatures() -> None:
    """Shockley's law with the series resistance nought: v = n kT/q ln(i/is) at 27 degC, where the
    saturation current is the model's own (recalled from memory: kT/q = 25.865 mV at 300.15 K)."""
    text = ".model dm d(is=1e-12 n=1)\n.subckt part a b\nd1 a b dm\n.ends"
    volts = {}
    for temperature in (27.0, 127.0):
        model = part(text, temperature=temperature)
        found = run(model, "is 0 d 0.001\nxd d 0 device\nrx d 0 1e9", ("v(d)",), 1e-6, 1e-8)
        volts[temperature] = found.vectors["v(d)"][-1]
    assert volts[27.0] == pytest.approx(0.025865 * math.log(1e-3 / 1e-12), rel=2e-3)
    assert -2.6e-3 < (volts[127.0] - volts[27.0]) / 100.0 < -1.4e-3  # V/K of a junction


def test_a_leg_of_mutual_inductors_couples() -> None:
    """Open secondary: v2 = k sqrt(L2/L1) v1."""
    text = ".subckt part a b\nl1 a 0 10u\nl2 b 0 40u\nk1 l1 l2 0.9\n.ends"
    around = "vs d 0 pulse(0 10 0 0.00000001 0.00000001 1 2)\nxd d e device\nre e 0 1000000"
    found = run(part(text), around, ("v(e)",), 1e-6, 5e-9)
    assert found.vectors["v(e)"][-1] == pytest.approx(0.9 * 2.0 * 10.0, rel=1e-3)


LETTERS = {"d": "d", "npn": "q", "pnp": "q", "njf": "j", "pjf": "j"}
CARDS = [(kind, level) for kind in sorted(modelcards.KINDS)
         for level in modelcards.LEVELS.get(kind, (1,))]  # fmt: skip


@pytest.mark.parametrize(("kind", "level"), CARDS)
def test_the_engine_knows_every_value_that_is_taken_over(kind: str, level: int) -> None:
    """A value that the engine does not know would be dropped with a mere warning."""
    known = modelcards.KINDS[kind][1] - {"level", "tnom"}
    values = " ".join(f"{name}=1" for name in sorted(known))
    nodes = "a b" if kind == "d" else "a a b b" if kind in modelcards.LEVELS else "a a b"
    text = (f".model mm {kind}(level={level} {values})\n.subckt part a b\n"
            f"{LETTERS.get(kind, 'm')}1 {nodes} mm\n.ends")  # fmt: skip
    try:
        log = run(part(text), "vs d 0 0\nxd d 0 device", ("v(d)",), 1e-8, 1e-9).log
    except EngineFailed as error:  # nonsense values may stop it; its words count
        log = error.log
    assert [line for line in log if "unrecognized" in line.lower()] == []


def test_a_file_as_people_exchange_them_switches_a_load() -> None:
    """Nested parts, a return pin of its own, charges as laws, temperature: 400 V and 20 A."""
    text = """
* made up for this test
.param rth=1
.func cj(v) {12p + 300p/(1+max(v,0)/4)**0.6}
.subckt sic d g s ks params: vth=3.2
x1 di g ks core vth={vth}
ls s ks 2n
rs s ks 5
ld d di 2n
rd d di 5
.ends
.subckt core d g s params: vth=3
.param kx={8*(1-0.002*(temp-25))}
rg g gi 3
cgs gi s 1n
cgd d gi c={cj(v(d,gi))}
cds d s c='60p + 400p/sqrt(1+max(v(d,s),0)/3)'
bch d s i={if(v(gi,s)>vth, kx*(v(gi,s)-vth)*tanh(0.6*v(d,s)), 0)}
dbody s d bd
.model bd d(is=1e-16 n=2 rs=20m tt=15n)
.ends
"""
    model = part(text, "sic", 100.0)
    around = ("vdd dd 0 400\nrl dd d 20\nvg g 0 pulse(-4 18 1e-7 2e-8 2e-8 4e-7 1e-6)\n"
              "xd d g 0 k device\nrk k 0 1000000")  # fmt: skip
    found = run(model, around, ("v(d)",), 1e-6, 1e-9, AS_REHEARSED)
    assert found.vectors["v(d)"].max() > 395.0
    on = found.vectors["v(d)"][
        (found.vectors["time"] > 0.35e-6) & (found.vectors["time"] < 0.45e-6)
    ]
    assert on.max() < 15.0
