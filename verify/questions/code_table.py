"""Judge a table of codes on parallel lines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations
from math import comb

from models.parallel_code import ParallelCode, Reads
from verify.engines.answer import Verdict
from verify.engines.trace import Chosen, Press, Script, Trace
from verify.parts.link import Link
from verify.questions.evidence import Fault, failing_run, verdict_of
from verify.tables.codes import Collision, collision, covering_pairs, repeated, smallest_cover

MOST_GROUPS = 10_000
"""No more groups of held inputs are listed."""
MOST_SETS = 200_000
"""No more sets of one size are looked at one by one."""


@dataclass(frozen=True)
class Group:
    """Inputs that, held together, show at least all lines of the input ``shows``; none is spare.

    ``exact``: and no other line.
    """

    inputs: tuple[int, ...]
    shows: int
    exact: bool


@dataclass(frozen=True)
class Held:
    """Largest numbers of inputs that may be held at once, 0 for not even one.

    ``steady``: no output of another input shows once the lines are steady. ``skewed``: nor on
    the way, in whatever order the lines come (d-disjunct). ``apart``: what the lines show
    tells which are held, for any number up to it (at-most-d separable); ``exactly``: if the
    number itself is known (exactly-d separable). None: more than was looked at.
    """

    steady: int
    skewed: int
    apart: int | None
    exactly: int | None
    steady_broken: tuple[tuple[int, ...], int] | None
    skewed_broken: tuple[tuple[int, ...], int] | None
    apart_broken: Collision | None
    exactly_broken: Collision | None


@dataclass(frozen=True)
class CodeAnswer:
    """``covers``: (input, input whose code it covers). ``listed_sizes``: groups of up to so many
    inputs are all listed. ``reads``, ``known``: the receiver's, ``known`` inputs as a set.
    ``unordered_most``: no more codes on these lines can be unordered.
    """

    link: Link
    codes: tuple[int, ...]
    width: int
    reads: Reads
    known: int
    repeated: list[tuple[int, int]]
    idle: list[int]
    covers: list[tuple[int, int]]
    groups: list[Group]
    listed_sizes: int
    held: Held
    unordered_most: int
    unsettled: int
    faults: list[Fault]
    undecided: list[str]
    trace: Trace | None

    @property
    def verdict(self) -> Verdict:
        """Of the table under the operator and disturbances of the file."""
        return verdict_of(self.faults, self.undecided)


def judge_codes(link: Link, scheme: ParallelCode) -> CodeAnswer:
    """The table of a parallel-code link."""
    codes = scheme.codes
    held = held_at_once(codes)
    covers = covering_pairs(codes)
    groups, sizes = _groups(codes)
    # Lines that are steady for longer than ``settle`` on the way are believed.
    unsettled = link.faults.skew + link.faults.jitter - scheme.settle
    faults = code_faults(codes, scheme.width, idle_is_free=True)
    undecided: list[str] = []
    trace = None
    for found in (
        _shown_too(link, codes, covers, scheme.reads == "covered")
        if unsettled > 0 or scheme.reads == "covered"
        else None,
        _shown_together(link, scheme, held, unsettled > 0),
    ):
        if found is not None:
            faults += found.faults
            undecided += found.undecided
            trace = trace or found.trace
    return CodeAnswer(
        link=link,
        codes=codes,
        width=scheme.width,
        reads=scheme.reads,
        known=scheme.held,
        repeated=repeated(codes),
        idle=[i for i, code in enumerate(codes) if code == 0],
        covers=covers,
        groups=groups,
        listed_sizes=sizes,
        held=held,
        unordered_most=comb(scheme.width, scheme.width // 2),
        unsettled=max(0, unsettled),
        faults=faults,
        undecided=undecided,
        trace=trace,
    )


def code_faults(codes: Sequence[int], width: int, *, idle_is_free: bool) -> list[Fault]:
    """Codes that are too many or the same; ``idle_is_free``: 0 may be none of them."""
    most = (1 << width) - int(idle_is_free)
    faults = []
    if len(codes) > most:
        place, verb = ("line", "carry") if idle_is_free else ("bit", "tell")
        plural = "" if width == 1 else "s"
        why = (
            f"{len(codes)} codes: {width} {place}{plural} {verb}{'s' * (width == 1)} at most {most}"
        )
        faults.append(Fault((), why))
    for i, j in repeated(codes):
        faults.append(Fault((i, j), f"codes[{i}] and codes[{j}] are the same"))
    if idle_is_free:
        for i, code in enumerate(codes):
            if code == 0:
                faults.append(Fault((i,), f"codes[{i}] drives no line: that is idle"))
    return faults


# -- held together -----------------------------------------------------------------


def held_at_once(codes: Sequence[int]) -> Held:
    """Largest numbers of inputs held at once, and the least that break each."""
    exact = smallest_cover(codes, exact=True)
    any_cover = smallest_cover(codes)
    apart, apart_broken = _kept_apart(codes, any_cover)
    exactly, exactly_broken = _known_number(codes, apart)
    return Held(
        len(codes) if exact is None else len(exact[0]) - 1,
        len(codes) if any_cover is None else len(any_cover[0]) - 1,
        apart,
        exactly,
        exact,
        any_cover,
        apart_broken,
        exactly_broken,
    )


def _kept_apart(
    codes: Sequence[int], cover: tuple[tuple[int, ...], int] | None
) -> tuple[int | None, Collision | None]:
    """At most d: between d-disjunct and (d-1)-disjunct, so one number is left to try.

    Kautz & Singleton 1964: d-disjunct tables are at-most-d separable, and at-most-(d+1)
    separable ones are d-disjunct.
    """
    if 0 in codes:
        return 0, ((), (codes.index(0),))
    if cover is None:
        return len(codes), None
    size = len(cover[0])
    try:
        same = collision(codes, size, at_most=True, budget=MOST_SETS)
    except OverflowError:
        return None, None
    return (size, _beyond(cover)) if same is None else (size - 1, same)


def _beyond(cover: tuple[tuple[int, ...], int]) -> Collision:
    """The covered input changes nothing."""
    inputs, covered = cover
    return inputs, tuple(sorted((*inputs, covered)))


def _known_number(codes: Sequence[int], apart: int | None) -> tuple[int | None, Collision | None]:
    size = 0 if apart is None else apart
    while size < len(codes):
        try:
            same = collision(codes, size + 1, at_most=False, budget=MOST_SETS)
        except OverflowError:
            return None, None
        if same is not None:
            return size, same
        size += 1
    return size, None


def _groups(codes: Sequence[int]) -> tuple[list[Group], int]:
    """By size; and the size up to which all are there."""
    found: list[Group] = []
    number = len(codes)
    every = (1 << number) - 1
    without = {
        1 << k: every & ~sum(1 << i for i, code in enumerate(codes) if code >> k & 1)
        for k in range(max(codes, default=0).bit_length())
    }

    @cache
    def covered(word: int) -> int:
        """Inputs whose code has no other line, as a word with a bit each."""
        inputs = every
        for line, free in without.items():
            if not word & line:
                inputs &= free
        return inputs

    for size in range(2, number):
        if comb(number, size) > MOST_SETS:
            return found, size - 1
        for inputs in combinations(range(number), size):
            word = 0
            for i in inputs:
                word |= codes[i]
            shown = covered(word)
            for i in inputs:
                shown &= ~(1 << i)
            if shown:
                for rest in combinations(inputs, size - 1):
                    smaller = 0
                    for i in rest:
                        smaller |= codes[i]
                    shown &= ~covered(smaller)
            found += [Group(inputs, k, codes[k] == word) for k in _bits(shown)]
            if len(found) > MOST_GROUPS:
                return found[:MOST_GROUPS], size - 1
    return found, number


def _bits(word: int) -> Iterator[int]:
    while word:
        low = word & -word
        yield low.bit_length() - 1
        word ^= low


# -- under the file's operator and disturbances -------------------------------------


@dataclass(frozen=True)
class _Found:
    faults: list[Fault]
    undecided: list[str]
    trace: Trace | None


def _shown(link: Link, scripts: list[Script]) -> Trace | None:
    settle = link.scheme.settle if isinstance(link.scheme, ParallelCode) else 0
    unsure = link.faults.skew + link.faults.jitter
    return failing_run(link, (settle,) * link.inputs, unsure, scripts)


def _shown_too(
    link: Link, codes: Sequence[int], covers: Sequence[tuple[int, int]], steady: bool
) -> _Found | None:
    """Codes within others; ``steady``: they show for as long as those do, not on the way only."""
    # Codes that are the same, and idle ones, are at fault already.
    parts = [(i, j) for i, j in covers if codes[i] != codes[j] != 0]
    if not parts:
        return None
    why = "which shows too" if steady else "and its lines need not come together"
    faults = [Fault((i, j), f"codes[{i}] covers codes[{j}], {why}") for i, j in parts]
    trace = _shown(link, [_coming_apart(link, codes, *parts[0])])
    if trace is None:
        return _Found([], ["codes cover one another, and lines come apart"], None)
    return _Found(faults, [], trace)


def _coming_apart(link: Link, codes: Sequence[int], first: int, part: int) -> Script:
    """One press; the lines that the part has not are as late as can be."""
    late = [k for k in range(codes[first].bit_length()) if (codes[first] & ~codes[part]) >> k & 1]
    picks = [Chosen(0, "hold", link.operator.hold[1])]
    skew = link.faults.skew
    if link.faults.jitter:
        # An edge meets jitter once it is through what comes before on the line.
        enters = link.faults.proving + skew
        picks += [
            Chosen(enters, f"line{k}.branch{branch}.jitter.rise", link.faults.jitter)
            for k in late
            for branch in range(len(link.branches))
        ]
    constants = tuple((f"line{k}.late", skew) for k in late) if skew else ()
    return Script((Press(0, first),), link.delay[0], tuple(picks), constants)


def _broken(
    scheme: ParallelCode, held: Held, on_the_way: bool, allowed: int
) -> tuple[tuple[int, ...], int] | str | None:
    """The least group that this receiver takes for one with another input; what is not known,
    in words; None: there is none, or it is one input, whose code covers the other."""
    if scheme.reads != "sets":
        cover = scheme.reads == "covered" or on_the_way
        most, broken = (
            (held.skewed, held.skewed_broken) if cover else (held.steady, held.steady_broken)
        )
        return None if broken is None or len(broken[0]) < 2 or allowed <= most else broken
    if allowed > scheme.held:
        return f"inputs held together may hide others: sets of over {scheme.held} are not known"
    if on_the_way and allowed > 1:
        return "inputs held together may hide others: lines come apart"
    if held.apart is None:
        return "too many sets of inputs held together to compare them all"
    if held.apart_broken is None or held.apart >= scheme.held:
        return None
    one, other = sorted(held.apart_broken, key=len)
    if len(one) > allowed:
        return "sets that look alike are larger than the operator allows"
    return one, min({*other} - {*one})


def _shown_together(
    link: Link, scheme: ParallelCode, held: Held, on_the_way: bool
) -> _Found | None:
    """Groups that the operator may hold: the smallest that shows another input."""
    allowed = min(link.operator.overlap or link.inputs, link.inputs)
    broken = _broken(scheme, held, on_the_way, allowed)
    if broken is None:
        return None
    if isinstance(broken, str):
        return _Found([], [broken], None)
    inputs, shown = broken
    spacing = link.operator.closest
    script = Script(
        tuple(Press(n * spacing, i) for n, i in enumerate(inputs)),
        link.delay[0],
        tuple(Chosen(n * spacing, "hold", link.operator.hold[1]) for n, _ in enumerate(inputs)),
    )
    trace = _shown(link, [script])
    names = link.names
    together = " and ".join(f"'{names[i]}'" for i in inputs)
    if trace is None:
        return _Found([], [f"{together}, if held together, show '{names[shown]}'"], None)
    why = f"{together} held together show '{names[shown]}', and the operator allows it"
    return _Found([Fault((*inputs, shown), why, named=True)], [], trace)
