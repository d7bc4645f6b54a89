"""Expressions of model files: parsed into a tree, never evaluated as text.

Precedence from weak to strong, as in the C language with a power above the sign: `?:`, `||`, `&&`,
comparison, `+ -`, `* /`, sign and `!`, power (`**`, and `^`, which model files mean as a power).
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from simkit.modelfile.numbers import NotANumber, number

DEEPEST = 60
"""Levels of brackets and operators [1]."""
TOKEN = re.compile(
    r"\s*(?:(?P<number>(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?[a-z]*)"
    r"|(?P<name>[a-z_][\w.#]*)"
    r"|(?P<mark>\*\*|\|\||&&|==|!=|<>|<=|>=|[-+*/^()<>?:,!|&]))"
)
POWER, SIGN = 80, 70
BINARY = {"||": 10, "|": 10, "&&": 20, "&": 20, "==": 30, "!=": 30, "<>": 30, "<": 40, ">": 40,
          "<=": 40, ">=": 40, "+": 50, "-": 50, "*": 60, "/": 60, "**": POWER,
          "^": POWER}  # fmt: skip
SAME = {"|": "||", "&": "&&", "<>": "!=", "^": "**"}


class BadExpression(ValueError):
    """An expression that cannot be read."""


@dataclass(frozen=True)
class Number:
    """A value."""

    value: float


@dataclass(frozen=True)
class Name:
    """A parameter, or an argument of a function."""

    name: str


@dataclass(frozen=True)
class Probe:
    """The voltage of a node, or between two [V]; or the current of a source [A]."""

    kind: str
    """v or i."""
    names: tuple[str, ...]


@dataclass(frozen=True)
class Call:
    """An operator or a function, and what it is applied to; `?` is the choice."""

    name: str
    arguments: tuple["Node", ...]


Node = Number | Name | Probe | Call


def parse(text: str) -> Node:
    """The tree of an expression in small letters. Errors: BadExpression."""
    reader = _Reader(_tokens(text))
    tree = reader.choice(0)
    if reader.left():
        raise BadExpression(f"{reader.next()!r} was not expected there")
    return tree


def _tokens(text: str) -> list[str]:
    out, at = [], 0
    end = len(text.rstrip())
    while at < end:
        found = TOKEN.match(text, at)
        if not found:
            raise BadExpression(f"{text[at : at + 12].strip()!r} is not understood")
        out.append(found[found.lastgroup or 0])
        at = found.end()
    return out


class _Reader:
    """Walks the tokens; each method reads what binds at least as strongly as its name says."""

    def __init__(self, tokens: Sequence[str]) -> None:
        self._tokens = tokens
        self._at = 0

    def left(self) -> bool:
        return self._at < len(self._tokens)

    def peek(self) -> str:
        return self._tokens[self._at] if self.left() else ""

    def next(self) -> str:
        if not self.left():
            raise BadExpression("it ends too early")
        self._at += 1
        return self._tokens[self._at - 1]

    def expect(self, mark: str) -> None:
        said = self.next()
        if said != mark:
            raise BadExpression(f"{mark!r} was expected where {said!r} stands")

    def choice(self, depth: int) -> Node:
        if depth > DEEPEST:
            raise BadExpression(f"it is nested deeper than {DEEPEST} levels")
        condition = self.binary(0, depth)
        if self.peek() != "?":
            return condition
        self.next()
        yes = self.choice(depth + 1)
        self.expect(":")
        return Call("?", (condition, yes, self.choice(depth + 1)))

    def binary(self, least: int, depth: int) -> Node:
        if depth > DEEPEST:
            raise BadExpression(f"it is nested deeper than {DEEPEST} levels")
        left = self.unary(depth + 1)
        while (strength := BINARY.get(self.peek(), -1)) >= max(least, 1):
            mark = self.next()
            # A power binds what is right of it first, as in a**b**c = a**(b**c).
            right = self.binary(strength + (mark not in ("**", "^")), depth + 1)
            left = Call(SAME.get(mark, mark), (left, right))
        return left

    def unary(self, depth: int) -> Node:
        if self.peek() not in ("-", "+", "!"):
            return self.atom(depth)
        mark = self.next()
        inner = self.binary(SIGN, depth + 1)
        if mark == "+":
            return inner
        return Call("not" if mark == "!" else "negative", (inner,))

    def atom(self, depth: int) -> Node:
        said = self.next()
        if said == "(":
            inner = self.choice(depth + 1)
            self.expect(")")
            return inner
        if said[0].isdigit() or said[0] == ".":
            try:
                return Number(number(said))
            except NotANumber as error:
                raise BadExpression(str(error)) from None
        if not (said[0].isalpha() or said[0] == "_"):
            raise BadExpression(f"{said!r} was not expected there")
        if self.peek() != "(":
            return Name(said)
        self.next()
        return self._probe(said) if said in ("v", "i") else self._call(said, depth)

    def _probe(self, kind: str) -> Node:
        names = [self.next()]
        while self.peek() == ",":
            self.next()
            names.append(self.next())
        self.expect(")")
        if len(names) > (2 if kind == "v" else 1):
            raise BadExpression(f"{kind}() takes fewer names than {len(names)}")
        if not all(re.fullmatch(r"[\w.#]+", n) for n in names):
            raise BadExpression(f"{kind}() takes names of {'nodes' if kind == 'v' else 'a source'}")
        return Probe(kind, tuple(names))

    def _call(self, name: str, depth: int) -> Node:
        arguments: list[Node] = []
        while self.peek() != ")":
            arguments.append(self.choice(depth + 1))
            if self.peek() != ")":
                self.expect(",")
        self.next()
        return Call(name, tuple(arguments))
