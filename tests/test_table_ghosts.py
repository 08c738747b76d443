"""Ghosts counted from a table of gaps are those that the simulator shows on the link."""

from __future__ import annotations

from itertools import product

from hypothesis import example, given, settings
from hypothesis import strategies as st

from models.pulse_gap import PulseGap
from tests.external.players import run
from tests.links import make_link, pulse_gaps
from verify.engines.simulator import Simulator
from verify.engines.trace import Chosen, Press, Script
from verify.parts.line import Faults
from verify.parts.operator import Operator
from verify.parts.signals import decoded
from verify.tables.ghosts import PulseTable


def table_of(scheme: PulseGap, jitter: int = 0) -> PulseTable:
    return PulseTable(
        scheme.gaps,
        scheme.windows,
        scheme.pulse,
        scheme.receiver_kind,
        scheme.on_miss,
        scheme.busy,
        jitter,
    )


def horizon(scheme: PulseGap) -> int:
    """Two sends further apart have nothing to do with each other."""
    return 2 * max(high for _, high in scheme.windows) + 2 * scheme.pulse + 2


def listed(table: PulseTable, far: int) -> dict[tuple[int, int, int], set[int]]:
    found: dict[tuple[int, int, int], set[int]] = {}
    for first, second in product(range(len(table.gaps)), repeat=2):
        for ghosts in table.ghosts(first, second, least=int(first == second)):
            for distance in range(ghosts.least, ghosts.most + 1):
                assert distance <= far
                found[first, second, distance] = set(ghosts.outputs)
    return found


def simulated(scheme: PulseGap, far: int) -> dict[tuple[int, int, int], set[int]]:
    """Strikes of the real receiver that are not due, by pair and distance of the presses."""
    link = make_link(scheme, Operator())
    found: dict[tuple[int, int, int], set[int]] = {}
    for first, second, distance in product(
        range(scheme.inputs), range(scheme.inputs), range(far + 1)
    ):
        if first == second and distance < 2:
            continue  # an input is held for a tick, and must be seen to be let go
        if distance == 0 and first > second and scheme.busy != "overlay":
            continue  # in one tick the lower input is sent first
        strikes = run(link, [Press(0, first), Press(distance, second)])
        start = distance
        occupied = scheme.send_times[first]
        if scheme.busy != "overlay" and distance < occupied:
            if scheme.busy == "ignore":
                continue
            start = occupied
        for due in ((scheme.gaps[first], first), (start + scheme.gaps[second], second)):
            if due in strikes:
                strikes.remove(due)
        if strikes:
            found[first, second, distance] = {output for _, output in strikes}
    return found


@given(pulse_gaps())
@example(PulseGap((2, 4, 6), 1, (0, 0, 0), on_miss="rearm"))
@example(PulseGap((4, 9), 1, (1, 3), receiver_kind="taps"))
@example(PulseGap((3, 5), 2, (0, 0), busy="queue", receiver_kind="taps"))
def test_the_ghosts_of_two_presses_are_those_of_the_simulator(scheme: PulseGap) -> None:
    far = horizon(scheme)
    counted = {
        key: outputs
        for key, outputs in listed(table_of(scheme), far).items()
        if key[0] != key[1] or key[2] > 1
    }

    shown = simulated(scheme, far)
    differ = {k: (counted.get(k), shown.get(k)) for k in counted.keys() | shown.keys()}
    assert {k: v for k, v in differ.items() if v[0] != v[1]} == {}


def last_of(found: dict[tuple[int, int, int], set[int]], *, same: bool) -> int | None:
    return max((d for i, j, d in found if (i == j) == same), default=None)


@given(pulse_gaps(), st.booleans())
def test_the_last_ghost_is_the_last_of_those_listed(scheme: PulseGap, same: bool) -> None:
    table = table_of(scheme)

    last = table.last_of_all(same=same)

    assert (last and last[0]) == last_of(listed(table, horizon(scheme)), same=same)
    assert last is None or table.ghosts_at(last[1], last[2], last[0])


# -- jitter ------------------------------------------------------------------------


def struck_by(simulator: Simulator, script: Script) -> list[tuple[int, int]]:
    return [
        (moment.tick, values[0])
        for moment in simulator.run(script)
        for signal, values in moment.occurrences
        if signal == decoded(0)
    ]


def jittered(scheme: PulseGap, first: int, second: int, distance: int) -> set[int]:
    """Outputs that strike unasked in some run with every edge late by 0 or 1."""
    simulator = Simulator(make_link(scheme, Operator(), faults=Faults(jitter=1)), 0, None)
    presses = (Press(0, first), Press(distance, second))
    due = ((scheme.gaps[first], first), (distance + scheme.gaps[second], second))
    starts = (0, scheme.gaps[first], distance, distance + scheme.gaps[second])
    rises = table_of(scheme).rises(starts)
    falls = sorted(
        start + scheme.pulse
        for start in starts
        if not any(start < other <= start + scheme.pulse for other in starts)
    )
    edges = [(t, "rise") for t in rises] + [(t, "fall") for t in dict.fromkeys(falls)]
    found: set[int] = set()
    for late in product((0, 1), repeat=len(edges)):
        picks = tuple(
            Chosen(t, f"line0.branch0.jitter.{kind}", x)
            for (t, kind), x in zip(edges, late, strict=True)
        )
        strikes = struck_by(simulator, Script(presses, picks=picks))
        for tick, output in due:
            timely = [(now, output) for now in (tick, tick + 1) if (now, output) in strikes]
            for strike in timely[:1]:
                strikes.remove(strike)
        found |= {output for _, output in strikes}
    return found


@st.composite
def tolerant(draw: st.DrawFn) -> PulseGap:
    """Schemes that understand every press on its own under a jitter of one tick."""
    steps = draw(st.lists(st.integers(3, 5), min_size=1, max_size=3))
    gaps = draw(st.permutations([1 + sum(steps[: n + 1]) for n in range(len(steps))]))
    return PulseGap(
        tuple(gaps),
        draw(st.integers(1, 2)),
        (1,) * len(gaps),
        receiver_kind=draw(st.sampled_from(["timer", "taps"])),
        on_miss=draw(st.sampled_from(["rearm", "disarm"])),
    )


@settings(max_examples=40)
@given(tolerant(), st.data())
def test_no_ghost_under_jitter_is_left_out(scheme: PulseGap, data: st.DataObject) -> None:
    first, second = (data.draw(st.integers(0, scheme.inputs - 1)) for _ in range(2))
    distance = data.draw(st.integers(2, horizon(scheme)))
    table = table_of(scheme, jitter=1)

    shown = jittered(scheme, first, second, distance)

    assert shown <= set(table.ghosts_at(first, second, distance))
    assert shown <= listed(table, horizon(scheme) + 3).get((first, second, distance), set())
