"""Lone presses on lines late by different amounts: how late all are together is left out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import assume, given

from models.own import Own
from tests.links import links
from tests.nightly import examples
from verify.engines import lone
from verify.engines.answer import Progress, Verdict
from verify.engines.concrete import Compiled
from verify.engines.lone import Lone, lone_presses
from verify.linkfile import load
from verify.parts.link import Link, factored
from verify.questions.judging import Subject, judge

CARDS = load(Path(__file__).parent.parent / "models" / "links" / "card_reader.toml")


def skewed(link: Link, ticks: int) -> Link:
    return replace(link, faults=replace(link.faults, skew=ticks))


def in_every_state(link: Link) -> Lone:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lone, "_ends_of_skew", lambda _, starts: starts)
        return lone_presses(link)


@examples(25)
@given(links())
def test_lone_presses_do_what_they_do_in_every_state(link: Link) -> None:
    assume(link.kind == "press" and link.scheme.lines > 1 and not link.clock.rated)
    for link_ in (link, skewed(link, 3)):
        assert lone_presses(link_) == in_every_state(link_)


def test_of_two_lines_most_states_are_left_out() -> None:
    assert isinstance(CARDS.scheme, Own)
    for ticks in (1, 5):
        link = skewed(CARDS, ticks)
        assert lone_presses(link) == in_every_state(link)
        compiled = Compiled(factored(link, None))
        starts = list(compiled.starts())
        assert len(starts) == (ticks + 1) ** 2
        kept = lone._ends_of_skew(compiled, starts)
        assert len(kept) == (ticks + 1) ** 2 - (ticks - 1) ** 2


def test_a_press_that_is_lost_by_itself_is_looked_for_by_itself() -> None:
    subject = Subject(skewed(CARDS, 16))
    assert None in subject.lone.latest
    judged = judge(subject, "auto", Progress())
    assert (judged.verdict, judged.engine) == (Verdict.FAILS, "simulator")
    assert judged.trace is not None
    assert len(judged.trace.script.presses) == 1
    assert judged.covered == "34 presses"
