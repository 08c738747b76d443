"""Python functions on whole numbers, and rows of them, as machine code (by llvmlite).

They may assign, count, compare, branch, loop over ``range`` and call one another; every value is
64 bits, and cut to that. ``x[k]`` reads and writes rows, which are passed by their addresses;
``r.name`` is one of a set of rows; ``prefetch(x, k)`` has the processor fetch a place that it will
need. Anything else raises ``NotImplementedError``. Types need not be
found out, so that a step is compiled in a fraction of the time that a compiler for all of Python
takes (``DEVELOPERS.md`` has the numbers).
"""

from __future__ import annotations

import ast
import ctypes
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from typing import Any

from llvmlite import binding, ir

_INT, _BIT = ir.IntType(64), ir.IntType(1)
_BYTE = ir.IntType(8).as_pointer()
_ROWS = {"int64": ir.IntType(64), "int32": ir.IntType(32), "uint32": ir.IntType(32)}
_COMPARE = {
    ast.Eq: "==", ast.NotEq: "!=", ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=",
}  # fmt: skip
_ARITHMETIC = {
    ast.Add: "add", ast.Sub: "sub", ast.Mult: "mul", ast.BitOr: "or_", ast.BitAnd: "and_",
    ast.BitXor: "xor", ast.LShift: "shl", ast.RShift: "ashr",
}  # fmt: skip


class MachineCode:
    """Compiled functions.

    ``constants``: numbers, and addresses of rows, by name. ``kinds``: of the rows of a set, in
    order. ``same``: names of functions that do nothing to what they are given.
    """

    def __init__(
        self,
        functions: Iterable[ast.FunctionDef],
        constants: Mapping[str, int],
        kinds: Mapping[str, str],
        entries: Sequence[str],
        same: Sequence[str] = (),
    ) -> None:
        self.constants, self.same = constants, same
        self.kinds, self.rows = kinds, {name: k for k, name in enumerate(kinds)}
        self.module = ir.Module()
        kind = ir.FunctionType(ir.VoidType(), [_BYTE, *[ir.IntType(32)] * 3])
        self.prefetch = ir.Function(self.module, kind, "llvm.prefetch.p0i8")
        self.functions: dict[str, Any] = {}
        bodies = list(functions)
        for body in bodies:
            kind = ir.FunctionType(_INT, [_INT] * len(body.args.args))
            made = ir.Function(self.module, kind, body.name)
            made.linkage = "external" if body.name in entries else "internal"
            self.functions[body.name] = made
        for body in bodies:
            _Body(self, self.functions[body.name], body)
        self.entries = {name: self.functions[name] for name in entries}
        self._link()

    def _link(self) -> None:
        # Newer versions do so by themselves, and say so.
        with suppress(RuntimeError):
            binding.initialize()
        binding.initialize_native_target()
        binding.initialize_native_asmprinter()
        machine = binding.Target.from_default_triple().create_target_machine(opt=2)
        module = binding.parse_assembly(str(self.module))
        options = binding.create_pipeline_tuning_options(speed_level=2)
        passes = binding.create_pass_builder(machine, options)
        passes.getModulePassManager().run(module, passes)
        self.engine = binding.create_mcjit_compiler(module, machine)
        self.engine.finalize_object()

    def call(self, name: str) -> Any:
        """An entry, to be called with numbers."""
        many = len(self.entries[name].args)
        kind = ctypes.CFUNCTYPE(ctypes.c_int64, *[ctypes.c_int64] * many)
        return kind(self.engine.get_function_address(name))


class _Body:
    """One function in the making."""

    def __init__(self, code: MachineCode, function: Any, body: ast.FunctionDef) -> None:
        self.code, self.function = code, function
        self.begin = ir.IRBuilder(function.append_basic_block("begin"))
        self.b = ir.IRBuilder(function.append_basic_block("body"))
        self.names: dict[str, Any] = {}
        self.kind: dict[str, str] = {}
        self.loops: list[tuple[Any, Any]] = []
        for argument, value in zip(body.args.args, function.args, strict=True):
            self.begin.store(value, self._place(argument.arg))
        first = self.b.block
        self._block(body.body)
        if not self.b.block.is_terminated:
            self.b.ret(_INT(0))
        self.begin.branch(first)

    def _place(self, name: str) -> Any:
        if name not in self.names:
            self.names[name] = self.begin.alloca(_INT, name=name)
        return self.names[name]

    # -- statements -------------------------------------------------------------

    def _block(self, statements: Sequence[ast.stmt]) -> None:
        for statement in statements:
            if self.b.block.is_terminated:
                return
            self._statement(statement)

    def _statement(self, s: ast.stmt) -> None:
        match s:
            case ast.Assign(targets=[ast.Tuple(elts=targets)], value=ast.Tuple(elts=values)):
                found = [self._value(v) for v in values]
                for target, value, source in zip(targets, found, values, strict=True):
                    self._assign(target, value, source)
            case ast.Assign(targets=[*targets], value=value):
                one = self._value(value)
                for target in targets:
                    self._assign(target, one, value)
            case ast.AugAssign(target=target, op=op, value=value):
                old = self._value(target)
                self._assign(target, self._operate(op, old, self._value(value)), None)
            case ast.Expr(value=value):
                if not isinstance(value, ast.Constant):
                    self._value(value)
            case ast.Return(value=told):
                self.b.ret(self._value(told) if told is not None else _INT(0))
            case ast.If(test=test, body=body, orelse=otherwise):
                self._if(test, body, otherwise)
            case ast.While(test=test, body=body):
                self._while(test, body)
            case ast.For(target=ast.Name(id=name), iter=ast.Call(args=told), body=body):
                self._for(name, told, body)
            case ast.Break():
                self.b.branch(self.loops[-1][1])
            case ast.Pass():
                pass
            case _:
                raise NotImplementedError(ast.dump(s))

    def _assign(self, target: ast.expr, value: Any, source: ast.expr | None) -> None:
        match target:
            case ast.Name(id=name):
                if isinstance(source, ast.Attribute):
                    self.kind[name] = self.code.kinds[source.attr]
                self.b.store(value, self._place(name))
            case ast.Subscript(value=row, slice=index):
                place, kind = self._row(row, index)
                if kind != "int64":
                    value = self.b.trunc(value, _ROWS[kind])
                self.b.store(value, place)
            case _:
                raise NotImplementedError(ast.dump(target))

    def _if(self, test: ast.expr, body: Sequence[ast.stmt], otherwise: Sequence[ast.stmt]) -> None:
        then, other, after = (self.function.append_basic_block() for _ in range(3))
        self.b.cbranch(self._test(test), then, other)
        for block, statements in ((then, body), (other, otherwise)):
            self.b.position_at_end(block)
            self._block(statements)
            if not self.b.block.is_terminated:
                self.b.branch(after)
        self.b.position_at_end(after)

    def _while(self, test: ast.expr, body: Sequence[ast.stmt]) -> None:
        head, inside, after = (self.function.append_basic_block() for _ in range(3))
        self.b.branch(head)
        self.b.position_at_end(head)
        self.b.cbranch(self._test(test), inside, after)
        self._loop(inside, head, after, body)

    def _loop(self, inside: Any, head: Any, after: Any, body: Sequence[ast.stmt]) -> None:
        self.loops.append((head, after))
        self.b.position_at_end(inside)
        self._block(body)
        if not self.b.block.is_terminated:
            self.b.branch(head)
        self.loops.pop()
        self.b.position_at_end(after)

    def _for(self, name: str, told: Sequence[ast.expr], body: Sequence[ast.stmt]) -> None:
        step = 1
        if len(told) == 3:
            step = int(ast.literal_eval(told[2]))
        values = [self._value(v) for v in told[:2]]
        start, end = values if len(values) == 2 else (_INT(0), values[0])
        counter = self.begin.alloca(_INT)
        self.b.store(start, counter)
        head, inside, after = (self.function.append_basic_block() for _ in range(3))
        turn = self.function.append_basic_block()
        self.b.branch(head)
        self.b.position_at_end(head)
        at = self.b.load(counter)
        self.b.cbranch(self.b.icmp_signed("<" if step > 0 else ">", at, end), inside, after)
        self.b.position_at_end(turn)
        self.b.store(self.b.add(self.b.load(counter), _INT(step)), counter)
        self.b.branch(head)
        self.b.position_at_end(inside)
        self.b.store(at, self._place(name))
        self._loop(inside, turn, after, body)

    # -- expressions ------------------------------------------------------------

    def _test(self, e: ast.expr) -> Any:
        """As one bit."""
        match e:
            case ast.Compare(left=left, ops=[op], comparators=[right]):
                a, b = self._value(left), self._value(right)
                return self.b.icmp_signed(_COMPARE[type(op)], a, b)
            case ast.UnaryOp(op=ast.Not(), operand=operand):
                return self.b.not_(self._test(operand))
            case ast.BoolOp():
                return self._both(e)
        return self.b.icmp_signed("!=", self._value(e), _INT(0))

    def _both(self, e: ast.BoolOp) -> Any:
        """Only as far as it matters."""
        wants = isinstance(e.op, ast.And)
        after = self.function.append_basic_block()
        ends: list[tuple[Any, Any]] = []
        for k, operand in enumerate(e.values):
            bit = self._test(operand)
            ends.append((bit, self.b.block))
            if k == len(e.values) - 1:
                self.b.branch(after)
                break
            more = self.function.append_basic_block()
            self.b.cbranch(bit, *((more, after) if wants else (after, more)))
            self.b.position_at_end(more)
        self.b.position_at_end(after)
        found = self.b.phi(_BIT)
        for bit, block in ends:
            found.add_incoming(bit, block)
        return found

    def _value(self, e: ast.expr) -> Any:
        match e:
            case ast.Constant(value=int() as value):
                return _INT(int(value))
            case ast.Name(id=name):
                if name in self.names:
                    return self.b.load(self.names[name])
                return _INT(self.code.constants[name])
            case ast.Attribute(value=ast.Name(id=name), attr=attribute):
                row = self.b.load(self.names[name])
                return self.b.load(self._address(row, _INT(self.code.rows[attribute]), "int64"))
            case ast.Subscript(value=row, slice=index):
                place, kind = self._row(row, index)
                value = self.b.load(place)
                if kind == "int64":
                    return value
                return (self.b.zext if kind == "uint32" else self.b.sext)(value, _INT)
            case ast.BinOp(left=left, op=op, right=right):
                a, b = self._value(left), self._value(right)
                return self._operate(op, a, b)
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                return self.b.neg(self._value(operand))
            case ast.Compare() | ast.BoolOp() | ast.UnaryOp(op=ast.Not()):
                return self.b.zext(self._test(e), _INT)
            case ast.IfExp(test=test, body=body, orelse=otherwise):
                return self._either(test, body, otherwise)
            case ast.Call(func=ast.Name(id="prefetch"), args=[row, index]):
                # To be written as well as read, and kept as near as can be.
                place, _ = self._row(row, index)
                hints = [ir.IntType(32)(hint) for hint in (1, 3, 1)]
                where = self.b.bitcast(place, _BYTE)
                self.b.call(self.code.prefetch, [where, *hints])
                return _INT(0)
            case ast.Call(func=ast.Name(id=name), args=told):
                values = [self._value(v) for v in told]
                if name in self.code.same:
                    return values[0]
                return self.b.call(self.code.functions[name], values)
        raise NotImplementedError(ast.dump(e))

    def _either(self, test: ast.expr, body: ast.expr, otherwise: ast.expr) -> Any:
        then, other, after = (self.function.append_basic_block() for _ in range(3))
        self.b.cbranch(self._test(test), then, other)
        ends = []
        for block, value in ((then, body), (other, otherwise)):
            self.b.position_at_end(block)
            ends.append((self._value(value), self.b.block))
            self.b.branch(after)
        self.b.position_at_end(after)
        found = self.b.phi(_INT)
        for value, block in ends:
            found.add_incoming(value, block)
        return found

    def _operate(self, op: ast.operator, a: Any, b: Any) -> Any:
        return getattr(self.b, _ARITHMETIC[type(op)])(a, b)

    def _row(self, row: ast.expr, index: ast.expr) -> tuple[Any, str]:
        """Where an entry of a row is, and of what kind."""
        kind = "int64"
        if isinstance(row, ast.Name):
            kind = self.kind.get(row.id, kind)
        elif isinstance(row, ast.Attribute):
            kind = self.code.kinds[row.attr]
        return self._address(self._value(row), self._value(index), kind), kind

    def _address(self, row: Any, index: Any, kind: str) -> Any:
        entry = _ROWS[kind]
        return self.b.gep(self.b.inttoptr(row, entry.as_pointer()), [index])


__all__ = ["MachineCode"]
