"""Which link to build, by the figures of a comparison alone.

The rules know figures, not schemes. Among the links for one kind of input that work, each of
these picks one; what else is better breaks ties:

- fewest lines;
- soonest: the least worst latency;
- closest: the least safe spacing;
- for each trouble that some bear and others do not: fewest lines among those that bear it.

A link that one of these equals or beats in every figure that the rules look at is behind it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from verify.engines.answer import Verdict
from verify.questions.compare import Row

TROUBLES = ("overlap", "pause", "recovery")
"""Columns whose verdict says whether a link bears something."""

FIGURES = ("lines", "worst latency", "spread", "spacing")
"""What is compared as numbers, less being better; in words."""


@dataclass(frozen=True)
class Advice:
    """About one link. ``reasons``: the rules that picked it, or names of columns that it bears.

    ``fails``: the troubles that it does not bear, though others do, or may; ``open``: those of
    which it is undecided. ``behind``: the link that equals or beats it in everything.
    """

    row: Row
    reasons: tuple[str, ...]
    fails: tuple[str, ...] = ()
    open: tuple[str, ...] = ()
    behind: Row | None = None


def advice(rows: Sequence[Row]) -> dict[str, list[Advice]]:
    """Per kind of input, every link that works there, those picked first.

    Links that were found unsafe, or about which something needed here is undecided, are left
    out; so are kinds with fewer than two links, and numbers of inputs that differ.
    """
    found = {}
    for kind in dict.fromkeys(row.link.kind for row in rows):
        able = [row for row in rows if row.link.kind == kind and _figures(row) is not None]
        if len(able) > 1 and len({row.link.inputs for row in able}) == 1:
            found[kind] = _among(able)
    return found


def _among(rows: list[Row]) -> list[Advice]:
    picked: dict[int, list[str]] = {}

    def pick(reason: str, able: list[Row], key: Callable[[Row], tuple[Fraction, ...]]) -> None:
        best = min(able, key=key)
        picked.setdefault(rows.index(best), []).append(reason)

    def by(*order: int) -> Callable[[Row], tuple[Fraction, ...]]:
        return lambda row: tuple(_known_figures(row)[k] for k in order)

    pick("lines", rows, by(0, 1, 3, 2))
    bearing = {trouble: [row for row in rows if _bears(row, trouble)] for trouble in TROUBLES}
    for trouble, able in bearing.items():
        if 0 < len(able) < len(rows):
            pick(trouble, able, by(0, 1, 3, 2))
    pick("latency", rows, by(1, 0, 3, 2))
    pick("spacing", rows, by(3, 0, 1, 2))
    ahead = [rows[i] for i in picked]
    for i in range(len(rows)):
        picked.setdefault(i, [])
    return [
        Advice(
            row := rows[i],
            tuple(reasons),
            tuple(t for t in TROUBLES if _fails(row, t) and any(_may_bear(r, t) for r in rows)),
            tuple(t for t in TROUBLES if _may_bear(row, t) and not _bears(row, t)),
            next((o for o in ahead if not reasons and _never_worse(o, row)), None),
        )
        for i, reasons in picked.items()
    ]


def _figures(row: Row) -> tuple[Fraction, ...] | None:
    """As ``FIGURES``, times in seconds; None if one of them is not known."""
    if any(row.cells[key].verdict is not Verdict.HOLDS for key in ("spacing", "latency")):
        return None
    times = [
        row.seconds("latency", "worst"),
        row.seconds("latency", "spread"),
        row.seconds("spacing", "least"),
    ]
    if None in times:
        return None
    return (Fraction(row.link.scheme.lines), *(t for t in times if t is not None))


def _known_figures(row: Row) -> tuple[Fraction, ...]:
    figures = _figures(row)
    if figures is None:
        raise ValueError(f"figures of {row.link.name} are not known")
    return figures


def _bears(row: Row, trouble: str) -> bool:
    return trouble in row.cells and row.cells[trouble].verdict is Verdict.HOLDS


def _fails(row: Row, trouble: str) -> bool:
    return trouble in row.cells and row.cells[trouble].verdict is Verdict.FAILS


def _may_bear(row: Row, trouble: str) -> bool:
    return _bears(row, trouble) or (
        trouble in row.cells and row.cells[trouble].verdict is Verdict.UNDECIDED
    )


def _never_worse(a: Row, b: Row) -> bool:
    figures = zip(_known_figures(a), _known_figures(b), strict=True)
    bears = ((_bears(a, trouble), _may_bear(b, trouble)) for trouble in TROUBLES)
    return all(x <= y for x, y in figures) and all(x >= y for x, y in bears)
