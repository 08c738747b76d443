"""A queue that always has a place: by solvers, from its numbers alone, against every play of it."""

from __future__ import annotations

from hypothesis import event, given, settings
from hypothesis import strategies as st

from tests.test_waiting import most_by_playing
from verify.questions.waiting import _busy_time, most_at_once
from verify.recheck.solvers import solver_of
from verify.recheck.turns import place_queries

Z3, CVC5 = solver_of("z3"), solver_of("cvc5")
Numbers = tuple[tuple[int, ...], tuple[int, ...], int]


@st.composite
def numbers(draw: st.DrawFn) -> Numbers:
    """Of a queue of a few inputs: sends, apart, spacing."""
    n = draw(st.integers(1, 3))
    sends = st.lists(st.integers(1, 4), min_size=n, max_size=n)
    apart = st.lists(st.integers(2, 9), min_size=n, max_size=n)
    return tuple(draw(sends)), tuple(draw(apart)), draw(st.integers(0, 3))


def shown(of: Numbers, places: int, busy: int) -> bool:
    """Both solvers say the same of every query, and whether all are ``unsat``."""
    sends, apart, spacing = of
    for query in place_queries(sends, places, apart, spacing, busy):
        answer = Z3(query.text)
        assert CVC5(query.text) == answer
        if answer != "unsat":
            return False
    return True


@given(numbers(), st.integers(0, 5), st.integers(1, 30))
@settings(max_examples=60)
def test_no_play_takes_more_places_than_are_shown_enough(
    of: Numbers, places: int, busy: int
) -> None:
    enough = shown(of, places, busy)

    event(f"{enough}")
    if enough:
        assert most_by_playing(*of) <= places + 1


@given(numbers())
@settings(max_examples=40)
def test_what_the_search_counts_is_shown(of: Numbers) -> None:
    most, busy = most_at_once(*of), _busy_time(*of)
    if most is None or busy is None:
        return
    assert shown(of, most - 1, busy)
    if most == most_by_playing(*of) and most > 1:
        assert not shown(of, most - 2, busy)


def test_a_busy_time_that_is_too_short_is_not_shown() -> None:
    # Three at once take 12 ticks, and fit into two places besides the one under way.
    of = (3, 4, 5), (12, 12, 12), 0

    assert shown(of, 2, 12)
    assert not shown(of, 2, 11)
    assert not shown(of, 1, 12)
    # What comes too close is not shown at any.
    assert not any(shown(((3, 4, 5), (11, 11, 11), 0), 2, busy) for busy in range(1, 40))
