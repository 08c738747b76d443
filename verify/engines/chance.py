"""The simulator as a searcher: sustained load, then random sequences. It never proves."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import cycle, islice
from random import Random

from verify.engines.answer import Answer, Budget, Delivery, Progress, Verdict
from verify.engines.concrete import Compiled, State, is_unknown
from verify.engines.trace import Chosen, Press, Script
from verify.language import expressions as ex
from verify.language.machine import System
from verify.parts.signals import delivered, failure

RUNS = 2_000
LONGEST = 12  # presses in one random run
FLOOD = 80  # presses in one run of sustained load
LONG_FLOOD = 400  # where a clock that is off by a little fills a queue slowly
QUIET = 300  # events without a press after which a link that never rests is left
MOST_PATTERNS = 300
MOST_ALONE = 1_000  # states in which a press is made alone
MOST_ENDS = 60  # runs of one press of an input

# Says what to press, how many ticks after the state, or that nothing more is pressed.
Player = Callable[[State, int | None], tuple[int, int] | None]


def hammer(
    system: System, budget: Budget, progress: Progress, *, latencies: bool = False, seed: int = 0
) -> Answer:
    """Press at random, mostly as close together as the operator allows.

    Fails, or ``undecided`` after a fixed number of runs; the same seed gives the same answer.
    ``latencies``: also the extremes met.
    """
    runner, random = _Runner(system, progress), Random(seed)
    progress.presses = LONGEST
    runs, failed = 0, None
    while runs < RUNS and not budget.spent(progress.states):
        runs += 1
        start = runner.compiled.any_start(random)
        script = runner.run(start, _at_random(runner.compiled, random), random)
        failed = failed or script
        if failed is not None and not latencies:
            break
    covered = f"{runs} random sequences of up to {LONGEST} presses"
    verdict = Verdict.UNDECIDED if failed is None else Verdict.FAILS
    return Answer(verdict, "simulator", failed, covered, False, runner.best, runner.worst)


def at_ends(system: System, budget: Budget, progress: Progress) -> Answer:
    """Press each input alone, with all that the world picks at its least, at its most and at
    random: the extremes of lone presses are mostly among these. Never fails."""
    runner = _Runner(system, progress)
    ways: tuple[Callable[[int], Random], ...] = (_Least, _Most, Random)
    for index in range(runner.compiled.inputs):
        for turn in range(MOST_ENDS):
            if budget.spent(progress.states):
                break
            random = ways[turn % len(ways)](turn)
            starts = _starts(runner.compiled)
            start = next(islice(starts, turn // len(ways) % 3, None))
            runner.run(start, _once(runner.compiled, index, Random(turn)), random)
    covered = f"presses by themselves, {MOST_ENDS} of each input"
    return Answer(Verdict.UNDECIDED, "simulator", None, covered, False, runner.best, runner.worst)


class _Least(Random):
    """Of what may be picked always the least."""

    def randint(self, a: int, b: int) -> int:
        return a


class _Most(Random):
    """Of what may be picked always the most."""

    def randint(self, a: int, b: int) -> int:
        return b


def flood(system: System, budget: Budget, progress: Progress) -> Answer:
    """Press all inputs in turn, one again and again, or two, as fast as the operator allows.

    Finds in a moment what fails only after many presses, such as a queue that overflows. A
    link that may be found in many states is found in the first, the last, and then in others.
    """
    runner = _Runner(system, progress)
    many = any(is_unknown(item) for item in runner.compiled.memory)
    patterns = _patterns(runner.compiled.inputs, many)
    loads = islice(zip(patterns, _starts(runner.compiled), strict=False), MOST_PATTERNS)
    return _under_load(runner, loads, FLOOD, budget)


def long_flood(system: System, budget: Budget, progress: Progress) -> Answer:
    """Press one input again and again, as fast as the operator allows, with the largest value of
    everything unknown: on a slow clock a queue may take long to overflow."""
    runner = _Runner(system, progress)
    start = runner.compiled.last_start()
    loads = (((index,), start) for index in range(runner.compiled.inputs))
    return _under_load(runner, loads, LONG_FLOOD, budget)


def alone(system: System, inputs: Iterable[int], budget: Budget, progress: Progress) -> Answer:
    """Press each of these inputs alone, in one state after another in which the link is found,
    again and again with other picks."""
    runner, inputs = _Runner(system, progress), tuple(inputs)
    starts = list(islice(runner.compiled.starts(), MOST_ALONE))
    loads = cycle(((i,), start) for start in starts for i in inputs)
    runs = max(MOST_ALONE, len(starts) * len(inputs))
    return _under_load(runner, islice(loads, runs), 1, budget)


def _under_load(
    runner: _Runner,
    loads: Iterable[tuple[tuple[int, ...], State]],
    presses: int,
    budget: Budget,
) -> Answer:
    """``loads``: patterns, each with the state in which the link is found."""
    runner.progress.presses = presses
    tried, random = 0, Random(0)
    for pattern, start in loads:
        if budget.spent(runner.progress.states):
            break
        tried += 1
        script = runner.run(start, _in_turn(runner.compiled, pattern, presses), random)
        if script is not None:
            covered = f"sustained load, {tried} sequences" if presses > 1 else f"{tried} presses"
            return Answer(Verdict.FAILS, "simulator", script, covered)
    covered = f"{tried} sustained sequences of {presses} presses"
    return Answer(Verdict.UNDECIDED, "simulator", covered=covered)


def _starts(compiled: Compiled) -> Iterator[State]:
    """States in which a link may be found: the first, the last, then others, without end."""
    random = Random(0)
    yield next(compiled.starts())
    yield compiled.last_start()
    while True:
        yield compiled.any_start(random)


def _patterns(inputs: int, again: bool) -> Iterator[tuple[int, ...]]:
    """``again``: in every state in which a link may be found, or as near as can be."""
    each = 2 if again else 1
    while True:
        if inputs > 2:
            yield tuple(range(inputs))
            yield tuple(reversed(range(inputs)))
        yield from ((index,) for index in range(inputs) for _ in range(each))
        yield from ((a, b) for a in range(inputs) for b in range(inputs) if a < b)
        if not again:
            return


class _Runner:
    """Runs a system from rest under a player, noting failures and deliveries."""

    def __init__(self, system: System, progress: Progress) -> None:
        self.compiled, self.progress = Compiled(system), progress
        self.best: dict[int, Delivery] = {}
        self.worst: dict[int, Delivery] = {}

    def run(self, start: State, player: Player, random: Random) -> Script | None:
        """The script up to the first failure; None if there is none."""
        state, now = start, -1
        presses: list[Press] = []
        picks: list[Chosen] = []
        quiet = 0
        while True:
            event = self.compiled.next_event(state)
            wanted = player(state, event)
            quiet = quiet + 1 if wanted is None else 0
            if (wanted is None and event is None) or quiet > QUIET:
                return None
            taken = [] if wanted is None else [wanted[1]]
            passed = event if wanted is None else wanted[0]
            made: list[tuple[str, int]] = []

            def choose(pick: ex.Pick, made: list[tuple[str, int]] = made) -> int:
                made.append((pick.name, random.randint(pick.least, pick.most)))
                return made[-1][1]

            result = self.compiled.step(state, passed or 1, taken, choose)
            if result is None:
                raise AssertionError("an open offer was refused")
            state, log = result
            now += passed or 1
            self.progress.states += 1
            presses += self.compiled.pressed(now, taken)
            picks += self.compiled.disturbed(now, taken)
            picks += [Chosen(now, name, value) for name, value in made]
            script = Script(tuple(presses), 0, tuple(picks), self.compiled.constants(start))
            for signal, values in log:
                if signal == failure(0):
                    return script
                if signal == delivered(0):
                    self._note(values[0], Delivery(values[1], script))

    def _note(self, index: int, delivery: Delivery) -> None:
        if index not in self.best or delivery.ticks < self.best[index].ticks:
            self.best[index] = delivery
        if index not in self.worst or delivery.ticks > self.worst[index].ticks:
            self.worst[index] = delivery


def _in_turn(compiled: Compiled, pattern: tuple[int, ...], presses: int) -> Player:
    """Presses the inputs of a pattern in turn, each in the first tick that is open."""
    coming = list(islice(cycle(pattern), presses))

    def play(state: State, event: int | None) -> tuple[int, int] | None:
        if not coming:
            return None
        most = event if event is not None else _weakest(compiled, state)
        tick = compiled.first_open(state, coming[0], most)
        return None if tick is None else (tick, coming.pop(0))

    return play


def _once(compiled: Compiled, index: int, random: Random) -> Player:
    """One press, as soon as may be; then at times something else that the world may do."""
    pressed = False

    def play(state: State, event: int | None) -> tuple[int, int] | None:
        nonlocal pressed
        if not pressed:
            most = event if event is not None else max(_weakest(compiled, state), 1)
            tick = compiled.first_open(state, index, most)
            pressed = tick is not None
            return None if tick is None else (tick, index)
        if event is None or compiled.inputs == compiled.count or random.random() < 0.5:
            return None
        other = compiled.most_of(random.randrange(compiled.inputs, compiled.count))
        tick = random.randint(1, event)
        return (tick, other) if compiled.allowed(state, tick, other) else None

    return play


def _weakest(compiled: Compiled, state: State) -> int:
    """Ticks after which no restraint is left."""
    return max(compiled.restraint_ends(state), default=1)


def _anything(compiled: Compiled, random: Random) -> int:
    """A press as often as anything else, of which there may be far more; then, half the time, as
    much of it as may be."""
    inputs, count = compiled.inputs, compiled.count
    if inputs == count or random.random() < 0.5:
        return random.randrange(inputs)
    index = random.randrange(inputs, count)
    return index if random.random() < 0.5 else compiled.most_of(index)


def _at_random(compiled: Compiled, random: Random) -> Player:
    """Presses any input at any tick before the next event, more or less eagerly."""
    left, eager = LONGEST, random.random()

    def play(state: State, event: int | None) -> tuple[int, int] | None:
        nonlocal left
        while left > 0:
            index = _anything(compiled, random)
            if event is not None:
                tick = random.randint(1, event)
            else:
                tick = compiled.first_open(state, index, _weakest(compiled, state)) or 1
            if random.random() < eager + 0.1 and compiled.allowed(state, tick, index):
                left -= 1
                return tick, index
            if event is not None:
                return None
            left -= 1  # at rest: a press forgone
        return None

    return play
