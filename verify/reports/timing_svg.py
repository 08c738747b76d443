"""A trace as a picture in SVG (SVG 2, W3C): the rows of the text picture, and the machines' own.

Told apart by shape, so it can be read in print and without seeing colours; the text takes
the colour of what it stands in. Every column has its tick in ``data-tick``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from itertools import groupby

from verify.engines.trace import Trace
from verify.parts.link import Link
from verify.parts.monitor import Windows
from verify.reports.inside import InsideRow, inside_rows
from verify.reports.names import printable
from verify.reports.timing_rows import UNICODE, Column, Row, Rows, columns_of
from verify.reports.words import failure_sentence
from verify.units import duration_text

CELL, FOLD, HIGH, GAP = 16, 54, 14, 12
LETTER = 7.4  # of 12 px, at most
MARGIN, TOP = 12, 46
# As many columns of single ticks as a page takes; longer runs are folded where nothing happens.
ROOM = 60
LONGEST_LABEL = 28
M = UNICODE

STYLE = """
.fw { font: 12px ui-monospace, Menlo, Consolas, monospace; color: #1b1b1b; background: #fff; }
.fw text { fill: currentColor; }
.fw .ground { stroke: currentColor; stroke-opacity: .25; fill: none; }
.fw .wave { stroke: currentColor; stroke-width: 1.6; fill: none; }
.fw .level { fill: currentColor; fill-opacity: .16; stroke: none; }
.fw .mark { stroke: currentColor; stroke-width: 1.4; fill: currentColor; }
.fw .open { fill: none; stroke: currentColor; stroke-width: 1.6; }
.fw .due { stroke: currentColor; stroke-width: 1.4; stroke-dasharray: 3 2; fill: none; }
.fw .wrong { stroke: #b3261e; stroke-width: 3; fill: none; }
.fw .failing { stroke: #b3261e; stroke-width: 1.4; stroke-dasharray: 5 3; fill: none; }
.fw .failing-word { fill: #b3261e; font-weight: bold; }
.fw .timer { fill: currentColor; fill-opacity: .28; stroke: currentColor; }
.fw .mode { fill: none; stroke: currentColor; stroke-width: 1; }
.fw .fold { stroke: currentColor; stroke-opacity: .6; fill: none; }
.fw .tick { fill: none; pointer-events: all; }
""".strip()


def timing_svg(
    trace: Trace,
    link: Link,
    *,
    windows: tuple[Windows, ...] | None = None,
    inside: Sequence[InsideRow] | None = None,
) -> str:
    """A whole SVG file. ``windows``: as for ``picture``. ``inside``: modes and timers; of a run in
    parts of a tick they must be given, for ``link`` is then measured for pictures only."""
    rows = Rows(trace, link, windows, M).all()
    machines = inside_rows(trace, link, windows) if inside is None else inside
    points = {tick for row in rows for tick in row.changes}
    # Machines are there since power-up, a tick before the first.
    points |= {max(0, s.first) for row in machines for s in row.stretches}
    if trace.failure is not None:
        points.add(trace.failure.tick)
    paper = _Paper(_columns(points), rows, machines, trace)
    sentence = failure_sentence(trace, link, windows) if trace.failure else "nothing is wrong"
    return paper.text(printable(link.name), sentence, duration_text(link.tick))


def _columns(points: set[int]) -> list[Column]:
    return columns_of(sorted(points), ROOM, M) if points else []


@dataclass
class _Paper:
    columns: Sequence[Column]
    rows: Sequence[Row]
    machines: Sequence[InsideRow]
    trace: Trace

    def __post_init__(self) -> None:
        labels = [printable(row.label) for row in self.rows] + [m.name for m in self.machines]
        longest = min(LONGEST_LABEL, max(map(len, [*labels, "tick"])))
        self.left = MARGIN + longest * LETTER + 10
        self.at: dict[int, float] = {}
        x = self.left
        for column in self.columns:
            self.at[column.first] = x
            x += CELL if column.ticks == 1 else FOLD
        self.right = x
        self.height = TOP + (len(self.rows) + len(self.machines)) * (HIGH + GAP) + 30

    def x(self, tick: int) -> float:
        """Where a tick begins; within a fold, in proportion."""
        if tick in self.at:
            return self.at[tick]
        for column in self.columns:
            if column.first <= tick < column.first + column.ticks:
                return self.at[column.first] + FOLD * (tick - column.first) / column.ticks
        return self.left if self.columns and tick < self.columns[0].first else self.right

    def text(self, name: str, sentence: str, tick: str) -> str:
        """The file."""
        told = "".join(self._drawn())
        width, height = self.right + 90, self.height
        words = _wrapped(f"{sentence}.", max(40, int((width - 2 * MARGIN) / LETTER)))
        tall = height + 16 * len(words) + 22
        said = "".join(
            f'<text x="{MARGIN}" y="{height + 16 * k + 10:g}">{escape(line)}</text>'
            for k, line in enumerate([*words, f"one column is 1 tick of {tick}"])
        )
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="fw" role="img" '
            f'viewBox="0 0 {width:g} {tall:g}" width="{width:g}" height="{tall:g}">'
            f"<title>{escape(name)}</title><desc>{escape(sentence)}</desc>"
            f"<style>{STYLE}</style>{told}{said}</svg>\n"
        )

    # -- drawing --------------------------------------------------------------------

    def _drawn(self) -> Iterator[str]:
        yield from self._scale()
        y = TOP
        for row in self.rows:
            yield self._label(printable(row.label), y)
            yield from self._grounds(row, y)
            for tick, mark in sorted(row.marks.items()):
                yield _mark(mark, self.x(tick) + CELL / 2, y)
            y += HIGH + GAP
        for machine in self.machines:
            yield self._label(machine.name, y)
            yield from self._stretches(machine, y)
            y += HIGH + GAP
        yield from self._failing(y)
        yield from self._targets(y)

    def _label(self, name: str, y: float) -> str:
        shown = name if len(name) <= LONGEST_LABEL else name[: LONGEST_LABEL - 1] + "…"
        whole = f"<title>{escape(name)}</title>" if shown != name else ""
        return f'<text x="{MARGIN}" y="{y + HIGH - 2}">{whole}{escape(shown)}</text>'

    def _scale(self) -> Iterator[str]:
        yield f'<text x="{MARGIN}" y="{TOP - 22}">tick</text>'
        failing = self.trace.failure.tick if self.trace.failure else None
        marked = {tick for row in self.rows for tick in row.marks}
        free = self.left - 1
        wanted = [c.first for c in self.columns if c.ticks == 1]
        first = min(wanted, default=None)
        for tick in wanted:
            x, text = self.at[tick], str(tick)
            reserved = (
                failing is not None
                and tick < failing
                and (x + len(text) * LETTER + 4 > self.at[failing])
            )
            if tick not in marked | {failing, first} or x < free or reserved:
                continue
            yield f'<text x="{x + 2:g}" y="{TOP - 22}">{text}</text>'
            yield _line("ground", x + CELL / 2, TOP - 18, x + CELL / 2, TOP - 8)
            free = x + len(text) * LETTER + 8
        for column in self.columns:
            if column.ticks > 1:
                x = self.at[column.first]
                zigzag = " ".join(f"{x + 4 + k * 6:g},{TOP - 10 - 4 * (k % 2):g}" for k in range(8))
                yield f'<polyline class="fold" points="{zigzag}"/>'
                yield (
                    f'<text x="{x + FOLD / 2:g}" y="{TOP - 34}" text-anchor="middle">'
                    f"{column.ticks}</text>"
                )

    def _grounds(self, row: Row, y: float) -> Iterator[str]:
        """What lasts: levels of lines, inputs held, windows."""
        low, before = y + HIGH, ""
        if self.columns and row.marks.get(self.columns[0].first) == M.rise:
            before = M.low
            yield _line("wave", self.left, low, self.left + CELL / 2, low)
        end = self.right if row.end is None else self.x(row.end) + CELL
        for first, last, ground in _runs(row, self.columns):
            x, to = self.at[first], min(end, self._after(last))
            if to <= x:
                break
            if ground in (M.high, M.low):
                level = y if ground == M.high else low
                if before and before != ground:
                    yield _line("wave", x + CELL / 2, y, x + CELL / 2, low)
                begin = x + (CELL / 2 if before and before != ground else 0)
                over = CELL / 2 if last != self.columns[-1].first else 0
                yield _line("wave", begin, level, min(end, to + over), level)
                before = ground
            elif ground == M.held:
                yield f'<rect class="level" x="{x + CELL / 2:g}" y="{y + 2}" '
                yield f'width="{max(1, to - x):g}" height="{HIGH - 4}"/>'
            elif ground == M.due_in:
                middle = y + HIGH / 2
                yield _line("due", x + CELL / 2, middle, to + CELL / 2, middle)
            else:
                yield _line("ground", x, low, to, low)

    def _after(self, first: int) -> float:
        column = next(c for c in self.columns if c.first == first)
        return self.at[first] + (CELL if column.ticks == 1 else FOLD)

    def _stretches(self, machine: InsideRow, y: float) -> Iterator[str]:
        low = y + HIGH
        for stretch in machine.stretches:
            begin = max(stretch.first, self.columns[0].first)
            x = self.x(begin) + (CELL / 2 if begin == stretch.first else 0)
            to = max(self.x(stretch.last) + CELL / 2, x + 2)
            if machine.most:
                high = HIGH * (stretch.left - (begin - stretch.first)) / machine.most
                gone = (stretch.last - stretch.first) / stretch.left
                falls = low - high * max(0.0, 1 - gone)
                corners = f"{x:g},{low:g} {x:g},{low - high:g} {to:g},{falls:g} {to:g},{low:g}"
                yield f'<polygon class="timer" points="{corners}">'
                yield f"<title>{stretch.left} ticks</title></polygon>"
                continue
            yield f'<rect class="mode" x="{x:g}" y="{y}" width="{to - x:g}" height="{HIGH}">'
            yield f"<title>{escape(stretch.word)}</title></rect>"
            if len(stretch.word) * LETTER + 4 <= to - x:
                yield f'<text x="{x + 3:g}" y="{low - 3:g}">{escape(stretch.word)}</text>'

    def _failing(self, y: float) -> Iterator[str]:
        failure = self.trace.failure
        if failure is None:
            return
        x = self.x(failure.tick) + CELL / 2
        yield _line("failing", x, TOP - 8, x, y)
        yield f'<path class="wrong" d="M {x - 5:g} {y + 9} L {x:g} {y} L {x + 5:g} {y + 9}"/>'
        yield f'<text class="failing-word" x="{x + 9:g}" y="{y + 11}">{escape(failure.kind)}</text>'

    def _targets(self, y: float) -> Iterator[str]:
        """What a page may put a cursor on."""
        for column in self.columns:
            width = CELL if column.ticks == 1 else FOLD
            ticks = f' data-ticks="{column.ticks}"' if column.ticks > 1 else ""
            yield (
                f'<rect class="tick" data-tick="{column.first}"{ticks} '
                f'x="{self.at[column.first]:g}" y="{TOP - 8}" width="{width}" '
                f'height="{y - TOP + 8:g}"/>'
            )


def _runs(row: Row, columns: Sequence[Column]) -> Iterator[tuple[int, int, str]]:
    """First and last column, by their first ticks, over which the background is the same."""
    for ground, alike in groupby(columns, key=lambda column: row.under(column.first)):
        same = list(alike)
        yield same[0].first, same[-1].first, ground


def _line(kind: str, x: float, y: float, to_x: float, to_y: float) -> str:
    return f'<line class="{kind}" x1="{x:g}" y1="{y:g}" x2="{to_x:g}" y2="{to_y:g}"/>'


def _mark(mark: str, x: float, y: float) -> str:
    """The sign of what happened, its middle at ``x``."""
    top, middle, low = y, y + HIGH / 2, y + HIGH
    left, right = x - 5, x + 5
    bracket = f"{top:g} H {x:g} V {low:g} H"
    shapes = {
        M.press: f'<path class="mark" d="M {left:g} {top:g} H {right:g} L {x:g} {low:g} Z"/>',
        M.release: f'<path class="open" d="M {left:g} {low:g} H {right:g} L {x:g} {top:g} Z"/>',
        M.rise: f'<path class="mark" d="M {x - 3:g} {middle:g} H {x + 3:g} L {x:g} {top:g} Z"/>',
        M.strike: f'<path class="mark" d="{_diamond(x, y)}"/>',
        M.due: f'<path class="open" d="{_diamond(x, y)}"/>',
        M.wrong: (
            f'<path class="wrong" d="M {left:g} {top:g} L {right:g} {low:g} '
            f'M {right:g} {top:g} L {left:g} {low:g}"/>'
        ),
        M.due_from: f'<path class="open" d="M {x + 4:g} {bracket} {x + 4:g}"/>',
        M.due_to: f'<path class="open" d="M {x - 4:g} {bracket} {x - 4:g}"/>',
        M.both: (
            f'<path class="open" d="M {left:g} {middle:g} H {right:g} M {x:g} {top:g} V {low:g}"/>'
        ),
    }
    return shapes.get(mark, "")


def _diamond(x: float, y: float) -> str:
    middle = y + HIGH / 2
    return f"M {x:g} {y:g} L {x + 6:g} {middle:g} L {x:g} {y + HIGH:g} L {x - 6:g} {middle:g} Z"


def _wrapped(text: str, letters: int) -> list[str]:
    return re.findall(rf"\S.{{0,{letters - 1}}}(?=\s|$)|\S{{{letters}}}", text) or [""]


__all__ = ["timing_svg"]
