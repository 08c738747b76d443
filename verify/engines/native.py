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
from contextlib import suppress
from importlib.util import find_spec
from typing import Any, Protocol

WORD = 64
_LARGE, _LARGE_FROM = getattr(mmap, "MADV_HUGEPAGE", 0), 1 << 22
# Of this process only: pages that others could share cannot grow.
_OWN: dict[str, int] = (
    {"flags": mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS} if hasattr(mmap, "MAP_ANONYMOUS") else {}
)
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

    def wider(self, row: Any, size: int, kind: str) -> Any:
        """A row with more room at its end, in place of one that is used no more."""

    def word(self, value: int) -> int:
        """64 bits as the number that is stored."""

    def told(self, rows: Sequence[Any]) -> Any:
        """A set of rows as functions get it."""

    def functions(
        self,
        text: str,
        tables: Mapping[str, Sequence[int]],
        builds: Sequence[Callable[..., Sequence[Any]]],
        rows: Mapping[str, str],
    ) -> Mapping[str, Any]:
        """The functions that the last of ``builds`` makes, by name. Each makes some on those of
        ``text`` and of the ones before it."""


class Plain:
    """Lists and Python."""

    turn = 2_000

    def new(self, size: int, kind: str, value: int = 0) -> Any:
        """As in ``Native``."""
        return [value] * size

    def wider(self, row: Any, size: int, kind: str) -> Any:
        """As in ``Native``."""
        return row + [0] * (size - len(row))

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
        builds: Sequence[Callable[..., Sequence[Any]]],
        rows: Mapping[str, str],
    ) -> Mapping[str, Any]:
        """As in ``Native``."""
        names: dict[str, Any] = {"ALL": (1 << WORD) - 1, **tables}
        exec(compile(text, "<step of a system>", "exec"), names)
        made: Mapping[str, Any] = {}
        for build in builds:
            made = {function.__name__: function for function in build(names)}
            names |= made
        return made


class Compiled:
    """Memory that is taken page by page as it is written to, and machine code."""

    turn = 200_000

    def __init__(self) -> None:
        self.kept: list[Any] = []

    def new(self, size: int, kind: str, value: int = 0) -> Any:
        """As in ``Native``."""
        pages = mmap.mmap(-1, max(1, size) * _BYTES[kind][1], **_OWN)
        if size * _BYTES[kind][1] >= 1 << 22:
            pages.madvise(mmap.MADV_HUGEPAGE)
        if value:
            pages[:] = (b"\xff" if value == -1 else b"\0") * len(pages)
        if size * _BYTES[kind][1] >= 1 << 22:
            pages.madvise(mmap.MADV_HUGEPAGE)
        return _row(pages, kind)

    def wider(self, row: Any, size: int, kind: str) -> Any:
        """As in ``Native``: the same pages and some more, where the system can do that."""
        pages = row.obj
        try:
            row.release()
            pages.resize(size * _BYTES[kind][1])
        except (OSError, SystemError, ValueError):
            more = self.new(size, kind)
            more.obj[: len(pages)] = pages[:]
            return more
        return _row(pages, kind)

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
        builds: Sequence[Callable[..., Sequence[Any]]],
        rows: Mapping[str, str],
    ) -> Mapping[str, Any]:
        """As in ``Native``."""
        from verify.engines.machine_code import MachineCode

        own = [s for s in ast.parse(text).body if isinstance(s, ast.FunctionDef)]
        constants: dict[str, int] = {}
        entries: list[str] = []
        for build in builds:
            made, entries = _made_by(build)
            own += made
            for name, value in build.__globals__.items():
                if isinstance(value, int) and constants.setdefault(name, value) != value:
                    raise ValueError(f"{name} is {value} and {constants[name]}")
        constants |= {"ALL": -1, "all_bits": -1}
        kept = {name: (ctypes.c_int64 * len(numbers))(*numbers) for name, numbers in tables.items()}
        constants |= {name: ctypes.addressof(row) for name, row in kept.items()}
        code = MachineCode(own, constants, rows, entries)
        return {name: _Call(code.call(name), (code, kept)) for name in entries}


def _made_by(build: Callable[..., Sequence[Any]]) -> tuple[list[ast.FunctionDef], list[str]]:
    """The functions in one that makes functions, and the names of those that it returns."""
    built = ast.parse(textwrap.dedent(inspect.getsource(build))).body[0]
    assert isinstance(built, ast.FunctionDef)
    told = built.body[-1]
    assert isinstance(told, ast.Return)
    assert isinstance(told.value, ast.Tuple)
    names = [name.id for name in told.value.elts if isinstance(name, ast.Name)]
    return [s for s in built.body if isinstance(s, ast.FunctionDef)], names


def _in_large_pages(pages: mmap.mmap) -> None:
    """Where there are such: rows are read and written all over the place, and finding a page may
    take longer than fetching what is in it."""
    if _LARGE and len(pages) >= _LARGE_FROM:
        with suppress(OSError):
            pages.madvise(_LARGE)


def _row(pages: mmap.mmap, kind: str) -> Any:
    return memoryview(pages).cast(_BYTES[kind][0])  # type: ignore[call-overload]


class _Call:
    """A compiled function, and what must live as long."""

    def __init__(self, function: Any, kept: Any) -> None:
        self.function, self.kept = function, kept

    def __call__(self, *told: int) -> int:
        return int(self.function(*told))


def _address(row: Any) -> int:
    return ctypes.addressof(ctypes.c_char.from_buffer(row))
