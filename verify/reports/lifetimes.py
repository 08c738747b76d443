"""How long a link is sure to stay right, as people read it and as plain data."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from verify.engines.answer import Verdict
from verify.parts.link import Link
from verify.questions.judging import Subject
from verify.questions.lifetime import Lifetime
from verify.reports import cautions
from verify.reports.as_json import _head, _seconds, _ticks, _trace
from verify.reports.console import output_console, say
from verify.reports.names import printable
from verify.reports.terminal import _show_trace, conditions
from verify.units import duration_text, ticks_text

# Seconds per unit in which long times are told.
_LONG = (("d", 86_400), ("h", 3_600), ("min", 60), ("s", 1))
# Digits of times shorter than a minute.
_DIGITS = 3


def show_lifetime(subject: Subject, found: Lifetime) -> None:
    """The time in a sentence, and the run that ends it."""
    link, console = subject.link, output_console()
    say(console, _sentence(link, found))
    if found.trace is not None:
        _show_trace(console, subject, found.trace)
    say(console, f"By the {found.engine}: {found.covered}. {conditions(link)}", "dim")
    say(console, cautions.SHORT, "dim")


def _sentence(link: Link, found: Lifetime) -> str:
    name = printable(link.name)
    if found.verdict is Verdict.HOLDS:
        return f"'{name}' is sure to stay right for ever, in sequences of any length."
    if found.verdict is Verdict.UNDECIDED or found.ticks is None:
        if found.trace is None:
            return f"undecided: how long '{name}' is sure to stay right."
        return f"undecided: '{name}' fails like this, but perhaps sooner:"
    if found.ticks == 0:
        return (
            f"'{name}' is not sure to stay right for any time: its ends do not drift apart, and "
            "yet it fails:"
        )
    return (
        f"'{name}' is sure to stay right for {sure_text(found.ticks * link.tick)} after power-up "
        f"(exactly {ticks_text(found.ticks, link.tick)}). Then this may happen:"
    )


def sure_text(seconds: Fraction) -> str:
    """A time as people tell it, never longer than it is: ``"2 min 13 s"``, ``"1.38 s"``."""
    if seconds < _LONG[-2][1]:
        unit = Fraction(1)
        while seconds * unit < 10 ** (_DIGITS - 1):
            unit *= 10
        return duration_text(Fraction(int(seconds * unit)) / unit)
    left = int(seconds)
    told: list[tuple[int, str]] = []
    for name, size in _LONG:
        number, left = divmod(left, size)
        if number or told:
            told.append((number, name))
    return " ".join(f"{number} {name}" for number, name in told if number)


def lifetime_json(link: Link, found: Lifetime) -> dict[str, Any]:
    """Answer to ``lifetime``. ``lifetime`` is exact, in ticks, as a fraction."""
    undecided = found.verdict is Verdict.UNDECIDED
    return {
        **_head("lifetime", link),
        "verdict": found.verdict.value,
        "engine": found.engine,
        "covered": found.covered,
        "forever": None if undecided else found.forever,
        "lifetime": None if found.ticks is None else str(found.ticks),
        "lifetime_ticks": _ticks(found.ticks),
        "lifetime_s": _seconds(found.ticks, link),
        "rate_error": None if found.error is None else str(found.error),
        "trace": _trace(found.trace),
    }
