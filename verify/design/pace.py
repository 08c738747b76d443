"""The least bit time, or slot, of a link, and then its earliest sampling point.

Whether a time holds is asked of the engines. Doubling and bisection find a time that holds with
a sampling point in the middle; then every shorter time is put before the engines, from 1 tick up,
with every sampling point there is, until one holds. So nothing rests on longer being safer.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from verify.design.proof import Effort, OutOfTimeError, Proof
from verify.engines.answer import Verdict

_LONGEST = 1 << 12


@dataclass(frozen=True)
class Pace:
    """Ticks. ``period``: bit time or slot."""

    period: int
    sample: int


@dataclass(frozen=True)
class PaceDemand:
    """``judge(period, sample)``: does it hold? ``samples(period)``: sampling points, ascending."""

    what: str
    judge: Callable[[int, int], Verdict]
    samples: Callable[[int], range]


def fastest(demand: PaceDemand, effort: Effort) -> tuple[Pace | None, Proof]:
    """The least period that holds, with the least sampling point of it."""
    made: Pace | None = None
    bound = 1
    reasons: list[str] = []
    open_: list[Pace] = []  # neither proved nor refuted
    try:
        made = _some(demand, effort)
        if made is None:
            reasons.append(
                f"nothing up to {_LONGEST} ticks holds in the middle of its {demand.what}"
            )
        tried = 0
        while made is not None and bound <= made.period:
            for sample in demand.samples(bound):
                effort.begin(f"{demand.what} of {bound} ticks, sampled at {sample}")
                effort.look()
                verdict = demand.judge(bound, sample)
                if verdict is Verdict.HOLDS:
                    reasons.append(
                        f"each {demand.what} under {bound} ticks, and each earlier sampling point "
                        f"with {bound}, fails in a replayed run: {tried} of them"
                    )
                    proof = Proof(
                        demand.what,
                        bound,
                        open_[0].period if open_ else bound,
                        tuple(reasons),
                        settled=not open_,
                    )
                    return Pace(bound, sample), proof
                tried += 1
                if verdict is Verdict.UNDECIDED:
                    open_.append(Pace(bound, sample))
            bound += 1
    except OutOfTimeError:
        reasons.append(f"stopped at: {effort.progress.doing}")
    if open_:
        bound = open_[0].period
    return made, Proof(
        demand.what, None if made is None else made.period, bound, tuple(reasons), settled=False
    )


def _some(demand: PaceDemand, effort: Effort) -> Pace | None:
    """One that holds, sampled in the middle; not far above the least such."""

    def holds(period: int) -> Pace | None:
        points = demand.samples(period)
        if not points:
            return None
        pace = Pace(period, points[len(points) // 2])
        effort.begin(f"{demand.what} of {period} ticks")
        effort.look()
        return pace if demand.judge(pace.period, pace.sample) is Verdict.HOLDS else None

    low, high = 0, 2
    while (made := holds(high)) is None:
        low, high = high, 2 * high
        if high > _LONGEST:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        found = holds(middle)
        if found is None:
            low = middle
        else:
            made, high = found, middle
    return made
