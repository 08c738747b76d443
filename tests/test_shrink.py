"""Counterexamples are minimal: no press can be dropped and no gap shortened, or nothing fails."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.framed_serial import FramedSerial
from models.pulse_gap import PulseGap
from tests.links import links, make_link, scripts
from verify.engines.answer import Budget, Progress
from verify.engines.shrink import shrink
from verify.engines.trace import Chosen, Press, Script
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.questions.judging import Subject, judge


def without_a_press(script: Script) -> Iterator[Script]:
    """Every script with one press fewer, the others where they are."""
    for k in range(len(script.presses)):
        yield replace(script, presses=script.presses[:k] + script.presses[k + 1 :])


def with_a_shorter_gap(script: Script) -> Iterator[Script]:
    """Every script with one gap shorter, what was picked after it sooner as well."""
    for k in range(1, len(script.presses)):
        since = script.presses[k].tick
        for cut in range(1, since - script.presses[k - 1].tick + 1):
            yield replace(
                script,
                presses=tuple(
                    replace(p, tick=p.tick - cut * (n >= k)) for n, p in enumerate(script.presses)
                ),
                picks=tuple(
                    replace(c, tick=c.tick - cut * (c.tick >= since)) for c in script.picks
                ),
            )


def smaller_that_fail(subject: Subject, script: Script) -> list[Script]:
    """Of all these, the ones that the operator allows and that still fail."""
    tried = [*without_a_press(script), *with_a_shorter_gap(script)]
    return [candidate for candidate in tried if subject.fails(candidate)]


@given(st.data())
@settings(max_examples=150)
def test_of_a_shrunk_run_nothing_can_be_left_out(data: st.DataObject) -> None:
    link = data.draw(links()).with_operator(spacing=0, repeat=0, overlap=None)
    script = data.draw(scripts(link))
    subject = Subject(link)
    if not subject.fails(script):
        return
    small = shrink(script, subject.fails)
    assert subject.fails(small)
    assert not smaller_that_fail(subject, small)


@pytest.mark.parametrize("engine", ["solver", "simulator"])
@given(links=links())
@settings(max_examples=10)
def test_of_a_run_that_is_shown_nothing_can_be_left_out(engine: str, links: Link) -> None:
    subject = Subject(links.with_operator(spacing=0))
    judged = judge(subject, engine, Progress(), budget=Budget(2))  # type: ignore[arg-type]
    if judged.trace is not None:
        assert not smaller_that_fail(subject, judged.trace.script)


def test_a_press_goes_also_where_it_fails_by_what_was_picked_at_another() -> None:
    """An uncertain start edge makes one frame fail by itself: the press before it is idle."""
    scheme = FramedSerial((1, 2), 2, bit=2, sample=3, edge=(0, 2))
    subject = Subject(make_link(scheme, Operator(spacing=20), within=(0, 6)))
    alone = Script((Press(0, 1),), picks=(Chosen(0, "receiver0.edge", 2),))
    assert subject.fails(alone)
    padded = Script((Press(0, 0), Press(20, 1)), picks=(Chosen(20, "receiver0.edge", 2),))
    assert subject.fails(padded)
    assert len(shrink(padded, subject.fails).presses) == 1


def test_a_much_shorter_gap_is_found_where_those_between_are_safe() -> None:
    """Taps see a ghost at twice the gap: half of it, and one tick less, come out right."""
    subject = Subject(make_link(PulseGap((4,), 1, (0,), receiver_kind="taps")))
    assert not subject.fails(Script((Press(0, 0), Press(7, 0))))
    small = shrink(Script((Press(0, 0), Press(8, 0))), subject.fails)
    assert small.presses == (Press(0, 0), Press(3, 0))
    assert not smaller_that_fail(subject, small)
