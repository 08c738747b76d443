"""A naive second opinion on pulse-gap and wire-per-input: every tick, every short sequence.

Written from the design and from the choices listed in DEVELOPERS.md, on purpose without a
look at the engines: nothing is imported from ``verify`` or ``models``, there is no event, no
timer and no state, only lists of truth values indexed by tick, and all sequences tried.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations_with_replacement, product

Presses = tuple[tuple[int, int], ...]  # (tick, input), ascending
Wave = list[bool]  # one truth value per tick


@dataclass(frozen=True)
class Build:
    """A link in plain numbers (ticks). ``gaps`` None: one wire per input."""

    inputs: int
    gaps: tuple[int, ...] | None = None
    pulse: int = 1
    window: tuple[int | tuple[int, int], ...] = ()
    busy: str = "overlay"
    depth: int = 1
    receiver: str = "timer"
    on_miss: str = "disarm"
    spacing: int = 0
    repeat: int = 0
    hold: int = 1
    overlap: int | None = None
    together: bool = False
    may_miss: bool = False
    delay: tuple[int, int] = (0, 0)
    branches: tuple[int, ...] = (0,)
    within: tuple[int, int] | None = None

    def accepts(self, output: int, elapsed: int) -> bool:
        """The time from rise to rise is in the window of this output."""
        assert self.gaps is not None
        before, after = self._sides(output)
        return self.gaps[output] - before <= elapsed <= self.gaps[output] + after

    def _sides(self, output: int) -> tuple[int, int]:
        window = self.window[output]
        return (window, window) if isinstance(window, int) else window

    @property
    def longest_wait(self) -> int:
        """No rise after a longer time can be a second pulse."""
        assert self.gaps is not None
        return max(gap + self._sides(i)[1] for i, gap in enumerate(self.gaps))

    def send_time(self, index: int) -> int:
        """A sender that does not overlay: both pulses, and one low tick."""
        assert self.gaps is not None
        return self.gaps[index] + self.pulse + 1


@dataclass(frozen=True)
class Failed:
    """First tick in which something was wrong, and all that was wrong in it."""

    tick: int
    kinds: frozenset[str]


# -- the operator ---------------------------------------------------------------


def allowed(build: Build, presses: Presses) -> bool:
    """The operator may do this."""
    for n, (now, index) in enumerate(presses):
        for then, other in presses[:n]:
            if now - then < build.spacing and not (build.together and now == then):
                return False
            if index == other and now - then < max(build.repeat, build.hold + 1):
                return False
        held = sum(then <= now < then + build.hold for then, _ in presses[: n + 1])
        if build.overlap is not None and held > build.overlap:
            return False
    return True


# -- from presses to strikes ----------------------------------------------------


def near_ends(build: Build, presses: Presses, ticks: int) -> list[Wave]:
    """What the transmitter puts on each line."""
    if build.gaps is None:
        lines = [[False] * ticks for _ in range(build.inputs)]
        for then, index in presses:
            _pulse(lines[index], then, build.hold)
        return lines
    line = [False] * ticks
    for start, index in _sends(build, presses, ticks):
        _pulse(line, start, build.pulse)
        _pulse(line, start + build.gaps[index], build.pulse)
    return [line]


def _pulse(line: Wave, start: int, width: int) -> None:
    for tick in range(start, start + width):
        line[tick] = True


def _sends(build: Build, presses: Presses, ticks: int) -> list[tuple[int, int]]:
    """When each send starts, and for which input."""
    if build.busy == "overlay":
        return list(presses)
    sends: list[tuple[int, int]] = []
    waiting: list[int] = []
    free_at = 0
    for now in range(ticks):
        if waiting and now == free_at:
            index = waiting.pop(0)
            sends.append((now, index))
            free_at = now + build.send_time(index)
        for then, index in presses:
            if then != now:
                continue
            if now >= free_at:
                sends.append((now, index))
                free_at = now + build.send_time(index)
            elif build.busy == "queue" and len(waiting) < build.depth:
                waiting.append(index)
    return sends


def later(line: Wave, delay: int) -> Wave:
    """The far end of a line."""
    return ([False] * delay + line)[: len(line)]


def rises(line: Wave) -> list[int]:
    """Ticks in which the line is high after a low tick."""
    return [t for t in range(len(line)) if line[t] and not (t and line[t - 1])]


def struck(build: Build, far_ends: list[Wave]) -> list[Wave]:
    """What the receiver makes of the lines: one wave of strikes per output."""
    outputs = [[False] * len(far_ends[0]) for _ in range(build.inputs)]
    if build.gaps is None:
        for line, output in zip(far_ends, outputs, strict=True):
            for now in rises(line):
                output[now] = True
    elif build.receiver == "taps":
        seen = rises(far_ends[0])
        for now, then, i in product(seen, seen, range(build.inputs)):
            if then < now and build.accepts(i, now - then):
                outputs[i][now] = True
    else:
        armed_at: int | None = None
        for now in rises(far_ends[0]):
            if armed_at is None or now - armed_at > build.longest_wait:
                armed_at = now
                continue
            matching = [i for i in range(build.inputs) if build.accepts(i, now - armed_at)]
            for i in matching:
                outputs[i][now] = True
            armed_at = now if build.on_miss == "rearm" and not matching else None
    return outputs


def run(build: Build, presses: Presses, delay: int) -> tuple[list[Wave], list[list[Wave]]]:
    """Near ends of the lines, and per branch the strikes, until long after all is over."""
    last = presses[-1][0] if presses else 0
    ticks = last + build.hold + delay + max(build.branches) + 1
    if build.gaps is not None:
        sends = 1 if build.busy != "queue" else len(presses) + 1
        ticks += sends * (max(build.gaps) + build.pulse + 1) + build.longest_wait
    near = near_ends(build, presses, ticks)
    outputs = [struck(build, [later(line, delay + b) for line in near]) for b in build.branches]
    return near, outputs


# -- the monitor ----------------------------------------------------------------


def lone_windows(build: Build, branch: int) -> list[tuple[int, int]]:
    """Per input, when its strike is due after a press: as a lone press does, or as told."""
    if build.within is not None:
        return [build.within] * build.inputs
    least, most = build.delay
    windows = []
    for index in range(build.inputs):
        alone = run(build, ((0, index),), least)[1][branch][index].index(True)
        windows.append((alone, alone + most - least))
    return windows


def _due(
    build: Build, presses: Presses, windows: list[tuple[int, int]]
) -> list[tuple[int, int, int]]:
    """(first tick, last tick, output) for each press, oldest first."""
    due = []
    over: list[int] = []  # when each send of an ideal queue is over
    for now, index in presses:
        opens, closes = windows[index]
        held_back = 0
        if build.busy == "queue" and build.gaps is not None:
            unfinished = [end for end in over if end > now]
            if len(unfinished) <= build.depth:
                start = max([now, *unfinished])
                over.append(start + build.send_time(index))
                held_back = start - now
        due.append((now + opens, now + closes + held_back, index))
    return due


def failure(build: Build, presses: Presses, delay: int) -> Failed | None:
    """What the monitor sees first, over all branches."""
    _, outputs = run(build, presses, delay)
    found = []
    for branch, waves in enumerate(outputs):
        due = _due(build, presses, lone_windows(build, branch))
        seen = _judge(due, waves, build.may_miss)
        if seen is not None:
            found.append(seen)
    if not found:
        return None
    first = min(f.tick for f in found)
    return Failed(first, frozenset().union(*(f.kinds for f in found if f.tick == first)))


def _judge(due: list[tuple[int, int, int]], outputs: list[Wave], may_miss: bool) -> Failed | None:
    due = list(due)
    end = max([len(outputs[0]), *(closes + 1 for _, closes, _ in due)])
    for now in range(end):
        kinds = set()
        stray = []
        for output, wave in enumerate(outputs):
            if now < len(wave) and wave[now]:
                mine = [d for d in due if d[2] == output and d[0] <= now <= d[1]]
                if mine:
                    due.remove(mine[0])
                else:
                    stray.append(output)
        for output in stray:
            others = [d for d in due if d[2] != output and d[0] <= now <= d[1]]
            kinds.add("wrong-output" if others else "ghost")
        if any(closes == now for _, closes, _ in due) and not may_miss:
            kinds.add("lost")
        if kinds:
            return Failed(now, frozenset(kinds))
    return None


# -- every sequence -------------------------------------------------------------


def every_sequence(build: Build, presses: int, horizon: int) -> Iterator[Presses]:
    """All that the operator may do with so many presses, the first in tick 0."""
    for ticks in combinations_with_replacement(range(horizon + 1), presses - 1):
        for inputs in product(range(build.inputs), repeat=presses):
            sequence = tuple(zip((0, *ticks), inputs, strict=True))
            if sequence == tuple(sorted(set(sequence))) and allowed(build, sequence):
                yield sequence


def failing(build: Build, presses: int, horizon: int) -> Iterator[tuple[Presses, int, Failed]]:
    """Every sequence of so many presses that fails, with the delay of the line and the failure."""
    for sequence in every_sequence(build, presses, horizon):
        for delay in range(build.delay[0], build.delay[1] + 1):
            found = failure(build, sequence, delay)
            if found is not None:
                yield sequence, delay, found
