"""How long a link takes to recover, as people read it and as plain data."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from verify.engines.answer import Verdict
from verify.parts.link import Link
from verify.questions.judging import Subject
from verify.questions.recover import Recovery
from verify.reports import cautions
from verify.reports.as_json import _head, _seconds, _trace
from verify.reports.console import output_console, say
from verify.reports.names import printable
from verify.reports.terminal import _show_trace, conditions
from verify.units import ticks_text


def show_recovery(link: Link, found: Recovery) -> None:
    """The time in a sentence, and the run that takes longest."""
    console = output_console()
    say(console, _sentence(found))
    if found.trace is not None:
        # What goes wrong sooner is marked too: the run is shown as any other.
        _show_trace(console, Subject(replace(found.link, spared=0)), found.trace)
    if found.lasso is not None:
        say(console, _circle(found))
    say(console, f"By the {found.engine}: {found.covered}. {conditions(found.link)}", "dim")
    say(console, cautions.SHORT, "dim")


def _sentence(found: Recovery) -> str:
    name, after = f"'{printable(found.link.name)}'", _after(found.link)
    if found.verdict is Verdict.HOLDS and found.ticks is not None:
        longest = ticks_text(found.ticks, found.link.tick)
        if found.ticks == 0:
            return f"{name} is right at once after {after}, and stays right."
        shown = " The longest takes:" if found.trace is not None else ""
        return f"{name} is right again {longest} after {after}, and stays right.{shown}"
    if found.lasso is not None:
        return f"never: after {after}, {name} may go wrong however long it was left."
    if found.verdict is Verdict.FAILS:
        return f"never: {name} fails without any disturbance:"
    return f"undecided: how long {name} takes to recover from {after}."


def _circle(found: Recovery) -> str:
    circle, tick = found.lasso, found.link.tick
    if circle is None:
        raise AssertionError("no circle to tell of")
    if circle.ticks == 0:
        return f"From tick {circle.tick} on it is at rest, and may stay so for any time before."
    every = ticks_text(circle.ticks, tick)
    return f"What it does from tick {circle.tick} on, for {every}, it may do over and over before."


def _after(link: Link) -> str:
    pause = link.pause
    said = ["power-up in any state"] if link.any_start else []
    if pause.most:
        often = "" if pause.times == 1 else f", up to {pause.times} times"
        longest = ticks_text(pause.most, link.tick)
        said.append(f"a pause of the {pause.end.words} of up to {longest}{often}")
    return " or ".join(said)


def recovery_json(link: Link, found: Recovery) -> dict[str, Any]:
    """Answer to ``recover``. ``recovery_ticks`` is null where it never does, or is undecided."""
    circle = found.lasso
    return {
        **_head("recover", found.link),
        "verdict": found.verdict.value,
        "engine": found.engine,
        "covered": found.covered,
        "after": _after(found.link),
        "recovery_ticks": found.ticks,
        "recovery_s": _seconds(found.ticks, link),
        "never": found.verdict is Verdict.FAILS,
        "circle": circle and {"tick": circle.tick, "ticks": circle.ticks},
        "trace": _trace(found.trace),
    }
