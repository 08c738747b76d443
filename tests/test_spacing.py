"""What the search for the least spacing keeps from one spacing to the next."""

from __future__ import annotations

import pytest

from models.parallel_code import ParallelCode
from tests.bench.subjects import EVERY, subject_link
from tests.links import make_link
from verify.engines.answer import Progress, Verdict
from verify.engines.shrink import moved_apart
from verify.engines.trace import Chosen, Press, Script
from verify.parts.line import Faults
from verify.questions.judging import Subject, judge, on_whole
from verify.questions.spacing import least_spacing, own_spacing


@pytest.mark.parametrize("kind", EVERY, ids=str)
def test_a_subject_at_another_spacing_is_the_subject_of_the_link_at_that_spacing(kind):
    link = subject_link(kind, 3)
    subject, afresh = Subject(link).respaced(spacing=7), Subject(link.with_operator(spacing=7))
    assert subject.link == afresh.link
    assert subject.parts == afresh.parts
    assert subject.windows == afresh.windows
    assert subject.distinct_parts() == afresh.distinct_parts()


@pytest.mark.parametrize("faults", [Faults(), Faults(skew=1)], ids=["plain", "skew"])
def test_levers_whose_codes_differ_in_the_numbers_of_lines_are_one_question(faults):
    link = make_link(ParallelCode((1, 2, 4, 6, 5), 3), kind="level", faults=faults)
    subject = Subject(link)
    groups = subject.distinct_parts()
    assert len(groups) < len(subject.parts)
    for alike in groups:
        own = Subject(alike[0].link)
        failed = judge(own, "explorer", Progress()).trace
        assert failed is not None
        for part in alike:
            there = on_whole(subject, failed.script, part, 0)
            assert subject.replay(there).failure is not None, part


def test_presses_moved_apart_take_what_was_picked_with_them():
    script = Script(
        (Press(0, 1), Press(0, 2), Press(9, 0)), picks=(Chosen(0, "p", 1), Chosen(9, "p", 2))
    )
    apart = moved_apart(script, 4)
    assert [press.tick for press in apart.presses] == [0, 4, 13]
    assert apart.picks[-1].tick == 13


def test_levers_that_fail_at_any_spacing_are_shown_so_far_apart_that_all_is_at_rest():
    link = make_link(ParallelCode((1, 2, 3), 2), kind="level")
    found = least_spacing(Subject(link), "auto", Progress())
    assert (found.ticks, found.verdict) == (None, Verdict.FAILS)
    assert own_spacing(found.trace_below) > max(Subject(link).lone.settled)
