"""How far a search of zones is, as lists and numbers, and read again with care."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from typing import Any

from verify.engines.bounds import Matrix
from verify.engines.checkpoint import DamagedError
from verify.language.state import Bank, Number, Timer


def listed_zone(shape: Sequence[Any], matrix: Matrix) -> list[Any]:
    """A zone; a bound that is none is null."""
    return [shape, [[None if most == inf else int(most) for most in row] for row in matrix]]


def zone_of(found: Any, memory: Sequence[Number | Timer | Bank]) -> tuple[tuple[Any, ...], Matrix]:
    """The shape and matrix of a zone of this memory. Raises DamagedError."""
    shape, rows = listed(found, 2)
    matrix = tuple(
        tuple(inf if most is None else number(most) for most in listed(row, len(rows)))
        for row in listed(rows)
    )
    times = range(1, len(matrix))
    places = tuple(
        _place(item, place, times)
        for item, place in zip(memory, listed(shape, len(memory)), strict=True)
    )
    return places, matrix


def _place(item: Number | Timer | Bank, place: Any, times: range) -> Any:
    if isinstance(item, Number):
        return number(place, range(item.least, item.most + 1))
    if isinstance(item, Timer):
        return 0 if place == 0 else number(place, times)
    entries = [listed(entry, 1 + len(item.fields)) for entry in listed(place)]
    return tuple((number(time, times), *map(number, fields)) for time, *fields in entries)


def listed(found: Any, length: int | None = None) -> list[Any]:
    """A list (of so many). Raises DamagedError."""
    if not isinstance(found, list) or length not in (None, len(found)):
        raise DamagedError
    return found


def number(found: Any, within: range | None = None) -> int:
    """A whole number (of a range). Raises DamagedError."""
    if type(found) is not int or (within is not None and found not in within):
        raise DamagedError
    return found


def numbers(found: Any, within: range) -> tuple[int, ...]:
    """Whole numbers of a range. Raises DamagedError."""
    return tuple(number(each, within) for each in listed(found))


def answers(found: Any) -> tuple[bool, ...]:
    """Truth values. Raises DamagedError."""
    if not all(isinstance(each, bool) for each in listed(found)):
        raise DamagedError
    return tuple(found)
