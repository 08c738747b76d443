"""Tables of codes on parallel lines: published sizes and designs, by counting alone.

Sources, with the marks of our collection of check values (S: read in the source, C: recomputed
or derived, MEM: from memory):

* e1, e2: Sperner 1928: at most C(n, n // 2) words on n lines of which none covers another; for
  even n only the middle level is as large, for odd n only the two middle ones (S, C).
* e3: m-of-n codes have C(n, m) words; 3-of-7, 35 words, is the ARQ telegraph alphabet
  (Moore's code, usenet net.ham-radio 1985) (S for 35, C).
* e4: dual rail: k bits on 2k lines (MEM). e5: Berger 1961, check bits that count zeros (S, C).
* f1: Kautz & Singleton 1964, by way of Wikipedia, "Disjunct matrix" (S).
* f2: OEIS A054961, exactly-2 separable, n = 0..9: 1, 2, 3, 4, 5, 6, 8, 10, 13, 17; the words for
  n = 6 as given there (S; up to 7 brute-forced, C). f3: at-most-2 separable, n = 1..7:
  1, 2, 3, 4, 5, 7, 9, exhaustive search of ours (C), so not published.
* f4, f9: 2-disjunct: n words for n <= 8 (C), 12 for n = 9, 26 for n = 13 (Manev 2009,
  Serdica J. Computing 3(1):15-22, abstract, S, for the first; the blocks verified, C).
* f7: OEIS A347025, most words of which none is the OR of others, n = 0..6: 0, 1, 2, 4, 7, 13, 24,
  and an example for n = 4 (S). f8: 1-disjunct is unordered (identity, C).
* Trap 3 of the collection: an example text of OEIS A361928 claims of a 6-test design that it
  finds 3 among 8. It does not: it is good for 2 only (C).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import combinations, product
from math import ceil, comb, log2

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verify.questions.code_table import held_at_once
from verify.tables.codes import (
    collision,
    covering_pairs,
    covers,
    is_disjunct,
    is_separable,
    is_union_free,
    is_unordered,
    most_disjunct,
    or_of,
    repeated,
)

PUBLISHED_EIGHT = [0b000000, 0b000011, 0b001100, 0b010101, 0b011010, 0b100110, 0b101001, 0b110000]


# Seconds of exhaustion.
SIX_LINES_EXACTLY = pytest.param(6, 8, marks=pytest.mark.slow)
SIX_LINES_AT_MOST = pytest.param(6, 7, marks=pytest.mark.slow)


def word(*lines: int) -> int:
    return sum(1 << line for line in lines)


def level(lines: int, ones: int) -> list[int]:
    """The m-of-n code."""
    return [word(*chosen) for chosen in combinations(range(lines), ones)]


def largest(words: Sequence[int], good: Callable[[Sequence[int]], bool]) -> list[list[int]]:
    """All largest tables of these words, by exhaustion; parts of a good table are good."""
    best: list[list[int]] = [[]]

    def grow(table: list[int], rest: Sequence[int]) -> None:
        if len(table) > len(best[0]):
            best.clear()
        if not best or len(table) == len(best[0]):
            best.append(list(table))
        for n, next_word in enumerate(rest):
            if len(table) + len(rest) - n < len(best[0]):
                return
            if good([*table, next_word]):
                grow([*table, next_word], rest[n + 1 :])

    grow([], words)
    return [list(t) for t in {tuple(t) for t in best}]


# -- no word covers another --------------------------------------------------------


SPERNER = [1, 2, 3, 6, 10, 20, 35, 70, 126, 252, 462, 924, 1716, 3432]


@pytest.mark.parametrize(("lines", "most"), list(enumerate(SPERNER, start=1)))
def test_the_middle_level_has_the_published_size_and_is_unordered(lines: int, most: int) -> None:
    """e1: Sperner 1928 (S, C)."""
    words = level(lines, lines // 2)

    assert len(words) == most == comb(lines, lines // 2)
    # Words of one weight; the largest levels are not put to it pair by pair.
    assert lines > 12 or is_unordered(words)


@pytest.mark.parametrize(("lines", "most", "ways"), [(1, 1, 2), (2, 2, 1), (3, 3, 2), (4, 6, 1)])
def test_no_unordered_code_is_larger(lines: int, most: int, ways: int) -> None:
    """e1, e2: by exhaustion; the zero word is a level of its own."""
    found = largest(range(2**lines), is_unordered)

    assert {len(table) for table in found} == {most}
    assert len(found) == ways
    levels = {tuple(sorted(level(lines, ones))) for ones in (lines // 2, (lines + 1) // 2)}
    assert {tuple(sorted(table)) for table in found} == levels


@pytest.mark.parametrize(("outputs", "lines"), [(5, 4), (7, 5), (11, 6), (21, 7), (36, 8)])
def test_lines_needed_for_a_number_of_outputs(outputs: int, lines: int) -> None:
    """e1 inverted (S, C)."""
    assert comb(lines - 1, (lines - 1) // 2) < outputs <= comb(lines, lines // 2)
    assert is_unordered(level(lines, lines // 2)[:outputs])


@pytest.mark.parametrize(
    ("ones", "lines", "size"),
    [(1, 4, 4), (2, 4, 6), (2, 5, 10), (2, 7, 21), (3, 6, 20), (3, 7, 35)],
)
def test_m_of_n_codes(ones: int, lines: int, size: int) -> None:
    """e3 (S for 35, C)."""
    words = level(lines, ones)

    assert len(words) == size
    assert is_unordered(words)


@pytest.mark.parametrize("bits", [1, 2, 3])
def test_dual_rail(bits: int) -> None:
    """e4 (MEM)."""
    words = [
        or_of(1 << (2 * place + bit) for place, bit in enumerate(chosen))
        for chosen in product((0, 1), repeat=bits)
    ]

    assert len(words) == 2**bits <= comb(2 * bits, bits)
    assert is_unordered(words)


@pytest.mark.parametrize(
    ("bits", "checks"), [(1, 1), (2, 2), (3, 2), (4, 3), (5, 3), (6, 3), (7, 3), (8, 4)]
)
def test_berger_codes(bits: int, checks: int) -> None:
    """e5: Berger 1961 (S, C): check bits count the zeros."""
    words = [data << checks | bits - data.bit_count() for data in range(2**bits)]

    assert checks == ceil(log2(bits + 1))
    assert is_unordered(words)
    assert bits != 4 or (bits + checks, len(words)) == (7, 16)
    # One check bit fewer cannot count so far.
    fewer = [
        data << checks - 1 | (bits - data.bit_count()) % 2 ** (checks - 1)
        for data in range(2**bits)
    ]
    assert not is_unordered(fewer)


def test_the_smallest_ordered_code() -> None:
    """e7: derived (C)."""
    assert covering_pairs([0b01, 0b11]) == [(1, 0)]


# -- held together -----------------------------------------------------------------


@pytest.mark.parametrize(("lines", "most"), [*enumerate([1, 2, 3, 4, 5, 6]), SIX_LINES_EXACTLY])
def test_largest_exactly_2_separable_codes(lines: int, most: int) -> None:
    """f2: OEIS A054961 (S; C), the zero word allowed."""
    found = largest(range(2**lines), lambda table: is_separable(table, 2, at_most=False))

    assert {len(table) for table in found} == {max(most, 1)}


def test_the_published_table_of_eight_words_on_six_lines() -> None:
    """f2: OEIS A054961 (S)."""
    words = PUBLISHED_EIGHT

    assert is_separable(words, 2, at_most=False)
    assert not is_separable(words, 2, at_most=True)
    assert all(
        not is_separable([*words, other], 2, at_most=False)
        for other in range(64)
        if other not in words
    )


@pytest.mark.parametrize(
    ("lines", "most"),
    [*enumerate([1, 2, 3, 4, 5], start=1), pytest.param(6, 7, marks=pytest.mark.slow)],
)
def test_largest_at_most_2_separable_codes(lines: int, most: int) -> None:
    """f3 (C)."""
    found = largest(range(1, 2**lines), lambda table: is_separable(table, 2))

    assert {len(table) for table in found} == {most}


@pytest.mark.parametrize(
    "words", [(3, 12, 48, 21, 26, 38, 41), (3, 5, 9, 18, 36, 72, 56, 84, 98)], ids=["6", "7"]
)
def test_tables_that_keep_any_two_held_inputs_apart(words: tuple[int, ...]) -> None:
    """f3 (C), on 6 and on 7 lines."""
    held = held_at_once(words)

    assert is_separable(words, 2)
    assert (held.apart, held.skewed) == (2, 1)


@pytest.mark.parametrize("lines", [1, 2, 3, 4, 5])
def test_nothing_beats_one_line_per_input_when_two_are_held(lines: int) -> None:
    """f4, f9 (C)."""
    found = largest(range(1, 2**lines), lambda table: is_disjunct(table, min(2, len(table) - 1)))

    assert {len(table) for table in found} == {lines}


def affine_plane() -> list[int]:
    """Lines of the affine plane of order 3, each a word of points."""
    points = list(product(range(3), repeat=2))
    slopes = [(1, m) for m in range(3)] + [(0, 1)]
    sets = {
        frozenset(((x + t * dx) % 3, (y + t * dy) % 3) for t in range(3))
        for x, y in points
        for dx, dy in slopes
    }
    return [word(*(points.index(p) for p in line)) for line in sets]


def cyclic(blocks: Sequence[Sequence[int]], modulus: int) -> list[int]:
    return [
        word(*((x + shift) % modulus for x in block))
        for block in blocks
        for shift in range(modulus)
    ]


@pytest.mark.parametrize(
    ("lines", "words", "size"),
    [(9, affine_plane(), 12), (13, cyclic([(0, 1, 4), (0, 2, 7)], 13), 26)],
    ids=["9", "13"],
)
def test_designs_that_let_two_inputs_be_held(lines: int, words: list[int], size: int) -> None:
    """f4 (C); 12 on 9 lines: Manev 2009 (S, abstract)."""
    assert len(set(words)) == size
    assert all(w < 2**lines for w in words)
    assert is_disjunct(words, 2)
    assert not is_disjunct(words, 3)

    held = held_at_once(words)

    assert held.skewed == 2
    assert held.apart in (2, 3)
    assert held.steady == size  # words of one weight


@pytest.mark.parametrize(("lines", "most"), [(1, 1), (2, 2), (3, 4), (4, 7)])
def test_largest_codes_without_a_word_that_is_the_or_of_others(lines: int, most: int) -> None:
    """f7: OEIS A347025 (S)."""
    found = largest(range(1, 2**lines), is_union_free)

    assert {len(table) for table in found} == {most}


def test_seven_words_on_four_lines_none_the_or_of_others() -> None:
    """f7: OEIS A347025 (S): {1}, {12}, {13}, {14}, {23}, {24}, {34}."""
    words = [word(*lines) for lines in ((0,), (0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3))]

    assert is_union_free(words)
    assert held_at_once(words).steady == 7
    assert not any(is_union_free([*words, w]) for w in range(1, 16) if w not in words)


def test_a_design_for_two_of_eight_is_none_for_three() -> None:
    """Trap 3 (C): with A361928's lower bounds T(8, 2) = 6, T(8, 3) = 7, six lines do not do."""
    words = PUBLISHED_EIGHT

    assert is_separable(words, 2, at_most=False)
    assert not is_separable(words, 3, at_most=False)


# -- second opinions ---------------------------------------------------------------

tables = st.lists(st.integers(0, 31), min_size=1, max_size=7)


def groups(number: int, sizes: Sequence[int]) -> Iterator[tuple[int, ...]]:
    for size in sizes:
        yield from combinations(range(number), size)


@given(tables)
def test_one_disjunct_is_unordered(words: list[int]) -> None:
    """f8 (C)."""
    assert is_disjunct(words, 1) == is_unordered(words)


@given(tables)
def test_the_largest_numbers_held_are_those_of_plain_definitions(words: list[int]) -> None:
    number = len(words)

    def ghost(group: tuple[int, ...], exact: bool) -> bool:
        together = or_of(words[i] for i in group)
        return any(
            together == words[k] if exact else covers(together, words[k])
            for k in range(number)
            if k not in group
        )

    def most(good: Callable[[int], bool]) -> int:
        return next((d - 1 for d in range(1, number + 1) if not good(d)), number)

    held = held_at_once(words)

    assert held.steady == most(lambda d: not any(ghost(g, True) for g in groups(number, [d])))
    assert held.skewed == most(lambda d: not any(ghost(g, False) for g in groups(number, [d])))
    assert held.apart == most(lambda d: is_separable(words, d))
    assert held.exactly == most(lambda d: is_separable(words, d, at_most=False))
    assert held.skewed == most_disjunct(words)


@given(tables, st.integers(1, 3), st.booleans())
def test_sets_that_collide_show_the_same(words: list[int], size: int, at_most: bool) -> None:
    found = collision(words, size, at_most=at_most)
    shown = [
        or_of(words[i] for i in group)
        for group in groups(len(words), range(size + 1) if at_most else [size])
    ]

    assert (found is None) == (len(set(shown)) == len(shown))
    if found is not None:
        one, other = found
        assert one != other
        assert or_of(words[i] for i in one) == or_of(words[i] for i in other)


@given(tables)
def test_repeated_words_are_found(words: list[int]) -> None:
    assert len(repeated(words)) == len(words) - len(set(words))
    assert all(words[i] == words[j] and i < j for i, j in repeated(words))
