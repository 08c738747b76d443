"""Lines of generated Python, indented as they are nested."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

# What generated code says in ``m[0]``.
FINE, STUCK, NARROW = 0, 1, 2


class CodeText:
    """Text in the making."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.depth = 0

    def _line(self, text: str) -> None:
        self.lines.append("    " * self.depth + text)

    @contextmanager
    def _under(self, text: str) -> Iterator[None]:
        self._line(text)
        self.depth += 1
        before = len(self.lines)
        yield
        if len(self.lines) == before:
            self._line("pass")
        self.depth -= 1
