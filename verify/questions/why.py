"""Why a run failed: the moment at which it went wrong, derived by running the machines again.

An output that acted though it should not have: what the receiver did then, and what it had to
go by. One that did not act: where the run parts from that of the press by itself.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from verify.engines.observed import Firing, History, Observed, observed
from verify.engines.simulator import NotAllowedError
from verify.engines.trace import Press, Script, Trace
from verify.language.machine import Each
from verify.language.state import Number, Timer
from verify.parts import player, signals
from verify.parts.clock import PERIOD
from verify.parts.link import Link
from verify.parts.signals import paused
from verify.questions.causes import (
    Edge,
    InMode,
    Reading,
    chain,
    edges_at,
    in_mode,
    mode_before,
    of_line,
    of_receiver,
    reading,
    short,
    sources,
)
from verify.questions.parting import Parting, parting


@dataclass(frozen=True)
class State:
    """A place that was otherwise than for the press by itself: its name, its value (of a timer
    what was left), the tick at which it was written (None: never) and for which presses."""

    name: str
    value: int
    since: int | None
    presses: tuple[Press, ...]
    timer: bool


@dataclass(frozen=True)
class Kept:
    """At ``tick`` the transmitter did not do by its rule ``wanted`` what it does for the press
    by itself; ``instead``: the rule that acted in its place. ``edge``: the line that should have
    risen (or fallen), and if it had been high by then, the rise at the transmitter's end.
    ``done``: the other tick at which it did so."""

    tick: int
    wanted: str
    instead: str | None
    mode: InMode | None
    state: State | None
    edge: tuple[int, bool] | None = None
    high: Edge | None = None
    done: int | None = None


@dataclass(frozen=True)
class Brought:
    """The line did not bring an edge that should have come at ``tick``; ``came``: when the edge
    for the press came (None: never). ``undisturbed``: held against a line that does nothing to
    it."""

    up: bool
    tick: int
    came: int | None
    line: int
    undisturbed: bool


@dataclass(frozen=True)
class Why:
    """What went wrong first. All empty: nothing is known of the machines.

    ``reading``: what the receiver did, ``kept``: what the transmitter did not, ``brought``: what
    the line did not. ``found``: the mode in which the receiver was therefore at ``found_at``;
    ``restarted``: its timer that started anew. ``sender``: of a receiver that took the line at a
    time of its own, the tick at which that had left the transmitter, and where this was in its
    round then.

    ``alone``: the press fails by itself. ``sent``, ``rises``: the lines that rose for it, and
    when, at the transmitter and at the receiver; ``left_in``: the mode of the receiver at the
    end; ``places``: where the transmitter was then, if it goes round by itself; ``samples``: when
    the receiver took the line at times of its own since then, and where it was in its round.
    """

    reading: Reading | None = None
    restarted: str | None = None
    kept: Kept | None = None
    brought: Brought | None = None
    found: InMode | None = None
    found_at: int | None = None
    press: Press | None = None
    alone: bool = False
    sent: tuple[tuple[int, int], ...] = ()
    rises: tuple[tuple[int, int], ...] = ()
    left_in: InMode | None = None
    places: tuple[tuple[str, int], ...] = ()
    sender: tuple[int, tuple[tuple[str, int], ...]] | None = None
    samples: tuple[tuple[int, tuple[tuple[str, int], ...]], ...] = ()


def why_struck(link: Link, script: Script, branch: int, output: int, tick: int) -> Why:
    """Why an output acted (of a lever: went up or down) at a tick of a run."""
    link = _unbound(link)
    machine = observed(link, script)
    history = _run(machine, link, script, tick)
    acted = history and _acting(history, branch, output, tick)
    # Into an end that was played nobody sees.
    if not history or not acted or acted.machine == player.MACHINE:
        return Why()
    read = reading(history, acted)
    return Why(reading=read, sender=_sender(history, link, script, branch, read))


def why_missed(
    link: Link, trace: Trace, press: Press, branch: int, output: int, due: tuple[int, int]
) -> Why:
    """Why a press did not bring its strike in the ticks ``due``, first and last, of a run."""
    link, script, last = _unbound(link), trace.script, due[1]
    machine = observed(link, script)
    real = _run(machine, link, script, last)
    if real is None:
        return Why()
    by_itself: History | None = None
    for like, undisturbed in _alone(link, script, press):
        lone = _run(machine, link, like, last, calm=undisturbed)
        by_itself = by_itself or lone
        acted = lone and _first_acting(lone, branch, output, max(press.tick, due[0]), last)
        if not acted:
            continue
        if _acting(real, branch, output, acted.tick):
            continue
        assert lone is not None
        goal = _ignored(lone, real, press) or acted
        why = _told(real, parting(goal, real), press, branch, undisturbed)
        if why.reading is None:
            return why
        sender = _sender(real, link, script, branch, why.reading)
        return replace(why, sender=sender)
    if by_itself is None:
        return Why()
    modes = [m for m in by_itself.at_last if m.machine.startswith(f"receiver{branch}")]
    left_in = in_mode(modes[-1]) if modes else None
    sent, rises = (
        _rises(by_itself, press, r"line(\d+)"),
        _rises(by_itself, press, rf"line(\d+)\.branch{branch}"),
    )
    places = _places(by_itself, last)
    return Why(
        press=press,
        alone=True,
        sent=sent,
        rises=rises,
        left_in=left_in,
        places=places,
        samples=_samples(by_itself, press, branch),
    )


def _sender(
    real: History, link: Link, script: Script, branch: int, read: Reading
) -> tuple[int, tuple[tuple[str, int], ...]] | None:
    """Where the transmitter was in its round when it sent what a sample took; None where the
    receiver does not sample by itself, or the line does more than to be late."""
    faults = link.faults
    if read.edges or read.mode is not None or not read.numbers or faults.unrest or faults.skew:
        return None
    tick = read.tick - script.delay - link.branches[branch] * script.resolution
    places = _places(real, tick)
    return (tick, places) if places and tick >= 0 else None


def _places(real: History, until: int) -> tuple[tuple[str, int], ...]:
    """Where the transmitter was in its round at a tick."""
    outside = ("receiver", "line", "clock", "pause", "operator")
    found = real.round_at(until)
    return tuple((short(n), v) for n, v in sorted(found.items()) if not n.startswith(outside))


def _samples(
    real: History, press: Press, branch: int
) -> tuple[tuple[int, tuple[tuple[str, int], ...]], ...]:
    """Ticks from a press on in which a timer of a receiver that goes round made it act, and the
    places of its round then."""
    name = f"receiver{branch}"
    ticks = {f.tick for f in real.fired() if f.machine == name and f.ran_out}
    found = []
    for tick in sorted(t for t in ticks if t >= press.tick):
        own = {n: v for n, v in real.round_at(tick).items() if n.startswith(f"{name}.")}
        if own:
            found.append((tick, tuple((short(n), v) for n, v in sorted(own.items()))))
    return tuple(found)


def _unbound(link: Link) -> Link:
    """The link with an operator that may press at any time; the run may be one of a search for
    what the operator may do."""
    return link.with_operator(spacing=0, repeat=0, pairs=None, overlap=None)


def _alone(link: Link, script: Script, press: Press) -> Iterator[tuple[Script, bool]]:
    """The press by itself (of a lever: all its moves), disturbed as in the run, or not at all."""
    keep: tuple[Press, ...] = (press,)
    if link.kind == "level":
        keep = tuple(p for p in script.presses if p.input == press.input)
    like = replace(script, presses=keep)
    yield like, False
    if script.picks or script.constants:
        on_time = tuple(
            (name, script.resolution if name == PERIOD else value)
            for name, value in script.constants
            if not name.endswith(".late")
        )
        yield replace(like, picks=(), constants=on_time), True
    if link.any_start:
        yield replace(like, picks=(), constants=()), True


def _run(
    machine: Observed, link: Link, script: Script, until: int, *, calm: bool = False
) -> History | None:
    try:
        return machine.history(link, script, until, calm=calm)
    except NotAllowedError:
        return None


def _acts(history: History, branch: int, output: int) -> Iterator[Firing]:
    """The receiver's firings that made an output act."""
    for firing in history.fired():
        for signal, values in firing.emitted:
            if signal in (signals.strike(branch), signals.rest(branch)) and values == (output,):
                yield next((c for c in firing.causes if of_receiver(c)), firing)


def _acting(history: History, branch: int, output: int, tick: int) -> Firing | None:
    return next((f for f in _acts(history, branch, output) if f.tick == tick), None)


def _first_acting(
    history: History, branch: int, output: int, first: int, last: int
) -> Firing | None:
    acts = (f for f in _acts(history, branch, output) if first <= f.tick <= last)
    return next(acts, None)


def _ignored(lone: History, real: History, press: Press) -> Firing | None:
    """What the transmitter does with a press by itself, if in the run it did nothing with it."""
    idle = {f.key for f in real.fired() if not f.acted}
    for firing in lone.fired():
        turn = firing.parent
        if turn is None or not isinstance(turn.rule, Each) or not firing.acted:
            continue
        of_press = turn.tick == press.tick and turn.bound == ((press.input,),)
        if of_press and _transmits(turn) and turn.key in idle:
            return firing
    return None


def _transmits(firing: Firing) -> bool:
    others = ("operator", "receiver", "outputs", "line")
    return bool(firing.machine) and not firing.machine.startswith(others)


def _rises(real: History, press: Press, end: str) -> tuple[tuple[int, int], ...]:
    """Which lines rose for a press at one of their ends, and when."""
    found = [
        (int(match[1]), firing.tick)
        for firing in real.fired()
        for signal, _ in firing.emitted
        if (match := re.fullmatch(rf"{end}\.rise", signal.name)) and press in sources(firing)
    ]
    return tuple(dict.fromkeys(found))


# -- what was missing, told -----------------------------------------------------


def _told(real: History, found: Parting, press: Press, branch: int, undisturbed: bool) -> Why:
    wanted = found.wanted
    if of_line(wanted):
        return Why(press=press, brought=_brought(real, found.arrived or wanted, press, undisturbed))
    if not of_receiver(wanted):
        return Why(press=press, kept=_kept(real, found, press))
    tick = wanted.tick
    came = edges_at(real, branch, tick)
    mode = mode_before(real, wanted.machine, tick)
    culprit = _undoing(real, found)
    busy = mode is not None and not mode.at_rest and press not in mode.presses
    item = None if found.state is None else found.state.item
    level = isinstance(item, Number) and item.wire
    stopped = culprit is not None and any(
        signal.name == paused("receiver").name
        for at in chain(culprit)
        for cause in at.causes
        for signal, _ in cause.emitted
    )
    if (
        culprit is None
        or not of_receiver(culprit)
        or culprit.tick < press.tick
        or busy
        or level
        or stopped
    ):
        at = found.at and _acted(real, found.at)
        return Why(reading=None if at is None else reading(real, at, came))
    turned = mode if mode is not None and mode.at_rest and culprit.tick < tick else None
    anew = short(item.name) if isinstance(item, Timer) and turned is None else None
    return Why(reading=reading(real, culprit), restarted=anew, found=turned, found_at=tick)


def _undoing(real: History, found: Parting) -> Firing | None:
    """What first undid what the receiver had remembered, else what last wrote where it parted."""
    undone = found.undone
    if undone is not None and found.state is not None and of_receiver(undone):
        places = {item for item, _ in undone.wrote}
        for firing in real.fired():
            if undone.tick < firing.tick and places & {item for item, _ in firing.wrote}:
                return firing
    return None if found.state is None else found.state.writer


def _acted(real: History, tried: Firing) -> Firing:
    """The rule that acted where one was tried in vain before it."""
    return next((f for f in real.fired() if tried in f.passed_over), tried)


def _kept(real: History, found: Parting, press: Press) -> Kept:
    wanted, seen = found.wanted, found.state
    state = None
    if seen is not None:
        writer = seen.writer
        state = State(
            short(seen.item.name),
            seen.value,
            None if writer is None else writer.tick,
            () if writer is None else sources(writer),
            isinstance(seen.item, Timer),
        )
    instead = None if found.instead is None else found.instead.called
    mode = mode_before(real, wanted.machine, wanted.tick)
    edge = next((e for signal, _ in wanted.emitted if (e := _near(signal.name))), None)
    high = None if edge is None or not edge[1] else _high(real, edge[0], wanted.tick)
    done = None
    if instead is None and found.tried is None:
        again = [f.tick for f in real.fired() if f.rule is wanted.rule and press in sources(f)]
        done = min((t for t in again if t > press.tick), default=None)
    return Kept(wanted.tick, wanted.called, instead, mode, state, edge, high, done)


def _near(signal: str) -> tuple[int, bool] | None:
    """The line and whether it rises, of a signal at the transmitter's end."""
    match = re.fullmatch(r"line(\d+)\.(rise|fall)", signal)
    return None if match is None else (int(match[1]), match[2] == "rise")


def _high(real: History, line: int, tick: int) -> Edge | None:
    """The rise since which a line is high at the transmitter's end, just before a tick is over."""
    since: Edge | None = None
    for firing in real.fired():
        for signal, _ in firing.emitted:
            if firing.tick <= tick and (near := _near(signal.name)) and near[0] == line:
                since = Edge(line, True, firing.tick, sources(firing)) if near[1] else None
    return since


def _brought(real: History, wanted: Firing, press: Press, undisturbed: bool) -> Brought:
    number = int("".join(c for c in wanted.machine.partition(".")[0] if c.isdigit()) or 0)
    up = any(signal.name.endswith(".rise") for signal, _ in wanted.emitted)
    kind = "rise" if up else "fall"
    came = [
        firing.tick
        for firing in real.fired()
        for signal, _ in firing.emitted
        if signal.name.startswith(f"line{number}.branch")
        and signal.name.endswith(f".{kind}")
        and "late" not in signal.name
        and press in sources(firing)
        and firing.tick > wanted.tick
    ]
    return Brought(up, wanted.tick, min(came, default=None), number, undisturbed)


__all__ = ["Brought", "Kept", "State", "Why", "why_missed", "why_struck"]
