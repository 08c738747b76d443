"""How long does a press take to its strike? Best and worst per input, at the link's operator."""

from __future__ import annotations

from dataclasses import dataclass

from verify.engines.answer import Budget, Delivery, Progress, Verdict
from verify.engines.trace import Trace
from verify.errors import UsageError
from verify.questions.engine_choice import EngineName
from verify.questions.judging import DEFAULT_SECONDS, Subject, judge
from verify.units import Ticks


@dataclass(frozen=True)
class InputLatency:
    """Of one input: least and most ticks from press to strike, None where it never struck."""

    name: str
    best: Ticks | None
    worst: Ticks | None
    best_trace: Trace | None
    worst_trace: Trace | None


@dataclass(frozen=True)
class Latencies:
    """All inputs. The extremes are over every sequence that comes out right so far.

    ``verdict``: of the link at its operator. ``exact``: the search was complete; otherwise
    the extremes are only those seen, as ``covered`` says.
    """

    inputs: tuple[InputLatency, ...]
    verdict: Verdict
    engine: str
    covered: str
    exact: bool
    trace: Trace | None

    @property
    def best(self) -> Ticks | None:
        """Least over all inputs, ticks."""
        return min((i.best for i in self.inputs if i.best is not None), default=None)

    @property
    def worst(self) -> Ticks | None:
        """Most over all inputs, ticks."""
        return max((i.worst for i in self.inputs if i.worst is not None), default=None)


def latencies(
    subject: Subject,
    engine: EngineName,
    progress: Progress,
    budget: Budget | None = None,
    *,
    traces: bool = False,
) -> Latencies:
    """Best and worst latency per input; ``traces``: with a run that shows each.

    Raises UsageError for ends that drift apart: in the end no latency is right.
    """
    if subject.link.drifts_away:
        raise UsageError(
            "latency: found clocks of a free scan that drift apart, which fails in the end; "
            "allowed: no rate or wander of the clock, or the question lifetime"
        )
    budget = budget if budget is not None else Budget(DEFAULT_SECONDS)
    judged = judge(subject, engine, progress, budget=budget, latencies=True)

    def shown(delivery: Delivery | None) -> Trace | None:
        return subject.replay(delivery.script) if traces and delivery is not None else None

    rows = []
    for i, name in enumerate(subject.link.names):
        best, worst = judged.best.get(i), judged.worst.get(i)
        rows.append(
            InputLatency(
                name,
                best.ticks if best else None,
                worst.ticks if worst else None,
                shown(best),
                shown(worst),
            )
        )
    return Latencies(
        tuple(rows), judged.verdict, judged.engine, judged.covered, judged.complete, judged.trace
    )
