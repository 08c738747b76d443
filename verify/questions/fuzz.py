"""Does an end that is not ours do its part? Sequences are tried; nothing is ever proved."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from verify.engines.answer import Budget, Progress, SpentError, Verdict
from verify.engines.shrink import shrink
from verify.engines.trace import Press, Script
from verify.errors import UsageError
from verify.fuzzing.bench import Bench, Outcome
from verify.fuzzing.target import TargetError
from verify.questions.kept_batches import KeptBatches

Test = Callable[[Script], bool]


class Tried(Progress):
    """How many sequences the target has been asked."""

    def __str__(self) -> str:
        return f"{self.doing or 'starting'}: {self.states} sequences"


@dataclass(frozen=True)
class Fuzzed:
    """What a search came to. ``outcome``: the smallest sequence that the target gets wrong.

    ``runs``: sequences that the target was asked; ``left_out``: those that it was not, because
    the model itself gets them wrong. ``steady``: whenever it was asked, it failed. ``minimal``: no
    press can be left out and no gap shortened (None: no failure, or the time was up before).
    ``ended``: the time was up.
    """

    outcome: Outcome | None
    runs: int
    left_out: int
    seed: int
    presses: int
    ended: bool
    steady: bool = True
    minimal: bool | None = None

    @property
    def verdict(self) -> Verdict:
        """Fails, or undecided: sequences that came out right prove nothing."""
        return Verdict.UNDECIDED if self.outcome is None else Verdict.FAILS


def fuzz(
    bench: Bench,
    runs: int,
    presses: int,
    seed: int,
    budget: Budget,
    progress: Progress,
    kept: KeptBatches | None = None,
) -> Fuzzed:
    """Search with hypothesis, then shrink what was found to a minimum.

    ``runs`` sequences of up to ``presses`` changes; ``kept``: those that were asked before are
    not asked again. Raises UsageError where the target does not
    even come up.
    """
    _comes_up(bench)
    # hypothesis is an extra, and slow to load.
    try:
        from verify.fuzzing.search import search
    except ModuleNotFoundError as error:
        raise UsageError(
            f"fuzz: found no {error.name}; allowed: with it, by pip install 'fewwire[fuzz]'"
        ) from None
    log = search(bench, runs, presses, seed, budget, progress, kept)
    found = Fuzzed(log.best, log.runs, log.left_out, seed, presses, log.ended, not log.flaky)
    if log.best is None:
        return found
    progress.doing = "shrinking"
    minimal, outcome = _smallest(bench, log.best, budget)
    if minimal is None or not outcome.wrong:
        return replace(found, steady=False)
    return replace(found, outcome=outcome, minimal=minimal)


def _comes_up(bench: Bench) -> None:
    try:
        bench.target.begin()
    except TargetError as error:
        found = f"a target that {error.kind} before it has heard anything ({error.found})"
        raise UsageError(
            f"fuzz: found {found}; allowed: one that begins (`fewwire manual fuzz`)"
        ) from None


def _smallest(bench: Bench, found: Outcome, budget: Budget) -> tuple[bool | None, Outcome]:
    """Whether it is minimal, and what the smallest sequence comes to when it is asked once more.

    None: it does not fail again.
    """
    smallest = found.script

    def fails(script: Script) -> bool:
        nonlocal smallest
        budget.look()
        wrong = bench.fails(script)
        if wrong:
            smallest = script
        return wrong

    minimal = True
    try:
        if not fails(found.script):
            return None, found
        script, before = found.script, None
        while script != before:
            small = shrink(_dropped(script, fails), fails)
            before, script, minimal = script, small.script, small.minimal
    except SpentError:
        minimal = False
    return minimal, bench.run(smallest)


def _dropped(script: Script, fails: Test) -> Script:
    """Without the presses that it fails without, the others at their own ticks."""
    better = True
    while better:
        better = False
        for gone in _droppable(script.presses):
            fewer = tuple(p for k, p in enumerate(script.presses) if k not in gone)
            if fails(replace(script, presses=fewer)):
                script, better = replace(script, presses=fewer), True
                break
    return script


def _droppable(presses: tuple[Press, ...]) -> Iterator[tuple[int, ...]]:
    """Each by itself, and each with the next of its input: a lever that goes up and down."""
    for k, press in enumerate(presses):
        yield (k,)
        for n in range(k + 1, len(presses)):
            if presses[n].input == press.input:
                yield k, n
                break
