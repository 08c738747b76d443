"""Codes on parallel lines that differ in delay, and codes of inputs held together.

Sources, with the marks of our collection of check values (S: read in the source, C: recomputed
or derived, MEM: from memory):

* Sperner 1928: on n lines at most C(n, n // 2) words, none covering another; for even n only
  the middle level is as large, for odd n only the two middle ones (S, C).
* Verhoeff 1988, "Delay-insensitive codes - an overview", Distributed Computing 3:1-8: a code
  with a spacer between words is delay-insensitive iff no word covers another (MEM).
* {01, 11}: 01 is a transient of 11 under any skew. Derived (C).
* Kautz & Singleton 1964: a code is 2-disjunct if no word is covered by the OR of two others
  (S, secondary). Up to 8 lines it has no more words than lines (exhaustive, C).
* OEIS A347025: most nonempty words of which none is the OR of others: 1, 2, 4, 7, ... (S).

A word covers another that has no line which it has not. Words are numbers, a bit per line.

What two inputs held together do to ``press`` inputs: the receiver knows whole words only. Once
both are held the lines show neither code, unless one covers the other, and the later
press is lost. So no code of two words or more holds at an overlap of 2, and f4 and f9 of the
collection can be put to the engines as a question of ghosts alone: does an output ever strike
whose input was not pressed? For that the tests below bring an operator who presses at most
two inputs and holds them for good, and a monitor that sees nothing but ghosts.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from math import comb

import pytest

from models.parallel_code import ParallelCode
from tests.links import make_link
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.explorer import explore
from verify.language import expressions as ex
from verify.language.machine import Each, Machine, Offer, Rule, System
from verify.language.state import flag, number
from verify.parts.line import Faults
from verify.parts.link import Link, factored
from verify.parts.operator import Operator
from verify.parts.signals import PRESS, Kind, failure, strike
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Judgement, Subject, judge

both_engines = pytest.mark.parametrize("engine", ["explorer", "solver"])

# Presses so far apart that the lines are idle between them, also the latest; held for longer
# than lines differ, so that they all show the word together.
SPACED = Operator(spacing=6, hold=(2, 2))


def skewed(codes: tuple[int, ...], lines: int) -> Link:
    """Lines that differ by up to one tick, which is enough for any order of arrival."""
    return make_link(ParallelCode(codes, lines), SPACED, faults=Faults(skew=1))


def judged(link: Link, engine: EngineName = "explorer") -> Judgement:
    found = judge(Subject(link), engine, Progress())
    assert found.verdict is not Verdict.UNDECIDED
    return found


def holds(link: Link, engine: EngineName = "explorer") -> bool:
    return judged(link, engine).verdict is Verdict.HOLDS


# -- plain arithmetic of words ---------------------------------------------------


def covers(word: int, other: int) -> bool:
    return word & other == other


def unordered(codes: tuple[int, ...]) -> bool:
    return not any(covers(a, b) or covers(b, a) for a, b in combinations(codes, 2))


def every_code(lines: int) -> Iterator[tuple[int, ...]]:
    words = range(1, 2**lines)
    for size in range(1, len(words) + 1):
        yield from combinations(words, size)


def level(lines: int, ones: int) -> tuple[int, ...]:
    return tuple(word for word in range(2**lines) if word.bit_count() == ones)


# -- skew ------------------------------------------------------------------------


@both_engines
@pytest.mark.parametrize("lines", [2, 3, 4])
def test_binary_counting_fails_under_skew(lines: int, engine: EngineName) -> None:
    """Sperner 1928 (S, C): more words than an unordered code has."""
    everything = tuple(range(1, 2**lines))
    assert len(everything) > comb(lines, lines // 2)

    found = judged(skewed(everything, lines), engine)

    assert found.verdict is Verdict.FAILS
    assert found.trace is not None
    assert len(found.trace.script.presses) == 1


@both_engines
@pytest.mark.parametrize("lines", [1, 2, 3, 4])
def test_the_middle_level_holds_under_skew(lines: int, engine: EngineName) -> None:
    """Sperner 1928 (S, C): C(n, n // 2) words; m-of-n codes (C)."""
    codes = level(lines, lines // 2 or 1)
    assert len(codes) == {1: 1, 2: 2, 3: 3, 4: 6}[lines]

    assert holds(skewed(codes, lines), engine)


@pytest.mark.parametrize("lines", [2, 3, 4])
def test_any_word_more_makes_it_fail(lines: int) -> None:
    """Sperner 1928 (S, C)."""
    codes = level(lines, lines // 2)
    for word in set(range(1, 2**lines)) - set(codes):
        found = judged(skewed((*codes, word), lines))
        assert found.verdict is Verdict.FAILS
        assert found.trace is not None
        assert len(found.trace.script.presses) == 1


@pytest.fixture(scope="module")
def delay_insensitive() -> dict[tuple[int, ...], bool]:
    """Every code on three lines, and whether it holds."""
    return {codes: holds(skewed(codes, 3)) for codes in every_code(3)}


def test_a_code_is_delay_insensitive_iff_no_word_covers_another(
    delay_insensitive: dict[tuple[int, ...], bool],
) -> None:
    """Verhoeff 1988 (MEM): all 127 codes on three lines."""
    assert len(delay_insensitive) == 127
    assert delay_insensitive == {codes: unordered(codes) for codes in every_code(3)}


def test_the_largest_delay_insensitive_codes_are_the_middle_levels(
    delay_insensitive: dict[tuple[int, ...], bool],
) -> None:
    """Sperner 1928 (S): three words on three lines, in exactly two ways."""
    safe = [codes for codes, held in delay_insensitive.items() if held]
    most = max(map(len, safe))

    assert most == 3
    assert {codes for codes in safe if len(codes) == most} == {level(3, 1), level(3, 2)}


@pytest.mark.parametrize("lines", [1, 2])
def test_the_solver_finds_the_same_codes_delay_insensitive(lines: int) -> None:
    """Verhoeff 1988 (MEM)."""
    for codes in every_code(lines):
        assert holds(skewed(codes, lines), "solver") == unordered(codes)


@both_engines
@pytest.mark.parametrize("skew", [1, 2, 3])
def test_the_smallest_ordered_code_fails_at_one_press(skew: int, engine: EngineName) -> None:
    """{01, 11}: derived (C)."""
    operator = Operator(spacing=20, hold=(5, 5))
    link = make_link(ParallelCode((0b01, 0b11), 2), operator, faults=Faults(skew=skew))

    found = judged(link, engine)

    assert found.trace is not None
    assert [(p.tick, p.input) for p in found.trace.script.presses] == [(0, 1)]
    late = dict(found.trace.script.constants)
    assert late["line0.late"] != late["line1.late"]
    assert found.trace.failure is not None
    assert (found.trace.failure.kind, found.trace.failure.output) == ("wrong-output", "k1")
    # Without skew there is nothing wrong with it.
    assert holds(make_link(ParallelCode((0b01, 0b11), 2), operator), engine)


# -- held together -----------------------------------------------------------------


@pytest.mark.parametrize("lines", [1, 2, 3])
def test_no_two_press_inputs_may_be_held_together(lines: int) -> None:
    """Derived (C): together the lines show neither code, or only the one that covers the other.

    A code of one word has nothing to be held together with.
    """
    for codes in every_code(lines):
        operator = Operator(spacing=1, hold=(4, 4), overlap=2)
        found = judged(make_link(ParallelCode(codes, lines), operator))
        assert (found.verdict is Verdict.HOLDS) == (len(codes) == 1)
        if found.trace is not None:
            assert len(found.trace.script.presses) == 2


def ghost_system(codes: tuple[int, ...], lines: int, skew: int, held: int) -> System:
    """At most ``held`` inputs, each pressed once and for good; failures are ghosts, no others."""
    scheme = ParallelCode(codes, lines)
    inputs = scheme.inputs
    pressed = PRESS.occurrence("pressed")["input"]
    count = number("operator.count", 0, held)
    down = [flag(f"operator.down{i}") for i in range(inputs)]
    free = count.read() < held
    for i, is_down in enumerate(down):
        free &= ~(pressed.eq(i) & is_down.up())
    marks = tuple(Rule(f"press {i}", pressed.eq(i), (down[i].put_up(),)) for i in range(inputs))
    operator = Machine(
        "operator",
        (count, *down),
        (),
        Offer(PRESS, inputs, "pressed", free, (count.set(count.read() + 1), *marks)),
    )
    struck = strike(0).occurrence("s")["output"]
    strays: list[Rule] = []
    for i in range(inputs):
        unasked: ex.Bool = struck.eq(i) & ~down[i].up()
        strays.append(Rule(f"ghost {i}", unasked, (failure(0).emit(Kind.GHOST, -1, i),)))
    watch = Machine("ghosts", (), (Each(strike(0), "s", tuple(strays)),))
    link = make_link(scheme, faults=Faults(skew=skew))
    return System((operator, *factored(link, None).machines[1:], watch))


def ghosts(codes: tuple[int, ...], lines: int, skew: int, held: int) -> bool:
    answer = explore(ghost_system(codes, lines, skew, held), Budget(10), Progress())
    assert answer.verdict is not Verdict.UNDECIDED
    return answer.verdict is Verdict.FAILS


def covered_by_two_others(codes: tuple[int, ...]) -> bool:
    """Not 2-disjunct; of two words alone, one covers the other."""
    return not unordered(codes) or any(
        covers(a | b, word)
        for a, b in combinations(codes, 2)
        for word in codes
        if word not in (a, b)
    )


@pytest.mark.parametrize("lines", [1, 2, 3])
def test_two_held_together_never_show_a_third_iff_no_two_words_cover_it(lines: int) -> None:
    """Kautz & Singleton 1964 (S, secondary), by exhaustion: nothing beats one line per input (C).

    Under skew the lines pass through any of the words that the OR of the two covers.
    """
    safe = [codes for codes in every_code(lines) if not ghosts(codes, lines, skew=1, held=2)]

    assert safe == [codes for codes in every_code(lines) if not covered_by_two_others(codes)]
    assert max(map(len, safe)) == lines


def or_of_others(codes: tuple[int, ...]) -> bool:
    """Some word is the OR of those that it covers."""
    for word in codes:
        together = 0
        for other in codes:
            together |= other if other != word and covers(word, other) else 0
        if together == word:
            return True
    return False


@pytest.mark.parametrize(("lines", "most"), [(1, 1), (2, 2), (3, 4)])
def test_without_skew_it_is_enough_that_no_word_is_the_or_of_others(lines: int, most: int) -> None:
    """OEIS A347025 (S): 1, 2, 4 words. Any number of inputs may be held."""
    safe = [
        codes for codes in every_code(lines) if not ghosts(codes, lines, skew=0, held=len(codes))
    ]

    assert safe == [codes for codes in every_code(lines) if not or_of_others(codes)]
    assert max(map(len, safe)) == most


def test_seven_words_on_four_lines_of_which_none_is_the_or_of_others() -> None:
    """OEIS A347025 (S): {1}, {12}, {13}, {14}, {23}, {24}, {34}."""
    sets = ((1,), (1, 2), (1, 3), (1, 4), (2, 3), (2, 4), (3, 4))
    codes = tuple(sum(1 << (line - 1) for line in lines) for lines in sets)

    assert not ghosts(codes, 4, skew=0, held=7)
    for word in set(range(1, 16)) - set(codes):
        assert ghosts((*codes, word), 4, skew=0, held=8)
