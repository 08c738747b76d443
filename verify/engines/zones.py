"""The explorer over times that are not fixed: states that differ in times only, taken together.

A *zone* is a state whose timers are known only by how far they lie apart (``bounds``): one
zone holds what a press at any tick between two events leads to. The step function is the
concrete one; where a comparison of times is open within a zone, both answers are followed,
each with the part of the zone in which it is right. So cost does not depend on the length
of a tick, and links that never rest (scans, drifting clocks) are explored as easily as others.

Exact for whole ticks: a bound on a difference of whole numbers is met by whole numbers. A
zone is left out when it lies within one seen before, restraints of the operator allowed to
be longer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from heapq import heappop, heappush
from itertools import count
from math import inf
from typing import Any, TypeAlias

from verify.engines import alarm
from verify.engines import zones_kept as kept
from verify.engines.answer import Answer, Budget, Delivery, Progress, SpentError, Verdict
from verify.engines.bounds import PRESENT, Bounds, Decisions, Matrix, Span, TimesError, World
from verify.engines.checkpoint import Checkpoint, DamagedError
from verify.engines.concrete import (
    BankEntry,
    BoolFn,
    Compiled,
    DoFn,
    IntFn,
    Occurrence,
    Tick,
    each_of,
    is_unknown,
)
from verify.engines.trace import Chosen, Press, Script
from verify.errors import ModelError
from verify.language import expressions as ex
from verify.language.machine import Earliest, System
from verify.language.state import Bank, Number, Timer
from verify.parts.signals import delivered, failure

# The name of the present among times that are named by the places of memory.
NOW = "now"

# Per place: a number's value; a timer's time (0: off); a bank's entries, each a time and fields.
Shape: TypeAlias = tuple[Any, ...]


@dataclass(frozen=True)
class Zone:
    """States that are alike but for times: ``shape`` names the times, ``matrix`` bounds them."""

    shape: Shape
    matrix: Matrix


@dataclass(frozen=True)
class Reached:
    """What one way through a tick leads to. ``times``: those of the new zone, in its world."""

    shape: Shape
    times: tuple[tuple[int, int], ...]
    said: list[Occurrence]
    picked: list[tuple[str, Span]]


class Stepper(Compiled):
    """The step function on zones: the concrete one, with spans for ticks left."""

    def __init__(self, system: System) -> None:
        super().__init__(system)
        self.restraint = set(self.restraints)

    # -- starts ---------------------------------------------------------------

    def zones(
        self, look: Callable[[], None] = lambda: None
    ) -> Iterator[tuple[Zone, dict[str, int]]]:
        """At power-up: one zone per choice of unknown numbers, which come with it. ``look``: as
        for ``starts``."""
        for number, places in enumerate(each_of([self._ways(item) for item in self.memory])):
            if not number % 256:
                look()
            if self.possible([_standing(place) for place in places]):
                yield self._powered(places)

    def _ways(self, item: Number | Timer | Bank) -> Sequence[Any]:
        """What a place may be at power-up: of a timer ranges, those of an off one apart."""
        if not isinstance(item, Timer):
            return self.starts_of(item)
        least, most = item.begin if isinstance(item.begin, tuple) else (item.begin,) * 2
        if least == 0 < most:
            return [(0, 0), (1, most)]
        return [(least, most)]

    def _powered(self, places: Sequence[Any]) -> tuple[Zone, dict[str, int]]:
        bounds = Bounds()
        shape: list[Any] = []
        values: dict[str, int] = {}
        for item, place in zip(self.memory, places, strict=True):
            if isinstance(item, Timer):
                shape.append(bounds.add(PRESENT, *place) if place[1] else 0)
            else:
                shape.append(place)
                if is_unknown(item):
                    values[item.name] = place
        return Zone(self.linked(shape), bounds.matrix()), values

    # -- a tick ---------------------------------------------------------------

    def elapse(self, zone: Zone) -> Bounds:
        """A tick or more goes by, up to the first end of anything that is no restraint."""
        bounds = Bounds(zone.matrix)
        present = bounds.rows[PRESENT]
        for i in range(1, len(present)):
            bounds.rows[i][PRESENT] -= 1
            present[i] = inf
        for i in self.live(zone.shape):
            if not bounds.tighten(PRESENT, i, 0):
                raise AssertionError("a timer that has run out still runs")
        return bounds

    def live(self, shape: Shape) -> Iterator[int]:
        """The times of all that is no restraint."""
        for i in self._live_timers:
            if shape[i]:
                yield shape[i]
        for i in self._live_banks:
            for entry in shape[i]:
                yield entry[0]

    def run(
        self,
        shape: Shape,
        world: World,
        taken: Sequence[int],
        spans: Callable[[int], Span],
    ) -> Reached | None:
        """One tick with the offers ``taken`` up; ``spans``: ticks left of the times of ``shape``.

        None if an offer is not open, or if nothing happens at all.
        """
        picked: list[tuple[str, Span]] = []

        def choose(pick: ex.Pick) -> Any:
            span = world.pick(pick.least, pick.most)
            picked.append((pick.name, span))
            return span

        tick = Tick([None] * len(shape), choose)
        ended = self._age(tick, shape, world, spans)
        if not taken and not ended:
            return None
        for index in taken:
            if not self._take_up(tick, index):
                return None
        for k, body in enumerate(self._bodies):
            if k in tick.woken:
                body(tick)
        signals = self.system.signals
        said = [(signals[n], values) for n, values in tick.log]
        new, times = self._settle(tick)
        return Reached(new, times, said, picked)

    def _age(self, tick: Tick, shape: Shape, world: World, spans: Callable[[int], Span]) -> bool:
        """Fill in what is left of everything; True if something other than a restraint ended."""
        ended = False
        place = tick.place
        for i, item in enumerate(self.memory):
            value = shape[i]
            if isinstance(item, Number) or not value:
                place[i] = value if isinstance(item, Number) else (0 if value == 0 else [])
                continue
            restraint = i in self.restraint
            if isinstance(item, Timer):
                left = spans(value)
                over = left.bounds()[1] <= 0 if restraint else left <= 0
                place[i] = 0 if over else left
                if over and not restraint:
                    tick.expired.append(i)
                    tick.woken.update(self._woken_by_place[i])
                    ended = True
                continue
            entries: list[Any] = []
            for time, *fields in value:
                left = spans(time)
                if restraint:
                    if left.bounds()[1] > 0:
                        entries.append((left, *fields))
                elif left <= 0:
                    entries.append((0, *fields))
                    tick.woken.update(self._woken_by_place[i])
                    ended = True
                else:
                    entries.append((left, *fields))
            place[i] = entries
        return ended

    def _settle(self, tick: Tick) -> tuple[Shape, tuple[tuple[int, int], ...]]:
        """The shape after the tick, and the times that it names."""
        times: list[tuple[int, int]] = []

        def named(left: Any) -> int:
            times.append((PRESENT, left) if isinstance(left, int) else left.after_now())
            return len(times)

        shape: list[Any] = []
        for i, item in enumerate(self.memory):
            value = tick.place[i]
            if isinstance(item, Number):
                if not isinstance(value, int):
                    raise TimesError(f"{item.name!r} holds a time")
                shape.append(value)
            elif isinstance(item, Timer):
                runs = self._runs(value, i in self.restraint)
                shape.append(named(value) if runs else 0)
            else:
                kept = [e for e in value if self._runs(e[0], i in self.restraint)]
                for entry in kept:
                    if not all(isinstance(x, int) for x in entry[1:]):
                        raise TimesError(f"{item.name!r} holds a time")
                shape.append(tuple((named(left), *fields) for left, *fields in _by_end(kept)))
        return tuple(shape), tuple(times)

    @staticmethod
    def _runs(left: Any, restraint: bool) -> bool:
        if restraint and not isinstance(left, int):
            return bool(left.bounds()[1] > 0)
        return bool(left > 0)

    # -- statements that sort or compare entries ------------------------------

    def _put(self, bank: Bank, length: IntFn, values: list[IntFn]) -> DoFn:
        i = self.where[bank]
        wakes = self._woken_by_place[i]

        def run(tick: Tick) -> None:
            left = length(tick)
            if left < 0:
                raise ModelError(f"{bank.name!r} was given an entry of a length below 0")
            if left == 0:
                left = 0
                tick.woken.update(wakes)
            tick.place[i] = [*tick.place[i], (left, *(v(tick) for v in values))]

        return run

    def _take(self, name: str) -> DoFn:
        if name not in self._scope:
            raise ModelError(f"{name!r} is taken outside the statement that binds it")
        i = self._scope[name]

        def run(tick: Tick) -> None:
            taken = tick.bound[name]
            tick.place[i] = [entry for entry in tick.place[i] if entry is not taken]

        return run

    def _earliest(self, statement: Earliest) -> DoFn:
        i = self.where[statement.bank]
        name, where = statement.name, self._bool(statement.where)
        self._scope[name] = i
        do = self._block(statement.do)
        otherwise = self._block(statement.otherwise)

        def run(tick: Tick) -> None:
            fits = [entry for entry in tick.place[i] if _holds(tick, name, where, entry)]
            if not fits:
                otherwise(tick)
                return
            tick.bound[name] = _by_end(fits)[0]
            do(tick)

        return run


def _holds(tick: Tick, name: str, where: BoolFn, entry: BankEntry) -> bool:
    tick.bound[name] = entry
    return where(tick)


def _by_end(entries: Iterable[Any]) -> list[Any]:
    """In the order in which they run out; equal ones in that of their fields."""
    ordered: list[Any] = []
    for entry in entries:
        k = len(ordered)
        while k and _sooner(entry, ordered[k - 1]):
            k -= 1
        ordered.insert(k, entry)
    return ordered


def _sooner(a: Any, b: Any) -> bool:
    if a[1:] < b[1:]:
        return bool(a[0] <= b[0])
    return bool(a[0] < b[0])


def _standing(place: Any) -> Any:
    """A range of what is left of a timer, as a number that says whether it is on."""
    return place[1] if isinstance(place, tuple) and place else place


@dataclass(frozen=True)
class _Node:
    """A reached zone and how it was reached."""

    zone: Zone
    presses: int
    parent: _Node | None
    taken: tuple[int, ...] = ()
    made: tuple[bool, ...] = ()
    values: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class _Visit:
    """Still to do at a node: its next event (group None), or one press more than ``group``."""

    node: _Node
    group: tuple[int, ...] | None


@dataclass(frozen=True)
class _Extreme:
    """A latency, and the way to it: the node before, what was taken and decided, and where."""

    ticks: int
    node: _Node
    taken: tuple[int, ...]
    made: tuple[bool, ...]
    place: int


def explore_zones(
    system: System,
    budget: Budget,
    progress: Progress,
    *,
    latencies: bool = False,
    checkpoint: Checkpoint | None = None,
) -> Answer:
    """Search every sequence that the operator of ``system`` allows; as ``explorer.explore``.

    Failures have the fewest presses; their ticks are the least of the way found. Gives up,
    ``undecided``, where a time would depend on more than two others.

    ``checkpoint``: where the search is kept, and goes on from; the answer is that of a search
    that was never cut. Raises DamagedError.
    """
    search = _Search(Stepper(system), budget, progress, latencies)
    if checkpoint is None:
        return search.run()
    with checkpoint.unbroken():
        return search.run_kept(checkpoint)


def zones_of(system: System, budget: Budget, progress: Progress) -> tuple[Answer, list[Zone]]:
    """The answer about a system, and the zones met: if it holds, every step from one of them
    ends in one of them."""
    search = _Search(Stepper(system), budget, progress, False)
    return search.run(), search.seen.zones


class _Search:
    def __init__(
        self, stepper: Stepper, budget: Budget, progress: Progress, latencies: bool
    ) -> None:
        self.stepper = stepper
        self.budget, self.progress, self.latencies = budget, progress, latencies
        self.count = self.stepper.count
        self.heap: list[tuple[int, int, _Visit]] = []
        self.order = count()
        self.seen = _Seen(self.stepper)
        self.best: dict[int, _Extreme] = {}
        self.worst: dict[int, _Extreme] = {}
        self.failed: Script | None = None
        self.failed_by: tuple[_Node, tuple[int, ...], tuple[bool, ...]] | None = None
        self.nodes: list[_Node] = []  # those whose zones were seen, of a search that is kept
        self.checkpoint: Checkpoint | None = None

    def run_kept(self, checkpoint: Checkpoint) -> Answer:
        """As ``run``, from where the search was when it was kept."""
        self.checkpoint = checkpoint
        if checkpoint.found is None:
            return self.run()
        try:
            self._resume(checkpoint.found)
            return self.run(begun=True)
        except (IndexError, KeyError, TypeError, ValueError, AssertionError, ModelError):
            raise DamagedError from None

    def run(self, *, begun: bool = False) -> Answer:
        """``begun``: what it may begin with has been seen to."""
        try:
            for number, (zone, values) in enumerate(
                () if begun else self.stepper.zones(self.budget.look)
            ):
                self._reach(_Node(zone, 0, None, values=values))
                if self.budget.spent(number):
                    return self._answer(Verdict.UNDECIDED, "nothing")
            while self.heap:
                if self.checkpoint is not None and self.checkpoint.due():
                    self.checkpoint.save(self._far())
                presses, _, visit = heappop(self.heap)
                self.progress.presses = presses
                if self._follow(visit):
                    return self._answer(Verdict.FAILS, "")
                if self.budget.spent(self.progress.states):
                    if self.checkpoint is not None:
                        with alarm.unbroken():
                            self.checkpoint.save(self._far())
                    shorter = f"all sequences of fewer than {presses} presses"
                    return self._answer(Verdict.UNDECIDED, shorter)
        except TimesError as reason:
            return self._answer(Verdict.UNDECIDED, f"nothing: {reason}")
        except SpentError:
            return self._answer(Verdict.UNDECIDED, "nothing")
        return self._answer(Verdict.HOLDS, f"all {self.progress.states} zones", complete=True)

    def _answer(self, verdict: Verdict, covered: str, *, complete: bool = False) -> Answer:
        if self.failed is not None:
            verdict = Verdict.FAILS
            if not complete:
                covered = f"{self.progress.states} zones, up to the first failure"
        best, worst = (
            {i: Delivery(e.ticks, self._way_to(e)) for i, e in found.items()}
            for found in (self.best, self.worst)
        )
        return Answer(verdict, "zones", self.failed, covered, complete, best, worst)

    def _push(self, node: _Node, group: tuple[int, ...] | None) -> None:
        presses = node.presses + (0 if group is None else len(group) + 1)
        heappush(self.heap, (presses, next(self.order), _Visit(node, group)))

    def _reach(self, node: _Node) -> None:
        if self.seen.covers(node.zone):
            return
        if self.checkpoint is not None:
            self.nodes.append(node)
        if any(True for _ in self.stepper.live(node.zone.shape)):
            self._push(node, None)
        self._push(node, ())

    # -- transitions ----------------------------------------------------------

    def _follow(self, visit: _Visit) -> bool:
        """Carry out a visit; True: the search is over."""
        node, group = visit.node, visit.group
        later = self.stepper.elapse(node.zone)
        if group is None:
            return self._take(node, later, ())[1]
        for index in range(group[-1] + 1 if group else 0, self.count):
            may, over = self._take(node, later, (*group, index))
            if over:
                return True
            if may and index + 1 < self.count:
                self._push(node, (*group, index))
        return False

    def _take(self, node: _Node, later: Bounds, taken: tuple[int, ...]) -> tuple[bool, bool]:
        """Every way through the tick. Whether there is one, and whether the search is over."""
        may = False
        plan: list[bool] | None = []
        while plan is not None:
            decisions = Decisions(plan)
            world = World(Bounds(later.rows), decisions)
            reached = self.stepper.run(node.zone.shape, world, taken, world.span)
            made = tuple(decisions.made)
            plan = decisions.others()
            if reached is None:
                continue
            may = True
            self.progress.states += 1
            if self._arrive(node, world, reached, taken, made):
                return True, True
        return may, False

    def _arrive(
        self,
        node: _Node,
        world: World,
        reached: Reached,
        taken: tuple[int, ...],
        made: tuple[bool, ...],
    ) -> bool:
        if any(signal == failure(0) for signal, _ in reached.said):
            if self.failed is None:
                self.failed = self._script(node, taken, made)
                self.failed_by = node, taken, made
            return not self.latencies
        if self.latencies:
            self._note(node, reached, taken, made)
        zone = Zone(reached.shape, world.bounds.select(reached.times))
        self._reach(_Node(zone, node.presses + len(taken), node, taken, made))
        return False

    # -- results --------------------------------------------------------------

    def _note(
        self, node: _Node, reached: Reached, taken: tuple[int, ...], made: tuple[bool, ...]
    ) -> None:
        for place, (signal, values) in enumerate(reached.said):
            if signal != delivered(0):
                continue
            index, ticks = values
            least, most = (ticks, ticks) if isinstance(ticks, int) else ticks.bounds()
            if index not in self.best or least < self.best[index].ticks:
                self.best[index] = _Extreme(int(least), node, taken, made, place)
            if index not in self.worst or most > self.worst[index].ticks:
                self.worst[index] = _Extreme(int(most), node, taken, made, place)

    def _way_to(self, extreme: _Extreme) -> Script:
        return self._script(extreme.node, extreme.taken, extreme.made, extreme)

    def _script(
        self,
        node: _Node,
        taken: tuple[int, ...],
        made: tuple[bool, ...],
        extreme: _Extreme | None = None,
    ) -> Script:
        steps = [(taken, made)]
        while node.parent is not None:
            steps.append((node.taken, node.made))
            node = node.parent
        return _Retraced(self.stepper, node).script(reversed(steps), extreme)

    # -- kept on the way --------------------------------------------------------

    def _far(self) -> dict[str, Any]:
        """How far the search is."""
        of = {id(node): k for k, node in enumerate(self.nodes)}
        nodes = [
            [
                *kept.listed_zone(node.zone.shape, node.zone.matrix),
                node.presses,
                -1 if node.parent is None else of[id(node.parent)],
                node.taken,
                node.made,
                list(node.values.items()),
            ]
            for node in self.nodes
        ]
        heap = [[order, of[id(visit.node)], visit.group] for _, order, visit in self.heap]
        extremes = [
            [[i, e.ticks, of[id(e.node)], e.taken, e.made, e.place] for i, e in found.items()]
            for found in (self.best, self.worst)
        ]
        failed = self.failed_by
        return {
            "states": self.progress.states,
            "nodes": nodes,
            "heap": sorted(heap),
            "extremes": extremes,
            "failed": failed and [of[id(failed[0])], *failed[1:]],
        }

    def _resume(self, far: Any) -> None:
        """Be where a search was. Raises DamagedError, or others where it is none of this system."""
        offers, memory = range(self.count), self.stepper.memory
        for shape, matrix, presses, parent, taken, made, values in far["nodes"]:
            before = range(len(self.nodes))
            node = _Node(
                Zone(*kept.zone_of([shape, matrix], memory)),
                kept.number(presses),
                None if parent == -1 else self.nodes[kept.number(parent, before)],
                kept.numbers(taken, offers),
                kept.answers(made),
                {str(name): kept.number(value) for name, value in values},
            )
            self.nodes.append(node)
            self.seen.note(node.zone)
        known = range(len(self.nodes))

        def way(at: Any, taken: Any, made: Any) -> tuple[_Node, tuple[int, ...], tuple[bool, ...]]:
            node = self.nodes[kept.number(at, known)]
            return node, kept.numbers(taken, offers), kept.answers(made)

        for order, at, group in far["heap"]:
            node = self.nodes[kept.number(at, known)]
            coming = None if group is None else kept.numbers(group, offers)
            presses = node.presses + (0 if coming is None else len(coming) + 1)
            heappush(self.heap, (presses, kept.number(order), _Visit(node, coming)))
        self.order = count(1 + max((order for _, order, _ in self.heap), default=-1))
        for found, extremes in zip((self.best, self.worst), far["extremes"], strict=True):
            for i, ticks, at, taken, made, place in extremes:
                found[kept.number(i)] = _Extreme(
                    kept.number(ticks), *way(at, taken, made), kept.number(place)
                )
        if far["failed"] is not None:
            self.failed_by = way(*far["failed"])
            self.failed = self._script(*self.failed_by)
        self.progress.states = kept.number(far["states"])


class _Seen:
    """Zones that were met, and whether one holds another."""

    def __init__(self, stepper: Stepper) -> None:
        self.stepper = stepper
        self.by_shape: dict[Shape, list[tuple[dict[Any, int], Matrix]]] = {}
        self.zones: list[Zone] = []

    def covers(self, zone: Zone) -> bool:
        """Some zone met before holds this one, longer restraints apart; else it is noted."""
        met, times, restraints = self._alike(zone)
        for other, matrix in met:
            if self._within(zone.matrix, times, matrix, other, restraints):
                return True
        met.append((times, zone.matrix))
        self.zones.append(zone)
        return False

    def note(self, zone: Zone) -> None:
        """One that no zone met before holds."""
        met, times, _ = self._alike(zone)
        met.append((times, zone.matrix))
        self.zones.append(zone)

    def _alike(
        self, zone: Zone
    ) -> tuple[list[tuple[dict[Any, int], Matrix]], dict[Any, int], dict[Any, int]]:
        """Zones met that differ in times only; the names of this one's, and of its restraints."""
        free, restraints = self._names(zone.shape)
        key = tuple(
            _bare(value) for i, value in enumerate(zone.shape) if i not in self.stepper.lenient
        )
        return self.by_shape.setdefault(key, []), {**free, **restraints}, restraints

    def _names(self, shape: Shape) -> tuple[dict[Any, int], dict[Any, int]]:
        """Names of times that are the same for all zones alike; restraints from the longest."""
        free: dict[Any, int] = {NOW: PRESENT}
        restraints: dict[Any, int] = {}
        for i, item in enumerate(self.stepper.memory):
            into = restraints if i in self.stepper.lenient else free
            if isinstance(item, Timer):
                if shape[i]:
                    into[i] = shape[i]
            elif isinstance(item, Bank):
                ranks: dict[Any, int] = {}
                for time, *fields in reversed(shape[i]):
                    rank = ranks.setdefault(tuple(fields), 0)
                    ranks[tuple(fields)] += 1
                    into[i, *fields, rank] = time
        return free, restraints

    @staticmethod
    def _within(
        mine: Matrix,
        times: dict[Any, int],
        theirs: Matrix,
        others: dict[Any, int],
        restraints: dict[Any, int],
    ) -> bool:
        """Theirs forbids nothing that mine allows: all bounds wider, but not from a restraint."""
        pairs = []
        for name, time in others.items():
            own = times.get(name)
            if own is None:
                return False
            pairs.append((time, own, name in restraints))
        for i, a, restraint in pairs:
            if restraint:
                continue
            row, own_row = theirs[i], mine[a]
            for j, b, _ in pairs:
                if own_row[b] > row[j]:
                    return False
        return True


def _bare(value: Any) -> Any:
    """Of a place, all but its times."""
    if isinstance(value, tuple):
        return tuple(tuple(entry[1:]) for entry in value)
    return value


class _Retraced:
    """A way through zones, walked again with every time kept: gives the soonest ticks of it."""

    def __init__(self, stepper: Stepper, root: _Node) -> None:
        self.stepper, self.root = stepper, root
        self.bounds = Bounds(root.zone.matrix)
        # The numbers of the times that the shape names; the present moves on.
        self.alias = list(range(len(root.zone.matrix)))
        self.now = PRESENT
        self.taken: list[tuple[int, tuple[int, ...]]] = []
        self.picks: list[tuple[int, str, int]] = []

    def script(
        self, steps: Iterable[tuple[tuple[int, ...], tuple[bool, ...]]], extreme: _Extreme | None
    ) -> Script:
        """The run with the soonest ticks."""
        shape = self.root.zone.shape
        begun = dict(self._begun())
        reached: Reached | None = None
        for taken, made in steps:
            shape, reached = self._step(shape, taken, made)
        if extreme is not None and reached is not None:
            self._pin(reached.said[extreme.place][1][1], extreme.ticks)
        # Power-up is one tick before the first.
        soonest = [int(-least) - 1 for least in self.bounds.rows[PRESENT]]
        presses: list[Press] = []
        picks: list[Chosen] = []
        for at, taken in self.taken:
            presses += self.stepper.pressed(soonest[at], taken)
            picks += self.stepper.disturbed(soonest[at], taken)
        picks += [
            Chosen(soonest[at], name, soonest[value] - soonest[at])
            for at, name, value in self.picks
        ]
        constants = tuple(
            (
                item.name,
                self.root.values.get(item.name, soonest[begun[item]] + 1 if item in begun else 0),
            )
            for item in self.stepper.memory
            if is_unknown(item)
        )
        return Script(tuple(presses), 0, tuple(picks), constants)

    def _begun(self) -> Iterator[tuple[Timer, int]]:
        """Timers of unknown begin, and the number of the time at which each first ends."""
        for item, value in zip(self.stepper.memory, self.root.zone.shape, strict=True):
            if isinstance(item, Timer) and is_unknown(item):
                yield item, value

    def _step(
        self, shape: Shape, taken: tuple[int, ...], made: tuple[bool, ...]
    ) -> tuple[Shape, Reached]:
        before, bounds = self.now, self.bounds
        self.now = bounds.add(before, 1, inf)
        for time in self.stepper.live(shape):
            if not bounds.tighten(self.now, self.alias[time], 0):
                raise AssertionError("a way through zones that cannot be walked")
        world = World(bounds, Decisions(made), self.now)
        reached = self.stepper.run(shape, world, taken, lambda time: world.span(self.alias[time]))
        if reached is None:
            raise AssertionError("a way through zones that ends")
        self.taken.append((self.now, taken))
        self.picks += [(self.now, name, span.i) for name, span in reached.picked]
        alias = [self.now]
        for time, more in reached.times:
            base = self.now if time == PRESENT else time
            alias.append(base if more == 0 else bounds.add(base, more, more))
        self.alias = alias
        return reached.shape, reached

    def _pin(self, ticks: Any, value: int) -> None:
        if not isinstance(ticks, int):
            self.bounds.tighten(ticks.i, ticks.j, value - ticks.more)
            self.bounds.tighten(ticks.j, ticks.i, ticks.more - value)


__all__ = ["Stepper", "Zone", "explore_zones", "zones_of"]
