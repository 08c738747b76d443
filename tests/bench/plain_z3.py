"""The pulse-gap link as a user might encode it for z3 by hand: one solver step per tick.

The link is the one that the spacing benchmarks use: gaps 2, 4, ..., 2n, pulses of one tick,
overlay transmitter, timer receiver that disarms on a miss, window 0. It is written here a
second time, against our own rule of one definition per scheme, because this is the thing
compared with; it shares no code with the package.

State of tick t, all z3 variables:

- ``press[t, i]``: input i is pressed. At most one per tick, and ``wait[t]``, an integer that
  counts down from S - 1 after each press, must be 0 for the next.
- ``line[t]``: the line is high: some input is pressed now (first pulse) or was pressed its
  gap ago (second pulse). Pulses of one tick need no timer of their own; two that touch have
  one rise, since a rise is a high tick after a low one.
- ``armed[t]``, ``elapsed[t]``: the receiver before tick t, and the ticks since the rise that
  armed it. It disarms by itself when ``elapsed`` is past the longest gap.
- a failure in tick t: for some i, output i strikes now and input i was not pressed its gap
  ago, or the other way round. That is the whole monitor, for each latency is constant.

Integers, and z3's solver for linear integer arithmetic: the theory that our solver engine
uses too. Four proofs that spacing S is safe:

``bounded``
    From idle, presses at any ticks that S allows, no failure within 2 S + 2 n + 1 ticks: long
    enough for a press, all ticks of the next S at which another may follow, and everything
    those two do. The first thing one writes. It says nothing of longer sequences, so what it
    finds is a failure or nothing (``undecided``).
``bounded, pinned``
    The same, with the first press in tick 0: until then nothing moves. As many ticks.
``induction``
    k-induction, for sequences of any length: no failure in the first k ticks from idle (first
    press pinned), and no failure-free run of k - 1 ticks from any state whatever that fails in
    the next. k = 4 n, twice the longest gap, is the least that works, found by trial; the
    trials are not charged.
``rest``
    A lemma found by thinking, for sequences of any length too: one press in tick 0 from idle
    comes out right, and S ticks later the link is idle again; hence, by induction on presses,
    every press finds it idle. Only n runs of S ticks remain, without any choice in them. If
    the lemma is wrong for S, a pinned bounded search looks for a failure.

The first two need no idea of how the link behaves, nor does our solver; ``induction`` takes
a good k, and ``rest`` is the insight that our solver has to find by itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from time import perf_counter
from typing import Literal

import z3

Proof = Literal["bounded", "bounded, pinned", "induction", "rest"]
Verdict = Literal["holds", "fails", "undecided", "timeout"]
PROOFS: tuple[Proof, ...] = ("bounded", "bounded, pinned", "induction", "rest")


@dataclass(frozen=True)
class PlainAnswer:
    """``seconds``: building the formulas and solving them."""

    verdict: Verdict
    seconds: float


def plain_verdict(inputs: int, spacing: int, proof: Proof, limit: float) -> PlainAnswer:
    """Is ``spacing`` ticks safe for that many inputs? ``limit``: seconds for everything."""
    started = perf_counter()
    try:
        verdict = _decide(inputs, spacing, proof, started + limit)
    except TimeoutError:
        verdict = "timeout"
    return PlainAnswer(verdict, perf_counter() - started)


def _decide(inputs: int, spacing: int, proof: Proof, deadline: float) -> Verdict:
    two_presses = 2 * spacing + 2 * inputs + 1
    if proof in ("bounded", "bounded, pinned"):
        link = _Ticks(inputs, spacing, two_presses, deadline)
        if proof == "bounded, pinned":
            link.pin_first_press()
        return "fails" if link.possible(z3.Or(link.failure)) else "undecided"
    if proof == "rest":
        link = _Ticks(inputs, spacing, spacing, deadline)
        link.pin_first_press()
        link.no_more_presses()
        if not link.possible(z3.Or(*link.failure, link.not_idle_at_end())):
            return "holds"
        return _decide(inputs, spacing, "bounded, pinned", deadline)
    k = max(4 * inputs, spacing + 3)
    base = _Ticks(inputs, spacing, k, deadline)
    base.pin_first_press()
    if base.possible(z3.Or(base.failure)):
        return "fails"
    step = _Ticks(inputs, spacing, k, deadline, anywhere=True)
    right_before = [z3.Not(failure) for failure in step.failure[:-1]]
    return "undecided" if step.possible(*right_before, step.failure[-1]) else "holds"


class _Ticks:
    """Ticks 0 to ``ticks`` - 1, from idle, or from any state at all (``anywhere``)."""

    def __init__(
        self, inputs: int, spacing: int, ticks: int, deadline: float, *, anywhere: bool = False
    ) -> None:
        self.gaps = [2 * (i + 1) for i in range(inputs)]
        self.spacing, self.ticks, self.deadline = spacing, ticks, deadline
        self.solver = z3.SolverFor("QF_LIA")
        # What the line does in tick -1 depends on presses up to the longest gap before it.
        self.first = -1 - self.gaps[-1] if anywhere else 0
        self.press = {
            (t, i): z3.Bool(f"press {t} {i}")
            for t in range(self.first, ticks)
            for i in range(inputs)
        }
        self._operator(anywhere)
        self._transmitter()
        self.failure = self._receiver(anywhere)

    def _pressed(self, tick: int, index: int) -> z3.BoolRef:
        return self.press.get((tick, index), z3.BoolVal(False))

    def _row(self, tick: int) -> list[z3.BoolRef]:
        return [self._pressed(tick, i) for i in range(len(self.gaps))]

    def _operator(self, anywhere: bool) -> None:
        wait = {t: z3.Int(f"wait {t}") for t in range(self.first, self.ticks + 1)}
        start = wait[self.first]
        self.solver.add(start >= 0, start < self.spacing if anywhere else start == 0)
        for t in range(self.first, self.ticks):
            any_press = z3.Or(self._row(t))
            left = z3.If(wait[t] == 0, 0, wait[t] - 1)
            self.solver.add(
                z3.AtMost(*self._row(t), 1),
                z3.Implies(any_press, wait[t] == 0),
                wait[t + 1] == z3.If(any_press, self.spacing - 1, left),
            )

    def _transmitter(self) -> None:
        self.line = {t: z3.Bool(f"line {t}") for t in range(-1, self.ticks)}
        for t, high in self.line.items():
            second = [self._pressed(t - gap, i) for i, gap in enumerate(self.gaps)]
            self.solver.add(high == z3.Or(*self._row(t), *second))

    def _receiver(self, anywhere: bool) -> list[z3.BoolRef]:
        """Returns, per tick, that something comes out wrong in it."""
        too_long = self.gaps[-1] + 1
        self.armed = [z3.Bool(f"armed {t}") for t in range(self.ticks + 1)]
        elapsed = [z3.Int(f"elapsed {t}") for t in range(self.ticks + 1)]
        self.solver.add(elapsed[0] >= 0, elapsed[0] <= (too_long if anywhere else 0))
        self.solver.add(self.armed[0] == (elapsed[0] > 0))
        failures = []
        for t in range(self.ticks):
            if perf_counter() > self.deadline:
                raise TimeoutError
            rise = z3.And(self.line[t], z3.Not(self.line[t - 1]))
            strikes = [z3.And(rise, self.armed[t], elapsed[t] == gap) for gap in self.gaps]
            due = [self._pressed(t - gap, i) for i, gap in enumerate(self.gaps)]
            failures.append(z3.Or([s != d for s, d in zip(strikes, due, strict=True)]))
            late = elapsed[t] == too_long
            arms = z3.And(rise, z3.Or(z3.Not(self.armed[t]), late))
            stays = z3.And(self.armed[t], z3.Not(rise), z3.Not(late))
            counted = z3.If(stays, elapsed[t] + 1, 0)
            self.solver.add(
                self.armed[t + 1] == z3.Or(arms, stays),
                elapsed[t + 1] == z3.If(arms, 1, counted),
            )
        return failures

    def pin_first_press(self) -> None:
        """The first press is in tick 0."""
        self.solver.add(z3.Or(self._row(0)))

    def no_more_presses(self) -> None:
        """Nothing is pressed after tick 0."""
        self.solver.add(*(z3.Not(pressed) for (t, _), pressed in self.press.items() if t > 0))

    def not_idle_at_end(self) -> z3.BoolRef:
        """After the last tick the receiver is armed, the line high, or a pulse still to come."""
        end = self.ticks
        pending = [
            self._pressed(t, i) for i, gap in enumerate(self.gaps) for t in range(end - gap, end)
        ]
        return z3.Or(self.armed[end], self.line[end - 1], *pending)

    def possible(self, *conditions: z3.BoolRef) -> bool:
        """The conditions can hold. Raises TimeoutError at the deadline."""
        left = self.deadline - perf_counter()
        if left <= 0:
            raise TimeoutError
        self.solver.set("timeout", max(1, int(left * 1000)))
        self.solver.add(*conditions)
        result = self.solver.check()
        if result == z3.unknown or perf_counter() > self.deadline:
            raise TimeoutError
        return bool(result == z3.sat)
