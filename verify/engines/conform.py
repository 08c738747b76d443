"""Does a run that was recorded agree with the model? All ways in which the model may have run.

What nobody knows (constants, picks) makes several runs possible; those that contradict what
was recorded are dropped, equal ones are one. The recording parts from the model in the tick in
which the last is gone. Exact, and no more is held than the ways that are open.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import islice
from math import ceil
from typing import Any, Literal, TypeAlias

from verify.engines.concrete import Compiled, Occurrence, State
from verify.language.machine import System
from verify.language.picks import picks_of
from verify.parts.player import Edge
from verify.parts.script import Chosen
from verify.units import Ticks

# More ways than this at once, and nothing is said.
MOST_WAYS = 20_000
# So many steps of ways are remembered.
MOST_KNOWN = 20_000

Waiting: TypeAlias = tuple[tuple[int, int], ...]
"""What has come on one side only: since how many parts of a tick, and which edge."""


Made: TypeAlias = tuple[Chosen, ...]
"""What the world picked, times in parts of a tick."""


class TooManyWaysError(Exception):
    """More ways are possible than are followed."""


@dataclass(frozen=True)
class Reason:
    """Why a way was dropped: what came, at ``tick``, on one side only (``model``, ``recording``),
    and the edges that came on the other side then; ``edge`` -1: the levels at the beginning."""

    tick: int
    edge: int
    side: Literal["model", "recording"]
    instead: tuple[int, ...] = ()


@dataclass(frozen=True)
class _Way:
    system: int
    state: State
    levels: int
    model: Waiting = ()
    recorded: Waiting = ()


_Key: TypeAlias = tuple[_Way, int, tuple[int, ...], tuple[int, ...], Ticks]


class Follower:
    """Follows one recording through systems that play its edges, as ``stretch`` builds them.

    ``compared``: number of each edge that is compared, by what happens; edges come in pairs of
    rise and fall, ``wires`` says which pairs have levels. ``scale``: parts of a tick in which
    the systems count. ``tolerance``, ticks, may be set at any time; so may ``look``, which is
    called again and again and may raise.
    """

    def __init__(
        self,
        systems: Sequence[System],
        compared: Mapping[Edge, int],
        wires: bool,
        scale: int = 1,
    ) -> None:
        self.compiled = [Compiled(system) for system in systems]
        self.picks = any(next(picks_of(system), None) is not None for system in systems)
        self.compared, self.wires, self.scale = compared, wires, scale
        # A strike is over at once: it has no level.
        self.leveled = frozenset(e for e in compared.values() if e ^ 1 in compared.values())
        # Where time is dense, both edges of a pulse may lie in what a recording has as one tick.
        self.unseen = wires and scale > 1
        self.tolerance: Ticks = 0
        self.look: Callable[[], None] | None = None
        self._known: dict[_Key, list[tuple[_Way, Made]]] = {}
        self.now: Ticks = -1
        self.ways: list[_Way] = []
        self.reasons: list[Reason] = []
        self.comparing = True
        # Where a run is to be told in the end: of each way of each tick the one before it, and
        # what was picked between.
        self.before: list[dict[_Way, tuple[_Way, Made]]] | None = None

    def begin(self, leads: Iterable[Ticks], up: Sequence[int], levels: int | None) -> None:
        """All states at power-up, ``leads`` ticks before the recording; ``up``: edges played at
        once then. ``levels``: those recorded at the beginning, None: not to be compared."""
        found: dict[_Way, None] = {}
        for lead in leads:
            self.now, self.comparing = -1 - lead, False
            self.ways = [
                _Way(k, state, 0)
                for k, compiled in enumerate(self.compiled)
                for state in islice(compiled.starts(), MOST_WAYS + 1)
            ]
            if lead:
                self.advance(-lead, up, ())
                self.advance(-1, (), ())
            found |= dict.fromkeys(self.ways)
            if len(found) > MOST_WAYS:
                raise TooManyWaysError
        self.now, self.comparing = -1, True
        self.ways = list(found)
        if levels is not None:
            self.compare_levels(levels)

    def compare_levels(self, levels: int) -> None:
        """Drop the ways that show other levels now; from here on edges are compared."""
        right = [way for way in self.ways if way.levels == levels]
        self.comparing = True
        if not right and self.ways:
            wrong = (self.ways[0].levels ^ levels).bit_length() - 1
            shown = self.ways[0].levels >> wrong & 1
            side: Literal["model", "recording"] = "model" if shown else "recording"
            self.reasons = [Reason(int(self.now) + 1, 2 * wrong, side)]
        # Levels follow from edges, now that these agree.
        found: dict[_Way, tuple[_Way, Made]] = {}
        for way in right:
            found.setdefault(_Way(way.system, way.state, 0), (way, ()))
        self.ways = list(found)
        if self.before is not None:
            self.before.append(found)

    def advance(self, to: Ticks, played: Sequence[int], recorded: Sequence[int]) -> bool:
        """On to tick ``to``, in which these edges are played, and those were recorded at the
        other end. False if no way is left: then ``reasons`` says why."""
        reasons: list[Reason] = []
        found: dict[_Way, tuple[_Way, Made]] = {}
        passed = int((to - self.now) * self.scale)
        for k, way in enumerate(self.ways):
            if self.look is not None and not k % 64:
                self.look()
            for after, made in self._walked(way, passed, played, recorded, to, reasons):
                found.setdefault(after, (way, made))
            if len(found) > MOST_WAYS:
                raise TooManyWaysError
        self.now, self.ways = to, list(found)
        if self.before is not None:
            self.before.append(found)
        if not found:
            last = max(reason.tick for reason in reasons)
            self.reasons = list(dict.fromkeys(r for r in reasons if r.tick == last))
        return bool(found)

    def _walked(
        self,
        way: _Way,
        passed: int,
        played: Sequence[int],
        recorded: Sequence[int],
        to: Ticks,
        reasons: list[Reason],
    ) -> Iterable[tuple[_Way, Made]]:
        """``_walk``, remembered: a long recording does the same again and again."""
        if not self.comparing or self.before is not None:
            return self._walk(way, passed, played, recorded, to, reasons)
        key = way, passed, (*played,), (*recorded,), self.tolerance
        known = self._known.get(key)
        if known is None:
            before = len(reasons)
            known = [
                (after, ()) for after, _ in self._walk(way, passed, played, recorded, to, reasons)
            ]
            if len(reasons) == before:  # which tell of this tick
                if len(self._known) >= MOST_KNOWN:
                    self._known.clear()
                self._known[key] = known
        return known

    def _walk(
        self,
        way: _Way,
        passed: int,
        played: Sequence[int],
        recorded: Sequence[int],
        to: Ticks,
        reasons: list[Reason],
    ) -> Iterator[tuple[_Way, Made]]:
        compiled = self.compiled[way.system]
        open_ways: list[tuple[_Way, int, Made]] = [(way, passed, ())]
        while open_ways:
            here, left, made = open_ways.pop()
            event = compiled.next_event(here.state)
            if event is None or event >= left:
                if left == 0:
                    yield here, made
                    continue
                at = int(to * self.scale)
                for state, said, picked in self._step(compiled, here.state, left, played):
                    after = self._matched(here, state, said, left, recorded, to, 0, reasons)
                    if after is not None:
                        yield after, _with(made, at, picked)
                continue
            left -= event
            at = int(to * self.scale) - left
            for state, said, picked in self._step(compiled, here.state, event, ()):
                after = self._matched(here, state, said, event, (), to, left, reasons)
                if after is not None:
                    open_ways.append((after, left, _with(made, at, picked)))

    def _step(
        self, compiled: Compiled, state: State, passed: int, played: Sequence[int]
    ) -> Iterable[tuple[State, list[Occurrence], tuple[tuple[str, int], ...]]]:
        if self.picks:
            return compiled.outcomes(state, passed, played)
        result = compiled.step(state, passed, played)
        return () if result is None else ((*result, ()),)

    def told(self) -> tuple[_Way, Made]:
        """Of the ways that are left one, from its beginning: the state it began in, and picks.
        ``before`` must have been kept since then."""
        way = self.ways[0]
        picks: list[Chosen] = []
        for tick in reversed(self.before or []):
            way, made = tick[way]
            picks += reversed(made)
        return way, tuple(reversed(picks))

    def _matched(
        self,
        way: _Way,
        state: State,
        said: list[Occurrence],
        passed: int,
        recorded: Sequence[int],
        to: Ticks,
        before: int,
        reasons: list[Reason],
    ) -> _Way | None:
        """The way after a tick, ``before`` parts of a tick before ``to``; None if it is wrong."""
        compared = self.compared
        came = [compared[event] for event in said if event in compared] if said else []
        if not came and not recorded and not way.model and not way.recorded:
            return _Way(way.system, state, way.levels)
        if not self.comparing:
            levels = way.levels
            for edge in came if self.wires else ():
                if edge not in self.leveled:
                    continue
                bit = 1 << edge // 2
                levels = levels & ~bit if edge % 2 else levels | bit
            return _Way(way.system, state, levels)
        late = int(self.tolerance * self.scale)
        model = [(age + passed, edge) for age, edge in way.model]
        seen = [(age + passed, edge) for age, edge in way.recorded]
        if self.unseen:
            _leave_out(model, late, to * self.scale - before, self.scale, last=False)
        if not self._in_time(model, seen, late, to, before, reasons, last=False):
            return None
        for edge in came:
            _meet(edge, seen, model)
        for edge in recorded:
            _meet(edge, model, seen, late)
        if self.unseen:
            _leave_out(model, late, to * self.scale - before, self.scale, last=True)
        if not self._in_time(model, seen, late, to, before, reasons, last=True):
            return None
        return _Way(way.system, state, 0, tuple(model), tuple(seen))

    def _in_time(
        self,
        model: list[tuple[int, int]],
        seen: list[tuple[int, int]],
        late: int,
        to: Ticks,
        before: int,
        reasons: list[Reason],
        *,
        last: bool,
    ) -> bool:
        """Nothing has waited longer than ``late``, after the ``last`` chance to be met not as
        long; else a reason is noted."""
        oldest_model = model[0][0] if model else -1
        oldest_seen = seen[0][0] if seen else -1
        if _not_over(oldest_seen, late, last):
            if _not_over(oldest_model, late, last):
                return True
            if self.unseen and model[0][1] in self.leveled:
                # What it shares a tick with may still come.
                now = to * self.scale - before
                if in_one_tick(now - oldest_model, now, late, self.scale, later=last):
                    return True
        self._note(model, seen, oldest_model >= oldest_seen, to, before, reasons)
        return False

    def _note(
        self,
        model: list[tuple[int, int]],
        seen: list[tuple[int, int]],
        mine: bool,
        to: Ticks,
        before: int,
        reasons: list[Reason],
    ) -> None:
        age, edge = (model if mine else seen)[0]
        others = tuple(other for _, other in (seen if mine else model))
        tick = int(to) - -(-(before + age) // self.scale)
        reasons.append(Reason(tick, edge, "model" if mine else "recording", others))


def _with(made: Made, at: int, picked: tuple[tuple[str, int], ...]) -> Made:
    return (*made, *(Chosen(at, name, value) for name, value in picked)) if picked else made


def _not_over(age: int, most: int, last: bool) -> bool:
    return age < 0 or age < most or (age == most and not last)


def _meet(
    edge: int, waiting: list[tuple[int, int]], own: list[tuple[int, int]], late: int | None = None
) -> None:
    """An edge meets the oldest one of its kind that waits on the other side, no longer than
    ``late``, or waits itself."""
    for entry in waiting:
        if entry[1] == edge and (late is None or entry[0] <= late):
            waiting.remove(entry)
            return
    own.append((0, edge))


def _leave_out(
    model: list[tuple[int, int]], late: int, now: Ticks, scale: int, *, last: bool
) -> None:
    """Of what the model did, pulses that no recording in whole ticks needs to have."""
    for entry in [*model]:
        age, edge = entry
        mate = next((e for e in model if e[1] == edge ^ 1 and e is not entry), None)
        if mate is None or entry not in model or _not_over(age, late, last):
            continue
        one, other = now - age, now - mate[0]
        if in_one_tick(one, other, late, scale):
            model.remove(entry)
            model.remove(mate)


def in_one_tick(one: Any, other: Any, late: int, scale: int, *, later: bool = False) -> bool:
    """Two times, the first no later, are both within ``late`` of one whole tick, which has
    ``scale`` parts; numbers, or linear in unknowns (``regions``). ``later``: so is one that comes
    after them, soon enough."""
    least = other - late
    low, high = (least, least) if isinstance(least, int | Fraction) else least.bounds()
    for tick in range(ceil(Fraction(low) / scale), ceil(Fraction(high) / scale) + 1):
        if least < tick * scale or (not later and least == tick * scale):
            return bool(one + late >= tick * scale)
    return False
