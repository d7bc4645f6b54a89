"""Mutants of a module's text: every single small change to its syntax tree."""

import ast
import copy
import hashlib
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass

COMPARE: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.Gt), ast.LtE: (ast.Lt, ast.GtE),
    ast.Gt: (ast.GtE, ast.Lt), ast.GtE: (ast.Gt, ast.LtE),
    ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,), ast.IsNot: (ast.Is,), ast.In: (ast.NotIn,), ast.NotIn: (ast.In,),
}  # fmt: skip
ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.Pow: ast.Mult, ast.Mod: ast.Mult, ast.FloorDiv: ast.Mult,
    ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
CALLS = {
    "min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum",
    "argmax": "argmin", "argmin": "argmax", "any": "all", "all": "any",
    "zeros_like": "ones_like", "ones_like": "zeros_like", "sqrt": "square", "abs": "float",
    "flatnonzero": "atleast_1d", "cumsum": "asarray",
}  # fmt: skip
"""Functions by name, for the one that is most like a slip."""

Change = Callable[[ast.AST], None]


@dataclass(frozen=True)
class Mutant:
    """One change."""

    key: str
    """Stays the same while the changed line's text and its function do."""
    shown: str
    """Its function, and the line before and after."""
    tree: ast.Module


def mutants(text: str) -> Iterator[Mutant]:
    """Every mutant of a module, in the order of its text."""
    tree = ast.parse(text)
    seen: Counter[str] = Counter()
    for number, (node, home, shown) in enumerate(_places(tree)):
        for change in _changes(node):
            changed = copy.deepcopy(tree)
            place = list(_places(changed))[number]
            change(place[0])
            ast.fix_missing_locations(changed)
            after = _short(place[2])
            before = _short(shown)
            if before == after:
                continue
            base = f"{home}: {before} -> {after}"
            seen[base] += 1
            key = hashlib.sha256(f"{base} {seen[base]}".encode()).hexdigest()[:12]
            place_of = f"{home.removeprefix('.')}: " if home else ""
            yield Mutant(key, f"{place_of}{before} -> {after}", changed)


def _places(tree: ast.Module) -> list[tuple[ast.AST, str, ast.AST]]:
    """Nodes that may be changed, the function they are in, the statement or part to show."""
    out: list[tuple[ast.AST, str, ast.AST]] = []

    def walk(node: ast.AST, home: str, shown: ast.AST) -> None:
        out.append((node, home, shown))
        for name, value in ast.iter_fields(node):
            if name in ("annotation", "returns", "decorator_list", "type_params", "bases"):
                continue
            for child in value if isinstance(value, list) else [value]:
                if not isinstance(child, ast.AST) or _words(child):
                    continue
                inner = f"{home}.{child.name}" if _named(child) else home  # type: ignore[attr-defined]  # named
                small = isinstance(child, ast.stmt | ast.keyword) and not _named(child)
                walk(child, inner, child if small else shown)

    walk(tree, "", tree)
    return [place for place in out if not isinstance(place[0], ast.Module)]


def _named(node: ast.AST) -> bool:
    return isinstance(node, ast.FunctionDef | ast.ClassDef)


def _words(node: ast.AST) -> bool:
    """Docstrings, messages, imports and names given to types."""
    if isinstance(node, ast.Assign) and isinstance(node.value, ast.Subscript):
        return ast.unparse(node.value.value) in ("Literal", "NDArray", "dict")  # names a type
    lone = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    return lone or isinstance(node, ast.JoinedStr | ast.Import | ast.ImportFrom | ast.Raise)


def _short(node: ast.AST) -> str:
    """One line: the statement's text, or the first of a block's."""
    if isinstance(node, ast.If | ast.For | ast.While):
        head = copy.copy(node)
        head.body, head.orelse = [ast.Pass()], []
        node = head
    text = " ".join(ast.unparse(node).split()).removesuffix(": pass").replace("|", "\\|")
    return text if len(text) <= 160 else _cut(text)


def _cut(text: str) -> str:
    # The digest tells long lines apart whose beginnings are alike.
    return text[:150] + ".. " + hashlib.sha256(text.encode()).hexdigest()[:6]


def _changes(node: ast.AST) -> Iterator[Change]:
    for kind, rule in RULES.items():
        if isinstance(node, kind):
            yield from rule(node)


def _put(field: str, value: object) -> Change:
    return lambda node: setattr(node, field, value)


def _compare(node: ast.Compare) -> Iterator[Change]:
    for k, op in enumerate(node.ops):
        for other in COMPARE.get(type(op), ()):
            yield lambda n, k=k, other=other: n.ops.__setitem__(k, other())  # type: ignore[misc]  # a default binds


def _binary(node: ast.BinOp | ast.AugAssign) -> Iterator[Change]:
    other = ARITHMETIC.get(type(node.op))
    if other:
        yield _put("op", other())


def _boolean(node: ast.BoolOp) -> Iterator[Change]:
    yield _put("op", ast.Or() if isinstance(node.op, ast.And) else ast.And())


def _unary(node: ast.UnaryOp) -> Iterator[Change]:
    if isinstance(node.op, ast.USub | ast.Invert):
        yield _put("op", ast.UAdd())
    else:
        yield lambda n: _become(n, ast.Call(ast.Name("bool", ast.Load()), [n.operand], []))  # type: ignore[attr-defined]  # unary


def _constant(node: ast.Constant) -> Iterator[Change]:
    value = node.value
    if isinstance(value, bool):
        yield _put("value", not value)
    elif isinstance(value, int | float):
        yield _put("value", value + 1)
        if value not in (0, 1):
            yield _put("value", -value)
    elif isinstance(value, str):
        yield _put("value", value + "X")


def _call(node: ast.Call) -> Iterator[Change]:
    name = getattr(node.func, "attr", getattr(node.func, "id", ""))
    field = "attr" if isinstance(node.func, ast.Attribute) else "id"
    if name in CALLS:
        yield lambda n: setattr(n.func, field, CALLS[name])  # type: ignore[attr-defined]  # a call
    if name != "len" and len(node.args) == 1 and not node.keywords:
        yield lambda n: _become(n, n.args[0])  # type: ignore[attr-defined]  # a call


def _become(node: ast.AST, other: ast.AST) -> None:
    """Turn a node into another in place."""
    node.__class__ = other.__class__
    node.__dict__.clear()
    node.__dict__.update(other.__dict__)


def _condition(node: ast.If | ast.IfExp | ast.While) -> Iterator[Change]:
    yield _put("test", ast.Constant(True))
    yield _put("test", ast.Constant(False))


def _return(node: ast.Return) -> Iterator[Change]:
    if node.value is not None and not _none(node.value):
        yield _put("value", ast.Constant(None))


def _none(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and node.value is None


def _assign(node: ast.Assign) -> Iterator[Change]:
    if not _none(node.value):
        yield _put("value", ast.Constant(None))


def _skip(node: ast.AugAssign | ast.Expr | ast.Continue) -> Iterator[Change]:
    yield lambda n: _become(n, ast.Pass())


def _slice(node: ast.Slice) -> Iterator[Change]:
    for field in ("lower", "upper", "step"):
        if getattr(node, field) is not None:
            yield _put(field, None)


RULES: dict[type[ast.AST], Callable[..., Iterator[Change]]] = {
    ast.Compare: _compare, ast.BinOp: _binary, ast.BoolOp: _boolean, ast.UnaryOp: _unary,
    ast.Constant: _constant, ast.Call: _call, ast.If: _condition, ast.IfExp: _condition,
    ast.While: _condition, ast.Return: _return, ast.Assign: _assign, ast.Expr: _skip,
    ast.Continue: _skip, ast.Slice: _slice, ast.AugAssign: _skip,
}  # fmt: skip
