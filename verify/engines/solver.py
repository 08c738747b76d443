"""The solver: one symbolic step per event, and proofs for sequences of any length by itself.

The argument. A *history* is a sequence of presses that starts from rest, with everything
that happens up to its last press. Histories are extended press by press; every failure on
the way, or after the last press before the next, is looked for. A history is *forgotten*
when the state after it equals, restraints of the operator apart, the state after a shorter
one that leaves out its first presses: whatever comes next has then been judged already,
since the shorter history may do all that the longer may. When every history of n + 1
presses is forgotten, the histories of up to n presses stand for sequences of any length,
by induction on the number of presses; and nothing failed in them.

A link that comes to rest between presses is forgotten at once: its only history is one press.
The first press of a history is taken concretely, one input at a time; times, later
presses, picks and unknowns are symbolic.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import count
from math import lcm
from typing import TypeAlias

import z3

from verify.engines import memory
from verify.engines.answer import Answer, Budget, Delivery, Progress, Verdict
from verify.engines.checkpoint import Checkpoint
from verify.engines.concrete import is_unknown
from verify.engines.linear import Exact, Known, minus, plus, term
from verify.engines.optimum import optimum
from verify.engines.outcomes import Outcomes
from verify.engines.symbolic import (
    Cond,
    Num,
    Outcome,
    Picker,
    Said,
    Symbolic,
    SymState,
    at_most,
    both,
    choose,
    either,
    equal,
    less,
    negate,
    same_bank,
)
from verify.engines.trace import Chosen, Press, Script
from verify.language import expressions as ex
from verify.language.durations import Key
from verify.language.machine import System
from verify.language.state import Bank, Timer
from verify.parts.signals import delivered, failure
from verify.units import whole

# More events than this between two presses, and the solver gives up on the history.
MOST_EVENTS = 400
# Presses of one tick that are looked at together; a proof needs all that the operator allows.
# Entries of banks that may be there or not, before the solver is asked which cannot.
FEW_DOUBTFUL = 2
MOST_TOGETHER = 3


class OutOfReachError(Exception):
    """The search met something it does not cover; the text says what."""


# When, the name of the pick, and its value.
Picks: TypeAlias = tuple[tuple[Num, str, Num], ...]


def _timed(at: Num, picks: Sequence[tuple[str, Num]]) -> Picks:
    return tuple((at, name, value) for name, value in picks)


class _Again:
    """Makes the picks of a tick again, by name; ``strange``: met one that was not made then."""

    def __init__(self, picks: Picks) -> None:
        self.left = [(name, value) for _, name, value in picks]
        self.strange = False

    def __call__(self, choice: ex.Pick) -> Num:
        for pick in self.left:
            if pick[0] == choice.name:
                self.left.remove(pick)
                return pick[1]
        self.strange = True
        return choice.least


@dataclass(frozen=True)
class _Taken:
    """The presses of one tick of a history: when, which, and the picks made then."""

    at: Num
    inputs: tuple[Num, ...]
    picks: Picks


@dataclass(frozen=True)
class History:
    """A sequence of presses from rest; ``state`` is right after the last of them."""

    taken: tuple[_Taken, ...]
    state: SymState
    given: tuple[Cond, ...]
    later_picks: Picks = ()

    @property
    def at(self) -> Num:
        """Tick of the last press."""
        return self.taken[-1].at


@dataclass
class Moment:
    """A history followed by events without presses: where it stands, and since when."""

    state: SymState
    given: list[Cond]
    now: Num
    picks: list[tuple[Num, str, Num]]

    @classmethod
    def after(cls, history: History) -> Moment:
        """Right after the last press of a history."""
        return cls(history.state, list(history.given), history.at, list(history.later_picks))


def solve(
    system: System,
    budget: Budget,
    progress: Progress,
    *,
    latencies: bool = False,
    most_presses: int = 5,
    checkpoint: Checkpoint | None = None,
) -> Answer:
    """Judge every sequence that the operator of ``system`` allows (branch 0).

    Gives up, ``undecided``, on links that remember more than ``most_presses`` presses.
    ``checkpoint``: where the solver's answers are kept; what it once said is not asked again.
    """
    outcomes = None if checkpoint is None else Outcomes(checkpoint)
    try:
        search = Search(system, budget, progress, latencies, most_presses, outcomes)
    except OutOfReachError as reason:  # the time was up before it began
        return Answer(Verdict.UNDECIDED, "solver", covered=str(reason))
    try:
        return search.run()
    finally:
        if outcomes is not None:
            outcomes.save()


class Search:
    """The induction over the presses of one system; may be asked only once."""

    def __init__(
        self,
        system: System,
        budget: Budget,
        progress: Progress,
        latencies: bool,
        most: int,
        outcomes: Outcomes | None = None,
    ) -> None:
        self.outcomes = outcomes
        self.symbolic = Symbolic(system)
        self.budget, self.progress, self.latencies, self.most = budget, progress, latencies, most
        self.count = self.symbolic.offer.count
        z3.set_param("memory_max_size", memory.allowed())
        self.solver = self._made_solver()
        self.fresh = count()
        self.probe = z3.Int("probe")
        self.start, self.given = self.symbolic.start()
        self.together = self._most_together()
        self.best: dict[int, Delivery] = {}
        self.worst: dict[int, Delivery] = {}
        self.failed: Script | None = None

    def _made_solver(self) -> z3.Solver:
        # With a logic named, z3 sets up more than most links need.
        return z3.SolverFor("QF_LIRA") if self.symbolic.dense else z3.SimpleSolver()

    def _span(self, name: str, since: Num) -> Num:
        """Ticks that pass, more than none, after the tick ``since``."""
        return self.symbolic.span(name)

    def run(self) -> Answer:
        try:
            self._require_rest()
            level = list(self._first_histories())
            for depth in range(1, self.most + 1):
                self.progress.presses = depth
                level = [child for history in level for child in self._extend(history)]
                if self.failed is not None and not self.latencies:
                    return self._answer("sequences up to the failure found")
                if not level:
                    return self._proved(depth)
            covered = f"all sequences of up to {self.most} presses"
        except OutOfReachError as reason:
            covered = str(reason)
        return self._answer(covered)

    def _require_rest(self) -> None:
        """Every argument here begins at rest, with the operator free to begin and nobody else."""
        if len(self.symbolic.system.offers) > 1:
            raise OutOfReachError("nothing: it does not reason about pauses")
        for item in self.symbolic.memory:
            if isinstance(item, Timer) and item.begin != 0:
                raise OutOfReachError("nothing: the link does not begin at rest")

    def _proved(self, depth: int) -> Answer:
        if self.together > MOST_TOGETHER:
            return self._answer(f"all sequences with up to {MOST_TOGETHER} presses in one tick")
        noun = "press" if depth == 1 else "presses"
        return self._answer(f"induction on presses, each {depth} {noun} from rest", complete=True)

    def _answer(self, covered: str, *, complete: bool = False) -> Answer:
        if self.failed is not None:
            verdict = Verdict.FAILS
        else:
            verdict = Verdict.HOLDS if complete else Verdict.UNDECIDED
        best, worst = self._in_ticks(self.best), self._in_ticks(self.worst)
        return Answer(verdict, "solver", self.failed, covered, complete, best, worst)

    def _in_ticks(self, found: dict[int, Delivery]) -> dict[int, Delivery]:
        parts = self.symbolic.system.resolution
        if parts == 1:
            return found
        return {i: replace(d, ticks=whole(Fraction(d.ticks, parts))) for i, d in found.items()}

    # -- histories ------------------------------------------------------------

    def _first_histories(self) -> Iterator[History]:
        """One per input, then groups of presses in the same tick, if the operator allows any."""
        for index in range(self.count):
            yield from self._press(self.start, self.given, 1, -1, (index,), ())
        for size in range(2, min(self.together, MOST_TOGETHER) + 1):
            yield from self._press(self.start, self.given, 1, -1, self._group(size), ())

    def _most_together(self) -> int:
        """How many presses one tick can hold from rest (one more than are looked at is enough)."""
        for size in range(2, min(self.count, MOST_TOGETHER + 1) + 1):
            group = self._group(size)
            open_if, _ = self.symbolic.step(self.start, 1, group, lambda pick: pick.least)
            if open_if is False or not self._possible([open_if, *self._range(group)]):
                return size - 1
        return min(self.count, MOST_TOGETHER + 1)

    def _group(self, size: int) -> tuple[Num, ...]:
        return tuple(self._int(f"input{next(self.fresh)}") for _ in range(size))

    def _range(self, group: Sequence[Num]) -> list[Cond]:
        """Each of the group is an input, in increasing order."""
        given: list[Cond] = []
        for k, index in enumerate(group):
            if not isinstance(index, int):
                least = group[k - 1] + 1 if k else 0
                given.append(z3.And(index >= least, index < self.count))
        return given

    def _press(
        self,
        state: SymState,
        given: Sequence[Cond],
        passed: Num,
        now: Num,
        group: tuple[Num, ...],
        before: tuple[_Taken, ...],
        later_picks: Picks = (),
    ) -> Iterator[History]:
        """The history that goes on with ``group`` pressed ``passed`` ticks on, if it may."""
        picks: list[tuple[str, Num]] = []
        open_if, outcome = self.symbolic.step(state, passed, group, self._picker(picks))
        conditions = [*given, *self._range(group), *outcome.given]
        if open_if is not True:
            conditions.append(open_if)
        if not self._possible(conditions):
            return
        now = plus(now, passed)
        taken = (*before, _Taken(now, group, _timed(now, picks)))
        history = History(taken, outcome.state, tuple(conditions), later_picks)
        right = self._judge(outcome.said, history, conditions, later_picks)
        if right is not None:
            yield History(taken, outcome.state, tuple(right), later_picks)

    def _extend(self, history: History) -> Iterator[History]:
        """Follow a history until all is at rest; yield those that one more press makes of it."""
        if self.failed is not None and not self.latencies:
            return
        moment = Moment.after(history)
        for _ in range(MOST_EVENTS):
            if self.budget.spent(self.progress.states):
                raise OutOfReachError(
                    f"all sequences of fewer than {self.progress.presses} presses"
                )
            ends = self.symbolic.ends(moment.state)
            yield from self._presses_before(history, moment, ends)
            if self.failed is not None and not self.latencies:
                return
            if not self._next_event(history, moment, ends):
                return
        raise OutOfReachError(f"{MOST_EVENTS} events after a press without coming to rest")

    def _next_event(self, history: History, moment: Moment, ends: list[tuple[Cond, Num]]) -> bool:
        """Move to the next event; False when there is none, or all that follow failed."""
        outcome = self._pass_time(moment, ends)
        if outcome is None:
            return False
        right = self._judge(outcome.said, history, moment.given, tuple(moment.picks))
        if right is None:
            return False
        moment.given = right
        return True

    def _pass_time(self, moment: Moment, ends: list[tuple[Cond, Num]]) -> Outcome | None:
        """Move to the next event, and tell what happens then; None when there is none."""
        if not ends:
            return None
        passed = _surely_next(ends)
        if passed is None:
            passed = self._span(f"passed{next(self.fresh)}", moment.now)
            moment.given += self._up_to_next(passed, ends)
            hit: Cond = False
            for there, left in ends:
                hit = either(hit, both(there, equal(passed, left)))
            moment.given.append(hit)
            if not self._possible(moment.given):
                return None
        picks: list[tuple[str, Num]] = []
        _, outcome = self.symbolic.step(moment.state, passed, (), self._picker(picks))
        moment.given += outcome.given
        moment.now = plus(moment.now, passed)
        moment.picks += _timed(moment.now, picks)
        moment.state = self._thinned(outcome.state, moment.given)
        return outcome

    def _thinned(self, state: SymState, given: Sequence[Cond]) -> SymState:
        """Without the entries of banks that cannot be there, where many are in doubt: of a send
        that goes on step by step there is one more at each step else, for each order of events."""
        doubtful = [
            (i, slot)
            for i, place in enumerate(state)
            if isinstance(place, tuple)
            for slot in place
            if slot.there is not True
        ]
        if len(doubtful) <= FEW_DOUBTFUL:
            return state
        kept = list(state)
        with self._standing(given):
            for i, slot in doubtful:
                if not self._possible([slot.there]):
                    kept[i] = tuple(other for other in kept[i] if other is not slot)
        return tuple(kept)

    @staticmethod
    def _up_to_next(passed: Num, ends: list[tuple[Cond, Num]]) -> list[Cond]:
        return [term(passed) > 0, *(_implies(there, at_most(passed, left)) for there, left in ends)]

    def _presses_before(
        self, history: History, moment: Moment, ends: list[tuple[Cond, Num]]
    ) -> Iterator[History]:
        """Histories that go on with a press after ``moment``, up to its next event."""
        if (not ends and self._at_rest(moment.state)) or self._surely_closed(moment.state, ends):
            return
        passed, within = self._before(moment, ends)
        given = [*moment.given, *within]
        if not self._may_press(moment.state, passed, given):
            return
        unrest = self._differs(moment.state, self.start)
        if unrest is False:
            return
        if moment.picks or any(taken.picks for taken in history.taken):
            # Some runs may be at rest, though not surely: what follows is a first history.
            given.append(unrest)
            if not self._may_press(moment.state, passed, given):
                return
        for size in range(1, min(self.together, MOST_TOGETHER) + 1):
            for child in self._press(
                moment.state,
                given,
                passed,
                moment.now,
                self._group(size),
                history.taken,
                tuple(moment.picks),
            ):
                if not self._forgotten(child):
                    yield child

    def _before(self, moment: Moment, ends: list[tuple[Cond, Num]]) -> tuple[Num, list[Cond]]:
        """Ticks from ``moment`` to a press up to its next event, and what is known of them."""
        if not self.symbolic.dense and _surely_next(ends) == 1:
            return 1, []  # all that follows is then simpler by far
        passed = self._span(f"wait{next(self.fresh)}", moment.now)
        return passed, self._up_to_next(passed, ends)

    def _surely_closed(self, state: SymState, ends: list[tuple[Cond, Num]]) -> bool:
        """No press can come up to the next event, by arithmetic alone.

        Restraints only get weaker, so it is enough to look at the tick of that event.
        """
        last = _surely_next(ends)
        return last is not None and self.symbolic.open_if(state, last, self.probe) is False

    def _may_press(self, state: SymState, passed: Num, given: Sequence[Cond]) -> bool:
        """Some input may be pressed ``passed`` ticks on: a small question, asked before larger."""
        open_if = self.symbolic.open_if(state, passed, self.probe)
        return open_if is True or self._possible([*given, *self._range([self.probe]), open_if])

    def _at_rest(self, state: SymState) -> bool:
        """Surely as at power-up: what follows is a first history."""
        return self._differs(state, self.start) is False

    # -- forgetting -----------------------------------------------------------

    def _forgotten(self, child: History) -> bool:
        """The state after ``child`` is surely that after some shorter history."""
        if self._at_rest(child.state):
            return True
        for first in range(len(child.taken) - 1, 0, -1):
            replayed = self._from_rest(child.taken[first:])
            if replayed is None:
                continue
            for condition, state in replayed:
                differs = both(condition, self._differs(child.state, state))
                if differs is not False and self._possible([*child.given, differs]):
                    break
            else:
                return True
        return False

    def _from_rest(self, taken: Sequence[_Taken]) -> list[tuple[Cond, SymState]] | None:
        """The presses of ``taken``, at the same distances, from rest: every way it can go.

        The conditions of the ways exclude each other and leave nothing out. None if that
        cannot be said: a pick made between presses, or no rest within bounds.
        """
        runs: list[tuple[Cond, SymState]] = [(True, self.start)]
        now: Num = taken[0].at
        for number, press in enumerate(taken):
            if number:
                waited = minus(press.at, now)
                spread: list[tuple[Cond, SymState, Num]] = []
                for condition, state in runs:
                    ways = self._wait(state, condition, waited)
                    if ways is None:
                        return None
                    spread += ways
            else:
                spread = [(True, self.start, 1)]
            now, runs = press.at, []
            for condition, state, passed in spread:
                again = _Again(press.picks)
                _, outcome = self.symbolic.step(state, passed, press.inputs, again)
                if again.strange:
                    return None
                runs.append((condition, outcome.state))
        return runs

    def _wait(
        self, state: SymState, condition: Cond, waited: Num
    ) -> list[tuple[Cond, SymState, Num]] | None:
        """States at the last event before ``waited`` ticks are over, and the ticks then left."""
        ways: list[tuple[Cond, SymState, Num]] = []
        for _ in range(MOST_EVENTS):
            ends = self.symbolic.ends(state)
            next_in = _least(ends)
            if next_in is None:
                ways.append((condition, state, waited))
                return ways
            # The press comes before or with the next event, or nothing is to come.
            comes: Cond = True
            for there, left in ends:
                comes = both(comes, _implies(there, negate(less(left, waited))))
            way = both(condition, comes)
            if way is not False:
                ways.append((way, state, waited))
            condition = both(condition, negate(comes))
            if condition is False or not self._possible([condition]):
                return ways
            _, outcome = self.symbolic.step(state, next_in, (), _no_pick)
            if outcome.given:
                return None
            state, waited = outcome.state, minus(waited, next_in)
        return None

    def _differs(self, a: SymState, b: SymState) -> Cond:
        """Some place other than a restraint differs."""
        same: Cond = True
        for i, item in enumerate(self.symbolic.memory):
            if i in self.symbolic.restraints or same is False:
                continue
            here = same_bank(a[i], b[i]) if isinstance(item, Bank) else equal(a[i], b[i])
            same = both(same, here)
        return negate(same)

    # -- judging --------------------------------------------------------------

    def _judge(
        self,
        said: Sequence[Said],
        history: History,
        given: Sequence[Cond],
        picks: Picks,
    ) -> list[Cond] | None:
        """Look for a failure in a tick. Returns what holds if there is none; None: there is."""
        self.progress.states += 1
        right = list(given)
        wrong: Cond = False
        for event in said:
            if event.signal == failure(0):
                wrong = either(wrong, event.when)
        # One question for all failures of the tick; without one nothing is left to exclude.
        if wrong is not False and self._possible([*given, wrong]):
            if self.failed is None:
                self.failed = self._script(self.solver_model, history, picks)
            if not self.latencies:
                return None
            right.append(negate(wrong))
            if not self._possible(right):
                return None
        if self.latencies:
            for event in said:
                if event.signal == delivered(0):
                    self._note(event, history, right, picks)
        return right

    def _note(
        self,
        event: Said,
        history: History,
        given: Sequence[Cond],
        picks: Picks,
    ) -> None:
        index, ticks = event.values
        inputs = [index] if isinstance(index, int) else range(self.count)
        for i in inputs:
            base = [*given, event.when, equal(index, i)]
            best, worst = self.best.get(i), self.worst.get(i)
            lower = less(ticks, best.ticks) if best else True
            if lower is not False and self._possible([*base, lower]):
                self.best[i] = self._extreme(base, ticks, history, picks, least=True)
            higher = less(worst.ticks, ticks) if worst else True
            if higher is not False and self._possible([*base, higher]):
                self.worst[i] = self._extreme(base, ticks, history, picks, least=False)

    def _extreme(
        self,
        given: Sequence[Cond],
        ticks: Num,
        history: History,
        picks: Picks,
        *,
        least: bool,
    ) -> Delivery:
        if isinstance(ticks, Known):
            self._possible(given)
            return Delivery(ticks, self._script(self.solver_model, history, picks))
        found = optimum(given, term(ticks), self.budget, least=least)
        if found is None:
            raise OutOfReachError("the solver gave up on a latency")
        # Where time is dense a bound may be come near to only; then the script does.
        return Delivery(found.value, self._script(found.model, history, picks))

    def _script(
        self,
        model: z3.ModelRef | None,
        history: History,
        picks: Picks,
    ) -> Script:
        times = self.symbolic.times
        pressed = [(exact(model, t.at), exact(model, i)) for t in history.taken for i in t.inputs]
        made = [pick for t in history.taken for pick in t.picks] + list(picks)
        chosen = [(exact(model, at), name, exact(model, value)) for at, name, value in made]
        constants = [
            (item, exact(model, place))
            for item, place in zip(self.symbolic.memory, self.start, strict=True)
            if is_unknown(item)
        ]
        found = [at for at, _ in pressed] + [at for at, _, _ in chosen]
        found += [value for _, name, value in chosen] + [value for _, value in constants]
        # The parts of a tick in which all of the run is whole; 1 where time is not dense.
        parts = lcm(*(Fraction(value).denominator for value in found))

        def scaled(value: Exact, key: Key | Timer | Bank) -> int:
            return int(value * parts) if key in times else int(value)

        picked = [Chosen(int(at * parts), name, scaled(v, name)) for at, name, v in chosen]
        return Script(
            tuple(Press(int(at * parts), int(index)) for at, index in pressed),
            0,
            tuple(sorted(picked, key=lambda c: c.tick)),
            tuple((item.name, scaled(value, item)) for item, value in constants),
            self.symbolic.system.resolution * parts,
        )

    def _possible(self, given: Sequence[Cond]) -> bool:
        """The conditions can hold together; leaves a model in ``solver_model``."""
        self._model: z3.ModelRef | None = None
        self._unasked: list[z3.BoolRef] | None = None
        if any(c is False for c in given):
            return False
        terms = [c for c in given if c is not True]
        if not terms:
            return True
        said = None if self.outcomes is None else self.outcomes.next(terms)
        if said is not None:
            self._unasked = terms if said else None
            return said
        result = self._asked(terms)
        if self.outcomes is not None and result != z3.unknown:
            self.outcomes.note(terms, result == z3.sat)
        if result == z3.unknown or self.budget.spent(self.progress.states):
            raise OutOfReachError(f"all sequences of fewer than {self.progress.presses} presses")
        return bool(result == z3.sat)

    @property
    def solver_model(self) -> z3.ModelRef | None:
        """Of the last question, if its conditions can hold together and are not all known."""
        if self._unasked is not None and self._asked(self._unasked) != z3.sat:
            raise OutOfReachError(f"all sequences of fewer than {self.progress.presses} presses")
        self._unasked = None
        return self._model

    @contextmanager
    def _standing(self, given: Sequence[Cond]) -> Iterator[None]:
        """These conditions hold besides those that are asked meanwhile."""
        self.solver.push()
        try:
            self.solver.add(*(c for c in given if c is not True))
            yield
        finally:
            self.solver.pop()

    def _asked(self, terms: list[z3.BoolRef]) -> z3.CheckSatResult:
        """One question to the solver, which keeps nothing of it."""
        self.solver.push()
        try:
            self._limit(self.solver)
            self.solver.add(*terms)
            result = self._check()
            if result == z3.sat:
                self._model = self.solver.model()
            return result
        finally:
            self.solver.pop()

    def _limit(self, solver: z3.Solver) -> None:
        if (seconds := self.budget.left()) is not None:
            solver.set("timeout", int(seconds * 1000) + 1)

    def _check(self) -> z3.CheckSatResult:
        try:
            return self.solver.check()
        except z3.Z3Exception as error:
            if "memory" not in str(error):
                raise
            return z3.unknown

    def _picker(self, made: list[tuple[str, Num]]) -> Picker:
        def pick(choice: ex.Pick) -> Num:
            value = self.symbolic.picked(choice, f"{choice.name}{next(self.fresh)}")
            made.append((choice.name, value))
            return value

        return pick

    @staticmethod
    def _int(name: str) -> Num:
        return z3.Int(name)


def _implies(a: Cond, b: Cond) -> Cond:
    if a is True:
        return b
    if a is False or b is True:
        return True
    return z3.Implies(a, b)


def _no_pick(pick: ex.Pick) -> Num:
    return z3.Int(f"unmatched {pick.name}")


def _least(ends: list[tuple[Cond, Num]]) -> Num | None:
    """The least of the lefts that are there, as a term; None if none can be."""
    result: Num | None = None
    there_before: Cond = False
    for there, left in ends:
        if result is None:
            result, there_before = left, there
            continue
        better = (
            both(there, either(negate(there_before), less(left, result)))
            if not (there is True and there_before is True)
            else less(left, result)
        )
        result = choose(better, left, result)
        there_before = either(there, there_before)
    return result


def _surely_next(ends: list[tuple[Cond, Num]]) -> Num | None:
    """The least of the lefts, where that is settled without the solver; else None."""
    if len(ends) == 1 and ends[0][0] is True:
        return ends[0][1]
    surely = [left for there, left in ends if there is True]
    if len(surely) == len(ends) and all(isinstance(left, int) for left in surely):
        return min(surely, default=None)
    for left in surely:
        if all(at_most(left, other) is True for _, other in ends):
            return left
    return None


def exact(model: z3.ModelRef | None, value: Num) -> Exact:
    """The value of a number in a model; whole numbers as ints."""
    if isinstance(value, Known):
        return value
    if model is None:
        raise AssertionError("an unknown without a model")
    found = model.eval(term(value), model_completion=True)
    if z3.is_int_value(found):
        return int(found.as_long())
    return whole(Fraction(found.numerator_as_long(), found.denominator_as_long()))


__all__ = ["solve"]
