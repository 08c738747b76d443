"""Best gaps: the conditions that the searches use say what the engines say, both ways."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verify.design.chords import Rules, best_chords
from verify.design.designing import design_chords, design_frames, design_gaps, design_queue
from verify.design.gaps import GapDemand, GapTable, best_gaps
from verify.design.proof import Effort
from verify.design.rulers import best_ruler
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.trace import Press, Script
from verify.errors import UsageError
from verify.linkfile import parse
from verify.questions.judging import Subject, judge
from verify.questions.spacing import least_spacing

TICK = Fraction(1, 20)


def link(gaps, *, pulse=1, window=0, jitter=0, receiver="timer", spacing=0, more="") -> Subject:  # type: ignore[no-untyped-def]
    text = f"""tick = "50 ms"
[link]
scheme = "pulse-gap"
gaps = {list(gaps)}
pulse = {pulse}
window = {window}
receiver = "{receiver}"
{more}
[line]
jitter = {jitter}
[operator]
spacing = {spacing}
"""
    return Subject(parse(text, "test"))


def verdict(subject: Subject) -> Verdict:
    return judge(subject, "auto", Progress(), budget=Budget(30)).verdict


@st.composite
def demands(draw: st.DrawFn, most: int = 4) -> GapDemand:
    jitter = draw(st.integers(0, 2))
    window = draw(st.none() | st.integers(jitter, jitter + 1).map(lambda w: (w, w)))
    return GapDemand(
        draw(st.integers(2, most)),
        draw(st.integers(1, 3)),
        jitter,
        window=window,
        receiver=draw(st.sampled_from(["timer", "taps"])),
        grid=draw(st.integers(1, 2)),
    )


@given(demands())
@settings(max_examples=40, deadline=None)
def test_the_best_table_holds_at_its_spacing_and_not_below(demand: GapDemand) -> None:
    design = design_gaps(demand, TICK, Effort())

    assert design.optimal
    assert design.verdict is Verdict.HOLDS
    assert design.below is not None
    assert design.link is not None
    subject = Subject(parse(design.link.text(), "test"))
    found = least_spacing(subject, "auto", Progress())
    assert found.ticks == design.sizes["spacing_ticks"] == subject.link.operator.spacing


@given(
    st.sets(st.integers(2, 12), min_size=2, max_size=3),
    st.integers(0, 2),
    st.integers(0, 3),
    st.sampled_from(["timer", "taps"]),
)
@settings(max_examples=60, deadline=None)
def test_windows_that_take_the_jitter_are_what_lone_sends_need(
    gaps: set[int], jitter: int, window: int, receiver: str
) -> None:
    table = sorted(gaps)
    if table[0] <= window or any(b - a <= 2 * window for a, b in pairwise(table)):
        return  # windows that meet: no link
    demand = GapDemand(len(table), 1, jitter, window=(window, window))

    held = verdict(link(table, window=window, jitter=jitter, receiver=receiver, spacing=60))

    assert (held is Verdict.HOLDS) == all(demand.covers(gap) for gap in table)


@pytest.mark.parametrize(("pulse", "jitter", "grid"), [(1, 0, 1), (1, 1, 1), (2, 1, 1), (1, 2, 2)])
def test_no_table_is_better_than_the_one_built(pulse: int, jitter: int, grid: int) -> None:
    demand = GapDemand(3, pulse, jitter, grid=grid)
    best, proof = best_gaps(demand)

    assert best is not None
    assert proof.optimal
    good = [
        table
        for table in combinations(range(grid, best.gaps[-1] + 1, grid), 3)
        if table[0] > pulse and all(b - jitter > a + jitter for a, b in pairwise(table))
    ]
    assert min(good, key=lambda t: (t[-1], sum(t))) == best.gaps


@pytest.mark.parametrize("receiver", ["timer", "taps"])
@pytest.mark.parametrize(("window", "more"), [(0, ""), (1, ""), (0, 'on_miss = "rearm"')])
def test_no_table_survives_sends_that_overlap_on_the_line(
    receiver: str, window: int, more: str
) -> None:
    if receiver == "taps" and more:
        return
    for gaps in combinations(range(2, 9), 2):
        if gaps[1] - gaps[0] > 2 * window and gaps[0] > window:
            subject = link(gaps, window=window, receiver=receiver, spacing=gaps[1], more=more)
            assert verdict(subject) is Verdict.FAILS, gaps


@given(st.sets(st.integers(2, 14), min_size=2, max_size=4), st.integers(1, 2), st.integers(0, 1))
@settings(max_examples=150, deadline=None)
def test_chords_come_out_right_exactly_if_the_rules_say_so(
    gaps: set[int], pulse: int, window: int
) -> None:
    table = tuple(sorted(gaps))
    steps = [b - a for a, b in pairwise(table)]
    if table[0] <= max(pulse, window) or min(steps) <= 2 * window:
        return
    subject = link(table, pulse=pulse, window=window, receiver="taps")
    everyone = range(len(table))

    right = all(
        subject.replay(Script(tuple(Press(0, i) for i in chord), 0)).failure is None
        for size in range(1, len(table) + 1)
        for chord in combinations(everyone, size)
    )

    demand = GapDemand(len(table), pulse, window=(window, window), receiver="taps")
    assert Rules(demand).carries_chords(table) == right


def test_a_timer_carries_no_chord() -> None:
    for gaps in combinations(range(2, 9), 2):
        trace = link(gaps).replay(Script((Press(0, 0), Press(0, 1)), 0))
        assert trace.failure is not None
    assert best_chords(GapDemand(2), Effort())[1].impossible


@pytest.mark.parametrize("pulse", [1, 2])
@pytest.mark.parametrize("jitter", [0, 1])
def test_no_table_for_chords_is_better(pulse: int, jitter: int) -> None:
    demand = GapDemand(3, pulse, jitter, receiver="taps")
    best, proof = best_chords(demand, Effort())

    assert best is not None
    assert proof.optimal
    rules = Rules(demand)
    good = [
        table
        for table in combinations(range(pulse + 1, best.gaps[-1] + 1), 3)
        if rules.carries_chords(table) and all(b - a > 2 * jitter for a, b in pairwise(table))
    ]
    assert min((t[-1], sum(t)) for t in good) == (best.gaps[-1], sum(best.gaps))


def test_chords_within_a_length_that_is_too_short_are_refuted() -> None:
    _, proof = best_chords(GapDemand(5, receiver="taps", longest=10), Effort())
    assert proof.impossible
    table, proof = best_chords(GapDemand(5, receiver="taps", longest=11), Effort())
    assert table is not None
    assert table.gaps == (3, 5, 7, 9, 11)
    assert proof.optimal


def test_a_ruler_carries_chords_too() -> None:
    design = design_chords(GapDemand(5, receiver="taps"), TICK, True, Effort())
    assert design.optimal
    assert design.verdict is Verdict.HOLDS
    assert design.chords == 11
    table = best_ruler(GapDemand(4, jitter=1, receiver="taps"), Effort())[0]
    assert isinstance(table, GapTable)
    marks = (0, *table.gaps)
    differences = sorted(b - a for a, b in combinations(marks, 2))
    assert all(b - a > 2 for a, b in pairwise(differences))


def test_a_queue_survives_presses_at_any_distance() -> None:
    design = design_queue(GapDemand(3, jitter=0), TICK, Effort())
    assert design.optimal
    assert design.verdict is Verdict.HOLDS
    assert design.link is not None
    tighter = design.link.text().replace("repeat = 15", "repeat = 14")
    assert verdict(Subject(parse(tighter, "test"))) is Verdict.FAILS
    taps = design_queue(GapDemand(2, receiver="taps"), TICK, Effort())
    assert taps.verdict is Verdict.FAILS


def test_taps_with_a_queue_fail_as_the_proof_says() -> None:
    for gaps in combinations(range(2, 8), 2):
        text = link(gaps, receiver="taps", more='busy = "queue"\ndepth = 1')
        assert verdict(text.respaced(repeat=60)) is Verdict.FAILS, gaps


def test_a_window_that_leaves_out_the_jitter_is_refused() -> None:
    with pytest.raises(UsageError, match=r"--window: found 0 before.*at least"):
        best_gaps(GapDemand(3, jitter=1, window=(0, 0)))


def test_a_rate_error_ends_what_one_window_can_carry() -> None:
    demand = GapDemand(30, window=(2, 2), rate=Fraction(1, 50))
    assert best_gaps(demand)[1].impossible
    table, _ = best_gaps(GapDemand(20, window=(2, 2), rate=Fraction(1, 50)))
    assert table is not None
    assert table.gaps[-1] * demand.rate <= 2


def test_a_rate_error_makes_the_steps_grow() -> None:
    table, _ = best_gaps(GapDemand(8, rate=Fraction(1, 20)))
    assert table is not None
    steps = [b - a for a, b in zip(table.gaps, table.gaps[1:], strict=False)]
    assert steps == sorted(steps)
    assert steps[0] < steps[-1]


def test_a_search_stopped_early_gives_its_best_and_the_bound_so_far() -> None:
    table, proof = best_ruler(GapDemand(13, receiver="taps"), Effort(Budget(0.2)))
    assert table is not None
    assert not proof.optimal
    assert proof.best is not None
    assert proof.bound is not None
    assert 91 < proof.bound < proof.best


@pytest.mark.slow
def test_rate_and_jitter_together_are_proved_at_a_spacing_that_lets_the_line_rest() -> None:
    demand = GapDemand(2, jitter=1, rate=Fraction(1, 50))
    design = design_gaps(demand, TICK, Effort())
    assert design.verdict is Verdict.HOLDS
    assert design.optimal
    assert design.below is None
    assert "left open" in design.notes[-1]


class Hurried(Effort):
    """Leaves hardly any time for the check."""

    def for_check(self) -> Budget:
        return Budget(0.1)


def test_the_check_of_a_design_stops_when_its_time_is_up() -> None:
    demand = GapDemand(16, jitter=1, rate=Fraction(1, 100))

    found = design_gaps(demand, TICK, Hurried())

    assert found.optimal
    assert found.verdict is Verdict.UNDECIDED
    assert found.judged is not None
    assert "time was up" in found.judged.covered


def test_a_search_for_bit_times_on_a_clock_that_is_off_keeps_its_time() -> None:
    spent = Effort(Budget(0.1))

    found = design_frames(8, TICK, 1, Fraction(1, 100), 1, spent)

    assert found.verdict is Verdict.UNDECIDED
    assert found.link is None
    assert not found.proof.impossible
