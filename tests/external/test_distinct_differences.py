"""Distinct differences: when do overlapping bursts of two pulses show a gap that nobody sent?

Sources, with the marks of our collection of check values:

* Distinct differences are the same as distinct pairwise sums (Sidon sets); a ruler of n marks
  is at least n(n-1)/2 long, and 0 1 4 6 is as short as that, "perfect". Textbook knowledge,
  from memory (MEM), recomputed (C).
* Shortest rulers of 3 to 8 marks: OEIS A003022, MathWorld "Golomb Ruler" (S), found again by
  exhaustive search (C).
* Gaps {1, 2, 3}: two bursts of gap 1, placed 1 apart, show gap 2. Derived (C).

Our pulses last one tick, and a gap must be longer than its pulse: so everything is doubled.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, pairwise
from typing import Literal

import pytest
from hypothesis import assume, event, example, given
from hypothesis import strategies as st

from models.pulse_gap import PulseGap
from tests.external.players import Strikes, rises_of, run, strikes_of
from tests.links import even_gaps, make_link, pulse_gaps
from verify.engines.answer import Progress, Verdict
from verify.engines.trace import Press, Script
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Subject, judge
from verify.questions.spacing import least_spacing

RULERS = [
    (0, 1, 3),
    (0, 1, 4, 6),
    (0, 1, 4, 9, 11),
    (0, 1, 4, 10, 12, 17),
    (0, 1, 4, 10, 18, 23, 25),
    (0, 1, 4, 9, 15, 22, 32, 34),
]


def one_two_three(receiver: Literal["timer", "taps"]) -> PulseGap:
    return even_gaps(3, receiver_kind=receiver)


# -- plain set arithmetic, which knows nothing of the models -------------------


def sent(scheme: PulseGap, presses: list[Press]) -> list[int]:
    """Rises of the line: pulse starts that find it low, the tick before included."""
    starts = {p.tick + after for p in presses for after in (0, scheme.gaps[p.input])}
    return sorted(t for t in starts if not starts & set(range(t - scheme.pulse, t)))


def shown(scheme: PulseGap, distance: int) -> list[int]:
    """Outputs whose gap a distance between two rises is taken for."""
    return [i for i, (a, b) in enumerate(scheme.windows) if a <= distance <= b]


def all_differences(scheme: PulseGap, rises: list[int]) -> Strikes:
    return sorted({(b, i) for a, b in combinations(rises, 2) for i in shown(scheme, b - a)})


def paired_differences(scheme: PulseGap, rises: list[int]) -> Strikes:
    """Rises taken two by two: each belongs to one difference, unless ``on_miss`` is rearm."""
    longest = max(last for _, last in scheme.windows)
    struck: Strikes = []
    armed: int | None = None
    for rise in rises:
        if armed is None or rise - armed > longest:
            armed = rise
        elif outputs := shown(scheme, rise - armed):
            struck += [(rise, i) for i in outputs]
            armed = None
        else:
            armed = rise if scheme.on_miss == "rearm" else None
    return struck


# -- the counterexample {1, 2, 3} ----------------------------------------------


def ghosts(scheme: PulseGap, *presses: tuple[int, int]) -> tuple[str, str, int]:
    trace = Subject(make_link(scheme)).replay(Script(tuple(Press(*p) for p in presses)))
    assert trace.failure is not None
    strikes = [(e.tick, e.signal) for e in trace.events if e.signal.startswith("out.")]
    assert (trace.failure.tick, f"out.{trace.failure.output}") in strikes
    return trace.failure.kind, trace.failure.output, trace.failure.tick


def test_two_bursts_of_gap_1_placed_1_apart_show_gap_2() -> None:
    # Rises at 0, 2 and 4: the second pulse of the first is the first of the second.
    assert ghosts(one_two_three("taps"), (0, 0), (2, 0)) == ("ghost", "k2", 4)


def test_bursts_of_gaps_1_and_2_placed_1_apart_show_gap_3() -> None:
    # Rises at 0, 2 and 6: gaps 1 and 2 were sent, the third output strikes as well.
    assert ghosts(one_two_three("taps"), (0, 0), (2, 1)) == ("ghost", "k3", 6)


def test_two_bursts_of_gap_3_placed_1_apart_show_gap_1_even_to_a_timer() -> None:
    # A timer sees neighbouring rises only. Rises at 0, 2, 6, 8.
    assert ghosts(one_two_three("timer"), (0, 2), (2, 2)) == ("ghost", "k1", 2)


@pytest.mark.parametrize("engine", ["explorer", "solver"])
@pytest.mark.parametrize("receiver", ["timer", "taps"])
def test_the_table_123_is_refused_up_to_its_longest_gap(
    receiver: Literal["timer", "taps"], engine: EngineName
) -> None:
    """The tool must reject the table or require a spacing above its longest gap."""
    subject = Subject(make_link(one_two_three(receiver)))

    for spacing in range(max(one_two_three(receiver).gaps) + 1):
        judged = judge(subject.respaced(spacing=spacing), engine, Progress())
        assert judged.verdict is Verdict.FAILS
        assert judged.trace is not None
        assert judged.trace.failure is not None

    found = least_spacing(subject, engine, Progress())
    assert found.verdict is Verdict.HOLDS
    # A timer forgets a burst with its second pulse and one low tick. Taps remember its second
    # rise for another longest gap, and two bursts of gap 3 placed 6 apart show gap 3 between.
    assert found.ticks == {"timer": 6 + 2, "taps": 6 + 6 + 1}[receiver]


def test_bursts_placed_so_that_no_difference_is_a_gap_show_none() -> None:
    """The same two bursts as above, with a third gap that is no difference of their rises."""
    apart = PulseGap((2, 4, 10), 1, (0, 0, 0), receiver_kind="taps")
    presses = [Press(0, 0), Press(2, 1)]

    assert rises_of(make_link(apart), presses) == [0, 2, 6]
    assert run(make_link(apart), presses) == [(2, 0), (6, 1)]


# -- any bursts, any table -----------------------------------------------------


@st.composite
def overlaid(draw: st.DrawFn) -> tuple[PulseGap, list[Press]]:
    scheme = draw(pulse_gaps(most_inputs=4, busy="overlay"))
    presses: list[Press] = []
    now = 0
    for wait in draw(st.lists(st.integers(1, 14), min_size=1, max_size=6)):
        now += wait
        index = draw(st.integers(0, scheme.inputs - 1))
        # An input must be let go before it is pressed again.
        assume(Press(now - 1, index) not in presses)
        presses.append(Press(now, index))
    return scheme, presses


@given(overlaid())
@example((even_gaps(3, receiver_kind="taps"), [Press(0, 0), Press(2, 1)]))
def test_the_receivers_strike_what_set_arithmetic_says(case: tuple[PulseGap, list[Press]]) -> None:
    scheme, presses = case
    rises = sent(scheme, presses)
    assert rises_of(make_link(scheme), presses) == rises

    for expected, kind in ((all_differences, "taps"), (paired_differences, "timer")):
        heard = replace(scheme, receiver_kind=kind)
        assert sorted(run(make_link(heard), presses)) == expected(heard, rises)


@st.composite
def two_bursts_and_a_third_gap(draw: st.DrawFn) -> tuple[PulseGap, list[Press], int]:
    first, second, third = draw(st.lists(st.integers(2, 16), min_size=3, max_size=3, unique=True))
    apart = draw(st.integers(1, 16))
    scheme = PulseGap((first, second, third), 1, (0, 0, 0), receiver_kind="taps")
    return scheme, [Press(0, 0), Press(apart, 1)], third


@given(two_bursts_and_a_third_gap())
def test_a_third_output_strikes_iff_some_two_rises_are_its_gap_apart(
    case: tuple[PulseGap, list[Press], int],
) -> None:
    scheme, presses, third = case
    rises = sent(scheme, presses)
    differences = [b - a for a, b in combinations(rises, 2)]
    neighbours = [b - a for a, b in pairwise(rises)]
    event(f"ghost: {third in differences}")

    assert any(i == 2 for _, i in run(make_link(scheme), presses)) == (third in differences)
    timer = replace(scheme, receiver_kind="timer")
    if third not in neighbours:
        assert all(i != 2 for _, i in run(make_link(timer), presses))


# -- rulers --------------------------------------------------------------------


def test_two_bursts_whose_rises_form_a_perfect_ruler_show_every_gap_once() -> None:
    """0 1 4 6 by a burst of gap 1 and one of gap 2, placed 4 apart."""
    link = make_link(even_gaps(6, receiver_kind="taps"))
    presses = [Press(0, 0), Press(8, 1)]

    assert rises_of(link, presses) == [2 * mark for mark in RULERS[1]]
    assert sorted(i for _, i in run(link, presses)) == [0, 1, 2, 3, 4, 5]


@pytest.mark.parametrize("ruler", RULERS, ids=lambda ruler: f"{len(ruler)} marks")
def test_a_ruler_shows_no_difference_twice(ruler: tuple[int, ...]) -> None:
    n, length = len(ruler), ruler[-1]
    every_gap = even_gaps(length, receiver_kind="taps")
    struck = [i for _, i in strikes_of(every_gap, [2 * mark for mark in ruler])]

    # As many strikes as pairs of marks, all different; so the length is at least that.
    assert len(struck) == len(set(struck)) == n * (n - 1) // 2 <= length
    # From five marks on no ruler is perfect: some gap is never shown.
    assert (len(struck) == length) == (n < 5)


@given(st.sets(st.integers(0, 30), min_size=2, max_size=7))
def test_a_train_shows_a_gap_twice_unless_it_is_a_ruler(marks: set[int]) -> None:
    differences = [b - a for a, b in combinations(sorted(marks), 2)]
    sums = [a + b for a, b in combinations(sorted(marks), 2)] + [2 * a for a in marks]
    struck = strikes_of(even_gaps(30, receiver_kind="taps"), [2 * mark for mark in sorted(marks)])

    assert sorted(i + 1 for _, i in struck) == sorted(differences)
    # Sidon: no difference twice, if and only if no sum twice.
    twice = len({i for _, i in struck}) < len(struck)
    assert twice == (len(set(sums)) < len(sums))
