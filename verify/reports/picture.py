"""A trace as a picture in plain text: a row per signal, a column per tick.

Time runs to the right. Stretches in which no row changes can be folded, and a long
picture goes on in another block below, so it costs as much as there are events,
however many ticks lie between them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from rich.cells import cell_len, chop_cells

from verify.engines.trace import Failure, Trace
from verify.parts.link import Link
from verify.parts.monitor import Windows
from verify.reports.inside import InsideRow
from verify.reports.inside_text import BARS, BEGINS, GOES_ON, InsideText, inside_texts
from verify.reports.names import printable
from verify.reports.script_words import script_lines
from verify.reports.timing_rows import ASCII, UNICODE, Column, Marks, Row, Rows, columns_of
from verify.reports.words import failure_sentence
from verify.units import duration_text

LEAST_WIDTH = 40
LABEL_CELLS = 16
# With more rows, blocks leave out lines that are low throughout, as they do all empty rows.
FEW_ROWS = 20
NUMBERED = (5, 10, 20, 50)
INDENT = "  "


def picture(
    trace: Trace,
    link: Link,
    width: int = 80,
    *,
    windows: tuple[Windows, ...] | None = None,
    ascii_only: bool = False,
    told: str | None = None,
    inside: Sequence[InsideRow] = (),
) -> str:
    """The trace as text of lines at most ``width`` columns wide, without a newline at the end.

    ``width``: at least 40, less counts as 40. ``windows``: one per branch, in which
    strikes are due, as ``Subject.windows``; without them only the due strike that the
    failure names is shown. ``ascii_only``: no character outside ASCII, names escaped. ``told``:
    what happened, instead of the sentence of ``reports/words.py``. ``inside``: modes and timers,
    as rows below those of signals.
    Output and cost grow with the events of the trace, not with its ticks.
    """
    marks = ASCII if ascii_only else UNICODE
    rows = Rows(trace, link, windows, marks).all()
    first = min((tick for row in rows for tick in row.changes), default=0)
    end = trace.failure.tick if trace.failure else None
    rows = [*rows, *inside_texts(inside, first, end, len(rows), marks)]
    names = [_clean(row.label, ascii_only) for row in rows]
    paper = _Paper(rows, names, max(width, LEAST_WIDTH), marks, trace.failure)
    blocks = paper.blocks()
    text = []
    for block in blocks:
        text += [*_Canvas(block, paper).draw(all_rows=len(blocks) == 1), ""]
    sentence = told or failure_sentence(trace, link, windows) + "."
    text += _wrapped(_ascii(sentence) if ascii_only else sentence, paper.width)
    for line in script_lines(trace, link):
        text += _wrapped(INDENT + (_ascii(line) if ascii_only else line), paper.width, 2 * INDENT)
    text += ["", *_key(paper, blocks, link), *_whole_names(paper)]
    return "\n".join(line.rstrip() for line in text)


def _split(
    columns: Sequence[Column], room: int, last_room: int, marks: Marks
) -> list[list[Column]]:
    """As many columns as fit in a block, then the next block.

    A tick must leave space for its number (``room``), a fold need not (``last_room``).
    """
    blocks: list[list[Column]] = [[]]
    used = 0
    for column in columns:
        cells = column.cells(marks)
        if blocks[-1] and used + cells > (room if column.ticks == 1 else last_room):
            blocks.append([])
            used = 0
        blocks[-1].append(column)
        used += cells
    return blocks


# -- drawing --------------------------------------------------------------------


@dataclass(frozen=True)
class _Paper:
    """What all blocks of a picture have in common."""

    rows: Sequence[Row]
    names: Sequence[str]
    width: int
    marks: Marks
    failure: Failure | None

    @cached_property
    def labels(self) -> list[str]:
        """What stands left of the rows."""
        return row_labels(self.names, self.marks)

    @cached_property
    def margin(self) -> int:
        """Columns left of the first tick."""
        return max(map(cell_len, [*self.labels, "tick"])) + 1

    def blocks(self) -> list[list[Column]]:
        """The columns of each block; none if nothing happened."""
        points = {tick for row in self.rows for tick in row.changes}
        if self.failure is not None:
            points.add(self.failure.tick)
        if not points:
            return []
        last_room = self.width - self.margin
        # A number begins at its tick, so the last one needs room to its right.
        room = last_room - len(str(max(points))) + 1
        return _split(columns_of(sorted(points), room, self.marks), room, last_room, self.marks)

    def line(self, label: str, text: str) -> str:
        """A line with its label."""
        return label + " " * (self.margin - cell_len(label)) + text

    @cached_property
    def pressed(self) -> set[int]:
        """Ticks of presses."""
        return {t for row in self.rows for t, m in row.marks.items() if m == self.marks.press}

    @cached_property
    def marked(self) -> set[int]:
        """Ticks with any mark."""
        return {t for row in self.rows for t in row.marks}


class _Canvas:
    """One block of the picture."""

    def __init__(self, columns: Sequence[Column], paper: _Paper) -> None:
        self.columns, self.paper = columns, paper
        self.marks = paper.marks
        self.failing = paper.failure.tick if paper.failure else None
        self.at: dict[int, int] = {}
        x = 0
        for column in columns:
            if column.ticks == 1:
                self.at[column.first] = x
            x += column.cells(self.marks)

    def draw(self, *, all_rows: bool) -> Iterator[str]:
        """The block; unless ``all_rows``, rows in which nothing is to be seen are left out."""
        yield from self._scale()
        yield from self._body(all_rows)
        yield from self._foot()

    def _scale(self) -> Iterator[str]:
        """Numbers, and below them what they point at, and how long the folds are."""
        numbers = self._numbers()
        text, points = "", ""
        for tick in sorted(numbers):
            text = text.ljust(self.at[tick]) + str(tick)
        for column in self.columns:
            here = self.marks.here if column.first in numbers else " "
            points += column.folded(self.marks) or here
        yield self.paper.line("tick", text)
        yield self.paper.line("", points)

    def _numbers(self) -> set[int]:
        """Ticks that get a number: as many as fit, those first that matter most."""
        taken: set[int] = set()
        chosen = set()
        for tick in self._wanted():
            if tick not in self.at or tick in chosen:
                continue
            x = self.at[tick]
            span = range(x - 1, x + len(str(tick)) + 1)
            if taken.isdisjoint(span):
                taken.update(span[1:-1])
                chosen.add(tick)
        return chosen

    def _wanted(self) -> Iterator[int]:
        """The failing tick, the first, those after folds, presses, round ones, other marks."""
        if self.failing is not None:
            yield self.failing
        yield self.columns[0].first
        yield from (b.first for a, b in pairwise(self.columns) if a.ticks > 1)
        yield from (t for t in self.at if t in self.paper.pressed)
        longest = len(str(self.columns[-1].first))
        step = next((n for n in NUMBERED if n > longest + 1), NUMBERED[-1])
        yield from (t for t in self.at if t % step == 0)
        yield from (t for t in self.at if t in self.paper.marked)

    def _body(self, all_rows: bool) -> Iterator[str]:
        first, last = self.columns[0].first, self.columns[-1].first
        rest = " " if len(self.paper.rows) <= FEW_ROWS else " " + self.marks.low
        shown = {r.group for r in self.paper.rows if all_rows or not r.rests(first, last, rest)}
        for row, label in zip(self.paper.rows, self.paper.labels, strict=True):
            if row.group in shown:
                yield self.paper.line(label, self._row(row))

    def _row(self, row: Row) -> str:
        if isinstance(row, InsideText):
            return row.drawn(self.columns)
        text = []
        for column in self.columns:
            under = row.under(column.first)
            if column.ticks > 1:
                torn = " " if under == " " else self.marks.fold
                text.append(torn + under * (column.cells(self.marks) - 2) + torn)
                continue
            if under == " " and column.first == self.failing:
                under = self.marks.guide
            text.append(row.marks.get(column.first, under))
        return "".join(text)

    def _foot(self) -> Iterator[str]:
        """The marker under the failing tick."""
        if self.paper.failure is None or self.failing not in self.at:
            return
        x = self.paper.margin + self.at[self.failing]
        failed, kind = self.marks.failed, self.paper.failure.kind
        right, left = f"{failed} {kind}", f"{kind} {failed}"
        fits = x + len(right) <= self.paper.width
        yield " " * x + right if fits else left.rjust(x + 1)


# -- text -----------------------------------------------------------------------


def _clean(text: str, ascii_only: bool) -> str:
    text = printable(text)
    return _ascii(text) if ascii_only else text


def _ascii(text: str) -> str:
    return text.encode("ascii", "backslashreplace").decode()


def row_labels(names: Sequence[str], marks: Marks) -> list[str]:
    """Labels of at most 16 columns, all different if the names are."""
    used = {name for name in names if cell_len(name) <= LABEL_CELLS}
    found = []
    for name in names:
        label, n = name, 1
        while cell_len(name) > LABEL_CELLS and (n == 1 or label in used):
            suffix = f"#{n}" if n > 1 else ""
            label = _shortened(name, LABEL_CELLS - len(suffix), marks.cut) + suffix
            n += 1
            if label not in used:
                used.add(label)
                break
        found.append(label)
    return found


def _shortened(text: str, cells: int, cut: str) -> str:
    """Begin and end of a text, the middle cut out."""
    tail = text[-1:]
    for k in range(2, len(text)):
        if cell_len(text[-k:]) > cells // 3:
            break
        tail = text[-k:]
    head = chop_cells(text, cells - len(cut) - cell_len(tail))[0]
    return head + cut + tail


def _wrapped(text: str, width: int, indent: str = "") -> Iterator[str]:
    """Lines of at most ``width`` columns; those after the first start with ``indent``."""
    line = None
    for word in text.split(" "):
        for k, piece in enumerate(chop_cells(word, width - len(indent)) or [""]):
            longer = piece if line is None else line + " " * (k == 0) + piece
            if line is not None and cell_len(longer) > width:
                yield line
                longer = indent + piece
            line = longer
    yield line or ""


def _key(paper: _Paper, blocks: Sequence[Sequence[Column]], link: Link) -> Iterator[str]:
    """What the marks in use mean, and how long a tick is."""
    marks = paper.marks
    seen = {mark for row in paper.rows for mark in row.marks.values()}
    press = link.kind == "press"
    words = [
        (marks.press, marks.press, "pressed" if press else "goes up"),
        (marks.release, marks.release, "let go" if press else "goes down"),
        (marks.rise, marks.rise, "line rises"),
        (marks.strike, marks.strike, "strikes" if press else "goes up"),
        (marks.wrong, marks.wrong, "strikes, but was not due" if press else "wrongly goes up"),
        (marks.due, marks.due, "strike due" if press else "move due"),
        (
            marks.due_from,
            f"{marks.due_from}{marks.due_in}{marks.due_to}",
            f"{'strike' if press else 'move'} due from here to there",
        ),
        (marks.both, marks.both, "two marks in one tick"),
    ]
    items = [f"{shown} {meaning}" for mark, shown, meaning in words if mark in seen]
    items += _inside_key(paper)
    items.append(f"one column is 1 tick of {duration_text(link.tick)}")
    if fold := next((c for block in blocks for c in block if c.ticks > 1), None):
        items.append(f"{fold.folded(marks)} {fold.ticks} ticks without a change, left out")
    line = ""
    for item in items:
        longer = f"{line}   {item}" if line else item
        if line and cell_len(longer) > paper.width:
            yield from _wrapped(line, paper.width)
            longer = item
        line = longer
    yield from _wrapped(line, paper.width)


def _inside_key(paper: _Paper) -> Iterator[str]:
    machines = [row for row in paper.rows if isinstance(row, InsideText)]
    if any(not row.inside.most for row in machines):
        yield f"{BEGINS}word{GOES_ON}{GOES_ON} a mode, number or flag from there on"
    if any(row.inside.most for row in machines):
        bars = f"{BARS[-1]}{BARS[3]}{BARS[0]}" if paper.marks is UNICODE else "951"
        yield f"{bars} a timer runs down"


def _whole_names(paper: _Paper) -> Iterator[str]:
    for name, label in zip(paper.names, paper.labels, strict=True):
        if name != label:
            yield from _wrapped(f"{label} = {name}", paper.width, INDENT)


__all__ = ["LEAST_WIDTH", "picture", "row_labels"]
