"""A recording: which signals were watched, and what each of them did when, row by row."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from verify.engines.trace import Trace
from verify.errors import FewwireError
from verify.fields import did_you_mean, one_of, printable, value_text
from verify.parts.link import Link
from verify.units import Ticks, whole

LOW, HIGH, PULSE, HIGH_BEFORE, SAME = 0, 1, 2, 3, 4
"""Values of a signal. ``PULSE``: up and down again at once, as a strike, or a press whose
release nobody watches. ``HIGH_BEFORE``: it is high when the recording begins. ``SAME``: nothing
changes, but the recording goes on to here."""

# Of a long list of names no more are told.
MOST_NAMES = 12


class Row(NamedTuple):
    """At ``at`` ticks the signal took the value; it stands in this line of its file."""

    at: Ticks
    signal: str
    value: int
    line: int


Warn = Callable[[int, str], None]
"""Takes the line of a file and what is strange there; reading goes on."""


@dataclass(frozen=True)
class Recording:
    """``signals``: all that were watched, in no order; rows come from ``rows`` as they are read,
    times never falling. A signal is low before its first row. ``path`` is for messages."""

    path: str
    signals: frozenset[str]
    rows: Callable[[Warn], Iterator[Row]]


class RecordingError(FewwireError):
    """A recording says something that it may not, in one line of its file (0: nowhere)."""

    def __init__(self, path: str, line: int, found: str, allowed: str) -> None:
        super().__init__(path, line, found, allowed)
        self.path, self.line, self.found, self.allowed = path, line, found, allowed

    def __str__(self) -> str:
        place = f"{self.path}:{self.line}" if self.line else self.path
        return f"{place}: found {self.found}; allowed: {self.allowed}"


@dataclass(frozen=True)
class Signals:
    """The signals of a link, by the names that traces use.

    ``near[line]``, ``far[branch][line]``, ``outs[branch][output]``. ``momentary``: those of
    which nobody sees the end. ``apart``: branches whose far end differs from the near end.
    """

    inputs: tuple[str, ...]
    near: tuple[str, ...]
    far: tuple[tuple[str, ...], ...]
    outs: tuple[tuple[str, ...], ...]
    momentary: frozenset[str]
    apart: tuple[bool, ...]

    @property
    def every(self) -> tuple[str, ...]:
        """All that a recording may have."""
        return (*self.inputs, *self.near, *self._flat(self.far), *self._flat(self.outs))

    @property
    def shown(self) -> tuple[str, ...]:
        """All that a trace has: far ends only where they differ from the near end."""
        far = tuple(names for names, apart in zip(self.far, self.apart, strict=True) if apart)
        return (*self.inputs, *self.near, *self._flat(far), *self._flat(self.outs))

    @staticmethod
    def _flat(groups: tuple[tuple[str, ...], ...]) -> tuple[str, ...]:
        return tuple(name for group in groups for name in group)


def signals_of(link: Link, delay: int | None = None) -> Signals:
    """The signals of a link; ``delay`` of its line in this run, ticks (None: its largest)."""
    lines, branches = link.scheme.lines, len(link.branches)
    near = ("line",) if lines == 1 else tuple(f"line.{k + 1}" for k in range(lines))
    tails = [f".{b + 1}" if branches > 1 else "" for b in range(branches)]
    inputs = tuple(f"in.{name}" for name in link.names)
    outs = tuple(tuple(f"out.{name}{tail}" for name in link.names) for tail in tails)
    unended: set[str] = set()
    if link.kind == "press":
        unended = {name for group in outs for name in group}
        unended |= set() if link.scheme.watches_release else set(inputs)
    line_delay = link.delay[1] if delay is None else delay
    return Signals(
        inputs,
        near,
        tuple(tuple(f"{line}.far{tail}" for line in near) for tail in tails),
        outs,
        frozenset(unended),
        tuple(line_delay + extra > 0 for extra in link.branches),
    )


def rows_of(trace: Trace, link: Link) -> tuple[tuple[str, ...], list[Row]]:
    """All signals of a trace, and its events as rows of no file; times in ticks of the link.

    One that fails later than anything happens ends with a row that says a line's level again:
    what does not come in time can only be told if the recording lasts so long.
    """
    signals = signals_of(link, trace.script.delay)
    parts = trace.script.resolution
    rows = [
        Row(
            whole(Fraction(event.tick, parts)),
            event.signal,
            PULSE if event.signal in signals.momentary and event.value else event.value,
            0,
        )
        for event in trace.events
    ]
    if trace.failure is not None:
        end, line = whole(Fraction(trace.failure.tick, parts)), signals.near[0]
        if not rows or rows[-1].at < end:
            level = next((row.value for row in reversed(rows) if row.signal == line), LOW)
            rows.append(Row(end, line, level, 0))
    return signals.shown, rows


def names_text(names: tuple[str, ...]) -> str:
    """Names of signals, in words; of many only the first."""
    if len(names) <= MOST_NAMES:
        return one_of(names)
    return f"{one_of(names[:MOST_NAMES])} and {len(names) - MOST_NAMES} more"


def unknown_signal(path: str, line: int, name: str, known: tuple[str, ...]) -> RecordingError:
    """A signal that the link does not have."""
    allowed = f"a signal of the link: {names_text(known)}{did_you_mean(name, known)}"
    return RecordingError(path, line, f"signal {value_text(name)}", allowed)


def shown_path(path: str) -> str:
    """A path as messages show it."""
    return printable(path) or '""'
