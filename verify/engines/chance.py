"""The simulator as a searcher: many random sequences. It can find failures, never prove."""

from __future__ import annotations

from random import Random

from verify.engines.answer import Answer, Budget, Progress, Verdict
from verify.engines.concrete import Compiled, State
from verify.engines.trace import Press, Script
from verify.language import expressions as ex
from verify.language.machine import System
from verify.parts.signals import failure

RUNS = 2_000
LONGEST = 12  # presses in one run


def hammer(system: System, budget: Budget, progress: Progress, seed: int = 0) -> Answer:
    """Press at random, mostly as close together as the operator allows.

    Fails, or ``undecided`` after a fixed number of runs; the same seed gives the same answer.
    """
    compiled, random = Compiled(system), Random(seed)
    starts = list(compiled.starts())
    progress.presses = LONGEST
    runs = 0
    while runs < RUNS and not budget.spent(progress.states):
        runs += 1
        script = _run(compiled, random.choice(starts), random, progress)
        if script is not None:
            return Answer(Verdict.FAILS, "simulator", script)
    covered = f"{runs} random sequences of up to {LONGEST} presses"
    return Answer(Verdict.UNDECIDED, "simulator", covered=covered)


def _run(compiled: Compiled, state: State, random: Random, progress: Progress) -> Script | None:
    shift = next(
        (int(state[i]) for m, i in compiled.where.items() if m.name == "monitor0.shift"), 0
    )
    presses: list[Press] = []
    picks: list[tuple[int, tuple[int, ...]]] = []
    now, eager = -1, random.random()
    while True:
        event = compiled.next_event(state)
        if event is None and len(presses) >= LONGEST:
            return None
        horizon = event or 1
        passed, taken = horizon, []
        if len(presses) < LONGEST:
            tick = 1 if event is None else random.randint(1, horizon)
            index = random.randrange(compiled.offer.count)
            far = max(compiled.restraint_ends(state), default=1) if event is None else tick
            tick = max(tick, far)
            if random.random() < eager + 0.1 and compiled.allowed(state, tick, index):
                passed, taken = tick, [index]
            elif event is None:
                passed = tick
        made: list[int] = []

        def choose(pick: ex.Pick, made: list[int] = made) -> int:
            made.append(random.randint(pick.least, pick.most))
            return made[-1]

        result = compiled.step(state, passed, taken, choose)
        if result is None:
            raise AssertionError("an open offer was refused")
        state, log = result
        now += passed
        progress.states += 1
        presses += [Press(now, index) for index in taken]
        if made:
            picks.append((now, tuple(made)))
        if any(signal == failure(0) for signal, _ in log):
            return Script(tuple(presses), shift, tuple(picks))
