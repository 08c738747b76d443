"""A given sequence of presses, as early as the proved matrix of spacings allows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm

from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.simulator import NotAllowedError
from verify.engines.trace import Press, Script, Trace
from verify.errors import DisagreementError, UsageError
from verify.parts.link import Link
from verify.pressfile import Wanted
from verify.questions.engine_choice import EngineName
from verify.questions.judging import DEFAULT_SECONDS, Subject
from verify.questions.pairs import Matrix, Pairs, least_pairs
from verify.questions.spacing import Spacing, least_spacing
from verify.units import Ticks, whole


@dataclass(frozen=True)
class Placed:
    """A press in its place. ``waits_for``: the earlier press, from 0, that keeps it from coming
    sooner; None where that is its own not-before time, or that nothing can be sooner."""

    input: int
    tick: int
    not_before: int
    waits_for: int | None


@dataclass(frozen=True)
class Schedule:
    """``presses``: None unless ``verdict`` is that it holds.

    ``pairs``: None where no spacing was found. ``last_strike``: its tick in the
    simulator's run, all that is unknown at its least. ``at_one_spacing``: ticks
    from the first press to the last at the least safe spacing, the same for all inputs.
    """

    verdict: Verdict
    spacing: Spacing
    pairs: Pairs | None
    presses: tuple[Placed, ...] | None = None
    last_strike: Ticks | None = None
    at_one_spacing: int | None = None

    @property
    def total(self) -> int | None:
        """Ticks from the first press to the last."""
        return None if self.presses is None else self.presses[-1].tick - self.presses[0].tick

    @property
    def trace(self) -> Trace | None:
        """Where it fails, why."""
        if self.verdict is not Verdict.FAILS:
            return None
        return self.pairs.trace if self.pairs is not None else self.spacing.trace_below


def schedule(
    subject: Subject,
    wanted: Sequence[Wanted],
    engine: EngineName,
    progress: Progress,
    budget: Budget | None = None,
) -> Schedule:
    """When each press comes at the earliest, played by the simulator.

    Under the bounds of the link's operator, but for its own spacing.
    Raises UsageError for levers, DisagreementError if the simulator does not find all right.
    """
    if subject.link.kind != "press":
        raise UsageError(
            'inputs.kind: found "level"; allowed for schedule: "press"; a lever\'s output need not '
            "show a move that is taken back at once, so that any pace would do"
        )
    budget = budget if budget is not None else Budget(DEFAULT_SECONDS)
    spacing = least_spacing(subject, engine, progress, budget)
    if spacing.ticks is None:
        return Schedule(spacing.verdict, spacing, None)
    pairs = least_pairs(subject, engine, progress, spacing.ticks, budget)
    slow = earliest(subject.link, _one_for_all(subject.link, spacing.ticks), wanted)
    at_one = slow[-1].tick - slow[0].tick
    if pairs.verdict is not Verdict.HOLDS:
        return Schedule(pairs.verdict, spacing, pairs, at_one_spacing=at_one)
    placed = earliest(subject.link, pairs.ticks, wanted)
    last = _played(subject.respaced(spacing=0, pairs=pairs.ticks), placed)
    return Schedule(Verdict.HOLDS, spacing, pairs, placed, last, at_one)


def earliest(link: Link, pairs: Matrix, wanted: Sequence[Wanted]) -> tuple[Placed, ...]:
    """Each press as early as ``pairs`` and the link's operator allow, in the order given.

    Every bound says that a press comes at least so long after an earlier one, or not before a
    tick: nothing is gained by being late. So the least tick of each press, given the least
    ticks of those before it, is at or below its tick in every schedule that keeps the bounds
    (by induction, as raising an earlier tick never lowers a bound), and all presses come as
    early as they can at once. Least solution of a system of difference constraints whose graph
    has no cycle: longest paths, R. Bellman, "On a routing problem", Quarterly of Applied
    Mathematics 16 (1958) - from memory.

    Presses come in one tick only where the matrix has 0, in the order of their numbers, since
    that is the order in which a tick sees them.
    """
    placed: list[Placed] = []
    last: dict[int, int] = {}
    for n, want in enumerate(wanted):
        bounds: list[tuple[int, int | None]] = [(max(_first(link), want.not_before), None)]
        bounds += _after(link, pairs, placed, last, want.input)
        tick, waits_for = max(bounds, key=lambda bound: bound[0])
        placed.append(Placed(want.input, tick, want.not_before, waits_for))
        last[want.input] = n
    return tuple(placed)


def _after(
    link: Link, pairs: Matrix, placed: Sequence[Placed], last: dict[int, int], index: int
) -> Iterator[tuple[int, int]]:
    """Bounds by earlier presses. Of one input only the last matters: it bounds the most."""
    operator = link.operator
    for i, k in last.items():
        least = pairs[i][index]
        if i == index:
            least = max(least, operator.repeat, operator.hold[0] + 1)
        yield placed[k].tick + least, k
    if placed:
        before = placed[-1]
        yield before.tick + (before.input >= index), len(placed) - 1
    most = operator.overlap
    if most is not None and most <= len(placed):
        k = len(placed) - most
        yield placed[k].tick + operator.hold[0], k  # let go in that tick: no more held


def _first(link: Link) -> int:
    """The first tick in which anything may be done."""
    return max(0, link.cold - 1)


def _one_for_all(link: Link, spacing: int) -> Matrix:
    return ((spacing,) * link.inputs,) * link.inputs


def _played(subject: Subject, placed: Sequence[Placed]) -> Ticks:
    """Tick of the last strike in the simulator's run, which must come out right."""
    link = subject.link
    resolution = lcm(link.clock.resolution, *(w.resolution for w in subject.windows))
    presses = tuple(Press(p.tick * resolution, p.input) for p in placed)
    script = Script(presses, link.delay[0] * resolution, resolution=resolution)
    try:
        trace = subject.replay(script)
    except NotAllowedError as error:
        raise _bug(f"the operator may not do it ({error})") from None
    if trace.failure is not None:
        raise _bug(f"{trace.failure.kind} of {trace.failure.output} at {trace.failure.tick}")
    strikes = [event.tick for event in trace.events if event.signal.startswith("out.")]
    return whole(Fraction(max(strikes), resolution))


def _bug(what: str) -> DisagreementError:
    return DisagreementError(
        f"a schedule that keeps the proved spacings does not come out right: {what}; this is a "
        "bug in fewwire, please report it with the link file and the presses"
    )
