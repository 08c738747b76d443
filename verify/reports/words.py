"""The sentence about a run: what went wrong, in the order of cause and effect."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from verify.engines.trace import Failure, Press, Trace
from verify.parts.link import Link
from verify.parts.monitor import Windows
from verify.parts.pause import told as told_pause
from verify.parts.player import PLAYED
from verify.parts.signals import MISSED, Kind
from verify.questions.why import Why, why_missed, why_struck
from verify.reports.due import Due, due_strikes, expected_output, late_strike, missed_press
from verify.reports.finer import as_filed
from verify.reports.lever_words import moves_of, what_went_wrong
from verify.reports.names import (
    count_of_ticks,
    line_signals,
    listed,
    moment,
    on_branch,
    printable,
    quoted,
)
from verify.reports.why_words import MOST_TOLD, Teller
from verify.units import ticks_text

# Of samples a few more than of other things: one of them is that of the slot that matters.
MOST_SAMPLES = 6


def failure_sentence(trace: Trace, link: Link, windows: tuple[Windows, ...] | None = None) -> str:
    """One sentence: what led to a failure, what came of it, and when.

    ``windows``: one per branch, as ``Subject.windows``; with them it also says when a strike
    was due. Of a run in parts of a tick both are ``measured``. The machines run once more under
    observation to see who caused what. Of a trace without failure, the latencies.
    """
    if trace.failure is None:
        return _all_right(trace, link)
    telling = _Levers if link.kind == "level" else _Presses
    cause, effect = telling(trace, trace.failure, link, windows).told()
    before = "".join(f"{told}; " for told in _disturbed(trace, trace.failure, link))
    told = _joined(cause, effect, trace.failure, link)
    return f"{moment(trace.failure.tick, link)}: {before}{told}"


def _disturbed(trace: Trace, failure: Failure, link: Link) -> Iterator[str]:
    """What had disturbed the link till then: pauses, and lines that are later than others."""
    for line, ticks in [*_late_lines(trace)][:MOST_TOLD]:
        near, _ = line_signals(link, line, failure.branch)
        yield f"{near} brings every edge {count_of_ticks(ticks)} late"
    for choice in trace.script.picks:
        if choice.tick <= failure.tick and (stop := told_pause(choice)) is not None:
            length = count_of_ticks(stop[1] * trace.script.resolution)
            yield f"the {stop[0].value} stopped for {length} at tick {choice.tick}"


def _joined(cause: str, effect: str, failure: Failure, link: Link) -> str:
    """``read as 'c', so it struck``: what the receiver took it for is not named again."""
    name = quoted(link, link.names.index(failure.output))
    if cause.endswith(f"read as {name}") and effect.startswith(f"{name} "):
        return f"{cause}, so it{effect.removeprefix(name)}"
    return f"{cause}; so {effect}" if cause else effect


def _all_right(trace: Trace, link: Link) -> str:
    """The latencies of a run in which nothing went wrong."""
    found = sorted(trace.latencies, key=lambda d: (d.ticks, d.tick, d.input))
    if not found:
        return "nothing went wrong: no strike was missed and none came"
    acted, cause = ("struck", "press") if link.kind == "press" else ("followed", "move")
    told = [
        f"{quoted(link, link.outputs[d.input])} {acted}{on_branch(link, d.branch)} "
        f"{ticks_text(d.ticks, link.tick)} after its {cause} at tick {d.tick - d.ticks}"
        for d in ([found[0], found[-1]] if found[0].ticks < found[-1].ticks else [found[-1]])
    ]
    if len(told) == 1:
        others = ", and so did the others" if len(found) > 1 else ""
        return f"nothing went wrong: {told[0]}{others}"
    return f"nothing went wrong: soonest {told[0]}, latest {told[1]}"


class _Telling:
    """What led to a failure, and what came of it."""

    def __init__(
        self, trace: Trace, failure: Failure, link: Link, windows: tuple[Windows, ...] | None
    ) -> None:
        self.trace, self.failure, self.link = trace, failure, link
        self.filed = as_filed(link, trace.script)
        self.windows = windows
        self.presses = sorted(p for p in trace.script.presses if p.tick <= failure.tick)
        self.output = link.names.index(failure.output)
        self.teller = Teller(link, failure.branch, self.travel)
        # An end that was played has no machines to look into.
        self.foreign = any(pick.name == PLAYED.name for pick in trace.script.picks)

    @property
    def travel(self) -> int:
        """Ticks that the line takes to the end where it went wrong."""
        return self.trace.script.delay + self.link.branches[self.failure.branch]

    def struck(self, tick: int) -> str:
        """Why the output acted at a tick."""
        why = why_struck(self.filed, self.trace.script, self.failure.branch, self.output, tick)
        return self.teller.cause(why) or self.before()

    def missed(self, press: Press, due: tuple[int, int]) -> str:
        """Why a press brought nothing in the ticks ``due``."""
        if self.foreign:
            return self.before()
        branch, output = self.failure.branch, self.link.outputs[press.input]
        why = why_missed(self.filed, self.trace, press, branch, output, due)
        if why.alone:
            return self.alone(press, why)
        return self.teller.cause(why) or self.before()

    def alone(self, press: Press, why: Why) -> str:
        """The press fails by itself."""
        whose = self.teller.press(press)
        if why.sent and not why.rises:
            line, gone = self.teller.line(why.sent[0][0], far=False), self.let_go(press)
            ticks = [tick for _, tick in why.sent]
            return f"{line} rose {_at_ticks(ticks)} for {whose}{gone}, but that did not arrive"
        lines = dict.fromkeys(line for line, _ in why.rises)
        told = [
            f"{self.teller.line(line)} rose {_at_ticks([t for k, t in why.rises if k == line])} "
            "for it"
            for line in lines
        ] or [
            "no line rose for it" if self.link.scheme.lines > 1 else "the line did not rise for it"
        ]
        if why.left_in is not None:
            told.append(f"the receiver was {why.left_in.word} at tick {self.failure.tick}")
        if why.samples:
            told.append(f"the receiver looked {_samples(why.samples)}")
        told += [
            f"the transmitter's {n} was {k} at tick {self.failure.tick}" for n, k in why.places
        ]
        return (
            f"{whose}{self.let_go(press)} does not come through by then by itself: {listed(told)}"
        )

    def let_go(self, press: Press) -> str:
        """When the input was let go, if that was before it went wrong."""
        name = f"in.{self.link.names[press.input]}"
        gone = [
            e.tick
            for e in self.trace.events
            if e.signal == name and not e.value and press.tick < e.tick <= self.failure.tick
        ]
        return f" (let go at tick {gone[0]})" if gone and self.link.kind == "press" else ""

    def before(self) -> str:
        """The presses till then; all that can be said of machines that nobody sees into."""
        told = [f"{quoted(self.link, p.input)} at tick {p.tick}" for p in self.presses[-MOST_TOLD:]]
        word, words = self.teller.word, self.teller.words
        if len(self.presses) > MOST_TOLD:
            return f"{len(self.presses)} {words}, the last ones of {listed(told)}, went before"
        if not told:
            return f"nothing was {'pressed' if word == 'press' else 'moved'} before"
        return f"the {words if len(told) > 1 else word} of {listed(told)} went before"


def _late_lines(trace: Trace) -> Iterator[tuple[int, int]]:
    """Lines that are late with every edge in this run, and by how many ticks."""
    for name, ticks in trace.script.constants:
        if ticks and (found := re.fullmatch(r"line(\d+)\.late", name)):
            yield int(found[1]), ticks


def _samples(samples: Sequence[tuple[int, Sequence[tuple[str, int]]]]) -> str:
    """``at ticks 5 (slot 1) and 7 (slot 2)``."""
    told = [
        f"{tick} ({listed([f'{name} {value}' for name, value in places])})"
        for tick, places in samples[-MOST_SAMPLES:]
    ]
    many = f"{len(samples)} times, last " if len(samples) > MOST_SAMPLES else ""
    return f"{many}at tick{'s' * (len(told) > 1)} {listed(told)}"


def _at_ticks(ticks: Sequence[int]) -> str:
    told = [str(t) for t in ticks[-MOST_TOLD:]]
    many = f"{len(ticks)} times, last " if len(ticks) > MOST_TOLD else ""
    return f"{many}at tick{'s' * (len(told) > 1)} {listed(told)}"


class _Levers(_Telling):
    def told(self) -> tuple[str, str]:
        """Cause and effect."""
        lever = self.link.outputs.index(self.output)
        moves = [tick for tick in moves_of(self.trace, lever) if tick <= self.failure.tick]
        name = f"out.{self.failure.output}" + (
            f".{self.failure.branch + 1}" if len(self.link.branches) > 1 else ""
        )
        turned = [
            e.tick for e in self.trace.events if e.signal == name and e.tick <= self.failure.tick
        ]
        last = max(moves, default=-1)
        if turned and turned[-1] > last:
            cause = self.struck(turned[-1])
        elif moves:
            cause = self.missed(Press(last, lever), (last, self.failure.tick))
        else:
            cause = self.before()
        return cause, what_went_wrong(self.trace, self.failure, self.link)


class _Presses(_Telling):
    def __init__(
        self, trace: Trace, failure: Failure, link: Link, windows: tuple[Windows, ...] | None
    ) -> None:
        super().__init__(trace, failure, link, windows)
        branch = failure.branch
        self.came = {
            (d.input, d.tick - d.ticks): d.tick for d in trace.latencies if d.branch == branch
        }
        self.dues = due_strikes(trace, link, windows[branch], branch) if windows else None
        self.open = missed_press(trace, failure, link, self.dues)

    def told(self) -> tuple[str, str]:
        """Cause and effect."""
        failure, name = self.failure, printable(self.failure.output)
        branch = on_branch(self.link, failure.branch)
        if failure.kind == Kind.GHOST.label:
            return self.struck(failure.tick), f"'{name}' struck{branch}, though {self._why_not()}"
        if failure.kind == Kind.WRONG_OUTPUT.label:
            cause = "; ".join(filter(None, [self._off(), self.struck(failure.tick)]))
            return cause, f"'{name}' struck{branch}, where {self._wanted()}"
        if failure.kind in MISSED:
            return self._missing(), self._came_to_nothing(name, branch)
        return self.before(), (
            f"{failure.kind} at output '{name}'{branch}: "
            f"expected {printable(failure.expected)}, got {printable(failure.got)}"
        )

    def _off(self) -> str:
        """What was off for a press that is read as another, where that is all that was wrong."""
        due = next((d for d in self.dues or () if d.press == self.open), None)
        if due is None or self.foreign or len(self.presses) > 1:
            return ""
        branch, output = self.failure.branch, self.link.outputs[due.press.input]
        window = (due.earliest, due.latest)
        why = why_missed(self.filed, self.trace, due.press, branch, output, window)
        # Of lines that are late as a whole is told already.
        late = why.brought is not None and not any(_late_lines(self.trace))
        off = late or (why.kept is not None and why.kept.done is not None)
        return self.teller.cause(why) if off else ""

    def _missing(self) -> str:
        if self.open is None:
            return self.before()
        due = self._due_of_open()
        first = self.open.tick if due is None else due.earliest
        return self.missed(self.open, (first, self.failure.tick))

    def _came_to_nothing(self, name: str, branch: str) -> str:
        missed = f"'{name}' did not strike{branch}"
        if self.failure.kind == Kind.LATE.label:
            return f"{missed} in time, though {self._deadline()}; {self._how_late()}"
        if self.failure.kind == Kind.FRAMING.label:
            return f"{missed}, though {self._deadline()}: {self._dropped()}"
        return f"{missed}, though {self._deadline()}"

    def _presses_of(self, output: int | None) -> list[Press]:
        """The presses that operate an output."""
        return [p for p in self.presses if self.link.outputs[p.input] == output]

    # -- when it was due ----------------------------------------------------------

    def _why_not(self) -> str:
        mine = self._presses_of(self.output)
        if not mine:
            return "it was not pressed"
        early = [d for d in self.dues or () if d.press in mine and d.earliest > self.failure.tick]
        if early:
            return f"its press at tick {early[0].press.tick} is {_due(early[0], 'only ')}"
        before = [p for p in mine if (p.input, p.tick) in self.came]
        if before == mine:
            last = before[-1]
            struck = self.came[last.input, last.tick]
            return f"its press at tick {last.tick} had brought its strike at tick {struck} already"
        return "no press of it was due"

    def _wanted(self) -> str:
        output = expected_output(self.failure, self.link)
        if output is None:
            return f"{printable(self.failure.expected)} was due"
        since = "" if self.open is None else f", pressed at tick {self.open.tick}"
        return f"{quoted(self.link, output)}{since}, was due"

    def _due_of_open(self) -> Due | None:
        now = self.failure.tick
        return next((d for d in self.dues or () if d.press == self.open and d.latest == now), None)

    def _deadline(self) -> str:
        due = self._due_of_open()
        when = f"due by tick {self.failure.tick}" if due is None else _due(due)
        if self.open is None:
            return f"it was {when}"
        return f"its press at tick {self.open.tick} was {when}"

    def _how_late(self) -> str:
        struck = late_strike(self.failure)
        if struck is None:
            return f"it got {printable(self.failure.got)}"
        over = ticks_text(struck - self.failure.tick, self.link.tick)
        return f"it struck at tick {struck}, {over} too late"

    def _dropped(self) -> str:
        found = re.search(r"at tick (\d+)", self.failure.got)
        when = f" at tick {found[1]}" if found else ""
        reason = self.link.scheme.drops_when
        return f"a frame was dropped{when}" + (f", for {reason}" if reason else "")


def _due(due: Due, only: str = "") -> str:
    if due.earliest == due.latest:
        return f"due {only}at tick {due.latest}"
    return f"due {only}from tick {due.earliest} to tick {due.latest}"


__all__ = ["failure_sentence"]
