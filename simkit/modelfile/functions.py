"""What an expression may call: how each is worked out, and how each is written for the engine.

The engine's functions are those of its manual's section on behavioural sources (ngspice, release
39, section 5.1). A power of a negative base is the one thing engines read in different ways: here
`**` and `pow` are C's pow where the exponent is a whole number and the power of the absolute value
elsewhere, `pwr` is the power of the absolute value, `pwrs` keeps the base's sign.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from simkit.modelfile.numbers import plain

Written = str


@dataclass(frozen=True)
class Function:
    """A function of numbers."""

    least: int
    """Fewest arguments [1]."""
    most: int
    """Most arguments [1]."""
    value: Callable[..., float]
    write: Callable[..., Written]
    """From the arguments as written."""


def _same(name: str, value: Callable[..., float], count: int = 1) -> Function:
    return Function(count, count, value, lambda *a: f"{name}({','.join(a)})")


def _root(name: str, value: Callable[..., float]) -> Function:
    return Function(1, 1, value, lambda a: f"{name}({_off_zero(a)})")


def _sign(x: float) -> float:
    return float((x > 0.0) - (x < 0.0))


def power(base: float, exponent: float) -> float:
    """`base ** exponent` as the module says. Errors: ArithmeticError."""
    if base < 0.0 and exponent != int(exponent):
        base = -base
    return float(math.pow(base, exponent))


def _write_power(base: Written, exponent: Written) -> Written:
    try:
        whole = float(exponent.strip("()"))  # a negative number stands in brackets
    except ValueError:
        return f"pow({_off_zero(f'abs({base})')},{exponent})"
    odd = whole == int(whole) and int(whole) % 2
    if odd and whole > 0.0:
        return f"pwr({base},{plain(whole)})"
    if odd:
        return f"(1/pwr({base},{plain(-whole)}))"
    if whole < 2.0 and whole != int(whole):
        return f"pow({_off_zero(f'abs({base})')},{plain(whole)})"
    return f"pow(abs({base}),{plain(whole)})"


def _off_zero(text: Written) -> Written:
    """At nought the slope of a root or a logarithm has no value, and the engine stops there."""
    return f"max({text},1e-30)"


def _table(x: float, *points: float) -> float:
    xs, ys = points[0::2], points[1::2]
    if x <= xs[0]:
        return ys[0]
    for k in range(1, len(xs)):
        if x <= xs[k]:
            return ys[k - 1] + (ys[k] - ys[k - 1]) * (x - xs[k - 1]) / (xs[k] - xs[k - 1])
    return ys[-1]


def _write_table(x: Written, *points: Written) -> Written:
    """Beyond its ends a table keeps its end's value; the engine would go on with the slope."""
    return f"pwl(min(max({x},{points[0]}),{points[-2]}),{','.join(points)})"


def _limited(x: float, low: float, high: float) -> float:
    return min(max(x, min(low, high)), max(low, high))


def _write_limited(x: Written, low: Written, high: Written) -> Written:
    return f"min(max({x},min({low},{high})),max({low},{high}))"


def _many(value: Callable[..., float], name: str) -> Function:
    def write(*a: Written) -> Written:
        out = a[0]
        for other in a[1:]:
            out = f"{name}({out},{other})"
        return out

    return Function(2, 8, value, write)


def choice(condition: float, yes: float, no: float) -> float:
    """One of two values; a condition holds where it is not zero."""
    return yes if condition != 0.0 else no


def _compare(mark: str, value: Callable[[float, float], bool]) -> Function:
    def write(a: Written, b: Written) -> Written:
        if mark == "!=":
            return f"(({a}>{b})||({a}<{b}))"
        return f"({a}{mark}{b})"

    return Function(2, 2, lambda a, b: float(value(a, b)), write)


FUNCTIONS: dict[str, Function] = {
    "+": Function(2, 2, lambda a, b: a + b, lambda a, b: f"({a}+{b})"),
    "-": Function(2, 2, lambda a, b: a - b, lambda a, b: f"({a}-{b})"),
    "*": Function(2, 2, lambda a, b: a * b, lambda a, b: f"({a}*{b})"),
    "/": Function(2, 2, lambda a, b: a / b, lambda a, b: f"({a}/{b})"),
    "**": Function(2, 2, power, _write_power),
    "pow": Function(2, 2, power, _write_power),
    "pwr": Function(2, 2, lambda a, b: math.pow(abs(a), b),
                    lambda a, b: f"pow({_off_zero(f'abs({a})')},{b})"),
    "pwrs": Function(2, 2, lambda a, b: _sign(a) * math.pow(abs(a), b),
                     lambda a, b: f"pwr({a},{b})"),
    "negative": Function(1, 1, lambda a: -a, lambda a: f"(0-{a})"),
    "not": Function(1, 1, lambda a: float(a == 0.0), lambda a: f"({a}==0)"),
    "&&": _compare("&&", lambda a, b: a != 0.0 and b != 0.0),
    "||": _compare("||", lambda a, b: a != 0.0 or b != 0.0),
    "==": _compare("==", lambda a, b: a == b), "!=": _compare("!=", lambda a, b: a != b),
    "<": _compare("<", lambda a, b: a < b), ">": _compare(">", lambda a, b: a > b),
    "<=": _compare("<=", lambda a, b: a <= b), ">=": _compare(">=", lambda a, b: a >= b),
    "?": Function(3, 3, choice, lambda c, a, b: f"({c}?{a}:{b})"),
    "if": Function(3, 3, choice, lambda c, a, b: f"({c}?{a}:{b})"),
    "limit": Function(3, 3, _limited, _write_limited),
    "table": Function(5, 401, _table, _write_table),
    "min": _many(min, "min"), "max": _many(max, "max"),
    "abs": _same("abs", abs), "exp": _same("exp", math.exp), "sqrt": _root("sqrt", math.sqrt),
    "log": _root("ln", math.log), "ln": _root("ln", math.log),
    "log10": _root("log10", math.log10),
    "sin": _same("sin", math.sin), "cos": _same("cos", math.cos), "tan": _same("tan", math.tan),
    "asin": _same("asin", math.asin), "acos": _same("acos", math.acos),
    "atan": _same("atan", math.atan), "arctan": _same("atan", math.atan),
    "sinh": _same("sinh", math.sinh), "cosh": _same("cosh", math.cosh),
    "tanh": _same("tanh", math.tanh),
    "sgn": _same("sgn", _sign), "sign": _same("sgn", _sign),
    "u": _same("u", lambda x: float(x > 0.0)), "stp": _same("u", lambda x: float(x > 0.0)),
    "uramp": _same("uramp", lambda x: max(x, 0.0)),
    "floor": _same("floor", math.floor), "ceil": _same("ceil", math.ceil),
}  # fmt: skip
"""By name in a model file; operators by their sign."""
NOT_OURS = {
    "time": "a part's law cannot depend on the time since a run began",
    "ddt": "write it as a capacitor: C={...} or Q={...}",
    "idt": "write it as a current into a capacitor",
    "sdt": "write it as a current into a capacitor",
    "rand": "a part's law cannot be drawn by lot", "random": "a part's law cannot be drawn by lot",
    "gauss": "write the middle value; tolerances stand in the machine file",
    "agauss": "write the middle value; tolerances stand in the machine file",
    "mc": "write the middle value; tolerances stand in the machine file",
    "laplace": "write it as resistors and capacitors",
    "delay": "write it as resistors and capacitors",
}  # fmt: skip
"""What model files call that is refused, and what could be done."""


def arguments_fit(name: str, count: int) -> bool:
    """Whether a function of the table takes so many arguments."""
    function = FUNCTIONS[name]
    return function.least <= count <= function.most and (name != "table" or count % 2 == 1)


def rising(points: Sequence[float]) -> bool:
    """Whether a table's places grow from point to point."""
    xs = points[0::2]
    return all(a < b for a, b in pairwise(xs))
