"""All that a report tells about one link: the other questions, asked one after the other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from time import process_time
from typing import TypeVar

from verify.engines import alarm
from verify.engines.answer import Budget, OutOfTimeError, Progress, Verdict
from verify.errors import UsageError
from verify.parts.link import Link
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Judgement, Subject, judge
from verify.questions.latency import InputLatency, Latencies, latencies
from verify.questions.lifetime import Lifetime, lifetime
from verify.questions.margin import Margin, margin
from verify.questions.pairs import Pairs, least_pairs
from verify.questions.rate_margin import RateMargin, rate_margin
from verify.questions.spacing import Spacing, least_spacing

T = TypeVar("T")

DISTURBANCES = (
    "line.jitter",
    "line.skew",
    "line.shortest",
    "clock.rate",
    "clock.wander",
    "clock.offset",
    "pause",
)
"""Whose margins are asked about, in this order."""

# Of all the time that there is, each margin may have this part.
SHARE = 6


@dataclass(frozen=True)
class Dossier:
    """``subject``: the link of the file. ``at``: the link that ``latency`` and ``margins`` are
    about: that of the file, or, where that fails, the same at its least safe spacing.

    ``pairs``: None without a safe spacing. ``latency``: None where ends drift apart.
    ``margins``: those that make sense for the link; none where nothing is left to lose
    (``unasked`` says why). ``lifetime``: only of ends that drift apart.
    """

    subject: Subject
    check: Judgement
    spacing: Spacing
    pairs: Pairs | None
    at: Link
    latency: Latencies | None
    margins: tuple[Margin | RateMargin, ...]
    unasked: str = ""
    lifetime: Lifetime | None = None


def dossier(subject: Subject, engine: EngineName, progress: Progress, seconds: float) -> Dossier:
    """Ask everything. ``seconds``: for all questions together; of these each margin may have a
    sixth, of this process's own work. What is then open is undecided."""
    budget = Budget(seconds)
    link = subject.link
    checked = judge(subject, engine, progress, budget=budget)
    # What is known by now is reported, whatever else is still open.
    alarm.turn_off()
    open_ = Spacing(None, Verdict.UNDECIDED, engine, OutOfTimeError().covered, None)
    spacing = _in_time(lambda: least_spacing(subject, engine, progress, budget), budget) or open_
    pairs = None
    if spacing.ticks is not None and not link.operator.together:
        # A matrix that is hard to prove is not to leave the margins without time.
        half = Budget((budget.left() or seconds) / 2)
        ticks = spacing.ticks
        pairs = _in_time(lambda: least_pairs(subject, engine, progress, ticks, half), half)
    at, proved = link, checked
    if checked.verdict is Verdict.FAILS and spacing.ticks is not None:
        at = link.with_operator(spacing=spacing.ticks)
        proved = Judgement(Verdict.HOLDS, spacing.engine, spacing.covered, complete=True)
    drifts = link.drifts_away
    latency = None
    if not drifts:
        latency = _in_time(
            lambda: latencies(
                Subject(at, subject.lones, budget), engine, progress, budget, traces=True
            ),
            budget,
        ) or Latencies(
            tuple(InputLatency(name, None, None, None, None) for name in link.names),
            *(Verdict.UNDECIDED, engine, OutOfTimeError().covered, False, None),
        )
    lasts = None
    if drifts and not (link.pause.most or link.any_start):
        lasts = lifetime(subject, engine if engine == "zones" else "auto", progress, budget)
    unasked = {
        Verdict.FAILS: "the link fails as it is, at any spacing, so there is no margin to lose",
        Verdict.UNDECIDED: "whether the link holds as it is is undecided",
    }.get(proved.verdict, "")
    found = []
    for of in DISTURBANCES if not unasked else ():
        share = min(budget.left() or seconds, seconds / SHARE)
        answer = _margin(at, of, engine, progress, Budget(share, clock=process_time), proved)
        if answer is not None:
            found.append(answer)
    return Dossier(subject, checked, spacing, pairs, at, latency, tuple(found), unasked, lasts)


def _in_time(ask: Callable[[], T], budget: Budget) -> T | None:
    """An answer; None if it does not come in time."""
    alarm.set_off(budget.left() or 0.0)
    try:
        return ask()
    except OutOfTimeError:
        return None
    finally:
        alarm.turn_off()


def _margin(
    link: Link,
    of: str,
    engine: EngineName,
    progress: Progress,
    budget: Budget,
    proved: Judgement,
) -> Margin | RateMargin | None:
    """None where a disturbance makes no sense for the link."""
    try:
        if of == "clock.rate":
            return rate_margin(link, engine, progress, budget)
        return margin(link, of, engine, progress, budget, proved=proved)
    except UsageError:
        return None
