"""Code words sent back to back: published codes, their verdicts and shortest ambiguous strings.

Sources, with the marks of our collection of check values (S: read in the source, S2: in a
secondary one, C: recomputed or derived, MEM: from memory):

* d1: Berstel's code, by way of a Wikipedia text; the shortest string by our search (S, C).
* d2: an example in documentation on metacpan.org (S, C).
* d3: the same (S, C). d4: gist sts10, an example by danhales (S, C). d5: the code from
  that gist (S), verdict by our run (C).
* d6, d7: Cover & Thomas, Elements of Information Theory, ch. 5 (MEM, C).
* d8: its problem set: a statement of it was seen, the codes are from memory (MEM, C).
* d9: an example of our own (C).
* d10: Kraft 1949, McMillan 1956: uniquely decodable words have a sum of k^-length of at most 1;
  the converse says only that some prefix code has those lengths (S: lecture slides, C).
* c9: Morse code, ITU-R M.1677-1 (S2, C); the alphabet MEM.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import event, example, given
from hypothesis import strategies as st

import models
from verify.linkfile import read, toml_of
from verify.questions.word_table import judge_words, symbols_of
from verify.tables.words import WordTable
from verify.wordfile import WordFile, parse_words

LINKS = Path(models.__file__).parent / "links"


def split(words: str) -> list[str]:
    return words.split()


def shortest(table: WordTable) -> str | None:
    found = table.ambiguity
    return None if found is None else "".join(map(str, found.symbols))


def readings(table: WordTable) -> set[str]:
    """Of the shortest ambiguous string, the words joined by dots."""
    found = table.ambiguity
    assert found is not None
    return {
        ".".join("".join(map(str, table.words[i])) for i in reading)
        for reading in (found.first, found.second)
    }


@pytest.mark.parametrize(
    ("words", "string", "two"),
    [
        # Berstel's published witness, 011101110011, is longer.
        ("1 011 01110 1110 10011", "111011", {"1110.1.1", "1.1.1.011"}),  # d1
        ("ab abba b", "abbab", {"abba.b", "ab.b.ab"}),  # d2
        ("02 12 120 20 21", "1202120", {"120.21.20", "12.02.120"}),  # d5
        ("0 010 01 10", "010", None),  # d6: three readings
        ("0 01 10", "010", {"01.0", "0.10"}),  # d8
        ("1 10 01", "101", {"1.01", "10.1"}),  # d9
    ],
)
def test_shortest_ambiguous_strings(words: str, string: str, two: set[str] | None) -> None:
    table = WordTable(split(words))

    assert not table.is_uniquely_decodable
    assert shortest(table) == string
    assert table.delay is None
    assert two is None or readings(table) == two
    assert {reading.replace(".", "") for reading in readings(table)} == {string}


def test_the_published_witness_of_berstels_code_has_two_readings() -> None:
    published = ["01110 1110 011", "011 1 011 10011"]
    words = split("1 011 01110 1110 10011")

    assert {"".join(split(reading)) for reading in published} == {"011101110011"}
    assert all(word in words for reading in published for word in split(reading))


@pytest.mark.parametrize(
    ("words", "suffixes"),
    [
        ("a ab abb", {"b", "bb"}),  # d3
        ("0 01 011", {"1", "11"}),  # d4
        ("10 00 11 110", {"0"}),  # d7
    ],
)
def test_published_suffix_sets(words: str, suffixes: set[str]) -> None:
    table = WordTable(split(words))

    assert table.is_uniquely_decodable
    assert not table.is_prefix_free
    assert {"".join(node) for node in table.graph if node != "start"} == suffixes


def test_suffix_sets_of_an_ambiguous_code() -> None:
    """d5: {0}, {2}, {0, 1}, {2, 20}; beyond them only the empty suffix, where a search may end."""
    table = WordTable(split("02 12 120 20 21"))

    nodes = {"".join(node) for node in table.graph if node != "start"}

    assert {"0", "2", "1", "20"} <= nodes
    assert "" in nodes


def test_a_code_whose_delay_is_unbounded() -> None:
    """d7: 11 and an even number of zeros, or 110 and an odd one."""
    delay = WordTable(split("10 00 11 110")).delay

    assert delay is not None
    assert delay.symbols is None
    assert "".join(map(str, delay.before)).rstrip("0") == "11"
    assert set(delay.again) == {"0"}


@pytest.mark.parametrize(
    ("words", "decodable", "prefix_free"),
    [
        ("0 10 11", True, True),
        ("0 01 11", True, False),
        ("0 01 10", False, False),
        ("0 01", True, False),
        ("00 01 10 11", True, True),
        ("110 11 10", True, False),
        ("110 11 100 00 10", True, False),
    ],
)
def test_a_textbooks_problem_set(words: str, decodable: bool, prefix_free: bool) -> None:
    """d8: the second, sixth and seventh need more than a look for prefixes."""
    table = WordTable(split(words))

    assert table.is_uniquely_decodable == decodable
    assert table.is_prefix_free == prefix_free


@pytest.mark.parametrize(
    ("words", "total"),
    [
        ("1 011 01110 1110 10011", Fraction(3, 4)),
        ("0 010 01 10", Fraction(9, 8)),
        ("10 00 11 110", Fraction(7, 8)),
        ("110 11 100 00 10", Fraction(1)),
        ("1 10 01", Fraction(1)),
    ],
)
def test_kraft_sums(words: str, total: Fraction) -> None:
    """d10 (S, C)."""
    table = WordTable(split(words))

    assert table.kraft_sum == total
    assert table.kraft_sum <= 1 or not table.is_uniquely_decodable


# -- a second opinion --------------------------------------------------------------


def messages(words: Sequence[str], longest: int) -> dict[str, set[tuple[int, ...]]]:
    """Every string of words up to a length, and its readings: nothing clever."""
    found: dict[str, set[tuple[int, ...]]] = {"": {()}}
    todo = [("", ())]
    while todo:
        text, reading = todo.pop()
        for i, word in enumerate(words):
            if len(text) + len(word) <= longest:
                longer, more = text + word, (*reading, i)
                found.setdefault(longer, set()).add(more)
                todo.append((longer, more))
    return found


few_words = st.lists(st.text("01", min_size=1, max_size=4), min_size=1, max_size=4)


@given(few_words)
@example(["0", "0"])
@example(["01", "0", "10"])
def test_no_other_string_up_to_some_length_is_shorter(words: list[str]) -> None:
    longest = 9
    two = [text for text, ways in messages(words, longest).items() if len(ways) > 1]
    table = WordTable(words)
    string = shortest(table)
    event("ambiguous" if string else "decodable")

    assert (string is None) == table.is_uniquely_decodable
    if two:
        assert string is not None
        assert len(string) == min(map(len, two))
    else:
        assert string is None or len(string) > longest
    if string is not None:
        found = table.ambiguity
        assert found is not None
        assert found.first != found.second
        for reading in (found.first, found.second):
            assert "".join(words[i] for i in reading) == string


def undecided_for(words: Sequence[str], symbols: int) -> int:
    """Most symbols after the end of a first word after which another first word is possible."""
    strings = [("", ())]
    begun: dict[str, set[int]] = {}
    while strings:
        text, reading = strings.pop()
        if reading:
            for end in range(1, min(len(text), symbols) + 1):
                begun.setdefault(text[:end], set()).add(reading[0])
        if len(text) < symbols:
            strings += [(text + word, (*reading, i)) for i, word in enumerate(words)]
    worst = -1
    for text, firsts in begun.items():
        for i in firsts if len(firsts) > 1 else ():
            if text.startswith(words[i]):
                worst = max(worst, len(text) - len(words[i]))
    return worst


@given(st.lists(st.text("01", min_size=1, max_size=3), min_size=2, max_size=3, unique=True))
@example(["0", "01", "11"])
@example(["0", "01", "011"])
@example(["110", "11", "10"])
def test_the_delay_is_that_of_the_longest_string_left_open(words: list[str]) -> None:
    table = WordTable(words)
    delay = table.delay
    if delay is None:
        return
    event("unbounded" if delay.symbols is None else "bounded")

    left_open = undecided_for(words, 9)

    if delay.symbols is None:
        assert left_open >= 5
    else:
        assert left_open + 1 == delay.symbols


# -- Morse code --------------------------------------------------------------------


def morse(name: str) -> WordFile:
    text, source, stem = read(LINKS / name)
    return parse_words(toml_of(text, source), source, stem)


MORSE, RUN_TOGETHER = morse("morse.toml"), morse("morse_run_together.toml")


def test_morse_with_its_gaps_is_decodable_and_certain_at_once() -> None:
    found = judge_words(MORSE)

    assert found.ambiguity is None
    assert found.prefix_free
    assert {(pair.kind, pair.shorter, pair.longer) for pair in found.lengths} == {
        ("mark", 1, 3),
        ("gap", 1, 3),
        ("gap", 3, 7),
    }
    # Nominal times a < b stay apart below (b - a)/(b + a) (C, derived).
    assert min(pair.rate_below for pair in found.lengths) == Fraction(2, 5)


def test_morse_without_the_gap_between_letters_is_not() -> None:
    found = judge_words(RUN_TOGETHER)

    assert found.ambiguity is not None
    one, other = (
        [RUN_TOGETHER.names[i] for i in reading]
        for reading in (found.ambiguity.first, found.ambiguity.second)
    )
    # Two dots are I, or E twice.
    assert sorted([one, other], key=len) == [["I"], ["E", "E"]]
    assert found.ambiguity.symbols == symbols_of((1, 1, 1, 1))


def test_the_standard_word_has_fifty_units() -> None:
    """PARIS with the gap of seven units after it (S2)."""
    lengths = dict(zip(MORSE.names, MORSE.words, strict=True))

    units = sum(sum(map(int, lengths[name])) for name in ("P", "A", "R", "I", "S/"))

    assert units == 50
    assert MORSE.tick == Fraction(1200, 20) / 1000  # 20 words a minute (MEM)


def test_both_files_have_the_same_letters() -> None:
    joined = dict(zip(RUN_TOGETHER.names, RUN_TOGETHER.words, strict=True))
    apart = dict(zip(MORSE.names, MORSE.words, strict=True))

    assert len(joined) == 36
    assert {name: word[:-1] for name, word in joined.items()} == {
        name: word[:-1] for name, word in apart.items() if "/" not in name
    }
    assert {name: word[:-1] for name, word in apart.items() if "/" not in name} == {
        name.rstrip("/"): word[:-1] for name, word in apart.items() if "/" in name
    }
