"""Press sequences from hypothesis's stateful machinery, as the operator of the link allows.

The only module that imports hypothesis.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from itertools import product
from tempfile import TemporaryDirectory
from typing import Protocol

from hypothesis import HealthCheck, Phase, Verbosity, seed, settings
from hypothesis import strategies as st
from hypothesis.configuration import set_hypothesis_home_dir
from hypothesis.errors import Flaky
from hypothesis.reporting import with_reporter
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    rule,
    run_state_machine_as_test,
)

from verify.engines.answer import Budget, Progress
from verify.engines.concrete import Compiled, State, is_unknown
from verify.engines.shrink import size
from verify.engines.trace import Chosen, Press, Script
from verify.fuzzing.bench import Bench, Outcome
from verify.language.expressions import Pick
from verify.parts.pause import told

_MOST_DISTANCES = 200
# Sequences that are lost when a search is cut, at most.
BATCH = 50


@dataclass
class Log:
    """What a search has met. ``best``: the smallest failure of all."""

    runs: int = 0
    left_out: int = 0
    best: Outcome | None = None
    flaky: bool = False
    ended: bool = False
    distances: list[int] = field(default_factory=list)

    def note(self, outcome: Outcome) -> None:
        """Count a sequence, and keep it if it is the smallest that fails."""
        if outcome.model_fails:
            self.left_out += 1
            return
        self.runs += 1
        if outcome.wrong and (self.best is None or size(outcome.script) < size(self.best.script)):
            self.best = outcome


class _OutOfTimeError(BaseException):
    """Ends hypothesis's search from the inside."""


class _WrongError(AssertionError):
    """The target failed on this sequence."""


class Batches(Protocol):
    """Where it is kept how many batches are over, none of which failed; by default nowhere."""

    def done(self) -> tuple[int, int, int]:
        """Batches, sequences asked, sequences left out."""
        ...

    def over(self, batches: int, runs: int, left_out: int) -> None:
        """So many are over now."""
        ...


def search(
    bench: Bench,
    runs: int,
    presses: int,
    number: int,
    budget: Budget,
    progress: Progress,
    kept: Batches | None = None,
) -> Log:
    """Up to ``runs`` sequences of up to ``presses`` changes; the same seed gives the same.

    They are tried in batches, each with a seed of its own, so that a search can go on after the
    last that is over. ``kept``: where that is told.
    """
    log = Log(distances=_distances(bench))
    batch, log.runs, log.left_out = (0, 0, 0) if kept is None else kept.done()
    while (before := log.runs + log.left_out) < runs:
        many = min(BATCH, runs - before)
        _search(bench, many, presses, _seed(number, batch), budget, progress, log)
        if log.ended or log.flaky or log.best is not None:
            break
        batch += 1
        if kept is not None and many == BATCH:
            kept.over(batch, log.runs, log.left_out)
        if log.runs + log.left_out - before <= many // 2:
            break  # there are no more
    return log


def _seed(number: int, batch: int) -> int:
    """The first batch has the seed itself."""
    if batch == 0:
        return number
    return int.from_bytes(sha256(f"{number} {batch}".encode()).digest()[:8])


def _search(
    bench: Bench,
    runs: int,
    presses: int,
    number: int,
    budget: Budget,
    progress: Progress,
    log: Log,
) -> None:
    """One batch."""

    class Sequences(_Pausing if bench.link.pause.most else _Sequences):  # type: ignore[misc]
        def __init__(self) -> None:
            super().__init__(bench, log, budget, progress)

    chosen = settings(
        max_examples=runs,
        stateful_step_count=presses,
        database=None,
        deadline=None,
        derandomize=False,
        print_blob=False,
        verbosity=Verbosity.quiet,
        phases=(Phase.generate, Phase.shrink),
        suppress_health_check=list(HealthCheck),
        report_multiple_bugs=False,
    )
    progress.doing = "searching"
    try:
        with _traceless(), with_reporter(lambda _: None):
            run_state_machine_as_test(seed(number)(Sequences), settings=chosen)
    except _WrongError:
        pass
    except _OutOfTimeError:
        log.ended = True
    except Flaky as error:
        ended_by = _interruption(error)
        if ended_by is None:
            log.flaky = True
        elif isinstance(ended_by, _OutOfTimeError):
            log.ended = True
        else:
            raise ended_by from None


@contextmanager
def _traceless() -> Iterator[None]:
    """hypothesis leaves no folder of its own where the command is run."""
    with TemporaryDirectory(prefix="fewwire-") as folder:
        set_hypothesis_home_dir(folder)
        try:
            yield
        finally:
            set_hypothesis_home_dir(None)


def _interruption(error: BaseException | None) -> BaseException | None:
    """What ended a test from outside; hypothesis may take that for a test that is not steady."""
    while isinstance(error, Exception):
        error = error.__context__
    return error


def _distances(bench: Bench) -> list[int]:
    """Ticks from press to press at which something may happen: sums of what the link counts."""
    windows = bench.windows[0]
    own = {*windows.earliest, *windows.latest, *sum(bench.link.scheme.per_input().values(), ())}
    times = sorted({int(t) for t in own if 0 < t <= bench.longest})[:30]
    found = {abs(a - b) for a, b in product([*times, 0], repeat=2)} | {a + 1 for a in times}
    return sorted(found)[:_MOST_DISTANCES]


class _Sequences(RuleBasedStateMachine):
    """Writes a script, step by step, and puts it to the target at the end."""

    def __init__(self, bench: Bench, log: Log, budget: Budget, progress: Progress) -> None:
        super().__init__()
        self.bench, self.log, self.budget, self.progress = bench, log, budget, progress
        self.whole = False

    @initialize(data=st.data())
    def begin(self, data: st.DataObject) -> None:
        """What nobody knows of a link is drawn once for a run."""
        if self.budget.spent(0):
            raise _OutOfTimeError
        self.data = data
        link = self.bench.link
        self.delay = data.draw(st.integers(*link.delay))
        self.compiled: Compiled = self.bench.simulator(self.delay).compiled
        others = range(self.compiled.inputs, self.compiled.count)
        taken = {k: self.compiled.disturbed(0, [k])[0] for k in others}
        self.pauses = [k for k, chosen in taken.items() if told(chosen) is not None]
        self.constants = {}
        for item in self.compiled.memory:
            if is_unknown(item) and item.name not in self.bench.fixed:
                start = getattr(item, "begin", None) or getattr(item, "start", None)
                self.constants[item.name] = data.draw(st.integers(*start))  # type: ignore[misc]
        self.state: State = self.compiled.start_with(self.constants)
        self.now, self.last = -1, -1
        self.presses: list[Press] = []
        self.picks: list[Chosen] = []
        self.whole = True

    @rule(data=st.data())
    def change(self, data: st.DataObject) -> None:
        """One more press, or move of a lever, some time after the last."""
        self.whole, self.data = False, data
        link = self.bench.link
        index = data.draw(st.integers(0, self.compiled.inputs - 1))
        longest = 2 * self.bench.longest + 2
        distance = data.draw(
            st.one_of(st.integers(0, longest), st.sampled_from([0, *self.log.distances]))
        )
        others = st.lists(st.integers(0, self.compiled.inputs - 1), max_size=2)
        also = data.draw(others) if link.operator.closest == 0 else []
        self._first_open(index)
        ahead = max(1 if self.now < 0 else 0, self.last + distance - self.now)
        self._press(index, also, ahead)
        self.whole = True

    def teardown(self) -> None:
        """Ask the target, if the script is whole."""
        if not self.whole:
            return
        script = Script(
            tuple(self.presses), self.delay, tuple(self.picks), tuple(self.constants.items())
        )
        outcome = self.bench.run(script, self._choose_now)
        self.log.note(outcome)
        self.progress.states = self.log.runs
        if outcome.wrong:
            raise _WrongError

    def _choose_now(self, pick: Pick) -> int:
        return self.data.draw(st.integers(pick.least, pick.most))

    def _first_open(self, index: int) -> None:
        """On to one tick before the first in which the input may change."""
        for _ in range(10_000):
            event = self.compiled.next_event(self.state)
            most = max([event or 0, *self.compiled.restraint_ends(self.state), 1])
            if event is not None:
                most = min(most, event)
            first = self.compiled.first_open(self.state, index, most)
            if first is not None:
                self._pass(first - 1)
                return
            self._pass(most)

    def _press(self, index: int, also: list[int], ahead: int) -> None:
        """So many ticks on, if that is allowed then; ``also``: in the same tick, if allowed."""
        self._pass(max(0, ahead - 1))
        for taken in (sorted({index, *also}), [index]):
            if self.compiled.step(self.state, 1, taken) is not None:
                self._step(1, taken)
                self.presses += self.compiled.pressed(self.now, taken)
                self.last = self.now
                return

    def _pass(self, ticks: int) -> None:
        while ticks > 0:
            event = self.compiled.next_event(self.state)
            passed = ticks if event is None else min(event, ticks)
            self._step(passed, [])
            ticks -= passed

    def _step(self, passed: int, taken: list[int]) -> None:
        now = self.now + passed

        def choose(pick: Pick) -> int:
            value = self._choose_now(pick)
            self.picks.append(Chosen(now, pick.name, value))
            return value

        result = self.compiled.step(self.state, passed, taken, choose)
        if result is None:
            raise AssertionError("an open offer was refused")
        self.state, self.now = result[0], now


class _Pausing(_Sequences):
    """The same, where the model's end may stop."""

    @rule(data=st.data())
    def pause(self, data: st.DataObject) -> None:
        """It stops, if it may."""
        self.whole, self.data = False, data
        index = data.draw(st.sampled_from(self.pauses))
        self._pass(data.draw(st.integers(0, self.bench.longest)))
        if self.compiled.step(self.state, 1, [index]) is not None:
            self._step(1, [index])
            self.picks += self.compiled.disturbed(self.now, [index])
        self.whole = True
