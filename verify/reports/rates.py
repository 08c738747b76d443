"""How far a clock may be off, as people read it and as plain data."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

from rich.console import Console
from rich.text import Text

from verify.engines.answer import Verdict
from verify.parts.clock import Clock
from verify.parts.link import Link
from verify.questions.rate_margin import RateMargin, RateSide
from verify.reports import cautions
from verify.reports.as_json import _head
from verify.reports.console import output_console, say
from verify.reports.finer import error_text, measured, run_notes
from verify.reports.picture import picture
from verify.reports.terminal import _ascii_only, conditions


def show_rate_margin(link: Link, found: RateMargin) -> None:
    """The range in a sentence, then what happens just past either end."""
    console = output_console()
    least, most = found.least, found.most
    if whole := range_sentence(found):
        say(console, whole)
    for side, sign, word in ((least, -1, "fast"), (most, 1, "slow")):
        say(console, f"\n{side_sentence(side, sign, word)}")
        _show_run(console, link, side)
        say(console, f"By the {side.engine}: {side.covered}.", "dim")
    if link.scheme.drifts_away(Clock(rate=(Fraction(0), Fraction(1)))):
        say(
            console,
            "The two ends drift apart whatever the error: any but none fails in the end. How "
            "long it takes: `fewwire lifetime`, with the error as clock.rate in the file.",
        )
    on_time = replace(link, clock=replace(link.clock, rate=(Fraction(0), Fraction(0))))
    say(console, f"{conditions(on_time)} {cautions.SHORT}", "dim")


def range_sentence(found: RateMargin) -> str:
    """From where to where a clock may be off, if that is known; else empty."""
    if not found.least.verdict is found.most.verdict is Verdict.HOLDS:
        return ""
    ends = [_end(found.least, -1), _end(found.most, 1)]
    return f"holds for clocks off by {ends[0]} to {ends[1]}: sequences of any length."


def _end(side: RateSide, sign: int) -> str:
    if side.amount is None:
        raise AssertionError("a side that holds nowhere has no end")
    return ("" if side.holds else "less than " if sign > 0 else "more than ") + error_text(
        sign * side.amount
    )


def side_sentence(side: RateSide, sign: int, word: str) -> str:
    """One side in a sentence; ``word``: what such a clock is, fast or slow."""
    if side.verdict is Verdict.FAILS:
        return f"fails: the link as it is, its clock not {word} at all."
    if side.amount is None:
        return f"undecided for clocks that are {word}."
    end = error_text(side.amount)
    if side.trace_beyond is None:
        return f"A clock {word} by {end} still holds; nothing beyond is looked at."
    if side.holds:
        return f"A clock {word} by {end} still holds; beyond, the link fails:"
    return f"A clock {word} by less than {end} holds; by just that, the link fails:"


def _show_run(console: Console, link: Link, side: RateSide) -> None:
    if side.trace_beyond is None:
        return
    script = side.trace_beyond.script
    finer, windows = measured(link, side.windows, script)
    width = max(40, console.width)
    drawn = picture(side.trace_beyond, finer, width, windows=windows, ascii_only=_ascii_only())
    console.print(Text(drawn), soft_wrap=True)
    say(console, run_notes(link, side.trace_beyond))


def rate_margin_json(link: Link, found: RateMargin) -> dict[str, Any]:
    """Answer to ``margin --of clock.rate``."""
    least, most = found.least, found.most
    verdicts = [least.verdict, most.verdict]
    order = (Verdict.FAILS, Verdict.UNDECIDED)
    return {
        **_head("margin", link),
        "of": found.of,
        "verdict": next((v for v in order if v in verdicts), Verdict.HOLDS).value,
        "engine": most.engine,
        "covered": "; ".join(dict.fromkeys((least.covered, most.covered))),
        "least": _exact(least.amount, -1),
        "most": _exact(most.amount, 1),
        "least_float": _float(least.amount, -1),
        "most_float": _float(most.amount, 1),
        "least_holds": least.holds,
        "most_holds": most.holds,
        "least_s": None,
        "most_s": None,
        "trace_beyond": most.trace_beyond and most.trace_beyond.as_json(),
        "trace_beyond_least": least.trace_beyond and least.trace_beyond.as_json(),
        "error_beyond": _exact(most.error_beyond, 1),
        "error_beyond_least": _exact(least.error_beyond, -1),
    }


def _exact(amount: Fraction | None, sign: int) -> str | None:
    return None if amount is None else str(sign * amount)


def _float(amount: Fraction | None, sign: int) -> float | None:
    return None if amount is None else float(sign * amount)
