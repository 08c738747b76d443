"""Answers to ``table`` about code words, as people read them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from verify.engines.answer import Verdict
from verify.questions.word_table import WordAnswer
from verify.reports.names import printable
from verify.reports.table_pieces import Page, rational
from verify.tables.words import Ambiguity, Delay
from verify.wordfile import WordFile


def show_words(found: WordAnswer) -> None:
    """Verdict, the shortest message with two readings, lengths, delay, Kraft sum."""
    page, name = Page(), printable(found.file.name)
    if found.verdict is Verdict.HOLDS:
        page.say(
            f"holds: every message of words of '{name}', sent back to back, can be read in one "
            "way only."
        )
    faults = found.faults
    if found.ambiguity is not None:
        *faults, ambiguous = faults
        page.say(f"fails: a message of words of '{name}' can be read in two ways.")
        _ambiguity(page, found.file, found.ambiguity, ambiguous.why)
    for fault in faults:
        page.say(f"fails: {fault.why}.")
    _lengths(page, found)
    if found.delay is not None:
        page.say(_delay(found.file, found.delay, found.prefix_free))
    if found.kraft_sum is not None:
        over = " Above 1: no such words can be read in one way." if found.kraft_sum > 1 else ""
        page.say(f"Kraft sum {found.kraft_sum}.{over}")
    page.last(
        f"By the suffixes that one reading can be ahead of another ({found.suffixes} of them; "
        "Sardinas & Patterson 1953), for messages of any length."
    )


def _ambiguity(page: Page, file: WordFile, ambiguity: Ambiguity, why: str) -> None:
    page.say(f"The shortest: {_message(file, ambiguity.symbols)}")
    for label, reading in (("is", ambiguity.first), ("and", ambiguity.second)):
        page.item(f"{label}: {' + '.join(_word_name(file, i) for i in reading)}")
    if len(ambiguity.first) == len(ambiguity.second) == 1:
        page.item(why)


def _word_name(file: WordFile, index: int) -> str:
    """A word of symbols without a name of its own goes by its symbols."""
    word = file.words[index]
    if isinstance(word, str) and file.names[index] == str(index + 1):
        return printable(word)
    return f"'{printable(file.names[index])}'"


def _lengths(page: Page, found: WordAnswer) -> None:
    rows = [
        (
            f"of {pair.kind}s",
            str(pair.shorter),
            str(pair.longer),
            str(pair.slack),
            rational(pair.rate_below),
            "yes" if pair.slack > 0 else "no",
        )
        for pair in found.lengths
    ]
    if rows:
        page.rows(("ticks", "shorter", "longer", "slack", "rate error below", "told apart"), rows)


def _delay(file: WordFile, delay: Delay, prefix_free: bool) -> str:
    if delay.symbols is None:
        before, again = _message(file, delay.before), _message(file, delay.again)
        return (
            f"The delay of decisions is unbounded: a message that begins {before} and goes on "
            f"{again}, over and over, stays open for as long as it goes on."
        )
    if prefix_free:
        return "No word begins another: every word is certain when it ends."
    plural = "" if delay.symbols == 1 else "s"
    return f"Every word is certain {delay.symbols} symbol{plural} after its end at the latest."


def _message(file: WordFile, symbols: Sequence[Any]) -> str:
    if not file.timed:
        return printable("".join(map(str, symbols)))
    return " ".join(" ".join(map(str, symbol)) for symbol in symbols)
