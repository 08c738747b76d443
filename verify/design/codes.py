"""Codes for parallel lines: the fewest lines that carry so many inputs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from verify.design import bounds, constructions
from verify.design.proof import Effort, OutOfTimeError, Proof
from verify.design.words import Demand, first_fit, in_order, search

# Wider tables are not searched for, only built: 2 to this power words would be looked at.
_WIDEST_SEARCH = 12
_MOST_FITTED = 2000

_MANEV = (
    "10 lines carry 13 inputs at most, 11 to 14 lines are needed for more (Manev 2009, Serdica "
    "J. Computing 3:15, abstract: lengths 9 and 10 are optimal for 10 to 13 words)"
)


@dataclass(frozen=True)
class CodeTable:
    """Word i belongs to input i; bit k is line k."""

    words: tuple[int, ...]
    lines: int


def fewest_lines(
    inputs: int, demand: Demand, effort: Effort, most: int | None = None
) -> tuple[CodeTable | None, Proof]:
    """The table on the fewest lines that is as demanded, and how good it is.

    ``most``: lines that there are; None: as many as it takes. A search that runs out of time
    leaves the best table and the best bound so far.
    """
    extra: tuple[str, ...] = ()
    if demand.held > 1 and demand.skew:
        if demand.reading != "each":
            # On the way, the lines show any part of what is held.
            extra = ("under skew what is held shows part by part, so it may cover no other code",)
        demand = Demand(held=demand.held, reading="each")  # which are unordered
    made, bound, reasons = _known(inputs, demand)
    reasons = extra + reasons
    if made.lines > bound:
        made, bound, reasons = _searched(inputs, demand, made, bound, reasons, effort)
    published: tuple[str, ...] = ()
    if made.lines > bound and (demand.held, demand.reading) == (2, "each") and inputs <= 17:
        published = (_MANEV,)
    if most is not None and made.lines > most:
        if bound > most:
            reasons = (*reasons, f"so {most} lines are too few")
            return None, Proof("lines", None, None, reasons, published)
        return None, Proof("lines", None, bound, reasons, published)
    return made, Proof("lines", made.lines, bound, reasons, published)


def _known(inputs: int, demand: Demand) -> tuple[CodeTable, int, tuple[str, ...]]:
    """The best table that can be built at once, the best bound, and why."""
    if demand.held == 1:
        return _plain(inputs, demand)
    made = [CodeTable(constructions.one_line_each(inputs), inputs)]
    bound, why = _least(inputs, demand)
    polynomials = CodeTable(*constructions.polynomials(inputs, demand.held))
    made.append(polynomials)
    if demand.held == 2:
        lines = bounds.lines_disjunct(inputs, 2) if demand.reading == "each" else 3
        while lines < min(table.lines for table in made):
            words = constructions.triples(lines, inputs)
            if words is not None:
                made.append(CodeTable(words, lines))
            lines += 1
    return min(made, key=lambda table: table.lines), bound, (why,)


def _plain(inputs: int, demand: Demand) -> tuple[CodeTable, int, tuple[str, ...]]:
    """One input at a time: solved for good."""
    if not demand.skew:
        lines = inputs.bit_length()
        table = CodeTable(constructions.binary(inputs), lines)
        why = _patterns(lines - 1)
        return table, lines, (why,)
    lines = bounds.lines_unordered(inputs)
    table = CodeTable(constructions.same_weight(lines, inputs), lines)
    most = bounds.unordered_words(lines - 1)
    why = (
        f"on {lines - 1} lines at most C({lines - 1}, {(lines - 1) // 2}) = {most} codes do not "
        "cover each other (Sperner 1928)"
    )
    return table, lines, (why,)


def _patterns(lines: int) -> str:
    if lines == 1:
        return "1 line shows 1 pattern besides idle"
    return f"{lines} lines show {2**lines - 1} patterns besides idle"


def _least(inputs: int, demand: Demand) -> tuple[int, str]:
    """A bound on the lines, without a search."""
    skewed = bounds.lines_unordered(inputs) if demand.skew else 0
    if demand.reading == "each":
        lines = bounds.lines_disjunct(inputs, demand.held)
        if lines == inputs:
            return lines, f"for {inputs} inputs nothing beats a line each, by counting own parts"
        return lines, (
            f"{lines - 1} lines are too few for {inputs} inputs, by counting the parts of codes "
            "that are in no other code (Sperner 1928; Erdos, Frankl and Furedi 1982; Bassalygo)"
        )
    if demand.reading == "sets":
        lines = bounds.lines_told_apart(inputs, demand.held)
        if lines >= skewed:
            return lines, (
                f"{lines - 1} lines show {2 ** (lines - 1)} patterns, fewer than there are sets "
                f"of up to {demand.held} inputs"
            )
    else:
        lines = inputs.bit_length()
    if skewed > lines:
        return skewed, f"{skewed - 1} lines are too few for codes without cover (Sperner 1928)"
    return lines, _patterns(lines - 1)


def _searched(
    inputs: int,
    demand: Demand,
    made: CodeTable,
    bound: int,
    reasons: tuple[str, ...],
    effort: Effort,
) -> tuple[CodeTable, int, tuple[str, ...]]:
    """Fewer lines one by one, from the bound up, until a table is found or the time is over."""
    try:
        made = _fitted(inputs, demand, made, bound, effort)
        while bound < made.lines and bound <= _WIDEST_SEARCH:
            weights, why = _weights(inputs, demand, bound)
            words = effort.search(
                f"tables of {inputs} codes on {bound} lines",
                partial(search, bound, inputs, demand, effort, weights),
            )
            if words is not None:
                return CodeTable(words, bound), bound, reasons
            tried = effort.progress.states
            done = f"no table on {bound} lines: all were searched, {tried} choices"
            reasons = (*reasons, done + (f"; {why}" if why else ""))
            bound += 1
    except OutOfTimeError:
        reasons = (*reasons, f"stopped while searching for a table on {bound} lines")
    return made, bound, reasons


def _fitted(inputs: int, demand: Demand, made: CodeTable, bound: int, effort: Effort) -> CodeTable:
    """Taking every code that fits often does well."""
    if inputs > _MOST_FITTED:
        return made
    for lines in range(bound, min(made.lines, _WIDEST_SEARCH + 1)):
        words = effort.search(
            f"codes that fit on {lines} lines", partial(first_fit, lines, inputs, demand, effort)
        )
        if words is not None:
            return CodeTable(tuple(in_order(words)), lines)
    return made


def _weights(inputs: int, demand: Demand, lines: int) -> tuple[range | None, str]:
    """How many lines a code needs to have and may have, where that is known beforehand."""
    held = demand.held
    if demand.reading != "each" or inputs <= held + 1:
        return None, ""
    least: Callable[[int, int], int] = bounds.lines_disjunct
    if 1 + least(inputs - 1, held) <= lines:
        return None, ""
    most = lines - least(inputs - 1, held - 1)
    why = (
        f"a code with a line of its own would leave {inputs - 1} codes on {lines - 1} lines, too "
        f"few, so each has {held + 1} lines at least, and {most} at most"
    )
    return range(held + 1, most + 1), why
