"""Recordings as CSV: a row for each change, ``tick`` (or ``time``), ``signal``, ``value``.

``tick``: a whole number, a decimal, or a fraction like ``22/7``; ``time``: a duration like
``1.2 s``. ``value``: 0, 1, or ``pulse`` for what is up and down again at once. A signal that
is watched and never moves has a row with 0.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import Any

from verify import units
from verify.fields import did_you_mean, printable, value_text
from verify.recordings.recording import (
    HIGH,
    LOW,
    PULSE,
    Recording,
    RecordingError,
    Row,
    Warn,
    shown_path,
    unknown_signal,
)
from verify.recordings.sources import text_of
from verify.units import Ticks, whole

COLUMNS = ("tick", "time", "signal", "value")
FORM = "a first line with the columns tick (or time), signal and value, with commas between"
VALUES = {"0": LOW, "1": HIGH, "pulse": PULSE}
WORDS = {value: word for word, value in VALUES.items()}

_NUMBER = re.compile(r"[0-9]{1,18}(?:\.[0-9]{1,18}|/[1-9][0-9]{0,17})?")
_TICK = "a number of ticks, at least 0, like 12, 12.5 or 25/2"


def csv_text(signals: tuple[str, ...], rows: list[Row]) -> str:
    """A recording as CSV, every signal first with a row in which it is at rest."""
    sheet = io.StringIO()
    writer = csv.writer(sheet, lineterminator="\n")
    writer.writerow(["tick", "signal", "value"])
    for name in signals:
        writer.writerow([0, name, 0])
    for row in rows:
        writer.writerow([str(row.at), row.signal, WORDS[row.value]])
    return sheet.getvalue()


def read_csv(path: str, known: tuple[str, ...], tick: Fraction, names: dict[str, str]) -> Recording:
    """Open a recording. ``known``: signals that it may have; ``tick``: in seconds; ``names``:
    what the file calls signals of the link by another name.

    The file is read twice: to see which signals it has, and, by ``rows``, what they do.
    Raises RecordingError.
    """
    found: set[str] = set()
    allowed = {name: name for name in known} | names
    reader = _Reader(path, allowed, known, tick)
    for _ in reader.rows(lambda line, what: None, only_names=found):
        pass
    return Recording(reader.path, frozenset(found), reader.rows)


class _Reader:
    def __init__(
        self, path: str, allowed: dict[str, str], known: tuple[str, ...], tick: Fraction
    ) -> None:
        self.source, self.path = path, shown_path(path)
        self.allowed, self.known, self.tick = allowed, known, tick
        self.line = 0

    def rows(self, warn: Warn, only_names: set[str] | None = None) -> Iterator[Row]:
        """The rows as they are read; ``only_names``: takes the signals, and nothing is yielded."""
        with text_of(self.source) as stream:
            # A spreadsheet may begin a file with a byte order mark.
            table = csv.reader(stream, strict=True)
            try:
                yield from self._all(table, warn, only_names)
            except csv.Error as error:
                self.line = table.line_num
                raise self._error(f"text that is not CSV ({error})", FORM) from None
            except UnicodeDecodeError as error:
                found = f"byte 0x{error.object[error.start]:02x} in or after this line"
                raise self._error(found, "text in UTF-8") from None

    def _all(self, table: Any, warn: Warn, only_names: set[str] | None) -> Iterator[Row]:
        order: tuple[int, int, int] | None = None
        read_time: Callable[[str], Ticks] = self._ticks
        width = 3
        last: Ticks = 0
        cut: RecordingError | None = None
        for cells in table:
            self.line = table.line_num
            if cut is not None:
                raise cut
            if not cells or (len(cells) == 1 and not cells[0].strip()):
                continue
            if order is None:
                order, timed = self._columns([cell.strip().lstrip("\ufeff") for cell in cells])
                width = len(cells)
                read_time = self._time if timed else self._ticks
                continue
            try:
                row = self._row(cells, order, width, read_time)
            except RecordingError as error:
                cut = error  # forgiven where it is the last row, which may have been cut off
                continue
            if only_names is not None:
                only_names.add(row.signal)
                continue
            if row.at < last:
                raise self._error(
                    f"tick {units.mixed_text(row.at)} after tick {units.mixed_text(last)}",
                    "rows in the order of their times",
                )
            last = row.at
            yield row
        if order is None:
            raise self._error("nothing", FORM)
        if cut is not None:
            if not _cut_off(self.source):
                raise cut
            warn(self.line, "the last row is cut off; left out")

    def _columns(self, cells: list[str]) -> tuple[tuple[int, int, int], bool]:
        columns = [cell.lower() for cell in cells]
        for k, column in enumerate(columns):
            if column not in COLUMNS:
                found = f"column {value_text(cells[k])}"
                raise self._error(found, FORM + did_you_mean(column, COLUMNS))
            if column in columns[:k]:
                raise self._error(f"column {value_text(column)} twice", "each column once")
        timed = "time" in columns
        if timed and "tick" in columns:
            raise self._error("both tick and time", "one of the two")
        for column in ("time" if timed else "tick", "signal", "value"):
            if column not in columns:
                raise self._error(f"no column {column}", FORM)
        place = columns.index
        return (place("time" if timed else "tick"), place("signal"), place("value")), timed

    def _row(
        self,
        cells: list[str],
        order: tuple[int, int, int],
        width: int,
        read_time: Callable[[str], Ticks],
    ) -> Row:
        if len(cells) != width:
            raise self._error(f"{len(cells)} cells", f"{width}, as in the first line")
        when, name, value = cells[order[0]].strip(), cells[order[1]], cells[order[2]]
        at = read_time(when)
        signal = self.allowed.get(name) or self.allowed.get(name.strip())
        if signal is None:
            raise unknown_signal(self.path, self.line, name.strip(), self.known)
        level = VALUES.get(value)
        if level is None:
            level = VALUES.get(value.strip())
        if level is None:
            raise self._error(f"value {value_text(value.strip())}", "0, 1 or pulse")
        return Row(at, signal, level, self.line)

    def _ticks(self, text: str) -> Ticks:
        if text.isdecimal() and text.isascii() and len(text) <= 18:
            at: Ticks = int(text)
        elif _NUMBER.fullmatch(text):
            at = whole(Fraction(text))
        else:
            raise self._error(f"tick {value_text(text)}", _TICK)
        return self._bounded(at)

    def _time(self, text: str) -> Ticks:
        try:
            return self._bounded(whole(units.parse_duration(text) / self.tick))
        except units.TimeError as error:
            allowed = error.allowed.replace("a quoted duration", "a duration").replace('"', "")
            raise self._error(f"time {value_text(text)}", allowed) from None

    def _bounded(self, at: Ticks) -> Ticks:
        if at > units.MOST_TICKS:
            raise self._error("a later time", f"at most {units.MOST_TICKS} ticks")
        return at

    def _error(self, found: str, allowed: str) -> RecordingError:
        return RecordingError(self.path, self.line, printable(found), allowed)


def _cut_off(path: str) -> bool:
    """The file ends in the middle of a line."""
    with open(path, "rb") as stream:
        stream.seek(-1, io.SEEK_END)
        return stream.read(1) not in (b"\n", b"\r")
