"""What every engine answers, and how far a search may go."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from enum import Enum
from fractions import Fraction
from time import monotonic

from verify.engines import memory
from verify.engines.trace import Script
from verify.errors import FewwireError
from verify.units import Ticks, whole


class Verdict(Enum):
    """``HOLDS`` is said only of sequences of any length."""

    HOLDS = "holds"
    FAILS = "fails"
    UNDECIDED = "undecided"


class OutOfTimeError(FewwireError):
    """The budget was spent on the way. ``covered``: what an answer then says of itself;
    ``ended``: what was spent."""

    exit_code = 3

    def __init__(self) -> None:
        self.ended = memory.ran_out()
        what = "before it was known what a press or move does alone"
        super().__init__(f"undecided: {self.ended} {what}")
        self.covered = f"nothing: {self.ended} before lone presses were known"


class TooManyError(OutOfTimeError):
    """There is more to go through, one by one, before a search can begin than anybody waits for."""

    def __init__(self, what: str) -> None:
        super().__init__()
        self.what = what
        self.covered = f"nothing: there are more than {what}"

    def __str__(self) -> str:
        return (
            f"undecided: there are more than {self.what}, which are gone through one by one; "
            "a coarser tick, or disturbances of fewer ticks, makes fewer"
        )


class SpentError(Exception):
    """A budget is spent in the middle of a step, or before there is anything to search."""


@dataclass
class Budget:
    """How far a search may go: seconds of work and states or steps. None: no limit.

    ``clock``: what counts the seconds.
    """

    seconds: float | None = None
    states: int | None = None
    started: float | None = None
    clock: Callable[[], float] = monotonic

    def __post_init__(self) -> None:
        self.begun = self.clock() if self.started is None else self.started
        self.started = self.begun

    def left(self) -> float | None:
        """Seconds that remain, at least a little; None if there is no limit."""
        if self.seconds is None:
            return None
        return max(0.001, self.seconds - (self.clock() - self.begun))

    def half(self) -> Budget:
        """With half of the seconds that remain."""
        left = self.left()
        if left is None or self.seconds is None:
            return self
        return replace(self, seconds=self.seconds - left / 2)

    def look(self) -> None:
        """Raise SpentError if the search should stop, in the middle of whatever it does."""
        if self.spent(0):
            raise SpentError

    def spent(self, states: int) -> bool:
        """The search should stop and say how far it got."""
        if self.states is not None and states > self.states:
            return True
        if memory.exceeded():
            return True
        return self.seconds is not None and self.clock() - self.begun > self.seconds


@dataclass
class Progress:
    """How far a running search has got; read by whoever shows progress or is interrupted."""

    states: int = 0
    presses: int = 0
    doing: str = ""
    choices: bool = False  # of a search among tables are counted, not states
    rows: bool = False  # of a file are counted

    def __str__(self) -> str:
        doing = f"{self.doing}: " if self.doing else ""
        if self.choices:
            return f"{doing}{self.states} choices"
        if self.rows:
            return f"{doing}{self.states} rows"
        return f"{doing}{self.states} states, sequences of up to {self.presses} presses"


@dataclass(frozen=True)
class Delivery:
    """A latency that some sequence reaches: ticks without line delay, and the script of it."""

    ticks: Ticks
    script: Script


@dataclass(frozen=True)
class Answer:
    """An engine's answer about one link part.

    ``script``: of a failing run, inputs numbered within the part, line delay as in the
    script; ``rough``: there may be a shorter one. ``covered``: how far the search looked, in
    words; ``complete``: everywhere.
    ``best``/``worst``: per input, latency extremes over all sequences that came out right
    (delay left out).
    """

    verdict: Verdict
    engine: str
    script: Script | None = None
    covered: str = ""
    complete: bool = False
    best: dict[int, Delivery] = field(default_factory=dict)
    worst: dict[int, Delivery] = field(default_factory=dict)
    rough: bool = False

    def in_parts(self, parts: int) -> Answer:
        """As found by an engine that counted in parts of a tick: what it did not find may be
        between them."""

        def script(found: Script) -> Script:
            return replace(found, resolution=parts)

        def ticks(found: dict[int, Delivery]) -> dict[int, Delivery]:
            return {
                i: Delivery(whole(Fraction(d.ticks, parts)), script(d.script))
                for i, d in found.items()
            }

        return replace(
            self,
            verdict=Verdict.FAILS if self.verdict is Verdict.FAILS else Verdict.UNDECIDED,
            script=self.script and script(self.script),
            covered=f"{self.covered}, in steps of 1/{parts} tick",
            complete=False,
            best=ticks(self.best),
            worst=ticks(self.worst),
        )


@dataclass(frozen=True)
class LeastRate:
    """``error``: the bound of the errors, 0 or more, of failing runs. ``fails``: a run fails
    just at it; otherwise only beyond it. ``script``: a failing run at it, or just beyond, whose
    error is ``shown``; None if none fails as far as was looked. ``answer``: of the search for
    runs with a smaller error; None if that is left open: it ended early, since any error at all
    makes a run fail (runs without any were then not looked at), or did not look at all runs, and
    ``error`` is a bound from above only.
    """

    error: Fraction
    fails: bool
    script: Script | None
    shown: Fraction
    answer: Answer | None


def explored(
    verdict: Verdict,
    script: Script | None,
    progress: Progress,
    complete: bool,
    latencies: bool,
    best: dict[int, Delivery],
    worst: dict[int, Delivery],
) -> Answer:
    """What an exploration, state by state, came to. ``script``: a failure, if it found one.

    ``complete``: nothing was left out; ``latencies``: it went on past failures.
    """
    if script is not None:
        verdict = Verdict.FAILS
    if complete:
        covered = f"all {progress.states} states"
    elif verdict is Verdict.FAILS and not latencies:
        covered = f"{progress.states} states, up to the first failure"
    else:
        covered = f"all sequences of fewer than {progress.presses} presses"
    return Answer(verdict, "explorer", script, covered, complete, best, worst)
