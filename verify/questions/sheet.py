"""What is there to build? Per input its delays in elements at hand, and how many parts in all.

Only counted: whether the link comes out right is for the other questions.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from verify.errors import LinkFileError
from verify.fields import value_text
from verify.parts.link import Link
from verify.parts.scheme import Place
from verify.questions.splitting import Split, Splitter, TooLongError
from verify.stock import Stock
from verify.units import ticks_text


@dataclass(frozen=True)
class Delay:
    """A delay to be built, ``ticks`` long in all, of these elements."""

    ticks: int
    elements: Split


@dataclass(frozen=True)
class Row:
    """One input. Numbers count from 1.

    ``numbers``, ``words``: what the scheme says of it, by column; ``delays``: by the end of the
    line where they stand, those of the receiver once at each branch.
    """

    number: int
    input: str
    output_number: int
    output: str
    numbers: dict[str, int]
    words: dict[str, str]
    delays: dict[Place, Delay]


@dataclass(frozen=True)
class Sheet:
    """``elements``: how many of each size of ``stock``, largest first, in the whole build.

    ``branches``: the extra delay of each.
    """

    link: Link
    rows: tuple[Row, ...]
    branches: tuple[Delay, ...]
    elements: tuple[tuple[int, int], ...]

    @property
    def outputs(self) -> int:
        """Of all branches together."""
        return len(self.rows) * len(self.branches)

    @property
    def all_elements(self) -> int:
        """Delay elements of every size."""
        return sum(many for _, many in self.elements)


def sheet(link: Link, stock: Stock, source: str) -> Sheet:
    """What to build. ``source`` stands for the link file in messages.

    Raises LinkFileError for delays that cannot be made of the elements of ``stock``.
    """
    needs = _needs(link)
    try:
        splitter = Splitter(stock.delays, max(needs, default=0))
    except TooLongError:
        longest = ticks_text(max(needs), link.tick)
        allowed = f"sizes with a larger common divisor, or fewer: the longest delay is {longest}"
        raise LinkFileError(source, "parts.delays", value_text(stock.delays), allowed) from None
    made = {ticks: splitter.split(ticks) for ticks in needs}
    missing = [ticks for ticks, split in made.items() if split is None]
    if missing:
        raise _refusal(link, stock, source, splitter, needs, missing)
    delays = {ticks: Delay(ticks, split or ()) for ticks, split in made.items()}
    rows = tuple(_rows(link, delays))
    branches = tuple(delays[extra] for extra in link.branches)
    return Sheet(link, rows, branches, _elements(stock, rows, branches))


def _needs(link: Link) -> dict[int, str]:
    """Every delay, ticks, and the first place where it stands, in words."""
    needs: dict[int, str] = {}
    for place, delays in link.scheme.delays().items():
        for name, ticks in zip(link.names, delays, strict=True):
            needs.setdefault(ticks, f"{value_text(name)} at the {place}")
    for b, extra in enumerate(link.branches):
        needs.setdefault(extra, f"branch {b + 1} of the line")
    return needs


def _refusal(
    link: Link,
    stock: Stock,
    source: str,
    splitter: Splitter,
    needs: dict[int, str],
    missing: list[int],
) -> LinkFileError:
    ticks = missing[0]
    below, above = splitter.nearest(ticks)
    near = " or ".join(ticks_text(t, link.tick) for t in (below, above) if t is not None)
    found = (
        f"{value_text(stock.delays)}, of which {ticks_text(ticks, link.tick)} cannot be made "
        f"({needs[ticks]})"
    )
    allowed = f"sizes that add up to every delay; nearest {near}"
    if len(missing) > 1:
        other = len(missing) - 1
        allowed += f" (and {other} more {'delay' if other == 1 else 'delays'})"
    return LinkFileError(source, "parts.delays", found, allowed)


def _rows(link: Link, delays: dict[int, Delay]) -> Iterator[Row]:
    numbers, words = link.scheme.per_input(), link.scheme.wiring()
    needed = link.scheme.delays()
    for i, output in enumerate(link.outputs):
        yield Row(
            i + 1,
            link.names[i],
            output + 1,
            link.names[output],
            {column: values[i] for column, values in numbers.items()},
            {column: values[i] for column, values in words.items()},
            {place: delays[values[i]] for place, values in needed.items()},
        )


def _elements(
    stock: Stock, rows: tuple[Row, ...], branches: tuple[Delay, ...]
) -> tuple[tuple[int, int], ...]:
    count: Counter[int] = Counter()
    for row in rows:
        for place, delay in row.delays.items():
            times = len(branches) if place == "receiver" else 1
            for size, many in delay.elements:
                count[size] += times * many
    for delay in branches:
        count.update(dict(delay.elements))
    return tuple((size, count[size]) for size in sorted(stock.delays, reverse=True))
