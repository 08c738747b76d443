"""From what a user asks for to a design: a link file, its proof, and what the engines say to it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import combinations

from verify.design.chords import best_chords
from verify.design.codes import CodeTable, fewest_lines
from verify.design.gaps import GapDemand, GapTable, best_gaps
from verify.design.pace import Pace, PaceDemand, fastest
from verify.design.proof import Effort, Proof
from verify.design.rulers import best_ruler
from verify.design.words import Demand
from verify.design.writing import LinkText, Value
from verify.engines import memory
from verify.engines.answer import Budget, OutOfTimeError, Verdict
from verify.engines.simulator import Simulator
from verify.engines.trace import Press, Script, Trace
from verify.errors import DisagreementError, LinkFileError
from verify.linkfile import parse
from verify.parts.link import Link
from verify.parts.signals import strike
from verify.questions.judging import Judgement, Subject, judge, shrunk
from verify.questions.spacing import least_spacing
from verify.units import decimal_text

_FILE = "the design"
_MOST_CHORDS = 2000
_MOST_CODES, _MOST_SKEWED = 64, 10  # inputs; more only where lines may change places


@dataclass(frozen=True)
class Design:
    """``link``: None where none was found, or there is none. ``sizes``: what the table comes to,
    ticks or numbers. ``notes``: what to know before building. ``spacing``: the least safe one,
    whose refutation one tick below ``below`` shows. ``chords``: so many were replayed.
    """

    scheme: str
    inputs: int
    proof: Proof
    link: LinkText | None = None
    sizes: dict[str, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    judged: Judgement | None = None
    below: Trace | None = None
    chords: int = 0

    @property
    def verdict(self) -> Verdict:
        """Holds: the file is proved; fails: there is no such design."""
        if self.link is None:
            return Verdict.FAILS if self.proof.impossible else Verdict.UNDECIDED
        return Verdict.UNDECIDED if self.judged is None else self.judged.verdict

    @property
    def optimal(self) -> bool:
        """A table was found, and anything better is refuted."""
        return self.link is not None and self.proof.optimal

    @property
    def text(self) -> str | None:
        """The link file."""
        return None if self.link is None else self.link.text(*_header(self))


def _header(design: Design) -> list[str]:
    proof = design.proof
    named = f"{design.scheme} for {design.inputs} inputs; {proof.what}: {proof.best}"
    how = "the least there is" if proof.optimal else f"no less than {proof.bound} can do"
    return [f"{named}, {how}. Written by `fewwire design`."]


def _subject(link: LinkText, budget: Budget | None = None) -> Subject:
    """Raises OutOfTimeError where clocks are off and the time does not do for lone presses."""
    return Subject(parse(link.text(), _FILE), budget=budget)


# -- pulse-gap ---------------------------------------------------------------------


def design_gaps(demand: GapDemand, tick: Fraction, effort: Effort) -> Design:
    """A table for sends that never overlap, with the spacing that keeps them apart."""
    table, proof = best_gaps(demand)
    return _gap_design(demand, tick, effort, table, proof, ())


def design_chords(demand: GapDemand, tick: Fraction, distinct: bool, effort: Effort) -> Design:
    """A table for inputs pressed in the same tick; ``distinct``: a ruler."""
    finder = best_ruler if distinct and demand.receiver == "taps" else best_chords
    table, proof = finder(demand, effort)
    notes = (
        "any inputs may be pressed in the same tick; from one such chord to the next there must "
        "be the spacing",
    )
    design = _gap_design(demand, tick, effort, table, proof, notes, together=True)
    if design.link is None or table is None:
        return replace(design, notes=())
    return replace(design, chords=_replay_chords(_subject(design.link), table))


def _replay_chords(subject: Subject, table: GapTable) -> int:
    """All pairs, which show every fault there is, and all inputs together."""
    together = subject.respaced(spacing=0)
    everyone = tuple(range(len(table.gaps)))
    chords = [*combinations(everyone, 2)][:_MOST_CHORDS]
    for chord in {*chords, everyone}:
        trace = together.replay(Script(tuple(Press(0, i) for i in chord), subject.link.delay[0]))
        if trace.failure is not None:
            raise DisagreementError(
                f"the table {table.gaps} was found to carry chords, and the simulator sees "
                f"inputs {[i + 1 for i in chord]} fail together; this is a bug in fewwire"
            )
    return len({*chords, everyone})


def _gap_design(
    demand: GapDemand,
    tick: Fraction,
    effort: Effort,
    table: GapTable | None,
    proof: Proof,
    notes: tuple[str, ...],
    *,
    together: bool = False,
) -> Design:
    if table is None:
        return Design("pulse-gap", demand.inputs, proof, notes=notes)
    link = _gap_link(demand, tick, table)
    if together:
        link = replace(link, operator={**link.operator, "together": True})
    if demand.rate and demand.jitter:
        design = Design("pulse-gap", demand.inputs, proof, link, _sizes(table), notes)
        return _rested(design, effort)
    return _spaced(Design("pulse-gap", demand.inputs, proof, link, _sizes(table), notes), effort)


_OPEN = (
    "the least safe spacing is left open (`fewwire spacing` may find it); with that of the file "
    "each press finds the line at rest"
)


def _rested(design: Design, effort: Effort, known: Subject | None = None) -> Design:
    """At a spacing at which each press finds the line at rest: closer ones take the solver too
    long. ``known``: the design's subject, if it is there already."""
    if design.link is None:
        raise AssertionError("nothing to space")
    budget = effort.for_check()
    try:
        subject = known or _subject(design.link, budget)
        apart = [subject.lone_of(part.link).apart for part in subject.parts]
        if None not in apart:
            subject = subject.respaced(spacing=max(a for a in apart if a is not None))
        judged = judge(subject, "auto", effort.progress, budget=budget)
    except OutOfTimeError:
        return replace(design, judged=_too_late())
    spacing = subject.link.operator.spacing
    return _agreed(
        replace(
            design,
            link=replace(design.link, operator={**design.link.operator, "spacing": spacing}),
            sizes={**design.sizes, "spacing_ticks": spacing},
            notes=(*design.notes, _OPEN),
            judged=judged,
        )
    )


def _sizes(table: GapTable) -> dict[str, int]:
    return {"longest_gap_ticks": table.gaps[-1], "sum_of_gaps_ticks": sum(table.gaps)}


def _gap_link(demand: GapDemand, tick: Fraction, table: GapTable) -> LinkText:
    rate: list[str] | int = 0
    if demand.rate:
        rate = [_percent(-demand.rate), _percent(demand.rate)]
    return LinkText(
        tick,
        demand.inputs,
        "pulse-gap",
        {
            "gaps": list(table.gaps),
            "pulse": demand.pulse,
            "window": _windows(table),
            "busy": "overlay",
            "receiver": demand.receiver,
        },
        {"jitter": demand.jitter},
        {"rate": rate},
        {"spacing": table.least_spacing},
    )


def _percent(rate: Fraction) -> str:
    return f"{decimal_text(100 * rate)} %"


def _windows(table: GapTable) -> Value:
    pairs = zip(table.gaps, table.windows, strict=True)
    sides = [[gap - first, last - gap] for gap, (first, last) in pairs]
    if any(side != sides[0] for side in sides):
        return sides
    before, after = sides[0]
    return before if before == after else [sides[0]]


def design_queue(demand: GapDemand, tick: Fraction, effort: Effort) -> Design:
    """Presses at any distance: none on an overlaid line; a queue with room for all, if a timer."""
    if demand.receiver == "taps":
        reason = (
            "no table lets taps survive presses at any distance, whatever a busy transmitter does: "
            "the first pulse of a press that comes a + c ticks after one of gap a is c after its "
            "second pulse, so it strikes the output of gap c, which was not pressed"
        )
        return Design("pulse-gap", demand.inputs, Proof("longest gap", None, None, (reason,)))
    table, proof = best_gaps(demand)
    overlay = (
        'on a line that a busy transmitter overlays (busy = "overlay") no table of any length '
        "survives presses at any distance: of two sends that overlap or touch, a timer can "
        "strike for one only, since every strike takes two rises that no other can use; so the "
        "presses wait in a queue"
    )
    proof = replace(proof, reasons=(overlay, *proof.reasons))
    if table is None:
        return Design("pulse-gap", demand.inputs, proof)
    sends = sum(gap + demand.pulse + 1 for gap in table.gaps)
    link = _gap_link(demand, tick, table)
    link = replace(
        link,
        link={**link.link, "busy": "queue", "depth": demand.inputs - 1},
        operator={"spacing": 0, "repeat": sends},
    )
    notes = (
        f"every input may be pressed whatever the others do, once in {sends} ticks, in which all "
        "can be sent; a press then waits for those before it",
    )
    sizes = {**_sizes(table), "repeat_ticks": sends, "spacing_ticks": 0}
    return _judged(Design("pulse-gap", demand.inputs, proof, link, sizes, notes), effort)


# -- parallel-code -----------------------------------------------------------------


def design_codes(
    inputs: int, demand: Demand, tick: Fraction, skew: int, most: int | None, effort: Effort
) -> Design:
    """The fewest lines; ``skew``: ticks that lines may differ by, for the file."""
    table, proof = fewest_lines(inputs, demand, effort, most)
    notes: tuple[str, ...] = ()
    if demand.held > 1:
        reading = "each" if demand.skew else demand.reading
        notes = (_HELD[reading].format(held=demand.held),)
    if table is None:
        return Design("parallel-code", inputs, proof, notes=notes)
    link = _code_link(demand, table, tick, skew, inputs)
    driven = sum(word.bit_count() for word in table.words)
    sizes = {"lines": table.lines, "driven_lines_in_all": driven}
    design = Design("parallel-code", inputs, proof, link, sizes, notes)
    many = demand.held == 1 and inputs > (_MOST_SKEWED if skew else _MOST_CODES)
    if many and _subject(link).link.scheme.closed() is None:
        note = f"not put before the engines: {inputs} inputs are more than they manage here"
        return replace(design, notes=(*design.notes, note))
    return _spaced(design, effort) if skew else _judged(design, effort)


def _code_link(
    demand: Demand, table: CodeTable, tick: Fraction, skew: int, inputs: int
) -> LinkText:
    """Keys, one at a time, or as many levers up as may be held."""
    link = LinkText(
        tick,
        inputs,
        "parallel-code",
        {"codes": _digits(table.words, table.lines), "lines": table.lines},
        {"skew": skew},
        {},
        {"spacing": 2 * skew + 1 if skew else 0, "hold": skew + 1, "overlap": 1},
    )
    if demand.held == 1:
        return link
    # Under skew a code is known by its own lines, whatever comes and goes on others.
    reads = "covered" if demand.skew else _READS[demand.reading]
    reading: dict[str, Value] = {"reads": reads} if reads != "exact" else {}
    if reads == "sets":
        reading["held"] = demand.held
    return replace(
        link,
        link={**link.link, **reading},
        operator={"spacing": skew + 1 if skew else 0, "overlap": demand.held},
        kind="level",
        outputs={"may_miss": True} if reads == "exact" else {},
    )


def _digits(words: tuple[int, ...], lines: int) -> list[str]:
    return [format(word, f"0{lines}b") for word in words]


_HELD = {
    "each": "with up to {held} inputs held, each held input has all its lines up and no other "
    "input has",
    "sets": "every set of up to {held} held inputs shows a pattern of its own",
    "no-ghosts": "with up to {held} inputs held, no input that is not held shows its code; inputs "
    "held together may hide one another",
}
_READS = {"each": "covered", "sets": "sets", "no-ghosts": "exact"}


# -- bit, sampling point, slot -------------------------------------------------------


def design_frames(
    inputs: int, tick: Fraction, jitter: int, rate: Fraction, stop: int, effort: Effort
) -> Design:
    """framed-serial: the least bit time, then the earliest sampling point, then the spacing."""
    width = max(1, (inputs - 1).bit_length())

    def link(bit: int, sample: int) -> LinkText:
        return LinkText(
            tick,
            inputs,
            "framed-serial",
            {"bit": bit, "sample": sample, "width": width, "stop": stop},
            {"jitter": jitter},
            {"rate": [_percent(-rate), _percent(rate)] if rate else 0},
            {"spacing": 2 * (width + 2 + stop) * bit + 2 * jitter},
        )

    asking = _Asking(link, effort)
    demand = PaceDemand("bit", asking, lambda bit: range(bit, 2 * bit))
    pace, proof = fastest(demand, effort)
    if pace is None:
        return Design("framed-serial", inputs, proof)
    sizes = {"bit_ticks": pace.period, "sample_ticks": pace.sample}
    design = Design("framed-serial", inputs, proof, link(pace.period, pace.sample), sizes)
    if jitter and rate:
        return _rested(design, effort, asking.held.get(pace))
    return _spaced(design, effort)


def design_scan(
    scheme: str, inputs: int, tick: Fraction, jitter: int, offset: int, effort: Effort
) -> Design:
    """free-scan or synced-scan: the least slot, then the earliest sampling point."""

    def link(slot: int, sample: int) -> LinkText:
        return LinkText(
            tick,
            inputs,
            scheme,
            {"slot": slot, "sample": sample},
            {"jitter": jitter},
            {"offset": offset},
        )

    demand = PaceDemand("slot", _Asking(link, effort), lambda slot: range(1, slot))
    pace, proof = fastest(demand, effort)
    if pace is None:
        return Design(scheme, inputs, proof)
    sizes = {
        "slot_ticks": pace.period,
        "sample_ticks": pace.sample,
        "frame_ticks": inputs * pace.period,
    }
    return _judged(Design(scheme, inputs, proof, link(pace.period, pace.sample), sizes), effort)


class _Asking:
    """Whether a link of this period and sampling point holds. ``held``: those that do."""

    def __init__(self, link: Callable[[int, int], LinkText], effort: Effort) -> None:
        self.link, self.effort = link, effort
        self.held: dict[Pace, Subject] = {}

    def __call__(self, period: int, sample: int) -> Verdict:
        pace, effort = Pace(period, sample), self.effort
        if pace in self.held:
            return Verdict.HOLDS
        text = self.link(period, sample)
        try:
            if _fails_on_time(parse(text.text(), _FILE), effort):
                return Verdict.FAILS
            subject = _subject(text, effort.budget)
        except LinkFileError:
            return Verdict.FAILS  # no such link can be: a receiver that has not yet begun
        except OutOfTimeError:
            return Verdict.UNDECIDED
        verdict = judge(subject, "auto", effort.progress, budget=effort.budget).verdict
        if verdict is Verdict.HOLDS:
            self.held[pace] = subject
        return verdict


def _fails_on_time(link: Link, effort: Effort) -> bool:
    """On a clock that is right, which the rate allows, a run fails whatever the windows are:
    not every input has as many strikes as presses. Much sooner told than lone presses at all
    rates."""
    if not link.clock.rated or link.kind != "press":
        return False
    right = replace(link, clock=replace(link.clock, rate=(Fraction(0), Fraction(0))))
    judged = judge(Subject(right), "auto", effort.progress, budget=effort.budget)
    if judged.trace is None:
        return False
    script = judged.trace.script
    pressed = Counter(link.outputs[press.input] for press in script.presses)
    struck = Counter(
        values[0]
        for moment in Simulator(right, 0, None).run(script)
        for signal, values in moment.occurrences
        if signal == strike(0)
    )
    return pressed != struck


# -- what the engines say ------------------------------------------------------------


def _too_late() -> Judgement:
    said = f"not every press alone: {memory.ran_out()}"
    return Judgement(Verdict.UNDECIDED, "solver", said)


def _judged(design: Design, effort: Effort) -> Design:
    if design.link is None:
        raise AssertionError("nothing to judge")
    budget = effort.for_check()
    try:
        judged = judge(_subject(design.link, budget), "auto", effort.progress, budget=budget)
    except OutOfTimeError:
        judged = _too_late()
    return _agreed(replace(design, judged=judged))


def _agreed(design: Design) -> Design:
    """What was designed never fails; if it does, the reasoning is wrong."""
    if design.verdict is Verdict.FAILS and design.link is not None:
        raise DisagreementError(
            "the design fails where it was found to hold; this is a bug in fewwire, please report "
            f"it with this link file:\n{design.link.text()}"
        )
    return design


def _spaced(design: Design, effort: Effort) -> Design:
    """At the spacing reckoned, or else found by the engines; and failing one tick below."""
    if design.link is None:
        raise AssertionError("nothing to space")
    try:
        subject = _subject(design.link, effort.for_check())
    except OutOfTimeError:
        return replace(design, judged=_too_late())
    spacing = subject.link.operator.spacing
    if design.scheme in ("pulse-gap", "parallel-code"):
        judged = judge(subject, "auto", effort.progress, budget=effort.for_check())
        closer, codes = subject.respaced(spacing=spacing - 1), design.scheme == "parallel-code"
        below = judge(closer, "auto", effort.progress, budget=effort.for_check(), brief=codes)
        if below.verdict is not Verdict.HOLDS and judged.verdict is not Verdict.FAILS:
            sizes = {**design.sizes, "spacing_ticks": spacing}
            trace = below.trace
            if trace is not None and codes:
                trace = shrunk(closer, trace, effort.for_check())
            return replace(design, sizes=sizes, judged=judged, below=trace)
    found = least_spacing(subject, "auto", effort.progress, effort.for_check())
    if found.ticks is not None:
        spacing = found.ticks
    link = replace(design.link, operator={**design.link.operator, "spacing": spacing})
    sizes = {**design.sizes, "spacing_ticks": spacing}
    below_trace = found.trace_below if found.ticks is not None else None
    return _judged(replace(design, link=link, sizes=sizes, below=below_trace), effort)
