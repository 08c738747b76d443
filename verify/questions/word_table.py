"""Judge code words sent back to back: can every message be read in one way only?"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from verify.engines.answer import Verdict
from verify.questions.evidence import Fault, verdict_of
from verify.tables.gaps import rate_apart
from verify.tables.words import Ambiguity, Delay, Symbol, WordTable
from verify.wordfile import WordFile

Span = tuple[Fraction, Fraction]
MARK, GAP = "mark", "gap"


@dataclass(frozen=True)
class Lengths:
    """Two lengths of one kind, next to one another, ticks. ``slack``: from the longest time that
    the shorter may be taken for to the shortest of the longer; not above 0: one may be taken for
    the other. ``rate_below``: rate error either way below which some windows tell them apart.
    """

    kind: str
    shorter: int
    longer: int
    slack: Fraction
    rate_below: Fraction


@dataclass(frozen=True)
class WordAnswer:
    """``ambiguity``: the shortest message with two readings, or None; ``delay``: None then.
    ``lengths``: only of words made of marks and gaps.
    """

    file: WordFile
    ambiguity: Ambiguity | None
    delay: Delay | None
    prefix_free: bool
    kraft_sum: Fraction | None
    suffixes: int
    lengths: list[Lengths]
    faults: list[Fault]

    @property
    def verdict(self) -> Verdict:
        """Of the words under the file's disturbances."""
        return verdict_of(self.faults, [])


def judge_words(file: WordFile) -> WordAnswer:
    """Unique decodability, the shortest ambiguous message, the delay of decisions.

    A word of times ends with a gap, and the next begins with a mark: nothing merges. A receiver
    is taken to judge every length by itself: two lengths of one kind may be taken for one
    another if the times that they may come as have one in common.
    """
    spans = _spans(file)

    def alike(a: tuple[str, int], b: tuple[str, int]) -> bool:
        return a[0] == b[0] and _slack(spans[a[1]], spans[b[1]]) <= 0

    lengths = _lengths(file, spans)
    confused = any(pair.slack <= 0 for pair in lengths)
    table = WordTable([symbols_of(word) for word in file.words], alike if confused else None)
    faults = _outside(file)
    found = table.ambiguity
    if found is not None:
        faults.append(
            Fault(
                tuple(sorted({*found.first, *found.second})),
                _why(file, found),
            )
        )
    return WordAnswer(
        file,
        found,
        table.delay,
        table.is_prefix_free,
        None if file.timed else table.kraft_sum,
        table.graph.number_of_nodes() - 1,
        lengths,
        faults,
    )


def _why(file: WordFile, found: Ambiguity) -> str:
    if len(found.first) > 1 or len(found.second) > 1:
        return "a message can be read in two ways"
    i, j = sorted((found.first[0], found.second[0]))
    same = file.words[i] == file.words[j]
    return f"words[{i}] and words[{j}] " + ("are the same" if same else "may look the same")


def symbols_of(word: str | tuple[int, ...]) -> tuple[Symbol, ...]:
    """Characters, or (kind, ticks) of marks and gaps in turn."""
    if isinstance(word, str):
        return tuple(word)
    return tuple((GAP if place % 2 else MARK, time) for place, time in enumerate(word))


def _spans(file: WordFile) -> dict[int, Span]:
    """Per length, the times that are taken for it."""
    if not file.timed:
        return {}
    lengths = {time for word in file.words for time in word if isinstance(time, int)}
    if file.window is not None:
        return {t: (Fraction(t - file.window), Fraction(t + file.window)) for t in lengths}
    return {t: _arrival(t, file) for t in lengths}


def _arrival(ticks: int, file: WordFile) -> Span:
    """Either end of a mark or gap may be late by jitter; the clock's rate stretches it."""
    least, most = (1 + e for e in file.rate)
    return ticks * least - file.jitter, ticks * most + file.jitter


def _slack(a: Span, b: Span) -> Fraction:
    return max(a[0], b[0]) - min(a[1], b[1])


def _lengths(file: WordFile, spans: dict[int, Span]) -> list[Lengths]:
    """Every two neighbours, and those further apart that may still be confused."""
    found: list[Lengths] = []
    if not file.timed:
        return found
    for kind, first in ((MARK, 0), (GAP, 1)):
        sizes = sorted({t for word in file.words for t in word[first::2] if isinstance(t, int)})
        for n, shorter in enumerate(sizes):
            for m, longer in enumerate(sizes[n + 1 :]):
                slack = _slack(spans[shorter], spans[longer])
                if m and slack > 0:
                    break
                below = rate_apart(shorter, longer, file.jitter)
                found.append(Lengths(kind, shorter, longer, slack, below))
    return found


def _outside(file: WordFile) -> list[Fault]:
    """Lengths that may come outside the window that is to accept them."""
    if file.window is None:
        return []
    faults = []
    seen: set[int] = set()
    for i, word in enumerate(file.words):
        for time in word:
            if not isinstance(time, int) or time in seen:
                continue
            seen.add(time)
            low, high = _arrival(time, file)
            missed = max(time - file.window - low, high - time - file.window)
            if missed > 0:
                why = f"a length of {time} in words[{i}] may miss its window by {missed} ticks"
                faults.append(Fault((i,), why))
    return faults
