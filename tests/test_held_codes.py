"""Codes of several levers at once: three ways to read them, proved on the link."""

from __future__ import annotations

from dataclasses import replace
from functools import reduce
from itertools import combinations
from operator import or_
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from models.parallel_code import ParallelCode, Reads
from tests.links import make_link
from tests.nightly import examples
from verify.cli import main
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.explorer import explore
from verify.engines.lone import factored_windows
from verify.engines.trace import Press, Script
from verify.errors import LinkFileError
from verify.linkfile import parse
from verify.parts.line import Faults
from verify.parts.link import Link, factored
from verify.parts.operator import Operator
from verify.questions.code_table import judge_codes
from verify.questions.compare import COLUMNS, compare
from verify.questions.judging import Subject, judge

# Fewest lines on which two of twelve may be held, each known by its own lines: blocks of the
# affine plane of order 3 (Manev 2009; check-values.md f4).
PLANE = (
    *(0b000000111, 0b000111000, 0b111000000, 0b001001001, 0b010010010, 0b100100100),
    *(0b001010100, 0b010100001, 0b100001010, 0b001100010, 0b010001100, 0b100010001),
)


def levers(
    codes: tuple[int, ...], reads: Reads, most: int | None, *, held: int = 1, skew: int = 0
) -> Link:
    scheme = ParallelCode(codes, max(codes).bit_length(), 0, reads, held)
    operator = Operator(overlap=most)
    return make_link(scheme, operator, kind="level", faults=Faults(skew=skew))


def verdict(link: Link) -> Verdict:
    return judge(Subject(link), "auto", Progress()).verdict


def counted(link: Link) -> Verdict:
    assert isinstance(link.scheme, ParallelCode)
    return judge_codes(link, link.scheme).verdict


@pytest.mark.parametrize(("most", "expected"), [(2, Verdict.HOLDS), (3, Verdict.FAILS)])
def test_two_of_twelve_on_the_lines_of_the_affine_plane(most: int, expected: Verdict) -> None:
    link = levers(PLANE, "covered", most)
    assert verdict(link) is expected
    assert counted(link) is expected


def test_codes_read_exactly_hide_one_another_but_show_no_third() -> None:
    link = levers((1, 2, 4, 7), "exact", 2)
    assert verdict(link) is Verdict.FAILS
    assert verdict(replace(link, may_miss=True)) is Verdict.HOLDS
    ghosts = replace(levers((1, 2, 3), "exact", 2), may_miss=True)
    judged = judge(Subject(ghosts), "auto", Progress())
    assert judged.verdict is Verdict.FAILS
    assert judged.trace is not None
    assert judged.trace.failure is not None
    assert len(judged.trace.script.presses) == 2


def shows(codes: tuple[int, ...], reads: Reads, held: int, up: tuple[int, ...]) -> frozenset[int]:
    """The outputs that are on when these levers are up, by the words of the manual."""
    word = reduce(or_, (codes[i] for i in up), 0)
    if reads == "covered":
        return frozenset(i for i, code in enumerate(codes) if code & ~word == 0)
    if reads == "exact":
        return frozenset(i for i, code in enumerate(codes) if code == word)
    sets = [
        group
        for size in range(1, held + 1)
        for group in combinations(range(len(codes)), size)
        if reduce(or_, (codes[i] for i in group)) == word
    ]
    return frozenset(i for group in sets for i in group)


@examples(20)
@given(st.data())
def test_a_link_holds_if_and_only_if_every_set_shows_itself(data: st.DataObject) -> None:
    """Against counting: lines that move at once pass from one set straight to the next."""
    words = st.integers(1, 15)
    codes = tuple(data.draw(st.lists(words, min_size=2, max_size=4, unique=True)))
    reads = data.draw(st.sampled_from(["exact", "covered", "sets"]))
    held = data.draw(st.integers(1, 3))
    most = data.draw(st.integers(1, len(codes)))
    miss = data.draw(st.booleans())
    link = replace(levers(codes, reads, most, held=held), may_miss=miss)
    sets = [g for size in range(most + 1) for g in combinations(range(len(codes)), size)]
    shown = {group: shows(codes, reads, held, group) for group in sets}
    right = all(
        outputs <= frozenset(group) if miss else outputs == frozenset(group)
        for group, outputs in shown.items()
    )
    assert (verdict(link) is Verdict.HOLDS) == right
    if miss == (reads == "exact"):  # counting looks for ghosts, not for what is hidden
        assert counted(link) in (Verdict.UNDECIDED, verdict(link))


@examples(20)
@given(st.data())
def test_outputs_judged_one_by_one_agree_with_the_link_as_a_whole(data: st.DataObject) -> None:
    words = st.integers(1, 7)
    codes = tuple(data.draw(st.lists(words, min_size=2, max_size=3, unique=True)))
    reads = data.draw(st.sampled_from(["exact", "covered", "sets"]))
    scheme = ParallelCode(codes, 3, data.draw(st.integers(0, 2)), reads, 2)
    operator = Operator(
        spacing=data.draw(st.integers(0, 3)), overlap=data.draw(st.integers(1, len(codes)))
    )
    skew = Faults(skew=data.draw(st.integers(0, 1)))
    link = make_link(scheme, operator, kind="level", faults=skew, may_miss=data.draw(st.booleans()))
    subject = Subject(link)
    (windows,) = factored_windows(link, subject.lone_of(link))
    whole = explore(factored(link, windows), Budget(20), Progress())
    assert judge(subject, "auto", Progress()).verdict is whole.verdict


def test_a_set_too_large_to_be_known_is_no_ghost_by_counting_either() -> None:
    link = levers((1, 2, 4), "sets", 3, held=2)
    assert verdict(link) is Verdict.FAILS
    assert counted(link) is not Verdict.HOLDS


def test_a_comparison_asks_for_more_up_than_the_file_has() -> None:
    asked = [column for column in COLUMNS if column.key in ("spacing", "overlap")]
    (row,) = compare([levers((3, 5, 9), "covered", 2)], Budget(20), columns=asked)
    assert row.cells["spacing"].verdict is row.cells["overlap"].verdict is Verdict.HOLDS
    (row,) = compare([levers((3, 5, 6), "covered", 1)], Budget(20), columns=asked)
    assert row.cells["spacing"].verdict is Verdict.HOLDS
    assert row.cells["overlap"].verdict is Verdict.FAILS


def test_one_that_goes_down_makes_no_room_in_its_own_tick() -> None:
    subject = Subject(levers((1, 2), "covered", 1))
    both = Script((Press(0, 0), Press(5, 0), Press(5, 1)))
    with pytest.raises(Exception, match="5"):
        subject.replay(both)


WRONG = (
    ('reads = "sets"', "link.held: found nothing; allowed: a whole number, at least 1"),
    ("held = 2", 'link.held: found 2; allowed: no key but with reads = "sets"'),
    ('reads = "most"', 'link.reads: found "most"; allowed:'),
    ('reads = "sets"\nheld = 9', "at most 5000 sets to be told apart"),
)


@pytest.mark.parametrize(("keys", "message"), WRONG)
def test_wrong_keys_are_refused(keys: str, message: str) -> None:
    text = f'tick = "50 ms"\ninputs.count = 20\n[link]\nscheme = "parallel-code"\n{keys}\n'
    with pytest.raises(LinkFileError) as refused:
        parse(text, "link.toml")
    assert message in str(refused.value)


# -- presses of one tick that count as one ------------------------------------------


def test_a_chord_is_one_press_for_the_spacing() -> None:
    text = """
tick = "50 ms"
inputs.count = 3
[link]
scheme = "pulse-gap"
gaps = [3, 5, 7]
receiver = "taps"
[operator]
spacing = 15
together = true
"""
    link = parse(text, "chords.toml")
    assert verdict(link) is Verdict.HOLDS
    assert verdict(link.with_operator(spacing=14)) is Verdict.FAILS
    subject = Subject(link)
    chord = Script((Press(0, 0), Press(0, 1), Press(0, 2), Press(15, 1)))
    assert subject.replay(chord).failure is None
    with pytest.raises(Exception, match="1"):
        subject.replay(Script((Press(0, 0), Press(1, 1))))
    # A difference of two gaps that is a gap is a ghost of the chord: 8 - 5 = 3.
    ghost = judge(Subject(parse(text.replace("3, 5, 7", "3, 5, 8"), "g.toml")), "auto", Progress())
    assert ghost.verdict is Verdict.FAILS
    assert ghost.trace is not None
    assert {press.tick for press in ghost.trace.script.presses} == {0}


def test_chords_have_a_report_and_no_matrix(tmp_path: Path) -> None:
    demo = str(Path(__file__).parent.parent / "models/links/carillon_chords.toml")

    found = CliRunner().invoke(main, ["report", demo, "-o", str(tmp_path / "out")])
    assert found.exit_code == 0, found.output
    matrix = CliRunner().invoke(main, ["spacing", demo, "--pairs"])
    assert matrix.exit_code == 2
    assert "found together = true" in matrix.stderr


def test_chords_are_proved_by_explorer_and_solver_alike() -> None:
    text = 'tick = "50 ms"\ninputs.count = 2\n[link]\nscheme = "pulse-gap"\ngaps = [3, 5]\n'
    link = parse(text + "[operator]\nspacing = 11\ntogether = true\n", "chords.toml")
    taps = replace(link, scheme=replace(link.scheme, receiver_kind="taps"))  # type: ignore[type-var]
    for engine in ("explorer", "solver"):
        assert judge(Subject(taps), engine, Progress()).verdict is Verdict.HOLDS  # type: ignore[arg-type]
        assert judge(Subject(link), engine, Progress()).verdict is Verdict.FAILS  # type: ignore[arg-type]
