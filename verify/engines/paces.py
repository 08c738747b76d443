"""Links that never rest, on a clock of a rate that nobody knows, constant for a run.

Proof: every period of the transmitter may take any length of the range, anew each time. That
allows more than a constant rate does, so what holds then holds. Failures are looked for at the
two ends of the range, where the rate is a known number.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from math import lcm

from verify.engines.answer import Answer, Delivery, Verdict
from verify.engines.trace import Script
from verify.language.machine import System
from verify.parts.clock import PERIOD, Clock
from verify.parts.link import Link, factored
from verify.parts.monitor import Windows
from verify.units import whole

# Proofs are in parts of a tick so many times finer than the ends of the range need.
FINER = 12

Search = Callable[[System], Answer]


def at_any_rate(
    link: Link, windows: Windows, search: Search, *, finer: int = FINER, proves: bool = True
) -> Answer:
    """Judge a part of a link; ``search`` is an engine, asked about systems of known times.

    ``finer``: how fine the parts of a tick are made for it; ``proves``: it can prove anything.
    """
    parts = lcm(link.clock.resolution, windows.resolution)
    anew = replace(link.clock, anew=True)
    every = Answer(Verdict.UNDECIDED, "")
    if proves:
        every = _in_steps(search(_on(link, anew, windows, finer * parts)), finer * parts)
    if every.verdict is Verdict.HOLDS and not (every.best or every.worst):
        return every
    ends: list[Answer] = []
    # The larger error is the more likely to fail.
    errors = sorted(set(link.clock.rate), key=abs, reverse=True)
    for resolution in sorted({parts, finer * parts}):
        ends = []
        for error in errors:
            ends.append(at_rate(link, error, windows, search, resolution))
            if ends[-1].verdict is Verdict.FAILS:
                return ends[-1]
    if every.verdict is Verdict.HOLDS:
        return _extremes(every, ends)
    return Answer(Verdict.UNDECIDED, ends[0].engine, covered=_both_ends(ends))


def at_rate(
    link: Link, error: Fraction, windows: Windows, search: Search, resolution: int
) -> Answer:
    """Judge a part of a link at one known rate, in parts of a tick."""
    clock = replace(link.clock, rate=(error, error))
    answer = _in_steps(search(_on(link, clock, windows, resolution)), resolution)
    told = answer.script and at_known_rate(answer.script, clock, resolution)
    best, worst = (
        {i: replace(d, script=at_known_rate(d.script, clock, resolution)) for i, d in of.items()}
        for of in (answer.best, answer.worst)
    )
    return replace(answer, script=told, best=best, worst=worst)


def at_known_rate(script: Script, clock: Clock, resolution: int) -> Script:
    """The script says in which parts of a tick it counts, and how long a period is."""
    constants = {PERIOD: clock.span(resolution)[0], **dict(script.constants)}
    return replace(script, constants=tuple(constants.items()), resolution=resolution)


def _on(link: Link, clock: Clock, windows: Windows, resolution: int) -> System:
    return replace(factored(replace(link, clock=clock), windows, resolution), dense=False)


def _in_steps(answer: Answer, resolution: int) -> Answer:
    """In ticks what is in parts of a tick, and what was covered as it was."""
    best, worst = (
        {i: replace(d, ticks=whole(Fraction(d.ticks, resolution))) for i, d in of.items()}
        for of in (answer.best, answer.worst)
    )
    covered = f"{answer.covered}, in steps of 1/{resolution} tick"
    return replace(answer, covered=covered, best=best, worst=worst)


def _both_ends(ends: list[Answer]) -> str:
    told = " and ".join(dict.fromkeys(end.covered for end in ends))
    return f"the ends of the range, {told}; rates in between stay open"


def _extremes(every: Answer, ends: list[Answer]) -> Answer:
    """Latencies at the ends of the range, which are all if no run between them has others."""
    best: dict[int, Delivery] = {}
    worst: dict[int, Delivery] = {}
    for end in ends:
        for i, found in end.best.items():
            if i not in best or found.ticks < best[i].ticks:
                best[i] = found
        for i, found in end.worst.items():
            if i not in worst or found.ticks > worst[i].ticks:
                worst[i] = found
    all_of_them = [
        {i: d.ticks for i, d in of.items()} for of in (best, worst, every.best, every.worst)
    ]
    complete = all_of_them[:2] == all_of_them[2:]
    return replace(every, best=best, worst=worst, complete=every.complete and complete)
