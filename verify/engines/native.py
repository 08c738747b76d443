"""Rows of whole numbers, and functions on them: as machine code, or plain Python on lists.

What is compiled is the text of the same functions, so the plain ones are tested without a compiler.
"""

from __future__ import annotations

import ast
import ctypes
import inspect
import mmap
import sys
import textwrap
from collections.abc import Callable, Mapping, Sequence
from importlib.util import find_spec
from typing import Any, Protocol

WORD = 64
_BYTES = {"int64": ("q", 8), "int32": ("i", 4), "uint32": ("I", 4)}


def available() -> bool:
    """There is a compiler."""
    try:
        return find_spec("llvmlite") is not None and sys.byteorder == "little"
    except (ImportError, ValueError):
        return False


class Native(Protocol):
    """``turn``: states that are searched between two looks at the clock."""

    turn: int

    def new(self, size: int, kind: str, value: int = 0) -> Any:
        """A row. ``kind``: ``int64``, ``int32`` or ``uint32``."""

    def word(self, value: int) -> int:
        """64 bits as the number that is stored."""

    def told(self, rows: Sequence[Any]) -> Any:
        """A set of rows as functions get it."""

    def functions(
        self,
        text: str,
        tables: Mapping[str, Sequence[int]],
        build: Callable[..., Sequence[Any]],
        rows: Mapping[str, str],
    ) -> Mapping[str, Any]:
        """The functions that ``build`` makes on those of ``text``, by name."""


class Plain:
    """Lists and Python."""

    turn = 2_000

    def new(self, size: int, kind: str, value: int = 0) -> Any:
        """As in ``Native``."""
        return [value] * size

    def word(self, value: int) -> int:
        """As in ``Native``."""
        return value

    def told(self, rows: Sequence[Any]) -> Any:
        """As in ``Native``."""
        return rows

    def functions(
        self,
        text: str,
        tables: Mapping[str, Sequence[int]],
        build: Callable[..., Sequence[Any]],
        rows: Mapping[str, str],
    ) -> Mapping[str, Any]:
        """As in ``Native``."""
        names: dict[str, Any] = {"ALL": (1 << WORD) - 1, **tables}
        exec(compile(text, "<step of a system>", "exec"), names)
        return {made.__name__: made for made in build(names)}


class Compiled:
    """Memory that is taken page by page as it is written to, and machine code."""

    turn = 200_000

    def __init__(self) -> None:
        self.kept: list[Any] = []

    def new(self, size: int, kind: str, value: int = 0) -> Any:
        """As in ``Native``."""
        letter, many = _BYTES[kind]
        row: Any = memoryview(mmap.mmap(-1, max(1, size) * many))
        row = row.cast(letter)
        if value:
            row.cast("B")[:] = (b"\xff" if value == -1 else b"\0") * len(row) * many
        return row

    def word(self, value: int) -> int:
        """As in ``Native``: with a sign."""
        return value - (1 << WORD) if value >> WORD - 1 else value

    def told(self, rows: Sequence[Any]) -> Any:
        """As in ``Native``: its address. It holds until the next set is told of."""
        self.addresses = (ctypes.c_int64 * len(rows))(*map(_address, rows))
        self.kept = [self.addresses, *self.kept[:1]]
        return ctypes.addressof(self.addresses)

    def functions(
        self,
        text: str,
        tables: Mapping[str, Sequence[int]],
        build: Callable[..., Sequence[Any]],
        rows: Mapping[str, str],
    ) -> Mapping[str, Any]:
        """As in ``Native``."""
        from verify.engines.machine_code import MachineCode

        own = [s for s in ast.parse(text).body if isinstance(s, ast.FunctionDef)]
        built = ast.parse(textwrap.dedent(inspect.getsource(build))).body[0]
        assert isinstance(built, ast.FunctionDef)
        search = [s for s in built.body if isinstance(s, ast.FunctionDef)]
        told = built.body[-1]
        assert isinstance(told, ast.Return)
        assert isinstance(told.value, ast.Tuple)
        entries = [name.id for name in told.value.elts if isinstance(name, ast.Name)]
        constants = {
            name: value for name, value in build.__globals__.items() if isinstance(value, int)
        }
        constants |= {"ALL": -1, "all_bits": -1}
        kept = {name: (ctypes.c_int64 * len(numbers))(*numbers) for name, numbers in tables.items()}
        constants |= {name: ctypes.addressof(row) for name, row in kept.items()}
        code = MachineCode([*own, *search], constants, rows, entries)
        return {name: _Call(code.call(name), (code, kept)) for name in entries}


class _Call:
    """A compiled function, and what must live as long."""

    def __init__(self, function: Any, kept: Any) -> None:
        self.function, self.kept = function, kept

    def __call__(self, *told: int) -> int:
        return int(self.function(*told))


def _address(row: Any) -> int:
    return ctypes.addressof(ctypes.c_char.from_buffer(row))
