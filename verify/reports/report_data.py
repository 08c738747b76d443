"""What a report says about a link, as words and figures: the same for page and Markdown.

Nothing is worked out here: every figure is an answer of ``verify/questions``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from verify.engines.answer import Verdict
from verify.parts.link import Link
from verify.questions.dossier import Dossier
from verify.questions.judging import Subject
from verify.questions.margin import Margin, Side
from verify.questions.pairs import Pairs
from verify.questions.rate_margin import RateMargin, RateSide
from verify.reports import cautions, rates
from verify.reports.as_json import rate_hz
from verify.reports.finer import error_text
from verify.reports.lifetimes import sure_text
from verify.reports.mode_graph import groups, mode_svg, told
from verify.reports.names import printable
from verify.reports.runs_data import Run, run_of
from verify.reports.terminal import (
    MOST_ROWS,
    check_sentence,
    conditions,
    input_rows,
    link_settings,
    side_sentence,
    spacing_sentence,
)
from verify.units import Ticks, duration_text, ticks_text

# Shades of the heat map, from none to the longest.
SHADES = 5
ZERO = Fraction(0)


@dataclass(frozen=True)
class Cell:
    """``shade``: 0 for none, up to ``SHADES`` for the longest of the matrix."""

    ticks: int
    time: str
    shade: int


@dataclass(frozen=True)
class Bar:
    """A latency from best to worst; ``left``, ``width``: of the worst of all, in percent."""

    name: str
    best: str
    worst: str
    spread: str
    left: float
    width: float


@dataclass(frozen=True)
class MarginRow:
    """One disturbance; ``verdict``: that of the worse side; ``bears``: how much of it, in short;
    ``runs``: keys of runs past it."""

    of: str
    verdict: str
    bears: str
    sentences: tuple[str, ...]
    by: str
    runs: tuple[str, ...]


@dataclass(frozen=True)
class Machine:
    """A machine's graph for those who read: from, to, and what it means."""

    title: str
    edges: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True)
class Report:
    """All of it, in the order in which it is told. ``noun``: what inputs do, one of it."""

    name: str
    noun: str
    question: str
    verdict: str
    sentence: str
    conditions: str
    by: str
    settings: tuple[tuple[str, str], ...]
    input_headers: tuple[str, ...]
    input_rows: tuple[tuple[str, ...], ...]
    left_out: str
    spacing: str
    spacing_by: str
    matrix_names: tuple[str, ...]
    matrix: tuple[tuple[Cell, ...], ...]
    matrix_words: tuple[str, ...]
    bars: tuple[Bar, ...]
    latency: tuple[str, ...]
    margins_at: str
    margins: tuple[MarginRow, ...]
    runs: tuple[Run, ...]
    modes_svg: str
    machines: tuple[Machine, ...]
    cautions: tuple[str, ...]

    @property
    def nouns(self) -> str:
        """More than one of it."""
        return {"press": "presses", "move": "moves"}[self.noun]

    @property
    def sentence_rest(self) -> str:
        """The verdict's sentence without its first word, which is the verdict."""
        rest = self.sentence.removeprefix(f"{self.verdict}: ")
        return _capital(rest)


def report_data(found: Dossier) -> Report:
    """Words and figures of all answers."""
    subject, link = found.subject, found.subject.link
    runs = _Runs()
    runs.of_check(found)
    margins = tuple(_margin(found.at, answer, runs) for answer in found.margins)
    runs.of_latency(found)
    headers, rows = input_rows(subject)
    names, matrix = _matrix(link, found.pairs)
    return Report(
        name=printable(link.name),
        noun=_noun(link),
        question=_question(link),
        verdict=found.check.verdict.value,
        sentence=check_sentence(link, found.check),
        conditions=conditions(link),
        by=_by(found.check.engine, found.check.covered, found.check.verdict),
        settings=tuple((key, printable(text)) for key, text in link_settings(link).items()),
        input_headers=tuple(headers),
        input_rows=tuple(map(tuple, rows)),
        left_out=f"The first {MOST_ROWS} of {link.inputs}." if link.inputs > MOST_ROWS else "",
        spacing=_spacing(found),
        spacing_by=_by(found.spacing.engine, found.spacing.covered, found.spacing.verdict),
        matrix_names=names,
        matrix=matrix,
        matrix_words=tuple(_matrix_words(link, found.pairs)),
        bars=tuple(_bars(found)),
        latency=tuple(_latency(found)),
        margins_at=_margins_at(found),
        margins=margins,
        runs=tuple(runs.found),
        modes_svg=mode_svg(link, ["receiver"]),
        machines=tuple(_machines(link)),
        cautions=_cautions(found),
    )


def _question(link: Link) -> str:
    if link.kind == "press":
        return "Does every press come out at its own output, in time, and nothing else?"
    return "Does every output follow its own lever, in time, and nothing else?"


def _by(engine: str, covered: str, verdict: Verdict) -> str:
    """What is open was cut short by time, so how far it got would differ from day to day."""
    if verdict is Verdict.UNDECIDED:
        return f"By the {engine}, as far as the time allowed."
    return f"By the {engine}: {covered}."


def _noun(link: Link) -> str:
    return "press" if link.kind == "press" else "move"


# -- spacing --------------------------------------------------------------------


def _spacing(found: Dossier) -> str:
    if found.spacing.verdict is Verdict.UNDECIDED:
        return "Undecided: no least spacing was proved in the time that there was."
    return _capital(spacing_sentence(found.subject.link, found.spacing))


def _matrix(
    link: Link, pairs: Pairs | None
) -> tuple[tuple[str, ...], tuple[tuple[Cell, ...], ...]]:
    if pairs is None:
        return (), ()
    names = tuple(map(printable, link.names[:MOST_ROWS]))
    longest = max(max(row) for row in pairs.ticks)

    def cell(ticks: int) -> Cell:
        shade = -(-SHADES * ticks // longest) if longest else 0
        return Cell(ticks, duration_text(ticks * link.tick), shade)

    return names, tuple(tuple(map(cell, row[:MOST_ROWS])) for row in pairs.ticks[:MOST_ROWS])


def _matrix_words(link: Link, pairs: Pairs | None) -> Iterator[str]:
    if pairs is None:
        return
    every = "presses" if link.kind == "press" else "moves"
    yield {
        Verdict.HOLDS: "Every sequence that keeps this table comes out right, of any length.",
        Verdict.FAILS: "The table as a whole fails.",
        Verdict.UNDECIDED: f"Each two {every} that keep this table come out right; for more it is "
        "undecided.",
    }[pairs.verdict]
    if link.inputs > MOST_ROWS:
        yield f"The first {MOST_ROWS} of {link.inputs} inputs."
    for i, j, alone in pairs.raised:
        yield (
            f"'{printable(link.names[i])}' to '{printable(link.names[j])}' was raised from {alone} "
            f"to {pairs.ticks[i][j]}: three or more {every} meet."
        )


# -- latency --------------------------------------------------------------------


def _bars(found: Dossier) -> Iterator[Bar]:
    answer, tick = found.latency, found.at.tick
    if answer is None or not answer.worst:
        return
    most = Fraction(answer.worst)
    for row in answer.inputs[:MOST_ROWS]:
        if row.best is None or row.worst is None:
            yield Bar(printable(row.name), "never", "never", "-", 0, 0)
            continue
        left, right = (float(round(100 * Fraction(t) / most, 2)) for t in (row.best, row.worst))
        texts = (ticks_text(t, tick) for t in (row.best, row.worst, row.worst - row.best))
        best, worst, spread = texts
        yield Bar(printable(row.name), best, worst, spread, left, round(right - left, 2))


def _latency(found: Dossier) -> Iterator[str]:
    answer, link = found.latency, found.at
    if answer is None:
        yield "The two ends drift apart, so in the end no latency is right."
        if found.lifetime is not None and found.lifetime.ticks:
            lasts = sure_text(found.lifetime.ticks * link.tick)
            yield f"The link is sure to stay right for {lasts} after power-up."
        return
    if answer.best is not None and answer.worst is not None:
        best, worst = ticks_text(answer.best, link.tick), ticks_text(answer.worst, link.tick)
        yield f"From {_noun(link)} to output, over all inputs: best {best}, worst {worst}."
    if answer.verdict is Verdict.FAILS:
        yield "The link fails here; these are the latencies of what still comes out right."
    elif not answer.exact:
        yield "undecided: the search was not complete; there may be wider extremes."
    if found.at is not found.subject.link:
        yield _at_least_spacing(found.at)


def _at_least_spacing(at: Link) -> str:
    return f"At the least safe spacing, {ticks_text(at.operator.spacing, at.tick)}."


# -- margins --------------------------------------------------------------------


def _margins_at(found: Dossier) -> str:
    if found.unasked:
        return f"Not asked: {found.unasked}."
    if found.at is not found.subject.link:
        return _at_least_spacing(found.at)
    return "Each disturbance by itself; all else as in the link file."


def _margin(link: Link, found: Margin | RateMargin, runs: _Runs) -> MarginRow:
    sides: list[tuple[Side | RateSide, str]] = []
    if found.least is not None:
        sides.append((found.least, "-"))
    sides.append((found.most, ""))
    verdicts = [side.verdict for side, _ in sides]
    worst = next((v for v in (Verdict.FAILS, Verdict.UNDECIDED) if v in verdicts), Verdict.HOLDS)
    sentences, keys = [], []
    for side, sign in sides:
        sentences.append(_capital(_side(link, found.of, side, sign)))
        key = runs.of_side(link, found.of, side, sign)
        if key is not None:
            keys.append(key)
    by = dict.fromkeys(_by(side.engine, side.covered, side.verdict) for side, _ in sides)
    bears = _bears(link, found) if worst is Verdict.HOLDS else worst.value
    return MarginRow(found.of, worst.value, bears, tuple(sentences), " ".join(by), tuple(keys))


def _bears(link: Link, found: Margin | RateMargin) -> str:
    """Where both sides hold: from where to where."""
    sides = [side for side in (found.least, found.most) if side is not None]
    amounts = [Fraction(side.amount or 0) for side in sides]
    more = " or more" if any(side.trace_beyond is None for side in sides) else ""
    if not any(amounts):
        return "none; more not asked" if more else "none"
    signed = [-amounts[0], amounts[1]] if len(amounts) > 1 else amounts
    if isinstance(found, RateMargin):
        texts = [error_text(amount) for amount in signed]
    else:
        texts = [ticks_text(int(amount), link.tick) for amount in signed]
    return " to ".join(texts) + more


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _side(link: Link, of: str, side: Side | RateSide, sign: str) -> str:
    if side.amount is None and side.verdict is Verdict.UNDECIDED:
        way = f" for clocks that are {'fast' if sign else 'slow'}" if of == "clock.rate" else ""
        return f"undecided{way} in the time that there was."
    if isinstance(side, Side):
        text = side_sentence(link, of, side, sign)
        if side.verdict is Verdict.HOLDS and side.trace_beyond is None:
            return text.removesuffix(".") + "; more was not looked at."
        return text
    text = rates.side_sentence(side, -1 if sign else 1, "fast" if sign else "slow")
    return text.rstrip(":.") + "."


# -- runs -----------------------------------------------------------------------


class _Runs:
    """The runs of a report, each once."""

    def __init__(self) -> None:
        self.found: list[Run] = []

    def _add(self, title: str, *rest: object) -> str:
        key = f"run-{len(self.found) + 1}"
        self.found.append(run_of(key, title, *rest))  # type: ignore[arg-type]
        return key

    def of_check(self, found: Dossier) -> None:
        """What breaks the link, and what breaks it a tick below its least spacing."""
        link, spacing = found.subject.link, found.spacing
        if found.check.trace is not None:
            self._add("What breaks the link", found.check.trace, link, found.subject.windows)
        below = spacing.trace_below
        if below is not None and (found.check.trace is None or spacing.ticks is not None):
            title, spaced = "What breaks it at any spacing", link.with_operator(spacing=0)
            if spacing.ticks is not None:
                at = ticks_text(spacing.ticks - 1, link.tick)
                title = f"One tick below the least safe spacing, {at}"
                spaced = link.with_operator(spacing=spacing.ticks - 1)
            self._add(title, below, spaced, found.subject.windows)

    def of_side(self, link: Link, of: str, side: Side | RateSide, sign: str) -> str | None:
        """What breaks the link just past a margin."""
        trace = side.trace_beyond
        if trace is None:
            return None
        if isinstance(side, Side):
            title = f"Just past the margin of {of}{', below zero' if sign else ''}"
            return self._add(title, trace, side.beyond or link, None)
        error = side.error_beyond
        if error is None:
            raise AssertionError("a run past a margin of rate without its error")
        error = -error if sign else error
        off = replace(link, clock=replace(link.clock, rate=(min(error, ZERO), max(error, ZERO))))
        title = f"Past the margin of {of}: off by {error_text(error)}"
        return self._add(title, trace, off, side.windows)

    def of_latency(self, found: Dossier) -> None:
        """A run in which all is well: the slowest."""
        if found.latency is None:
            return
        slow = [row for row in found.latency.inputs if row.worst_trace is not None]
        if slow:
            row = max(slow, key=lambda row: row.worst or 0)
            title = f"The slowest, '{printable(row.name)}': nothing is wrong"
            self._add(title, row.worst_trace, found.at, Subject(found.at).windows)


# -- modes, cautions ------------------------------------------------------------


def _machines(link: Link) -> Iterator[Machine]:
    for group in groups(link, ["receiver"]):
        modes = group.modes
        more = f", and {group.alike - 1} more like it" if group.alike > 1 else ""
        edges = (
            (modes.label(e.source), modes.label(e.target), told(e, link).line) for e in modes.edges
        )
        yield Machine(f"{printable(modes.machine.name)}{more}", tuple(edges))


def _cautions(found: Dossier) -> tuple[str, ...]:
    said = [cautions.MODEL, cautions.WIRING]
    spacing: Ticks | None = found.spacing.ticks
    if spacing is not None:
        said.append(cautions.flashing(rate_hz(int(spacing), found.subject.link.tick)) or "")
    return tuple(filter(None, said))


__all__ = ["Bar", "Cell", "Machine", "MarginRow", "Report", "report_data"]
