"""Answers to ``schedule``: in words, as plain data for ``--json``, and as CSV."""

from __future__ import annotations

import csv
import io
from collections import deque
from fractions import Fraction
from itertools import pairwise
from typing import Any

from rich.text import Text

from verify.engines.answer import Verdict
from verify.parts.link import Link
from verify.questions.judging import Subject
from verify.questions.schedule import Placed, Schedule
from verify.reports import cautions
from verify.reports.as_json import _head, _trace
from verify.reports.console import output_console, say
from verify.reports.names import printable
from verify.reports.terminal import (
    MOST_ROWS,
    _show_trace,
    _table,
    conditions,
)
from verify.units import decimal_text, duration_text, rate_text, ticks_text


def show_schedule(subject: Subject, found: Schedule, file: str) -> None:
    """How long it takes, then a row per press."""
    link, console = subject.link, output_console()
    if found.presses is not None:
        say(console, _held(link, found, file))
        rows = _table("no.", "input", "output", "tick", "time", "since the last", "waits for")
        for n, placed in enumerate(found.presses[:MOST_ROWS]):
            rows.add_row(*(Text(cell) for cell in _cells(link, found.presses, n, placed)))
        console.print(rows)
        if len(found.presses) > MOST_ROWS:
            left = f"The first {MOST_ROWS} of {len(found.presses)}; --csv and --json have all."
            say(console, left)
    elif found.verdict is Verdict.FAILS:
        say(console, _failed(found))
        if found.trace is not None:
            _show_trace(console, subject, found.trace)
    else:
        say(console, _undecided(link, found))
    asked = found.pairs or found.spacing
    rests_on = f"By the {asked.engine}: {asked.covered}. {conditions(link, spacing=False)}"
    say(console, rests_on, "dim")
    say(console, " ".join([*_cautions(link, found), cautions.SHORT]), "dim")


def _held(link: Link, found: Schedule, file: str) -> str:
    presses, total = found.presses or (), found.total or 0
    number = len(presses)
    noun, verb = ("press", "comes") if number == 1 else ("presses", "come")
    said = [f"holds: {number} {noun} of '{printable(file)}' {verb} out right"]
    if number > 1:
        said[0] += f", the last {ticks_text(total, link.tick)} after the first"
    said[0] += (
        ": as early as the proved spacings of pairs allow, and played so by the simulator, where "
        f"the last strike comes at {_at(link, found)}."
    )
    if total:
        mean = rate_text(Fraction(number - 1) / (total * link.tick))
        said.append(f"That is {mean} on average.")
    if found.at_one_spacing is not None and found.at_one_spacing > total:
        said.append(
            f"At one spacing for all, {ticks_text(found.spacing.ticks or 0, link.tick)}, it "
            f"would take {ticks_text(found.at_one_spacing, link.tick)}."
        )
    return " ".join(said)


def _at(link: Link, found: Schedule) -> str:
    last = found.last_strike or 0
    return f"tick {decimal_text(Fraction(last))} ({duration_text(last * link.tick)})"


def _failed(found: Schedule) -> str:
    if found.pairs is None:
        return "fails: no spacing is safe; a press goes wrong by itself."
    return "fails: no table of spacings that is safe as a whole was found."


def _undecided(link: Link, found: Schedule) -> str:
    if found.pairs is None or found.spacing.ticks is None:
        return f"undecided: the least safe spacing was not found; {found.spacing.covered}."
    said = (
        "undecided: the spacings of pairs are not proved as a whole, so no schedule is given. "
        "Proved is one spacing for all, "
    )
    said += ticks_text(found.spacing.ticks, link.tick)
    if found.at_one_spacing is not None:
        said += f": it would take {ticks_text(found.at_one_spacing, link.tick)}"
    return said + "."


def _cells(link: Link, presses: tuple[Placed, ...], n: int, placed: Placed) -> list[str]:
    since = "" if n == 0 else str(placed.tick - presses[n - 1].tick)
    if placed.waits_for is not None:
        k = placed.waits_for
        waits = f"{k + 1} ({printable(link.names[presses[k].input])})"
    else:
        waits = "its time" if 0 < placed.not_before == placed.tick else ""
    return [
        str(n + 1),
        printable(link.names[placed.input]),
        printable(link.names[link.outputs[placed.input]]),
        str(placed.tick),
        duration_text(placed.tick * link.tick),
        since,
        waits,
    ]


def _cautions(link: Link, found: Schedule) -> list[str]:
    most = _most_in_a_second(link, found.presses or ())
    caution = cautions.flashing(Fraction(most))
    return [] if caution is None else [caution]


def _most_in_a_second(link: Link, presses: tuple[Placed, ...]) -> int:
    inside: deque[int] = deque()
    most = 0
    for placed in presses:
        inside.append(placed.tick)
        while (placed.tick - inside[0]) * link.tick >= 1:
            inside.popleft()
        most = max(most, len(inside))
    return most


def schedule_json(link: Link, found: Schedule) -> dict[str, Any]:
    """Answer to ``schedule``; ``presses`` is null unless it holds."""
    asked = found.pairs or found.spacing
    presses = found.presses
    return {
        **_head("schedule", link, spacing_is_asked=True),
        "verdict": found.verdict.value,
        "engine": asked.engine,
        "covered": asked.covered,
        "spacing_ticks": found.spacing.ticks,
        "pairs": found.pairs and [list(row) for row in found.pairs.ticks],
        "presses": presses and _rows(link, presses),
        "total_ticks": found.total,
        "total_s": None if found.total is None else float(found.total * link.tick),
        "last_strike_ticks": None if found.last_strike is None else float(found.last_strike),
        "last_strike_s": None
        if found.last_strike is None
        else float(found.last_strike * link.tick),
        "at_one_spacing_ticks": found.at_one_spacing,
        "cautions": _cautions(link, found),
        "trace": _trace(found.trace),
    }


def _rows(link: Link, presses: tuple[Placed, ...]) -> list[dict[str, Any]]:
    since = [None, *(after.tick - before.tick for before, after in pairwise(presses))]
    return [
        {
            "number": n + 1,
            "input": link.names[placed.input],
            "output": link.names[link.outputs[placed.input]],
            "tick": placed.tick,
            "s": float(placed.tick * link.tick),
            "since_ticks": since[n],
            "not_before_ticks": placed.not_before,
            "waits_for": None if placed.waits_for is None else placed.waits_for + 1,
        }
        for n, placed in enumerate(presses)
    ]


def schedule_csv(link: Link, presses: tuple[Placed, ...]) -> str:
    """A row per press, with the same names as ``--json``; seconds are exact."""
    text = io.StringIO()
    rows = _rows(link, presses)
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    for row, placed in zip(rows, presses, strict=True):
        writer.writerow({**row, "s": decimal_text(placed.tick * link.tick)})
    return text.getvalue()
