"""The three main answers in one: as people read it, and as plain data."""

from __future__ import annotations

from typing import Any

from verify.engines.answer import Verdict
from verify.parts.link import Link
from verify.questions.judging import Subject
from verify.questions.latency import Latencies
from verify.questions.spacing import Spacing
from verify.questions.summary import Summary
from verify.reports import cautions
from verify.reports.as_json import check_json, latency_json, rate_hz, spacing_json
from verify.reports.console import output_console, say
from verify.reports.names import printable
from verify.reports.terminal import _change, _changes, _count, _show_trace, conditions
from verify.units import duration_text, rate_text, ticks_text


def show_summary(subject: Subject, found: Summary) -> None:
    """A line per question, the failing run, and the conditions."""
    link, console = subject.link, output_console()
    parts = [_count(link.inputs, "input"), _count(link.scheme.lines, "line")]
    say(
        console,
        f"'{printable(link.name)}': {link.scheme_name}, {', '.join(parts)}, a tick of "
        f"{duration_text(link.tick)}.",
    )
    for question, answer in (
        ("check", _check(link, found)),
        ("spacing", _spacing(link, found.spacing)),
        ("latency", _latency(link, found.latency)),
    ):
        say(console, answer, indent=f"{question:9}", hang=" " * 9)
    if found.check.trace is not None:
        _show_trace(console, subject, found.check.trace)
    say(console, conditions(link), "dim")
    ticks = found.spacing.ticks
    caution = None if ticks is None else cautions.flashing(rate_hz(ticks, link.tick))
    say(console, " ".join(filter(None, [caution, cautions.SHORT])), "dim")


def _check(link: Link, found: Summary) -> str:
    judged = found.check
    if judged.verdict is Verdict.HOLDS:
        return f"holds: every {_change(link)} comes out right, and nothing else does"
    if judged.trace is None:
        return f"undecided: {judged.covered}"
    many = len(judged.trace.script.presses)
    if many == 1:
        return f"fails: 1 {_change(link)} breaks it (below)"
    return f"fails: {many} {_changes(link)} break it (below)"


def _spacing(link: Link, spacing: Spacing) -> str:
    if spacing.ticks is None:
        if spacing.verdict is Verdict.FAILS:
            return f"fails: a {_change(link)} goes wrong by itself, at any spacing"
        return f"undecided: {spacing.covered}"
    rate = rate_hz(spacing.ticks, link.tick)
    if rate is None:
        return f"holds at any: {_changes(link)} may share a tick"
    own = ticks_text(link.operator.spacing, link.tick)
    return (
        f"holds from {ticks_text(spacing.ticks, link.tick)} on, up to {rate_text(rate)}; "
        f"the file has {own}"
    )


def _latency(link: Link, found: Latencies | None) -> str:
    if found is None:
        return "none is right in the end: the two ends drift apart (`fewwire lifetime`)"
    if found.best is None or found.worst is None:
        return "none: nothing came out right"
    said = f"{ticks_text(found.best, link.tick)} to {ticks_text(found.worst, link.tick)}"
    if found.verdict is Verdict.FAILS:
        return f"{said}, of what still comes out right"
    return said if found.exact else f"{said} at least; the search was not complete"


def summary_json(link: Link, found: Summary) -> dict[str, Any]:
    """Answer to ``summary``: the objects that the three questions print by themselves."""
    latency = found.latency
    return {
        "question": "summary",
        "name": link.name,
        "verdict": found.verdict.value,
        "check": check_json(link, found.check),
        "spacing": spacing_json(link, found.spacing, None, False),
        "latency": None if latency is None else latency_json(link, latency, False),
    }
