"""The three main questions about a link, asked one after the other."""

from __future__ import annotations

from dataclasses import dataclass

from verify.engines.answer import Budget, Progress, Verdict
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Judgement, Subject, judge
from verify.questions.latency import Latencies, latencies
from verify.questions.spacing import Spacing, least_spacing


@dataclass(frozen=True)
class Summary:
    """Three answers about one link. ``latency`` is None where ends drift apart: none is right."""

    check: Judgement
    spacing: Spacing
    latency: Latencies | None

    @property
    def verdict(self) -> Verdict:
        """``check``'s; a link that holds is undecided while another answer is open."""
        if self.check.verdict is not Verdict.HOLDS:
            return self.check.verdict
        open_latency = self.latency is not None and not self.latency.exact
        if self.spacing.verdict is Verdict.UNDECIDED or open_latency:
            return Verdict.UNDECIDED
        return Verdict.HOLDS


def summarise(subject: Subject, engine: EngineName, progress: Progress, budget: Budget) -> Summary:
    """All three within one budget, the verdict on the link first."""
    judged = judge(subject, engine, progress, budget=budget)
    spacing = least_spacing(subject, engine, progress, budget)
    drifts = subject.link.drifts_away
    latency = None if drifts else latencies(subject, engine, progress, budget)
    return Summary(judged, spacing, latency)
