"""Read a sequence of presses: CSV to ``Wanted``, or one clear ``LinkFileError``."""

from __future__ import annotations

import csv
import io
import os
import re
from dataclasses import dataclass
from fractions import Fraction

from verify import units
from verify.errors import LinkFileError
from verify.fields import did_you_mean, one_of, value_text
from verify.linkfile import read

COLUMNS = ("input", "tick", "time", "note")
MOST_PRESSES = 100_000

_FORM = (
    "a first line with the names of columns, with commas between: input, and if wanted tick or "
    "time (not before), and note"
)
_DIGITS = re.compile(r"[0-9]{1,18}")
_A_FILE = "a file of presses, as CSV"


@dataclass(frozen=True)
class Wanted:
    """One press: number of the input from 0, and the tick before which it may not come."""

    input: int
    not_before: int = 0


def load_presses(
    path: str | os.PathLike[str], names: tuple[str, ...], tick: Fraction
) -> tuple[Wanted, ...]:
    """The presses of a file, in its order. ``names``: of the inputs; ``tick``: in seconds.

    Raises LinkFileError.
    """
    text, shown, _ = read(path, _A_FILE)
    return parse_presses(text, shown, names, tick)


def parse_presses(
    text: str, source: str, names: tuple[str, ...], tick: Fraction
) -> tuple[Wanted, ...]:
    """The same, of ``text``; ``source`` stands for the file in messages."""
    return _Reading(source, names, tick).presses(text)


class _Reading:
    def __init__(self, source: str, names: tuple[str, ...], tick: Fraction) -> None:
        self.source, self.names, self.tick = source, names, tick
        self.numbers = {name: i for i, name in enumerate(names)}
        self.line = 1

    def presses(self, text: str) -> tuple[Wanted, ...]:
        # A spreadsheet may begin a file with a byte order mark.
        rows = csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""), strict=True)
        found: list[Wanted] = []
        columns: list[str] | None = None
        try:
            for row in rows:
                self.line = rows.line_num
                cells = [cell.strip() for cell in row]
                if not any(cells):
                    continue
                if columns is None:
                    columns = self._columns(cells)
                    continue
                found.append(self._wanted(columns, cells))
                if len(found) > MOST_PRESSES:
                    raise self._error("more presses", f"at most {MOST_PRESSES}")
        except csv.Error as error:
            self.line = rows.line_num
            raise self._error(f"text that is not CSV ({error})", _FORM) from None
        if columns is None:
            raise self._error("nothing", _FORM)
        if not found:
            raise self._error("no press", "a line for each press, after the first line")
        return tuple(found)

    def _columns(self, cells: list[str]) -> list[str]:
        columns = [cell.lower() for cell in cells]
        for k, column in enumerate(columns):
            if column not in COLUMNS:
                found = f"column {value_text(cells[k])}"
                raise self._error(found, f"{_FORM}{did_you_mean(column, COLUMNS)}")
            if column in columns[:k]:
                raise self._error(f"column {value_text(column)} twice", "each column once")
        if "input" not in columns:
            raise self._error("no column input", _FORM)
        if {"tick", "time"} <= {*columns}:
            raise self._error("both tick and time", "at most one of the two")
        return columns

    def _wanted(self, columns: list[str], cells: list[str]) -> Wanted:
        if len(cells) > len(columns):
            allowed = f"at most {len(columns)}, as in the first line"
            raise self._error(f"{len(cells)} cells", allowed)
        row = dict(zip(columns, cells, strict=False))
        not_before = 0
        for column in ("tick", "time"):
            if text := row.get(column, ""):
                not_before = self._time(column, text)
        return Wanted(self._input(row.get("input", "")), not_before)

    def _input(self, text: str) -> int:
        if text in self.numbers:
            return self.numbers[text]
        if _DIGITS.fullmatch(text) and 1 <= int(text) <= len(self.names):
            return int(text) - 1
        allowed = f"the name of an input, or its number from 1 to {len(self.names)}"
        if len(self.names) <= 10:
            allowed += f": {one_of(self.names)}"
        raise self._error(f"input {value_text(text)}", allowed + did_you_mean(text, self.names))

    def _time(self, column: str, text: str) -> int:
        value = int(text) if column == "tick" and _DIGITS.fullmatch(text) else text
        try:
            if (column == "tick") is not isinstance(value, int):
                raise units.TimeError(
                    "a whole number of ticks, at least 0"
                    if column == "tick"
                    else 'a duration like "1.2 s" (ns, us, ms, s, min)'
                )
            return units.to_ticks(value, self.tick) or 0
        except units.TimeError as error:
            raise self._error(f"{column} {value_text(text)}", error.allowed) from None

    def _error(self, found: str, allowed: str) -> LinkFileError:
        return LinkFileError(self.source, f"line {self.line}", found, allowed)
