"""Who caused what in the record of a run: which presses stand behind a firing, and what the
receiver had to go by when it acted."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from verify.engines.observed import Firing, History, ModeSeen, Seen
from verify.engines.trace import Press
from verify.language.machine import Each
from verify.language.state import Flag, Mode, Number
from verify.language.written import AN_OUTPUT
from verify.parts import signals

DEEPEST = 400  # firings in a chain of causes, at most; longer ones are those of clocks
_FAR = re.compile(r"line(\d+)\.branch(\d+)\.(rise|fall)")


@dataclass(frozen=True)
class Edge:
    """A line rose (``up``) or fell at the receiver's end, for these presses."""

    line: int
    up: bool
    tick: int
    presses: tuple[Press, ...]


@dataclass(frozen=True)
class InMode:
    """A machine was in a mode, since a tick (None: power-up), put there by these presses."""

    word: str
    since: int | None
    presses: tuple[Press, ...]
    at_rest: bool


@dataclass(frozen=True)
class Reading:
    """What the receiver did in a tick, and what it had to go by.

    ``edges`` set it off, or the ``timer`` ran out; ``earlier``: edges that it remembered;
    ``high``: ticks at which it took a line to be high, with the edge that had raised it;
    ``numbers``: places of its own that it read; ``output``: what it took it for, or no longer
    (``off``); ``became``: the mode that it went to; ``rule``: by which rule, or which one did not
    act (``acted`` False).
    """

    tick: int
    edges: tuple[Edge, ...]
    timer: str | None
    mode: InMode | None
    earlier: tuple[Edge, ...]
    high: tuple[tuple[int, Edge], ...]
    numbers: tuple[tuple[str, int], ...]
    output: int | None
    off: bool
    became: str | None
    rule: str
    acted: bool
    unknown: bool


def short(name: str) -> str:
    """The name of a piece of memory without its machine."""
    return name.partition(".")[2] or name


def of_receiver(firing: Firing) -> bool:
    """A machine of the receiving end did it."""
    return firing.machine.startswith("receiver")


def of_line(firing: Firing) -> bool:
    """The line between the two ends did it."""
    return firing.machine.startswith("line")


def sources(firing: Firing) -> tuple[Press, ...]:
    """The presses behind a firing; none if there is only a clock behind it."""
    found: dict[int, tuple[Press, ...]] = {}

    def search(at: Firing, depth: int) -> tuple[Press, ...]:
        if id(at) in found or depth > DEEPEST:
            return found.get(id(at), ())
        found[id(at)] = ()
        if not at.machine and at.parent is None:
            return (Press(at.tick, at.bound[0][0]),) if at.name in _PRESSES else ()
        for group in _behind(at):
            presses = {press for one in group for press in search(one, depth + 1)}
            if presses:
                found[id(at)] = tuple(sorted(presses))
                break
        return found[id(at)]

    return search(firing, 0)


_PRESSES = (signals.PRESS.name, signals.MOVE.name)


def _behind(firing: Firing) -> Iterator[list[Firing]]:
    """What stands behind a firing, the surest first: a level that it repeats; what set it off;
    what it is part of; whatever else it read."""
    levels = [s.writer for s in firing.reads if _is_level(s) and s.writer is not None]
    yield [] if isinstance(firing.rule, Each) else levels[-1:]
    yield firing.causes
    yield [] if firing.parent is None else [firing.parent]
    yield [s.writer for s in firing.reads if s.writer is not None and not s.at_rest]


def _is_level(seen: Seen) -> bool:
    return isinstance(seen.item, Number) and seen.item.wire and seen.value > 0


def chain(firing: Firing) -> Iterator[Firing]:
    """A firing and all that it is part of."""
    at: Firing | None = firing
    while at is not None:
        yield at
        at = at.parent


def edges_of(causes: Iterable[Firing]) -> tuple[Edge, ...]:
    """The edges at the receiver's end among what set something off."""
    found: dict[Edge, None] = {}
    for cause in causes:
        for signal, _ in cause.emitted:
            if match := _FAR.fullmatch(signal.name):
                up = match[3] == "rise"
                found[Edge(int(match[1]), up, cause.tick, sources(cause))] = None
    return tuple(found)


def mode_before(history: History, machine: str, tick: int) -> InMode | None:
    """The mode of a machine before a tick; the last one of several."""
    seen = [m for m in history.modes.get(tick, ()) if m.machine == machine]
    return in_mode(seen[-1]) if seen else None


def in_mode(seen: ModeSeen) -> InMode:
    """A mode as it was seen, and who had put the machine there."""
    writer = seen.writer
    if writer is None:
        return InMode(seen.word, None, (), seen.at_rest)
    return InMode(seen.word, writer.tick, sources(writer), seen.at_rest)


def edges_at(history: History, branch: int, tick: int) -> tuple[Edge, ...]:
    """The edges that came to the receiver of a branch in a tick."""
    here = [f for f in history.fired() if f.tick == tick and of_line(f)]
    there = [f for f in here if any(f".branch{branch}." in s.name for s, _ in f.emitted)]
    return edges_of(there)


def reading(history: History, firing: Firing, came: tuple[Edge, ...] = ()) -> Reading:
    """What a receiver did when one of its rules fired, and what it had to go by.

    ``came``: edges that came in that tick, if they are not what set it off.
    """
    own = [part for at in chain(firing) for part in (at, *at.passed_over)]
    edges = tuple(dict.fromkeys(edge for at in own for edge in edges_of(at.causes)))
    timers = [short(t.name) for at in chain(firing) for t in at.ran_out]
    earlier, high = _gone_by(history, firing)
    root = list(chain(firing))[-1]
    together = [f for f in history.fired() if f.tick == firing.tick and root in chain(f)]
    went = [(f, item.modes[v]) for f in together for item, v in f.wrote if isinstance(item, Mode)]
    decoded = [
        (signal.name, values[0])
        for f in (firing, *together)
        for signal, values in f.emitted
        if signal.name.startswith(("decoded", "cleared"))
    ]
    mode = mode_before(history, firing.machine, firing.tick)
    now = tuple(edge for edge in edges if edge.tick == firing.tick) or came
    return Reading(
        firing.tick,
        now,
        timers[0] if timers and not now else None,
        mode,
        tuple(e for e in earlier if e.tick < firing.tick and e.presses),
        high,
        _numbers(firing) if mode is None else (),
        decoded[0][1] if decoded else None,
        bool(decoded) and decoded[0][0].startswith("cleared"),
        went[-1][1] if went else None,
        went[-1][0].called if went and not decoded else firing.called,
        firing.fired,
        firing.name == AN_OUTPUT and not firing.fired,
    )


def keepers(history: History, rise: Firing, tick: int) -> tuple[Press, ...]:
    """The presses that kept a line high at ``tick``, at its transmitter's end, since a ``rise``.

    What drives it is counted press by press; empty if the line has no such count.
    """
    driving = [seen.item for seen in rise.reads if _is_level(seen)]
    if not driving:
        return ()
    item, value, by = driving[0], 0, dict[tuple[Press, ...], int]()
    for firing in history.fired():
        if firing.tick > tick:
            break
        for place, new in firing.wrote:
            if place != item:
                continue
            if new == 0:
                by.clear()
            else:
                whose = sources(firing)
                by[whose] = by.get(whose, 0) + new - value
            value = new
    return tuple(sorted({press for whose, count in by.items() if count > 0 for press in whose}))


def _numbers(firing: Firing) -> tuple[tuple[str, int], ...]:
    found = {
        short(seen.item.name): seen.value
        for at in chain(firing)
        for seen in at.reads
        if isinstance(seen.item, Number)
        and not isinstance(seen.item, Flag | Mode)
        and not seen.item.wire
        and at is firing
    }
    return tuple(found.items())


def _sent_as(firing: Firing) -> Firing:
    """What the transmitter did for an edge at the far end of a line."""
    while of_line(firing) and (firing.causes or firing.parent):
        firing = firing.causes[0] if firing.causes else firing.parent or firing
    return firing


def _high(history: History, writer: Firing, tick: int) -> Iterator[Edge]:
    """The rise since which a line is high for the receiver, for those who keep it so."""
    for cause in writer.causes:
        for edge in edges_of([cause]):
            rise = _sent_as(cause)
            kept = keepers(history, rise, tick - (edge.tick - rise.tick))
            yield replace(edge, presses=kept or edge.presses)


def _gone_by(
    history: History, firing: Firing
) -> tuple[tuple[Edge, ...], tuple[tuple[int, Edge], ...]]:
    """The edges that a firing goes back to within its machine, and the levels that it took."""
    edges: dict[Edge, None] = {}
    high: dict[tuple[int, Edge], None] = {}
    todo, seen = [firing, *firing.passed_over], {firing}
    for at in todo:  # grows on the way
        edges.update(dict.fromkeys(edges_of(at.causes)))
        levels = [s.writer for s in at.reads if _is_level(s) and s.writer is not None]
        for writer in levels:
            if (at.fired or at is firing) and of_receiver(writer):
                for edge in _high(history, writer, at.tick):
                    high[at.tick, edge] = None
        before = [*at.causes, *([at.parent] if at.parent else [])]
        before += [s.writer for s in at.reads if s.writer is not None and not s.at_rest]
        for one in before:
            if one.machine == firing.machine and one not in seen:
                seen.add(one)
                todo.append(one)
    by_tick = sorted(edges, key=lambda edge: edge.tick)
    return tuple(by_tick), tuple(sorted(high, key=lambda h: (h[0], h[1].line)))


__all__ = [
    "Edge",
    "InMode",
    "Reading",
    "chain",
    "edges_at",
    "edges_of",
    "in_mode",
    "keepers",
    "mode_before",
    "of_line",
    "of_receiver",
    "reading",
    "short",
    "sources",
]
