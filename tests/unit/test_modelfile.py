"""The reader of SPICE model files: what is taken, how it is written anew, what is refused and why.

The meaning of what is taken is held against the engine in tests/engine/test_modelfile.py; files
that mean harm are in tests/robust/test_modelfile_hostile.py.
"""

import math
import random
import re
import tomllib
from pathlib import Path

import pytest

from simkit.errors import InputError
from simkit.modelfile.cards import Scope
from simkit.modelfile.evaluation import Values, constant
from simkit.modelfile.expressions import BadExpression, parse
from simkit.modelfile.flat import FlatModel, flattened
from simkit.modelfile.functions import power
from simkit.modelfile.numbers import NotANumber, number
from simkit.modelfile.reader import read_model_file
from simkit.modelfile.refused import Place
from simkit.run.guard import inspect

PLACE = Place("a.lib", 1)


def read(text: str, name: str = "part", temperature: float = 25.0) -> FlatModel:
    return flattened(read_model_file(text.encode(), "a.lib"), name, temperature)


def inside(lines: str, pins: str = "a b c", before: str = "") -> FlatModel:
    return read(f"{before}\n.subckt part {pins}\n{lines}\n.ends part\n")


def value(text: str, **known: float) -> float:
    return constant(parse(text), Values(Scope("", PLACE), 25.0, given=dict(known)), PLACE)


# --- numbers: the Berkeley program's users' guide, SPICE3f (1993), section 2.1 --------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1000", 1000.0), ("1000.0", 1000.0), ("1000hz", 1000.0), ("1e3", 1000.0),
        ("1.0e3", 1000.0), ("1khz", 1000.0), ("1k", 1000.0),  # the guide's own seven spellings
        ("10", 10.0), ("10v", 10.0), ("10volts", 10.0), ("10hz", 10.0),  # and its four of ten
        ("1meg", 1e6), ("1m", 1e-3), ("1mil", 25.4e-6), ("1t", 1e12), ("1g", 1e9), ("3u", 3e-6),
        ("3n", 3e-9), ("3p", 3e-12), ("3f", 3e-15), ("3pf", 3e-12), ("-2.5m", -2.5e-3),
        (".5", 0.5), ("+4", 4.0), ("10megohm", 1e7), ("4mohm", 4e-3), ("1uh", 1e-6),
    ],
)  # fmt: skip
def test_a_number_with_its_letters(text: str, expected: float) -> None:
    assert number(text) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("text", ["", "k1", "1kk", "1farad", "1e", "4k7", "0x10", "1_000", "nan"])
def test_what_is_no_number(text: str) -> None:
    """1farad would be a femtofarad to one reader and a farad to another; 4k7 loses its 7."""
    with pytest.raises(NotANumber):
        number(text)


# --- expressions: against Python's own arithmetic, whose precedence is that of the C language -----


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1+2*3", 1 + 2 * 3), ("(1+2)*3", (1 + 2) * 3), ("2**3**2", 2**3**2), ("2^3", 8),
        ("-2**2", -(2**2)), ("2**-1", 0.5), ("8/4/2", 8 / 4 / 2), ("7-3-2", 7 - 3 - 2),
        ("1<2", 1), ("1+1<3 && 2>1", 1), ("0 || 0", 0), ("!0", 1), ("1?2:3", 2), ("0?2:0?4:5", 5),
        ("if(2>1, 10, 20)", 10), ("max(1, 5, 3)", 5), ("min(4, 2)", 2), ("limit(7, 0, 5)", 5),
        ("table(1.5, 0,0, 1,10, 2,30)", 20), ("table(-9, 0,1, 1,2)", 1), ("table(9, 0,1, 1,2)", 2),
        ("log(exp(1))", 1), ("log10(1000)", 3), ("sqrt(2)*sqrt(2)", 2), ("abs(-3)", 3),
        ("pwr(-2,2)", 4), ("pwrs(-2,2)", -4), ("sgn(-7)", -1), ("u(0.1)+u(-0.1)", 1),
        ("uramp(-3)+uramp(3)", 3), ("pi", math.pi), ("temp", 25.0), ("2k*3m", 6),
        ("1 == 1", 1), ("1 != 1", 0), ("- - 3", 3), ("2*-3", -6), ("atan(1)*4", math.pi),
        ("1e-3+1m", 2e-3), ("(-8)**3", -512), ("(-8)**2", 64),
    ],
)  # fmt: skip
def test_an_expression_s_value(text: str, expected: float) -> None:
    assert value(text) == pytest.approx(float(expected), rel=1e-12, abs=1e-15)


@pytest.mark.parametrize(
    "text",
    ["1+", "(1", "1)", "1 2", "a b", "foo(", "v()", "v(a,b,c)", "i(a,b)", "1 ? 2", ",", "$x", "`x`",
     "\\", "1..2", "[1]", "#", "@m1[id]"],
)  # fmt: skip
def test_what_is_no_expression(text: str) -> None:
    with pytest.raises(BadExpression):
        parse(text)


def test_a_power_of_a_negative_base_with_a_broken_exponent_is_of_its_size() -> None:
    assert power(-4.0, 0.5) == 2.0


# --- what is taken, and its normal form ----------------------------------------------------------


def test_names_and_numbers_are_our_own() -> None:
    part = inside("rgate alpha beta 2.2kohm\ncx beta b 10p\nrx alpha a 1\nry b c 1meg")
    assert part.elements == ("r1 n1 n2 2200", "c2 n2 p2 1e-11", "r3 n1 p1 1", "r4 p2 p3 1000000")
    assert part.pins == ("a", "b", "c")


def test_a_subcircuit_of_a_subcircuit_is_written_out_with_its_values() -> None:
    inner = ".subckt leg x y params: r=5 n=2\nr1 x m {r*n}\nr2 m y {r}\n.ends"
    part = inside("x1 a b leg\nx2 b c leg params: r=7\nx3 a c leg n={3}", before=inner)
    values = [line.split()[-1] for line in part.elements]
    assert values == ["10", "5", "14", "7", "15", "5"]
    nodes = {word for line in part.elements for word in line.split()[1:3]}
    assert nodes == {"p1", "p2", "p3", "n1", "n2", "n3"}


def test_a_parameter_may_stand_after_its_use_and_follow_from_others() -> None:
    part = inside("r1 a b {twice}", before=".param twice={2*once}\n.param once=21")
    assert part.elements[0].endswith(" 42")


def test_a_default_may_follow_from_what_the_instance_sets() -> None:
    inner = ".subckt leg x y params: r=5 q={2*r}\nr1 x y {q}\n.ends"
    part = inside("x1 a b leg r=8\nr9 b c 1", before=inner)
    assert part.elements[0].endswith(" 16")


def test_temperature_counts_in_laws_coefficients_and_devices() -> None:
    text = (".subckt part a b\nr1 a b 10 tc1=0.01\nr2 a b {temp}\nd1 a b dm\n"
            ".model dm d(is=1e-12)\n.ends")  # fmt: skip
    part = read(text, temperature=127.0)
    assert part.elements == ("r1 p1 p2 20", "r2 p1 p2 127", "d3 p1 p2 w1 temp=127")


def test_remarks_continuations_quotes_and_line_ends() -> None:
    rows = ("* a remark \xe9", ".param two=2", ".subckt PART A B ; pins", "R1 A B", "* between",
            "+ 'Two*3'", ".ENDS", "")  # fmt: skip
    top = read_model_file("\r\n".join(rows).encode("latin-1"), "a.lib")
    assert flattened(top, "Part", 25.0).elements == ("r1 p1 p2 6",)


def test_a_polynomial_in_two_voltages_has_the_order_of_the_users_guide() -> None:
    """p0 + p1 x + p2 y + p3 xx + p4 xy + p5 yy: SPICE 2G users' guide, non-linear sources."""
    part = inside("e1 a b poly(2) a c b c 1 2 3 4 5 6")
    law = part.elements[0].split("v=")[1]
    x, y = 0.7, -1.3
    shown = law.replace("v(p1,p3)", str(x)).replace("v(p2,p3)", f"({y})")
    expected = 1 + 2 * x + 3 * y + 4 * x * x + 5 * x * y + 6 * y * y
    assert eval(shown) == pytest.approx(expected, rel=1e-12)


def test_a_model_keeps_what_the_engine_knows_and_says_what_it_left_out() -> None:
    part = inside("m1 a b c sw", before=".model sw vdmos(nchan vto=4 kp=10 mfg=nobody qg=9n)")
    assert part.models == (".model w1 vdmos(nchan vto=4 kp=10)",)
    (said,) = part.warnings
    assert re.fullmatch(r"a\.lib:1: left out of model sw, .*: mfg, qg", said)


def test_one_model_with_two_values_becomes_two() -> None:
    inner = ".subckt leg x y params: s=1\nd1 x y dm\n.model dm d(is={1e-12*s})\n.ends"
    part = inside("x1 a b leg\nx2 b c leg s=3\nx3 a c leg", before=inner)
    assert part.models == (".model w1 d(is=1e-12)", ".model w2 d(is=3e-12)")
    assert [line.split()[3] for line in part.elements] == ["w1", "w2", "w1"]


def test_what_is_written_passes_the_door_s_own_inspection() -> None:
    text = (
        "b1 a b i={if(v(a,b)>1 & v(c)<=2, tanh(v(a)), -v(b,c)**3) + (v(a)!=0)*2}\n"
        "c1 a b q={x*1n + x**2*1p}\nc2 b c {10p/(1+abs(v(b,c)))**0.5}\nv1 c d 0\nf1 a b v1 2\n"
        "h1 e 0 v1 5\nr1 e 0 1k\ng1 a b table {v(a,b)} = (0,0) (1,2m)\n"
        "l1 d f 5n\nl2 f 0 5n rser=1m\nk1 l1 l2 0.5\n"
        "q1 a b c qm\nj1 a b c jm\nm1 a b c c mm l=1u w=1m\ni1 a b 1u"
    )
    models = ".model qm npn(bf=100)\n.model jm njf(vto=-2)\n.model mm nmos(level=1 vto=2 kp=1)"
    part = inside(text, before=models)
    deck = "\n".join(["* deck", *part.deck_lines("device"), ".end", ""])
    inspect(deck)
    assert "!" not in deck
    assert "{" not in deck


# --- what is refused: the message, word for word --------------------------------------------------

BODY = ".subckt part a b\n{}\n.ends"
TABLE = Path(__file__).with_name("modelfile_refused.toml")
REFUSED = {r["file"]: r["says"] for r in tomllib.loads(TABLE.read_text())["refused"]}


@pytest.mark.parametrize("text", REFUSED, ids=lambda t: t.replace("\n", "|")[:40])
def test_what_is_refused_says_where_why_and_what_to_do(text: str) -> None:
    with pytest.raises(InputError) as caught:
        read(text)
    assert str(caught.value) == REFUSED[text]


ELEMENTS = "\n".join(f"r{k} a b 1" for k in range(2001))
DOUBLES = "\n".join([".func f0(x) {x*x}"] + [
    f".func f{k}(x) {{f{k - 1}(x)+f{k - 1}(x)}}" for k in range(1, 20)])  # fmt: skip


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("*" * 1_000_001, "a.lib: is larger than the 1000 kB a model file may have"),
        ("*\n" * 20_001, "a.lib: has more than the 20000 lines a model file may have"),
        ("* " + "x" * 2000, "a.lib:1: the line is longer than 2000 characters"),
        ("r1 a b" + "\n+ 1" * 10_001, "a.lib:1: the statement is longer than 20000 characters"),
        ("".join(f".param a{k}=1\n" for k in range(5001)),
         "a.lib:5001: the file has more than 5000 statements"),
        (BODY.format(ELEMENTS), "a.lib:2002: the part has more than 2000 elements"),
        (f"{DOUBLES}\n" + BODY.format("r1 a b {f19(1)}"),
         "a.lib:22: the expression grows beyond all measure when its functions are written out"),
        (f"{DOUBLES}\n" + BODY.format("b1 a b i={f19(v(a))}"),
         "a.lib:22: the law is longer than 20000 characters when written out"),
    ],
    ids=["bytes", "lines", "line", "statement", "statements", "elements", "growth", "law"],
)  # fmt: skip
def test_what_is_too_much_says_how_much_may_be(text: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        read(text)
    assert str(caught.value) == says


def test_an_unknown_subcircuit_is_answered_with_the_nearest() -> None:
    with pytest.raises(InputError, match="did you mean part"):
        read(BODY.format("r1 a b 1"), "prt")


# --- anything that the whitelist allows, in any combination ---------------------------------------

LEAVES = ("v(a)", "v(a,b)", "v(x)", "1.5", "2m", "p", "temp", "v(b,x)")
CALLS = ("tanh({})", "exp(-abs({}))", "max({},{})", "if({}>{},{},1)", "({}+{})", "{}*{}", "-{}",
         "pow({},2)", "sqrt(abs({}))", "limit({},-1,1)", "f({},{})", "{}/(1+abs({}))",
         "({}?{}:0)", "table({},-1,0,1,2)")  # fmt: skip


def drawn_expression(dice: random.Random, depth: int = 0) -> str:
    if depth > 3 or dice.random() < 0.3:
        return dice.choice(LEAVES)
    shape = dice.choice(CALLS)
    return shape.format(*(drawn_expression(dice, depth + 1) for _ in range(shape.count("{}"))))


def drawn_element(dice: random.Random, k: int) -> str:
    law = drawn_expression(dice)
    a, b = dice.choice(("a b", "b x", "x 0", "a y", "y b")).split()
    return dice.choice((
        f"r{k} {a} {b} {{abs(p)+{k}}}", f"r{k} {a} {b} r={{1+abs({law})}}", f"c{k} {a} {b} {k}p",
        f"c{k} {a} {b} c={{1p*(1+abs({law}))}}", f"c{k} {a} {b} q='1p*{law}'",
        f"b{k} {a} {b} i={law}",
        f"b{k} {a} {b} v={{{law}}}", f"e{k} {a} {b} value={{{law}}}", f"g{k} {a} {b} {a} {b} 1m",
        f"g{k} {a} {b} table {{{law}}} = (0,0) (1,{k})", f"d{k} {a} {b} dm", f"l{k} {a} {b} {k}n",
        f"x{k} {a} {b} leg p={k}", f"m{k} {a} {b} 0 mm", f"q{k} {a} {b} 0 qm", f"v{k} {a} {b} {k}m",
        f"e{k} {a} {b} poly(1) {a} {b} 0 1 2", f"s{k} {a} {b} c d w", f"b{k} {a} {b} i={law}**",
    ))  # fmt: skip


def drawn_file(seed: int) -> str:
    dice = random.Random(seed)
    elements = "\n".join(drawn_element(dice, k) for k in range(1, dice.randint(2, 9)))
    return (
        ".param p=3\n.func f(u,w) {u*w+1}\n"
        ".model dm d(is=1e-12 rs=1m)\n.model mm vdmos(vto=3 kp=5)\n"
        ".model qm npn(bf=50)\n.subckt leg a b params: p=1\nr1 a m {p}\nc1 m b 1p\n.ends\n"
        f".subckt part a b\n{elements}\n.ends part\n"
    )


OURS = re.compile(
    r"(\.model w\d+ |\.subckt device |\.ends\Z|[bcdegijklmqrv]\d+ )[\w .+\-*/()=,?:<>&|]*\Z"
)
WORDS = re.compile(r"[a-z_]\w*")
KNOWN = re.compile(r"[pnwbcdegijklmqrv]\d+|e|v|i|temp|is|rs|vto|kp|bf|d|npn|vdmos|model|subckt|"
                   r"ends|device|tanh|exp|abs|max|min|pow|pwr|sqrt|pwl|area")  # fmt: skip


def taken_or_refused(text: str) -> tuple[str, ...]:
    """What is written for a file; nothing where it is refused, which is no other error."""
    try:
        return read(text).deck_lines("device")
    except InputError:
        return ()


@pytest.mark.parametrize("block", range(20))
def test_any_combination_is_written_in_our_form_or_refused(block: int) -> None:
    """2,000 files: no other error than a refusal, no word of the file in what is written."""
    taken = 0
    for seed in range(100 * block, 100 * block + 100):
        lines = taken_or_refused(drawn_file(seed))
        taken += bool(lines)
        inspect("\n".join(lines))  # the door's own
        for line in lines:
            assert OURS.match(line), (seed, line)
            strange = {w for w in WORDS.findall(line) if not KNOWN.fullmatch(w)}
            assert not strange, (seed, line, strange)
    assert taken > 20
