"""Every question that a sweep may put, and the figures of its answer: columns of the table."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from time import process_time
from typing import Literal, TypeAlias

from verify.engines.answer import Budget, OutOfTimeError, Progress, Verdict
from verify.errors import UsageError
from verify.parts.link import Link
from verify.questions.disturbances import Disturbance
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Subject, judge
from verify.questions.latency import latencies
from verify.questions.lifetime import lifetime
from verify.questions.margin import margin
from verify.questions.rate_margin import rate_margin
from verify.questions.recover import recover
from verify.questions.spacing import least_spacing
from verify.sweeps.file import Ask
from verify.units import Ticks, rate

Figure: TypeAlias = int | float | str | bool | None
Kind = Literal["whole", "number", "text", "truth"]

RATE = "clock.rate"


@dataclass(frozen=True)
class Column:
    """A figure: its name, as in the question's ``--json`` where that has it, and its kind."""

    name: str
    kind: Kind = "number"


COLUMNS: dict[str, tuple[Column, ...]] = {
    "check": (
        Column("presses", "whole"),
        Column("failure", "text"),
        Column("failure_output", "text"),
        Column("failure_ticks"),
        Column("failure_s"),
    ),
    "spacing": (Column("spacing_ticks", "whole"), Column("spacing_s"), Column("rate_hz")),
    "latency": (
        *(Column(f"{end}_ticks") for end in ("best", "worst", "spread")),
        *(Column(f"{end}_s") for end in ("best", "worst", "spread")),
    ),
    "margin": (
        Column("least", "whole"),
        Column("most", "whole"),
        Column("least_s"),
        Column("most_s"),
    ),
    "margin of clock.rate": (
        Column("least", "text"),
        Column("most", "text"),
        Column("least_float"),
        Column("most_float"),
        Column("least_holds", "truth"),
        Column("most_holds", "truth"),
    ),
    "recover": (Column("recovery_ticks", "whole"), Column("recovery_s"), Column("never", "truth")),
    "lifetime": (Column("lifetime_ticks"), Column("lifetime_s"), Column("forever", "truth")),
}


def columns(ask: Ask, of: Disturbance | None) -> tuple[Column, ...]:
    """The figures of a question."""
    return COLUMNS["margin of clock.rate" if of == RATE else ask]


@dataclass(frozen=True)
class Found:
    """An answer. ``verdict`` None: there is no such link, or the question makes no sense for it,
    for ``reason``. Of what is undecided nothing else is told: it would differ from run to run.
    """

    verdict: Verdict | None
    engine: str = ""
    reason: str = ""
    figures: dict[str, Figure] = field(default_factory=dict)


def ask_link(
    link: Link, ask: Ask, of: Disturbance | None, engine: EngineName, seconds: float
) -> Found:
    """Put a question. ``seconds``: of this process's own work, whatever else the machine does."""
    budget = Budget(seconds, clock=process_time)
    try:
        found = _ASKED[ask](link, of, engine, budget)
    except OutOfTimeError:
        return Found(Verdict.UNDECIDED)
    except MemoryError:
        return Found(Verdict.UNDECIDED)
    except UsageError as error:
        return Found(None, reason=str(error))
    return Found(Verdict.UNDECIDED) if found.verdict is Verdict.UNDECIDED else found


def _ticks(ticks: Ticks | None) -> int | float | None:
    return ticks if ticks is None or isinstance(ticks, int) else float(ticks)


def _seconds(ticks: Ticks | None, link: Link) -> float | None:
    return None if ticks is None else float(ticks * link.tick)


def _check(link: Link, _: Disturbance | None, engine: EngineName, budget: Budget) -> Found:
    judged = judge(Subject(link, budget=budget), engine, Progress(), budget=budget)
    figures: dict[str, Figure] = {}
    trace = judged.trace
    if trace is not None and trace.failure is not None:
        at = Fraction(trace.failure.tick, trace.script.resolution)
        figures = {
            "presses": len(trace.script.presses),
            "failure": trace.failure.kind,
            "failure_output": trace.failure.output,
            "failure_ticks": float(at),
            "failure_s": float(at * link.tick),
        }
    return Found(judged.verdict, judged.engine, figures=figures)


def _spacing(link: Link, _: Disturbance | None, engine: EngineName, budget: Budget) -> Found:
    found = least_spacing(Subject(link, budget=budget), engine, Progress(), budget)
    figures: dict[str, Figure] = {
        "spacing_ticks": found.ticks,
        "spacing_s": _seconds(found.ticks, link),
        "rate_hz": float(rate(found.ticks, link.tick)) if found.ticks else None,
    }
    return Found(found.verdict, found.engine, figures=figures)


def _latency(link: Link, _: Disturbance | None, engine: EngineName, budget: Budget) -> Found:
    found = latencies(Subject(link, budget=budget), engine, Progress(), budget)
    best, worst = found.best, found.worst
    if not found.exact and found.verdict is not Verdict.FAILS:
        return Found(Verdict.UNDECIDED)
    spread = None if best is None or worst is None else worst - best
    figures: dict[str, Figure] = {}
    # Of a link that fails, those seen before the failure say how the search went, no more.
    if found.exact:
        for name, ticks in (("best", best), ("worst", worst), ("spread", spread)):
            figures[f"{name}_ticks"] = _ticks(ticks)
            figures[f"{name}_s"] = _seconds(ticks, link)
    return Found(found.verdict, found.engine, figures=figures)


def _margin(link: Link, of: Disturbance | None, engine: EngineName, budget: Budget) -> Found:
    if of == RATE:
        return _rate_margin(link, engine, budget)
    found = margin(link, str(of), engine, Progress(), budget)
    sides = [side for side in (found.least, found.most) if side is not None]
    most = found.most.amount
    least = None if found.least is None or found.least.amount is None else -found.least.amount
    return Found(
        _worst(side.verdict for side in sides),
        found.most.engine,
        figures={
            "least": least,
            "most": most,
            "least_s": _seconds(least, link),
            "most_s": _seconds(most, link),
        },
    )


def _rate_margin(link: Link, engine: EngineName, budget: Budget) -> Found:
    found = rate_margin(link, engine, Progress(), budget)
    figures: dict[str, Figure] = {}
    for name, side, sign in (("least", found.least, -1), ("most", found.most, 1)):
        amount = None if side.amount is None else sign * side.amount
        figures[name] = None if amount is None else str(amount)
        figures[f"{name}_float"] = None if amount is None else float(amount)
        figures[f"{name}_holds"] = side.holds
    verdict = _worst((found.least.verdict, found.most.verdict))
    return Found(verdict, found.most.engine, figures=figures)


def _worst(verdicts: Iterable[Verdict]) -> Verdict:
    found = set(verdicts)
    return next((v for v in (Verdict.FAILS, Verdict.UNDECIDED) if v in found), Verdict.HOLDS)


def _recover(link: Link, _: Disturbance | None, engine: EngineName, budget: Budget) -> Found:
    found = recover(link, engine, Progress(), budget)
    figures: dict[str, Figure] = {
        "recovery_ticks": found.ticks,
        "recovery_s": _seconds(found.ticks, link),
        "never": found.verdict is Verdict.FAILS,
    }
    return Found(found.verdict, found.engine, figures=figures)


def _lifetime(link: Link, _: Disturbance | None, engine: EngineName, budget: Budget) -> Found:
    found = lifetime(Subject(link, budget=budget), engine, Progress(), budget)
    figures: dict[str, Figure] = {
        "lifetime_ticks": _ticks(found.ticks),
        "lifetime_s": _seconds(found.ticks, link),
        "forever": found.forever,
    }
    return Found(found.verdict, found.engine, figures=figures)


_ASKED: dict[Ask, Callable[[Link, Disturbance | None, EngineName, Budget], Found]] = {
    "check": _check,
    "spacing": _spacing,
    "latency": _latency,
    "margin": _margin,
    "recover": _recover,
    "lifetime": _lifetime,
}
