"""Answers as people read them in a terminal: a sentence, then what it rests on."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import fields

from rich.console import Console
from rich.live import Live
from rich.table import Table
from rich.text import Text

from verify.engines.answer import Progress, Verdict
from verify.engines.trace import Trace
from verify.parts.link import Link
from verify.questions.judging import Judgement, Subject
from verify.questions.latency import Latencies
from verify.questions.margin import Margin, Side
from verify.questions.pairs import Pairs
from verify.questions.spacing import Spacing
from verify.reports import cautions
from verify.reports.as_json import rate_hz
from verify.reports.console import error_console
from verify.reports.console import output_console as _console
from verify.reports.console import say as _say
from verify.reports.finer import error_text, measured, run_notes
from verify.reports.inside import inside_rows
from verify.reports.names import printable
from verify.reports.picture import picture
from verify.units import Ticks, duration_text, rate_text, ticks_text

# A matrix or list longer than this is for --json.
MOST_ROWS = 64
# Columns of schemes that are numbers, not times.
PLAIN = ("line", "code", "slot")


@contextmanager
def live(progress: Progress) -> Iterator[None]:
    """Show a search's progress on stderr while it runs, and leave no line behind."""
    console = error_console()
    with Live(
        get_renderable=lambda: Text(str(progress), style="dim"),
        console=console,
        transient=True,
        refresh_per_second=4,
    ):
        yield


def show_check(subject: Subject, judged: Judgement, *, inside: bool = False) -> None:
    """The verdict in a sentence, the trace if there is one, and the conditions.

    ``inside``: the picture has rows of the machines, too.
    """
    link, console = subject.link, _console()
    _say(console, check_sentence(link, judged))
    if judged.trace is not None:
        _show_trace(console, subject, judged.trace, inside=inside)
    _say(console, f"By the {judged.engine}: {judged.covered}. {conditions(link)}", "dim")
    _say(console, cautions.SHORT, "dim")


def show_spacing(subject: Subject, found: Spacing, pairs: Pairs | None) -> None:
    """The least safe spacing, the trace one tick below, and the matrix if asked for."""
    link, console = subject.link, _console()
    _say(console, spacing_sentence(link, found))
    if found.trace_below is not None and found.verdict is not Verdict.UNDECIDED:
        if found.ticks is not None:
            _say(console, f"One tick less, {ticks_text(found.ticks - 1, link.tick)}, fails:")
        _show_trace(console, subject, found.trace_below)
    if pairs is not None:
        _show_pairs(console, link, pairs)
    _say(
        console,
        f"By the {found.engine}: {found.covered}. {conditions(link, spacing=False)}",
        "dim",
    )
    caution = (
        cautions.flashing(rate_hz(found.ticks, link.tick)) if found.ticks is not None else None
    )
    _say(console, " ".join(filter(None, [caution, cautions.SHORT])), "dim")


def show_latency(subject: Subject, found: Latencies, traces: bool) -> None:
    """A row per input, best and worst over all, and the runs that show them if asked for."""
    link, console = subject.link, _console()
    table = _table("input", "best", "worst", "spread")
    for row in found.inputs[:MOST_ROWS]:
        spread = None if row.best is None or row.worst is None else row.worst - row.best
        cells = [_time(t, link) for t in (row.best, row.worst, spread)]
        table.add_row(Text(printable(row.name)), *cells)
    console.print(table)
    _left_out(console, len(found.inputs))
    best, worst = _time(found.best, link), _time(found.worst, link)
    _say(console, f"Over all inputs: best {best}, worst {worst}.")
    if found.verdict is Verdict.FAILS:
        _say(
            console,
            "The link fails at this operator; these are the latencies of what still comes out "
            "right. Ask `fewwire check` for the failure, `fewwire spacing` for what is safe.",
        )
    elif not found.exact:
        _say(console, "undecided: the search was not complete; there may be wider extremes.")
    if traces:
        for row in found.inputs[:MOST_ROWS]:
            for label, trace in (("best", row.best_trace), ("worst", row.worst_trace)):
                if trace is not None:
                    _say(console, f"\n{label} of '{printable(row.name)}':")
                    _show_trace(console, subject, trace)
    _say(console, f"By the {found.engine}: {found.covered}. {conditions(link)}", "dim")


def show_margin(subject: Subject, found: Margin) -> None:
    """Each side in a sentence, with the trace just past it."""
    link, console = subject.link, _console()
    for name, side in (("less", found.least), ("more", found.most)):
        if side is None:
            continue
        _say(console, side_sentence(link, found.of, side, "-" if name == "less" else ""))
        if side.trace_beyond is not None:
            _say(console, "Beyond it:")
            failing = subject if side.beyond is None else Subject(side.beyond)
            _show_trace(console, failing, side.trace_beyond)
        _say(console, f"By the {side.engine}: {side.covered}.", "dim")
    _say(console, f"{conditions(link)} {cautions.SHORT}", "dim")


def show_link(subject: Subject) -> None:
    """What was understood of a link file: settings, then the table with its delays."""
    link, console = subject.link, _console()
    facts = Table(title=Text(printable(link.name), style="bold"), show_header=False, box=None)
    facts.add_column(style="dim")
    facts.add_column()
    for key, value in link_settings(link).items():
        facts.add_row(key, Text(value))
    console.print(facts)

    headers, rows = input_rows(subject)
    table = _table(*headers)
    for row in rows:
        table.add_row(*map(Text, row))
    console.print(table)
    _left_out(console, link.inputs)
    _say(console, f"{cautions.MODEL} {cautions.WIRING}", "dim")


def link_settings(link: Link) -> dict[str, str]:
    """What was understood of a link file, in words."""
    operator = link.operator
    settings = {
        "tick": duration_text(link.tick),
        "inputs": f"{link.inputs}, {link.kind}",
        "scheme": f"{link.scheme_name}, {_count(link.scheme.lines, 'line')}",
        **{
            key: value if isinstance(value, str) else ticks_text(value, link.tick)
            for key, value in link.scheme.settings().items()
        },
        "line delay": _span(link.delay, link),
        "branches": ", ".join(f"+{ticks_text(extra, link.tick)}" for extra in link.branches),
        "spacing": ticks_text(operator.spacing, link.tick)
        + (", or in the same tick" if operator.together else ""),
        "repeat": ticks_text(operator.repeat, link.tick),
        **_faults(link),
    }
    if link.kind == "press" or operator.overlap is not None:
        settings["overlap"] = "any number" if operator.overlap is None else str(operator.overlap)
    if link.may_miss:
        settings["outputs"] = "may miss: one that stays off is no failure"
    if link.kind == "press":
        settings |= {
            "hold": _span(operator.hold, link),
            "within": "as a lone press takes" if link.within is None else _span(link.within, link),
        }
    return settings


def input_rows(subject: Subject) -> tuple[list[str], list[list[str]]]:
    """Headers and a row per input, of the first that there is room for: what tells it from the
    others, and how long a lone press takes."""
    link = subject.link
    columns = link.scheme.per_input()
    many = len(link.branches) > 1
    delays = [f"delay, branch {b + 1}" if many else "delay" for b in range(len(link.branches))]
    rows = []
    for i, name in enumerate(link.names[:MOST_ROWS]):
        cells = [_own(column, values[i], link) for column, values in columns.items()]
        cells += [_lone(subject, i, b) for b in range(len(link.branches))]
        rows.append([printable(name), *cells])
    return ["input", *columns, *delays], rows


def conditions(link: Link, *, spacing: bool = True) -> str:
    """Operator and disturbances under which an answer was given, in words."""
    operator = link.operator
    said = []
    if spacing:
        same = ", or in the same tick" if operator.together else ""
        apart = ticks_text(operator.spacing, link.tick)
        said.append(f"{_changes(link)} at least {apart} apart{same}")
    elif operator.together:
        said.append(f"{_changes(link)} in the same tick count as one")
    if operator.repeat:
        said.append(f"the same input after {ticks_text(operator.repeat, link.tick)}")
    if link.kind == "press":
        said.append(f"held {_span(operator.hold, link)}")
    if operator.overlap is not None:
        held = "held" if link.kind == "press" else "up"
        said.append(f"at most {operator.overlap} {held} at once")
    said.append(f"line delay {_span(link.delay, link)}")
    if len(link.branches) > 1:
        said.append(f"{len(link.branches)} branches")
    said += [f"{key} {words}" for key, words in _faults(link).items()]
    return f"Conditions: {', '.join(said)}."


def check_sentence(link: Link, judged: Judgement) -> str:
    """The verdict on a link in a sentence."""
    name = printable(link.name)
    if judged.verdict is Verdict.HOLDS:
        if link.may_miss:
            strikes, misses = (
                ("output of '{}' comes on without its press", "a press may be lost")
                if link.kind == "press"
                else ("output of '{}' is on without its lever", "one may stay off")
            )
            of_what = "press sequences" if link.kind == "press" else "sequences of moves"
            return f"holds: no {strikes.format(name)}, though {misses}, in {of_what} of any length."
        if link.kind == "press":
            return (
                f"holds: every press of '{name}' comes out at its own output in time, and nothing "
                "else does, in press sequences of any length."
            )
        return (
            f"holds: every output of '{name}' follows its lever in time, and nothing else, "
            "in sequences of moves of any length."
        )
    if judged.trace is None:
        return "undecided: no failure found, and no proof that there is none."
    changes = len(judged.trace.script.presses)
    noun = _change(link) if changes == 1 else _changes(link)
    return f"fails: {changes} {noun} break{'s' * (changes == 1)} '{name}'."


def spacing_sentence(link: Link, found: Spacing) -> str:
    """The least safe spacing in a sentence."""
    if found.ticks is not None:
        return _spacing_sentence(found.ticks, link)
    if found.verdict is Verdict.FAILS and found.trace_below is not None:
        alone = len(found.trace_below.script.presses) == 1
        who = f"a {_change(link)} goes" if alone else f"{_changes(link)} of one tick go"
        return f"fails: no spacing is safe; {who} wrong by {'itself' if alone else 'themselves'}."
    return f"undecided: {found.covered}."


def side_sentence(link: Link, of: str, side: Side, sign: str) -> str:
    """One side of a margin in a sentence; ``sign``: "-" for the side below zero."""
    if side.amount is None:
        return f"{side.verdict.value}: the link as it is, without {of}."
    amount = ticks_text(side.amount, link.tick)
    word = "holds" if side.verdict is Verdict.HOLDS else "undecided; holds at least"
    return f"{word} up to {of} of {sign}{amount}."


# -- pieces -----------------------------------------------------------------------


def _ascii_only() -> bool:
    encoding = sys.stdout.encoding or "ascii"
    return "utf" not in encoding.lower()


def _show_trace(console: Console, subject: Subject, trace: Trace, *, inside: bool = False) -> None:
    width = max(40, console.width)
    # The windows are those of presses; a lever's output has no one moment at which it is due.
    windows = subject.windows if subject.link.kind == "press" else None
    link, windows = measured(subject.link, windows, trace.script)
    machines = inside_rows(trace, subject.link) if inside else ()
    drawn = picture(trace, link, width, windows=windows, ascii_only=_ascii_only(), inside=machines)
    console.print(Text(drawn), soft_wrap=True)
    if notes := run_notes(subject.link, trace):
        _say(console, notes)


def _spacing_sentence(ticks: int, link: Link) -> str:
    if ticks == 0:
        return f"holds at any spacing: even {_changes(link)} in the same tick come out right."
    rate = rate_text(1 / (ticks * link.tick))
    return (
        f"holds at a spacing of {ticks_text(ticks, link.tick)} and above: "
        f"up to {rate}, sequences of any length."
    )


def _show_pairs(console: Console, link: Link, pairs: Pairs) -> None:
    table = _table("after \\ next", *(printable(n) for n in link.names[:MOST_ROWS]))
    for name, row in zip(link.names[:MOST_ROWS], pairs.ticks, strict=False):
        table.add_row(Text(printable(name)), *(str(t) for t in row[:MOST_ROWS]))
    _say(console, f"\nLeast ticks from a {_change(link)} (row) to any later one (column):")
    console.print(table)
    _left_out(console, link.inputs)
    proof = {
        Verdict.HOLDS: "Every sequence that keeps this table comes out right",
        Verdict.FAILS: "The table as a whole fails",
        Verdict.UNDECIDED: "Each two presses that keep this table come out right; more, undecided",
    }[pairs.verdict]
    _say(console, f"{proof} ({pairs.engine}: {pairs.covered}).")
    for i, j, alone in pairs.raised:
        _say(
            console,
            f"'{printable(link.names[i])}' to '{printable(link.names[j])}' was raised from {alone} "
            f"to {pairs.ticks[i][j]}: three or more presses meet.",
        )


def _table(*headers: str) -> Table:
    table = Table()
    for k, header in enumerate(headers):
        table.add_column(Text(header), justify="left" if k == 0 else "right")
    return table


def _left_out(console: Console, rows: int) -> None:
    if rows > MOST_ROWS:
        _say(console, f"The first {MOST_ROWS} of {rows}; --json has all.")


def _time(ticks: Ticks | None, link: Link) -> str:
    return "never" if ticks is None else ticks_text(ticks, link.tick)


def _span(span: tuple[Ticks, Ticks], link: Link) -> str:
    least, most = span
    if least == most:
        return ticks_text(least, link.tick)
    return f"{ticks_text(least, link.tick)} to {ticks_text(most, link.tick)}"


def _faults(link: Link) -> dict[str, str]:
    """The disturbances that are on, in words."""
    clock = link.clock
    on_clock = {}
    if clock.rated:
        on_clock["clock rate"] = " to ".join(error_text(error) for error in clock.rate)
    if clock.wander:
        on_clock["clock wander"] = ticks_text(clock.wander, link.tick)
    if link.pause.most:
        often = "" if link.pause.times == 1 else f", up to {link.pause.times} times"
        longest = ticks_text(link.pause.most, link.tick)
        on_clock["a pause of the"] = f"{link.pause.end.words} of up to {longest}{often}"
    if link.any_start:
        on_clock["started in"] = "any state"
    return on_clock | {
        f"line {f.name}": ticks_text(getattr(link.faults, f.name), link.tick)
        for f in fields(link.faults)
        if getattr(link.faults, f.name)
    }


def _own(column: str, value: int, link: Link) -> str:
    return str(value) if column in PLAIN else ticks_text(value, link.tick)


def _lone(subject: Subject, index: int, branch: int) -> str:
    """Press to strike of a lone press, or that it never comes."""
    earliest, latest = subject.lone.earliest[index], subject.lone.latest[index]
    if earliest is None or latest is None:
        return "never"
    hidden, (least, most) = subject.link.hidden_delay(branch), subject.link.delay
    return _span((earliest + hidden, latest + hidden + most - least), subject.link)


def _change(link: Link) -> str:
    return "press" if link.kind == "press" else "move"


def _changes(link: Link) -> str:
    return "presses" if link.kind == "press" else "moves"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" + ("" if number == 1 else "s")
