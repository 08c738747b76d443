"""A trace as a picture in plain text: a row per signal, a column per tick.

Time runs to the right. Stretches in which no row changes can be folded, and a long
picture goes on in another block below, so it costs as much as there are events,
however many ticks lie between them.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import TypeAlias

from rich.cells import cell_len, chop_cells

from verify.engines.trace import Event, Failure, Trace
from verify.parts.link import Link
from verify.parts.monitor import Windows
from verify.parts.signals import MISSED
from verify.reports.words import (
    branch_suffix,
    due_strikes,
    expected_output,
    failure_sentence,
    input_signal,
    late_strike,
    line_signals,
    output_signal,
    printable,
    script_lines,
)
from verify.units import duration_text

LEAST_WIDTH = 40
LABEL_CELLS = 16
# Shorter stretches are not worth folding: they would hardly be shorter.
LEAST_FOLD = 6
# With more rows, blocks leave out lines that are low throughout, as they do all empty rows.
FEW_ROWS = 20
NUMBERED = (5, 10, 20, 50)
INDENT = "  "

# First and last tick in which a strike is due.
Window: TypeAlias = tuple[int, int]


@dataclass(frozen=True)
class Marks:
    """The characters of a picture, each one column wide."""

    press: str
    release: str
    held: str
    rise: str
    high: str
    low: str
    strike: str
    wrong: str
    due: str
    due_from: str
    due_in: str
    due_to: str
    both: str
    fold: str
    here: str
    guide: str
    failed: str
    cut: str


UNICODE = Marks(
    press="▼",
    release="▵",
    held="═",
    rise="▟",
    high="█",
    low="▁",
    strike="◆",
    wrong="✗",
    due="◇",
    due_from="[",
    due_in="─",
    due_to="]",
    both="┼",
    fold="~",
    here="╵",
    guide="┊",
    failed="▲",
    cut="…",
)
ASCII = Marks(
    press="v",
    release="^",
    held="=",
    rise="/",
    high="#",
    low="_",
    strike="*",
    wrong="X",
    due="o",
    due_from="[",
    due_in="-",
    due_to="]",
    both="+",
    fold="~",
    here="'",
    guide=":",
    failed="!",
    cut="..",
)


def picture(
    trace: Trace,
    link: Link,
    width: int = 80,
    *,
    windows: tuple[Windows, ...] | None = None,
    ascii_only: bool = False,
    told: str | None = None,
) -> str:
    """The trace as text of lines at most ``width`` columns wide, without a newline at the end.

    ``width``: at least 40, less counts as 40. ``windows``: one per branch, in which
    strikes are due, as ``Subject.windows``; without them only the due strike that the
    failure names is shown. ``ascii_only``: no character outside ASCII, names escaped. ``told``:
    what happened, instead of the sentence of ``reports/words.py``.
    Output and cost grow with the events of the trace, not with its ticks.
    """
    marks = ASCII if ascii_only else UNICODE
    rows = _Rows(trace, link, windows, marks).all()
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


# -- rows -----------------------------------------------------------------------


@dataclass
class Row:
    """One signal: marks in single ticks, on a background that changes at given ticks.

    ``group``: rows that belong together. ``end``: nothing is known after this tick.
    """

    label: str
    group: int
    end: int | None = None
    marks: dict[int, str] = field(default_factory=dict)
    since: list[int] = field(default_factory=list)
    ground: list[str] = field(default_factory=lambda: [" "])

    def mark(self, tick: int, mark: str, both: str) -> None:
        """Put a mark; ``both`` where another one stands already."""
        self.marks[tick] = mark if self.marks.get(tick, mark) == mark else both

    def turn(self, tick: int, ground: str) -> None:
        """From ``tick`` on the background is ``ground``. In order of ticks."""
        self.since.append(tick)
        self.ground.append(ground)

    def under(self, tick: int) -> str:
        """The background in a tick."""
        if self.end is not None and tick > self.end:
            return " "
        return self.ground[bisect_right(self.since, tick)]

    @cached_property
    def changes(self) -> list[int]:
        """Ticks in which this row does not just go on as before. Only of a finished row."""
        return sorted({*self.marks, *self.since})

    def rests(self, first: int, last: int, grounds: str) -> bool:
        """Nothing is to be seen from ``first`` to ``last`` but one of these backgrounds."""
        k = bisect_left(self.changes, first)
        return self.under(first) in grounds and (k == len(self.changes) or self.changes[k] > last)


class _Rows:
    """The rows of a trace, from top to bottom."""

    def __init__(
        self, trace: Trace, link: Link, windows: tuple[Windows, ...] | None, marks: Marks
    ) -> None:
        self.trace, self.link, self.windows, self.marks = trace, link, windows, marks
        self.failure = trace.failure
        self.end = self.failure.tick if self.failure else None
        self.events: dict[str, list[Event]] = {}
        for event in sorted(trace.events, key=lambda e: e.tick):
            self.events.setdefault(event.signal, []).append(event)
        self.groups = 0

    def all(self) -> list[Row]:
        """Inputs, lines, outputs with what was due, then signals without a place of their own."""
        known = [*self._inputs(), *self._lines(), *self._outputs()]
        rest = [self._either(s, self.marks.strike) for s in [*self.events]]
        return known + rest

    def _new(self, label: str, *, same_group: bool = False) -> Row:
        self.groups += not same_group
        return Row(label, self.groups, self.end)

    def _inputs(self) -> Iterator[Row]:
        signals = [input_signal(self.link, i) for i in range(self.link.inputs)]
        held = self.link.scheme.watches_release or self._fall(signals)
        moving = [s for s in signals if s in self.events]
        for signal in sorted(moving, key=lambda s: self.events[s][0].tick):
            make = self._bar if held else self._single
            yield make(signal, self.marks.press)

    def _lines(self) -> Iterator[Row]:
        for k in range(self.link.scheme.lines):
            near = line_signals(self.link, k, 0)[0]
            fars = [line_signals(self.link, k, b)[1] for b in range(len(self.link.branches))]
            for signal in (near, *fars):
                if signal in self.events:
                    yield self._wave(signal)

    def _outputs(self) -> Iterator[Row]:
        """In the order in which they move or are due; the one to blame last, above its marker."""
        branches = range(len(self.link.branches))
        outputs = [(i, b) for i in range(self.link.inputs) for b in branches]
        signals = {(i, b): output_signal(self.link, i, b) for i, b in outputs}
        level = self._fall(list(signals.values()))
        due = self._due()
        moving = [o for o in outputs if o in due or signals[o] in self.events]
        for output in sorted(moving, key=lambda o: self._turn_of(o, signals[o], due)):
            windows = due.get(output)
            if windows:
                yield self._window_row(*output, windows)
            make = self._bar if level else self._single
            row = make(signals[output], self.marks.strike, same_group=bool(windows))
            self._blame(row, *output)
            yield row

    def _turn_of(
        self, output: tuple[int, int], signal: str, due: dict[tuple[int, int], list[Window]]
    ) -> tuple[bool, int]:
        failure = self.failure
        blamed = failure is not None and output == (
            self.link.names.index(failure.output),
            failure.branch,
        )
        ticks = [e.tick for e in self.events.get(signal, ())[:1]]
        return blamed, min([*ticks, *(first for first, _ in due.get(output, ()))])

    def _fall(self, signals: Sequence[str]) -> bool:
        """Some of the signals goes down in the trace: they last, they are not moments."""
        return any(not e.value for s in signals for e in self.events.get(s, ()))

    def _either(self, signal: str, mark: str) -> Row:
        return (self._bar if self._fall([signal]) else self._single)(signal, mark)

    def _single(self, signal: str, mark: str, *, same_group: bool = False) -> Row:
        """A mark per event."""
        row = self._new(signal, same_group=same_group)
        for event in self.events.pop(signal, ()):
            row.mark(event.tick, mark, self.marks.both)
        return row

    def _bar(self, signal: str, mark: str, *, same_group: bool = False) -> Row:
        """A bar from each 1 to the next 0."""
        row = self._new(signal, same_group=same_group)
        events = self.events.pop(signal, [])
        if events and not events[0].value:
            row.ground[0] = self.marks.held
        for event in events:
            row.mark(event.tick, mark if event.value else self.marks.release, self.marks.both)
            row.turn(event.tick, self.marks.held if event.value else " ")
        return row

    def _wave(self, signal: str) -> Row:
        """A line: high or low, its rises marked."""
        row = self._new(signal)
        events = self.events.pop(signal)
        row.ground[0] = self.marks.low if events[0].value else self.marks.high
        falls = {e.tick for e in events if not e.value}
        for event in events:
            if event.value:
                rise = self.marks.both if event.tick in falls else self.marks.rise
                row.mark(event.tick, rise, self.marks.both)
            row.turn(event.tick, self.marks.high if event.value else self.marks.low)
        return row

    # -- expected beside actual -----------------------------------------------------

    def _due(self) -> dict[tuple[int, int], list[Window]]:
        """Output and branch -> first and last ticks of what was due, where it has not all come."""
        failure = self.failure
        if failure is None:
            return {}
        wanted = expected_output(failure, self.link)
        if self.windows is None:
            return {} if wanted is None else {(wanted, failure.branch): [(failure.tick,) * 2]}
        dues = due_strikes(self.trace, self.link, self.windows[failure.branch], failure.branch)
        blamed = {wanted, self.link.names.index(failure.output)}
        of = self.link.outputs
        differs = {
            of[d.press.input] for d in dues if not d.delivered or of[d.press.input] in blamed
        }
        found: dict[tuple[int, int], list[Window]] = {}
        for due in dues:
            if of[due.press.input] in differs and due.press.tick <= failure.tick:
                key = of[due.press.input], failure.branch
                found.setdefault(key, []).append((due.earliest, due.latest))
        return found

    def _window_row(self, output: int, branch: int, windows: Sequence[Window]) -> Row:
        name = f"due {self.link.names[output]}{branch_suffix(self.link, branch)}"
        row, marks = self._new(name), self.marks
        row.end = None  # what is due is known ahead
        for first, last in windows:
            if first == last:
                row.mark(first, marks.due, marks.both)
            else:
                row.mark(first, marks.due_from, marks.both)
                row.mark(last, marks.due_to, marks.both)
        for first, last in _joined(windows):
            row.turn(first, marks.due_in)
            row.turn(last, " ")
        return row

    def _blame(self, row: Row, output: int, branch: int) -> None:
        """Mark strikes that were not due, and the one that comes after its time."""
        failure = self.failure
        if failure is None or branch != failure.branch:
            return
        blamed = self.link.names[output] == failure.output
        late = late_strike(failure)
        if blamed and late is not None:
            row.mark(late, self.marks.strike, self.marks.both)
        if failure.kind in MISSED or failure.tick not in row.marks:
            return
        here = (output, failure.tick, branch)
        came = self.trace.latencies
        if blamed or here not in {(self.link.outputs[d.input], d.tick, d.branch) for d in came}:
            row.marks[failure.tick] = self.marks.wrong


def _joined(windows: Sequence[Window]) -> list[Window]:
    """Stretches that overlap or touch become one."""
    found: list[Window] = []
    for first, last in sorted(windows):
        if found and first <= found[-1][1]:
            found[-1] = found[-1][0], max(last, found[-1][1])
        else:
            found.append((first, last))
    return found


# -- columns --------------------------------------------------------------------


@dataclass(frozen=True)
class Column:
    """One tick, or a fold of ``ticks`` ticks from ``first`` on in which nothing changes."""

    first: int
    ticks: int = 1

    def folded(self, marks: Marks) -> str:
        """The mark of a fold, which says how many ticks were left out; "" for a tick."""
        return "" if self.ticks == 1 else f"{marks.fold}{self.ticks}{marks.fold}"

    def cells(self, marks: Marks) -> int:
        """Its width."""
        return len(self.folded(marks)) or 1


def _columns(points: Sequence[int], room: int, marks: Marks) -> list[Column]:
    """Columns from the first point to the last. If they do not all fit in ``room``, stretches
    between points are folded, the longest first; in the end all that are worth it."""
    stretches = [Column(a + 1, b - a - 1) for a, b in pairwise(points) if b - a > LEAST_FOLD]
    total, shortest = points[-1] - points[0] + 1, None
    by_length: dict[int, int] = {}
    for stretch in stretches:
        by_length[stretch.ticks] = by_length.get(stretch.ticks, 0) + 1
    for length in sorted(by_length, reverse=True):
        if total <= room:
            break
        shortest = length
        total -= by_length[length] * (length - Column(0, length).cells(marks))
    columns = [Column(points[0])]
    for a, b in pairwise(points):
        gap = b - a - 1
        if shortest is not None and gap >= shortest:
            columns.append(Column(a + 1, gap))
        else:
            columns += [Column(t) for t in range(a + 1, b)]
        columns.append(Column(b))
    return columns


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
        return _split(_columns(sorted(points), room, self.marks), room, last_room, self.marks)

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
        (marks.due, marks.due, "strike due"),
        (
            marks.due_from,
            f"{marks.due_from}{marks.due_in}{marks.due_to}",
            "strike due from here to there",
        ),
        (marks.both, marks.both, "two marks in one tick"),
    ]
    items = [f"{shown} {meaning}" for mark, shown, meaning in words if mark in seen]
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


def _whole_names(paper: _Paper) -> Iterator[str]:
    for name, label in zip(paper.names, paper.labels, strict=True):
        if name != label:
            yield from _wrapped(f"{label} = {name}", paper.width, INDENT)


__all__ = ["LEAST_WIDTH", "picture", "row_labels"]
