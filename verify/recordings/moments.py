"""A recording tick by tick: times rounded, and only what changed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import floor

from verify.recordings.recording import (
    HIGH,
    HIGH_BEFORE,
    LOW,
    PULSE,
    SAME,
    Recording,
    RecordingError,
    Row,
    Warn,
)
from verify.units import Ticks


@dataclass(frozen=True)
class Moment:
    """What changed ``tick`` ticks after the first change of the recording: signals and the
    levels that they have now (of a strike or press: 1), and the last line of the file so far."""

    tick: int
    line: int
    changes: tuple[tuple[str, int], ...]


class Moments:
    """Reads a recording once, holding no more than one tick of it.

    The ticks of the model are counted from the first change, so that it falls on one of them.
    ``momentary``: signals of which only rises count. ``begin``: the tick of the file at the
    first change; ``inexact``: some time was no whole number of ticks after it; ``high_before``:
    signals that are high when the recording begins.
    """

    def __init__(self, recording: Recording, momentary: frozenset[str], warn: Warn) -> None:
        self.recording, self.momentary, self.warn = recording, momentary, warn
        self.begin = 0
        self.inexact = False
        self.high_before: set[str] = set()
        self.rows = 0
        self.line = 0
        self._level: dict[str, int] = {}

    def __iter__(self) -> Iterator[Moment]:
        begin: Ticks | None = None
        tick = 0
        group: dict[str, list[Row]] = {}
        for row in self.recording.rows(self.warn):
            self.rows += 1
            self.line = row.line
            at = row.at
            if begin is not None:
                since = at - begin
                if not isinstance(since, int):
                    self.inexact = True
                    since = round(since)
                if since != tick:
                    if group and (moment := self._moment(tick, group)):
                        yield moment
                    tick, group = since, {}
            if not self._moves(row):
                continue
            if begin is None:
                begin = at
                self.begin = floor(at)
            group.setdefault(row.signal, []).append(row)
        if group and (moment := self._moment(tick, group)):
            yield moment
        yield Moment(tick, self.line, ())
        for signal in sorted(name for name, level in self._level.items() if level):
            self.warn(self.line, f"the recording ends while {signal} is high")

    def _moves(self, row: Row) -> bool:
        """The row changes its signal; keeps its level."""
        signal, value = row.signal, row.value
        before = self._level.get(signal, LOW)
        if value == SAME:
            return False
        if value == HIGH_BEFORE:
            self._level[signal] = HIGH
            self.high_before.add(signal)
            self.warn(row.line, f"{signal} is high when the recording begins")
            return False
        if value == PULSE:
            if signal not in self.momentary:
                raise RecordingError(
                    self.recording.path,
                    row.line,
                    f"a pulse of {signal}",
                    "0 or 1: the length of this signal counts",
                )
            return True
        if value == before:
            if value == HIGH and signal in self.momentary:
                self.warn(row.line, f"{signal} is 1 already; taken for no change, not for another")
            return False
        self._level[signal] = value
        return True

    def _moment(self, tick: int, group: dict[str, list[Row]]) -> Moment | None:
        changes = []
        line = 0
        for signal, rows in group.items():
            line = max(line, rows[-1].line)
            if signal in self.momentary:
                rises = sum(row.value != LOW for row in rows)
                if rises > 1:
                    self.warn(rows[-1].line, f"{signal} goes up {rises} times in one tick; once")
                if rises:
                    changes.append((signal, HIGH))
            elif len(rows) % 2:
                changes.append((signal, rows[-1].value))
                if len(rows) > 1:
                    self.warn(rows[-1].line, f"{signal} bounces within a tick; one edge")
            else:
                self.warn(rows[0].line, f"a pulse of {signal} shorter than a tick; left out")
        return Moment(tick, line, tuple(changes)) if changes else None
