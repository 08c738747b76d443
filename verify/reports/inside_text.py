"""Modes, numbers and timers as rows of a picture in text: words, and bars that fall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

from rich.cells import cell_len, chop_cells

from verify.reports.inside import InsideRow, Stretch
from verify.reports.timing_rows import UNICODE, Column, Marks, Row

BARS = "▁▂▃▄▅▆▇█"
BEGINS, GOES_ON = "|", "."


@dataclass
class InsideText(Row):
    """A row of a machine: ``inside`` as it is; ``begins``: the first tick of the picture."""

    inside: InsideRow = field(default=InsideRow("", ()), kw_only=True)
    begins: int = field(default=0, kw_only=True)
    chars: Marks = field(default=UNICODE, kw_only=True)

    @cached_property
    def changes(self) -> list[int]:
        """Ticks in which a mode changes, or a timer is started or stops."""
        last = self.inside.stretches[-1].last
        ticks = {s.first for s in self.inside.stretches}
        if self.inside.most:
            ticks |= {s.last for s in self.inside.stretches if s.last < last}
        return sorted(tick for tick in ticks if tick >= self.begins)

    def rests(self, first: int, last: int, grounds: str) -> bool:
        """A timer that is off from ``first`` to ``last``."""
        return bool(self.inside.most) and not any(
            s.first <= last and s.last > first for s in self.inside.stretches
        )

    def drawn(self, columns: Sequence[Column]) -> str:
        """The row in these columns."""
        if self.inside.most:
            return "".join(self._bar(column) for column in columns)
        return self._words(columns)

    def _bar(self, column: Column) -> str:
        char = self._level(column.first)
        if column.ticks == 1:
            return char
        torn = " " if char == " " else self.chars.fold
        return torn + char * (column.cells(self.chars) - 2) + torn

    def _level(self, tick: int) -> str:
        """What is left of a timer: a block as high, or without such characters tenths of most."""
        for stretch in self.inside.stretches:
            if stretch.first <= tick < stretch.last:
                left = stretch.left - (tick - stretch.first)
                if self.chars is UNICODE:
                    return BARS[(left * len(BARS) - 1) // self.inside.most]
                return str(min(9, left * 10 // self.inside.most))
        return " "

    def _words(self, columns: Sequence[Column]) -> str:
        text = ""
        for stretch in self.inside.stretches:
            cells = sum(
                column.cells(self.chars)
                for column in columns
                if stretch.first <= column.first < stretch.last
            )
            if cells:
                text += self._word(stretch, cells, stretch.first >= columns[0].first)
        return text

    def _word(self, stretch: Stretch, cells: int, begins: bool) -> str:
        """The word, cut to what there is; of one column its first character."""
        word = stretch.word if self.chars is UNICODE else _ascii(stretch.word)
        told = BEGINS + word if begins and cells > 1 else word
        cut = chop_cells(told, cells)[0] if told else ""
        return cut + GOES_ON * (cells - cell_len(cut))


def _ascii(text: str) -> str:
    return text.encode("ascii", "backslashreplace").decode()


def inside_texts(
    inside: Sequence[InsideRow], begins: int, end: int | None, group: int, marks: Marks
) -> list[InsideText]:
    """The rows below those of signals, each a group of its own after number ``group``."""
    return [
        InsideText(row.name, group + 1 + k, end, inside=row, begins=begins, chars=marks)
        for k, row in enumerate(inside)
    ]


__all__ = ["BARS", "BEGINS", "GOES_ON", "InsideText", "inside_texts"]
