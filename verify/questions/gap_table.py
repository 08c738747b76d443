"""Judge a table of gaps: windows apart, sends inside them, ghosts of two presses."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations, islice, pairwise, product

from models.pulse_gap import PulseGap
from verify.engines.answer import Verdict
from verify.engines.trace import Press, Script, Trace
from verify.parts.link import Link
from verify.questions.evidence import Fault, failing_run, verdict_of
from verify.tables.gaps import (
    Overlap,
    Scale,
    Window,
    arrival_slack,
    overlaps,
    rate_apart,
    rate_within,
    room_in,
    window_slack,
)
from verify.tables.ghosts import Ghosts, PulseTable

MOST_GHOSTS = 10_000
"""No more are listed, unless one pair is asked for."""


@dataclass(frozen=True)
class Neighbours:
    """Two inputs whose gaps follow one another. Slacks in ticks: above 0 is apart.

    ``windows``: from one window to the next. ``arrivals``: from the latest arrival of one to the
    earliest of the next. ``rate_below``: rate error below which some windows tell them apart.
    """

    shorter: int
    longer: int
    windows: int
    arrivals: Fraction
    rate_below: Fraction


@dataclass(frozen=True)
class GhostList:
    """Ghosts of two presses, by pair; distances in ticks.

    ``last``: the largest distance at which presses of two inputs make one, ``last_same``: of
    one input, each (distance, first, second). ``bound``: no two presses that the operator
    allows are closer, of two inputs and of one.
    """

    listed: list[Ghosts]
    complete: bool
    last: tuple[int, int, int] | None
    last_same: tuple[int, int, int] | None
    bound: tuple[int, int]


@dataclass(frozen=True)
class GapAnswer:
    """``order``: inputs by gap. ``rooms``: per input, ticks left in its window before the
    earliest and after the latest arrival. ``rate``: rate errors that all sends survive in their
    windows, with the inputs that limit them; None if there are none. ``ghosts``: None
    where lone sends are not understood.
    """

    link: Link
    order: list[int]
    windows: tuple[Window, ...]
    unrest: int
    scale: Scale
    neighbours: list[Neighbours]
    overlaps: list[Overlap]
    rooms: list[tuple[Fraction, Fraction]]
    rate: tuple[tuple[Fraction, int], tuple[Fraction, int]] | None
    ghosts: GhostList | None
    faults: list[Fault]
    undecided: list[str]
    trace: Trace | None

    @property
    def verdict(self) -> Verdict:
        """Of the table under the operator and disturbances of the file."""
        return verdict_of(self.faults, self.undecided)

    @property
    def tightest_windows(self) -> Neighbours | None:
        """The neighbours whose windows are closest."""
        return min(self.neighbours, key=lambda n: n.windows, default=None)

    @property
    def tightest_rate(self) -> Neighbours | None:
        """The neighbours that bear the least rate error, whatever the windows."""
        return min(self.neighbours, key=lambda n: n.rate_below, default=None)


def judge_gaps(link: Link, scheme: PulseGap, pair: tuple[int, int] | None = None) -> GapAnswer:
    """The table of a pulse-gap link. ``pair``: list the ghosts of these presses only, and all."""
    windows, gaps = scheme.windows, scheme.gaps
    unrest = link.faults.jitter + link.clock.wander
    scale = (1 + link.clock.rate[0], 1 + link.clock.rate[1])
    order = sorted(range(len(gaps)), key=lambda i: (gaps[i], i))
    rooms = [room_in(g, w, unrest, scale) for g, w in zip(gaps, windows, strict=True)]
    shared = overlaps(windows)
    faults = _faults(scheme, shared, rooms)
    ghosts = None if faults else _ghosts(link, scheme, pair)
    allowed = _Allowed([], [], None) if ghosts is None else _allowed(link, scheme, ghosts)
    return GapAnswer(
        link=link,
        order=order,
        windows=windows,
        unrest=unrest,
        scale=scale,
        neighbours=[_neighbours(scheme, i, j, unrest, scale) for i, j in pairwise(order)],
        overlaps=shared,
        rooms=rooms,
        rate=_rate(scheme, unrest),
        ghosts=ghosts,
        faults=faults + allowed.faults,
        undecided=allowed.undecided,
        trace=allowed.trace,
    )


def _neighbours(scheme: PulseGap, i: int, j: int, unrest: int, scale: Scale) -> Neighbours:
    gaps, windows = scheme.gaps, scheme.windows
    return Neighbours(
        i,
        j,
        window_slack(windows[i], windows[j]),
        arrival_slack(gaps[i], gaps[j], unrest, scale),
        rate_apart(gaps[i], gaps[j], unrest),
    )


def _rate(
    scheme: PulseGap, unrest: int
) -> tuple[tuple[Fraction, int], tuple[Fraction, int]] | None:
    rates = [rate_within(g, w, unrest) for g, w in zip(scheme.gaps, scheme.windows, strict=True)]
    least = max((rate[0], i) for i, rate in enumerate(rates))
    most = min((rate[1], i) for i, rate in enumerate(rates))
    return (least, most) if least[0] <= most[0] else None


def _faults(
    scheme: PulseGap,
    shared: list[Overlap],
    rooms: list[tuple[Fraction, Fraction]],
) -> list[Fault]:
    faults = []
    first: dict[int, int] = {}
    for i, gap in enumerate(scheme.gaps):
        if gap <= scheme.pulse:
            faults.append(
                Fault(
                    (i,),
                    f"gaps[{i}] is {gap}, not above pulse, which is {scheme.pulse}: "
                    "the two pulses become one",
                )
            )
        if first.setdefault(gap, i) != i:
            faults.append(
                Fault((first[gap], i), f"gaps[{first[gap]}] and gaps[{i}] are both {gap}")
            )
        if scheme.windows[i][0] < 1:
            faults.append(
                Fault((i,), f"the window of gaps[{i}] starts at {scheme.windows[i][0]}, below 1")
            )
    for o in shared:
        both = f"both take {o.low}" + ("" if o.low == o.high else f" to {o.high}")
        (a, b), (c, d) = scheme.windows[o.shorter], scheme.windows[o.longer]
        touch = ": they touch" if o.low == o.high and a != b and c != d else ""
        faults.append(
            Fault(
                (o.shorter, o.longer),
                f"gaps[{o.shorter}] takes {a} to {b} and gaps[{o.longer}] takes {c} to {d}: "
                f"{both}{touch}",
            )
        )
    return faults + [
        Fault((i,), f"a send of gaps[{i}] may miss its own window by {_by(-min(room))}")
        for i, room in enumerate(rooms)
        if min(room) < 0
    ]


def _by(ticks: Fraction) -> str:
    return f"{ticks} {'tick' if ticks == 1 else 'ticks'}"


# -- ghosts ------------------------------------------------------------------------


def _ghosts(link: Link, scheme: PulseGap, pair: tuple[int, int] | None) -> GhostList:
    table = _pulse_table(scheme, link.faults.jitter)
    pairs = [pair] if pair else product(range(link.inputs), repeat=2)
    every = (g for i, j in pairs for g in table.ghosts(i, j, least=int(i == j)))
    most = None if pair else MOST_GHOSTS
    listed = list(islice(every, most and most + 1))
    return GhostList(
        listed[:most],
        most is None or len(listed) <= most,
        table.last_of_all(same=False),
        table.last_of_all(same=True),
        closest(link),
    )


def _pulse_table(scheme: PulseGap, jitter: int) -> PulseTable:
    return PulseTable(
        scheme.gaps,
        scheme.windows,
        scheme.pulse,
        scheme.receiver_kind,
        scheme.on_miss,
        scheme.busy,
        jitter,
    )


def closest(link: Link) -> tuple[int, int]:
    """Least ticks between two presses that the operator allows: of two inputs, and of one.
    Those of one tick apart, where it takes them together."""
    operator = link.operator
    exclusive = operator.hold[0] if operator.overlap == 1 else 0
    apart = max(operator.spacing, exclusive)
    return apart, max(apart, operator.repeat, operator.hold[0] + 1)


@dataclass(frozen=True)
class _Allowed:
    """What ghosts that the operator allows mean for the verdict, and a run that shows one."""

    faults: list[Fault]
    undecided: list[str]
    trace: Trace | None


def _allowed(link: Link, scheme: PulseGap, ghosts: GhostList) -> _Allowed:
    """A ghost that is possible is a fault once the simulator shows it on the link."""
    table = _pulse_table(scheme, 0)
    certain = [
        last
        for same, bound in zip((False, True), ghosts.bound, strict=True)
        if (last := table.last_of_all(same=same)) is not None and last[0] >= bound
    ]
    if link.operator.together and link.operator.overlap != 1:
        pairs = combinations(range(link.inputs), 2)
        certain += [(0, *pair) for pair in pairs if table.ghosts_at(*pair, 0)]
    for distance, first, second in sorted(certain):
        script = Script((Press(0, first), Press(distance, second)), link.delay[0])
        trace = failing_run(link, scheme.gaps, link.faults.jitter, [script])
        if trace is not None:
            struck = table.ghosts_at(first, second, distance)[0]
            names = link.names
            why = (
                f"a press of '{names[second]}' {_by(Fraction(distance))} after one of "
                f"'{names[first]}' strikes '{names[struck]}', and the operator allows it"
            )
            return _Allowed([Fault((first, second, struck), why, named=True)], [], trace)
    if certain or _possible(link, scheme, ghosts):
        return _Allowed([], ["two presses may make a ghost under these disturbances"], None)
    return _Allowed([], [], None)


def _possible(link: Link, scheme: PulseGap, ghosts: GhostList) -> bool:
    """Whether disturbances might make one of what the operator allows; may err on that side."""
    if link.clock.rated or link.clock.wander:
        if scheme.busy != "overlay" and scheme.receiver_kind == "timer":
            return False
        stretch = 1 + link.clock.rate[1]
        reach = (max(scheme.gaps) + scheme.pulse) * stretch + 2 * link.clock.wander
        if scheme.receiver_kind == "taps":
            reach += max(high for _, high in scheme.windows)
        return min(ghosts.bound) <= reach + 2 * link.faults.jitter
    if link.operator.together and link.faults.jitter:
        return True
    lasts = (ghosts.last, ghosts.last_same)
    return any(
        last is not None and last[0] >= bound
        for last, bound in zip(lasts, ghosts.bound, strict=True)
    )
