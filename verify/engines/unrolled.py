"""A recorded run on z3 terms: which unknowns of the world make the model do what was recorded?

A recording is a run of bounded length, so the system is unrolled over it, one step per event,
and every way that the world may choose is in one formula: what it allows is exactly what could
have been. An answer is the least amount of a disturbance, or that none within bounds will do.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import lcm
from typing import Any, TypeAlias

import z3

from verify.engines import memory
from verify.engines.answer import Budget
from verify.engines.concrete import is_unknown
from verify.engines.linear import Exact, Interval, Linear, minus, plus, term
from verify.engines.optimum import optimum
from verify.engines.solver import exact
from verify.engines.symbolic import (
    Cond,
    Num,
    Slot,
    Symbolic,
    SymState,
    both,
    choose,
    either,
    equal,
    less,
    lookup,
    negate,
)
from verify.engines.trace import Chosen
from verify.language import expressions as ex
from verify.language.machine import System
from verify.language.state import Bank
from verify.parts.player import COMING, Edge

# More steps than this, and it is given up.
MOST_STEPS = 1_500
# An error of a clock that cannot be reached is shown by one so little larger.
JUST_PAST = Fraction(1, 10_000)

Picks: TypeAlias = list[tuple[Num, str, Num]]


class GivenUpError(Exception):
    """No answer; the text says why."""


@dataclass(frozen=True)
class Excerpt:
    """Part of a recording, times in parts of a tick after power-up at -1 tick.

    ``played``: time and edge; ``recorded``: per edge that is compared, its times, rising;
    ``end``: what comes later does not count; ``tolerance``: how far two times may differ.
    ``begin``: what comes sooner does not count either.
    """

    played: tuple[tuple[int, int], ...]
    recorded: Mapping[int, tuple[int, ...]]
    end: int
    tolerance: int
    begin: int | None = None


@dataclass(frozen=True)
class Choice:
    """What the world did: unknowns of the run by name, and picks by tick, in parts of a tick.

    ``amount``: of the disturbance. ``resolution``: parts of a tick. ``least``: it is the least,
    not one just beyond what does not do.
    """

    amount: Exact
    constants: dict[str, int]
    picks: tuple[Chosen, ...]
    resolution: int
    least: bool = True


class Unrolled:
    """One system over one excerpt. Raises GivenUpError when the budget is spent."""

    def __init__(
        self, system: System, compared: Mapping[Edge, int], excerpt: Excerpt, budget: Budget
    ) -> None:
        self.symbolic = Symbolic(system)
        self.compared, self.excerpt, self.budget = compared, excerpt, budget
        self.solver = z3.SolverFor("QF_LIRA" if system.dense else "QF_LIA")
        self.given: list[Cond] = []
        self.picks: Picks = []
        self.fresh = 0
        # Of each wire whether the last edge was one that the recording does not have, so that the
        # next is another, and when it came.
        self.unseen: dict[int, tuple[Cond, Num]] = {}
        self.start, given = self.symbolic.start()
        self._hold(*given)

    def unknown(self, name: str) -> Num:
        """The unknown of the run of this name."""
        names = [item.name for item in self.symbolic.memory]
        return self.start[names.index(name)]

    def narrow(self, atom: Linear, least: Exact, most: Exact) -> None:
        """An unknown time lies in a smaller range than the system says."""
        self.symbolic.bounds.tighten(atom, Interval(least, most))
        self._hold(atom.term >= term(least), atom.term <= term(most))

    def run(self) -> bool:
        """Unroll to the end. False if nothing that the world may do gives the recording."""
        symbolic, excerpt = self.symbolic, self.excerpt
        parts = symbolic.system.resolution
        now: Num = -parts
        place = self.start
        counts: dict[int, Num] = dict.fromkeys(excerpt.recorded, 0)
        groups = self._groups()
        for _ in range(MOST_STEPS):
            place = self._with_coming(place, groups, now)
            passed = self._passed(symbolic.ends(place), now)
            if passed is None:
                break
            _, outcome = symbolic.step(place, passed, (), self._picker(plus(now, passed)))
            self._hold(*outcome.given)
            now, place = plus(now, passed), self._pruned(outcome.state)
            for said in outcome.said:
                edge = self.compared.get((said.signal, self._known(said.values)), None)
                if edge is not None:
                    self._match(edge, said.when, now, counts)
                elif any(not isinstance(v, int) for v in said.values):
                    self._match_any(said.signal, said.values, said.when, now, counts)
            if not self._possible():
                return False
            self._settle(counts)
            if not self._may(negate(less(excerpt.end, now))):
                break
        else:
            raise GivenUpError(f"more than {MOST_STEPS} steps")
        for waits, since in self.unseen.values():
            # What goes with it may come after the end.
            if waits is not False:
                self._hold(either(negate(waits), self._in_one_tick(since, excerpt.end)))
        for edge, times in excerpt.recorded.items():
            due = sum(1 for at in times if at <= excerpt.end - excerpt.tolerance)
            self._hold(negate(less(counts[edge], due)))
        return self._possible()

    def _pruned(self, place: SymState) -> SymState:
        """The state without bank entries that are surely gone: they would pile up."""
        found = list(place)
        for i, item in enumerate(self.symbolic.memory):
            if isinstance(item, Bank) and item is not COMING:
                kept = []
                for slot in place[i]:
                    if self._may(slot.there):
                        sure = slot.there is True or not self._may(negate(slot.there))
                        kept.append(replace(slot, there=True) if sure else slot)
                found[i] = tuple(kept)
        return tuple(found)

    def _groups(self) -> list[tuple[int, list[int]]]:
        """Edges to be played, by their times."""
        found: dict[int, list[int]] = {}
        # Something is still to come in every run; what it does is too late to count.
        for at, edge in (*self.excerpt.played, (self.excerpt.end + 1, 0)):
            found.setdefault(at, []).append(edge)
        return sorted(found.items())

    def _with_coming(
        self, place: SymState, groups: list[tuple[int, list[int]]], now: Num
    ) -> SymState:
        """The state with the edges that may be next to be played, up to the first that is surely
        still to come; those that are over are taken out of ``groups``."""
        while groups and not self._may(less(now, groups[0][0])):
            del groups[0]
        slots: list[Slot] = []
        for at, edges in groups:
            sure = not self._may(negate(less(now, at)))
            there = True if sure else less(now, at)
            slots += [Slot(there, minus(at, now), (edge,)) for edge in edges]
            if sure:
                break
        i = self.symbolic.where[COMING]
        return (*place[:i], tuple(slots), *place[i + 1 :])

    def least(self, amount: Callable[[Unrolled], Any]) -> Choice | None:
        """The least amount with which the world may give the recording; None if it cannot.
        ``amount`` may add conditions of its own by ``hold``."""
        wanted = amount(self)
        if isinstance(wanted, int):
            return self._choice(wanted) if self._possible() else None
        given = [c for c in self.given if c is not True]
        if any(c is False for c in given) or not self._possible():
            return None
        least = term(wanted)
        while True:
            found = optimum(given, least, self.budget, least=True)
            if found is None:
                raise GivenUpError("the solver gave up")
            value = term(found.value)
            lower = least < value if found.reached else least <= value
            # Where whole numbers and others are mixed, what it tells as the least may not be it.
            if not self._may(lower):
                break
            given.append(lower)
        if not found.reached:
            self._hold(least < term(Fraction(found.value) + self._past))
            if not self._possible():
                raise GivenUpError("the solver gave up")
            return replace(self._choice(wanted), least=False)
        return self._choice(wanted, found.model)

    def hold(self, *conditions: Cond) -> None:
        """Conditions on the unknowns."""
        self._hold(*conditions)

    @property
    def _past(self) -> Fraction:
        return JUST_PAST * self.symbolic.system.resolution

    # -- one step -----------------------------------------------------------------

    def _passed(self, ends: list[tuple[Cond, Num]], now: Num) -> Num | None:
        """Time to the next event: a number where it is settled, else an unknown."""
        surely = [left for there, left in ends if there is True and isinstance(left, int)]
        open_ends = [(t, left) for t, left in ends if t is not True or not isinstance(left, int)]
        soonest = min(surely, default=None)
        sooner: Cond = False
        for there, left in open_ends:
            if soonest is None:
                sooner = True
                break
            sooner = either(sooner, both(there, less(left, soonest)))
        if soonest is not None and (sooner is False or not self._may(sooner)):
            return soonest
        if not ends:
            return None
        self.fresh += 1
        passed = self.symbolic.span(f"passed{self.fresh}")
        over = less(self.excerpt.end, now)
        hit: Cond = over
        self._hold(term(passed) > 0)
        for there, left in ends:
            self._hold(either(negate(there), negate(less(left, passed))))
            hit = either(hit, both(there, equal(passed, left)))
        self._hold(hit)
        return self._settled(passed)

    def _settled(self, unknown: Num) -> Num:
        """The value of an unknown if it can have only one."""
        if not self._possible():
            return unknown
        value = exact(self.solver.model(), unknown)
        if isinstance(value, int) and not self._may(negate(equal(unknown, value))):
            return value
        return unknown

    def _picker(self, at: Num) -> Callable[[ex.Pick], Num]:
        def pick(choice: ex.Pick) -> Num:
            self.fresh += 1
            value = self.symbolic.picked(choice, f"{choice.name}{self.fresh}")
            self.picks.append((at, choice.name, value))
            return value

        return pick

    @staticmethod
    def _known(values: tuple[Num, ...]) -> tuple[Any, ...]:
        return tuple(v if isinstance(v, int) else -1 for v in values)

    def _match_any(
        self, signal: Any, values: tuple[Num, ...], when: Cond, now: Num, counts: dict[int, Num]
    ) -> None:
        """An occurrence whose number is open: each edge that it may be."""
        for (other, numbers), edge in self.compared.items():
            if other == signal:
                mine = when
                for value, number in zip(values, numbers, strict=True):
                    mine = both(mine, equal(value, number))
                if mine is not False:
                    self._match(edge, mine, now, counts)

    def _match(self, edge: int, when: Cond, now: Num, counts: dict[int, Num]) -> None:
        """If it comes, it is the next of its kind in the recording."""
        times, late, end = self.excerpt.recorded[edge], self.excerpt.tolerance, self.excerpt.end
        count = counts[edge]
        beyond = less(end - late, now)
        if self.excerpt.begin is not None:
            early = less(now, self.excerpt.begin)
            when = both(when, negate(early))
            if when is False:
                return
        fits: Cond = False
        for k, at in enumerate(times):
            here = equal(count, k)
            if here is not False:
                near = both(negate(less(now, at - late)), negate(less(at + late, now)))
                fits = either(fits, both(here, near))
        when = self._not_left_out(edge, when, now)
        # Near the end it may be the next, or one of which the recording does not tell any more.
        self._hold(either(negate(when), either(beyond, fits)))
        counts[edge] = choose(both(when, fits), count + 1, count)

    def _not_left_out(self, edge: int, when: Cond, now: Num) -> Cond:
        """When an edge is in the recording: where time is dense, two edges of a wire, one after
        the other, that lie in what it has as one tick need not be."""
        if not self.symbolic.dense or edge ^ 1 not in self.excerpt.recorded:
            return when
        wire = edge // 2
        waits, since = self.unseen.get(wire, (False, now))
        second = both(when, waits)
        if second is not False:
            self._hold(either(negate(second), self._in_one_tick(since, now)))
        self.fresh += 1
        first = both(both(when, negate(waits)), z3.Bool(f"unseen{self.fresh}"))
        still = both(waits, negate(when))
        self.unseen[wire] = either(first, still), choose(first, now, since)
        return both(both(when, negate(waits)), negate(first))

    def _in_one_tick(self, one: Num, other: Num) -> Cond:
        """Two times, the first no later, are both within the tolerance of one whole tick."""
        late, parts = self.excerpt.tolerance, self.symbolic.system.resolution
        if less(plus(one, 2 * late), other) is True:
            return False
        self.fresh += 1
        tick = z3.Int(f"tick{self.fresh}") * parts
        return z3.And(tick >= term(minus(other, late)), tick <= term(plus(one, late)))

    def _settle(self, counts: dict[int, Num]) -> None:
        """Say plainly what has come of edges that might not be in the recording."""
        for wire, (waits, since) in self.unseen.items():
            if not isinstance(waits, bool):
                if not self._may(waits):
                    self.unseen[wire] = False, since
                elif not self._may(negate(waits)):
                    self.unseen[wire] = True, since
        for edge, count in counts.items():
            if not isinstance(count, int):
                counts[edge] = self._settled(count)

    # -- the solver ---------------------------------------------------------------

    def _hold(self, *conditions: Cond) -> None:
        for condition in conditions:
            if condition is True:
                continue
            self.given.append(condition)
            self.solver.add(z3.BoolVal(False) if condition is False else condition)

    def _may(self, condition: Cond) -> bool:
        """It can be so."""
        if isinstance(condition, bool):
            return condition
        self.solver.push()
        try:
            self.solver.add(condition)
            return self._check()
        finally:
            self.solver.pop()

    def _possible(self) -> bool:
        return self._check()

    def _check(self) -> bool:
        if self.budget.spent(0):
            raise GivenUpError(memory.ran_out())
        if (seconds := self.budget.left()) is not None:
            self.solver.set("timeout", int(seconds * 1000) + 1)
        result = self.solver.check()
        if result == z3.unknown:
            raise GivenUpError("the solver gave up")
        return bool(result == z3.sat)

    def _choice(self, wanted: Any, model: z3.ModelRef | None = None) -> Choice:
        if model is None:
            model = self.solver.model()
        system, times = self.symbolic.system, self.symbolic.times
        made = [(exact(model, at), name, exact(model, v)) for at, name, v in self.picks]
        constants = {
            item.name: (exact(model, place), item in times)
            for item, place in zip(self.symbolic.memory, self.start, strict=True)
            if is_unknown(item)
        }
        found = [at for at, _, _ in made] + [v for _, _, v in made]
        found += [value for value, _ in constants.values()]
        parts = lcm(*(Fraction(value).denominator for value in found)) if found else 1

        def scaled(value: Exact, timed: bool) -> int:
            return int(value * parts) if timed else int(value)

        return Choice(
            exact(model, wanted),
            {name: scaled(value, timed) for name, (value, timed) in constants.items()},
            tuple(Chosen(int(at * parts), name, scaled(v, name in times)) for at, name, v in made),
            system.resolution * parts,
        )


def largest(values: Sequence[Num], least: int, most: int, unrolled: Unrolled) -> Any:
    """An unknown that is at least as large as each of the values."""
    wanted = z3.Int("amount")
    unrolled.hold(wanted >= least, wanted <= most, *(term(v) <= wanted for v in values))
    return wanted


__all__ = ["Choice", "Excerpt", "GivenUpError", "Unrolled", "largest", "lookup", "minus"]
