"""Texts of machines that users write: a strict subset of Python's expressions, never run as code.

A text is parsed with ``ast``, held against a list of what may stand in it, and only then read.
What is known when a file is read (tables, counts) is worked out here, by a small evaluator
with bounds on size and effort; what machines do is made of it in ``written``.
"""

from __future__ import annotations

import ast
import warnings
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, TypeAlias

from verify import units
from verify.errors import FewwireError

LONGEST = 2000  # characters of a text
DEEPEST = 30  # expressions within expressions
LARGEST = 2**60  # of a number
MOST_ENTRIES = 200_000  # of a table
MOST_STEPS = 1_000_000  # to work out the tables of a file

# A number, or a list of values; pairs are lists of two.
Value: TypeAlias = "int | tuple[Value, ...]"

_NODES = (
    *(ast.Expression, ast.Constant, ast.Name, ast.Load, ast.Store, ast.Attribute, ast.Subscript),
    *(ast.Call, ast.BoolOp, ast.And, ast.Or, ast.UnaryOp, ast.Not, ast.USub, ast.BinOp),
    *(ast.Add, ast.Sub, ast.Mult, ast.FloorDiv, ast.Mod, ast.LShift, ast.RShift),
    *(ast.BitAnd, ast.BitOr, ast.BitXor, ast.Compare, ast.Eq, ast.NotEq, ast.Lt, ast.LtE),
    *(ast.Gt, ast.GtE, ast.In, ast.NotIn, ast.Tuple, ast.List, ast.IfExp, ast.ListComp),
    *(ast.GeneratorExp, ast.comprehension),
)
_ALLOWED = (
    "names, whole numbers, durations in quotes, + - * // % << >> & | ^, comparisons, "
    "and, or, not, calls, brackets"
)


class TextError(FewwireError):
    """A text says something that it may not. ``column`` counts from 1; 0: nowhere in particular."""

    def __init__(self, column: int, found: str, allowed: str) -> None:
        super().__init__(column, found, allowed)
        self.column, self.found, self.allowed = column, found, allowed


def wrong(node: ast.AST, found: str, allowed: str) -> TextError:
    """What is wrong at a place of a text."""
    return TextError(getattr(node, "col_offset", -1) + 1, found, allowed)


def source(node: ast.AST) -> str:
    """A piece of a text again, in quotes, shortened if long."""
    text = ast.unparse(node)
    return f"'{text if len(text) <= 50 else text[:47] + '...'}'"


def parsed(text: str) -> ast.expr:
    """The tree of a text. Raises TextError for what is no expression, or one not allowed."""
    if len(text) > LONGEST:
        raise TextError(0, f"{len(text)} characters", f"at most {LONGEST}")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            tree = ast.parse(text.strip(), mode="eval").body
        except SyntaxError as error:
            raise TextError(
                error.offset or len(text) + 1, "no expression", f"an expression: {_ALLOWED}"
            ) from None
        except (ValueError, MemoryError, RecursionError):
            raise TextError(0, "what cannot be read", f"an expression: {_ALLOWED}") from None
    _check(tree, tree, 0)
    return tree


def _check(node: ast.AST, outer: ast.expr, depth: int) -> None:
    """``outer``: the expression that a node is part of, or the node itself."""
    outer = node if isinstance(node, ast.expr) else outer
    if not isinstance(node, _NODES):
        raise wrong(outer, f"{source(outer)} ({type(node).__name__.lower()})", _ALLOWED)
    if depth > DEEPEST:
        raise wrong(node, f"more than {DEEPEST} expressions within each other", "fewer")
    if isinstance(node, ast.Constant) and not isinstance(node.value, (int, str)):
        raise wrong(node, source(node), "whole numbers, durations in quotes, True, False")
    if isinstance(node, ast.Call) and node.keywords:
        raise wrong(node, f"a keyword in {source(node)}", "arguments in order")
    for child in ast.iter_child_nodes(node):
        _check(child, outer, depth + 1)


@dataclass
class Known:
    """What is known when a file is read: names and their values; ``tick`` in seconds.

    ``steps``: what is left to work out values with, shared by all that follow from this.
    """

    names: Mapping[str, Value]
    tick: Fraction | None = None
    steps: list[int] = field(default_factory=lambda: [MOST_STEPS])

    def with_names(self, more: Mapping[str, Value]) -> Known:
        """The same, and more names."""
        return Known({**self.names, **more}, self.tick, self.steps)

    def covers(self, node: ast.AST) -> bool:
        """Everything that a text names is known (or bound in it)."""
        bound = {
            name.id
            for part in ast.walk(node)
            if isinstance(part, ast.comprehension)
            for name in ast.walk(part.target)
            if isinstance(name, ast.Name)
        }
        return all(
            part.id in self.names or part.id in _FUNCTIONS or part.id in bound
            for part in ast.walk(node)
            if isinstance(part, ast.Name)
        ) and not any(isinstance(part, ast.Attribute) for part in ast.walk(node))

    def step(self, node: ast.AST) -> None:
        """One step more. Raises TextError when there were too many."""
        self.steps[0] -= 1
        if self.steps[0] < 0:
            raise wrong(node, "texts that take too long to work out", "smaller tables and texts")

    def value(self, text: str) -> Value:
        """What a text comes to. Raises TextError."""
        return self.of(parsed(text))

    def whole(self, node: ast.AST) -> int:
        """The number that a tree comes to. Raises TextError."""
        value = self.of(node)
        if not isinstance(value, int):
            raise wrong(node, f"a list in {source(node)}", "a number")
        return value

    def of(self, node: ast.AST) -> Value:
        """What a tree comes to. Raises TextError."""
        self.step(node)
        match node:
            case ast.Constant(value=bool() | int() as number):
                return self._sized(node, int(number))
            case ast.Constant(value=str() as duration):
                return self._ticks(node, duration)
            case ast.Name(id=name):
                return self._named(node, name)
            case ast.List(elts=entries) | ast.Tuple(elts=entries):
                return tuple(self.of(entry) for entry in entries)
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                return -self.whole(operand)
            case ast.UnaryOp(op=ast.Not(), operand=operand):
                return int(not self.whole(operand))
            case ast.BoolOp(op=op, values=values):
                met = (bool(self.whole(v)) for v in values)
                return int(all(met) if isinstance(op, ast.And) else any(met))
            case ast.BinOp(left=left, op=op, right=right):
                return self._sized(node, combined(node, op, self.whole(left), self.whole(right)))
            case ast.Compare():
                return int(self._compares(node))
            case ast.IfExp(test=test, body=body, orelse=orelse):
                return self.of(body if self.whole(test) else orelse)
            case ast.Subscript(value=table, slice=index):
                return self._entry(node, self.of(table), self.whole(index))
            case ast.Call():
                return self._called(node)
            case (
                ast.ListComp(elt=entry, generators=loops)
                | ast.GeneratorExp(elt=entry, generators=loops)
            ):
                return tuple(self._all(entry, loops))
        raise wrong(node, source(node), "what is known when the file is read")

    # -- pieces ---------------------------------------------------------------

    def _sized(self, node: ast.AST, number: int) -> int:
        if abs(number) >= LARGEST:
            raise wrong(node, "a number of too many digits", "below 2^60")
        return number

    def _ticks(self, node: ast.AST, duration: str) -> int:
        try:
            ticks = units.to_ticks(duration, self.tick)
        except units.TimeError as error:
            raise wrong(node, source(node), error.allowed) from None
        if ticks is None:
            raise wrong(node, source(node), "whole numbers, as long as no tick is known")
        return ticks

    def _named(self, node: ast.AST, name: str) -> Value:
        if name not in self.names:
            raise wrong(node, f"'{name}'", f"names that are known here: {_some(self.names)}")
        return self.names[name]

    def _compares(self, node: ast.Compare) -> bool:
        left = self.of(node.left)
        for op, comparator in zip(node.ops, node.comparators, strict=True):
            right = self.of(comparator)
            if not _compared(node, op, left, right):
                return False
            left = right
        return True

    def _entry(self, node: ast.AST, table: Value, index: int) -> Value:
        if isinstance(table, int):
            raise wrong(node, f"a number in {source(node)}", "a list before the brackets")
        if not 0 <= index < len(table):
            raise wrong(node, f"entry {index} of {len(table)}", "entries counted from 0")
        return table[index]

    def _called(self, node: ast.Call) -> Value:
        if not isinstance(node.func, ast.Name) or node.func.id not in _FUNCTIONS:
            raise wrong(node, source(node), f"of functions: {', '.join(_FUNCTIONS)}")
        arguments = [self.of(argument) for argument in node.args]
        try:
            value = _FUNCTIONS[node.func.id](*arguments)
        except (TypeError, ValueError):
            raise wrong(node, source(node), f"what {node.func.id} takes") from None
        entries = 1 if isinstance(value, int) else len(value)
        self.steps[0] -= entries
        if entries > MOST_ENTRIES:
            raise wrong(node, f"a list of {entries} entries", f"at most {MOST_ENTRIES}")
        return value if isinstance(value, tuple) else self._sized(node, value)

    def _all(self, entry: ast.expr, loops: list[ast.comprehension]) -> Iterable[Value]:
        made: list[Value] = []

        def loop(known: Known, left: list[ast.comprehension]) -> None:
            if not left:
                made.append(known.of(entry))
                if len(made) > MOST_ENTRIES:
                    raise wrong(entry, f"a list of more than {MOST_ENTRIES} entries", "fewer")
                return
            over = known.of(left[0].iter)
            if isinstance(over, int):
                raise wrong(left[0].iter, f"a number in {source(left[0].iter)}", "a list")
            for value in over:
                inner = known.with_names(_bound(left[0].target, value))
                if all(inner.whole(test) for test in left[0].ifs):
                    loop(inner, left[1:])

        loop(self, loops)
        return made


def _bound(target: ast.expr, value: Value) -> dict[str, Value]:
    if isinstance(target, ast.Name):
        return {target.id: value}
    names = target.elts if isinstance(target, ast.Tuple | ast.List) else []
    if isinstance(value, tuple) and len(names) == len(value) > 0:
        found: dict[str, Value] = {}
        for name, part in zip(names, value, strict=True):
            found |= _bound(name, part)
        return found
    raise wrong(target, source(target), "a name, or as many names as there are values")


def combined(node: ast.AST, op: ast.operator, a: int, b: int) -> int:
    """``a op b``. Raises TextError for what has no result, or one too large to look at."""
    match op:
        case ast.Add():
            return a + b
        case ast.Sub():
            return a - b
        case ast.Mult():
            return a * b
        case ast.FloorDiv() | ast.Mod():
            if b == 0:
                raise wrong(node, f"a division by 0 in {source(node)}", "another number")
            return a // b if isinstance(op, ast.FloorDiv) else a % b
        case ast.LShift() | ast.RShift():
            if not 0 <= b <= 60:
                raise wrong(node, f"a shift by {b}", "0 to 60")
            return a << b if isinstance(op, ast.LShift) else a >> b
        case ast.BitAnd():
            return a & b
        case ast.BitOr():
            return a | b
    return a ^ b


def _compared(node: ast.AST, op: ast.cmpop, a: Value, b: Value) -> bool:
    if isinstance(op, ast.In | ast.NotIn):
        if isinstance(b, int):
            raise wrong(node, source(node), "a list after 'in'")
        return (a in b) == isinstance(op, ast.In)
    if isinstance(op, ast.Eq | ast.NotEq):
        return (a == b) == isinstance(op, ast.Eq)
    if not isinstance(a, int) or not isinstance(b, int):
        raise wrong(node, source(node), "numbers")
    match op:
        case ast.Lt():
            return a < b
        case ast.LtE():
            return a <= b
        case ast.Gt():
            return a > b
    return a >= b


def _span(*ends: Any) -> tuple[int, ...]:
    if len(range(*ends)) > MOST_ENTRIES:
        raise ValueError
    return tuple(range(*ends))


_FUNCTIONS: dict[str, Callable[..., Value]] = {
    "len": lambda table: len(table),
    "min": lambda *values: min(*values),
    "max": lambda *values: max(*values),
    "sum": lambda table: sum(table),
    "abs": lambda number: abs(number),
    "range": _span,
    "zip": lambda *tables: tuple(zip(*tables, strict=True)),
    "sorted": lambda table: tuple(sorted(table)),
}
FUNCTIONS = frozenset(_FUNCTIONS)


def _some(names: Iterable[str], most: int = 12) -> str:
    listed = sorted(names)
    return ", ".join(listed[:most]) + (", ..." if len(listed) > most else "")
