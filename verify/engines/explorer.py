"""The explorer: exact reachability over a link, cheapest sequences first.

The cost of a sequence is the number of presses in it, then the ticks it takes, so
the first failure met is the shortest there is. Three things keep the search small
without making it less exact:

* Time jumps from event to event; a press may come at every tick in between.
* A state stands for all states that differ from it only by longer restraints on the
  operator: whatever those may still do, it may do as well.
* The transitions of a state are generated in the order of their cost, as they are needed.

A search that takes long goes on as compiled code (``packed``), where there is a compiler: the
same visits in the same order, so that the answer does not depend on that.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from heapq import heappop, heappush
from math import inf
from typing import Any, TypeAlias

from verify.engines import alarm
from verify.engines import explorer_kept as kept
from verify.engines.answer import Answer, Budget, Delivery, Progress, SpentError, Verdict, explored
from verify.engines.checkpoint import Checkpoint, DamagedError
from verify.engines.concrete import Compiled, Occurrence, State
from verify.engines.native import available
from verify.engines.trace import Chosen, Press, Script
from verify.engines.zones_kept import number, numbers
from verify.language.machine import System
from verify.parts.signals import delivered, failure

# States that are visited before a search is compiled: visiting them takes about as long as that.
PATIENCE = 20_000
# A search of fewer states is not compiled; nor one that has less time left, in seconds.
WORTH_STATES, WORTH_SECONDS = 4 * PATIENCE, 3.0

Cost: TypeAlias = tuple[int, int]  # presses, ticks


@dataclass(frozen=True)
class _Node:
    """A reached state and how it was reached."""

    state: State
    ticks: int
    presses: int
    parent: _Node | None
    taken: tuple[int, ...]
    picked: tuple[tuple[str, int], ...]


@dataclass
class _Visit:
    """A pending visit: ``passed`` ticks after ``node``, with the offers ``taken`` up so far."""

    node: _Node
    passed: int
    taken: tuple[int, ...]


def explore(
    system: System,
    budget: Budget,
    progress: Progress,
    *,
    latencies: bool = False,
    compiled: Compiled | None = None,
    checkpoint: Checkpoint | None = None,
) -> Answer:
    """Search every sequence that the operator of ``system`` allows.

    ``system`` watches one branch (number 0). ``latencies``: also collect the extremes,
    for which the search goes on past failures (each only ends its own sequence).
    ``compiled``: the step function of the system, if there is one already. ``checkpoint``: where
    the search is kept, and goes on from; the answer is that of a search that was never cut.
    Raises DamagedError, or UsageError, for what is kept there and is no search of this system.
    """
    search = _Search(compiled or Compiled(system), budget, progress, latencies)
    limit = budget.states
    if compiled is None and (limit is None or limit >= WORTH_STATES) and available():
        search.patience = PATIENCE
    if checkpoint is None:
        return search.run()
    with checkpoint.unbroken():
        return search.run_kept(checkpoint)


class _Search:
    def __init__(
        self, compiled: Compiled, budget: Budget, progress: Progress, latencies: bool
    ) -> None:
        self.compiled = compiled
        self.budget, self.progress, self.latencies = budget, progress, latencies
        self.count = self.compiled.count
        self.heap: list[tuple[int, int, int, _Visit]] = []
        self.pushed = 0
        self.seen: dict[State, list[State]] = {}
        self.best: dict[int, Delivery] = {}
        self.worst: dict[int, Delivery] = {}
        self.failed: Script | None = None
        self.patience: float = inf
        self.nodes: list[_Node] = []  # those that were reached, of a search that is kept
        self.checkpoint: Checkpoint | None = None
        self.free = [i for i in range(len(self.compiled.memory)) if i not in self.compiled.lenient]

    def run_kept(self, checkpoint: Checkpoint) -> Answer:
        """As ``run``, from where the search was when it was kept."""
        self.checkpoint = checkpoint
        if checkpoint.rows is not None and self.patience < inf and checkpoint.rows.is_there():
            answer = self._compiled()
            if answer is not None:
                return answer
        if checkpoint.found is None:
            return self.run()
        try:
            self._resume(checkpoint.found)
        except (IndexError, KeyError, TypeError, ValueError, AttributeError):
            raise DamagedError from None
        return self.run(begun=True)

    def run(self, *, begun: bool = False) -> Answer:
        """``begun``: what it may begin with has been seen to."""
        try:
            starts = () if begun else self.compiled.starts(self.budget.look)
            for number, state in enumerate(starts):
                # A press at the first tick there is; before it nothing can happen.
                self._reach(_Node(state, -1, 0, None, (), ()), [])
                if self.budget.spent(number):
                    return self._answer(Verdict.UNDECIDED, complete=False)
        except SpentError:
            return self._answer(Verdict.UNDECIDED, complete=False)
        while self.heap:
            if self.progress.states > self.patience:
                answer = self._compiled()
                if answer is not None:
                    return answer
            if self.checkpoint is not None and self.checkpoint.due():
                self.checkpoint.save(self._far())
            presses, _, _, visit = heappop(self.heap)
            self.progress.presses = presses
            try:
                if self._visit(visit):
                    return self._answer(Verdict.FAILS, complete=False)
            except SpentError:
                return self._answer(Verdict.UNDECIDED, complete=False)
            if self.budget.spent(self.progress.states):
                if self.checkpoint is not None:
                    with alarm.unbroken():
                        self.checkpoint.save(self._far())
                return self._answer(Verdict.UNDECIDED, complete=False)
        return self._answer(Verdict.HOLDS, complete=True)

    def _compiled(self) -> Answer | None:
        """The answer of the same search as compiled code; None if that cannot be."""
        from verify.engines.packed import PackedSearch
        from verify.engines.packing import UnpackableError

        self.patience = inf
        left = self.budget.left()
        begun = self.checkpoint is not None and not self.nodes and not self.heap
        if left is not None and left < WORTH_SECONDS and not begun:
            return None
        progress = self.progress
        reached = progress.states, progress.presses
        try:
            return PackedSearch(
                self.compiled, self.budget, progress, self.latencies, checkpoint=self.checkpoint
            ).run()
        except UnpackableError:
            progress.states, progress.presses = reached
            return None

    def _answer(self, verdict: Verdict, *, complete: bool) -> Answer:
        return explored(
            verdict, self.failed, self.progress, complete, self.latencies, self.best, self.worst
        )

    # -- transitions ----------------------------------------------------------

    def _push(self, node: _Node, passed: int, taken: tuple[int, ...]) -> None:
        self.pushed += 1
        heappush(
            self.heap,
            (
                node.presses + len(taken),
                node.ticks + passed,
                self.pushed,
                _Visit(node, passed, taken),
            ),
        )

    def _visit(self, visit: _Visit) -> bool:
        """Carry out a pending visit; True when the search is over."""
        node, passed, taken = visit.node, visit.passed, visit.taken
        if taken == ():
            return self._evaluate(node, passed, ())
        if len(taken) == 1 and taken[0] == 0:
            # The first of a group: this tick's presses, and those of the next tick to come.
            self._next_tick(node, passed)
        first = taken[:-1]
        coming = (
            range(taken[-1], self.count)
            if first
            else self.compiled.opens(node.state, passed, taken[-1])
        )
        for index in coming:
            group = (*first, index)
            before = self.progress.states
            if self._evaluate(node, passed, group):
                return True
            if self.progress.states > before and index + 1 < self.count:
                self._push(node, passed, (*group, index + 1))
        return False

    def _next_tick(self, node: _Node, passed: int) -> None:
        after = next(self._press_times(node.state, passed + 1), None)
        if after is not None:
            self._push(node, after, (0,))

    def _press_times(self, state: State, start: int) -> Iterator[int]:
        """Ticks after ``state``, from ``start`` on, at which a press may make a difference."""
        event = self.compiled.next_event(state)
        if event is not None:
            # What is open stays open until the event, and every tick may make a difference.
            first = self.compiled.first_open(state, None, event)
            if first is not None:
                yield from range(max(start, first), event + 1)
            return
        # Nothing moves but restraints: press as soon as each input may, and when all of them may.
        last = max(self.compiled.restraint_ends(state), default=1)
        firsts = {last}
        for index in range(self.count) if last > 1 else ():
            first = self.compiled.first_open(state, index, last)
            if first is not None:
                firsts.add(first)
        yield from (t for t in sorted(firsts) if t >= start)

    def _evaluate(self, node: _Node, passed: int, taken: tuple[int, ...]) -> bool:
        ticks = node.ticks + passed
        for state, log, picked in self.compiled.outcomes(node.state, passed, taken):
            self.progress.states += 1
            # One step may have as many outcomes as there are picks.
            if not self.progress.states % 1024 and self.budget.spent(self.progress.states):
                raise SpentError
            after = _Node(state, ticks, node.presses + len(taken), node, taken, picked)
            if any(signal == failure(0) for signal, _ in log):
                if self.failed is None:
                    self.failed = self._script(after)
                if not self.latencies:
                    return True
                continue
            self._reach(after, log)
        return False

    def _reach(self, node: _Node, log: list[Occurrence]) -> None:
        if self.latencies:
            self._note(node, log)
        if self._covered(node.state):
            return
        if self.checkpoint is not None:
            self.nodes.append(node)
        event = self.compiled.next_event(node.state)
        if event is not None:
            self._push(node, event, ())
        first = next(self._press_times(node.state, 1), None)
        if first is not None:
            self._push(node, first, (0,))

    def _covered(self, state: State) -> bool:
        """Some visited state is the same but for restraints no longer than these; else note it."""
        key = tuple(state[i] for i in self.free)
        mine = tuple(state[i] for i in self.compiled.lenient)
        known = self.seen.get(key)
        if known is None:
            self.seen[key] = [mine]
            return False
        if any(is_weaker(other, mine) for other in known):
            return True
        known[:] = [other for other in known if not is_weaker(mine, other)]
        known.append(mine)
        return False

    # -- results --------------------------------------------------------------

    def _note(self, node: _Node, log: list[Occurrence]) -> None:
        for signal, values in log:
            if signal != delivered(0):
                continue
            index, ticks = values
            if index not in self.best or ticks < self.best[index].ticks:
                self.best[index] = Delivery(ticks, self._script(node))
            if index not in self.worst or ticks > self.worst[index].ticks:
                self.worst[index] = Delivery(ticks, self._script(node))

    def _script(self, node: _Node) -> Script:
        presses: list[Press] = []
        picks: list[Chosen] = []
        at: _Node = node
        while at.parent is not None:
            presses += reversed(self.compiled.pressed(at.ticks, at.taken))
            picks += [Chosen(at.ticks, name, value) for name, value in reversed(at.picked)]
            picks += reversed(self.compiled.disturbed(at.ticks, at.taken))
            at = at.parent
        constants = self.compiled.constants(at.state)
        return Script(tuple(reversed(presses)), 0, tuple(reversed(picks)), constants)

    # -- kept on the way --------------------------------------------------------

    def _far(self) -> dict[str, Any]:
        """How far the search is."""
        of = {id(node): k for k, node in enumerate(self.nodes)}
        nodes = [
            [
                node.state,
                node.ticks,
                node.presses,
                -1 if node.parent is None else of[id(node.parent)],
                node.taken,
                node.picked,
            ]
            for node in self.nodes
        ]
        heap = [
            [order, of[id(visit.node)], visit.passed, visit.taken]
            for _, _, order, visit in self.heap
        ]
        return {
            "explored": self.progress.states,
            "nodes": nodes,
            "heap": sorted(heap),
            "pushed": self.pushed,
            "best": kept.listed_deliveries(self.best),
            "worst": kept.listed_deliveries(self.worst),
            "failed": kept.listed_script(self.failed),
        }

    def _resume(self, far: Any) -> None:
        """Be where a search was. Raises DamagedError, or others where it is none of this system."""
        offers = range(self.count + 1)
        for state, ticks, presses, parent, taken, picked in far["nodes"]:
            before = range(len(self.nodes))
            node = _Node(
                kept.state_of(state, self.compiled.memory),
                number(ticks),
                number(presses),
                None if parent == -1 else self.nodes[number(parent, before)],
                numbers(taken, offers),
                kept.picked_of(picked),
            )
            self._covered(node.state)
            self.nodes.append(node)
        known = range(len(self.nodes))
        for order, at, passed, taken in far["heap"]:
            visit = _Visit(self.nodes[number(at, known)], number(passed), numbers(taken, offers))
            cost = visit.node.presses + len(visit.taken), visit.node.ticks + visit.passed
            heappush(self.heap, (*cost, number(order), visit))
        self.pushed = number(far["pushed"])
        self.best, self.worst = (kept.deliveries_of(far[name]) for name in ("best", "worst"))
        self.failed = kept.script_of(far["failed"])
        self.progress.states = number(far["explored"])


def is_weaker(a: State, b: State) -> bool:
    """Restraints ``a`` forbid nothing that restraints ``b`` allow."""
    return all(_place_weaker(x, y) for x, y in zip(a, b, strict=True))


def _place_weaker(x: Any, y: Any) -> bool:
    if isinstance(x, int):
        return bool(x <= y)
    longest: dict[tuple[int, ...], list[int]] = {}
    for left, *fields in y:
        longest.setdefault(tuple(fields), []).append(left)
    for left, *fields in reversed(x):
        rest = longest.get(tuple(fields))
        # Match the longest entries first: entry counts matter where holds are counted.
        if not rest or rest[-1] < left:
            return False
        rest.pop()
    return True


__all__ = ["explore"]
