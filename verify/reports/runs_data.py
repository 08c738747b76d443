"""A run as a page shows it: its picture, and the value of every signal at every moment."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from typing import Any

from verify.engines.trace import Event, Trace
from verify.parts.link import Link
from verify.parts.monitor import Windows
from verify.questions.judging import Subject
from verify.reports.finer import measured, run_notes
from verify.reports.inside import InsideRow, inside_rows
from verify.reports.names import input_signal, printable
from verify.reports.picture import picture
from verify.reports.script_words import script_lines
from verify.reports.timing_svg import timing_svg
from verify.reports.words import failure_sentence
from verify.units import duration_text

# A longer run is gone through from event to event, not from tick to tick.
MOST_TICKS = 400
PICTURE_WIDTH = 90


@dataclass(frozen=True)
class Signal:
    """``kind``: ``moment`` (said only in its tick), ``level`` (until the next), or ``timer``.

    ``changes``: ticks and words; of a timer ticks and what is left then, 0 where it is off.
    """

    name: str
    kind: str
    changes: tuple[tuple[int, str | int], ...]


@dataclass(frozen=True)
class Run:
    """``key``: its name on a page. ``moments``: ticks at which one may stop on the way through."""

    key: str
    title: str
    sentence: str
    steps: tuple[str, ...]
    note: str
    svg: str
    picture: str
    fails_at: int | None
    kind: str
    moments: tuple[int, ...]
    times: tuple[str, ...]
    signals: tuple[Signal, ...]

    def as_json(self) -> dict[str, Any]:
        """For the page's slider."""
        return {
            "fails": None if self.fails_at is None else self.moments.index(self.fails_at),
            "kind": self.kind,
            "ticks": self.moments,
            "times": self.times,
            "signals": [
                {"name": s.name, "kind": s.kind, "changes": s.changes} for s in self.signals
            ],
        }


def run_of(
    key: str, title: str, trace: Trace, link: Link, windows: tuple[Windows, ...] | None
) -> Run:
    """``windows``: one per branch, as ``Subject.windows`` of the link; None: of that subject."""
    if windows is None:
        windows = Subject(link).windows
    shown = windows if link.kind == "press" else None
    finer, shown = measured(link, shown, trace.script)
    inside = inside_rows(trace, link)
    moments = _moments(trace, inside)
    failure = trace.failure
    sentence = failure_sentence(trace, finer, shown)
    return Run(
        key,
        title,
        f"{sentence[:1].upper()}{sentence[1:]}.",
        tuple(script_lines(trace, finer)),
        run_notes(link, trace),
        timing_svg(trace, finer, windows=shown, inside=inside),
        picture(trace, finer, PICTURE_WIDTH, windows=shown),
        None if failure is None else failure.tick,
        "" if failure is None else failure.kind,
        moments,
        tuple(duration_text(tick * finer.tick) for tick in moments),
        (*_signals(trace, finer), *map(_inside, inside)),
    )


def _moments(trace: Trace, inside: list[InsideRow]) -> tuple[int, ...]:
    """Every tick from the first event to the last; of a long run only ticks of events."""
    events = {e.tick for e in trace.events} | {p.tick for p in trace.script.presses}
    if trace.failure is not None:
        events.add(trace.failure.tick)
    first, last = min(events, default=0), max(events, default=0)
    if last - first < MOST_TICKS:
        return tuple(range(first, last + 1))
    events |= {s.first for row in inside for s in row.stretches if first <= s.first <= last}
    return tuple(sorted(events))


def _signals(trace: Trace, link: Link) -> list[Signal]:
    of: dict[str, list[Event]] = {}
    for event in sorted(trace.events, key=lambda e: e.tick):
        of.setdefault(event.signal, []).append(event)
    order = {input_signal(link, i): i for i in range(link.inputs)}
    # A press or strike of which no trace says when it is over is one of a moment.
    lasts = {
        kind: link.kind == "level"
        or any(not e.value for name, events in of.items() if _kind(name) == kind for e in events)
        for kind in ("in", "out")
    }
    places = {"in": 0, "line": 1, "out": 2, "": 3}
    names = sorted(of, key=lambda name: (places[_kind(name)], order.get(name, 0), name))
    return [_signal(name, of[name], link, lasts) for name in names]


def _kind(name: str) -> str:
    return next(
        (kind for kind in ("in", "out") if name.startswith(f"{kind}.")),
        "line" * name.startswith("line"),
    )


def _signal(name: str, events: list[Event], link: Link, lasts: dict[str, bool]) -> Signal:
    kind = _kind(name)
    words = {"in": ("let go", "pressed"), "line": ("low", "high"), "out": ("rests", "strikes")}
    off, on = words.get(kind, ("no", "yes"))
    if link.kind == "level" and kind in ("in", "out"):
        off, on = "down", "up"
    if not lasts.get(kind, True):
        return Signal(printable(name), "moment", tuple((e.tick, on) for e in events))
    before = (events[0].tick - 1, off if events[0].value else on)
    changes = [before, *((e.tick, on if e.value else off) for e in events)]
    return Signal(printable(name), "level", tuple(dict(changes).items()))


def _inside(row: InsideRow) -> Signal:
    """A mode or number by its words; a timer by what is left of it."""
    if not row.most:
        return Signal(row.name, "level", tuple((s.first, s.word) for s in row.stretches))
    changes: list[tuple[int, str | int]] = []
    for stretch in row.stretches:
        changes.append((stretch.first, stretch.left))
        if stretch.last < stretch.first + stretch.left:
            changes.append((stretch.last, 0))
    return Signal(row.name, "timer", tuple(changes))


def value_at(signal: Signal, tick: int) -> str:
    """What a signal shows in a tick; the page does the same as it goes."""
    k = bisect_right([at for at, _ in signal.changes], tick) - 1
    if k < 0:
        return ""
    at, what = signal.changes[k]
    if signal.kind == "moment":
        return str(what) if at == tick else ""
    if signal.kind == "timer":
        left = int(what) - (tick - at)
        return f"{left} left" if left > 0 else ""
    return str(what)


__all__ = ["Run", "Signal", "run_of", "value_at"]
