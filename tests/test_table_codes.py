"""What is counted from a table of codes is what the engines find on the link."""

from __future__ import annotations

from hypothesis import event, example, given, settings
from hypothesis import strategies as st

from models.parallel_code import ParallelCode
from tests.external.test_parallel_lines import ghosts
from tests.links import make_link, parallel_codes
from verify.engines.answer import Progress, Verdict
from verify.parts.line import Faults
from verify.parts.operator import Operator
from verify.questions.code_table import held_at_once, judge_codes
from verify.questions.judging import Subject, judge

# One input at a time, for longer than the lines need to come together, and idle in between.
ONE_BY_ONE = Operator(spacing=24, hold=(9, 9), overlap=1)


@settings(max_examples=60, deadline=None)
@given(parallel_codes(exact=True), st.integers(0, 3), st.integers(0, 1))
@example(ParallelCode((1, 3), 2, settle=1), 1, 0)
@example(ParallelCode((1, 3), 2, settle=1), 2, 0)
@example(ParallelCode((1, 3), 2, settle=1), 1, 1)
@example(ParallelCode((1, 3), 2, settle=0), 0, 1)
def test_codes_cover_one_another_where_the_link_fails_under_skew(
    scheme: ParallelCode, skew: int, jitter: int
) -> None:
    faults = Faults(skew=skew if scheme.width > 1 else 0, jitter=jitter)
    link = make_link(scheme, ONE_BY_ONE, faults=faults)
    subject = Subject(link)

    found = judge_codes(link, scheme)
    judged = judge(subject, "explorer", Progress())
    event(found.verdict.value)

    assert found.verdict is judged.verdict
    if found.trace is not None:
        # Windows that are counted are those that the engines find.
        again = subject.replay(found.trace.script)
        assert again.failure == found.trace.failure is not None


codes = st.lists(st.integers(1, 7), min_size=2, max_size=4, unique=True)


@settings(max_examples=40, deadline=None)
@given(codes, st.integers(0, 1), st.integers(1, 4))
@example([1, 2, 3], 0, 2)
@example([1, 2, 4, 7], 0, 3)
@example([3, 5, 6], 1, 2)
def test_held_together_inputs_show_another_where_the_link_makes_ghosts(
    table: list[int], skew: int, together: int
) -> None:
    together = min(together, len(table))
    held = held_at_once(table)
    most = held.skewed if skew else held.steady

    assert ghosts(tuple(table), 3, skew, together) == (together > most)


@settings(max_examples=30, deadline=None)
@given(parallel_codes(exact=True), st.integers(1, 3))
def test_groups_that_show_another_input_do_so_on_the_link(
    scheme: ParallelCode, overlap: int
) -> None:
    operator = Operator(spacing=0, hold=(9, 9), overlap=overlap)
    link = make_link(scheme, operator)

    found = judge_codes(link, scheme)

    assert found.verdict in (Verdict.HOLDS, Verdict.FAILS)
    if found.verdict is Verdict.FAILS:
        assert found.trace is not None
        again = Subject(link).replay(found.trace.script)
        assert again.failure == found.trace.failure is not None
    exact = [len(group.inputs) for group in found.groups if group.exact]
    assert (found.verdict is Verdict.FAILS) == any(size <= overlap for size in exact)
