"""Answers as plain data for ``--json``. The keys are documented and stable."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from verify.engines.answer import Verdict
from verify.engines.trace import Trace
from verify.parts.link import Link
from verify.questions.judging import Judgement
from verify.questions.latency import Latencies
from verify.questions.margin import Margin
from verify.questions.pairs import Pairs
from verify.questions.spacing import Spacing
from verify.reports.cautions import flashing
from verify.units import Ticks

FAILS, UNDECIDED, HOLDS = Verdict.FAILS, Verdict.UNDECIDED, Verdict.HOLDS


def rate_hz(ticks: int, tick: Fraction) -> Fraction | None:
    """Presses per second at a spacing of ``ticks``; None where the spacing is 0."""
    return 1 / (ticks * tick) if ticks else None


def check_json(link: Link, judged: Judgement) -> dict[str, Any]:
    """Answer to ``check``."""
    return {
        **_head("check", link),
        "verdict": judged.verdict.value,
        "engine": judged.engine,
        "covered": judged.covered,
        "trace": _trace(judged.trace),
    }


def spacing_json(link: Link, spacing: Spacing, pairs: Pairs | None, asked: bool) -> dict[str, Any]:
    """Answer to ``spacing``; ``asked``: the keys of the matrix are there, null if it is not."""
    found: dict[str, Any] = {
        **_head("spacing", link, spacing_is_asked=True),
        "verdict": spacing.verdict.value,
        "engine": spacing.engine,
        "covered": spacing.covered,
        "spacing_ticks": spacing.ticks,
        "spacing_s": _seconds(spacing.ticks, link),
        "rate_hz": None,
        "trace_below": _trace(spacing.trace_below),
        "cautions": [],
    }
    if spacing.ticks is not None:
        rate = rate_hz(spacing.ticks, link.tick)
        found["rate_hz"] = None if rate is None else float(rate)
        found["cautions"] = [c for c in [flashing(rate)] if c]
    if asked:
        found["pairs"] = pairs and [list(row) for row in pairs.ticks]
        found["pairs_verdict"] = pairs and pairs.verdict.value
        found["pairs_engine"] = pairs and pairs.engine
        found["pairs_raised"] = pairs and [
            {"from": link.names[i], "to": link.names[j], "by_two_presses_ticks": alone}
            for i, j, alone in pairs.raised
        ]
    return found


def latency_json(link: Link, found: Latencies, traces: bool) -> dict[str, Any]:
    """Answer to ``latency``; ``traces``: with a run for each extreme."""
    rows = []
    for row in found.inputs:
        spread = None if row.best is None or row.worst is None else row.worst - row.best
        shown: dict[str, Any] = {
            "name": row.name,
            "best_ticks": _ticks(row.best),
            "worst_ticks": _ticks(row.worst),
            "spread_ticks": _ticks(spread),
            "best_s": _seconds(row.best, link),
            "worst_s": _seconds(row.worst, link),
        }
        if traces:
            shown["best_trace"] = _trace(row.best_trace)
            shown["worst_trace"] = _trace(row.worst_trace)
        rows.append(shown)
    return {
        **_head("latency", link),
        "verdict": found.verdict.value,
        "engine": found.engine,
        "covered": found.covered,
        "exact": found.exact,
        "inputs": rows,
        "best_ticks": _ticks(found.best),
        "worst_ticks": _ticks(found.worst),
        "best_s": _seconds(found.best, link),
        "worst_s": _seconds(found.worst, link),
        "trace": _trace(found.trace),
    }


def margin_json(link: Link, found: Margin) -> dict[str, Any]:
    """Answer to ``margin``. ``least`` is null where the disturbance has no side below zero."""
    sides = [side for side in (found.least, found.most) if side is not None]
    verdicts = [side.verdict for side in sides]
    least, most = found.least, found.most
    return {
        **_head("margin", link),
        "of": found.of,
        "verdict": next((v for v in (FAILS, UNDECIDED) if v in verdicts), HOLDS).value,
        "engine": most.engine,
        "covered": most.covered,
        "least": None if least is None else _minus(least.amount),
        "most": most.amount,
        "least_s": None if least is None else _seconds(_minus(least.amount), link),
        "most_s": _seconds(most.amount, link),
        "trace_beyond": _trace(most.trace_beyond),
        "trace_beyond_least": None if least is None else _trace(least.trace_beyond),
    }


def _minus(amount: int | None) -> int | None:
    return None if amount is None else -amount


def conditions(link: Link, *, spacing_is_asked: bool = False) -> dict[str, Any]:
    """Operator and disturbances under which an answer was given, ticks."""
    operator = link.operator
    bounds: dict[str, Any] = {
        "spacing": operator.spacing,
        "repeat": operator.repeat,
        "hold": list(operator.hold),
        "overlap": operator.overlap,
        "within": None if link.within is None else list(link.within),
        "together": operator.together,
        "may_miss": link.may_miss,
    }
    if spacing_is_asked:
        del bounds["spacing"]
    disturbances: dict[str, Any] = {
        "line.delay": list(link.delay),
        "line.branches": list(link.branches),
        "line.jitter": link.faults.jitter,
        "line.skew": link.faults.skew,
        "line.shortest": link.faults.shortest,
        "clock.offset": list(link.scheme.clock_offset),
        "clock.rate": [str(error) for error in link.clock.rate],
        "clock.wander": link.clock.wander,
        "pause": {
            "most": link.pause.most,
            "times": link.pause.times,
            "end": link.pause.end.value,
        }
        if link.pause.most
        else None,
        "start": "any" if link.any_start else None,
    }
    return {"operator": bounds, "disturbances": disturbances}


def _head(question: str, link: Link, *, spacing_is_asked: bool = False) -> dict[str, Any]:
    return {
        "question": question,
        "name": link.name,
        "scheme": link.scheme_name,
        "kind": link.kind,
        "tick_s": float(link.tick),
        **conditions(link, spacing_is_asked=spacing_is_asked),
    }


def _ticks(ticks: Ticks | None) -> float | int | None:
    """Whole numbers as they are; parts of a tick, where a clock is off, as a decimal."""
    return ticks if ticks is None or isinstance(ticks, int) else float(ticks)


def _seconds(ticks: Ticks | None, link: Link) -> float | None:
    return None if ticks is None else float(ticks * link.tick)


def _trace(trace: Trace | None) -> dict[str, Any] | None:
    return None if trace is None else trace.as_json()
