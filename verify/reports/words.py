"""What happened in a trace, in words: what went wrong and what led to it, and what was pressed."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from verify.engines.concrete import Compiled, State
from verify.engines.trace import Failure, Press, Trace
from verify.language.machine import System
from verify.parts import monitor, operator
from verify.parts.link import Link
from verify.parts.monitor import Windows
from verify.parts.operator import Operator
from verify.parts.pause import told as told_pause
from verify.parts.signals import MISSED, Kind
from verify.reports.lever_words import moves_of, what_went_wrong
from verify.units import duration_text, seconds, ticks_text

# Of a long list only the last few are told; the picture and the list of presses have them all.
MOST_TOLD = 3


@dataclass(frozen=True)
class Due:
    """A press and the ticks, first and last, in which its strike is due.

    ``delivered``: its strike has come in the trace.
    """

    press: Press
    earliest: int
    latest: int
    delivered: bool


def failure_sentence(trace: Trace, link: Link, windows: tuple[Windows, ...] | None = None) -> str:
    """One sentence: what came out wrong, when, and what led to it.

    ``windows``: one per branch, as ``Subject.windows``; with them it also says when a
    strike that came too early was due. Of a trace without failure, the latencies.
    """
    if trace.failure is None:
        return _all_right(trace, link)
    if link.kind == "level":
        told = what_went_wrong(trace, trace.failure, link)
        return f"{moment(trace.failure.tick, link)}: {told}"
    story = _Story(trace, trace.failure, link, windows)
    return f"{moment(trace.failure.tick, link)}: {'; '.join([story.what(), *story.causes()])}"


def script_lines(trace: Trace, link: Link) -> list[str]:
    """What the world did, a line each, in order: the line's delay if it has one, presses, releases.

    Example: ``tick 15 (750 ms): 'c' pressed``.
    """
    told = [(p.tick, 1, p.input) for p in trace.script.presses]
    if link.kind == "level":
        told = [
            (tick, 1 - n % 2, i)
            for i in range(link.inputs)
            for n, tick in enumerate(moves_of(trace, i))
        ]
    of_signal = {input_signal(link, i): i for i in range(link.inputs)}
    told += [
        (e.tick, 0, of_signal[e.signal])
        for e in trace.events
        if e.value == 0 and e.signal in of_signal and link.kind == "press"
    ]
    lines = []
    if trace.script.delay or link.delay[1]:
        lines.append(f"line delay in this run: {ticks_text(trace.script.delay, link.tick)}")
    if link.any_start and trace.script.constants:
        found = ", ".join(f"{name} {value}" for name, value in trace.script.constants)
        lines.append(f"found at power-up: {found}")
    done = []
    for tick, pressed, i in sorted(told):
        did = ("let go", "pressed")[pressed] if link.kind == "press" else ("down", "up")[pressed]
        done.append((tick, f"{moment(tick, link)}: {quoted(link, i)} {did}"))
    for choice in trace.script.picks:
        if (stop := told_pause(choice)) is not None:
            end, length = stop
            stopped = ticks_text(length * trace.script.resolution, link.tick)
            stands = f"the {end.value} stops for {stopped}"
            done.append((choice.tick, f"{moment(choice.tick, link)}: {stands}"))
    return lines + [line for _, line in sorted(done, key=lambda told: told[0])]


# -- names ----------------------------------------------------------------------


def printable(text: str) -> str:
    """The text on one line: unprintable characters and backslashes as escapes, so that
    different texts stay different."""
    text = text.replace("\\", "\\\\")
    if text.isprintable():
        return text
    return "".join(
        c if c.isprintable() else c.encode("unicode_escape", "backslashreplace").decode("ascii")
        for c in text
    )


def quoted(link: Link, index: int) -> str:
    """The name of an input and its output, in quotes."""
    return f"'{printable(link.names[index])}'"


def moment(tick: int, link: Link) -> str:
    """A tick and its time since the start: ``tick 15 (750 ms)``."""
    return f"tick {tick} ({duration_text(seconds(tick, link.tick))})"


def input_signal(link: Link, index: int) -> str:
    """The name that an input has in traces."""
    return f"in.{link.names[index]}"


def output_signal(link: Link, index: int, branch: int) -> str:
    """The name that an output of a branch has in traces."""
    return f"out.{link.names[index]}{branch_suffix(link, branch)}"


def branch_suffix(link: Link, branch: int) -> str:
    """What tells branches apart in names; nothing where there is only one."""
    return f".{branch + 1}" if len(link.branches) > 1 else ""


def line_signals(link: Link, line: int, branch: int) -> tuple[str, str]:
    """The names that the near and the far end of a line have in traces."""
    near = "line" if link.scheme.lines == 1 else f"line.{line + 1}"
    return near, f"{near}.far{branch_suffix(link, branch)}"


# -- when strikes were due ------------------------------------------------------


def due_strikes(trace: Trace, link: Link, windows: Windows, branch: int) -> list[Due]:
    """When the strike of each press was due on a branch, as the monitor itself counts it.

    The monitor runs alone, with the presses of the trace and no strikes.
    """
    match, judge = monitor.build(branch, windows, tuple(range(link.inputs)))
    # An operator that forbids nothing: the trace has been allowed already.
    anyone = operator.build(Operator(hold=(0, 0)), link.inputs, watches_release=False)
    compiled = Compiled(System((anyone, match, judge)))
    bank = compiled.where[match.memory[0]]
    came = {(d.input, d.tick - d.ticks) for d in trace.latencies if d.branch == branch}
    state, now = next(compiled.starts()), -1
    found = []
    for tick, pressed in _by_tick(trace.script.presses).items():
        state = _step_to(compiled, state, tick - now, pressed)
        now = tick
        for i in pressed:
            press = Press(tick, i)
            new = [e for e in state[bank] if e[1] == i and e[0] == e[2]]
            # A window that ends with the press itself has run out within the tick.
            left, width = (new[0][0], new[0][3]) if new else (0, 0)
            found.append(Due(press, tick + left - width, tick + left, (i, tick) in came))
    return found


def _by_tick(presses: Sequence[Press]) -> dict[int, list[int]]:
    grouped: dict[int, list[int]] = {}
    for press in sorted(set(presses)):
        grouped.setdefault(press.tick, []).append(press.input)
    return grouped


def _step_to(compiled: Compiled, state: State, passed: int, pressed: list[int]) -> State:
    """Let ticks pass, from event to event, then press."""
    while (event := compiled.next_event(state)) is not None and event < passed:
        result = compiled.step(state, event)
        assert result is not None  # nothing was offered
        state, passed = result[0], passed - event
    result = compiled.step(state, passed, pressed)
    assert result is not None  # the operator forbids nothing
    return result[0]


def late_strike(failure: Failure) -> int | None:
    """The tick of a strike that came too late, None if there is none."""
    found = re.search(r"at tick (\d+)", failure.got) if failure.kind == Kind.LATE.label else None
    return int(found[1]) if found else None


def expected_output(failure: Failure, link: Link) -> int | None:
    """The number of the output that should have struck in place of what was got."""
    if failure.kind in MISSED:
        return link.names.index(failure.output)
    if failure.kind == Kind.WRONG_OUTPUT.label:
        names = enumerate(link.names)
        return next((i for i, name in names if failure.expected == f"a strike of {name}"), None)
    return None


# -- sentences ------------------------------------------------------------------


def _all_right(trace: Trace, link: Link) -> str:
    """The latencies of a run in which nothing went wrong."""
    found = sorted(trace.latencies, key=lambda d: (d.ticks, d.tick, d.input))
    if not found:
        return "nothing went wrong: no strike was missed and none came"
    told = [
        f"{quoted(link, link.outputs[d.input])} struck{_on_branch(link, d.branch)} "
        f"{ticks_text(d.ticks, link.tick)} after its press at tick {d.tick - d.ticks}"
        for d in ([found[0], found[-1]] if found[0].ticks < found[-1].ticks else [found[-1]])
    ]
    if len(told) == 1:
        others = ", and so did the others" if len(found) > 1 else ""
        return f"nothing went wrong: {told[0]}{others}"
    return f"nothing went wrong: soonest {told[0]}, latest {told[1]}"


def _on_branch(link: Link, branch: int) -> str:
    return f" on branch {branch + 1}" if len(link.branches) > 1 else ""


def _listed(words: Sequence[str]) -> str:
    """One; one and two; one, two and three."""
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]])) if words else ""


def _at_ticks(ticks: Sequence[int]) -> str:
    told = [str(t) for t in ticks[-MOST_TOLD:]]
    more = f"{len(ticks)} times, last " if len(ticks) > MOST_TOLD else ""
    return f"{more}at {'tick' if len(ticks) == 1 else 'ticks'} {_listed(told)}"


class _Story:
    """What led to a failure, clause by clause."""

    def __init__(
        self, trace: Trace, failure: Failure, link: Link, windows: tuple[Windows, ...] | None
    ) -> None:
        self.trace, self.failure, self.link = trace, failure, link
        self.presses = sorted(p for p in trace.script.presses if p.tick <= failure.tick)
        branch = failure.branch
        self.came = {
            (d.input, d.tick - d.ticks): d.tick for d in trace.latencies if d.branch == branch
        }
        self.dues = due_strikes(trace, link, windows[branch], branch) if windows else None
        self.missed = self._missed()

    def what(self) -> str:
        """What came out wrong."""
        failure = self.failure
        name, branch = printable(failure.output), _on_branch(self.link, failure.branch)
        struck, missed = f"'{name}' struck{branch}", f"'{name}' did not strike{branch}"
        if failure.kind == Kind.GHOST.label:
            return f"{struck}, though {self._why_not_due()}"
        if failure.kind == Kind.WRONG_OUTPUT.label:
            return f"{struck}, where {self._wanted()}"
        if failure.kind == Kind.LOST.label:
            return f"{missed}, though {self._deadline()}"
        if failure.kind == Kind.LATE.label:
            return f"{missed} in time, though {self._deadline()}; {self._how_late()}"
        if failure.kind == Kind.FRAMING.label:
            return f"{missed}, though {self._deadline()}: {self._dropped()}"
        return (
            f"{failure.kind} at output '{name}'{branch}: "
            f"expected {printable(failure.expected)}, got {printable(failure.got)}"
        )

    def causes(self) -> list[str]:
        """What had happened before."""
        if self.missed is not None and self.failure.kind in MISSED:
            return [*self._neighbours(self.missed), *self._rises_since(self.missed)]
        edges, after = self._edges_now(), self._pressed_before()
        if edges and after:
            return [f"{_listed(edges)}, after {after}"]
        return edges or [f"this came after {after}" if after else "nothing was pressed before"]

    def _pressed_before(self) -> str:
        told = [f"{quoted(self.link, p.input)} at tick {p.tick}" for p in self.presses[-MOST_TOLD:]]
        if len(self.presses) > MOST_TOLD:
            return f"{len(self.presses)} presses, the last ones of {_listed(told)}"
        return f"the press{'es' if len(told) > 1 else ''} of {_listed(told)}" if told else ""

    def _presses_of(self, output: int | None) -> list[Press]:
        """The presses that operate an output."""
        return [p for p in self.presses if self.link.outputs[p.input] == output]

    def _missed(self) -> Press | None:
        """The press whose strike was expected and has not come."""
        output = expected_output(self.failure, self.link)
        open_presses = [p for p in self._presses_of(output) if (p.input, p.tick) not in self.came]
        if self.dues is not None:
            now = self.failure.tick
            in_window = {d.press for d in self.dues if d.earliest <= now <= d.latest}
            over = {d.press for d in self.dues if d.latest == now}
            better = over if self.failure.kind != Kind.WRONG_OUTPUT.label else in_window
            open_presses = [p for p in open_presses if p in better] or open_presses
        return open_presses[0] if open_presses else None

    # -- when it was due ----------------------------------------------------------

    def _why_not_due(self) -> str:
        output = self.link.names.index(self.failure.output)
        mine = self._presses_of(output)
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
        since = "" if self.missed is None else f", pressed at tick {self.missed.tick}"
        return f"{quoted(self.link, output)}{since}, was due"

    def _deadline(self) -> str:
        now = self.failure.tick
        due = next((d for d in self.dues or () if d.press == self.missed and d.latest == now), None)
        when = f"due by tick {now}" if due is None else _due(due)
        if self.missed is None:
            return f"it was {when}"
        return f"its press at tick {self.missed.tick} was {when}"

    def _how_late(self) -> str:
        struck = late_strike(self.failure)
        if struck is None:
            return f"it got {printable(self.failure.got)}"
        over = ticks_text(struck - self.failure.tick, self.link.tick)
        return f"it struck at tick {struck}, {over} too late"

    def _dropped(self) -> str:
        found = re.search(r"at tick (\d+)", self.failure.got)
        when = f" at tick {found[1]}" if found else ""
        return f"a frame was dropped{when}, for the line was not idle in the stop bit"

    # -- what happened around it --------------------------------------------------

    def _neighbours(self, press: Press) -> list[str]:
        """The presses before and after the one that came to nothing, and how far away."""
        told = []
        k = self.presses.index(press)
        if k > 0:
            before = self.presses[k - 1]
            gap = press.tick - before.tick
            how = f"{_ticks(gap)} after" if gap else "in the same tick as"
            told.append(f"it was pressed {how} {quoted(self.link, before.input)}")
        if k + 1 < len(self.presses):
            after = self.presses[k + 1]
            gap = after.tick - press.tick
            how = f"{_ticks(gap)} after it" if gap else "in the same tick"
            told.append(f"{quoted(self.link, after.input)} was pressed {how}")
        return told or ["nothing else was pressed"]

    def _ends(self) -> list[tuple[str, str]]:
        """Per line, the signal of its near end, and of the end that the receiver sees."""
        moving = {e.signal for e in self.trace.events}
        found = []
        for k in range(self.link.scheme.lines):
            near, far = line_signals(self.link, k, self.failure.branch)
            apart = far in moving or (self._travel and near in moving)
            found.append((near, far if apart else near))
        return found

    @property
    def _travel(self) -> int:
        """Ticks that the line takes to the end where it went wrong."""
        return self.trace.script.delay + self.link.branches[self.failure.branch]

    def _rises(self, signal: str) -> list[int]:
        return [e.tick for e in self.trace.events if e.signal == signal and e.value]

    def _rises_since(self, press: Press) -> list[str]:
        """What the line made of a press; of several lines the picture tells more than words."""
        if self.link.scheme.lines != 1:
            return []
        near, seen = self._ends()[0]
        told = []
        high_since = self._high_since(near, press.tick)
        if high_since is not None:
            told.append(f"when it was pressed, the line had been high since tick {high_since}")
        since = press.tick + (self._travel if seen != near else 0)
        ticks = [t for t in self._rises(seen) if t >= since]
        start = f"from tick {since} on, when its press could get there, "
        rose = f"rose {'only ' if len(ticks) == 1 else ''}{_at_ticks(ticks)}"
        told.append(
            f"{'from its press on, ' if seen == near else start}{_end_name(near, seen)} "
            f"{rose if ticks else 'did not rise'}"
        )
        return told

    def _high_since(self, signal: str, tick: int) -> int | None:
        """The tick of the rise, if the signal was high before ``tick`` and still is in it."""
        since = None
        for event in self.trace.events:
            if event.signal == signal and event.tick <= tick:
                since = event.tick if event.value else None
        return since if since is not None and since < tick else None

    def _edges_now(self) -> list[str]:
        """The lines that rose in the tick of the failure, and how long after they last had."""
        now = self.failure.tick
        told = []
        for near, seen in self._ends():
            ticks = self._rises(seen)
            if now not in ticks:
                continue
            before = [now - t for t in reversed(ticks) if t < now][:MOST_TOLD]
            ago = ""
            if before:
                ago = f" and {_listed([*map(str, before[:-1]), _ticks(before[-1])])} before"
            told.append(f"{_end_name(near, seen)} rose in that tick{ago}")
        return told[:MOST_TOLD]


def _due(due: Due, only: str = "") -> str:
    if due.earliest == due.latest:
        return f"due {only}at tick {due.latest}"
    return f"due {only}from tick {due.earliest} to tick {due.latest}"


def _ticks(count: int) -> str:
    return f"{count} tick" if count == 1 else f"{count} ticks"


def _end_name(near: str, seen: str) -> str:
    name = "the line" if near == "line" else near
    return name if near == seen else f"the far end of {name}"


__all__ = [
    "Due",
    "branch_suffix",
    "due_strikes",
    "expected_output",
    "failure_sentence",
    "input_signal",
    "late_strike",
    "line_signals",
    "moment",
    "output_signal",
    "printable",
    "quoted",
    "script_lines",
]
