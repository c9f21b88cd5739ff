"""Which small changes can be made to a file: each is one node of its syntax tree, written another way.

Left out is what nobody could see: docstrings and texts, `__repr__`, sizes of caches, tolerances of rounding, comparisons of two figures
that are never alike, the sentence of an error, and an early return, which often is a shorter way to the same figure.
"""

from __future__ import annotations

import ast
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass

SMALLEST_CONSTANT = 1e-6
SWAPPED_OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
}  # fmt: skip
SWAPPED_COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt}
SWAPPED_CALLS = {"min": "max", "max": "min", "math.ceil": "math.floor", "math.floor": "math.ceil", "round": "int"}
UNSEEN_CALLS = {"lru_cache", "LRUCache", "TTLCache", "NewType", "TypeVar"}


@dataclass(frozen=True)
class Mutation:
    """One change of one file: what stands there, what is put in its place, from which byte to which."""

    path: str
    line: int
    kind: str
    before: str
    after: str
    start: int
    end: int
    function: str
    occurrence: int

    def rank(self, seed: int) -> str:
        """Place in the sample of a seed: it hangs on the change and not on what else stands in the tree."""
        told = f"{seed}|{self.path}|{self.function}|{self.kind}|{self.before}|{self.after}|{self.occurrence}"
        return hashlib.sha256(told.encode()).hexdigest()

    def applied(self, source: str) -> str:
        """The source with the change made."""
        raw = source.encode()
        return (raw[: self.start] + self.after.encode() + raw[self.end :]).decode()

    def __str__(self) -> str:
        return f"{self.path}:{self.line}  {_short(self.before)}  ->  {_short(self.after)}"


def _short(text: str) -> str:
    flat = " ".join(text.split())
    return flat if len(flat) <= 70 else f"{flat[:67]}..."


def mutations_of(path: str, source: str) -> list[Mutation]:
    """Every change that may be made to a file, in the order of its lines."""
    return list(_Walk(path, source).all())


def sample(candidates: list[Mutation], *, seed: int, count: int) -> list[Mutation]:
    """So many changes by a seed, of every kind in turn, as long as there are any of it; in the order of the files."""
    of_kind: dict[str, list[Mutation]] = {}
    for one in sorted(candidates, key=lambda each: each.rank(seed)):
        of_kind.setdefault(one.kind, []).append(one)
    chosen: list[Mutation] = []
    while len(chosen) < count and any(of_kind.values()):
        chosen += [of_kind[kind].pop(0) for kind in sorted(of_kind) if of_kind[kind]]
    return sorted(chosen[:count], key=lambda one: (one.path, one.start))


class _Walk:
    """Goes through a file and notes what can be changed."""

    def __init__(self, path: str, source: str) -> None:
        self.path = path
        self.source = source
        self.tree = ast.parse(source)
        self.line_starts = [0]
        for line in source.encode().splitlines(keepends=True):
            self.line_starts.append(self.line_starts[-1] + len(line))
        self.seen: dict[tuple[str, ...], int] = {}

    def all(self) -> Iterator[Mutation]:
        for statement in self.tree.body:
            yield from self._visit(statement, "")

    def _visit(self, node: ast.AST, function: str) -> Iterator[Mutation]:
        if _unseen(node):
            return
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            function = f"{function}.{node.name}"
        for kind, changed in _changes(node):
            yield self._mutation(node, kind, changed, function)
        for child in _children(node):
            yield from self._visit(child, function)

    def _mutation(self, node: ast.AST, kind: str, after: str, function: str) -> Mutation:
        assert isinstance(node, ast.expr | ast.stmt)
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        start = self.line_starts[node.lineno - 1] + node.col_offset
        end = self.line_starts[node.end_lineno - 1] + node.end_col_offset
        before = self.source.encode()[start:end].decode()
        key = (function, kind, before, after)
        self.seen[key] = self.seen.get(key, 0) + 1
        return Mutation(self.path, node.lineno, kind, before, after, start, end, function, self.seen[key])


def _unseen(node: ast.AST) -> bool:
    if isinstance(node, ast.JoinedStr | ast.Raise | ast.Assert | ast.Import | ast.ImportFrom):
        return True
    if isinstance(node, ast.FunctionDef) and node.name == "__repr__":
        return True
    if isinstance(node, ast.Assign) and any(isinstance(name, ast.Name) and "CACHE" in name.id for name in node.targets):
        return True
    return isinstance(node, ast.Call) and ast.unparse(node.func).rsplit(".", 1)[-1] in UNSEEN_CALLS


def _children(node: ast.AST) -> Iterator[ast.AST]:
    """What lies in a node, but for decorators, annotations and the figures of a rounding."""
    skipped: set[int] = set()
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        skipped |= {id(one) for one in node.decorator_list}
    if isinstance(node, ast.FunctionDef):
        skipped.add(id(node.returns))
    if isinstance(node, ast.AnnAssign | ast.arg):
        skipped.add(id(node.annotation))
    if isinstance(node, ast.Call) and ast.unparse(node.func) == "round":
        skipped |= {id(one) for one in node.args[1:]}
    return (child for child in ast.iter_child_nodes(node) if id(child) not in skipped)


def _changes(node: ast.AST) -> Iterator[tuple[str, str]]:
    match node:
        case ast.BinOp():
            yield from _of_operator(node)
        case ast.Compare(ops=[operator], left=left, comparators=[right]) if type(operator) in SWAPPED_COMPARISONS:
            if _is_limit(left) or _is_limit(right):
                yield "limit", _compare(node, SWAPPED_COMPARISONS[type(operator)]())
        case ast.Constant(value=bool()):
            return
        case ast.Constant(value=int(figure)):
            yield "constant", repr(figure + 1)
        case ast.Constant(value=float(figure)) if abs(figure) > SMALLEST_CONSTANT:
            yield "constant", repr(float(f"{figure * 1.1:.12g}"))
        case ast.Call(func=called, args=[*_, _]) if (name := ast.unparse(called)) in SWAPPED_CALLS and not _rounds_to_places(node):
            arguments = ast.unparse(node)[len(name) :]
            yield "call", SWAPPED_CALLS[name] + arguments
        case ast.AugAssign(op=ast.Add() | ast.Sub() | ast.Mult() | ast.Div()):
            yield "running total", f"{ast.unparse(node.target)} = {ast.unparse(node.value)}"
        case ast.UnaryOp(op=ast.Not(), operand=operand):
            yield "logic", f"bool({ast.unparse(operand)})"
        case ast.BoolOp(op=operator, values=values):
            yield (
                "logic",
                f"({(' or ' if isinstance(operator, ast.And) else ' and ').join(f'({ast.unparse(one)})' for one in values)})",
            )
        case ast.Return(value=ast.BinOp(op=ast.Add(), left=left, right=right)) if not (_is_text(left) or _is_text(right)):
            yield "term dropped", f"return {ast.unparse(left)}"


def _of_operator(node: ast.BinOp) -> Iterator[tuple[str, str]]:
    if type(node.op) not in SWAPPED_OPERATORS or any(_is_text(one) for one in ast.walk(node)):
        return
    other = ast.BinOp(left=node.left, op=SWAPPED_OPERATORS[type(node.op)](), right=node.right)
    kind = "sum" if isinstance(node.op, ast.Add | ast.Sub) else "product"
    yield kind, f"({ast.unparse(other)})"
    if isinstance(node.op, ast.Sub):
        yield "order", f"({ast.unparse(ast.BinOp(left=node.right, op=ast.Sub(), right=node.left))})"


def _rounds_to_places(node: ast.Call) -> bool:
    return ast.unparse(node.func) == "round" and len(node.args) + len(node.keywords) > 1


def _compare(node: ast.Compare, operator: ast.cmpop) -> str:
    return ast.unparse(ast.Compare(left=node.left, ops=[operator], comparators=node.comparators))


def _is_text(node: ast.AST) -> bool:
    return isinstance(node, ast.JoinedStr | ast.List | ast.Tuple) or (
        isinstance(node, ast.Constant) and isinstance(node.value, str)
    )


def _is_limit(node: ast.expr) -> bool:
    """A side of a comparison that states a limit: a figure, a constant by its name, a column of a rate row."""
    match node:
        case ast.Constant(value=int() | float() as figure):
            return figure == 0 or abs(figure) > SMALLEST_CONSTANT
        case ast.Name(id=name):
            return name.isupper()
        case ast.Attribute(value=ast.Name(id="row")):
            return True
    return False
