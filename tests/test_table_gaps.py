"""What is counted from a table of gaps is what the engines find on the link."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import event, example, given, settings
from hypothesis import strategies as st

from models.pulse_gap import PulseGap
from tests.links import even_gaps, make_link, pulse_gaps
from verify.engines.answer import Progress, Verdict
from verify.parts.clock import PERIOD, Clock
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.questions.gap_table import MOST_GHOSTS, GapAnswer, judge_gaps
from verify.questions.judging import Subject, judge
from verify.questions.rate_margin import rate_margin
from verify.tables.gaps import (
    LEAST_TIME,
    apart,
    are_disjoint,
    arrival_slack,
    overlaps,
    rate_apart,
    rate_within,
    room_in,
    window_slack,
)


def pulse_gap(link: Link) -> PulseGap:
    assert isinstance(link.scheme, PulseGap)
    return link.scheme


@settings(max_examples=60, deadline=None)
@given(pulse_gaps(), st.integers(0, 2))
@example(PulseGap((3, 6), 1, (1, 1)), 1)
@example(PulseGap((2,), 1, ((0, 1),)), 1)
@example(PulseGap((3, 6), 1, ((1, 0), (0, 1))), 1)
def test_sends_far_apart_come_out_right_where_the_table_holds(
    scheme: PulseGap, jitter: int
) -> None:
    link = make_link(scheme, Operator(spacing=80), faults=Faults(jitter=jitter))

    found = judge_gaps(link, scheme)
    event(found.verdict.value)

    assert found.verdict is judge(Subject(link), "explorer", Progress()).verdict


@pytest.mark.parametrize(
    ("scheme", "jitter"),
    [
        (PulseGap((10, 20, 40), 1, (2, 4, 8)), 0),
        (PulseGap((12, 20), 2, ((2, 3), (4, 3))), 0),
        (PulseGap((9,), 1, (1,)), 0),
        pytest.param(PulseGap((9,), 1, (1,)), 1, marks=pytest.mark.slow),
    ],
    ids=["even", "sided", "one", "jitter"],
)
def test_the_rate_error_that_windows_bear_is_the_margin_of_the_solver(
    scheme: PulseGap, jitter: int
) -> None:
    link = make_link(scheme, Operator(spacing=200), faults=Faults(jitter=jitter))
    counted = judge_gaps(link, scheme).rate
    assert counted is not None

    margin = rate_margin(link, "solver", Progress())

    assert (counted[0][0], counted[1][0]) == (-(margin.least.amount or 0), margin.most.amount)


@pytest.mark.parametrize("jitter", [0, 1])
@pytest.mark.parametrize("wander", [1, 2, 3])
def test_wander_that_sends_bear_is_that_of_the_explorer(wander: int, jitter: int) -> None:
    scheme = PulseGap((10, 20), 4, (2, 3))
    link = make_link(
        scheme,
        Operator(spacing=200),
        faults=Faults(jitter=jitter),
        clock=Clock(wander=wander),
    )

    found = judge_gaps(link, scheme).verdict

    assert found is judge(Subject(link), "explorer", Progress()).verdict
    assert found is (Verdict.HOLDS if wander + jitter <= 2 else Verdict.FAILS)


@settings(max_examples=60, deadline=None)
@given(pulse_gaps(), st.integers(0, 20))
@example(PulseGap((7, 9, 12, 14, 4), 1, (0,) * 5), 4)
def test_a_table_that_fails_by_a_ghost_shows_a_failing_run_of_the_link(
    scheme: PulseGap, spacing: int
) -> None:
    link = make_link(scheme, Operator(spacing=spacing))

    found = judge_gaps(link, scheme)
    event(found.verdict.value)

    # Two presses can be told at once: nothing is left open.
    assert found.verdict is not Verdict.UNDECIDED
    subject = Subject(link)
    if found.trace is not None:
        again = subject.replay(found.trace.script)
        assert again.failure == found.trace.failure is not None
    if judge(subject, "explorer", Progress()).verdict is Verdict.HOLDS:
        assert found.verdict is Verdict.HOLDS


def test_pairs_are_listed_in_full_when_asked_for() -> None:
    scheme = even_gaps(64)
    link = make_link(scheme, Operator(spacing=200))

    every, one = judge_gaps(link, scheme), judge_gaps(link, scheme, (63, 62))

    assert every.ghosts is not None
    assert not every.ghosts.complete
    assert len(every.ghosts.listed) == MOST_GHOSTS
    assert one.ghosts is not None
    assert one.ghosts.complete
    assert {(g.first, g.second) for g in one.ghosts.listed} == {(63, 62)}


def test_slack_of_windows_that_share_touch_and_stay_apart() -> None:
    assert [window_slack((1, 4), other) for other in ((3, 6), (4, 6), (5, 6), (9, 9))] == [
        -1,
        0,
        1,
        5,
    ]
    assert not apart((1, 4), (4, 6))
    assert apart((1, 4), (5, 6))
    assert window_slack((5, 6), (1, 4)) == 1


windows = st.lists(
    st.tuples(st.integers(1, 20), st.integers(0, 5)).map(lambda w: (w[0], w[0] + w[1])),
    min_size=1,
    max_size=5,
)


@given(windows)
def test_overlaps_are_all_pairs_that_share_a_time(table: list[tuple[int, int]]) -> None:
    found = {frozenset((o.shorter, o.longer)): (o.low, o.high) for o in overlaps(table)}

    assert found == {
        frozenset((i, j)): (max(a[0], b[0]), min(a[1], b[1]))
        for i, a in enumerate(table)
        for j, b in enumerate(table)
        if i < j and window_slack(a, b) <= 0
    }
    assert are_disjoint(table) == (not found)


@given(st.integers(1, 50), st.integers(1, 50), st.integers(0, 3), st.integers(0, 9))
def test_rates_are_where_the_slack_is_used_up(
    gap: int, more: int, unrest: int, window: int
) -> None:
    limit = rate_apart(gap, gap + more, unrest)
    assert arrival_slack(gap, gap + more, unrest, (1 - limit, 1 + limit)) == 0

    accepted = (gap - window, gap + window)
    least, most = rate_within(gap, accepted, unrest)
    if least <= most and accepted[0] > LEAST_TIME:
        assert room_in(gap, accepted, unrest, (1 + least, 1 + most)) == (0, 0)


@pytest.mark.parametrize("receiver", ["timer", "taps"])
def test_the_operator_decides_which_ghosts_count(receiver: str) -> None:
    scheme = PulseGap((2, 4, 6), 1, (0, 0, 0), receiver_kind=receiver)  # type: ignore[arg-type]
    last = judge_gaps(make_link(scheme), scheme).ghosts
    assert last is not None
    assert last.last is not None
    assert last.last_same is not None
    farthest = max(last.last[0], last.last_same[0])

    for spacing, verdict in ((farthest, Verdict.FAILS), (farthest + 1, Verdict.HOLDS)):
        link = make_link(scheme, Operator(spacing=spacing))
        assert judge_gaps(link, scheme).verdict is verdict
        assert (
            verdict is Verdict.HOLDS
            or judge(Subject(link), "explorer", Progress()).verdict is verdict
        )


def test_jitter_that_might_make_a_ghost_leaves_it_open() -> None:
    scheme = PulseGap((3, 10), 1, (1, 1), receiver_kind="taps")

    def at(spacing: int, jitter: int) -> GapAnswer:
        operator = Operator(spacing=spacing)
        return judge_gaps(make_link(scheme, operator, faults=Faults(jitter=jitter)), scheme)

    lasts = [at(40, jitter).ghosts for jitter in (0, 1)]
    surely, perhaps = (g.last[0] for g in lasts if g is not None and g.last is not None)

    assert surely < perhaps
    assert at(surely, 1).verdict is Verdict.FAILS
    assert at(surely + 1, 0).verdict is Verdict.HOLDS
    assert at(surely + 1, 1).verdict is Verdict.UNDECIDED
    assert at(perhaps + 1, 1).verdict is Verdict.HOLDS


def test_a_table_of_one_gap_has_no_neighbours() -> None:
    scheme = PulseGap((5,), 1, (1,))
    found = judge_gaps(make_link(scheme, Operator(spacing=9)), scheme)

    assert found.verdict is Verdict.HOLDS
    assert found.neighbours == []
    assert found.tightest_windows is None
    assert found.rate == ((Fraction(-1, 5), 0), (Fraction(1, 5), 0))


def test_a_ghost_is_shown_in_a_run_of_a_clock_that_is_right() -> None:
    scheme = PulseGap((10, 20, 40), 1, (2, 4, 8))
    rate = (Fraction(-1, 10), Fraction(1, 10))
    verdicts = {}
    for spacing in (5, 30, 80):
        link = make_link(scheme, Operator(spacing=spacing), clock=Clock(rate=rate))
        found = judge_gaps(link, scheme)
        verdicts[spacing] = found.verdict
        if found.trace is not None:
            assert dict(found.trace.script.constants)[PERIOD] == found.trace.script.resolution
            again = Subject(link).replay(found.trace.script)
            assert again.failure == found.trace.failure is not None

    assert verdicts == {5: Verdict.FAILS, 30: Verdict.FAILS, 80: Verdict.HOLDS}


def test_wander_that_might_make_a_ghost_leaves_it_open() -> None:
    scheme = PulseGap((10, 20), 4, (2, 3))
    link = make_link(scheme, Operator(spacing=14), clock=Clock(wander=1))

    assert judge_gaps(link, scheme).verdict is Verdict.UNDECIDED
