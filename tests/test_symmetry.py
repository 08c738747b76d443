"""Links judged by pairs of presses, those alike as one, against the explorer, which leaves nothing
out; and large ones, of which the explorer would not see the end."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import event, example, given, settings
from hypothesis import strategies as st

from models.parallel_code import ParallelCode
from tests.links import make_link
from verify.cli import main
from verify.engines.answer import Answer, Budget, Progress, Verdict
from verify.engines.explorer import explore
from verify.engines.lone import factored_windows, lone_presses
from verify.parts.line import Faults
from verify.parts.link import Link, factored
from verify.parts.operator import Operator
from verify.questions import symmetry
from verify.questions.judging import Subject, judge


@dataclass(frozen=True)
class Plain(ParallelCode):
    """Every input and every line for itself."""

    def alike(self, inputs: tuple[int, ...]) -> Hashable:
        return inputs

    def exchangeable(self, inputs: tuple[int, ...]) -> tuple[tuple[int, ...], ...]:
        return ()


@st.composite
def links(draw: st.DrawFn) -> Link:
    """Of one press at a time."""
    lines = draw(st.integers(1, 3))
    words = st.integers(1, (1 << lines) - 1)
    if draw(st.booleans()):
        weight = draw(st.integers(1, lines))
        words = st.sampled_from([w for w in range(1, 1 << lines) if w.bit_count() == weight])
    codes = draw(st.lists(words, min_size=1, max_size=4, unique=True))
    hold = draw(st.integers(1, 3))
    operator = Operator(
        draw(st.integers(0, 7)), hold=(hold, hold + draw(st.integers(0, 1))), overlap=1
    )
    faults = Faults(draw(st.integers(0, 1 if lines < 3 else 0)), draw(st.integers(0, 2)))
    return make_link(
        ParallelCode(tuple(codes), lines, draw(st.integers(0, 2))),
        operator,
        faults=faults,
        delay=(0, draw(st.integers(0, 1))),
    )


def skewed(spacing: int, hold: int, *codes: int) -> Link:
    operator = Operator(spacing, hold=(hold, hold), overlap=1)
    return make_link(ParallelCode(codes, 3), operator, faults=Faults(skew=1))


def answer_of(link: Link) -> Answer | None:
    subject = Subject(link)
    [windows] = factored_windows(link, subject.lone)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(symmetry, "FEWEST", 1)
        return symmetry.by_symmetry(
            link, windows, subject.lone_of, Budget(), Progress(), brief=True
        )


@settings(max_examples=50)
@given(links())
@example(skewed(3, 2, 0b011, 0b101, 0b110))  # holds, at rest but for the last fall
@example(skewed(2, 2, 0b011, 0b101, 0b110))  # not at rest: nothing is said
@example(skewed(3, 2, 0b001, 0b011))  # one press fails
def test_pairs_of_presses_say_what_the_explorer_says(link: Link) -> None:
    found = answer_of(link)
    event(f"{found and found.verdict}")
    if found is not None:
        [windows] = factored_windows(link, Subject(link).lone)
        known = explore(factored(link, windows), Budget(), Progress())
        assert found.verdict is known.verdict


def test_verdicts_of_both_kinds_are_given() -> None:
    holds = answer_of(skewed(3, 2, 0b011, 0b101, 0b110))
    fails = answer_of(skewed(3, 2, 0b001, 0b011))
    assert holds is not None
    assert fails is not None
    assert (holds.verdict, fails.verdict) == (Verdict.HOLDS, Verdict.FAILS)


@given(links())
def test_lone_presses_of_inputs_alike_are_the_same(link: Link) -> None:
    scheme = link.scheme
    assert isinstance(scheme, ParallelCode)
    plain = replace(link, scheme=Plain(scheme.codes, scheme.width, scheme.settle))
    assert lone_presses(link) == lone_presses(plain)


@pytest.mark.parametrize("inputs", [35, 252])
def test_check_proves_large_tables_of_codes_with_skew(tmp_path: Path, inputs: int) -> None:
    path = tmp_path / "codes.toml"
    cli = CliRunner()
    asked = ["design", "--inputs", str(inputs), "--scheme", "parallel-code", "--skew", "1"]
    assert cli.invoke(main, [*asked, "-o", str(path)]).exit_code == 0
    checked = cli.invoke(main, ["check", str(path)])
    assert checked.exit_code == 0, checked.output
    assert "any length" in checked.output


def test_a_large_table_fails_in_a_run_that_replays() -> None:
    """Presses a tick too close: of many inputs some two that mix to a third."""
    codes = tuple(w for w in range(1 << 10) if w.bit_count() == 5)
    operator = Operator(2, hold=(2, 2), overlap=1)
    link = make_link(ParallelCode(codes, 10), operator, faults=Faults(skew=1))
    judged = judge(Subject(link), "auto", Progress())
    assert judged.verdict is Verdict.FAILS
    assert judged.trace is not None
    assert judged.trace.failure is not None
    assert len(judged.trace.script.presses) == 2
