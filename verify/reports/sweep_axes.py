"""What stands beside the axes of a sweep's pictures: values, with their units."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import prod
from typing import Any

from verify.errors import LinkFileError
from verify.fields import Finding, ratio
from verify.linkfile import toml_of
from verify.parts.link import Link
from verify.sweeps.cells import Result, link_of
from verify.sweeps.file import Axis, Sweep
from verify.sweeps.keys import key_of
from verify.sweeps.values import canonical, parsed, words
from verify.units import TimeError, decimal_text, duration_text, is_duration, parse_duration

_UNITS = (("s", 1), ("ms", 10**3), ("us", 10**6), ("ns", 10**9))

_FREE = re.compile(r"link\.tables\.|(transmitter|receiver)\.(?!timers\.)")

# Of a question, the figure that pictures show, and what it is called.
_SHOWN: dict[str, tuple[str | None, str]] = {
    "check": (None, "does it come out right?"),
    "spacing": ("spacing_s", "least safe spacing"),
    "latency": ("worst_s", "worst latency"),
    "margin": ("most_s", "margin of {}"),
    "recover": ("recovery_s", "longest time to recovery"),
    "lifetime": ("lifetime_s", "time until the soonest failure"),
}


@dataclass(frozen=True)
class Scale:
    """An axis of the sweep. ``words``: of each row; ``numbers``, if it counts, in the label's
    unit.
    """

    key: str
    label: str
    words: tuple[str, ...]
    numbers: tuple[float, ...] | None
    unit: str = ""

    def said(self, place: int) -> str:
        """One row, in words."""
        unit = f" {self.unit}" if self.unit else ""
        return f"{self.key} {self.words[place]}{unit}"


@dataclass(frozen=True)
class Shown:
    """The figure that is shown: ``key``, None where there are only verdicts, ``times`` so much
    in the unit of the label; its least and most.
    """

    key: str | None
    title: str
    label: str
    times: float
    ends: tuple[float, float]


def figure_scale(sweep: Sweep, done: Mapping[int, Result]) -> Shown:
    """What the pictures of a sweep show, in the unit that suits it."""
    key, called = _SHOWN[sweep.ask]
    title = called.format(sweep.of)
    if sweep.of == "clock.rate":
        key = "most_float"
    values = [
        float(value)
        for found in done.values()
        if key is not None
        and isinstance(value := found.figures.get(key), int | float)
        and not isinstance(value, bool)
    ]
    if not values:
        return Shown(None, title, "", 1.0, (0.0, 1.0))
    if sweep.of == "clock.rate":
        unit, times = "%", 100.0
    else:
        unit, size = _unit(values)
        times = float(size)
    low, high = min(values) * times, max(values) * times
    return Shown(key, title, f"{title}, {unit}", times, (low, high if high > low else low + 1))


def _unit(values: Sequence[float]) -> tuple[str, int]:
    """The largest unit in which most are 1 or more."""
    some = sorted(abs(value) for value in values if value)
    middle = some[(len(some) - 1) // 2] if some else 1.0
    return next(((name, size) for name, size in _UNITS if middle * size >= 1), _UNITS[-1])


def scale_of(sweep: Sweep, number: int, link: Link) -> Scale:
    """An axis, by the key of it that tells its rows apart. ``link``: of one of the cells."""
    axis = sweep.axes[number]
    column = _telling(axis)
    if column is None:
        names = tuple(str(k + 1) for k in range(len(axis.rows)))
        return Scale("row", "row of the list", names, tuple(float(name) for name in names))
    key = axis.keys[column]
    texts = [str(row[column]) for row in axis.rows]
    return (
        _durations(key, texts)
        or _ticks(sweep, axis, column, link)
        or _shares(key, texts)
        or _plain(key, texts)
    )


def _telling(axis: Axis) -> int | None:
    """The first key whose values are single, all there, and all different."""
    for column in range(len(axis.keys)):
        values = [row[column] for row in axis.rows]
        single = not any(v is None or v.startswith(("[", "{")) for v in values)
        if len(set(values)) == len(values) and single:
            return column
    return 0 if len(axis.keys) == 1 else None


def _durations(key: str, texts: Sequence[str]) -> Scale | None:
    """Quoted durations, in one unit."""
    seconds: list[Fraction] = []
    for text in texts:
        value = parsed(text)
        if value == 0 and isinstance(value, int):
            seconds.append(Fraction(0))
            continue
        try:
            seconds.append(parse_duration(value if isinstance(value, str) else ""))
        except TimeError:
            return None
    if not any(seconds):
        return None
    unit, size = _unit([float(s) for s in seconds])
    exact = [s * size for s in seconds]
    return Scale(
        key, f"{key}, {unit}", tuple(map(decimal_text, exact)), tuple(map(float, exact)), unit
    )


def _ticks(sweep: Sweep, axis: Axis, column: int, link: Link) -> Scale | None:
    """Whole numbers that are times: as many ticks in words of a duration make the same link."""
    values = [parsed(str(row[column])) for row in axis.rows]
    if not all(isinstance(value, int) and not isinstance(value, bool) for value in values):
        return None
    if not _is_time(sweep, axis, column):
        return None
    key = axis.keys[column]
    unit = "ticks" if "tick" in sweep.keys else f"ticks of {duration_text(link.tick)}"
    return Scale(
        key,
        f"{key}, {unit}",
        tuple(map(str, values)),
        tuple(map(float, values)),
        "ticks",
    )


def _is_time(sweep: Sweep, axis: Axis, column: int) -> bool:
    """Asked of the first cells of every row that make a link. Of numbers that machines of a link
    file know, which may be times or not, the file has to say so."""
    if _FREE.match(axis.keys[column]) and not _duration_in_file(sweep, axis.keys[column]):
        return False
    place = sweep.axes.index(axis)
    after = prod(len(other.rows) for other in sweep.axes[place + 1 :])
    for k, row in enumerate(axis.rows):
        number = 1 + k * after
        alone = sweep.alone(number)
        try:
            link = link_of(alone, 1)
        except LinkFileError:
            continue
        if link.tick.denominator > 10**18:
            return False
        duration = f"{decimal_text(int(str(row[column])) * link.tick)} s"
        written = tuple(
            canonical(duration) if at == column else value for at, value in enumerate(row)
        )
        other = Axis(axis.keys, (written,))
        axes = (*alone.axes[:place], other, *alone.axes[place + 1 :])
        try:
            return link_of(replace(alone, axes=axes), 1) == link
        except LinkFileError:
            return False
    return False


def _duration_in_file(sweep: Sweep, key: str) -> bool:
    """The link file has a quoted duration there."""
    found: Any = toml_of(sweep.link_text, sweep.link_shown)
    steps = key_of(key, ())
    try:
        for step in () if isinstance(steps, Finding) else steps:
            found = found[step]
    except (LookupError, TypeError):
        return False
    return isinstance(found, str) and is_duration(found)


def _shares(key: str, texts: Sequence[str]) -> Scale | None:
    """Errors of a clock, and whatever else is written as a share: in %."""
    values = [parsed(text) for text in texts]
    exact = [ratio(value) for value in values]
    written = any(isinstance(value, str) for value in values)
    if any(x is None for x in exact) or not (written or key == "clock.rate"):
        return None
    shares = [100 * x for x in exact if x is not None]
    return Scale(key, f"{key}, %", tuple(map(decimal_text, shares)), tuple(map(float, shares)), "%")


def _plain(key: str, texts: Sequence[str]) -> Scale:
    values = [parsed(text) for text in texts]
    counted = all(isinstance(v, int | float) and not isinstance(v, bool) for v in values)
    numbers = tuple(map(float, values)) if counted else None
    return Scale(key, key, tuple(map(words, texts)), numbers)
