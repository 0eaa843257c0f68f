"""Small faults in a module: one operator, number, condition or statement at a time.

Texts are left alone: a test that holds every word of a message is a copy of it. So are
annotations, decorators and defaults of parameters. What is changed is listed in `_OF`.
"""

from __future__ import annotations

import ast
import copy
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from types import CodeType

_BINARY = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.FloorDiv: ast.Div, ast.Mod: ast.Mult, ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
_COMPARED = {
    ast.Lt: (ast.LtE, ast.GtE), ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE), ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,), ast.Is: (ast.IsNot,), ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,), ast.NotIn: (ast.In,),
}  # fmt: skip
_TWINS = [
    ("min", "max"), ("minimum", "maximum"), ("argmin", "argmax"), ("floor", "ceil"),
    ("sin", "cos"), ("any", "all"), ("nanmin", "nanmax"), ("bisect_left", "bisect_right"),
]  # fmt: skip
_TWIN = {a: b for pair in _TWINS for a, b in (pair, pair[::-1])}
_BARE = {"abs", "sorted", "clip", "round", "unique"}
"""Calls that hand back something like their first argument, which stands for them."""
_SMALL = 0.01
_FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)


@dataclass(frozen=True, slots=True)
class Change:
    """One fault: where it is and what it makes of the text there."""

    number: int
    function: str
    """Qualified name; empty for a number at the top of the module."""
    line: int
    before: str
    after: str
    again: int = 1
    """Which of several that read alike in one function."""

    @property
    def key(self) -> str:
        """How a change is named where it is explained; holds while other lines move."""
        twice = f" (#{self.again})" if self.again > 1 else ""
        return f"{self.function or 'module'}: {self.before} => {self.after}{twice}"


@dataclass(frozen=True, slots=True)
class _Site:
    function: str
    holder: ast.AST
    field: str
    index: int | None
    new: ast.AST

    def put(self, node: ast.AST) -> None:
        if self.index is None:
            setattr(self.holder, self.field, node)
        else:
            getattr(self.holder, self.field)[self.index] = node

    def old(self) -> ast.AST:
        found = getattr(self.holder, self.field)
        return found if self.index is None else found[self.index]


def changes(source: str) -> tuple[Change, ...]:
    """Every change of a module's source, in the order of its text."""
    seen: Counter[tuple[str, str, str]] = Counter()
    found = []
    for number, site in enumerate(_sites(ast.parse(source))):
        old = site.old()
        # a number alone says little: the expression round it is shown
        wide = isinstance(site.holder, ast.expr) or not site.function
        before = ast.unparse(site.holder if wide else old)
        site.put(site.new)
        after = ast.unparse(site.holder if wide else site.new)
        site.put(old)
        before, after = (" ".join(text.split()) for text in (before, after))
        seen[site.function, before, after] += 1
        again = seen[site.function, before, after]
        line = getattr(old, "lineno", 0)
        found.append(Change(number, site.function, line, before, after, again))
    return tuple(found)


def changed(source: str, number: int, filename: str) -> CodeType:
    """The module's code with one change."""
    tree = ast.parse(source)
    for k, site in enumerate(_sites(tree)):
        if k == number:
            site.put(site.new)
            return compile(ast.fix_missing_locations(tree), filename, "exec")
    raise IndexError(number)


def functions(tree: ast.Module) -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef]]:
    """Functions and methods of a module by their qualified names."""
    for top in tree.body:
        if isinstance(top, _FUNCTIONS):
            yield top.name, top
        elif isinstance(top, ast.ClassDef):
            yield from (
                (f"{top.name}.{part.name}", part)
                for part in top.body
                if isinstance(part, _FUNCTIONS)
            )


def telling(source: str, teller: str, filename: str) -> CodeType:
    """The module's code, in which every function first hands its name to a global `teller`."""
    tree = ast.parse(source)
    for name, function in functions(tree):
        tell = ast.Call(ast.Name(teller, ast.Load()), [ast.Constant(name)], [])
        function.body.insert(0, ast.Expr(tell))
    return compile(ast.fix_missing_locations(tree), filename, "exec")


def _sites(tree: ast.Module) -> Iterator[_Site]:
    for top in tree.body:
        if isinstance(top, ast.Assign | ast.AnnAssign) and _number(top.value):
            yield _Site("", top, "value", None, _other_number(top.value))
    for name, function in functions(tree):
        yield from _inside(function, name)


def _inside(function: ast.AST, name: str) -> Iterator[_Site]:
    """Every change beneath a function's body, without what is never run as written."""
    stack: list[tuple[ast.AST, str, int | None]] = [
        (function, "body", k) for k in reversed(range(len(function.body)))
    ]
    while stack:
        holder, field, index = stack.pop()
        site = _Site(name, holder, field, index, holder)
        node = site.old()
        for new in _of(node, holder):
            yield _Site(name, holder, field, index, ast.copy_location(new, node))
        stack += reversed(list(_beneath(node)))


def _beneath(node: ast.AST) -> Iterator[tuple[ast.AST, str, int | None]]:
    for field, value in ast.iter_fields(node):
        if field in {"annotation", "returns", "decorator_list", "args"} and isinstance(
            node, (*_FUNCTIONS, ast.AnnAssign, ast.Lambda)
        ):
            continue
        if isinstance(node, ast.keyword) and node.arg == "strict":
            continue
        if isinstance(value, ast.expr | ast.stmt | ast.comprehension | ast.keyword):
            yield node, field, None
        elif isinstance(value, list):
            yield from ((node, field, k) for k, one in enumerate(value) if isinstance(one, ast.AST))


def _of(node: ast.AST, holder: ast.AST) -> Iterator[ast.AST]:
    for kind, made in _OF.items():
        if isinstance(node, kind):
            yield from made(node)
    if isinstance(node, ast.stmt) and _may_go(node, holder):
        yield ast.Pass()


def _may_go(node: ast.stmt, holder: ast.AST) -> bool:
    """Statements whose absence leaves a program that runs: not the only binding of a name."""
    if isinstance(node, ast.Expr):
        return isinstance(node.value, ast.Call | ast.Yield | ast.YieldFrom)
    if isinstance(node, ast.Assign):
        return not any(isinstance(target, ast.Name | ast.Tuple) for target in node.targets)
    if isinstance(node, ast.Return):
        return not isinstance(holder, _FUNCTIONS)
    return isinstance(node, ast.AugAssign | ast.Raise | ast.Continue | ast.Break)


def _like(node: ast.AST, **fields: object) -> ast.AST:
    new = copy.copy(node)
    for field, value in fields.items():
        setattr(new, field, value)
    return new


def _compared(node: ast.Compare) -> Iterator[ast.AST]:
    for k, op in enumerate(node.ops):
        for other in _COMPARED[type(op)]:
            yield _like(node, ops=[*node.ops[:k], other(), *node.ops[k + 1 :]])


def _operated(node: ast.BinOp | ast.AugAssign) -> Iterator[ast.AST]:
    if type(node.op) in _BINARY and not isinstance(getattr(node, "left", None), ast.JoinedStr):
        yield _like(node, op=_BINARY[type(node.op)]())


def _joined(node: ast.BoolOp) -> Iterator[ast.AST]:
    yield _like(node, op=ast.Or() if isinstance(node.op, ast.And) else ast.And())


def _bare(node: ast.UnaryOp) -> Iterator[ast.AST]:
    yield node.operand


def _number(node: ast.AST | None) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, bool | int | float)


def _other_number(node: ast.Constant) -> ast.Constant:
    value = node.value
    if isinstance(value, bool):
        return ast.Constant(not value)
    if isinstance(value, int):
        return ast.Constant(value + 1)
    return ast.Constant(value * 2.0 if 0.0 < abs(value) < _SMALL else value + 1.0)


def _constant(node: ast.Constant) -> Iterator[ast.AST]:
    if _number(node):
        yield _other_number(node)


def _negated(node: ast.If | ast.IfExp | ast.While) -> Iterator[ast.AST]:
    # a single comparison and a `not` are turned round by their own changes
    alone = isinstance(node.test, ast.Compare) and len(node.test.ops) == 1
    if not alone and not isinstance(node.test, ast.UnaryOp):
        yield _like(node, test=ast.UnaryOp(ast.Not(), node.test))


def _picked(node: ast.comprehension) -> Iterator[ast.AST]:
    for k in range(len(node.ifs)):
        yield _like(node, ifs=[*node.ifs[:k], *node.ifs[k + 1 :]])


def _called(node: ast.Call) -> Iterator[ast.AST]:
    name = getattr(node.func, "id", getattr(node.func, "attr", ""))
    if name in _TWIN:
        held = "id" if isinstance(node.func, ast.Name) else "attr"
        yield _like(node, func=_like(node.func, **{held: _TWIN[name]}))
    if name in _BARE and node.args:
        yield node.args[0]
    if name == "where" and len(node.args) == 3:
        yield _like(node, args=[node.args[0], node.args[2], node.args[1]])
    # without a keyword its default holds; the fields of a noun have none. `strict` of a zip
    # says that lengths are alike, it computes nothing
    if name[:1].islower():
        for k, word in enumerate(node.keywords):
            if word.arg and word.arg != "strict":
                yield _like(node, keywords=[*node.keywords[:k], *node.keywords[k + 1 :]])


def _left(node: ast.Continue) -> Iterator[ast.AST]:
    yield ast.Break()


_OF: dict[type | tuple[type, ...], Callable[..., Iterator[ast.AST]]] = {
    ast.Compare: _compared,
    (ast.BinOp, ast.AugAssign): _operated,
    ast.BoolOp: _joined,
    ast.UnaryOp: _bare,
    ast.Constant: _constant,
    (ast.If, ast.IfExp, ast.While): _negated,
    ast.comprehension: _picked,
    ast.Call: _called,
    ast.Continue: _left,
}
