"""What a timing picture shows: a row per signal, in columns of a tick or of a fold.

Painters (text, SVG) share it; it knows marks, but nothing of widths or colours.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import TypeAlias

from verify.engines.trace import Event, Trace
from verify.parts.link import Link
from verify.parts.monitor import Windows
from verify.parts.signals import MISSED
from verify.reports.due import due_strikes, expected_output, late_strike
from verify.reports.names import branch_suffix, input_signal, line_signals, output_signal

# Shorter stretches are not worth folding: they would hardly be shorter.
LEAST_FOLD = 6

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


class Rows:
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
        # What levers and their outputs show lasts, though nothing may go down in the run.
        self.lasting = link.kind == "level"

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
        held = self.lasting or self.link.scheme.watches_release or self._fall(signals)
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
        level = self.lasting or self._fall(list(signals.values()))
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


def columns_of(points: Sequence[int], room: int, marks: Marks) -> list[Column]:
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
