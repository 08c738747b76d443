"""Answers to ``table`` as people read them: the verdict, what is at fault, then the table."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from textwrap import fill
from typing import Any

from rich.console import Console
from rich.text import Text

from verify.engines.answer import Verdict
from verify.engines.trace import Trace
from verify.parts.link import Link
from verify.questions.code_table import CodeAnswer
from verify.questions.evidence import Fault
from verify.questions.frame_table import FrameAnswer
from verify.questions.gap_table import GapAnswer, GhostList
from verify.questions.table import TableAnswer
from verify.questions.word_table import WordAnswer
from verify.reports import cautions
from verify.reports.console import output_console as _console
from verify.reports.console import say as _say
from verify.reports.finer import measured, parts_sentence
from verify.reports.names import printable
from verify.reports.picture import picture
from verify.reports.terminal import _ascii_only, _table, conditions
from verify.units import decimal_text, ticks_text
from verify.wordfile import WordFile

MOST = 12
"""Rows of a table, and lines of a list, on a terminal; --json has all."""


def show_table(found: TableAnswer) -> None:
    """Whatever kind of table it is."""
    if isinstance(found, GapAnswer):
        _show_gaps(found)
    elif isinstance(found, CodeAnswer):
        _show_codes(found)
    elif isinstance(found, FrameAnswer):
        _show_frames(found)
    else:
        _show_words(found)


# -- gaps --------------------------------------------------------------------------


def _show_gaps(found: GapAnswer) -> None:
    link, console = found.link, _console()
    _verdict(
        console,
        found.verdict,
        f"holds: '{printable(link.name)}': every time from rise to rise is taken for one output "
        "at most, every send for its own, and no two presses that the operator allows strike a "
        "third.",
        found.faults,
        found.undecided,
        link,
    )
    _show_trace(console, link, found.trace)
    console.print(_gap_rows(found))
    _more(console, len(found.order))
    _say(console, _slack_sentence(found))
    if found.ghosts is not None:
        _show_ghosts(console, link, found.ghosts)
    else:
        _say(console, "Ghosts of two presses are counted once every send alone is understood.")
    _say(
        console,
        f"By counting, for one or two presses; `fewwire check` proves longer sequences. "
        f"{conditions(link)} {cautions.SHORT}",
        "dim",
    )


def _gap_rows(found: GapAnswer) -> Any:
    link = found.link
    gaps = link.scheme.per_input()["gap"]
    table = _table("input", "gap", "accepted", "to next window", "rate error below")
    after = {n.shorter: n for n in found.neighbours}
    for i in found.order[:MOST]:
        low, high = found.windows[i]
        n = after.get(i)
        table.add_row(
            Text(printable(link.names[i])),
            str(gaps[i]),
            f"{low} to {high}",
            "" if n is None else str(n.windows),
            "" if n is None else _rational(n.rate_below),
        )
    return table


def _slack_sentence(found: GapAnswer) -> str:
    link, said = found.link, []
    tight, weak = found.tightest_windows, found.tightest_rate
    if tight is not None and weak is not None:
        said.append(
            f"Closest windows: {_pair(link, tight.shorter, tight.longer)}, slack "
            f"{_ticks(Fraction(tight.windows), link)} (above 0: apart)."
        )
        said.append(
            f"The right windows would bear a rate error below {_rational(weak.rate_below)}: "
            f"{_pair(link, weak.shorter, weak.longer)}."
            if weak.rate_below > 0
            else f"No windows tell {_pair(link, weak.shorter, weak.longer)} apart."
        )
    if found.rate is not None:
        (least, a), (most, b) = found.rate
        said.append(
            f"These windows bear a rate error from {_rational(least)} ({_name(link, a)}) to "
            f"{_rational(most)} ({_name(link, b)})."
        )
    return " ".join(said)


def _show_ghosts(console: Console, link: Link, ghosts: GhostList) -> None:
    if not ghosts.listed:
        _say(console, "No two presses make a ghost.")
        return
    for last, what in ((ghosts.last, "two inputs"), (ghosts.last_same, "one input")):
        if last is not None:
            _say(
                console,
                f"Last ghost of two presses of {what}: {ticks_text(last[0], link.tick)} apart, "
                f"{_name(link, last[1])} then {_name(link, last[2])}.",
            )
    number = len(ghosts.listed)
    _say(console, "Ghosts of two presses (first, second, ticks between, what strikes):")
    for g in ghosts.listed[:MOST]:
        between = str(g.least) if g.least == g.most else f"{g.least} to {g.most}"
        struck = ", ".join(_name(link, i) for i in g.outputs)
        _item(console, f"{_name(link, g.first)}, {_name(link, g.second)}, {between}: {struck}")
    if number > MOST:
        least = "" if ghosts.complete else "at least "
        _item(console, f"and {least}{number - MOST} more; --json has more, --pair all of a pair.")


# -- codes -------------------------------------------------------------------------


def _show_codes(found: CodeAnswer) -> None:
    link, console = found.link, _console()
    _verdict(
        console,
        found.verdict,
        f"holds: '{printable(link.name)}': every code is another, and no input shows as another "
        "that is not held, on the way or held together, as far as the operator and the line "
        "allow.",
        found.faults,
        found.undecided,
        link,
    )
    _show_trace(console, link, found.trace)
    _code_rows(console, link, found.codes, found.width)
    number = len(found.codes)
    _say(
        console,
        f"{_lines(found.width)} carry at most {(1 << found.width) - 1} inputs, and at most "
        f"{found.unordered_most} of which no code covers another (Sperner 1928).",
    )
    _pairs(
        console,
        "No code covers another: safe under any skew.",
        "Codes that cover another, which shows on the way when lines come apart",
        link,
        found.covers,
    )
    _show_held(console, found)
    groups = found.groups
    for g in groups[:MOST]:
        verb = "equals" if g.exact else "covers"
        names = ", ".join(_name(link, i) for i in g.inputs)
        _item(console, f"{names} together: {verb} {_name(link, g.shows)}")
    if len(groups) > MOST:
        least = "" if found.listed_sizes >= number else "at least "
        _item(console, f"and {least}{len(groups) - MOST} more; --json has more.")
    if number > 1:
        _say(
            console,
            "The receiver of this scheme knows whole codes only: while several inputs are held, "
            "it shows none of them, or one that covers the rest.",
        )
    _say(console, f"By counting. {conditions(link)} {cautions.SHORT}", "dim")


def _show_held(console: Console, found: CodeAnswer) -> None:
    link, held, number = found.link, found.held, len(found.codes)

    def at_once(most: int | None) -> str:
        if most is None:
            return "not known: too many sets to compare"
        return f"all {number}" if most >= number else str(most)

    def shown(by: tuple[tuple[int, ...], int] | None, verb: str) -> str:
        if by is None:
            return ""
        return f" ({', '.join(_name(link, i) for i in by[0])} {verb} {_name(link, by[1])})"

    def same(by: tuple[tuple[int, ...], tuple[int, ...]] | None) -> str:
        if by is None:
            return ""
        sets = [", ".join(_name(link, i) for i in inputs) or "none" for inputs in by]
        return f" ({sets[0]} shows as {sets[1]})"

    _say(console, "Inputs that may be held at once:")
    for words, most, why in (
        ("no ghost, lines steady", held.steady, shown(held.steady_broken, "equals")),
        ("no ghost, lines in any order", held.skewed, shown(held.skewed_broken, "covers")),
        ("each kept apart", held.apart, same(held.apart_broken)),
        ("each kept apart, their number known", held.exactly, same(held.exactly_broken)),
    ):
        _item(console, f"{words}: {at_once(most)}{why}")


def _code_rows(console: Console, link: Link, codes: Sequence[int], width: int) -> None:
    table = _table("input", "code")
    for name, code in zip(link.names[:MOST], codes, strict=False):
        table.add_row(Text(printable(name)), f"{code:0{width}b}")
    console.print(table)
    _more(console, len(codes))


def _pairs(
    console: Console, none: str, some: str, link: Link, pairs: Sequence[tuple[int, int]]
) -> None:
    if not pairs:
        _say(console, none)
        return
    shown = "; ".join(f"{_name(link, i)} covers {_name(link, j)}" for i, j in pairs[:MOST])
    more = f"; and {len(pairs) - MOST} more" if len(pairs) > MOST else ""
    _say(console, f"{some}: {shown}{more}.")


def _show_frames(found: FrameAnswer) -> None:
    link, console = found.link, _console()
    _verdict(
        console,
        found.verdict,
        f"holds: '{printable(link.name)}': every code is another, and a receiver waits for the "
        "next frame when it comes.",
        found.faults,
        [],
        link,
    )
    _code_rows(console, link, found.codes, found.width)
    bits = f"{found.width} bit{'s' * (found.width > 1)}"
    _say(
        console,
        f"{bits} tell {1 << found.width} inputs apart. A frame takes "
        f"{ticks_text(found.frame, link.tick)}, the last {found.idle} low; from the last sample "
        f"to the next start edge {_ticks(found.waiting, link)} at least (above 0: in time).",
    )
    _say(console, f"By counting. {conditions(link)} {cautions.SHORT}", "dim")


# -- code words --------------------------------------------------------------------


def _show_words(found: WordAnswer) -> None:
    file, console = found.file, _console()
    name = printable(file.name)
    if found.verdict is Verdict.HOLDS:
        _say(
            console,
            f"holds: every message of words of '{name}', sent back to back, can be read in one "
            "way only.",
        )
    elif found.ambiguity is not None:
        _say(console, f"fails: a message of words of '{name}' can be read in two ways.")
        _show_ambiguity(console, found)
    for fault in found.faults if found.ambiguity is None else found.faults[:-1]:
        _say(console, f"fails: {fault.why}.")
    _show_lengths(console, found)
    if found.delay is not None:
        _say(console, _delay_sentence(found))
    if found.kraft_sum is not None:
        over = " Above 1: no such words can be read in one way." if found.kraft_sum > 1 else ""
        _say(console, f"Kraft sum {found.kraft_sum}.{over}")
    _say(
        console,
        f"By the suffixes that one reading can be ahead of another ({found.suffixes} of them; "
        f"Sardinas & Patterson 1953), for messages of any length. {cautions.SHORT}",
        "dim",
    )


def _show_ambiguity(console: Console, found: WordAnswer) -> None:
    ambiguity, file = found.ambiguity, found.file
    if ambiguity is None:
        return
    _say(console, f"The shortest: {_message(found, ambiguity.symbols)}")
    for label, reading in (("is", ambiguity.first), ("and", ambiguity.second)):
        _item(console, f"{label}: {' + '.join(_word_name(file, i) for i in reading)}")
    if len(ambiguity.first) == len(ambiguity.second) == 1:
        _item(console, found.faults[-1].why)


def _word_name(file: WordFile, index: int) -> str:
    """A word of symbols without a name of its own goes by its symbols."""
    word = file.words[index]
    if isinstance(word, str) and file.names[index] == str(index + 1):
        return printable(word)
    return f"'{printable(file.names[index])}'"


def _show_lengths(console: Console, found: WordAnswer) -> None:
    if not found.lengths:
        return
    table = _table("ticks", "shorter", "longer", "slack", "rate error below", "told apart")
    for pair in found.lengths[:MOST]:
        table.add_row(
            f"of {pair.kind}s",
            str(pair.shorter),
            str(pair.longer),
            str(pair.slack),
            _rational(pair.rate_below),
            "yes" if pair.slack > 0 else "no",
        )
    console.print(table)
    _more(console, len(found.lengths))


def _delay_sentence(found: WordAnswer) -> str:
    delay = found.delay
    if delay is None:
        return ""
    if delay.symbols is None:
        before, again = _message(found, delay.before), _message(found, delay.again)
        return (
            f"The delay of decisions is unbounded: a message that begins {before} and goes on "
            f"{again}, over and over, stays open for as long as it goes on."
        )
    if found.prefix_free:
        return "No word begins another: every word is certain when it ends."
    plural = "" if delay.symbols == 1 else "s"
    return f"Every word is certain {delay.symbols} symbol{plural} after its end at the latest."


def _message(found: WordAnswer, symbols: Sequence[Any]) -> str:
    if not found.file.timed:
        return printable("".join(symbols))
    return " ".join(f"{kind} {ticks}" for kind, ticks in symbols)


# -- pieces ------------------------------------------------------------------------


def _verdict(
    console: Console,
    verdict: Verdict,
    holds: str,
    faults: Sequence[Fault],
    undecided: Sequence[str],
    link: Link,
) -> None:
    if verdict is Verdict.HOLDS:
        _say(console, holds)
    elif verdict is Verdict.UNDECIDED:
        for why in undecided:
            _say(console, f"undecided: {why}; ask `fewwire check`.")
    else:
        number = len(faults)
        thing = "thing is" if number == 1 else "things are"
        _say(console, f"fails: {number} {thing} wrong with the table of '{printable(link.name)}'.")
        for fault in faults[:MOST]:
            names = "" if fault.named else ", ".join(_name(link, i) for i in fault.entries)
            _item(console, printable(fault.why) + (f" ({names})" if names else ""))
        if number > MOST:
            _item(console, f"and {number - MOST} more; --json has all.")


def _show_trace(console: Console, link: Link, trace: Trace | None) -> None:
    if trace is None:
        return
    width = max(40, console.width)
    _say(console, "A run of the simulator that shows it:")
    finer, _ = measured(link, None, trace.script)
    drawn = picture(trace, finer, width, windows=None, ascii_only=_ascii_only())
    console.print(Text(drawn), soft_wrap=True)
    if parts := parts_sentence(link, trace.script):
        _say(console, parts)


def _item(console: Console, text: str) -> None:
    """A line of a list."""
    indented = fill(text, console.width, initial_indent="  ", subsequent_indent="    ")
    console.print(Text(indented), soft_wrap=True)


def _more(console: Console, rows: int) -> None:
    if rows > MOST:
        _say(console, f"and {rows - MOST} more; --json has all.")


def _name(link: Link, index: int) -> str:
    return f"'{printable(link.names[index])}'"


def _pair(link: Link, i: int, j: int) -> str:
    return f"{_name(link, i)} and {_name(link, j)}"


def _lines(width: int) -> str:
    return "1 line" if width == 1 else f"{width} lines"


def _ticks(ticks: Fraction, link: Link) -> str:
    if ticks.denominator == 1 and ticks >= 0:
        return ticks_text(int(ticks), link.tick)
    return f"{ticks} ticks"


def _rational(number: Fraction) -> str:
    return str(number) if number == 0 else f"{number} ({decimal_text(100 * number, 4)} %)"
